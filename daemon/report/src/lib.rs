//! Folded facts in, the figures of the week and of a job out. Pure: no I/O, no
//! clock, no gRPC.
//!
//! Everything is counted in integers (microseconds, nanolitres, micrograms)
//! and divided once, at the end, so that parts add up to their wholes.

pub mod figures;
