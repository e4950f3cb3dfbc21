//! What one job tells the next: minutes by stage, amounts by product.
//!
//! Left out are comebacks, jobs not released, stages that nothing ended (until
//! the owner says when), rework, what nobody measured, and what the owner left
//! out of every figure (the fold emits no rows for that).

use std::collections::{BTreeMap, BTreeSet};

use baywright_floor::catalogues::Catalogues;
use baywright_floor::event::{EventId, JobKey};
use baywright_floor::fact::Grades;
use baywright_floor::quote::{PastJob, PastRow};
use baywright_floor::row::Ended;
use baywright_terms::catalogue::Catalogue;
use baywright_terms::code::Code;
use baywright_terms::time::Micros;
use jiff::civil::Date;

use crate::chemicals::in_summing_unit;
use crate::figures::PortionUnit;
use crate::input::{Index, Input, JobRows};
use crate::labour::{declared, length_us};
use crate::materials::{self, Basis};
use crate::stays;

/// A worker did a stage if this much of it is theirs.
const OWN_SHARE_PERCENT: i64 = 80;

/// One released job, or one from before the log.
#[derive(Debug, Clone, PartialEq)]
pub struct JobRecord {
    /// `None`: from before the log.
    pub job: Option<JobKey>,
    pub number: Option<u64>,
    /// Of a job from before the log: what it is known by.
    pub past: Option<EventId>,
    pub job_type: Code,
    pub vehicle_class: Code,
    pub grades: Grades,
    pub vehicle: String,
    /// `None`: only the day it was done is known.
    pub opened: Option<Micros>,
    pub released: Micros,
    pub stages: Vec<StageRecord>,
    /// Stages that nothing ended: how long they took is not known.
    pub unclosed: Vec<Code>,
    pub products: Vec<ProductRecord>,
    /// Labour of a job whose stages nobody told apart.
    pub whole_us: Option<i64>,
    /// All its labour, rework too.
    pub labour_us: i64,
    /// In bays: somebody at work, and waiting.
    pub bay_hands_on_us: i64,
    pub bay_waiting_us: i64,
}

/// First-pass labour of one stage.
#[derive(Debug, Clone, PartialEq)]
pub struct StageRecord {
    pub stage: Code,
    pub us: i64,
    /// Who did nearly all of it.
    pub worker: Option<Code>,
}

/// What was measured of one product, concentrate-equivalent.
#[derive(Debug, Clone, PartialEq)]
pub struct ProductRecord {
    pub product: Code,
    pub unit: PortionUnit,
    /// Nanolitres, micrograms or thousandths of a piece.
    pub base: i64,
}

/// What a job tells; `None` while it is here, for a comeback, and without its
/// opening among the rows.
pub fn of_job(input: &Input<'_>, job: JobKey) -> Option<JobRecord> {
    let index = Index::new(input.rows);
    let rows = index.jobs.get(&job)?;
    let opened = rows.opened.filter(|o| o.comeback_of.is_none())?;
    let released = rows.released?;
    let stages = stages_of(rows);
    let unclosed = unclosed_of(rows);
    let bay = stays::in_bays(job, rows, input.as_of);
    let recorded: i64 = rows.hands_on.iter().map(|h| length_us(h)).sum();
    let said: i64 = declared(rows).map(|(_, us)| us).sum();
    Some(JobRecord {
        job: Some(job),
        number: opened.number,
        past: None,
        job_type: opened.job_type.clone(),
        vehicle_class: opened.vehicle_class.clone(),
        grades: opened.grades,
        vehicle: opened.vehicle.clone(),
        opened: Some(opened.opened),
        released,
        stages,
        unclosed,
        products: products_of(&index, input.catalogues, rows),
        whole_us: None,
        labour_us: recorded.saturating_add(said),
        bay_hands_on_us: bay.hands_on_us,
        bay_waiting_us: bay.waiting_us,
    })
}

fn unclosed_of(rows: &JobRows<'_>) -> Vec<Code> {
    let open = |ended: Ended| matches!(ended, Ended::Unclosed | Ended::Running);
    let unclosed = rows.hands_on.iter().filter(|h| !h.rework && open(h.ended));
    let stages: BTreeSet<Code> = unclosed.map(|h| h.stage.clone()).collect();
    stages.into_iter().collect()
}

/// Labour of one stage as it is summed up.
#[derive(Default)]
struct Tally<'a> {
    us: i64,
    by: BTreeMap<&'a Code, i64>,
    unclosed: bool,
}

impl<'a> Tally<'a> {
    fn add(&mut self, worker: &'a Code, us: i64) {
        self.us = self.us.saturating_add(us);
        let by = self.by.entry(worker).or_default();
        *by = by.saturating_add(us);
    }

    /// `None`: how long it took is not known.
    fn told(self, stage: &Code) -> Option<StageRecord> {
        let most = self.by.iter().max_by_key(|(_, us)| **us);
        let worker = most.filter(|(worker, us)| {
            let own = us.saturating_mul(100) >= self.us.saturating_mul(OWN_SHARE_PERCENT);
            own && !worker.is_empty()
        });
        (self.us > 0 && !self.unclosed).then(|| StageRecord {
            stage: stage.clone(),
            us: self.us,
            worker: worker.map(|(worker, _)| (*worker).clone()),
        })
    }
}

fn stages_of(rows: &JobRows<'_>) -> Vec<StageRecord> {
    let mut stages: BTreeMap<&Code, Tally<'_>> = BTreeMap::new();
    for h in rows.hands_on.iter().filter(|h| !h.rework) {
        let tally = stages.entry(&h.stage).or_default();
        tally.add(&h.worker, length_us(h));
        tally.unclosed |= matches!(h.ended, Ended::Unclosed | Ended::Running);
    }
    for (stage, us) in declared(rows) {
        let tally = stages.entry(stage).or_default();
        tally.us = tally.us.saturating_add(us);
    }
    let told = |(stage, tally): (&Code, Tally<'_>)| tally.told(stage);
    stages.into_iter().filter_map(told).collect()
}

/// A stage that several rows of an import name is their sum.
fn past_stages(past: &PastJob) -> Vec<StageRecord> {
    let mut stages: BTreeMap<&Code, Tally<'_>> = BTreeMap::new();
    for stage in past.stages.iter().filter(|stage| stage.actual_us > 0) {
        let tally = stages.entry(&stage.stage).or_default();
        tally.add(&stage.worker, stage.actual_us);
    }
    let told = |(stage, tally): (&Code, Tally<'_>)| tally.told(stage);
    stages.into_iter().filter_map(told).collect()
}

fn past_products(past: &PastJob, catalogue: &Catalogue) -> Vec<ProductRecord> {
    let mut sums: BTreeMap<(Code, PortionUnit), i64> = BTreeMap::new();
    for (product, amount) in &past.uses {
        let portion = in_summing_unit(amount.quantity(), catalogue, product);
        let sum = sums.entry((product.clone(), portion.unit)).or_default();
        *sum = sum.saturating_add(portion.base.max(0));
    }
    let product = |((product, unit), base)| ProductRecord {
        product,
        unit,
        base,
    };
    let sums = sums.into_iter().filter(|(_, base)| *base > 0);
    sums.map(product).collect()
}

fn products_of(
    index: &Index<'_>,
    catalogues: &Catalogues,
    rows: &JobRows<'_>,
) -> Vec<ProductRecord> {
    let taken = materials::of_job(index, catalogues, rows);
    let mut sums: BTreeMap<(Code, PortionUnit), i64> = BTreeMap::new();
    for taken in &taken.taken {
        if taken.basis != Basis::Measured || taken.waste || taken.rework {
            continue;
        }
        let key = (taken.product.clone(), taken.amount.unit);
        let sum = sums.entry(key).or_default();
        *sum = sum.saturating_add(taken.amount.base);
    }
    let partly = |product: &Code| taken.without_amount.iter().any(|(of, _)| of == product);
    sums.into_iter()
        .filter(|((product, _), base)| *base > 0 && !partly(product))
        .map(|((product, unit), base)| ProductRecord {
            product,
            unit,
            base,
        })
        .collect()
}

/// What a job from before the log tells; `None` for a day that is none, or
/// where it says nothing.
pub fn of_past(row: &PastRow, catalogues: &Catalogues) -> Option<JobRecord> {
    let past = &row.past;
    let latest = catalogues.latest();
    let date: Date = past.date.parse().ok()?;
    let released = baywright_terms::time::day_range(date, &latest.zone).0;
    let catalogue = &latest.catalogue;
    let job_type = catalogue.job_types.get(&past.job_type);
    let vehicle_class = if past.vehicle_class.is_empty() {
        job_type.map_or_else(|| Code::new(""), |t| t.vehicle_class.clone())
    } else {
        past.vehicle_class.clone()
    };
    let stages = past_stages(past);
    let whole_us = Some(past.actual_us).filter(|us| *us > 0 && stages.is_empty());
    let of_stages = stages.iter().map(|s| s.us).fold(0, i64::saturating_add);
    let products = past_products(past, catalogue);
    let says = !stages.is_empty() || whole_us.is_some() || !products.is_empty();
    says.then(|| JobRecord {
        job: None,
        number: None,
        past: Some(past.key),
        job_type: past.job_type.clone(),
        vehicle_class,
        grades: past.grades,
        vehicle: past.vehicle.clone(),
        opened: None,
        released,
        // The whole may hold time that no stage was given.
        labour_us: of_stages.max(past.actual_us),
        stages,
        unclosed: Vec::new(),
        products,
        whole_us,
        bay_hands_on_us: 0,
        bay_waiting_us: 0,
    })
}
