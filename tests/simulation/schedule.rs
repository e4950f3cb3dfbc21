//! What a schedule consists of. Every step carries its own chance, so that a
//! schedule from which steps were taken out still means the rest.

use baywright_terms::time::{HOUR_US, MINUTE_US, SECOND_US};
use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha12Rng;

use crate::daemon::Trouble;

/// Bays of the shop; the last is the office.
pub(crate) const BAYS: usize = 3;

/// One step. Numbers that pick something are taken modulo what there is.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Step {
    Pass {
        us: i64,
    },
    /// The office says the catalogue.
    Catalogue,
    Say {
        bay: usize,
        seed: u64,
    },
    /// Kept without a try to send it; with `torn` its write is cut off.
    Keep {
        bay: usize,
        seed: u64,
        torn: Option<u32>,
    },
    Deliver {
        bay: usize,
    },
    Mend {
        bay: usize,
        pick: u32,
    },
    /// A call reaches the daemon; `copy`: and a copy of it stays on the way.
    Carry {
        pick: u32,
        copy: bool,
        part: Option<u32>,
    },
    /// A call is lost; `silently`: the caller hears nothing.
    LoseCall {
        pick: u32,
        silently: bool,
    },
    /// An answer reaches its bay.
    Bring {
        pick: u32,
    },
    /// An answer is lost, and what follows it on its connection.
    LoseAnswer {
        pick: u32,
        silently: bool,
    },
    /// The writer takes a batch.
    Turn {
        most: usize,
        trouble: Trouble,
    },
    /// For a while nothing is lost.
    Calm,
    CutOff {
        bay: usize,
        off: bool,
    },
    DaemonStops,
    DaemonIsKilled,
    DaemonStarts,
    DaemonClock {
        error_us: i64,
    },
    FactsAreLost,
    Backup,
    Restore {
        pick: u32,
        keep_facts: bool,
    },
    BayIsKilled {
        bay: usize,
    },
    PowerCut {
        bay: usize,
        lose: u32,
        wall_error_us: i64,
        dark_us: i64,
    },
    BayClock {
        bay: usize,
        wall_error_us: i64,
    },
    CopyFolder {
        bay: usize,
    },
    PutFolderBack {
        bay: usize,
        pick: u32,
    },
    Check,
}

/// A schedule, and how it ends.
#[derive(Debug, Clone)]
pub(crate) struct Schedule {
    pub(crate) seed: u64,
    pub(crate) steps: Vec<Step>,
    /// In the end each bay says one more thing; else it runs `bay spool send`.
    pub(crate) ends_with_a_post: bool,
}

/// How likely the rarer things are in one schedule: each is absent from many
/// and frequent in some, so that their neighbourhoods are met as well.
#[derive(Debug)]
struct Mood {
    daemon: u32,
    restore: u32,
    power: u32,
    clocks: u32,
    folders: u32,
    losses: u32,
}

impl Schedule {
    pub(crate) fn draw(seed: u64) -> Self {
        let mut dice = ChaCha12Rng::seed_from_u64(seed);
        let mut level = || [0, 1, 1, 4][dice.random_range(0..4)];
        let mood = Mood {
            daemon: level(),
            restore: level(),
            power: level(),
            clocks: level(),
            folders: level().min(1),
            losses: 1 + level(),
        };
        let length = dice.random_range(20..110);
        let mut steps = vec![Step::DaemonStarts, Step::Catalogue, Step::Calm];
        steps.extend((0..length).map(|_| step(&mut dice, &mood)));
        Self {
            seed,
            steps,
            ends_with_a_post: dice.random_bool(0.5),
        }
    }
}

/// Makes a step of one kind: by chance, for a bay, with a number that picks
/// something, and whether a loss is silent.
type Make = fn(&mut ChaCha12Rng, usize, u32, bool) -> Step;

/// Draws a step; each kind stands beside how often it comes.
fn step(dice: &mut ChaCha12Rng, mood: &Mood) -> Step {
    let bay = dice.random_range(0..BAYS);
    let pick: u32 = dice.random_range(0..1_000);
    let silently = dice.random_bool(0.5);
    let kinds: [(u32, Make); 24] = [
        (10, |d, _, _, _| Step::Pass { us: span_us(d) }),
        (22, |d, bay, _, _| Step::Say {
            bay,
            seed: d.random(),
        }),
        (10, |d, bay, _, _| Step::Keep {
            bay,
            seed: d.random(),
            torn: None,
        }),
        (mood.power, |d, bay, pick, _| Step::Keep {
            bay,
            seed: d.random(),
            torn: Some(pick),
        }),
        (8, |_, bay, _, _| Step::Deliver { bay }),
        (1, |_, bay, pick, _| Step::Mend { bay, pick }),
        (14, |d, _, pick, _| Step::Carry {
            pick,
            copy: d.random_bool(0.15),
            part: d.random_bool(0.3).then(|| d.random_range(0..20)),
        }),
        (2 * mood.losses, |_, _, pick, silently| Step::LoseCall {
            pick,
            silently,
        }),
        (10, |_, _, pick, _| Step::Bring { pick }),
        (3 * mood.losses, |_, _, pick, silently| Step::LoseAnswer {
            pick,
            silently,
        }),
        (14, |d, _, _, _| Step::Turn {
            most: d.random_range(1..12),
            trouble: Trouble::None,
        }),
        (3 * mood.daemon, |d, _, pick, _| Step::Turn {
            most: d.random_range(1..8),
            trouble: Trouble::Stop(pick),
        }),
        (mood.daemon, |d, _, pick, _| Step::Turn {
            most: d.random_range(1..8),
            trouble: Trouble::Fail(pick),
        }),
        (14, |_, _, _, _| Step::Calm),
        (3, |d, bay, _, _| Step::CutOff {
            bay,
            off: d.random_bool(0.4),
        }),
        (mood.daemon, |d, _, _, _| {
            if d.random_bool(0.5) {
                Step::DaemonStops
            } else {
                Step::DaemonIsKilled
            }
        }),
        (6, |_, _, _, _| Step::DaemonStarts),
        (mood.clocks, |d, _, _, _| Step::DaemonClock {
            error_us: if d.random_bool(0.5) {
                0
            } else {
                d.random_range(-HOUR_US..HOUR_US)
            },
        }),
        (mood.daemon, |_, _, _, _| Step::FactsAreLost),
        (2 * mood.restore, |_, _, _, _| Step::Backup),
        (mood.restore, |d, _, pick, _| Step::Restore {
            pick,
            keep_facts: d.random_bool(0.5),
        }),
        (3, |_, bay, _, _| Step::BayIsKilled { bay }),
        (2 * mood.power, |d, bay, pick, _| Step::PowerCut {
            bay,
            lose: pick,
            wall_error_us: wall_error_us(d),
            dark_us: d.random_range(SECOND_US..HOUR_US),
        }),
        (2 * mood.clocks, |d, bay, _, _| Step::BayClock {
            bay,
            wall_error_us: wall_error_us(d),
        }),
    ];
    let rare: [(u32, Make); 3] = [
        (2 * mood.folders, |_, bay, _, _| Step::CopyFolder { bay }),
        (mood.folders, |_, bay, pick, _| Step::PutFolderBack {
            bay,
            pick,
        }),
        (1, |_, _, _, _| Step::Check),
    ];
    let all = || kinds.iter().chain(&rare);
    let mut left = dice.random_range(0..all().map(|(weight, _)| weight).sum());
    for (weight, make) in all() {
        if left < *weight {
            return make(dice, bay, pick, silently);
        }
        left -= weight;
    }
    Step::Calm
}

fn span_us(dice: &mut ChaCha12Rng) -> i64 {
    let longest_us = [20_000, 7 * SECOND_US, 20 * MINUTE_US, 3 * HOUR_US];
    let at = dice.random_range(0..longest_us.len());
    dice.random_range(1..longest_us[at])
}

/// What a wall clock may be wrong by: nothing, an hour (as after a change of
/// the clocks on a terminal that does not know of it), any other time, or all
/// the years since it was last set.
fn wall_error_us(dice: &mut ChaCha12Rng) -> i64 {
    const YEAR_US: i64 = 365 * 24 * HOUR_US;
    match dice.random_range(0..8) {
        0..3 => 0,
        3 => HOUR_US,
        4 => -HOUR_US,
        5 => dice.random_range(-10 * MINUTE_US..10 * MINUTE_US),
        6 => dice.random_range(-48 * HOUR_US..48 * HOUR_US),
        _ => -56 * YEAR_US + dice.random_range(0..2 * YEAR_US),
    }
}
