//! The week and a job as one self-contained page: HTML with its style and its
//! pictures inside, no script, nothing loaded from anywhere.
//!
//! Pure apart from [`put`]: messages in, text out. Every text of the floor goes
//! through `render::text::clean` and is escaped when it is written.

mod chart;
mod frame;
pub mod job;
mod notes;
mod phrase;
pub mod put;
pub mod quote;
mod style;
mod table;
pub mod week;

#[cfg(test)]
mod tests;
