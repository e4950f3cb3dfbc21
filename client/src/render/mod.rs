//! Messages in, text out: what the owner reads. Pure: no terminal, no clock,
//! no connection, so that every screen is a snapshot test.
//!
//! Plain ASCII apart from the shop's own words, because a bay's terminal may
//! be a serial console.

pub(crate) mod ahead;
mod bays;
pub mod calendar;
pub(crate) mod chemicals;
mod coating;
pub mod figure;
mod flow;
mod history;
pub(crate) mod honesty;
mod in_words;
pub mod job;
pub mod job_type;
pub mod learned;
pub(crate) mod look_again;
mod money;
pub mod own;
pub mod quote;
mod released;
pub mod settle;
pub(crate) mod shortfall;
pub mod stock;
mod story;
pub mod table;
pub mod text;
mod timeline;
mod types;
pub mod week;
pub mod why;
pub(crate) mod won;

/// Columns of a page where the terminal does not tell, or is narrower than a
/// page can be.
pub const PAGE_COLUMNS: usize = 80;

#[cfg(test)]
pub(crate) mod fixture;
#[cfg(test)]
mod tests;
