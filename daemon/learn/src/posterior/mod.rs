//! What records say about a model with stated priors, and predictions from it.
//!
//! `y = intercept + Σ slopes·x + Σ factor effects + unit effect + error`, where each
//! factor's levels share one unknown spread, all rows of one unit share one
//! effect, and the error is Student t around the rest.
//!
//! The spreads are not plugged in but integrated over: a set of weighted points
//! stands for their posterior ([`fit`]), and at each point the effects are jointly
//! normal ([`conditional`]). A prediction draws a point, then the effects of what
//! it is about, then a new unit and the errors ([`simulate`]).

mod conditional;
mod fit;
mod gibbs;
mod halves;
mod leave_out;
mod model;
mod prepared;
mod proposal;
mod simulate;

pub use fit::{Estimate, FitError, Posterior, SpreadEstimate, fit};
pub use leave_out::LeftOut;
pub use model::{Factor, Model, Normal, Records, Row, Spread, Term};
pub use simulate::{Cell, CellTerm, Draws, Level, Options, Quantile, normal_core, quantile};

#[cfg(test)]
mod tests;
