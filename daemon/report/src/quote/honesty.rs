//! How quotes held: the labour of released jobs against what was said before.
//!
//! A printed quote is taken as it was in force when it was accepted, with the
//! lines accepted since; the labour is first-pass labour of the stages it was
//! for, which is what a quote is about (rework is a cause of its own in
//! [`crate::why`]). Between its half and its four in five a quote is taken for a
//! log-normal; CRPS and calibration are of that.
//!
//! Beside it stand two rules that a shop may go by without any of this: the
//! allowance in force when it was printed, and the mean of the last five jobs of
//! the type released before it was printed. Each is one number, so it is its own
//! half and its own four in five.

use std::collections::{BTreeMap, BTreeSet};

use baywright_floor::catalogues::Catalogues;
use baywright_floor::event::JobKey;
use baywright_floor::quote::QuoteRow;
use baywright_learn::posterior::{self, Options};
use baywright_learn::score::{clopper_pearson, crps_log_normal, log_normal_of, pinball};
use baywright_terms::code::Code;
use baywright_terms::time::Micros;

use super::bases;
use super::book::QuoteBook;
use super::cells::hours_cell;
use super::learn::{Learnt, to_f64, whole};
use super::promised::Promised;
use super::records::JobRecord;
use crate::figures::{Honesty, HonestyJob, HonestyOf, HonestyPoint};
use crate::labour::count;
use crate::quantile::{mean, quantile};
use crate::span::sum_us;

/// Jobs that the mean of the last ones is over.
const LAST_JOBS: usize = 5;

/// Jobs without a quote that one is worked out for: each may need a fit of its
/// own, and sixty tell how often four in five held to about five in a hundred.
const RETRACED_MAX: usize = 60;

/// A fit serves until the records have grown by a fiftieth: it still knows nothing
/// that came later, and hundreds of jobs need no fit for each one more. Below fifty
/// records each job has its own.
const FIT_LASTS: usize = 50;

/// Draws of one retraced job.
const DRAWS: usize = 4_000;

/// Level of the ranges of shares.
const LEVEL: f64 = 0.95;

/// Promised shares that are held against what came, in thousandths.
const PROMISED: [u32; 9] = [100, 200, 300, 400, 500, 600, 700, 800, 900];

/// How printed quotes of the jobs released before `until` held. `records` are
/// those of all released jobs.
pub fn honesty(
    book: &QuoteBook<'_>,
    records: &[JobRecord],
    until: Micros,
    widen_milli: u32,
) -> Honesty {
    let by_job: BTreeMap<JobKey, &JobRecord> = records
        .iter()
        .filter(|record| record.released < until)
        .filter_map(|record| Some((record.job?, record)))
        .collect();
    let mut compared = Vec::new();
    let mut left_out = 0;
    for (job, (prints, printed_at)) in accepted(book) {
        let Some(record) = by_job.get(&job) else {
            continue;
        };
        let stages: BTreeSet<&Code> = prints
            .iter()
            .flat_map(|print| &print.printed.stages)
            .map(|stage| &stage.stage)
            .collect();
        let Some(actual_us) = labour_of(record, &stages) else {
            left_out += 1;
            continue;
        };
        let each = prints
            .iter()
            .map(|print| Promised::of_labour(print.quote, print));
        let all = Promised::together(job, each, 0);
        let allowances = prints.iter().flat_map(|print| &print.printed.stages);
        compared.push(Compared {
            released: record.released,
            job: HonestyJob {
                number: record.number,
                job_type: record.job_type.clone(),
                actual_us,
                half_us: all.half_us,
                p80_us: all.p80_us,
                allowance_us: sum_us(allowances.map(|stage| stage.allowance_us)),
                last_five_us: last_five_us(records, &record.job_type, printed_at),
            },
        });
    }
    let mut remarks = Vec::new();
    if left_out > 0 {
        remarks.push(format!(
            "Left out: {left_out} released with a quoted stage that nothing ended, or with no record of what was quoted."
        ));
    }
    figures(compared, widen_milli, remarks)
}

/// What would have been quoted for released jobs without a quote, each from the
/// records of jobs released before it was opened and the catalogue of then.
pub fn retrace(
    book: &QuoteBook<'_>,
    records: &[JobRecord],
    catalogues: &Catalogues,
    widen_milli: u32,
) -> Honesty {
    let quoted: BTreeSet<JobKey> = accepted(book).into_keys().collect();
    let is_one = |record: &&JobRecord| {
        let quoted = record.job.is_some_and(|job| quoted.contains(&job));
        !quoted && record.job.is_some() && record.opened.is_some() && !record.stages.is_empty()
    };
    let mut all: Vec<&JobRecord> = records.iter().filter(is_one).collect();
    all.sort_by_key(|record| (record.released, record.job));
    let more = all.len().saturating_sub(RETRACED_MAX);
    let mut last: Vec<&JobRecord> = all.split_off(more);
    // In order of opening, so that jobs with the same past share a fit.
    last.sort_by_key(|record| (record.opened, record.job));
    let mut fitted: Option<(usize, Micros, Learnt)> = None;
    let mut compared = Vec::new();
    for record in last {
        let Some(opened) = record.opened else {
            continue;
        };
        let before: Vec<JobRecord> = records
            .iter()
            .filter(|before| before.released <= opened)
            .cloned()
            .collect();
        let in_force = catalogues.at(opened).from;
        let same = fitted.as_ref().is_some_and(|(n, from, _)| {
            let newer = before.len().saturating_sub(*n);
            *from == in_force && newer <= before.len() / FIT_LASTS
        });
        if !same {
            let learnt = Learnt::of(&before, catalogues, opened);
            fitted = Some((before.len(), in_force, learnt));
        }
        let learnt = fitted.as_ref().map(|(_, _, learnt)| learnt);
        let job = learnt.and_then(|learnt| retraced(learnt, &before, catalogues, record, opened));
        compared.extend(job.map(|job| Compared {
            released: record.released,
            job,
        }));
    }
    let mut remarks = vec![
        "Worked out now for jobs that nobody quoted, each from what was known before it was opened."
            .to_owned(),
    ];
    if more > 0 {
        remarks.push(format!(
            "Of the last {RETRACED_MAX} such jobs; {more} earlier ones are not retraced."
        ));
    }
    figures(compared, widen_milli, remarks)
}

fn retraced(
    learnt: &Learnt,
    before: &[JobRecord],
    catalogues: &Catalogues,
    record: &JobRecord,
    opened: Micros,
) -> Option<HonestyJob> {
    let catalogue = &catalogues.at(opened).catalogue;
    let fitted = learnt.hours.as_ref()?;
    let job_type = &record.job_type;
    let in_force = catalogue.job_types.get(job_type).map(bases::stages);
    let mut cells = Vec::new();
    let mut base_us = Vec::new();
    let mut allowance_us = 0_i64;
    for stage in &record.stages {
        let stage = &stage.stage;
        let base = learnt.bases.stage_us(job_type, stage);
        // A stage that no type allows time for could not have been quoted.
        let base = base.or_else(|| learnt.bases.borrowed_us(stage))?;
        let allowed = in_force.as_ref().and_then(|all| all.get(stage)).copied();
        allowance_us = allowance_us.saturating_add(allowed.unwrap_or(base));
        base_us.push(to_f64(base));
        let class = &record.vehicle_class;
        cells.push(hours_cell(
            learnt,
            fitted,
            catalogue,
            (job_type, stage, class),
            record.grades,
        ));
    }
    let options = Options {
        widen: learnt.widen.factor,
        ..Options::default()
    };
    let seed = opened.0.unsigned_abs();
    let mut totals = fitted
        .posterior
        .simulate(&cells, DRAWS, seed, options)
        .total(&base_us);
    let mut at = |share| whole(posterior::quantile(&mut totals, share).value);
    let (half_us, p80_us) = (at(0.5), at(0.8));
    Some(HonestyJob {
        number: record.number,
        job_type: job_type.clone(),
        actual_us: sum_us(record.stages.iter().map(|stage| stage.us)),
        half_us,
        p80_us,
        allowance_us,
        last_five_us: last_five_us(before, job_type, opened),
    })
}

/// Prints in force of each job's quote and of the lines added to it, and when the
/// first of them was printed.
fn accepted<'r>(book: &QuoteBook<'r>) -> BTreeMap<JobKey, (Vec<&'r QuoteRow>, Micros)> {
    let mut jobs: BTreeMap<JobKey, (Vec<&QuoteRow>, Micros)> = BTreeMap::new();
    let mut with_quote = BTreeSet::new();
    for (_, quote) in book.quotes() {
        let (Some(job), Some((print, _))) = (quote.job, quote.accepted()) else {
            continue;
        };
        if !quote.is_addition() {
            with_quote.insert(job);
        }
        let (prints, at) = jobs.entry(job).or_insert((Vec::new(), print.at));
        prints.push(print);
        *at = print.at.min(*at);
    }
    // A line added to a job that nobody quoted tells nothing of the whole.
    jobs.retain(|job, _| with_quote.contains(job));
    jobs
}

/// First-pass labour of some stages; `None` where one of them was never ended or
/// none has a record.
fn labour_of(record: &JobRecord, stages: &BTreeSet<&Code>) -> Option<i64> {
    if record.unclosed.iter().any(|stage| stages.contains(stage)) {
        return None;
    }
    let of = record.stages.iter().filter(|s| stages.contains(&s.stage));
    let us = sum_us(of.map(|stage| stage.us));
    (us > 0).then_some(us)
}

/// Mean first-pass labour of the last jobs of a type released before an instant.
fn last_five_us(records: &[JobRecord], job_type: &Code, before: Micros) -> Option<i64> {
    let mut of_type: Vec<(Micros, Option<JobKey>, i64)> = records
        .iter()
        .filter(|record| record.job_type == *job_type && record.released <= before)
        .filter(|record| record.unclosed.is_empty())
        .map(|record| {
            let of_stages = sum_us(record.stages.iter().map(|stage| stage.us));
            (
                record.released,
                record.job,
                record.whole_us.unwrap_or(of_stages),
            )
        })
        .filter(|(_, _, us)| *us > 0)
        .collect();
    of_type.sort_unstable();
    let last: Vec<i64> = of_type
        .iter()
        .rev()
        .take(LAST_JOBS)
        .map(|of| of.2)
        .collect();
    mean(&last)
}

struct Compared {
    released: Micros,
    job: HonestyJob,
}

fn figures(mut compared: Vec<Compared>, widen_milli: u32, mut remarks: Vec<String>) -> Honesty {
    compared.sort_by_key(|of| (of.released, of.job.number));
    let jobs: Vec<HonestyJob> = compared.into_iter().map(|of| of.job).collect();
    let points = |of: fn(&HonestyJob) -> Option<(i64, i64)>| -> Vec<(i64, i64, i64)> {
        let each = jobs
            .iter()
            .filter_map(|job| Some((job.actual_us, of(job)?)));
        each.map(|(actual, (half, p80))| (actual, half, p80))
            .collect()
    };
    let quote = points(|job| Some((job.half_us, job.p80_us)));
    let allowance = points(|job| Some((job.allowance_us, job.allowance_us)));
    let last_five = points(|job| job.last_five_us.map(|us| (us, us)));
    if !jobs.is_empty() && last_five.len() < jobs.len() {
        remarks.push(format!(
            "The mean of the last five is over the {} that had an earlier job of the type.",
            last_five.len()
        ));
    }
    if !jobs.is_empty() {
        remarks.push("CRPS and calibration take a quote for the log-normal with its half and four in five; rework counts apart.".to_owned());
    }
    Honesty {
        jobs: count(jobs.len()),
        of: [
            ("quote", &quote),
            ("allowance", &allowance),
            ("mean of the last five", &last_five),
        ]
        .into_iter()
        .filter_map(|(what, points)| of(what, points))
        .collect(),
        calibration: calibration(&quote),
        by_job: jobs,
        widen_milli,
        remark: remarks.join(" "),
    }
}

/// `None` for no jobs.
fn of(what: &'static str, points: &[(i64, i64, i64)]) -> Option<HonestyOf> {
    let points: Vec<_> = points.iter().filter(|(_, half, _)| *half > 0).collect();
    let hours = |us: i64| to_f64(us) / to_f64(baywright_terms::time::HOUR_US);
    let mut off: Vec<i64> = points
        .iter()
        .map(|(actual, half, _)| whole(1_000_000.0 * to_f64(*actual) / to_f64(*half)))
        .collect();
    off.sort_unstable();
    let median = quantile(&off, 1, 2)?;
    let all = count(points.len());
    let held = |under: &dyn Fn(&(i64, i64, i64)) -> bool| {
        count(points.iter().filter(|p| under(p)).count())
    };
    let p80_held = held(&|(actual, _, p80)| actual <= p80);
    let (low, high) = clopper_pearson(p80_held, all, LEVEL);
    let mean = |loss: &dyn Fn(f64, f64, f64) -> f64| {
        let losses = points
            .iter()
            .map(|(a, h, p)| loss(hours(*a), hours(*h), hours(*p)));
        losses.sum::<f64>() / f64::from(all)
    };
    Some(HonestyOf {
        what,
        bias_milli: u32::try_from((median + 500) / 1_000).unwrap_or(u32::MAX),
        half_held: held(&|(actual, half, _)| actual <= half),
        p80_held,
        of: all,
        p80_low_permille: permille(low),
        p80_high_permille: permille(high),
        pinball_half_h: mean(&|actual, half, _| pinball(actual, half, 0.5)),
        pinball_p80_h: mean(&|actual, _, p80| pinball(actual, p80, 0.8)),
        crps_h: mean(&|actual, half, p80| {
            let (median, log_sd) = log_normal_of(half, p80);
            crps_log_normal(actual, median, log_sd)
        }),
    })
}

fn calibration(points: &[(i64, i64, i64)]) -> Vec<HonestyPoint> {
    let all = count(points.len());
    if all == 0 {
        return Vec::new();
    }
    let point = |promised: u32| {
        let share = f64::from(promised) / 1_000.0;
        let held = points.iter().filter(|(actual, half, p80)| {
            let (median, log_sd) = log_normal_of(to_f64(*half), to_f64(*p80));
            to_f64(*actual) <= median * (log_sd * baywright_learn::normal::quantile(share)).exp()
        });
        let held = count(held.count());
        let (low, high) = clopper_pearson(held, all, LEVEL);
        HonestyPoint {
            promised_permille: promised,
            held_permille: permille(f64::from(held) / f64::from(all)),
            held_low_permille: permille(low),
            held_high_permille: permille(high),
        }
    };
    PROMISED.into_iter().map(point).collect()
}

/// A share in thousandths.
pub(crate) fn permille(share: f64) -> u32 {
    u32::try_from(whole(share * 1_000.0)).unwrap_or(0)
}
