//! Each job quoted from the jobs before it alone, and how that held.

use baywright_learn::score::pinball;
use baywright_report::quote::{JobRecord, Learnt, suggest};
use baywright_terms::time::Micros;

use super::shop::{Job, OtherShop};

/// Jobs that are quoted from one state of the records.
const QUOTED: usize = 20;

/// Losses and counts over many quotes, hours.
#[derive(Debug, Clone, Default)]
pub(crate) struct Held {
    pub(crate) quotes: u32,
    pub(crate) half: u32,
    pub(crate) p80: u32,
    /// Against what was recorded, forgotten stops and all.
    pub(crate) p80_as_recorded: u32,
    /// Pinball loss at four in five of each quote: the quote, the mean of the last
    /// five of the type, the plain allowance.
    pub(crate) losses: Vec<[f64; 3]>,
}

const HOUR_US: f64 = 3.6e9;

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
    let mut held = Held::default();
    for nth in jobs..jobs + QUOTED {
        let job = shop.work(nth);
        let quote = suggest(&learnt, &records, &shop.catalogues, &job.asking(seed), now)
            .map_err(|error| error.to_string())?;
        let (half, p80) = (hours(quote.hands_on_half_us), hours(quote.hands_on_p80_us));
        let (actual, recorded) = (job.true_us / HOUR_US, job.recorded_us / HOUR_US);
        let allowance = job.allowance_us / HOUR_US;
        let last_five = last_five(&done, &job).unwrap_or(allowance);
        held.quotes += 1;
        held.half += u32::from(actual <= half);
        held.p80 += u32::from(actual <= p80);
        held.p80_as_recorded += u32::from(recorded <= p80);
        held.losses
            .push([p80, last_five, allowance].map(|said| pinball(actual, said, 0.8)));
    }
    Ok(held)
}

/// What people do: the mean of the last five of the type, as recorded; `None`
/// where there was none.
fn last_five(done: &[Job], job: &Job) -> Option<f64> {
    let same = done
        .iter()
        .rev()
        .filter(|d| d.record.job_type == job.record.job_type);
    let last: Vec<f64> = same.take(5).map(|d| d.recorded_us / HOUR_US).collect();
    let count = f64::from(u32::try_from(last.len()).ok()?);
    (count > 0.0).then(|| last.iter().sum::<f64>() / count)
}

#[allow(clippy::cast_precision_loss, reason = "hours of one job")]
fn hours(us: i64) -> f64 {
    us as f64 / HOUR_US
}

impl Held {
    pub(crate) fn add(&mut self, other: Self) {
        self.quotes += other.quotes;
        self.half += other.half;
        self.p80 += other.p80;
        self.p80_as_recorded += other.p80_as_recorded;
        self.losses.extend(other.losses);
    }

    pub(crate) fn share(&self, held: u32) -> f64 {
        f64::from(held) / f64::from(self.quotes.max(1))
    }

    /// Mean losses: the quote, the mean of the last five, the allowance.
    pub(crate) fn mean_losses(&self) -> [f64; 3] {
        let n = f64::from(self.quotes.max(1));
        [0, 1, 2].map(|k| self.losses.iter().map(|l| l[k]).sum::<f64>() / n)
    }

    /// Mean of the quote's loss over another's, and its standard error.
    pub(crate) fn over(&self, other: usize) -> (f64, f64) {
        let n = f64::from(self.quotes.max(1));
        let off: Vec<f64> = self.losses.iter().map(|l| l[0] - l[other]).collect();
        let mean = off.iter().sum::<f64>() / n;
        let variance = off.iter().map(|o| (o - mean).powi(2)).sum::<f64>() / (n - 1.0).max(1.0);
        (mean, (variance / n).sqrt())
    }
}
