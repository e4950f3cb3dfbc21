//! What records say about a model with stated priors, and predictions from it.
//!
//! `y = intercept + Σ slopes·x + Σ factor effects + unit effect + error`, where each
//! factor's levels share one unknown spread, all rows of one unit share one
//! effect, and the error is Student t around the rest.

mod model;

pub use model::{Factor, Model, Normal, Records, Row, Spread, Term};
