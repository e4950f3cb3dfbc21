//! What was dumped of a mix, shared over everybody who drew from it.
//!
//! What a dump took of each product in the mix (its volume × concentrate ÷
//! volume of the mix, as for a use) is shared by the volume that each job drew
//! from that mix at any time, to the nanolitre by largest remainders, jobs in
//! the order of their keys and uses on no job last. What nobody drew from is
//! nobody's.

use std::collections::BTreeMap;

use baywright_floor::catalogues::Catalogues;
use baywright_floor::event::JobKey;
use baywright_floor::row::UseRow;
use baywright_terms::amount::Quantity;

use super::share::shares;
use super::{Basis, Shared, Taken};
use crate::chemicals::parts_of_mix;
use crate::figures::Portion;
use crate::input::Index;

pub(super) fn share(shared: &mut Shared, index: &Index<'_>, catalogues: &Catalogues) {
    for dumped in &index.dumped {
        let Some(mix) = index.mixes.get(&dumped.mix) else {
            continue;
        };
        let drawn = drawn_by(
            index
                .uses_of_mix
                .get(&dumped.mix)
                .map_or(&[], Vec::as_slice),
        );
        let weights: Vec<i64> = drawn.iter().map(|(_, volume)| *volume).collect();
        let catalogue = &catalogues.at(dumped.at).catalogue;
        for (product, part) in parts_of_mix(mix, dumped.volume, catalogue) {
            let taken = |base: i64| Taken {
                product: product.clone(),
                amount: Portion { base, ..part },
                at: dumped.at,
                lot: String::new(),
                rework: false,
                waste: true,
                basis: Basis::Measured,
                seqs: vec![dumped.seq],
            };
            match shares(part.base, &weights) {
                None => shared.add(None, taken(part.base)),
                Some(parts) => {
                    for ((job, _), base) in drawn.iter().zip(parts) {
                        if base != 0 {
                            shared.add(*job, taken(base));
                        }
                    }
                }
            }
        }
    }
}

/// Volume drawn by each job; uses on no job together, last.
fn drawn_by(uses: &[&UseRow]) -> Vec<(Option<JobKey>, i64)> {
    let mut by_job: BTreeMap<JobKey, i64> = BTreeMap::new();
    let mut on_none = 0_i64;
    for used in uses {
        let Some(Quantity::Volume(volume)) = used.quantity else {
            continue;
        };
        let sum = match used.job {
            Some(job) => by_job.entry(job).or_default(),
            None => &mut on_none,
        };
        *sum = sum.saturating_add(volume.0.max(0));
    }
    let jobs = by_job.into_iter().map(|(job, volume)| (Some(job), volume));
    jobs.chain([(None, on_none)]).collect()
}
