//! What records say about allowances, by type: the learned half with its range,
//! whether it drifts, and whether it is worth applying.

use std::collections::BTreeMap;

use baywright_floor::catalogues::Catalogues;
use baywright_learn::evidence;
use baywright_learn::normal;
use baywright_terms::catalogue::{Catalogue, JobType, Source};
use baywright_terms::code::Code;
use baywright_terms::time::{MINUTE_US, Micros};

use super::bases;
use super::cells::mean_cell;
use super::learn::{Learnt, to_f64, whole};
use super::look_again::{self, PRIOR_SD};
use super::model::{self, SLOPES};
use super::records::JobRecord;
use super::residuals::Residuals;
use super::suggest::amount;
use super::usual::{Usual, goods_cell, of_type};
use crate::figures::{
    Drift, Learned, LearnedGrade, LearnedProduct, LearnedSpread, LearnedStage, LearnedType,
    PortionUnit,
};
use crate::money::in_shop_currency;

/// An allowance is worth applying once it is so sure that it is off by more than
/// [`NEAR`], and until it is less sure than `LEAVE`; never from fewer records. At
/// nine in ten it lies outside the range that is shown, which leaves one in ten out
/// on either side.
const ENTER: f64 = 0.975;
const LEAVE: f64 = 0.9;
const RECORDS_MIN: u32 = 5;

/// Off by less is near enough, either way: a twentieth.
const NEAR: f64 = 0.05;

/// Which stages a grade acts on, in the order of the slopes.
const ACTS_ON: [&str; 3] = ["cleaning", "correction", "all stages"];

/// What was learned, for one type or for all that are not retired.
pub fn learned(
    learnt: &Learnt,
    records: &[JobRecord],
    catalogues: &Catalogues,
    at: Micros,
    only: Option<&Code>,
) -> Learned {
    let catalogue = &catalogues.at(at).catalogue;
    let shop = catalogue.shop.as_ref();
    let mut out = Learned {
        currency: shop.map(|s| s.currency.clone()).unwrap_or_default(),
        jobs: learnt.jobs,
        jobs_imported: learnt.jobs_imported,
        grades: grades(learnt),
        spreads: spreads(learnt),
        widen_milli: milli(learnt.widen.factor),
        widened: learnt.widen.is_worth_saying(),
        remarks: remarks(learnt, catalogue),
        ..Learned::default()
    };
    let Some(residuals) = Residuals::of(learnt, catalogue) else {
        return out;
    };
    let types = catalogue.job_types.iter();
    for (code, job_type) in types.filter(|(code, t)| only.map_or(!t.retired, |o| o == *code)) {
        let usual = Usual::of(learnt, records, catalogue, code, job_type);
        let asked = OfType {
            learnt,
            residuals: &residuals,
            jobs: of_type(records, code),
            catalogue,
            code,
            job_type,
        };
        out.types.push(asked.figures(usual.as_ref()));
        let look = usual
            .as_ref()
            .filter(|_| !job_type.retired)
            .and_then(|usual| {
                let of = (code, job_type);
                look_again::of_usual(usual, &residuals, learnt, records, catalogue, of)
            });
        out.look_again.extend(look);
    }
    out
}

struct OfType<'a> {
    learnt: &'a Learnt,
    residuals: &'a Residuals<'a>,
    /// In order of release.
    jobs: Vec<&'a JobRecord>,
    catalogue: &'a Catalogue,
    code: &'a Code,
    job_type: &'a JobType,
}

/// A learned ratio to the given allowance, on the log scale.
#[derive(Clone, Copy)]
struct Ratio {
    mean: f64,
    sd: f64,
}

impl Ratio {
    /// Half, and the range that holds it four in five, of a given allowance.
    fn of(self, given: i64) -> (i64, i64, i64) {
        let reach = normal::quantile(0.9) * self.sd;
        let at = |log: f64| whole(to_f64(given) * log.exp());
        (at(self.mean), at(self.mean - reach), at(self.mean + reach))
    }

    /// Whether the allowance in force is worth another word. `offs` are what the
    /// records said one by one, in order.
    fn suggests(self, allowance: i64, given: i64, offs: &[f64], noise_sd: f64) -> bool {
        let now = (to_f64(allowance) / to_f64(given)).ln();
        let last = evidence::Belief {
            mean: self.mean,
            sd: self.sd,
        };
        let path = evidence::path(offs, last, PRIOR_SD, noise_sd);
        let near = NEAR.ln_1p();
        let longer = path.iter().map(|b| b.above(now + near));
        let shorter = path.iter().map(|b| 1.0 - b.above(now - near));
        evidence::steady(longer, ENTER, LEAVE) || evidence::steady(shorter, ENTER, LEAVE)
    }
}

impl OfType<'_> {
    fn figures(&self, usual: Option<&Usual<'_>>) -> LearnedType {
        let jobs = self.learnt.jobs_of_type(self.code);
        let list = in_shop_currency(self.catalogue, self.job_type.price.as_ref());
        LearnedType {
            job_type: self.code.clone(),
            name: self.job_type.name.clone(),
            jobs,
            stages: self.stages(),
            products: self.products(),
            hands_on_half_us: usual.map_or(0, |u| u.half_us),
            hands_on_p80_us: usual.map_or(0, |u| u.p80_us),
            cost_minor: usual.map_or(0, Usual::cost_minor),
            list_minor: list.unwrap_or(0),
            trade_guess: jobs == 0,
        }
    }

    fn stages(&self) -> Vec<LearnedStage> {
        let in_force = bases::stages(self.job_type);
        let mut out: Vec<LearnedStage> = Vec::new();
        for stage in self.job_type.stages.iter().map(|a| &a.stage) {
            let twice = out.iter().any(|of| of.stage == *stage);
            let allowance = in_force.get(stage).filter(|_| !twice);
            out.extend(allowance.and_then(|us| self.stage(stage, *us)));
        }
        out
    }

    fn stage(&self, stage: &Code, allowance_us: i64) -> Option<LearnedStage> {
        let fitted = self.learnt.hours.as_ref()?;
        let given = self.learnt.bases.stage_us(self.code, stage);
        let given_us = given.unwrap_or(allowance_us);
        let classes = [(&self.job_type.vehicle_class, 1.0)];
        let none = vec![0.0; SLOPES.len()];
        let cell = mean_cell(self.learnt, fitted, (self.code, stage), &classes, none);
        let (mean, sd) = fitted.posterior.linear(&cell);
        let ratio = Ratio { mean, sd };
        let of_job = |job: &&JobRecord| {
            let record = job.stages.iter().find(|s| s.stage == *stage)?;
            self.residuals.of_stage(job, record)
        };
        let offs: Vec<f64> = self.jobs.iter().filter_map(of_job).collect();
        let n = self.learnt.rows_of_stage(self.code, stage);
        let (half_us, half_low_us, half_high_us) = ratio.of(given_us);
        let sd = self.residuals.stage_sd();
        Some(LearnedStage {
            stage: stage.clone(),
            allowance_us,
            given_us,
            half_us,
            half_low_us,
            half_high_us,
            n,
            drift: drift(&offs),
            suggest: n >= RECORDS_MIN && ratio.suggests(allowance_us, given_us, &offs, sd),
            trade_guess: n == 0,
        })
    }

    fn products(&self) -> Vec<LearnedProduct> {
        let in_force = bases::products(self.job_type, self.catalogue);
        in_force
            .into_iter()
            .filter_map(|((product, unit), allowance)| self.product(product, unit, allowance))
            .collect()
    }

    fn product(&self, product: Code, unit: PortionUnit, allowance: i64) -> Option<LearnedProduct> {
        let fitted = self.learnt.goods.as_ref()?;
        let given = self.learnt.bases.amount(self.code, &product, unit);
        let given = given.unwrap_or(allowance);
        let classes = [(&self.job_type.vehicle_class, 1.0)];
        let none = vec![0.0; model::GOODS_SLOPES.len()];
        let cell = goods_cell(fitted, (self.code, &product, unit), &classes, none);
        let (mean, sd) = fitted.posterior.linear(&cell);
        let ratio = Ratio { mean, sd };
        let of_job = |job: &&JobRecord| {
            let mut of = job.products.iter();
            let record = of.find(|p| p.product == product && p.unit == unit)?;
            self.residuals.of_product(job, record)
        };
        let offs: Vec<f64> = self.jobs.iter().filter_map(of_job).collect();
        let n = self.learnt.rows_of_product(self.code, &product);
        let (half, half_low, half_high) = ratio.of(given);
        let sd = self.residuals.amount_sd();
        Some(LearnedProduct {
            unit,
            allowance,
            given,
            half,
            half_low,
            half_high,
            n,
            suggest: n >= RECORDS_MIN && ratio.suggests(allowance, given, &offs, sd),
            trade_guess: n == 0,
            product,
        })
    }
}

fn drift(offs: &[f64]) -> Option<Drift> {
    let shift = evidence::shift(offs)?;
    Some(Drift {
        milli: milli(shift.mean.exp()),
        low_milli: milli(shift.low.exp()),
        high_milli: milli(shift.high.exp()),
        drifting: shift.low > 0.0 || shift.high < 0.0,
    })
}

fn milli(factor: f64) -> u32 {
    u32::try_from(whole(factor * 1_000.0)).unwrap_or(0)
}

fn grades(learnt: &Learnt) -> Vec<LearnedGrade> {
    let Some(fitted) = learnt.hours.as_ref() else {
        return Vec::new();
    };
    let named = SLOPES.iter().zip(ACTS_ON).zip(fitted.posterior.slopes());
    named
        .map(|(((grade, trade, _), acts_on), slope)| {
            let reach = normal::quantile(0.9) * slope.sd;
            LearnedGrade {
                grade,
                acts_on,
                factor_milli: milli(slope.mean.exp()),
                factor_low_milli: milli((slope.mean - reach).exp()),
                factor_high_milli: milli((slope.mean + reach).exp()),
                trade_milli: milli(trade.exp()),
            }
        })
        .collect()
}

fn spreads(learnt: &Learnt) -> Vec<LearnedSpread> {
    let Some(fitted) = learnt.hours.as_ref() else {
        return Vec::new();
    };
    let factors = model::hours().factors.into_iter().map(|f| f.name);
    let names = factors.chain(["job".to_owned(), "record".to_owned()]);
    names
        .zip(fitted.posterior.spreads())
        .map(|(what, spread)| LearnedSpread {
            what,
            factor_milli: milli(spread.median.exp()),
            factor_low_milli: milli(spread.low.exp()),
            factor_high_milli: milli(spread.high.exp()),
        })
        .collect()
}

fn remarks(learnt: &Learnt, catalogue: &Catalogue) -> Vec<String> {
    let mut remarks = Vec::new();
    if learnt.jobs == 0 {
        remarks.push(
            "No job was recorded yet: every figure is a trade guess, not your shop.".to_owned(),
        );
    }
    if learnt.widen.is_worth_saying() {
        let how = if learnt.widen.factor > 1.0 {
            "wider"
        } else {
            "narrower"
        };
        remarks.push(format!(
            "Each of the last {} jobs was predicted from the others: ranges were off, so they are made {how} by a factor of {:.2}.",
            learnt.widen.units, learnt.widen.factor
        ));
    }
    let costs = catalogue
        .shop
        .as_ref()
        .map(|shop| shop.costs)
        .unwrap_or_default();
    if costs.target_margin_permille.is_none() {
        remarks.push("No list price is held against a target: the catalogue gives no target margin. Set target-margin under [shop].".to_owned());
    } else if costs.wage_burden_milli.is_none() || costs.overhead_per_hour_minor.is_none() {
        remarks.push("Wage burden or overhead is not given, so costs are too low: a price that asks too much cannot be told.".to_owned());
    }
    remarks
}

/// A type with what was learned in place of each allowance that is worth it:
/// whole minutes, amounts to two figures, marked as the shop's own.
pub fn applied(learned: &LearnedType, job_type: &JobType) -> JobType {
    let mut out = job_type.clone();
    let worth = learned.stages.iter().filter(|s| s.suggest);
    let stages: BTreeMap<&Code, i64> = worth.map(|s| (&s.stage, s.half_us)).collect();
    // A stage that stands twice keeps its share of the sum.
    let in_force = bases::stages(job_type);
    for allowance in &mut out.stages {
        let sum = in_force.get(&allowance.stage).copied().unwrap_or(0);
        if let Some(half) = stages.get(&allowance.stage).filter(|_| sum > 0) {
            let share = to_f64(allowance.allowance_us) / to_f64(sum);
            let minutes = whole(to_f64(*half) * share / to_f64(MINUTE_US)).max(1);
            allowance.allowance_us = minutes.saturating_mul(MINUTE_US);
            allowance.source = Source::Shop;
        }
    }
    for product in learned.products.iter().filter(|p| p.suggest) {
        let mut of = out
            .products
            .iter_mut()
            .filter(|a| a.product == product.product);
        // Standing twice, it is left to a person.
        if let (Some(allowance), None) = (of.next(), of.next()) {
            allowance.amount = amount(product.half, product.unit);
            allowance.source = Source::Shop;
        }
    }
    out
}
