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
/// TCP port on which a device joins, open only while a one-time code lives.
pub const DEFAULT_JOIN_PORT: u16 = 7422;
/// The one name in the daemon's certificate. Devices trust the shop's authority
/// and this name, whatever address the server has today.
pub const SERVER_NAME: &str = "baywrightd";
/// Unix socket that a bay on the server itself tries before TCP.
pub const DEFAULT_SOCKET: &str = "/run/baywright/baywrightd.sock";

/// Header of an answer that names the call, for people at both ends.
pub const REQUEST_HEADER: &str = "baywright-request";

pub mod amount;
pub mod bounds;
pub mod catalogue;
pub mod json;
