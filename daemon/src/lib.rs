//! The daemon: the log, the facts folded from it, and gRPC.

pub mod clock;
pub mod facts;
pub mod journal;
