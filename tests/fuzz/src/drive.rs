//! The bounded driver: kept inputs first, then seeded mutations of them.

use std::io;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::time::Duration;

use rand::SeedableRng as _;
use rand_chacha::ChaCha8Rng;
use rustix::time::{ClockId, clock_gettime};

use crate::mutate::mutated;
use crate::{Target, kept};

/// Longest time for one input, of this thread's processor: how busy the machine
/// is does not count. The slowest honest ones take some tens of milliseconds in
/// a test build; what takes longer than this hangs for a person at the bay.
pub const INPUT_MS_MAX: u64 = 3_000;

/// The same where an input is a log that is folded, learned from and asked for
/// every figure: seconds without optimisation.
pub const INPUT_OF_FACTS_MS_MAX: u64 = 60_000;

/// From so many times slower on it is such an input.
const SLOWER_OF_FACTS: u64 = 1_000;

/// What a run did.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Done {
    pub kept: u64,
    pub made: u64,
    pub slowest: Duration,
}

/// An input that broke something.
#[derive(Debug, Clone)]
pub struct Broken {
    pub target: &'static str,
    pub input: Vec<u8>,
    /// The panic's words, or how long it took.
    pub why: String,
}

impl std::fmt::Display for Broken {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(
            f,
            "{} broke: {}\nkeep it as found/{}/{}, hex:\n{}",
            self.target,
            self.why,
            self.target,
            kept::name(&self.input),
            kept::hex(&self.input)
        )
    }
}

/// Replays what is kept for a target, then runs `inputs` mutations of it made
/// from `seed`. Stops at the first that breaks something.
///
/// # Errors
/// If the kept inputs cannot be read.
pub fn run(target: &Target, seed: u64, inputs: u64) -> io::Result<Result<Done, Box<Broken>>> {
    let kept: Vec<Vec<u8>> = kept::inputs(target.name)?
        .into_iter()
        .map(|(_, bytes)| bytes)
        .collect();
    let mut done = Done::default();
    for input in &kept {
        match one(target, input) {
            Ok(took) => done.slowest = done.slowest.max(took),
            Err(broken) => return Ok(Err(broken)),
        }
        done.kept += 1;
    }
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    while done.made < inputs {
        let input = mutated(&mut rng, &kept, target.words, target.bytes_max);
        match one(target, &input) {
            Ok(took) => done.slowest = done.slowest.max(took),
            Err(broken) => return Ok(Err(broken)),
        }
        done.made += 1;
    }
    Ok(Ok(done))
}

/// One input; how long it took, or how it broke.
pub fn one(target: &Target, input: &[u8]) -> Result<Duration, Box<Broken>> {
    let began = processor_time();
    let outcome = catch_unwind(AssertUnwindSafe(|| (target.run)(input)));
    let took = processor_time().saturating_sub(began);
    let ms_max = if target.slower < SLOWER_OF_FACTS {
        INPUT_MS_MAX
    } else {
        INPUT_OF_FACTS_MS_MAX
    };
    let why = match outcome {
        Err(panic) => panic
            .downcast_ref::<String>()
            .map(String::as_str)
            .or_else(|| panic.downcast_ref::<&str>().copied())
            .unwrap_or("a panic without words")
            .to_owned(),
        Ok(()) if took > Duration::from_millis(ms_max) => {
            format!("took {} ms", took.as_millis())
        }
        Ok(()) => return Ok(took),
    };
    Err(Box::new(Broken {
        target: target.name,
        input: input.to_vec(),
        why,
    }))
}

/// What this thread has had of the processor.
fn processor_time() -> Duration {
    let time = clock_gettime(ClockId::ThreadCPUTime);
    let seconds = u64::try_from(time.tv_sec).unwrap_or(0);
    let nanos = u32::try_from(time.tv_nsec).unwrap_or(0);
    Duration::new(seconds, nanos)
}
