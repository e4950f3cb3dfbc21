//! What a job took of each product, concentrate-equivalent: measured, its share
//! of what was dumped of its mixes ([`dumped`]), or its share of what refills
//! of unmetered products took ([`refills`]).
//!
//! A use counts as in [`crate::chemicals`]. Shares are worked out once for all
//! jobs among the rows, so that they add up over the jobs.

mod dumped;
mod refills;
mod share;

use std::collections::BTreeMap;

use baywright_floor::catalogues::Catalogues;
use baywright_floor::event::{JobKey, Seq};
use baywright_floor::row::UseRow;
use baywright_terms::code::Code;
use baywright_terms::time::Micros;

use crate::chemicals::parts_of_use;
use crate::figures::Portion;
use crate::input::{Index, JobRows};
use crate::span::Span;

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
    /// When it was used or dumped; of what nobody measured, the job's last
    /// hands-on time before the refill.
    pub(crate) at: Micros,
    /// Empty: not given.
    pub(crate) lot: String,
    /// On a comeback, or while its stage was done again.
    pub(crate) rework: bool,
    /// Its share of what was dumped of a mix; never with `rework`.
    pub(crate) waste: bool,
    pub(crate) basis: Basis,
    /// The use, the dump or the refill; empty where the allowance stands in.
    pub(crate) seqs: Vec<Seq>,
}

#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Materials {
    pub(crate) taken: Vec<Taken>,
    /// Records that give no usable amount.
    pub(crate) without_amount: Vec<(Code, Seq)>,
}

/// Shares of what nobody measured for one job alone.
#[derive(Debug, Default)]
pub(crate) struct Shared {
    of_jobs: BTreeMap<JobKey, Vec<Taken>>,
    /// Of no job.
    loose: Vec<Taken>,
}

impl Shared {
    fn of(index: &Index<'_>, catalogues: &Catalogues) -> Self {
        let mut shared = Self::default();
        dumped::share(&mut shared, index, catalogues);
        refills::share(&mut shared, index, catalogues);
        shared
    }

    fn add(&mut self, job: Option<JobKey>, taken: Taken) {
        match job {
            Some(job) => self.of_jobs.entry(job).or_default().push(taken),
            None => self.loose.push(taken),
        }
    }
}

/// Everything one job took: in order of record, then its shares of what was
/// dumped, then those of refills.
pub(crate) fn of_job(index: &Index<'_>, catalogues: &Catalogues, rows: &JobRows<'_>) -> Materials {
    let comeback = rows.opened.is_some_and(|o| o.comeback_of.is_some());
    let mut materials = Materials::default();
    for used in &rows.uses {
        materials.add(index, catalogues, used, comeback || used.rework);
    }
    let job = rows.opened.map(|opened| opened.job);
    let shared = shared(index, catalogues);
    let shares = job.and_then(|job| shared.of_jobs.get(&job));
    materials
        .taken
        .extend(shares.into_iter().flatten().cloned());
    materials
}

/// What was taken in a span on no job: uses, their share of what was dumped,
/// mixes dumped that nobody drew from, refills of what no job was allowed.
pub(crate) fn loose(index: &Index<'_>, catalogues: &Catalogues, span: Span) -> Materials {
    let mut materials = Materials::default();
    for used in index.loose_uses.iter().filter(|used| span.holds(used.at)) {
        materials.add(index, catalogues, used, false);
    }
    let shared = &shared(index, catalogues).loose;
    let shared = shared.iter().filter(|taken| span.holds(taken.at));
    materials.taken.extend(shared.cloned());
    materials
}

fn shared<'i>(index: &'i Index<'_>, catalogues: &Catalogues) -> &'i Shared {
    index.shared.get_or_init(|| Shared::of(index, catalogues))
}

impl Materials {
    fn add(&mut self, index: &Index<'_>, catalogues: &Catalogues, used: &UseRow, rework: bool) {
        let parts = parts_of_use(index, catalogues, used);
        if parts.is_empty() {
            self.without_amount.push((used.product.clone(), used.seq));
        }
        self.taken
            .extend(parts.into_iter().map(|(product, amount)| Taken {
                product,
                amount,
                at: used.at,
                lot: used.lot.clone(),
                rework,
                waste: false,
                basis: Basis::Measured,
                seqs: vec![used.seq],
            }));
    }
}
