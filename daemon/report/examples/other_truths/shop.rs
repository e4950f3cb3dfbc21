//! An invented shop whose truth is not the model's.
//!
//! Log-normal stage times, three forgotten stops in a hundred (the record is then
//! two and a half to six times the time), a new job type each month, workers who
//! learn (each doubling of a worker's jobs takes 92 % of the time; published learning
//! curves of manual work run from 85 to 95 %, common practice), types whose
//! allowances are wrong by a factor of their own, and grades that act by the
//! trade's table of multipliers, which is no straight line on the log scale.

use std::collections::BTreeMap;

use baywright_floor::catalogues::Catalogues;
use baywright_floor::event::{EventId, Seq};
use baywright_floor::fact::Grades;
use baywright_report::quote::{Asking, JobRecord, StageRecord};
use baywright_terms::catalogue::{
    Catalogue, JobType, Shop, ShopCosts, Source, Stage, StageAllowance, StageKind, UnitSystem,
};
use baywright_terms::code::Code;
use baywright_terms::time::Micros;
use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha12Rng;
use rand_distr::{Distribution as _, StandardNormal};

const MINUTE_US: i64 = 60_000_000;
const DAY_US: i64 = 24 * 60 * MINUTE_US;

/// Stages with their kinds and usual minutes.
const STAGES: [(&str, StageKind, i64); 8] = [
    ("prewash", StageKind::Cleaning, 15),
    ("wash", StageKind::Cleaning, 35),
    ("decon", StageKind::Cleaning, 60),
    ("dry", StageKind::Other, 25),
    ("mask", StageKind::Other, 20),
    ("polish", StageKind::Correction, 180),
    ("wipe-down", StageKind::Other, 25),
    ("coat", StageKind::Coating, 80),
];

/// Types there can be, those at the start, and jobs in a month.
const TYPES: usize = 40;
const TYPES_AT_FIRST: usize = 3;
const JOBS_A_MONTH: usize = 14;
const WORKERS: usize = 3;

/// Multipliers of grades 1 to 5 (common practice).
const CLEANING: [f64; 5] = [0.75, 0.9, 1.0, 1.25, 1.6];
const CORRECTION: [f64; 5] = [0.6, 0.8, 1.0, 1.35, 1.9];
const NOOKS: [f64; 5] = [0.8, 0.9, 1.0, 1.15, 1.35];

/// A job with what it truly took.
#[derive(Debug, Clone)]
pub(crate) struct Job {
    pub(crate) record: JobRecord,
    pub(crate) true_us: f64,
    pub(crate) recorded_us: f64,
    pub(crate) allowance_us: f64,
}

impl Job {
    pub(crate) fn asking(&self, seed: u64) -> Asking {
        Asking {
            job_type: self.record.job_type.clone(),
            vehicle_class: self.record.vehicle_class.clone(),
            grades: self.record.grades,
            without: Vec::new(),
            with: Vec::new(),
            unseen: false,
            addition: false,
            seed,
        }
    }
}

/// The shop: its catalogue and its truth.
pub(crate) struct OtherShop {
    pub(crate) catalogues: Catalogues,
    allowances: Vec<Vec<i64>>,
    type_factors: Vec<f64>,
    cell_factors: Vec<Vec<f64>>,
    worker_factors: Vec<f64>,
    done_by: Vec<u32>,
    job_sd: f64,
    stage_sd: f64,
    rng: ChaCha12Rng,
}

impl OtherShop {
    pub(crate) fn new(seed: u64) -> Self {
        let mut rng = ChaCha12Rng::seed_from_u64(seed);
        let allowances: Vec<Vec<i64>> = (0..TYPES)
            .map(|_| {
                let size = rng.random_range(60..190_i64);
                let of = |(_, _, minutes): &(&str, StageKind, i64)| {
                    (minutes * size / 100).max(3) * MINUTE_US
                };
                STAGES.iter().map(of).collect()
            })
            .collect();
        let mut factor = |sd: f64| {
            let z: f64 = StandardNormal.sample(&mut rng);
            (sd * z).exp()
        };
        let type_factors = (0..TYPES).map(|_| factor(0.22)).collect();
        let cell_factors = (0..TYPES)
            .map(|_| STAGES.iter().map(|_| factor(0.15)).collect())
            .collect();
        let worker_factors = (0..WORKERS).map(|_| factor(0.1)).collect();
        let mut catalogues = Catalogues::default();
        let first = Micros(0);
        catalogues.add(
            first,
            first,
            Seq(1),
            EventId([1; 16]),
            catalogue(&allowances),
            None,
        );
        Self {
            catalogues,
            allowances,
            type_factors,
            cell_factors,
            worker_factors,
            done_by: vec![0; WORKERS],
            job_sd: rng.random_range(0.08..0.2),
            stage_sd: rng.random_range(0.14..0.26),
            rng,
        }
    }

    fn normal(&mut self) -> f64 {
        StandardNormal.sample(&mut self.rng)
    }

    /// The next job, `nth` from 0.
    pub(crate) fn work(&mut self, nth: usize) -> Job {
        let types = (TYPES_AT_FIRST + nth / JOBS_A_MONTH).min(TYPES);
        let kind = self.rng.random_range(0..types);
        let mut grade = || self.rng.random_range(1..=5_u8).clamp(1, 5);
        let grades = Grades {
            soil: grade(),
            defects: grade(),
            intricacy: grade(),
        };
        let own = (self.job_sd * self.normal()).exp() * self.type_factors[kind];
        let mut stages = Vec::new();
        let (mut true_us, mut recorded_us, mut allowance_us) = (0.0, 0.0, 0.0);
        for (at, (stage, of_kind, _)) in STAGES.iter().enumerate() {
            let worker = self.rng.random_range(0..WORKERS);
            let learned = self.learned(worker);
            let error = (self.stage_sd * self.normal()).exp();
            let base = us_f64(self.allowances[kind][at]);
            let time = base
                * own
                * self.cell_factors[kind][at]
                * self.worker_factors[worker]
                * learned
                * by_grade(*of_kind, grades)
                * error;
            let forgotten = self.rng.random_range(0..100) < 3;
            let said = if forgotten {
                time * self.rng.random_range(2.5..6.0)
            } else {
                time
            };
            true_us += time;
            recorded_us += said;
            allowance_us += base;
            stages.push(StageRecord {
                stage: Code::new(stage),
                us: whole_us(said),
                worker: Some(Code::new(&format!("w{worker}"))),
            });
        }
        let mut job = [0; 16];
        job[..8].copy_from_slice(&u64::try_from(nth).unwrap_or(0).to_be_bytes());
        Job {
            record: JobRecord {
                job: Some(EventId(job)),
                number: Some(u64::try_from(nth).unwrap_or(0) + 1),
                past: None,
                job_type: code_of(kind),
                vehicle_class: class_of(kind),
                grades,
                vehicle: String::new(),
                opened: None,
                released: Micros(i64::try_from(nth).unwrap_or(0) * DAY_US),
                stages,
                unclosed: Vec::new(),
                products: Vec::new(),
                whole_us: None,
                labour_us: whole_us(recorded_us),
                bay_hands_on_us: 0,
                bay_waiting_us: 0,
            },
            true_us,
            recorded_us,
            allowance_us,
        }
    }

    /// What a worker's practice makes of the time.
    fn learned(&mut self, worker: usize) -> f64 {
        let stages = u32::try_from(STAGES.len()).unwrap_or(1);
        let jobs = f64::from(self.done_by[worker]) / f64::from(stages) + 6.0;
        self.done_by[worker] += 1;
        (jobs / 6.0).powf(0.92_f64.log2()).max(0.75)
    }
}

fn by_grade(kind: StageKind, grades: Grades) -> f64 {
    let at = |table: &[f64; 5], grade: u8| table[usize::from(grade.clamp(1, 5)) - 1];
    let own = match kind {
        StageKind::Cleaning => at(&CLEANING, grades.soil),
        StageKind::Correction => at(&CORRECTION, grades.defects),
        StageKind::Coating | StageKind::Other => 1.0,
    };
    own * at(&NOOKS, grades.intricacy)
}

fn code_of(kind: usize) -> Code {
    Code::new(&format!("type-{kind}"))
}

fn class_of(kind: usize) -> Code {
    Code::new(&format!("class-{}", kind % 6))
}

fn catalogue(allowances: &[Vec<i64>]) -> Catalogue {
    let mut catalogue = Catalogue {
        shop: Some(Shop {
            name: "Slipway Lane (invented)".to_owned(),
            zone: "UTC".to_owned(),
            currency: "EUR".to_owned(),
            units: UnitSystem::Metric,
            open: Vec::new(),
            breaks: Vec::new(),
            soil_grades: Vec::new(),
            defects_grades: Vec::new(),
            intricacy_grades: Vec::new(),
            costs: ShopCosts::default(),
        }),
        ..Catalogue::default()
    };
    for (code, kind, _) in STAGES {
        let stage = Stage {
            name: code.to_owned(),
            kind,
            rules: Vec::new(),
            caution: String::new(),
            supplies_minor: None,
            retired: false,
        };
        catalogue.stages.insert(Code::new(code), stage);
    }
    let types: BTreeMap<Code, JobType> = allowances
        .iter()
        .enumerate()
        .map(|(kind, allowances)| {
            let stages = STAGES.iter().zip(allowances);
            let stages = stages.map(|((stage, _, _), us)| StageAllowance {
                stage: Code::new(stage),
                allowance_us: *us,
                source: Source::Trade,
            });
            let job_type = JobType {
                name: String::new(),
                vehicle_class: class_of(kind),
                stages: stages.collect(),
                products: Vec::new(),
                panels: Vec::new(),
                price: None,
                retired: false,
            };
            (code_of(kind), job_type)
        })
        .collect();
    catalogue.job_types = types;
    catalogue
}

#[allow(clippy::cast_precision_loss, reason = "minutes of one stage")]
fn us_f64(us: i64) -> f64 {
    us as f64
}

#[allow(
    clippy::cast_possible_truncation,
    reason = "a day of microseconds at most"
)]
fn whole_us(us: f64) -> i64 {
    us.round() as i64
}
