//! One shop under one schedule: bays, network, daemon and true time, moved on
//! by one step after the other, and checked.

use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

use baywright_proto::v1::fact::Kind;
use baywright_terms::time::{MINUTE_US, SECOND_US};
use tempfile::TempDir;
use tonic::Status;

use crate::bay::Bay;
use crate::check;
use crate::clocks::{DaemonClock, TrueTime, lock};
use crate::daemon::{Daemon, Id, Trouble};
use crate::facts::{self, Before, Speech};
use crate::net::{Call, Returning, SharedNet, broken};
use crate::schedule::{BAYS, Schedule, Step};

/// Monday 2026-03-23, 08:00 UTC: the clocks change on the Sunday after.
const BEGINS_US: i64 = 1_774_252_800_000_000;

/// Rounds that a calm stretch may take: far more than its calls need.
const CALM_ROUNDS_MAX: u32 = 400;

/// What a waiting terminal is let wait in a calm round: longer than it looks
/// for the lock of the other one.
const CALM_ROUND_US: i64 = 6_000;

/// Rounds in which every bay must have delivered everything once all is well.
const LAST_ROUNDS_MAX: u32 = 6;

/// Posts that a writer takes at once in a calm stretch.
const BATCH_MAX: usize = 256;

pub(crate) struct World {
    schedule: Schedule,
    time: TrueTime,
    net: SharedNet,
    daemon: Daemon,
    bays: Vec<Bay>,
    /// What happened, a line for each step.
    pub(crate) trace: Vec<String>,
    _home: TempDir,
}

/// What a schedule came to.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Totals {
    pub(crate) steps: u64,
    pub(crate) said: u64,
    pub(crate) starts: u64,
    pub(crate) restores: u64,
}

impl World {
    pub(crate) fn new(schedule: Schedule, home: TempDir, template: &Path) -> Self {
        let time = TrueTime::at(BEGINS_US);
        let net = SharedNet::default();
        lock(&net).cut_off = vec![false; BAYS];
        let clock = Arc::new(DaemonClock {
            time: time.clone(),
            error_us: AtomicI64::new(0),
        });
        let daemon = Daemon::new(home.path(), template, clock, Arc::clone(&net));
        let bays = (0..BAYS)
            .map(|index| Bay::new(home.path(), index, schedule.seed, &time, &net))
            .collect();
        Self {
            schedule,
            time,
            net,
            daemon,
            bays,
            trace: Vec::new(),
            _home: home,
        }
    }

    /// Runs the schedule to its end.
    pub(crate) fn run(&mut self) -> Result<Totals, String> {
        let mut totals = Totals::default();
        for step in self.schedule.steps.clone() {
            totals.steps += 1;
            totals.starts += u64::from(matches!(step, Step::DaemonStarts));
            self.take(step)?;
            self.poll()?;
        }
        self.end()?;
        totals.said = self.bays.iter().map(|bay| bay.said.len() as u64).sum();
        totals.restores = u64::from(self.daemon.restores);
        Ok(totals)
    }

    fn tell(&mut self, line: &str) {
        let at_us = self.time.now_us() - BEGINS_US;
        self.trace.push(format!("{at_us:>14} us  {line}"));
    }

    fn take(&mut self, step: Step) -> Result<(), String> {
        self.tell(&format!("{step:?}"));
        let what = self.take_quietly(step)?;
        if !what.is_empty() {
            self.tell(&format!("    {what}"));
        }
        Ok(())
    }

    fn take_quietly(&mut self, step: Step) -> Result<String, String> {
        match step {
            Step::Pass { us } => self.pass(us),
            Step::Calm => return self.calm(),
            Step::Check => check::log_and_facts(&self.daemon, &self.bays, self.schedule.seed)?,
            Step::Catalogue
            | Step::Say { .. }
            | Step::Keep { .. }
            | Step::Deliver { .. }
            | Step::Mend { .. } => return self.at_a_bay(step),
            Step::Carry { .. }
            | Step::LoseCall { .. }
            | Step::Bring { .. }
            | Step::LoseAnswer { .. }
            | Step::CutOff { .. } => return self.on_the_way(step),
            Step::BayIsKilled { .. }
            | Step::PowerCut { .. }
            | Step::BayClock { .. }
            | Step::CopyFolder { .. }
            | Step::PutFolderBack { .. } => return self.befalls_a_bay(step),
            Step::Turn { most, trouble } => return self.daemon.turn(most, trouble),
            Step::DaemonStops => self.daemon.stop(),
            Step::DaemonIsKilled => self.daemon.kill(),
            Step::DaemonStarts => self.daemon.start()?,
            Step::DaemonClock { error_us } => {
                self.daemon
                    .clock
                    .error_us
                    .store(error_us, Ordering::Relaxed);
            }
            Step::FactsAreLost => return Ok(format!("{}", self.daemon.lose_facts())),
            Step::Backup => return Ok(format!("{}", self.daemon.backup()?)),
            Step::Restore { pick, keep_facts } => {
                return Ok(format!("{}", self.daemon.restore(pick, keep_facts)?));
            }
        }
        Ok(String::new())
    }

    /// Somebody at a bay does something.
    fn at_a_bay(&mut self, step: Step) -> Result<String, String> {
        match step {
            Step::Catalogue => {
                let speech = Speech {
                    fact: facts::catalogue_set(self.time.now_us()),
                    unreadable: false,
                    waiting: false,
                    anyway: false,
                };
                self.bays[BAYS - 1].post(speech);
            }
            Step::Say { bay, seed } => {
                if self.bays[bay].is_busy() {
                    return Ok("both terminals are busy".to_owned());
                }
                let speech = self.speech(bay, seed);
                let told = format!("{} {speech:?}", self.bays[bay].said.len() + 1);
                self.bays[bay].post(speech);
                return Ok(short(&told));
            }
            Step::Keep { bay, seed, torn } => {
                let speech = self.speech(bay, seed);
                let told = format!("{} {speech:?}", self.bays[bay].said.len() + 1);
                self.bays[bay].keep(speech, torn)?;
                return Ok(short(&told));
            }
            Step::Deliver { bay } if !self.bays[bay].is_busy() => self.bays[bay].deliver(),
            Step::Mend { bay, pick } => return Ok(format!("{}", self.bays[bay].mend(pick)?)),
            _ => {}
        }
        Ok(String::new())
    }

    fn speech(&self, bay: usize, seed: u64) -> Speech {
        let mut before = Before::default();
        for of_bay in &self.bays {
            before
                .jobs
                .extend(of_bay.said.iter().filter(|s| !s.torn).filter_map(|said| {
                    let kind = said.speech.as_ref()?.fact.kind.as_ref()?;
                    matches!(kind, Kind::JobOpened(_)).then_some(said.id)
                }));
        }
        let own: Vec<Id> = self.bays[bay].said.iter().map(|said| said.id).collect();
        before.own = own;
        facts::speech(seed, bay, bay == BAYS - 1, self.time.now_us(), &before)
    }

    /// Something happens to a bay's computer.
    fn befalls_a_bay(&mut self, step: Step) -> Result<String, String> {
        match step {
            Step::BayIsKilled { bay } => self.bays[bay].kill(),
            Step::PowerCut {
                bay,
                lose,
                wall_error_us,
                dark_us,
            } => {
                let what = self.bays[bay].cut_power(lose)?;
                self.pass(dark_us);
                self.bays[bay].clocks.boot();
                self.bays[bay].clocks.set_wall_error_us(wall_error_us);
                return Ok(format!("{what}, {:?}", self.bays[bay].clocks_now()));
            }
            Step::BayClock { bay, wall_error_us } => {
                let before = self.bays[bay].clocks.wall_error_us();
                self.bays[bay].clocks.set_wall_error_us(wall_error_us);
                return Ok(format!("off by {before} us before"));
            }
            Step::CopyFolder { bay } => self.bays[bay].copy()?,
            Step::PutFolderBack { bay, pick } => {
                return Ok(format!("{}", self.bays[bay].put_back(pick)?));
            }
            _ => {}
        }
        Ok(String::new())
    }

    /// Something happens on the network.
    fn on_the_way(&mut self, step: Step) -> Result<String, String> {
        match step {
            Step::CutOff { bay, off } => lock(&self.net).cut_off[bay] = off,
            Step::Carry { pick, copy, part } => {
                let Some(call) = self.pick_call(pick) else {
                    return Ok("nothing on the way".to_owned());
                };
                if copy {
                    lock(&self.net).calls.push_back(call.clone());
                }
                let told = short(&format!("{call:?}"));
                self.carry(call, part)?;
                return Ok(told);
            }
            Step::LoseCall { pick, silently } => {
                if let Some(call) = self.pick_call(pick) {
                    let told = format!("call {}", call.id);
                    if !silently {
                        self.hang_up(call);
                    }
                    return Ok(told);
                }
            }
            Step::Bring { pick } => {
                if let Some(returning) = self.pick_answer(pick) {
                    let told = short(&format!("{returning:?}"));
                    bring(returning);
                    return Ok(told);
                }
            }
            Step::LoseAnswer { pick, silently } => {
                if let Some(returning) = self.pick_answer(pick) {
                    // What follows on the same connection is gone as well.
                    lock(&self.net)
                        .returning
                        .retain(|r| r.call != returning.call);
                    let told = short(&format!("{returning:?}"));
                    if !silently {
                        lock(&returning.ear).push_back(Err(broken()));
                    }
                    return Ok(told);
                }
            }
            _ => {}
        }
        Ok(String::new())
    }

    fn pick_call(&self, pick: u32) -> Option<Call> {
        let mut net = lock(&self.net);
        let count = net.calls.len();
        net.calls.remove(pick as usize % count.max(1))
    }

    /// Answers to one call keep their order; those to several do not.
    fn pick_answer(&self, pick: u32) -> Option<Returning> {
        let mut net = lock(&self.net);
        let count = net.returning.len();
        let call = net.returning.get(pick as usize % count.max(1))?.call;
        let first = net.returning.iter().position(|r| r.call == call)?;
        net.returning.remove(first)
    }

    fn carry(&mut self, call: Call, part: Option<u32>) -> Result<(), String> {
        if lock(&self.net).cut_off[call.bay] {
            self.hang_up(call);
            return Ok(());
        }
        self.daemon.take(call, part)
    }

    fn hang_up(&self, call: Call) {
        lock(&self.net).returning.push_back(Returning {
            call: call.id,
            ear: call.ear,
            answer: Err(Status::unavailable("the connection broke")),
        });
    }

    /// Time passes, for the clocks and for the deadlines.
    fn pass(&self, us: i64) {
        self.time.advance_us(us);
    }

    fn poll(&mut self) -> Result<(), String> {
        let mut ended = true;
        while ended {
            ended = false;
            for bay in &mut self.bays {
                ended |= bay.poll()?;
            }
        }
        Ok(())
    }

    /// Nothing is lost until nothing is on the way any more.
    fn calm(&mut self) -> Result<String, String> {
        for round in 0..CALM_ROUNDS_MAX {
            self.poll()?;
            let calls: Vec<Call> = lock(&self.net).calls.drain(..).collect();
            let mut quiet = calls.is_empty() && self.daemon.waits() == 0;
            for call in calls {
                self.carry(call, None)?;
            }
            self.daemon.turn(BATCH_MAX, Trouble::None)?;
            let returning: Vec<Returning> = lock(&self.net).returning.drain(..).collect();
            quiet &= returning.is_empty();
            returning.into_iter().for_each(bring);
            if quiet && (round > 2 || self.bays.iter().all(Bay::is_idle)) {
                // Who still waits waits for an answer that was lost.
                return Ok(format!("quiet after {round} rounds"));
            }
            self.pass(CALM_ROUND_US);
        }
        Err("a calm stretch does not come to an end".to_owned())
    }

    /// All is well again, and every bay delivers; then everything is checked.
    fn end(&mut self) -> Result<(), String> {
        self.tell("all is well again");
        lock(&self.net).cut_off.fill(false);
        self.daemon.start()?;
        self.calm()?;
        // Whoever still waits for a lost answer gives up.
        for bay in &mut self.bays {
            bay.kill();
        }
        for round in 0..LAST_ROUNDS_MAX {
            self.pass(MINUTE_US + SECOND_US);
            for bay in 0..BAYS {
                if !self.schedule.ends_with_a_post {
                    self.bays[bay].deliver();
                } else if round == 0 || self.bays[bay].waiting()? > 0 {
                    let speech = Speech {
                        fact: facts::goodbye(bay),
                        unreadable: false,
                        waiting: false,
                        anyway: false,
                    };
                    self.bays[bay].post(speech);
                }
            }
            self.calm()?;
        }
        for bay in &self.bays {
            let left = bay.waiting()?;
            if left > 0 || !bay.is_idle() {
                return Err(format!("{left} facts of {} cannot be delivered", bay.name));
            }
        }
        check::log_and_facts(&self.daemon, &self.bays, self.schedule.seed)?;
        check::delivered(&self.daemon, &self.bays)
    }
}

fn bring(returning: Returning) {
    lock(&returning.ear).push_back(returning.answer);
}

/// A line of the trace, not a page.
fn short(text: &str) -> String {
    const LINE_CHARS: usize = 300;
    text.chars().take(LINE_CHARS).collect()
}

impl Totals {
    pub(crate) fn add(&mut self, other: Self) {
        self.steps += other.steps;
        self.said += other.said;
        self.starts += other.starts;
        self.restores += other.restores;
    }
}
