//! Root works on a data directory as the user who owns it, so that the daemon
//! can still read what a command wrote.

use std::os::unix::fs::MetadataExt as _;
use std::os::unix::process::CommandExt as _;
use std::path::Path;
use std::process::{Command, ExitCode};

use anyhow::Context as _;

/// Runs this same command line again as the owner of the data directory, where
/// root runs it and the directory is another user's. `None`: go on as you are.
pub(super) fn again_as_owner(data_dir: &Path) -> anyhow::Result<Option<ExitCode>> {
    let Ok(dir) = std::fs::metadata(data_dir) else {
        return Ok(None);
    };
    let own = std::fs::metadata("/proc/self").map_or(dir.uid(), |own| own.uid());
    if own != 0 || dir.uid() == 0 {
        return Ok(None);
    }
    let program = std::env::current_exe().context("this program cannot be found again")?;
    let status = Command::new(program)
        .args(std::env::args_os().skip(1))
        // The groups of root go with it.
        .uid(dir.uid())
        .gid(dir.gid())
        .current_dir("/")
        .env("BAYWRIGHT_DATA", data_dir)
        .status()
        .with_context(|| format!("user {} cannot run this", dir.uid()))?;
    let code = status.code().and_then(|code| u8::try_from(code).ok());
    Ok(Some(code.map_or(ExitCode::FAILURE, ExitCode::from)))
}
