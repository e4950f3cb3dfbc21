//! The daemon: the log, the facts folded from it, and gRPC.

pub mod access;
pub mod args;
pub mod backup;
pub mod clock;
mod commands;
pub mod config;
pub mod facts;
mod health;
pub mod journal;
pub mod learner;
pub mod lifecycle;
pub mod lock;
mod mender;
pub mod metrics;
#[cfg(test)]
mod rpc_tests;
pub mod service;
pub mod supervision;
mod trace;

pub use commands::run;
pub use lifecycle::{Ready, serve};
