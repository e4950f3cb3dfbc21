//! Folded facts in, the figures of the week and of a job out. Pure: no I/O, no
//! clock, no gRPC.
//!
//! Everything is counted in integers (microseconds, nanolitres, micrograms)
//! and divided once, at the end, so that parts add up to their wholes. The
//! order of everything that comes out is fixed by what is in it.

mod chemicals;
mod days;
mod export;
pub mod figures;
mod flow;
mod history;
mod input;
mod labour;
mod lot;
mod materials;
mod money;
mod odd;
mod own;
mod promise;
mod quantile;
pub mod quote;
mod span;
mod stays;
mod stock;
mod story;
mod throughput;
mod week;
mod why;
mod window;

pub use export::{
    ExportedDeclared, ExportedJob, ExportedPart, ExportedSection, ExportedStretch, ExportedUse,
    export, export_uses,
};
pub use input::Input;
pub use lot::lot;
pub use odd::odd;
pub use own::{OWN_JOBS_MIN, own};
pub use quantile::QUANTILES;
pub use stock::{COVER_WEEKS, WEEKS_OF_RATE, stock};
pub use story::story;
pub use week::{week, week_in};
pub use why::{NoSuchRow, RowId, Why, WhyLine, WhyUnit, why};
pub use window::{Asked, DAYS_MAX, PastWeek, WEEKS_MAX, Window, WindowError, window};
