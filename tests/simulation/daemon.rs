//! The daemon of the simulation: the real log, the real facts and the writer's
//! own desk, run by hand, stopped at any of its steps, and started again from
//! what the folder held at that moment.

use std::cell::{Cell, RefCell};
use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::Ordering;

use baywright_daemon::backup::noted::{self, Noted};
use baywright_daemon::backup::{BackupError, file, make, restore};
use baywright_daemon::clock::Clock as _;
use baywright_daemon::facts::{FACTS_FILE, Facts};
use baywright_daemon::journal::follow::{Follower, Standing};
use baywright_daemon::journal::writer::{Desk, Receipt};
use baywright_daemon::journal::{Intake, Journal, JournalError, LogReader, Refusal};
use baywright_daemon::service::{intake, status};
use baywright_proto::v1::{self, post_many_response};
use baywright_proto::{PROTOCOL_HIGHEST, PROTOCOL_LOWEST};
use tonic::Status;

use crate::clocks::{DaemonClock, lock};
use crate::net::{Answer, Call, Ear, Request, Returning, SharedNet, broken};

/// An event's id.
pub(crate) type Id = [u8; 16];

/// What goes wrong with a batch.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Trouble {
    None,
    /// The process is killed at this of its steps, answers included.
    Stop(u32),
    /// The disk fails at this of its steps, once.
    Fail(u32),
}

/// A post at the writer's desk.
#[derive(Debug)]
struct Arrived {
    call: u64,
    ear: Ear,
    post: v1::Post,
    of_many: bool,
    /// Nothing of its call comes after it.
    last: bool,
}

/// What a receipt said.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Promise {
    pub(crate) seq: u64,
    pub(crate) occurred_us: i64,
}

/// When a record was appended: the oracle's, not the daemon's.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Handled {
    pub(crate) at_us: i64,
    pub(crate) clock_error_us: i64,
}

/// A backup of the log with what was known of it then.
#[derive(Debug)]
struct Backup {
    file: PathBuf,
    promised: BTreeMap<Id, Promise>,
    handled: BTreeMap<u64, Handled>,
}

/// An open log with its desk.
#[derive(Debug)]
struct Up {
    desk: Desk,
    reader: LogReader,
}

#[derive(Debug)]
pub(crate) struct Daemon {
    home: PathBuf,
    pub(crate) data: PathBuf,
    generation: u32,
    pub(crate) clock: Arc<DaemonClock>,
    net: SharedNet,
    up: Option<Up>,
    arrived: VecDeque<Arrived>,
    /// By seq.
    pub(crate) handled: BTreeMap<u64, Handled>,
    /// Every receipt that was ever sent, but for those a restore took back.
    pub(crate) promised: BTreeMap<Id, Promise>,
    /// When an event happened by any receipt that was ever sent.
    pub(crate) ever_said: BTreeSet<(Id, i64)>,
    backups: Vec<Backup>,
    pub(crate) restores: u32,
}

/// Whatever failed, with what lies behind it, in one line.
pub(crate) fn failed(doing: &str, error: &dyn std::error::Error) -> String {
    let mut text = format!("{doing}: {error}");
    let mut source = error.source();
    while let Some(cause) = source {
        text.push_str(": ");
        text.push_str(&cause.to_string());
        source = cause.source();
    }
    text
}

impl Daemon {
    /// A daemon over a new log: a copy of `template`, or one it makes itself.
    pub(crate) fn new(
        home: &Path,
        template: &Path,
        clock: Arc<DaemonClock>,
        net: SharedNet,
    ) -> Self {
        let mut daemon = Self {
            home: home.to_owned(),
            data: home.to_owned(),
            generation: 0,
            clock,
            net,
            up: None,
            arrived: VecDeque::new(),
            handled: BTreeMap::new(),
            promised: BTreeMap::new(),
            ever_said: BTreeSet::new(),
            backups: Vec::new(),
            restores: 0,
        };
        daemon.data = daemon.next_folder();
        copy_as_killed(template, &daemon.data);
        daemon
    }

    fn next_folder(&mut self) -> PathBuf {
        self.generation += 1;
        self.home.join(format!("server-{}", self.generation))
    }

    pub(crate) fn is_up(&self) -> bool {
        self.up.is_some()
    }

    pub(crate) fn waits(&self) -> usize {
        self.arrived.len()
    }

    /// Starts it on its folder; every receipt it ever sent must be there.
    pub(crate) fn start(&mut self) -> Result<(), String> {
        if self.is_up() {
            return Ok(());
        }
        let journal = Journal::open(&self.data).map_err(|e| failed("opening the log", &e))?;
        let clock = Arc::clone(&self.clock);
        let (mut desk, heads) = Desk::new(journal, clock, None);
        let open = || LogReader::open(&self.data).map_err(|e| failed("reading the log", &e));
        let reader = open()?;
        let facts = Facts::open(&self.data, Box::new(open()?), &mut |_| {});
        desk.follow(facts.map(|facts| Box::new(facts) as Box<dyn Follower>));
        if heads.borrow().facts != Standing::Following {
            return Err("facts do not follow the log after a start".to_owned());
        }
        self.up = Some(Up { desk, reader });
        lock(&self.net).daemon_is_up = true;
        self.keeps_its_promises()
    }

    /// Every receipt ever sent names the place at which its event is.
    pub(crate) fn keeps_its_promises(&self) -> Result<(), String> {
        let Some(up) = &self.up else {
            return Ok(());
        };
        for (id, promise) in &self.promised {
            let entry = up
                .reader
                .record_of_event(id)
                .map_err(|e| failed("reading an event", &e))?
                .ok_or_else(|| format!("seq {} was acknowledged and is lost", promise.seq))?;
            let record = entry.decode().map_err(|e| failed("decoding", &e))?;
            let found = Promise {
                seq: record.seq,
                occurred_us: record.occurred_us,
            };
            if found != *promise {
                return Err(format!("acknowledged as {promise:?}, found as {found:?}"));
            }
        }
        Ok(())
    }

    /// Stops it in order: what waits is told to come back.
    pub(crate) fn stop(&mut self) {
        if let Some(up) = self.up.take() {
            up.desk.close();
        }
        self.hang_up(&Status::unavailable("the daemon is stopping"));
    }

    /// Kills it between two batches.
    pub(crate) fn kill(&mut self) {
        if self.up.is_some() {
            let next = self.next_folder();
            copy_as_killed(&self.data, &next);
            self.leave_for(next);
        }
    }

    /// The process is gone; `next` is what its folder held when it went.
    fn leave_for(&mut self, next: PathBuf) {
        // What this still writes goes to a folder that nobody opens again.
        self.up = None;
        let _ = fs::remove_dir_all(&self.data);
        self.data = next;
        self.hang_up(&broken());
    }

    fn hang_up(&mut self, status: &Status) {
        let mut net = lock(&self.net);
        net.daemon_is_up = false;
        for arrived in self.arrived.drain(..) {
            net.returning.push_back(Returning {
                call: arrived.call,
                ear: arrived.ear,
                answer: Err(status.clone()),
            });
        }
    }

    /// The facts are lost, as when somebody removes their file.
    pub(crate) fn lose_facts(&mut self) -> bool {
        if self.is_up() {
            return false;
        }
        for name in [FACTS_FILE.to_owned(), format!("{FACTS_FILE}-wal")] {
            let _ = fs::remove_file(self.data.join(name));
        }
        true
    }

    /// `baywrightd backup`, beside the running daemon.
    pub(crate) fn backup(&mut self) -> Result<bool, String> {
        let Some(up) = &self.up else {
            return Ok(false);
        };
        let wrong = |e: BackupError| failed("a backup", &e);
        let file = self.home.join(format!("backup-{}", self.backups.len() + 1));
        let now_us = self.clock.now().0;
        let made = make::make(&self.data, &file, false, now_us, &mut |_| {}).map_err(wrong)?;
        let meta = up
            .reader
            .meta()
            .map_err(|e| failed("reading the log", &e))?;
        Noted::new(&meta, made.whole.seq, now_us, &file)
            .write(&self.data)
            .map_err(wrong)?;
        self.backups.push(Backup {
            file,
            promised: self.promised.clone(),
            handled: self.handled.clone(),
        });
        Ok(true)
    }

    /// `baywrightd restore` of one of the backups, in a new folder.
    pub(crate) fn restore(&mut self, pick: u32, keep_facts: bool) -> Result<bool, String> {
        if self.backups.is_empty() {
            return Ok(false);
        }
        self.stop();
        let next = self.next_folder();
        fs::create_dir_all(&next).map_err(|e| failed("a folder", &e))?;
        let backup = &self.backups[pick as usize % self.backups.len()];
        let wrong = |e: BackupError| failed("a restore", &e);
        let checked = file::check(&backup.file, |_, _| {}).map_err(wrong)?;
        let now_us = self.clock.now().0;
        restore::bring_back(&checked, &[], &next, now_us, &mut |_, _| {}).map_err(wrong)?;
        if keep_facts {
            // Somebody who copies files by hand leaves the newer facts there.
            for name in [FACTS_FILE.to_owned(), format!("{FACTS_FILE}-wal")] {
                let _ = fs::copy(self.data.join(&name), next.join(&name));
            }
        }
        self.promised.clone_from(&backup.promised);
        self.handled.clone_from(&backup.handled);
        let _ = fs::remove_dir_all(&self.data);
        self.data = next;
        self.restores += 1;
        Ok(true)
    }

    /// A call comes in. Of many posts, the first `part` come through before the
    /// connection breaks; `None`: all of them.
    pub(crate) fn take(&mut self, call: Call, part: Option<u32>) -> Result<(), String> {
        let Some(up) = &self.up else {
            lock(&self.net).returning.push_back(Returning {
                call: call.id,
                ear: call.ear,
                answer: Err(broken()),
            });
            return Ok(());
        };
        let (posts, of_many) = match call.request {
            Request::Hello(hello) => {
                let answer = Ok(Answer::Hello(say_hello(
                    &up.reader,
                    &hello,
                    &self.clock,
                    &self.data,
                )?));
                lock(&self.net).returning.push_back(Returning {
                    call: call.id,
                    ear: call.ear,
                    answer,
                });
                return Ok(());
            }
            Request::Post(request) => (request.post.into_iter().collect::<Vec<_>>(), false),
            Request::Many(requests) => {
                let posts: Vec<v1::Post> = requests.into_iter().filter_map(|r| r.post).collect();
                (posts, true)
            }
        };
        let all = posts.len();
        let come = match part {
            Some(part) if of_many => part as usize % (all + 1),
            _ => all,
        };
        for (at, post) in posts.into_iter().take(come).enumerate() {
            self.arrived.push_back(Arrived {
                call: call.id,
                ear: Arc::clone(&call.ear),
                post,
                of_many,
                last: at + 1 == all,
            });
        }
        if come < all {
            lock(&self.net).returning.push_back(Returning {
                call: call.id,
                ear: call.ear,
                answer: Err(broken()),
            });
        }
        Ok(())
    }

    /// The writer takes what waits, up to `most` posts, as one batch.
    pub(crate) fn turn(&mut self, most: usize, trouble: Trouble) -> Result<String, String> {
        let count = self.arrived.len().min(most);
        if count == 0 || self.up.is_none() {
            return Ok("nothing waited".to_owned());
        }
        let next = self.next_folder();
        let Some(up) = &mut self.up else {
            return Ok(String::new());
        };
        let batch: Vec<Arrived> = self.arrived.drain(..count).collect();
        let intakes: Vec<Intake> = batch
            .iter()
            .map(|arrived| Intake {
                device: arrived.post.device.clone(),
                role: v1::Role::Owner,
                post: arrived.post.clone(),
            })
            .collect();
        let head = up
            .reader
            .head_seq()
            .map_err(|e| failed("reading the head", &e))?;
        let handled = Handled {
            at_us: self.clock.time.now_us(),
            clock_error_us: self.clock.error_us.load(Ordering::Relaxed),
        };
        for (_, seq) in batch.iter().zip(head + 1..) {
            self.handled.insert(seq, handled);
        }
        // Begun and ended in three steps each, three for each post, and its answer.
        let places = 6 + 4 * u32::try_from(count).unwrap_or(u32::MAX / 8);
        let watch = Watch {
            data: &self.data,
            next: &next,
            at: Cell::new(0),
            stop_at: match trouble {
                Trouble::Stop(at) => Some(at % places),
                _ => None,
            },
            fail_at: match trouble {
                Trouble::Fail(at) => Some(at % (places - u32::try_from(count).unwrap_or(0))),
                _ => None,
            },
            stopped: RefCell::new(None),
        };
        let mut answers: Vec<Result<Receipt, Refusal>> = Vec::new();
        up.desk.append(
            &intakes,
            &mut |step| watch.pass(&format!("{step:?}")),
            &mut |answer| {
                let _ = watch.pass("an answer");
                if watch.stopped.borrow().is_none() {
                    answers.push(answer);
                }
            },
        );
        if watch.stop_at.is_some() && watch.stopped.borrow().is_none() {
            watch.stop("the end");
        }
        let stopped = watch.stopped.into_inner();
        let told = answers.len();
        self.answer(batch, answers)?;
        Ok(match stopped {
            Some(place) => {
                self.leave_for(next);
                format!("killed at {place} of {count} posts, {told} of them answered")
            }
            None => format!("{count} posts, {trouble:?}"),
        })
    }

    /// Puts the answers of a batch on their way; who got none hears a broken line.
    fn answer(
        &mut self,
        batch: Vec<Arrived>,
        answers: Vec<Result<Receipt, Refusal>>,
    ) -> Result<(), String> {
        let mut answers = answers.into_iter();
        for arrived in batch {
            let answer = answers.next();
            if let Some(Ok(receipt)) = &answer {
                self.promise(receipt)?;
            }
            let mut net = lock(&self.net);
            let mut send = |answer| {
                net.returning.push_back(Returning {
                    call: arrived.call,
                    ear: Arc::clone(&arrived.ear),
                    answer,
                });
            };
            let Some(answer) = answer else {
                send(Err(broken()));
                continue;
            };
            if !arrived.of_many {
                send(match answer {
                    Ok(receipt) => Ok(Answer::Post(v1::PostResponse {
                        receipt: Some(intake::receipt(receipt)),
                    })),
                    Err(refusal) => Err(status::of_refusal(&refusal)),
                });
                continue;
            }
            let result = match answer {
                Ok(receipt) => post_many_response::Result::Receipt(intake::receipt(receipt)),
                Err(refusal) => post_many_response::Result::Refusal(status::refusal_message(
                    arrived.post.event_id.clone(),
                    &refusal,
                )),
            };
            send(Ok(Answer::OfMany(v1::PostManyResponse {
                result: Some(result),
            })));
            if arrived.last {
                send(Ok(Answer::End));
            }
        }
        Ok(())
    }

    /// A receipt goes out: it must say what the first one for its event said.
    fn promise(&mut self, receipt: &Receipt) -> Result<(), String> {
        let promise = Promise {
            seq: receipt.kept.seq,
            occurred_us: receipt.kept.occurred.0,
        };
        self.ever_said
            .insert((receipt.kept.event_id, promise.occurred_us));
        let first = *self
            .promised
            .entry(receipt.kept.event_id)
            .or_insert(promise);
        if first == promise {
            Ok(())
        } else {
            Err(format!("a receipt said {first:?}, a later one {promise:?}"))
        }
    }
}

/// Counts the steps of a batch, and stops or fails it at one.
struct Watch<'a> {
    data: &'a Path,
    next: &'a Path,
    at: Cell<u32>,
    stop_at: Option<u32>,
    fail_at: Option<u32>,
    /// Where it was stopped.
    stopped: RefCell<Option<String>>,
}

impl Watch<'_> {
    fn pass(&self, place: &str) -> Result<(), JournalError> {
        let at = self.at.get();
        self.at.set(at + 1);
        if self.stop_at == Some(at) {
            self.stop(place);
        }
        if self.fail_at == Some(at) {
            return Err(JournalError::File(std::io::Error::other(
                "the schedule says so",
            )));
        }
        Ok(())
    }

    fn stop(&self, place: &str) {
        copy_as_killed(self.data, self.next);
        self.stopped.replace(Some(place.to_owned()));
    }
}

/// The answer to a hello, as the daemon's service gives it.
fn say_hello(
    log: &LogReader,
    hello: &v1::HelloRequest,
    clock: &DaemonClock,
    data: &Path,
) -> Result<v1::HelloResponse, String> {
    let read = |e: JournalError| failed("a hello", &e);
    let meta = log.meta().map_err(read)?;
    let device = &hello.device;
    let backed_up = noted::backed_up_seq(data, &meta);
    let restored = log.restored().map_err(read)?.map_or(0, |r| r.seq);
    Ok(v1::HelloResponse {
        protocol_lowest: PROTOCOL_LOWEST,
        protocol_highest: PROTOCOL_HIGHEST,
        build: "simulated".to_owned(),
        log_id: meta.log_id.to_vec(),
        epoch: meta.epoch,
        held_device_seq: log.held_device_seq(device).map_err(read)?,
        backed_up_device_seq: log.device_seq_up_to(device, backed_up).map_err(read)?,
        restored_device_seq: log.device_seq_up_to(device, restored).map_err(read)?,
        head_seq: log.head_seq().map_err(read)?,
        now_us: clock.now().0,
        ..v1::HelloResponse::default()
    })
}

/// Copies a folder's databases as a process that is killed leaves them: with
/// everything it wrote, and without the index of the write-ahead log, which
/// the next start makes anew.
pub(crate) fn copy_as_killed(from: &Path, to: &Path) {
    fs::create_dir_all(to).expect("a folder can be made");
    for entry in fs::read_dir(from).expect("a folder can be read") {
        let path = entry.expect("an entry of a folder").path();
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        if path.is_file() && !name.ends_with("-shm") {
            fs::copy(&path, to.join(&*name)).expect("a file can be copied");
        }
    }
}
