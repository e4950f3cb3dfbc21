//! Quotes out of records, through the public functions only.

#![allow(
    clippy::unwrap_used,
    reason = "clippy's exception for tests does not reach the functions that tests share"
)]

mod degrades;
mod invented;
mod learns;
mod money;
mod other_truths;
mod records;
mod speed;
mod totals;
mod trade;
