//! Jobs quoted from the jobs before them alone, and how that held.

use baywright_learn::score::pinball;
use baywright_report::quote::{JobRecord, Learnt, suggest};
use baywright_terms::time::Micros;
use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha12Rng;

use super::shop::{Job, OtherShop};

/// Jobs that are quoted from one state of the records.
const QUOTED: usize = 20;

const HOUR_US: f64 = 3.6e9;

/// Resamplings of shops behind a range: its ends are then good to a tenth of it.
const RESAMPLED: usize = 2_000;

/// What a quote is held against.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Against {
    /// What the log says, forgotten stops and all.
    Recorded,
    /// What the job truly took.
    True,
}

impl Against {
    pub(crate) fn words(self) -> &'static str {
        match self {
            Self::Recorded => "as recorded",
            Self::True => "as it was",
        }
    }
}

/// One job, in hours: what was said of it beforehand, and what came.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Quoted {
    half: f64,
    p80: f64,
    last_five: f64,
    allowance: f64,
    recorded: f64,
    truly: f64,
}

impl Quoted {
    fn came(&self, against: Against) -> f64 {
        match against {
            Against::Recorded => self.recorded,
            Against::True => self.truly,
        }
    }

    /// Pinball losses at four in five: the quote, the mean of the last five of the
    /// type, the plain allowance. The latter two are one number for everything.
    fn losses(&self, against: Against) -> [f64; 3] {
        [self.p80, self.last_five, self.allowance]
            .map(|said| pinball(self.came(against), said, 0.8))
    }
}

/// Quotes by shop.
#[derive(Debug, Clone, Default)]
pub(crate) struct Held {
    pub(crate) shops: Vec<Vec<Quoted>>,
}

/// Quotes `QUOTED` jobs of one shop from its first `jobs`.
///
/// # Errors
/// What kept a quote from being made.
pub(crate) fn walk(seed: u64, jobs: usize) -> Result<Held, String> {
    let mut shop = OtherShop::new(seed);
    let done: Vec<Job> = (0..jobs).map(|nth| shop.work(nth)).collect();
    let records: Vec<JobRecord> = done.iter().map(|job| job.record.clone()).collect();
    let now = Micros(i64::MAX / 4);
    let learnt = Learnt::of(&records, &shop.catalogues, now);
    let mut quotes = Vec::with_capacity(QUOTED);
    for nth in jobs..jobs + QUOTED {
        let job = shop.work(nth);
        let quote = suggest(&learnt, &records, &shop.catalogues, &job.asking(seed), now)
            .map_err(|error| error.to_string())?;
        let allowance = job.allowance_us / HOUR_US;
        quotes.push(Quoted {
            half: hours(quote.hands_on_half_us),
            p80: hours(quote.hands_on_p80_us),
            last_five: last_five(&done, &job).unwrap_or(allowance),
            allowance,
            recorded: job.recorded_us / HOUR_US,
            truly: job.true_us / HOUR_US,
        });
    }
    Ok(Held {
        shops: vec![quotes],
    })
}

/// What people do: the mean of the last five of the type, as recorded; `None`
/// where there was none.
fn last_five(done: &[Job], job: &Job) -> Option<f64> {
    let same = done
        .iter()
        .rev()
        .filter(|d| d.record.job_type == job.record.job_type);
    let last: Vec<f64> = same.take(5).map(|d| d.recorded_us / HOUR_US).collect();
    (!last.is_empty()).then(|| mean(last.iter().copied()))
}

#[allow(clippy::cast_precision_loss, reason = "hours of one job")]
fn hours(us: i64) -> f64 {
    us as f64 / HOUR_US
}

/// 0 for none.
fn mean(values: impl Iterator<Item = f64>) -> f64 {
    let (sum, n) = values.fold((0.0, 0.0), |(sum, n), value| (sum + value, n + 1.0));
    if n > 0.0 { sum / n } else { 0.0 }
}

impl Held {
    pub(crate) fn add(&mut self, other: Self) {
        self.shops.extend(other.shops);
    }

    fn quotes(&self) -> impl Iterator<Item = &Quoted> {
        self.shops.iter().flatten()
    }

    pub(crate) fn count(&self) -> usize {
        self.quotes().count()
    }

    pub(crate) fn half_held(&self, against: Against) -> f64 {
        self.share(|q| q.came(against) <= q.half)
    }

    pub(crate) fn p80_held(&self, against: Against) -> f64 {
        self.p80_held_if(1.0, against)
    }

    /// How many would hold if every *four in five* were said so many times as
    /// long.
    pub(crate) fn p80_held_if(&self, factor: f64, against: Against) -> f64 {
        self.share(|q| q.came(against) <= factor * q.p80)
    }

    fn share(&self, of: impl Fn(&Quoted) -> bool) -> f64 {
        mean(self.quotes().map(|q| f64::from(u8::from(of(q)))))
    }

    /// Mean losses: the quote, the mean of the last five, the allowance.
    pub(crate) fn mean_losses(&self, against: Against) -> [f64; 3] {
        [0, 1, 2].map(|k| mean(self.quotes().map(|q| q.losses(against)[k])))
    }

    /// Range of 95 % of a mean over all quotes, by resampling whole shops: quotes
    /// of one shop share its luck.
    pub(crate) fn range(&self, seed: u64, of: impl Fn(&Quoted) -> f64) -> (f64, f64) {
        let means: Vec<f64> = self.shops.iter().map(|s| mean(s.iter().map(&of))).collect();
        let mut rng = ChaCha12Rng::seed_from_u64(seed);
        let mut again: Vec<f64> = (0..RESAMPLED)
            .map(|_| mean((0..means.len()).map(|_| means[rng.random_range(0..means.len())])))
            .collect();
        again.sort_by(f64::total_cmp);
        (again[RESAMPLED / 40], again[RESAMPLED - 1 - RESAMPLED / 40])
    }

    pub(crate) fn p80_range(&self, seed: u64, against: Against) -> (f64, f64) {
        self.range(seed, |q| f64::from(u8::from(q.came(against) <= q.p80)))
    }

    /// Mean of the quote's loss over the allowance's, and its range.
    pub(crate) fn over_allowance(&self, seed: u64, against: Against) -> (f64, (f64, f64)) {
        let over = |q: &Quoted| {
            let [quote, _, allowance] = q.losses(against);
            quote - allowance
        };
        (mean(self.quotes().map(over)), self.range(seed, over))
    }
}
