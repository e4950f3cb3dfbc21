//! The wire contract: generated messages and services of `baywright.v1`, and
//! the one place where catalogue messages become the words of `baywright-terms`.

/// Generated from `proto/baywright/v1/*.proto`.
#[allow(
    clippy::all,
    clippy::pedantic,
    unreachable_pub,
    unused_qualifications,
    missing_debug_implementations
)]
pub mod v1 {
    tonic::include_proto!("baywright.v1");
}

/// The compiled file descriptors, for server reflection.
pub const DESCRIPTORS: &[u8] = include_bytes!(concat!(env!("OUT_DIR"), "/descriptors.bin"));

/// Lowest protocol number this build speaks.
pub const PROTOCOL_LOWEST: u32 = 1;
/// Highest protocol number this build speaks.
pub const PROTOCOL_HIGHEST: u32 = 1;
/// TCP port on the loopback address when nothing else is asked for.
pub const DEFAULT_PORT: u16 = 7421;
/// Unix socket that a bay on the server itself tries before TCP.
pub const DEFAULT_SOCKET: &str = "/run/baywright/baywrightd.sock";

pub mod amount;
pub mod catalogue;
pub mod json;
