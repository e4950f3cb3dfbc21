//! Folded facts in, the figures of the week and of a job out. Pure: no I/O, no
//! clock, no gRPC.
//!
//! Everything is counted in integers (microseconds, nanolitres, micrograms)
//! and divided once, at the end, so that parts add up to their wholes. The
//! order of everything that comes out is fixed by what is in it.

mod chemicals;
mod export;
pub mod figures;
mod input;
mod labour;
mod materials;
mod money;
mod odd;
mod quantile;
mod span;
mod story;
mod throughput;
mod week;
mod why;

pub use export::{
    ExportedDeclared, ExportedJob, ExportedPart, ExportedSection, ExportedStretch, ExportedUse,
    export, export_uses,
};
pub use input::Input;
pub use odd::odd;
pub use quantile::QUANTILES;
pub use story::story;
pub use week::week;
pub use why::{NoSuchRow, RowId, Why, WhyLine, WhyUnit, why};
