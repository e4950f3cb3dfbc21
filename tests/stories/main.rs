//! Stories through the real binaries, one file each.
//!
//! They run on more than one thread: while a story waits for a daemon to stop,
//! its connections must answer, or the daemon waits for them all its grace.

#![allow(
    clippy::expect_used,
    clippy::panic,
    reason = "clippy's exception for tests does not reach the functions that tests share"
)]

mod as_of;
mod at_the_bay;
mod backup;
mod clocks;
mod demo;
mod joining;
mod journal_lines;
mod kills;
mod network;
mod offline;
mod over_tls;
mod quoting;
mod renewing;
mod settling;
mod shop;
mod stopping;
mod two_daemons;
mod versions;

/// The demo binary, which runs itself again as `bay` or `baywrightd`.
fn binary() -> &'static std::path::Path {
    std::path::Path::new(env!("CARGO_BIN_EXE_baywright-demo"))
}
