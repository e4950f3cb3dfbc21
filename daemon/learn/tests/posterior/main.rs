//! The posterior from outside: what it does with records, whether it keeps its
//! promise, and the published quantiles that its predictions stand on.

// What the calibration program has more of than these tests ask for stays unused.
#[path = "../../examples/calibration/own_prior.rs"]
mod own_prior;

mod calibration;
mod predictions;
mod quantiles;
mod records;
