//! Materials of a job, use by use, at standard and actually.

use baywright_floor::catalogues::Catalogues;

use super::fine::Fine;
use super::price;
use super::standard::Standard;
use crate::input::{Index, JobRows};
use crate::materials::{self, Basis, Taken};

/// An amount taken, and what it cost.
#[derive(Debug)]
pub(crate) struct Costed {
    pub(crate) taken: Taken,
    pub(crate) at_standard: Fine,
    pub(crate) actual: Fine,
    /// Neither price is known: it cost nothing.
    pub(crate) no_price: bool,
}

/// Everything a job took, in order of record.
pub(crate) fn of_job(
    index: &Index<'_>,
    catalogues: &Catalogues,
    rows: &JobRows<'_>,
    standard: &Standard<'_>,
) -> Vec<Costed> {
    let materials = materials::of_job(index, catalogues, rows);
    let taken = materials.taken.into_iter();
    taken
        .map(|taken| costed(index, catalogues, standard, taken))
        .collect()
}

fn costed(
    index: &Index<'_>,
    catalogues: &Catalogues,
    standard: &Standard<'_>,
    taken: Taken,
) -> Costed {
    let (unit, base) = (taken.amount.unit, taken.amount.base);
    let at_standard = standard.material(&taken.product, unit, base);
    let paid = match taken.basis {
        // It stands in for what nobody knows, so it varies from nothing.
        Basis::Allowance => None,
        Basis::Measured | Basis::Apportioned => price::actual(
            index,
            catalogues,
            &taken.product,
            &taken.lot,
            taken.at,
            unit,
        )
        .map(|price| price.cost(base)),
    };
    Costed {
        no_price: at_standard.is_none() && paid.is_none(),
        at_standard: at_standard.or(paid).unwrap_or_default(),
        actual: paid.or(at_standard).unwrap_or_default(),
        taken,
    }
}
