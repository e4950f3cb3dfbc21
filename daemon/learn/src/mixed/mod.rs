//! Linear mixed models with scalar random intercepts, by REML.

mod basis;
mod data;
mod factor;
mod fitted;
mod layout;
mod optimise;
mod profile;
mod start;

pub use data::{Coding, Column, Data, DataError, Grouping, REMAINDER_MAX, ROWS_MAX};
pub use fitted::{
    Convergence, Fit, Fitted, FixedEffect, GroupingFit, LevelEffect, Options, Prediction, fit,
};
pub use profile::Profile;
