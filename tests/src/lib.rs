//! The simulated shop, the demo and what the stories and outside checks share.

pub mod clocks;
pub mod demo;
pub mod harness;
pub mod network;
pub mod post;
pub mod shop;
pub mod twice;
