//! A quote out of what was learned.
//!
//! The stages of one vehicle are drawn together: they share the effects of its
//! type and class, and one effect of the job, which is what makes a total honest.
//! Halves and four-in-fives are quantiles of seeded draws.

use baywright_floor::catalogues::Catalogues;
use baywright_floor::fact::Grades;
use baywright_learn::posterior::quantile;
use baywright_terms::amount::{Amount, Decimal, Unit, share_money};
use baywright_terms::catalogue::{Catalogue, JobType, ProductAllowance, Source, StageAllowance};
use baywright_terms::code::{Code, nearest};
use baywright_terms::time::{DAY_US, Micros};

use super::bases;
use super::bay_time::BayTime;
use super::cost::{self, Costing};
use super::drawn::{Goods, Hours, Question, Wanted};
use super::hash::hash_of;
use super::learn::{Learnt, mean, whole};
use super::likes::likes;
use super::records::JobRecord;
use crate::figures::{PortionUnit, SuggestedProduct, SuggestedStage, Suggestion};
use crate::money::in_shop_currency;

/// How long a quote is valid where the shop says nothing.
const VALID_US: i64 = 30 * DAY_US;

/// Quantiles of cost from which the range of an unseen vehicle is priced.
const UNSEEN_FROM: f64 = 0.2;
const UNSEEN_TO: f64 = 0.9;

/// What a quote is asked for.
#[derive(Debug, Clone, PartialEq)]
pub struct Asking {
    pub job_type: Code,
    /// Empty: that of the type.
    pub vehicle_class: Code,
    pub grades: Grades,
    pub without: Vec<Code>,
    pub with: Vec<Code>,
    pub unseen: bool,
    /// A line of its own: the stages in `with` alone, and no product.
    pub addition: bool,
    /// 0: made out of the rest.
    pub seed: u64,
}

/// Why nothing can be quoted.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SuggestError {
    #[error("there is no job type `{code}` in the catalogue")]
    NoSuchType { code: Code, nearest: Vec<String> },
    #[error("there is no stage `{code}` in the catalogue")]
    NoSuchStage { code: Code, nearest: Vec<String> },
    #[error("no job type allows time for `{code}`, so nothing can be said of it")]
    NoAllowance { code: Code },
    #[error("`{code}` has no stages in the catalogue, so nothing can be quoted")]
    NoStages { code: Code },
    #[error("what was learned could not be worked out")]
    NotLearned,
}

/// Works a quote out at an instant.
///
/// # Errors
/// [`SuggestError`] for a type or stage that nothing is known of.
pub fn suggest(
    learnt: &Learnt,
    records: &[JobRecord],
    catalogues: &Catalogues,
    asking: &Asking,
    at: Micros,
) -> Result<Suggestion, SuggestError> {
    let catalogue = &catalogues.at(at).catalogue;
    let job_type = job_type(catalogue, &asking.job_type)?;
    let class = if asking.vehicle_class.is_empty() {
        job_type.vehicle_class.clone()
    } else {
        asking.vehicle_class.clone()
    };
    let wanted = wanted(learnt, catalogue, job_type, asking)?;
    let seed = if asking.seed == 0 {
        seed_of(asking, learnt.jobs)
    } else {
        asking.seed
    };
    let asked = Question {
        learnt,
        catalogue,
        asking,
        class: &class,
        seed,
    };
    let mut hours = asked.hours(&wanted)?;
    let products = asked.goods(job_type)?;
    let mut out = asked.figures(job_type, &wanted, &mut hours, &products);
    let mut bay = BayTime::of(records, &asking.job_type, catalogue, job_type);
    if asking.addition {
        // The vehicle waits as it would have without it, as far as anyone knows.
        bay.waiting_us = 0;
    }
    out.bay_half_us = bay.needed_us(out.hands_on_half_us);
    out.bay_p80_us = bay.needed_us(out.hands_on_p80_us);
    out.waiting_half_us = bay.waiting_us;
    out.likes = likes(records, &asking.job_type, &class, asking.grades);
    out.valid_until = valid_until(catalogue, at);
    let costing = asked.costing(&out.stages, &products);
    asked.remark(&mut out, &wanted, job_type, &costing);
    Ok(out)
}

fn job_type<'c>(catalogue: &'c Catalogue, code: &Code) -> Result<&'c JobType, SuggestError> {
    let known = || catalogue.job_types.keys().map(Code::as_str);
    catalogue.job_types.get(code).ok_or_else(|| {
        let near = nearest(code.as_str(), known());
        SuggestError::NoSuchType {
            code: code.clone(),
            nearest: near.into_iter().map(str::to_owned).collect(),
        }
    })
}

/// The stages of the type without and with what was asked.
fn wanted(
    learnt: &Learnt,
    catalogue: &Catalogue,
    job_type: &JobType,
    asking: &Asking,
) -> Result<Vec<Wanted>, SuggestError> {
    for code in asking.without.iter().chain(&asking.with) {
        if !catalogue.stages.contains_key(code) {
            let known = catalogue.stages.keys().map(Code::as_str);
            let near = nearest(code.as_str(), known);
            return Err(SuggestError::NoSuchStage {
                code: code.clone(),
                nearest: near.into_iter().map(str::to_owned).collect(),
            });
        }
    }
    let in_force = bases::stages(job_type);
    let given = |stage: &Code| learnt.bases.stage_us(&asking.job_type, stage);
    let mut wanted: Vec<Wanted> = Vec::new();
    let listed = job_type.stages.iter().filter(|_| !asking.addition);
    for stage in listed.map(|allowance| &allowance.stage) {
        let skipped = asking.without.contains(stage);
        let twice = wanted.iter().any(|w| w.stage == *stage);
        if let Some(us) = in_force.get(stage).filter(|_| !skipped && !twice) {
            wanted.push(Wanted {
                stage: stage.clone(),
                allowance_us: *us,
                base_us: given(stage).unwrap_or(*us),
            });
        }
    }
    for stage in &asking.with {
        if wanted.iter().any(|w| w.stage == *stage) {
            continue;
        }
        let base_us = given(stage).or_else(|| learnt.bases.borrowed_us(stage));
        let base_us = base_us.ok_or_else(|| SuggestError::NoAllowance {
            code: stage.clone(),
        })?;
        wanted.push(Wanted {
            stage: stage.clone(),
            allowance_us: in_force.get(stage).copied().unwrap_or(base_us),
            base_us,
        });
    }
    if wanted.is_empty() {
        return Err(SuggestError::NoStages {
            code: asking.job_type.clone(),
        });
    }
    Ok(wanted)
}

/// The same for the same question and number of records.
fn seed_of(asking: &Asking, jobs: u32) -> u64 {
    let text = format!("{asking:?}{jobs}");
    // Six digits that a person can type again.
    hash_of(text.as_bytes()) % 999_999 + 1
}

impl Question<'_> {
    fn figures(
        &self,
        job_type: &JobType,
        wanted: &[Wanted],
        hours: &mut Hours,
        goods: &[Goods],
    ) -> Suggestion {
        let shop = self.catalogue.shop.as_ref();
        let currency = shop.map(|s| s.currency.clone()).unwrap_or_default();
        let costs = shop.map(|s| s.costs).unwrap_or_default();
        let target = costs.target_margin_permille;
        let target_permille = target.unwrap_or(cost::TARGET_MARGIN_PERMILLE);
        let half_us = whole(quantile(&mut hours.totals, 0.5).value);
        let p80 = quantile(&mut hours.totals, 0.8);
        let (p80_us, mean_us) = (whole(p80.value), whole(mean(&hours.totals)));
        let stages = self.stages(wanted, hours, half_us);
        let costing = self.costing(&stages, goods);
        let amounts =
            |of: fn(&Goods) -> i64| goods.iter().map(move |g| (&g.product, g.unit, of(g)));
        let mean_cost = costing.cost(mean_us, amounts(|g| g.mean));
        let at = |us: i64| costing.cost(us, amounts(|g| g.mean)).sum_minor();
        let price = |cost: i64| cost::price_minor(cost, target_permille, &currency);
        let price_minor = price(mean_cost.sum_minor());
        let cost_p80_minor = at(p80_us);
        let range = self.asking.unseen.then(|| {
            let of = |hours: &mut Hours, share| {
                price(at(whole(quantile(&mut hours.totals, share).value)))
            };
            (
                of(hours, UNSEEN_FROM).min(price_minor),
                of(hours, UNSEEN_TO).max(price_minor),
            )
        });
        let from_jobs = self.learnt.jobs_of_type(&self.asking.job_type);
        let list = in_shop_currency(self.catalogue, job_type.price.as_ref());
        Suggestion {
            vehicle_class: self.class.clone(),
            products: self.products(&costing, goods),
            hands_on_half_us: half_us,
            hands_on_p80_us: p80_us,
            hands_on_mean_us: mean_us,
            hands_on_p80_error_us: whole(p80.error),
            cost: mean_cost,
            cost_half_minor: at(half_us),
            cost_p80_minor,
            target_margin_permille: target_permille,
            target_is_guess: target.is_none(),
            price_minor,
            price_range_minor: range,
            margin_p80_permille: cost::margin_permille(price_minor, cost_p80_minor),
            list_minor: list.filter(|_| !self.asking.addition),
            from_jobs,
            from_jobs_all: self.learnt.jobs,
            trade_guess: from_jobs == 0,
            seed: self.seed,
            draws: u32::try_from(hours.totals.len()).unwrap_or(u32::MAX),
            widen_milli: u32::try_from(whole(self.learnt.widen.factor * 1_000.0)).unwrap_or(1_000),
            tax_milli_pct: costs.tax_milli_pct,
            margin: costing.is_margin(),
            currency,
            stages,
            bay_half_us: 0,
            bay_p80_us: 0,
            waiting_half_us: 0,
            likes: Vec::new(),
            valid_until: self.learnt.as_of,
            remarks: Vec::new(),
        }
    }

    fn stages(&self, wanted: &[Wanted], hours: &mut Hours, half_us: i64) -> Vec<SuggestedStage> {
        let means: Vec<i64> = hours.stages.iter().map(|d| whole(mean(d))).collect();
        let shares = share_money(half_us, &means);
        let drawn = hours.stages.iter_mut().zip(shares);
        let stages = wanted.iter().zip(drawn);
        stages
            .map(|(wanted, (drawn, quoted_us))| SuggestedStage {
                stage: wanted.stage.clone(),
                allowance_us: wanted.allowance_us,
                half_us: whole(quantile(drawn, 0.5).value),
                p80_us: whole(quantile(drawn, 0.8).value),
                quoted_us,
                n: self
                    .learnt
                    .rows_of_stage(&self.asking.job_type, &wanted.stage),
            })
            .collect()
    }

    fn costing(&self, stages: &[SuggestedStage], goods: &[Goods]) -> Costing<'_> {
        let stages = stages.iter().map(|stage| StageAllowance {
            stage: stage.stage.clone(),
            allowance_us: stage.quoted_us,
            source: Source::Shop,
        });
        let products = goods.iter().map(|goods| ProductAllowance {
            product: goods.product.clone(),
            amount: amount(goods.half, goods.unit),
            source: Source::Shop,
        });
        Costing::of(self.catalogue, stages.collect(), products.collect())
    }

    fn products(&self, costing: &Costing<'_>, goods: &[Goods]) -> Vec<SuggestedProduct> {
        let product = |goods: &Goods| {
            let quoted = amount(goods.half, goods.unit);
            SuggestedProduct {
                product: goods.product.clone(),
                unit: goods.unit,
                allowance: goods.allowance,
                half: goods.half,
                p80: goods.p80,
                quoted,
                cost_minor: costing.material_minor(&goods.product, goods.unit, goods.half),
                n: self
                    .learnt
                    .rows_of_product(&self.asking.job_type, &goods.product),
            }
        };
        goods.iter().map(product).collect()
    }
}

fn valid_until(catalogue: &Catalogue, at: Micros) -> Micros {
    let shop = catalogue.shop.as_ref();
    let valid_us = shop
        .and_then(|s| s.costs.quote_valid_us)
        .unwrap_or(VALID_US);
    Micros(at.0.saturating_add(valid_us))
}

/// An amount to two figures, in millilitres, grams or pieces.
pub(crate) fn amount(base: i64, unit: PortionUnit) -> Amount {
    let parts = i64::from(unit.parts());
    let mut step = 1;
    while base / step >= 100 {
        step *= 10;
    }
    let rounded = (base + step / 2) / step * step;
    // Thousandths of the unit are as fine as an amount is typed.
    let decimal = Decimal {
        digits: rounded / (parts / 1_000).max(1),
        scale: 3,
    };
    Amount {
        decimal: decimal.normalised(),
        unit: match unit {
            PortionUnit::Ml => Unit::Ml,
            PortionUnit::G => Unit::G,
            PortionUnit::Each => Unit::Each,
        },
    }
}
