//! Records into a fit: levels by name, rows on the log scale, the width mended
//! by what each job looked like to the others.

use std::collections::{BTreeMap, BTreeSet};

use baywright_floor::catalogues::Catalogues;
use baywright_floor::fact::Grades;
use baywright_learn::posterior::{self, Level, Model, Posterior, Records, Row, Term};
use baywright_learn::widen::Widen;
use baywright_terms::catalogue::{Catalogue, StageKind};
use baywright_terms::code::Code;
use baywright_terms::time::Micros;

use super::bases::Bases;
use super::hash::hash_of;
use super::model::{self, CLASS, STAGE, TYPE, TYPE_STAGE, WORKER};
use super::records::JobRecord;
use crate::figures::PortionUnit;

/// Named in every quote, so that it is known which rules it was made by.
pub const MODEL_VERSION: &str = "1";

/// A record further from its allowance than this factor (e³) either way is a slip
/// of units; its size says nothing more.
const LOG_REACH: f64 = 3.0;

/// Jobs whose misses mend the width: enough to tell, and a bound to the work.
const JOBS_LEFT_OUT: usize = 250;

/// Whoever did a stage on the last so many jobs may do it on the next.
const RECENT_JOBS: usize = 40;

/// What was learned from all records, under the catalogue of an instant.
#[derive(Debug)]
pub struct Learnt {
    pub(crate) hours: Option<Fitted>,
    pub(crate) goods: Option<Fitted>,
    pub(crate) bases: Bases,
    /// How much ranges of hours are widened, and from how many jobs.
    pub widen: Widen,
    /// Jobs that say something, imported ones among them.
    pub jobs: u32,
    pub jobs_imported: u32,
    pub(crate) of_type: BTreeMap<Code, u32>,
    pub(crate) stage_rows: BTreeMap<(Code, Code), u32>,
    pub(crate) product_rows: BTreeMap<(Code, Code), u32>,
    /// Jobs of each class.
    pub(crate) of_class: BTreeMap<Code, u32>,
    /// How the jobs of each type came in: jobs by soil, defects, intricacy.
    pub(crate) grades_of: BTreeMap<Code, GradeCounts>,
    /// Workers of each stage lately, with their shares.
    workers: BTreeMap<Code, BTreeMap<Code, f64>>,
    /// Records could not be fitted, so that what was believed before stands.
    pub(crate) unfitted: bool,
    pub(crate) as_of: Micros,
}

/// Jobs by grade, 0 (nobody said) to 5: soil, defects, intricacy.
pub(crate) type GradeCounts = [[u32; 6]; 3];

/// A posterior with the names of its levels.
#[derive(Debug)]
pub(crate) struct Fitted {
    pub(crate) posterior: Posterior,
    levels: Levels,
}

/// Names of levels, by factor.
#[derive(Debug, Default)]
struct Levels {
    by_factor: Vec<BTreeMap<String, usize>>,
}

impl Levels {
    fn of(factors: usize) -> Self {
        Self {
            by_factor: vec![BTreeMap::new(); factors],
        }
    }

    fn put(&mut self, factor: usize, name: String) -> usize {
        let levels = &mut self.by_factor[factor];
        let next = levels.len();
        *levels.entry(name).or_insert(next)
    }

    fn counts(&self) -> Vec<usize> {
        self.by_factor.iter().map(BTreeMap::len).collect()
    }
}

impl Fitted {
    /// The level of a name; one never seen is itself, whoever asks.
    pub(crate) fn level(&self, factor: usize, name: &str) -> Level {
        let known = self.levels.by_factor.get(factor).and_then(|l| l.get(name));
        match known {
            Some(level) => Level::Known(*level),
            None => Level::Unseen(key_of(name)),
        }
    }
}

/// The same for the same name.
fn key_of(name: &str) -> usize {
    usize::try_from(hash_of(name.as_bytes()) & 0x7fff_ffff).unwrap_or(0)
}

/// Both halves of a factor of pairs.
pub(crate) fn pair(a: &Code, b: &Code) -> String {
    format!("{a}\u{1f}{b}")
}

/// Grades around the usual one; nobody graded it: the usual one.
pub(crate) fn centred(grade: u8) -> f64 {
    if grade == 0 {
        0.0
    } else {
        f64::from(grade) - 3.0
    }
}

/// What the grades do to a stage of a kind: soil to cleaning, defects to
/// correction, intricacy to all.
pub(crate) fn slopes(grades: Grades, kind: StageKind) -> Vec<f64> {
    let when = |acts: bool, grade: u8| if acts { centred(grade) } else { 0.0 };
    vec![
        when(kind == StageKind::Cleaning, grades.soil),
        when(kind == StageKind::Correction, grades.defects),
        centred(grades.intricacy),
    ]
}

pub(crate) fn kind_of(catalogue: &Catalogue, stage: &Code) -> StageKind {
    let stage = catalogue.stages.get(stage);
    stage.map_or(StageKind::Other, |stage| stage.kind)
}

impl Learnt {
    /// Fits all records. The same records and catalogue give the same fit, in
    /// whatever order they come; one that comes twice counts once.
    pub fn of(records: &[JobRecord], catalogues: &Catalogues, as_of: Micros) -> Self {
        let records = in_order(records);
        let catalogue = &catalogues.at(as_of).catalogue;
        let bases = Bases::of(catalogues, as_of);
        let mut hours = Making::of(model::hours());
        let mut goods = Making::of(model::goods());
        let mut counts = Counts::default();
        for (unit, record) in records.iter().enumerate() {
            let before = hours.rows.len() + goods.rows.len();
            hours.add_hours(unit, record, &bases, catalogue);
            goods.add_goods(unit, record, &bases);
            if hours.rows.len() + goods.rows.len() > before {
                counts.add(record);
            }
        }
        let (hours, hours_unfitted) = hours.fit(records.len());
        let (goods, goods_unfitted) = goods.fit(records.len());
        let widen = hours.as_ref().map_or(Widen::NONE, |fitted| {
            let from = records.len().saturating_sub(JOBS_LEFT_OUT);
            let misses = (from..records.len()).filter_map(|unit| miss(fitted, unit));
            Widen::of(&misses.collect::<Vec<f64>>())
        });
        Self {
            hours: hours.map(|(fitted, _)| fitted),
            goods: goods.map(|(fitted, _)| fitted),
            bases,
            widen,
            jobs: counts.jobs,
            jobs_imported: counts.imported,
            of_type: counts.of_type,
            of_class: counts.of_class,
            stage_rows: counts.stage_rows,
            product_rows: counts.product_rows,
            grades_of: counts.grades_of,
            workers: workers(&records, catalogue),
            unfitted: hours_unfitted || goods_unfitted,
            as_of,
        }
    }

    /// Jobs of a type that say something.
    pub fn jobs_of_type(&self, job_type: &Code) -> u32 {
        self.of_type.get(job_type).copied().unwrap_or(0)
    }

    /// Records of a stage on a type.
    pub fn rows_of_stage(&self, job_type: &Code, stage: &Code) -> u32 {
        let key = (job_type.clone(), stage.clone());
        self.stage_rows.get(&key).copied().unwrap_or(0)
    }

    /// Records of a product on a type.
    pub fn rows_of_product(&self, job_type: &Code, product: &Code) -> u32 {
        let key = (job_type.clone(), product.clone());
        self.product_rows.get(&key).copied().unwrap_or(0)
    }

    /// Jobs of a class.
    pub(crate) fn jobs_of_class(&self, class: &Code) -> u32 {
        self.of_class.get(class).copied().unwrap_or(0)
    }

    /// Whoever may do a stage next; where nobody is on record, one worker who was
    /// never seen does all such stages.
    pub(crate) fn worker(&self, stage: &Code) -> Level {
        let Some(fitted) = &self.hours else {
            return Level::Unseen(0);
        };
        let known = self.workers.get(stage).into_iter().flatten();
        let level_of = |(worker, share): (&Code, &f64)| {
            let level = fitted.level(WORKER, worker.as_str());
            match level {
                Level::Known(level) => Some((level, *share)),
                _ => None,
            }
        };
        let shares: Vec<(usize, f64)> = known.filter_map(level_of).collect();
        if shares.is_empty() {
            Level::Unseen(0)
        } else {
            Level::OneOf(shares)
        }
    }
}

/// Each record once, in order of time.
fn in_order(records: &[JobRecord]) -> Vec<&JobRecord> {
    let mut records: Vec<&JobRecord> = records.iter().collect();
    records.sort_by_key(|r| (r.released, r.job, r.past));
    let mut seen = BTreeSet::new();
    records.retain(|r| (r.job.is_none() && r.past.is_none()) || seen.insert((r.job, r.past)));
    records
}

/// Share of each worker in the labour of each stage on the last jobs, of those
/// who still work here.
fn workers(records: &[&JobRecord], catalogue: &Catalogue) -> BTreeMap<Code, BTreeMap<Code, f64>> {
    let retired = |worker: &Code| catalogue.workers.get(worker).is_some_and(|w| w.retired);
    let mut shares: BTreeMap<Code, BTreeMap<Code, f64>> = BTreeMap::new();
    for record in records.iter().rev().take(RECENT_JOBS) {
        for stage in &record.stages {
            if let Some(worker) = stage.worker.as_ref().filter(|w| !retired(w)) {
                let of_stage = shares.entry(stage.stage.clone()).or_default();
                *of_stage.entry(worker.clone()).or_default() += 1.0;
            }
        }
    }
    shares
}

#[derive(Default)]
struct Counts {
    jobs: u32,
    imported: u32,
    of_type: BTreeMap<Code, u32>,
    of_class: BTreeMap<Code, u32>,
    grades_of: BTreeMap<Code, GradeCounts>,
    stage_rows: BTreeMap<(Code, Code), u32>,
    product_rows: BTreeMap<(Code, Code), u32>,
}

impl Counts {
    fn add(&mut self, record: &JobRecord) {
        let job_type = &record.job_type;
        self.jobs += 1;
        self.imported += u32::from(record.job.is_none());
        *self.of_type.entry(job_type.clone()).or_default() += 1;
        let class = &record.vehicle_class;
        *self.of_class.entry(class.clone()).or_default() += 1;
        let grades = record.grades;
        let counts = self.grades_of.entry(job_type.clone()).or_default();
        for (counts, grade) in
            counts
                .iter_mut()
                .zip([grades.soil, grades.defects, grades.intricacy])
        {
            if let Some(count) = counts.get_mut(usize::from(grade)) {
                *count += 1;
            }
        }
        for stage in &record.stages {
            let key = (job_type.clone(), stage.stage.clone());
            *self.stage_rows.entry(key).or_default() += 1;
        }
        for product in &record.products {
            let key = (job_type.clone(), product.product.clone());
            *self.product_rows.entry(key).or_default() += 1;
        }
    }
}

/// Rows of one model as they are put together.
struct Making {
    model: Model,
    levels: Levels,
    rows: Vec<Row>,
    /// What each row is multiplied with for a total.
    bases: Vec<f64>,
}

impl Making {
    fn of(model: Model) -> Self {
        Self {
            levels: Levels::of(model.factors.len()),
            model,
            rows: Vec::new(),
            bases: Vec::new(),
        }
    }

    fn term(&mut self, factor: usize, name: String, weight: f64) -> Term {
        Term {
            factor,
            level: self.levels.put(factor, name),
            weight,
        }
    }

    fn push(&mut self, unit: usize, actual: i64, base: i64, row: (Vec<Term>, Vec<f64>, f64)) {
        let (terms, slopes, noise_factor) = row;
        let base = to_f64(base);
        self.rows.push(Row {
            y: (to_f64(actual) / base).ln().clamp(-LOG_REACH, LOG_REACH),
            unit,
            terms,
            slopes,
            noise_factor,
        });
        self.bases.push(base);
    }

    fn add_hours(&mut self, unit: usize, record: &JobRecord, bases: &Bases, catalogue: &Catalogue) {
        let job_type = &record.job_type;
        for stage in &record.stages {
            let base = bases
                .stage_us(job_type, &stage.stage)
                .or_else(|| bases.borrowed_us(&stage.stage));
            let Some(base) = base else { continue };
            let mut terms = vec![
                self.term(STAGE, stage.stage.to_string(), 1.0),
                self.term(TYPE, job_type.to_string(), 1.0),
                self.term(TYPE_STAGE, pair(job_type, &stage.stage), 1.0),
                self.term(CLASS, record.vehicle_class.to_string(), 1.0),
            ];
            if let Some(worker) = &stage.worker {
                terms.push(self.term(WORKER, worker.to_string(), 1.0));
            }
            let slopes = slopes(record.grades, kind_of(catalogue, &stage.stage));
            self.push(unit, stage.us, base, (terms, slopes, 1.0));
        }
        if let Some(whole) = record.whole_us {
            self.add_whole(unit, record, whole, (bases, catalogue));
        }
    }

    /// A job whose stages nobody told apart: one row, to first order the mean of
    /// its stages by their allowances.
    fn add_whole(
        &mut self,
        unit: usize,
        record: &JobRecord,
        whole_us: i64,
        (bases, catalogue): (&Bases, &Catalogue),
    ) {
        let job_type = &record.job_type;
        let stages = bases.stages(job_type);
        let total = stages
            .iter()
            .map(|(_, us)| *us)
            .fold(0, i64::saturating_add);
        if total <= 0 {
            return;
        }
        let mut terms = vec![
            self.term(TYPE, job_type.to_string(), 1.0),
            self.term(CLASS, record.vehicle_class.to_string(), 1.0),
        ];
        let mut sums = vec![0.0; self.model.slopes.len()];
        let mut squares = 0.0;
        for (stage, us) in stages {
            let share = to_f64(us) / to_f64(total);
            squares += share * share;
            terms.push(self.term(STAGE, stage.to_string(), share));
            terms.push(self.term(TYPE_STAGE, pair(job_type, stage), share));
            let of_stage = slopes(record.grades, kind_of(catalogue, stage));
            for (sum, slope) in sums.iter_mut().zip(of_stage) {
                *sum += share * slope;
            }
        }
        self.push(unit, whole_us, total, (terms, sums, squares.sqrt()));
    }

    fn add_goods(&mut self, unit: usize, record: &JobRecord, bases: &Bases) {
        let job_type = &record.job_type;
        for product in &record.products {
            let base = bases.amount(job_type, &product.product, product.unit);
            let Some(base) = base else { continue };
            let terms = goods_names(
                job_type,
                &product.product,
                product.unit,
                &record.vehicle_class,
            )
            .into_iter()
            .enumerate()
            .map(|(factor, name)| self.term(factor, name, 1.0))
            .collect();
            let slopes = goods_slopes(record.grades);
            self.push(unit, product.base, base, (terms, slopes, 1.0));
        }
    }

    /// The fit, and true where it had to be one of no record at all.
    fn fit(self, units: usize) -> (Option<(Fitted, Vec<f64>)>, bool) {
        let records = Records {
            rows: self.rows,
            units,
            levels: self.levels.counts(),
        };
        let fitted = posterior::fit(&self.model, &records).ok();
        let unfitted = fitted.is_none();
        let none = Records {
            rows: Vec::new(),
            ..records
        };
        let posterior = fitted.or_else(|| posterior::fit(&self.model, &none).ok());
        let named = |posterior| {
            let levels = self.levels;
            (Fitted { posterior, levels }, self.bases)
        };
        (posterior.map(named), unfitted)
    }
}

/// Levels of an amount, in the order of the model's factors.
pub(crate) fn goods_names(
    job_type: &Code,
    product: &Code,
    unit: PortionUnit,
    class: &Code,
) -> [String; 4] {
    let product = Code::new(&format!("{product}\u{1e}{}", unit.as_str()));
    [
        product.to_string(),
        job_type.to_string(),
        pair(job_type, &product),
        class.to_string(),
    ]
}

pub(crate) fn goods_slopes(grades: Grades) -> Vec<f64> {
    vec![centred(grades.soil), centred(grades.intricacy)]
}

/// How far the logarithm of a job's total was from what the others said of it,
/// in standard deviations. The sum of its stages is taken as log-normal, with
/// the mean and variance of the sum (Fenton and Wilkinson).
fn miss((fitted, bases): &(Fitted, Vec<f64>), unit: usize) -> Option<f64> {
    let left = fitted.posterior.left_out(unit)?;
    let rows = 0..left.rows.len();
    let base = |k: usize| bases.get(left.rows[k]).copied().unwrap_or(0.0);
    let expected_of = |k: usize| base(k) * (left.mean[k] + left.covariance[k][k] / 2.0).exp();
    let parts: Vec<f64> = rows.clone().map(expected_of).collect();
    let expected: f64 = parts.iter().sum();
    let actual: f64 = rows.map(|k| base(k) * left.actual[k].exp()).sum();
    let mut squares = 0.0;
    for (i, row) in left.covariance.iter().enumerate() {
        for (j, cov) in row.iter().enumerate() {
            squares += parts[i] * parts[j] * cov.exp_m1();
        }
    }
    let variance = (squares / (expected * expected)).ln_1p();
    let miss = (actual / expected).ln() + variance / 2.0;
    Some(miss / variance.sqrt())
}

/// Whole parts of a unit as a number; beyond 2⁵³ the last digits are lost.
#[allow(clippy::cast_precision_loss, reason = "a logarithm is taken of it")]
pub(crate) fn to_f64(whole: i64) -> f64 {
    whole as f64
}

/// Mean of draws.
pub(crate) fn mean(values: &[f64]) -> f64 {
    let count = to_f64(i64::try_from(values.len()).unwrap_or(i64::MAX));
    values.iter().sum::<f64>() / count.max(1.0)
}

/// The nearest whole number; beyond a year of microseconds nothing is quoted.
pub(crate) fn whole(value: f64) -> i64 {
    const MOST: f64 = 1e15;
    // Clamped, so that the conversion loses nothing but the fraction.
    #[allow(clippy::cast_possible_truncation)]
    let whole = value.round().clamp(-MOST, MOST) as i64;
    whole
}
