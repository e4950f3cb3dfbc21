//! Faults of the disk under the real `baywrightd` and the real `bay`: power
//! cuts, full disks, failing calls, files altered by hand.
//!
//! `BAYWRIGHT_CUTS` sets at how many points the power is cut (default 60, half
//! of it for the spool); `BAYWRIGHT_SEED` sets the seed, which is printed.

#![allow(
    clippy::expect_used,
    clippy::panic,
    reason = "clippy's exception for tests does not reach the functions that tests share"
)]
#![cfg(target_os = "linux")]

mod altered;
mod at_bay;
mod disk;
mod failing;
mod layer;
mod posting;
mod power_cut;
mod small_disk;
mod trace;

/// The demo binary, which runs itself again as `bay` or `baywrightd`.
fn binary() -> &'static std::path::Path {
    std::path::Path::new(env!("CARGO_BIN_EXE_baywright-demo"))
}

fn from_environment(name: &str, default: u64) -> u64 {
    std::env::var(name)
        .ok()
        .and_then(|value| value.parse().ok())
        .unwrap_or(default)
}

/// A folder in memory where the system has that: what these tests cut off or
/// alter is their own picture of a disk, so waiting for a real one only costs.
fn folder() -> tempfile::TempDir {
    let memory = std::path::Path::new("/dev/shm");
    if memory.is_dir()
        && let Ok(folder) = tempfile::tempdir_in(memory)
    {
        return folder;
    }
    tempfile::tempdir().expect("a temporary folder")
}
