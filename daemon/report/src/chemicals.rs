//! Chemicals on released jobs against their allowances, concentrate-equivalent.
//!
//! A use of a mix counts as its share of what went into the mix: used volume ×
//! concentrate ÷ volume of the mix, worked out in 128-bit integers and rounded
//! once, per use, to the nearest nanolitre (ties to even); other things in the
//! mix are shared in the same way. A weighed amount becomes a volume where the
//! catalogue in force gives the product's density. Millilitres, grams and
//! pieces are never added to each other.

use std::collections::{BTreeMap, BTreeSet};

use baywright_floor::catalogues::Catalogues;
use baywright_floor::event::{JobKey, Seq};
use baywright_floor::row::{MixMadeRow, UseRow};
use baywright_terms::amount::{Nanolitres, Quantity};
use baywright_terms::catalogue::Catalogue;
use baywright_terms::code::Code;
use baywright_terms::time::Micros;

use crate::figures::{ChemicalFigures, JobFigures, PerJob, Portion, PortionUnit, StoryUse};
use crate::input::{Index, JobRows};
use crate::labour::count;
use crate::span::{Span, clamp, divide_half_even};

/// A product's amounts in one unit.
#[derive(Debug, Default)]
struct Tally {
    used: i128,
    allowance: i128,
    dumped: i128,
    seqs: BTreeSet<Seq>,
}

/// All about one product on a set of jobs.
#[derive(Debug, Default)]
struct ProductTally {
    by_unit: BTreeMap<PortionUnit, Tally>,
    jobs_with_use: BTreeSet<JobKey>,
    without_amount: u32,
}

type Tallies = BTreeMap<Code, ProductTally>;

/// Amounts per job type and product over `jobs`, which were released in
/// `week`; then what was used on no job or dumped in the week.
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
        if job.comeback_of.is_none() {
            add_allowances(tallies, catalogues, job.opened, &job.job_type);
        }
        if let Some(rows) = index.jobs.get(&job.job) {
            add_uses(tallies, index, catalogues, &rows.uses);
        }
    }
    let mut figures = Vec::new();
    for (job_type, (jobs_of_type, tallies)) in types {
        figures.extend(to_figures(
            job_type,
            jobs_of_type,
            tallies,
            catalogues,
            week,
        ));
    }
    let mut loose = Tallies::new();
    let in_week = index.loose_uses.iter().filter(|u| week.holds(u.at));
    add_uses(
        &mut loose,
        index,
        catalogues,
        &in_week.copied().collect::<Vec<_>>(),
    );
    add_dumped(&mut loose, &mut figures, index, catalogues, week);
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
    // A comeback is allowed nothing; see `labour`.
    if let Some(opened) = rows.opened.filter(|o| o.comeback_of.is_none()) {
        add_allowances(&mut tallies, catalogues, opened.opened, &opened.job_type);
    }
    add_uses(&mut tallies, index, catalogues, &rows.uses);
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
                cost_minor: 0,
                allowance_cost_minor: 0,
                waste_minor: 0,
                apportioned: false,
                at_allowance: false,
                no_price: false,
            });
        }
    }
    uses
}

fn add_allowances(tallies: &mut Tallies, catalogues: &Catalogues, opened: Micros, job_type: &Code) {
    let catalogue = &catalogues.at(opened).catalogue;
    let Some(job_type) = catalogue.job_types.get(job_type) else {
        return;
    };
    for allowance in &job_type.products {
        let amount = in_summing_unit(allowance.amount.quantity(), catalogue, &allowance.product);
        tally(tallies, &allowance.product, amount.unit).allowance += i128::from(amount.base);
    }
}

fn add_uses(tallies: &mut Tallies, index: &Index<'_>, catalogues: &Catalogues, uses: &[&UseRow]) {
    for used in uses {
        let parts = parts_of_use(index, catalogues, used);
        if parts.is_empty() {
            let product = tallies.entry(used.product.clone()).or_default();
            product.without_amount = product.without_amount.saturating_add(1);
            product.jobs_with_use.extend(used.job);
        }
        for (product, part) in parts {
            let sums = tally(tallies, &product, part.unit);
            sums.used += i128::from(part.base);
            sums.seqs.insert(used.seq);
            let product = tallies.entry(product).or_default();
            product.jobs_with_use.extend(used.job);
        }
    }
}

/// Puts what was dumped in the week on the first row that has the product in
/// its unit, or on a row of no job.
fn add_dumped(
    loose: &mut Tallies,
    figures: &mut [ChemicalFigures],
    index: &Index<'_>,
    catalogues: &Catalogues,
    week: Span,
) {
    for dumped in index.dumped.iter().filter(|d| week.holds(d.at)) {
        let Some(mix) = index.mixes.get(&dumped.mix) else {
            continue;
        };
        let catalogue = &catalogues.at(dumped.at).catalogue;
        for (product, part) in parts_of_mix(mix, dumped.volume, catalogue) {
            let row = figures
                .iter_mut()
                .find(|f| f.product == product && f.unit == part.unit);
            match row {
                Some(row) => row.dumped.base = row.dumped.base.saturating_add(part.base),
                None => tally(loose, &product, part.unit).dumped += i128::from(part.base),
            }
        }
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
                jobs_with_use: count(tally.jobs_with_use.len()),
                unit,
                used: portion(unit, sums.used),
                allowance: portion(unit, sums.allowance),
                dumped: portion(unit, sums.dumped),
                uses_without_amount: std::mem::take(&mut tally.without_amount),
                mixed_units,
                cost_minor: 0,
                allowance_cost_minor: 0,
                dumped_cost_minor: 0,
                no_price: false,
                per_job: PerJob::default(),
                apportioned: false,
                at_allowance: false,
            });
        }
    }
    figures
}
