//! Root works on a data directory as the user who owns it, so that the daemon
//! can still read what a command wrote.

use std::os::unix::fs::MetadataExt as _;
use std::os::unix::process::CommandExt as _;
use std::path::Path;
use std::process::Command;

use anyhow::Context as _;

/// Goes on with this same command line as the owner of the data directory, where
/// root runs it and the directory is another user's: this process becomes that
/// one, so that signals reach it. Comes back where root is not needed or meant.
pub(super) fn go_on_as_owner(data_dir: &Path) -> anyhow::Result<()> {
    let Ok(dir) = std::fs::metadata(data_dir) else {
        return Ok(());
    };
    let own = std::fs::metadata("/proc/self").map_or(dir.uid(), |own| own.uid());
    if own != 0 || dir.uid() == 0 {
        return Ok(());
    }
    let program = std::env::current_exe().context("this program cannot be found again")?;
    let failed = Command::new(program)
        .args(std::env::args_os().skip(1))
        // The groups of root go with it.
        .uid(dir.uid())
        .gid(dir.gid())
        .env("BAYWRIGHT_DATA", data_dir)
        .exec();
    Err(failed).with_context(|| format!("user {} cannot run this", dir.uid()))
}
