//! Bay time: labour by the usual crew, and the time when nobody needs to touch
//! the vehicle.

use baywright_terms::catalogue::{Catalogue, JobType, ProductAllowance};
use baywright_terms::code::Code;

use super::learn::{to_f64, whole};
use super::records::JobRecord;
use crate::quantile::quantile;

/// Records of a type from which its own waiting and crews are taken.
const ENOUGH: usize = 3;

/// How bay time follows from labour.
pub(crate) struct BayTime {
    /// Workers at once, on average.
    crew: f64,
    pub(crate) waiting_us: i64,
}

impl BayTime {
    pub(crate) fn of(
        records: &[JobRecord],
        job_type: &Code,
        catalogue: &Catalogue,
        of_type: &JobType,
    ) -> Self {
        let in_bays: Vec<&JobRecord> = records.iter().filter(|r| r.bay_hands_on_us > 0).collect();
        let own: Vec<&JobRecord> = in_bays
            .iter()
            .copied()
            .filter(|r| r.job_type == *job_type)
            .collect();
        let known = if own.len() >= ENOUGH { own } else { in_bays };
        let labour = known
            .iter()
            .map(|r| r.labour_us)
            .fold(0, i64::saturating_add);
        let bay = known
            .iter()
            .map(|r| r.bay_hands_on_us)
            .fold(0, i64::saturating_add);
        let crew = if bay > 0 {
            to_f64(labour) / to_f64(bay)
        } else {
            1.0
        };
        let mut waits: Vec<i64> = known.iter().map(|r| r.bay_waiting_us).collect();
        waits.sort_unstable();
        let waiting = quantile(&waits, 1, 2).filter(|_| known.len() >= ENOUGH);
        Self {
            crew: crew.max(1.0),
            waiting_us: waiting.unwrap_or_else(|| of_labels(catalogue, of_type)),
        }
    }

    /// Bay time of so much labour, with the usual waiting.
    pub(crate) fn needed_us(&self, labour_us: i64) -> i64 {
        whole(to_f64(labour_us) / self.crew).saturating_add(self.waiting_us)
    }
}

/// Dwell times that the labels of the type's products give.
fn of_labels(catalogue: &Catalogue, job_type: &JobType) -> i64 {
    let dwell = |allowance: &ProductAllowance| {
        catalogue
            .products
            .get(&allowance.product)?
            .dwell_shortest_us
    };
    job_type
        .products
        .iter()
        .filter_map(dwell)
        .fold(0, i64::saturating_add)
}
