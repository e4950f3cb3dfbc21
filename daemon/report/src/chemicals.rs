//! Chemicals on released jobs against their allowances, concentrate-equivalent.
//!
//! A use of a mix counts as its share of what went into the mix: used volume ×
//! concentrate ÷ volume of the mix, worked out in 128-bit integers and rounded
//! once, per use, to the nearest nanolitre (ties to even); other things in the
//! mix are shared in the same way. A weighed amount becomes a volume where the
//! catalogue in force gives the product's density. Millilitres, grams and
//! pieces are never added to each other.
//!
//! What nobody measured is shared out as [`crate::materials`] says. Costs are
//! those of [`crate::money`]: a row's cost is the sum of what its jobs show for
//! the product, with their shares of what was dumped. Figures for each job are
//! over the jobs with an amount, and without what was dumped; quantiles are
//! those of [`crate::quantile`]. A comeback is none of them: it puts right what
//! another job was allowed for, so its use is only in the sums.

use std::collections::{BTreeMap, BTreeSet};

use baywright_floor::catalogues::Catalogues;
use baywright_floor::event::Seq;
use baywright_floor::row::{MixMadeRow, UseRow};
use baywright_terms::amount::{Nanolitres, Quantity};
use baywright_terms::catalogue::Catalogue;
use baywright_terms::code::Code;

use crate::figures::{ChemicalFigures, JobFigures, PerJob, Portion, PortionUnit, StoryUse};
use crate::input::{Index, JobRows};
use crate::labour::count;
use crate::materials::{self, Basis, Materials};
use crate::money::{self, ProductMoney};
use crate::promise::Promise;
use crate::quantile::{mean, quantile};
use crate::span::{Span, clamp, divide_half_even};

/// A product's amounts in one unit.
#[derive(Debug, Default)]
struct Tally {
    used: i128,
    allowance: i128,
    jobs_allowed: u32,
    dumped: i128,
    money: ProductMoney,
    /// Amount used, and its cost, of each job with one.
    of_jobs: Vec<(i64, i64)>,
    apportioned: bool,
    at_allowance: bool,
    seqs: BTreeSet<Seq>,
}

/// All about one product on a set of jobs.
#[derive(Debug, Default)]
struct ProductTally {
    by_unit: BTreeMap<PortionUnit, Tally>,
    jobs_with_use: u32,
    without_amount: u32,
}

type Tallies = BTreeMap<Code, ProductTally>;
/// Money of the products of one job, or of no job.
type Money = BTreeMap<(Code, PortionUnit), ProductMoney>;

/// Amounts per job type and product over `jobs`, which were released in
/// `week`; then what was used on no job or dumped for nobody in the week.
pub(crate) fn chemical_figures(
    index: &Index<'_>,
    catalogues: &Catalogues,
    week: Span,
    jobs: &[JobFigures],
) -> Vec<ChemicalFigures> {
    let mut types: BTreeMap<&Code, (u32, Tallies)> = BTreeMap::new();
    for job in jobs {
        let (jobs_of_type, tallies) = types.entry(&job.job_type).or_default();
        *jobs_of_type = jobs_of_type.saturating_add(1);
        if let Some(rows) = index.jobs.get(&job.job) {
            add_job(tallies, index, catalogues, rows);
        }
    }
    let mut figures = Vec::new();
    for (job_type, (jobs_of_type, tallies)) in types {
        let of_type = to_figures(job_type, jobs_of_type, tallies, catalogues, week);
        figures.extend(of_type);
    }
    let mut loose = Tallies::new();
    let taken = materials::loose(index, catalogues, week);
    let money = money::loose_products(index, catalogues, &taken);
    add(&mut loose, &taken, money, false);
    figures.extend(to_figures(&Code::new(""), 0, loose, catalogues, week));
    figures
}

/// What one job used, against its allowances.
pub(crate) fn story_uses(
    index: &Index<'_>,
    catalogues: &Catalogues,
    rows: &JobRows<'_>,
) -> Vec<StoryUse> {
    let mut tallies = Tallies::new();
    add_job(&mut tallies, index, catalogues, rows);
    let latest = &catalogues.latest().catalogue;
    let mut uses = Vec::new();
    for (product, mut tally) in tallies {
        let mut without_amount = std::mem::take(&mut tally.without_amount);
        for (unit, sums) in with_a_unit(tally.by_unit, latest, &product) {
            uses.push(StoryUse {
                product: product.clone(),
                unit,
                used: portion(unit, sums.used),
                allowance: portion(unit, sums.allowance),
                uses_without_amount: std::mem::take(&mut without_amount),
                seqs: sums.seqs.into_iter().collect(),
                cost_minor: sums.money.cost_minor,
                allowance_cost_minor: sums.money.allowance_minor,
                waste_minor: sums.money.waste_minor,
                apportioned: sums.apportioned,
                at_allowance: sums.at_allowance,
                no_price: sums.money.no_price,
            });
        }
    }
    uses
}

/// Adds what one job was allowed and took.
fn add_job(tallies: &mut Tallies, index: &Index<'_>, catalogues: &Catalogues, rows: &JobRows<'_>) {
    // A comeback is allowed nothing; see `labour`.
    if let Some(opened) = rows.opened.filter(|o| o.comeback_of.is_none()) {
        add_allowances(tallies, &Promise::of(index, catalogues, opened));
    }
    let taken = materials::of_job(index, catalogues, rows);
    let first_visit = rows.opened.is_some_and(|o| o.comeback_of.is_none());
    let money = money::products(index, catalogues, rows);
    add(tallies, &taken, money, first_visit);
}

fn add_allowances(tallies: &mut Tallies, promise: &Promise<'_>) {
    let mut allowed = BTreeSet::new();
    for allowance in promise.products.as_ref() {
        let quantity = allowance.amount.quantity();
        let amount = in_summing_unit(quantity, promise.catalogue, &allowance.product);
        let sums = tally(tallies, &allowance.product, amount.unit);
        sums.allowance += i128::from(amount.base);
        allowed.insert((&allowance.product, amount.unit));
    }
    for (product, unit) in allowed {
        let sums = tally(tallies, product, unit);
        sums.jobs_allowed = sums.jobs_allowed.saturating_add(1);
    }
}

/// Adds what one job took, or what no job took, with its money; `counts` where
/// it is one of the jobs that the figures for each job are over.
fn add(tallies: &mut Tallies, materials: &Materials, money: Money, counts: bool) {
    let mut recorded: BTreeSet<&Code> = BTreeSet::new();
    let mut used: BTreeMap<(&Code, PortionUnit), i64> = BTreeMap::new();
    for (product, _) in &materials.without_amount {
        let product_tally = tallies.entry(product.clone()).or_default();
        product_tally.without_amount = product_tally.without_amount.saturating_add(1);
        recorded.insert(product);
    }
    for taken in &materials.taken {
        let Portion { unit, base } = taken.amount;
        let sums = tally(tallies, &taken.product, unit);
        sums.seqs.extend(&taken.seqs);
        if taken.waste {
            sums.dumped += i128::from(base);
            continue;
        }
        sums.used += i128::from(base);
        sums.apportioned |= taken.basis == Basis::Apportioned;
        sums.at_allowance |= taken.basis == Basis::Allowance;
        if taken.basis == Basis::Measured {
            recorded.insert(&taken.product);
        }
        let of_job = used.entry((&taken.product, unit)).or_default();
        *of_job = of_job.saturating_add(base);
    }
    for product in recorded {
        let product_tally = tallies.entry(product.clone()).or_default();
        product_tally.jobs_with_use = product_tally.jobs_with_use.saturating_add(1);
    }
    for ((product, unit), money) in money {
        let sums = tally(tallies, &product, unit);
        if let Some(base) = used.get(&(&product, unit)).filter(|_| counts) {
            let cost_minor = money.cost_minor.saturating_sub(money.waste_minor);
            sums.of_jobs.push((*base, cost_minor));
        }
        sums.money.add(&money);
    }
}

/// Mean, median and P80 over jobs; all 0 for none.
fn per_job(of_jobs: &[(i64, i64)]) -> PerJob {
    let spread = |mut values: Vec<i64>| {
        values.sort_unstable();
        [
            mean(&values),
            quantile(&values, 1, 2),
            quantile(&values, 4, 5),
        ]
        .map(Option::unwrap_or_default)
    };
    let [mean_base, median_base, p80_base] =
        spread(of_jobs.iter().map(|(base, _)| *base).collect());
    let [cost_mean_minor, cost_median_minor, cost_p80_minor] =
        spread(of_jobs.iter().map(|(_, cost)| *cost).collect());
    PerJob {
        n: count(of_jobs.len()),
        mean_base,
        median_base,
        p80_base,
        cost_mean_minor,
        cost_median_minor,
        cost_p80_minor,
    }
}

/// What a use took, by product; empty where its amount is not known.
pub(crate) fn parts_of_use(
    index: &Index<'_>,
    catalogues: &Catalogues,
    used: &UseRow,
) -> Vec<(Code, Portion)> {
    let catalogue = &catalogues.at(used.at).catalogue;
    match (used.quantity, used.mix) {
        (Some(quantity), None) => {
            let part = in_summing_unit(quantity, catalogue, &used.product);
            vec![(used.product.clone(), part)]
        }
        (Some(Quantity::Volume(volume)), Some(mix)) => index
            .mixes
            .get(&mix)
            .map(|mix| parts_of_mix(mix, volume, catalogue))
            .unwrap_or_default(),
        // A mix has no density and is not counted in pieces.
        (Some(Quantity::Mass(_) | Quantity::Count(_)), Some(_)) | (None, _) => Vec::new(),
    }
}

/// The share that `volume` has in everything that went into a mix.
pub(crate) fn parts_of_mix(
    mix: &MixMadeRow,
    volume: Nanolitres,
    catalogue: &Catalogue,
) -> Vec<(Code, Portion)> {
    if mix.volume.0 <= 0 {
        return Vec::new();
    }
    let share = |base: i64| {
        let numerator = i128::from(volume.0) * i128::from(base);
        clamp(divide_half_even(numerator, i128::from(mix.volume.0)))
    };
    let concentrate = Portion {
        unit: PortionUnit::Ml,
        base: share(mix.concentrate.0),
    };
    let mut parts = vec![(mix.product.clone(), concentrate)];
    for (product, quantity) in &mix.additions {
        let whole = in_summing_unit(*quantity, catalogue, product);
        let base = share(whole.base);
        parts.push((product.clone(), Portion { base, ..whole }));
    }
    parts
}

/// Volume stays; mass becomes volume where the density is known:
/// `µg × 10⁶ ÷ (µg per ml) = nl`.
pub(crate) fn in_summing_unit(
    quantity: Quantity,
    catalogue: &Catalogue,
    product: &Code,
) -> Portion {
    let density = catalogue
        .products
        .get(product)
        .and_then(|p| p.density_micro_g_per_ml)
        .filter(|density| *density > 0);
    match (quantity, density) {
        (Quantity::Mass(mass), Some(density)) => Portion {
            unit: PortionUnit::Ml,
            base: clamp(divide_half_even(
                i128::from(mass.0) * 1_000_000,
                i128::from(density),
            )),
        },
        _ => Portion::from(quantity),
    }
}

fn tally<'t>(tallies: &'t mut Tallies, product: &Code, unit: PortionUnit) -> &'t mut Tally {
    tallies
        .entry(product.clone())
        .or_default()
        .by_unit
        .entry(unit)
        .or_default()
}

/// A product that nobody gave an amount of still gets a row: in the unit of
/// its pack, or in millilitres.
fn with_a_unit(
    mut by_unit: BTreeMap<PortionUnit, Tally>,
    catalogue: &Catalogue,
    product: &Code,
) -> BTreeMap<PortionUnit, Tally> {
    if by_unit.is_empty() {
        let pack = catalogue.products.get(product).and_then(|p| p.pack);
        let unit = pack.map_or(PortionUnit::Ml, |pack| {
            in_summing_unit(pack.quantity(), catalogue, product).unit
        });
        by_unit.insert(unit, Tally::default());
    }
    by_unit
}

fn portion(unit: PortionUnit, base: i128) -> Portion {
    Portion {
        unit,
        base: clamp(base),
    }
}

fn to_figures(
    job_type: &Code,
    jobs: u32,
    tallies: Tallies,
    catalogues: &Catalogues,
    week: Span,
) -> Vec<ChemicalFigures> {
    let catalogue = &catalogues.at(week.until).catalogue;
    let mut figures = Vec::new();
    for (product, mut tally) in tallies {
        let by_unit = with_a_unit(std::mem::take(&mut tally.by_unit), catalogue, &product);
        let mixed_units = by_unit.len() > 1;
        for (unit, sums) in by_unit {
            figures.push(ChemicalFigures {
                job_type: job_type.clone(),
                product: product.clone(),
                jobs,
                jobs_with_use: if jobs == 0 { 0 } else { tally.jobs_with_use },
                unit,
                used: portion(unit, sums.used),
                allowance: portion(unit, sums.allowance),
                dumped: portion(unit, sums.dumped),
                uses_without_amount: std::mem::take(&mut tally.without_amount),
                mixed_units,
                cost_minor: sums.money.cost_minor,
                allowance_cost_minor: sums.money.allowance_minor,
                dumped_cost_minor: sums.money.waste_minor,
                no_price: sums.money.no_price,
                jobs_allowed: sums.jobs_allowed,
                per_job: per_job(&sums.of_jobs),
                apportioned: sums.apportioned,
                at_allowance: sums.at_allowance,
            });
        }
    }
    figures
}
