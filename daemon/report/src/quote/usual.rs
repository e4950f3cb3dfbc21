//! A job of a type as they usually come in, and what it costs on average.
//!
//! Usual are the grades and classes of the last jobs of the type. What is unsure
//! here is the average alone: one job's own luck and slips of recording are in the
//! mean as a factor, not in its spread.

use std::collections::BTreeMap;

use baywright_learn::evidence::Belief;
use baywright_learn::posterior::{self, Cell, Options};
use baywright_terms::catalogue::{Catalogue, JobType, ProductAllowance, StageAllowance};
use baywright_terms::code::Code;

use super::bases;
use super::cells::{mean_cell, term};
use super::cost::Costing;
use super::learn::{
    Fitted, Learnt, goods_names, goods_slopes, kind_of, mean, slopes, to_f64, whole,
};
use super::records::JobRecord;
use crate::figures::PortionUnit;

/// Jobs that say how they come in.
const LAST_JOBS: usize = 20;

/// Draws: a probability is then good to half a hundredth.
const DRAWS: usize = 8_000;

/// The same for every type, so that figures do not change by themselves.
const SEED: u64 = 1;

/// What was drawn of such a job.
pub(crate) struct Usual<'c> {
    pub(crate) half_us: i64,
    pub(crate) p80_us: i64,
    /// Mean labour, once for each draw of what is unsure.
    labour_us: Vec<f64>,
    /// Mean amounts in the same way.
    goods: Vec<(Code, PortionUnit, Vec<f64>)>,
    costing: Costing<'c>,
    /// Labour of such a job if records bore the given allowances out exactly.
    pub(crate) given_us: f64,
}

impl<'c> Usual<'c> {
    /// `None` without stages, or where nothing was fitted.
    pub(crate) fn of(
        learnt: &Learnt,
        records: &[JobRecord],
        catalogue: &'c Catalogue,
        code: &Code,
        job_type: &JobType,
    ) -> Option<Self> {
        let last = last_of(records, code);
        let classes = classes(&last, job_type);
        let hours = learnt.hours.as_ref()?;
        let stages = bases::stages(job_type);
        let (mut cells, mut base_us) = (Vec::new(), Vec::new());
        for (stage, allowance_us) in &stages {
            let kind = kind_of(catalogue, stage);
            let each = last.iter().map(|record| slopes(record.grades, kind));
            let each: Vec<Vec<f64>> = each.collect();
            let (x, factor) = usual_slopes(hours, &each, slopes_none(hours));
            let base = learnt.bases.stage_us(code, stage).unwrap_or(*allowance_us);
            base_us.push(to_f64(base) * factor);
            cells.push(mean_cell(learnt, hours, (code, stage), &classes, x));
        }
        if cells.is_empty() {
            return None;
        }
        let one = Options {
            widen: learnt.widen.factor,
            ..Options::default()
        };
        let mut full = hours
            .posterior
            .simulate(&cells, DRAWS, SEED, one)
            .total(&base_us);
        let (labour_us, above) = means(hours, &cells, &base_us, mean(&full));
        let goods = goods(learnt, &last, &classes, catalogue, (code, job_type));
        let allowances: Vec<StageAllowance> = job_type.stages.clone();
        let products: Vec<ProductAllowance> = job_type.products.clone();
        Some(Self {
            half_us: whole(posterior::quantile(&mut full, 0.5).value),
            p80_us: whole(posterior::quantile(&mut full, 0.8).value),
            labour_us,
            goods,
            costing: Costing::of(catalogue, allowances, products),
            given_us: base_us.iter().sum::<f64>() * above,
        })
    }

    /// Mean cost, once for each draw of what is unsure; at least one.
    pub(crate) fn costs_minor(&self) -> Vec<f64> {
        let cost = |(draw, labour_us): (usize, &f64)| {
            let amounts = self.goods.iter().map(|(product, unit, drawn)| {
                (
                    product,
                    *unit,
                    whole(drawn.get(draw).copied().unwrap_or(0.0)),
                )
            });
            to_f64(self.costing.cost(whole(*labour_us), amounts).sum_minor())
        };
        self.labour_us.iter().enumerate().map(cost).collect()
    }

    pub(crate) fn cost_minor(&self) -> i64 {
        self.cost_of(whole(mean(&self.labour_us)))
    }

    /// Cost of so much labour with the mean amounts.
    pub(crate) fn cost_of(&self, labour_us: i64) -> i64 {
        let amounts = self.goods.iter();
        let amounts = amounts.map(|(product, unit, drawn)| (product, *unit, whole(mean(drawn))));
        self.costing.cost(labour_us, amounts).sum_minor()
    }

    /// Its mean labour against the given allowances, on the log scale.
    pub(crate) fn belief(&self) -> Belief {
        let logs: Vec<f64> = self
            .labour_us
            .iter()
            .map(|us| (us / self.given_us).ln())
            .collect();
        let centre = mean(&logs);
        let squares: Vec<f64> = logs.iter().map(|log| (log - centre).powi(2)).collect();
        Belief {
            mean: centre,
            sd: mean(&squares).sqrt(),
        }
    }

    pub(crate) fn has_rate(&self) -> bool {
        self.costing.has_rate()
    }

    pub(crate) fn is_margin(&self) -> bool {
        self.costing.is_margin()
    }
}

/// The last jobs of a type, in order of release.
pub(crate) fn of_type<'r>(records: &'r [JobRecord], job_type: &Code) -> Vec<&'r JobRecord> {
    let of_type = records.iter().filter(|record| record.job_type == *job_type);
    let mut of_type: Vec<&JobRecord> = of_type.collect();
    of_type.sort_by_key(|record| (record.released, record.job, record.past));
    of_type
}

fn last_of<'r>(records: &'r [JobRecord], job_type: &Code) -> Vec<&'r JobRecord> {
    let mut all = of_type(records, job_type);
    all.split_off(all.len().saturating_sub(LAST_JOBS))
}

/// Classes with their shares; that of the type where no job says otherwise.
fn classes<'r>(last: &[&'r JobRecord], job_type: &'r JobType) -> Vec<(&'r Code, f64)> {
    let mut counts: BTreeMap<&Code, f64> = BTreeMap::new();
    for record in last {
        *counts.entry(&record.vehicle_class).or_default() += 1.0;
    }
    if counts.is_empty() {
        counts.insert(&job_type.vehicle_class, 1.0);
    }
    let sum: f64 = counts.values().sum();
    counts
        .into_iter()
        .map(|(class, n)| (class, n / sum))
        .collect()
}

fn slopes_none(fitted: &Fitted) -> Vec<f64> {
    vec![0.0; fitted.posterior.slopes().len()]
}

/// Mean grades of some jobs, and by how much the mean over the jobs is above a
/// job of the mean grades (Jensen): grades act as factors.
fn usual_slopes(fitted: &Fitted, each: &[Vec<f64>], none: Vec<f64>) -> (Vec<f64>, f64) {
    if each.is_empty() {
        return (none, 1.0);
    }
    let by: Vec<f64> = fitted.posterior.slopes().iter().map(|s| s.mean).collect();
    let sum = |x: &[f64]| -> f64 { x.iter().zip(&by).map(|(x, b)| x * b).sum() };
    let centre: Vec<f64> = (0..none.len())
        .map(|k| mean(&each.iter().map(|x| x[k]).collect::<Vec<f64>>()))
        .collect();
    let factors: Vec<f64> = each.iter().map(|x| (sum(x) - sum(&centre)).exp()).collect();
    (centre, mean(&factors))
}

/// Draws of the mean: of what the average is unsure about, times the factor by
/// which single jobs are above it in the mean; and that factor.
fn means(fitted: &Fitted, cells: &[Cell], bases: &[f64], mean_of_jobs: f64) -> (Vec<f64>, f64) {
    let average = Options {
        unit: false,
        error: false,
        ..Options::default()
    };
    let drawn = fitted.posterior.simulate(cells, DRAWS, SEED, average);
    let mut centres = drawn.total(bases);
    let above = mean_of_jobs / mean(&centres);
    for centre in &mut centres {
        *centre *= above;
    }
    (centres, above)
}

fn goods(
    learnt: &Learnt,
    last: &[&JobRecord],
    classes: &[(&Code, f64)],
    catalogue: &Catalogue,
    (code, job_type): (&Code, &JobType),
) -> Vec<(Code, PortionUnit, Vec<f64>)> {
    let Some(fitted) = learnt.goods.as_ref() else {
        return Vec::new();
    };
    let each: Vec<Vec<f64>> = last
        .iter()
        .map(|record| goods_slopes(record.grades))
        .collect();
    let (x, factor) = usual_slopes(fitted, &each, slopes_none(fitted));
    let allowed = bases::products(job_type, catalogue);
    let of = |((product, unit), allowance): ((Code, PortionUnit), i64)| {
        let base = learnt
            .bases
            .amount(code, &product, unit)
            .unwrap_or(allowance);
        let cell = goods_cell(fitted, (code, &product, unit), classes, x.clone());
        let bases = [to_f64(base) * factor];
        let full =
            fitted
                .posterior
                .simulate(std::slice::from_ref(&cell), DRAWS, SEED, Options::default());
        let (drawn, _) = means(fitted, &[cell], &bases, mean(&full.total(&bases)));
        (product, unit, drawn)
    };
    allowed.into_iter().map(of).collect()
}

/// A product on average over some classes.
pub(crate) fn goods_cell(
    fitted: &Fitted,
    (job_type, product, unit): (&Code, &Code, PortionUnit),
    classes: &[(&Code, f64)],
    slopes: Vec<f64>,
) -> Cell {
    let mut terms = Vec::new();
    for (class, share) in classes {
        let names = goods_names(job_type, product, unit, class);
        let last = names.len() - 1;
        for (factor, name) in names.iter().enumerate() {
            // All but the class are the same for each of them.
            if factor == last {
                terms.push(term(factor, fitted.level(factor, name), *share));
            } else if terms.len() < last {
                terms.push(term(factor, fitted.level(factor, name), 1.0));
            }
        }
    }
    Cell { terms, slopes }
}
