//! The simulated shop, the demo and what the stories and outside checks share.

pub mod harness;
pub mod shop;
