//! What is left of each record once the grades, the class and the worker are taken
//! out of it: how a stage or a job runs against its given allowance.

use baywright_learn::posterior::Level;
use baywright_terms::catalogue::Catalogue;
use baywright_terms::code::Code;

use super::learn::{Fitted, Learnt, goods_slopes, kind_of, slopes, to_f64};
use super::model::{CLASS, WORKER};
use super::records::{JobRecord, ProductRecord, StageRecord};

pub(crate) struct Residuals<'l> {
    learnt: &'l Learnt,
    hours: &'l Fitted,
    catalogue: &'l Catalogue,
    slopes: Vec<f64>,
    classes: Vec<f64>,
    workers: Vec<f64>,
    goods_slopes: Vec<f64>,
    /// Spreads of a job and of a record, hours then amounts.
    job_sd: f64,
    record_sd: f64,
    amount_sd: f64,
}

impl<'l> Residuals<'l> {
    pub(crate) fn of(learnt: &'l Learnt, catalogue: &'l Catalogue) -> Option<Self> {
        let hours = learnt.hours.as_ref()?;
        let means = |factor| {
            hours
                .posterior
                .effects(factor)
                .iter()
                .map(|e| e.mean)
                .collect()
        };
        let slope_means = |fitted: &Fitted| -> Vec<f64> {
            fitted.posterior.slopes().iter().map(|s| s.mean).collect()
        };
        // The last two spreads are those of a job and of a record.
        let spreads = |fitted: &Fitted| {
            let all = fitted.posterior.spreads();
            let mut last = all.iter().rev().map(|spread| spread.median);
            let record = last.next().unwrap_or(0.0);
            (last.next().unwrap_or(0.0), record)
        };
        let (job_sd, record_sd) = spreads(hours);
        let goods = learnt.goods.as_ref();
        let (goods_job, goods_record) = goods.map_or((job_sd, record_sd), spreads);
        Some(Self {
            learnt,
            hours,
            catalogue,
            slopes: slope_means(hours),
            classes: means(CLASS),
            workers: means(WORKER),
            goods_slopes: goods.map(slope_means).unwrap_or_default(),
            job_sd,
            record_sd,
            amount_sd: goods_job.hypot(goods_record),
        })
    }

    /// Of one stage; `None` where nobody allowed time for it.
    pub(crate) fn of_stage(&self, job: &JobRecord, stage: &StageRecord) -> Option<f64> {
        let base = self.learnt.bases.stage_us(&job.job_type, &stage.stage)?;
        let off = (to_f64(stage.us) / to_f64(base)).ln() - self.expected(job, stage);
        off.is_finite().then_some(off)
    }

    /// Of all stages of a job together.
    pub(crate) fn of_job(&self, job: &JobRecord) -> Option<f64> {
        let (mut actual, mut expected) = (0.0, 0.0);
        for stage in &job.stages {
            let base = self.learnt.bases.stage_us(&job.job_type, &stage.stage);
            if let Some(base) = base {
                actual += to_f64(stage.us);
                expected += to_f64(base) * self.expected(job, stage).exp();
            }
        }
        let off = (actual / expected).ln();
        off.is_finite().then_some(off)
    }

    /// Of one product.
    pub(crate) fn of_product(&self, job: &JobRecord, product: &ProductRecord) -> Option<f64> {
        let bases = &self.learnt.bases;
        let base = bases.amount(&job.job_type, &product.product, product.unit)?;
        let x = goods_slopes(job.grades);
        let by_grades: f64 = x.iter().zip(&self.goods_slopes).map(|(x, b)| x * b).sum();
        let off = (to_f64(product.base) / to_f64(base)).ln() - by_grades;
        off.is_finite().then_some(off)
    }

    fn expected(&self, job: &JobRecord, stage: &StageRecord) -> f64 {
        let x = slopes(job.grades, kind_of(self.catalogue, &stage.stage));
        let by_grades: f64 = x.iter().zip(&self.slopes).map(|(x, b)| x * b).sum();
        let worker = stage.worker.as_ref();
        by_grades
            + self.effect(CLASS, &self.classes, &job.vehicle_class)
            + worker.map_or(0.0, |worker| self.effect(WORKER, &self.workers, worker))
    }

    fn effect(&self, factor: usize, effects: &[f64], name: &Code) -> f64 {
        match self.hours.level(factor, name.as_str()) {
            Level::Known(level) => effects.get(level).copied().unwrap_or(0.0),
            _ => 0.0,
        }
    }

    /// Spread of one stage's residuals.
    pub(crate) fn stage_sd(&self) -> f64 {
        self.job_sd.hypot(self.record_sd)
    }

    /// Spread of a job's: its record errors are partly averaged out, as over about
    /// two stages of one size.
    pub(crate) fn job_sd(&self) -> f64 {
        self.job_sd
            .hypot(self.record_sd * std::f64::consts::FRAC_1_SQRT_2)
    }

    pub(crate) fn amount_sd(&self) -> f64 {
        self.amount_sd
    }
}
