//! A bay of the simulation: the real spool, device and delivery, run as the
//! `bay` command runs them, killed at any await and cut from its power.

use std::fs;
use std::os::unix::fs::FileExt as _;
use std::path::{Path, PathBuf};
use std::pin::Pin;
use std::sync::{Arc, Mutex};
use std::task::{Context, Poll, Waker};

use baywright_client::clock::Clocks as _;
use baywright_client::device::{Device, EventIds, How, Posted};
use baywright_client::error::Error;
use baywright_client::spool::{EventId, Spool, Standing};
use baywright_proto::v1;
use rand::{Rng as _, SeedableRng as _};
use rand_chacha::ChaCha12Rng;

use crate::clocks::{BayClocks, TrueTime, lock};
use crate::daemon::{Id, failed};
use crate::facts::Speech;
use crate::net::{Cable, SharedNet};

/// Commands that run at a bay at once: two terminals.
const TERMINALS: usize = 2;

/// Ids of events from a seed, all kept.
#[derive(Debug)]
struct SeededIds(Mutex<(ChaCha12Rng, Vec<Id>)>);

impl EventIds for SeededIds {
    fn next(&self, _: i64) -> EventId {
        let mut state = lock(&self.0);
        let mut id = [0; 16];
        state.0.fill_bytes(&mut id);
        state.1.push(id);
        id
    }
}

/// What the person at the bay was told of a fact.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Told {
    /// Nothing yet, or the command was killed.
    Nothing,
    Kept,
    Acknowledged,
    /// It was not taken, with a reason.
    Refused,
}

/// A fact that a bay kept.
#[derive(Debug, Clone)]
pub(crate) struct Said {
    pub(crate) id: Id,
    /// When, in true time.
    pub(crate) at_us: i64,
    /// As it was given to the device; `None`: the device's own note.
    pub(crate) speech: Option<Speech>,
    pub(crate) told: Told,
    /// The bay's folder was put back to before it.
    pub(crate) put_back: bool,
    /// The write of it was cut off.
    pub(crate) torn: bool,
}

/// How a command ended.
enum Ended {
    Posted(Result<Posted, Error>),
    /// Well or not: what was not delivered is tried again.
    Delivered,
    NotOpened(Error),
}

/// A command that runs at a terminal.
struct Running {
    future: Pin<Box<dyn Future<Output = Ended>>>,
    /// What it posts, until it has kept it; then its place in `said`.
    speech: Option<Speech>,
    said: Option<usize>,
}

/// An old copy of a bay's folder.
#[derive(Debug)]
struct OldCopy {
    spool: Vec<u8>,
    said: usize,
}

pub(crate) struct Bay {
    pub(crate) index: usize,
    pub(crate) name: String,
    folder: PathBuf,
    pub(crate) clocks: Arc<BayClocks>,
    ids: Arc<SeededIds>,
    net: SharedNet,
    running: Vec<Running>,
    pub(crate) said: Vec<Said>,
    copies: Vec<OldCopy>,
    pub(crate) put_back: bool,
    time: TrueTime,
}

impl Bay {
    pub(crate) fn new(
        home: &Path,
        index: usize,
        seed: u64,
        time: &TrueTime,
        net: &SharedNet,
    ) -> Self {
        let name = format!("bay-{}", index + 1);
        let folder = home.join(&name);
        fs::create_dir_all(&folder).expect("a folder can be made");
        // A name that no chance decides: it is part of the order of the fold.
        fs::write(folder.join("device"), &name).expect("a file can be written");
        let running_us = 3_600_000_000 * (1 + i64::try_from(index).unwrap_or(0));
        let clocks = Arc::new(BayClocks::new(time.clone(), &name, running_us));
        let chance = ChaCha12Rng::seed_from_u64(seed ^ (0xba1d << 16) ^ index as u64);
        Self {
            index,
            folder,
            clocks,
            ids: Arc::new(SeededIds(Mutex::new((chance, Vec::new())))),
            net: Arc::clone(net),
            running: Vec::new(),
            said: Vec::new(),
            copies: Vec::new(),
            put_back: false,
            time: time.clone(),
            name,
        }
    }

    fn open(folder: &Path, clocks: &Arc<BayClocks>, ids: &Arc<SeededIds>) -> Result<Device, Error> {
        let clocks = Arc::clone(clocks);
        Device::open_with(folder, clocks, "bay", Arc::clone(ids) as Arc<dyn EventIds>)
    }

    fn device(&self) -> Result<Device, String> {
        Self::open(&self.folder, &self.clocks, &self.ids).map_err(|e| failed("opening a spool", &e))
    }

    /// The spool as another terminal would see it.
    pub(crate) fn spool(&self) -> Result<Spool, String> {
        Spool::open(&self.folder, "bay").map_err(|e| failed("opening a spool", &e))
    }

    pub(crate) fn is_busy(&self) -> bool {
        self.running.len() >= TERMINALS
    }

    pub(crate) fn is_idle(&self) -> bool {
        self.running.is_empty()
    }

    /// `bay …`: somebody says something and waits for the answer.
    pub(crate) fn post(&mut self, speech: Speech) {
        let (folder, clocks, ids) = self.shared();
        let fact = speech.fact.clone();
        let how = How {
            waiting: speech.waiting,
            anyway: speech.anyway,
            handle: String::new(),
        };
        let mut way = self.cable();
        let future = async move {
            match Self::open(&folder, &clocks, &ids) {
                Ok(mut device) => Ended::Posted(device.post(&mut way, fact, &how).await),
                Err(error) => Ended::NotOpened(error),
            }
        };
        self.running.push(Running {
            future: Box::pin(future),
            speech: Some(speech),
            said: None,
        });
    }

    /// `bay spool send`.
    pub(crate) fn deliver(&mut self) {
        let (folder, clocks, ids) = self.shared();
        let mut way = self.cable();
        let future = async move {
            match Self::open(&folder, &clocks, &ids) {
                Ok(mut device) => {
                    let _ = device.deliver(&mut way).await;
                    Ended::Delivered
                }
                Err(error) => Ended::NotOpened(error),
            }
        };
        self.running.push(Running {
            future: Box::pin(future),
            speech: None,
            said: None,
        });
    }

    fn shared(&self) -> (PathBuf, Arc<BayClocks>, Arc<SeededIds>) {
        (
            self.folder.clone(),
            Arc::clone(&self.clocks),
            Arc::clone(&self.ids),
        )
    }

    fn cable(&self) -> Cable {
        Cable {
            net: Arc::clone(&self.net),
            bay: self.index,
        }
    }

    /// Keeps a fact without sending it. With `torn`, the power goes while it is
    /// written, so that so many bytes of it are on the disk.
    pub(crate) fn keep(&mut self, speech: Speech, torn: Option<u32>) -> Result<(), String> {
        let mut device = self.device()?;
        let how = How {
            waiting: false,
            anyway: speech.anyway,
            handle: String::new(),
        };
        device
            .keep(speech.fact.clone(), &how)
            .map_err(|e| failed("keeping a fact", &e))?;
        drop(device);
        let is_torn = match torn {
            Some(bytes) => self.tear_last(bytes)?,
            None => false,
        };
        self.note_issued(Some(speech));
        if let Some(said) = self.said.last_mut() {
            said.torn = is_torn;
        }
        Ok(())
    }

    /// Polls everything that runs here once; tells whether anything ended.
    pub(crate) fn poll(&mut self) -> Result<bool, String> {
        let mut context = Context::from_waker(Waker::noop());
        let mut ended = false;
        let mut at = 0;
        while at < self.running.len() {
            let polled = self.running[at].future.as_mut().poll(&mut context);
            let speech = self.running[at].speech.take();
            let posts = speech.is_some();
            let before = self.said.len();
            self.note_issued(speech);
            if posts && self.said.len() > before {
                self.running[at].said = Some(before);
            }
            match polled {
                Poll::Pending => at += 1,
                Poll::Ready(how) => {
                    let done = self.running.remove(at);
                    self.hear(done.said, how)?;
                    ended = true;
                }
            }
        }
        Ok(ended)
    }

    /// Takes down which events were made since; the first is what was said.
    fn note_issued(&mut self, mut speech: Option<Speech>) {
        let issued: Vec<Id> = lock(&self.ids.0).1[self.said.len()..].to_vec();
        for id in issued {
            self.said.push(Said {
                id,
                at_us: self.time.now_us(),
                speech: speech.take(),
                told: Told::Nothing,
                put_back: false,
                torn: false,
            });
        }
    }

    fn hear(&mut self, said: Option<usize>, ended: Ended) -> Result<(), String> {
        let told = match ended {
            Ended::NotOpened(error) => return Err(failed("a command could not start", &error)),
            Ended::Delivered => return Ok(()),
            Ended::Posted(Ok(Posted::Kept { .. })) => Told::Kept,
            Ended::Posted(Ok(Posted::Acknowledged(acknowledged))) => {
                let id = said.and_then(|at| self.said.get(at)).map(|said| said.id);
                if id.map(|id| id.to_vec()) != Some(acknowledged.receipt.event_id) {
                    return Err("a receipt names another event".to_owned());
                }
                Told::Acknowledged
            }
            Ended::Posted(Err(error)) => {
                let speech = said.and_then(|at| self.said[at].speech.as_ref());
                if !speech.is_some_and(|s| s.unreadable || (s.waiting && !s.anyway)) {
                    return Err(failed("a fact was refused for no reason", &error));
                }
                Told::Refused
            }
        };
        if let Some(said) = said.and_then(|at| self.said.get_mut(at)) {
            said.told = told;
        }
        Ok(())
    }

    /// Every command that runs here is killed.
    pub(crate) fn kill(&mut self) {
        self.running.clear();
    }

    /// The power goes: what was not flushed may be lost, from a byte that
    /// `lose` decides on.
    pub(crate) fn cut_power(&mut self, lose: u32) -> Result<String, String> {
        self.kill();
        let (bytes, frames) = self.frames()?;
        // Acknowledgements are the only frames that are written without a flush.
        let flushed = frames.iter().rposition(|f| f.kind != ACKNOWLEDGED);
        let from = flushed.map_or(HEADER_BYTES, |at| frames[at].end);
        let end = frames.last().map_or(HEADER_BYTES, |f| f.end);
        let at = from + lose as usize % (end - from + 1);
        self.zero(at, end)?;
        let _ = bytes;
        Ok(format!("{} bytes of acknowledgements lost", end - at))
    }

    /// Cuts the last frame off within it; only a fact that is being kept can be.
    fn tear_last(&self, bytes: u32) -> Result<bool, String> {
        let (_, frames) = self.frames()?;
        match frames.as_slice() {
            [.., before, last] if last.kind == POSTED => {
                let length = last.end - before.end;
                self.zero(before.end + bytes as usize % length, last.end)?;
                Ok(true)
            }
            // It was compacted: that is a whole new file, renamed.
            _ => Ok(false),
        }
    }

    fn zero(&self, from: usize, until: usize) -> Result<(), String> {
        let file = fs::OpenOptions::new()
            .write(true)
            .open(self.folder.join("spool"))
            .map_err(|e| failed("opening a spool", &e))?;
        file.write_all_at(&vec![0; until - from], from as u64)
            .map_err(|e| failed("tearing a spool", &e))
    }

    /// The frames of the spool's file: a copy of the format that is on disks.
    fn frames(&self) -> Result<(Vec<u8>, Vec<Frame>), String> {
        // Opening mends what an earlier cut left behind.
        drop(self.spool()?);
        let bytes =
            fs::read(self.folder.join("spool")).map_err(|e| failed("reading a spool", &e))?;
        let mut frames = Vec::new();
        let mut at = HEADER_BYTES;
        while bytes.get(at..at + 4) == Some(b"bwf1") {
            let kind = bytes[at + 4];
            let length =
                u32::from_le_bytes([bytes[at + 5], bytes[at + 6], bytes[at + 7], bytes[at + 8]]);
            at += 9 + length as usize + 8;
            frames.push(Frame { kind, end: at });
        }
        Ok((bytes, frames))
    }

    /// Somebody copies the bay's folder.
    pub(crate) fn copy(&mut self) -> Result<(), String> {
        drop(self.spool()?);
        let spool =
            fs::read(self.folder.join("spool")).map_err(|e| failed("reading a spool", &e))?;
        self.copies.push(OldCopy {
            spool,
            said: self.said.len(),
        });
        Ok(())
    }

    /// Somebody puts an old copy of the folder back: what was said since is no
    /// longer here.
    pub(crate) fn put_back(&mut self, pick: u32) -> Result<bool, String> {
        if self.copies.is_empty() {
            return Ok(false);
        }
        self.kill();
        let copy = &self.copies[pick as usize % self.copies.len()];
        fs::write(self.folder.join("spool"), &copy.spool)
            .map_err(|e| failed("putting a spool back", &e))?;
        for said in self.said.iter_mut().skip(copy.said) {
            said.put_back = true;
        }
        self.put_back = true;
        Ok(true)
    }

    /// `bay spool mend ID --again` for a fact that was set aside.
    pub(crate) fn mend(&mut self, pick: u32) -> Result<bool, String> {
        let mut spool = self.spool()?;
        let aside: Vec<Id> = spool.posts().set_aside().map(|e| e.event_id).collect();
        if aside.is_empty() {
            return Ok(false);
        }
        spool
            .mend(&aside[pick as usize % aside.len()], None)
            .map_err(|e| failed("mending", &e))?;
        Ok(true)
    }

    pub(crate) fn waiting(&self) -> Result<usize, String> {
        Ok(self.spool()?.posts().waiting().len())
    }

    /// Where a fact stands in the spool; `None`: it is no longer kept there.
    pub(crate) fn standing(spool: &Spool, id: &Id) -> Option<Standing> {
        spool.posts().get(id).map(|entry| entry.standing.clone())
    }

    /// Folders of a spool that was found damaged: none of what is done here
    /// may look like damage.
    pub(crate) fn damaged(&self) -> bool {
        self.folder.join("spool.damaged-1").exists()
    }

    /// Clocks as they are now, for the trace.
    pub(crate) fn clocks_now(&self) -> v1::Clocks {
        self.clocks.sample()
    }
}

const HEADER_BYTES: usize = 256;
const POSTED: u8 = 1;
const ACKNOWLEDGED: u8 = 2;

/// A frame of the spool and where it ends.
#[derive(Debug)]
struct Frame {
    kind: u8,
    end: usize,
}
