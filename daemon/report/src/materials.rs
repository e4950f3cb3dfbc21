//! What a job took of each product: measured, apportioned, or its share of
//! what was dumped.

use baywright_floor::catalogues::Catalogues;
use baywright_floor::event::Seq;
use baywright_terms::code::Code;
use baywright_terms::time::Micros;

use crate::chemicals::parts_of_use;
use crate::figures::Portion;
use crate::input::{Index, JobRows};

/// Where an amount comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Basis {
    Measured,
    /// Nobody meters it: what a refill took, shared out by allowance.
    Apportioned,
    /// Not apportioned yet: the allowance stands in.
    Allowance,
}

/// An amount of one product, concentrate-equivalent.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Taken {
    pub(crate) product: Code,
    pub(crate) amount: Portion,
    pub(crate) at: Micros,
    /// Empty: not given.
    pub(crate) lot: String,
    /// On a comeback, or while its stage was done again.
    pub(crate) rework: bool,
    /// Its share of what was dumped of a mix.
    pub(crate) waste: bool,
    pub(crate) basis: Basis,
    pub(crate) seqs: Vec<Seq>,
}

#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Materials {
    pub(crate) taken: Vec<Taken>,
    /// Records that give no usable amount.
    pub(crate) without_amount: Vec<(Code, Seq)>,
}

/// Everything one job took, in order of record.
pub(crate) fn of_job(index: &Index<'_>, catalogues: &Catalogues, rows: &JobRows<'_>) -> Materials {
    let comeback = rows.opened.is_some_and(|o| o.comeback_of.is_some());
    let mut materials = Materials::default();
    for used in &rows.uses {
        let parts = parts_of_use(index, catalogues, used);
        if parts.is_empty() {
            let without = (used.product.clone(), used.seq);
            materials.without_amount.push(without);
        }
        for (product, amount) in parts {
            materials.taken.push(Taken {
                product,
                amount,
                at: used.at,
                lot: used.lot.clone(),
                rework: comeback,
                waste: false,
                basis: Basis::Measured,
                seqs: vec![used.seq],
            });
        }
    }
    materials
}
