//! What is learned, how quotes held and what they promise, through the public
//! functions only.

#![allow(
    clippy::unwrap_used,
    reason = "clippy's exception for tests does not reach the functions that tests share"
)]

mod ahead;
mod honesty;
mod learned;
mod look_again;
mod shop;
mod won;
