//! Messages in, text out: what the owner reads. Pure: no terminal, no clock,
//! no connection, so that every screen is a snapshot test.
//!
//! Plain ASCII apart from the shop's own words, because a bay's terminal may
//! be a serial console.

pub mod calendar;
mod chemicals;
pub mod figure;
pub mod job;
pub mod settle;
pub mod table;
pub mod text;
pub mod week;

/// Columns of a page where the terminal does not tell, or is narrower than a
/// page can be.
pub const PAGE_COLUMNS: usize = 80;

#[cfg(test)]
pub(crate) mod fixture;
#[cfg(test)]
mod tests;
