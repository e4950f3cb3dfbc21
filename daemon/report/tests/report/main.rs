//! Tables and properties of the figures, through the public functions only.

#![allow(
    clippy::unwrap_used,
    reason = "clippy's exception for tests does not reach the functions that tests share"
)]

mod chemicals;
mod days;
mod flow;
mod folded;
mod generated;
mod history;
mod idle;
mod labour;
mod made;
mod materials;
mod money;
mod odd;
mod own;
mod panels;
mod promised;
mod random;
mod speed;
mod stock;
mod story;
mod throughput;
mod week;
mod why;
mod window;
