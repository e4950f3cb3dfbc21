//! Runs the real daemon and the real `bay` as child processes.

use std::ffi::{OsStr, OsString};
use std::io::{BufRead as _, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};

use anyhow::{Context as _, Result, bail, ensure};

use crate::clocks::SkewedClocks;

/// First argument that makes the demo binary behave as `bay`.
pub const AS_BAY: &str = "as-bay";
/// First argument that makes the demo binary behave as `bay` of a device whose
/// clocks come next, as [`SkewedClocks`] writes them.
pub const AS_CLOCKED_BAY: &str = "as-clocked-bay";
/// First argument that makes the demo binary behave as `baywrightd`.
pub const AS_DAEMON: &str = "as-baywrightd";

/// A daemon process over a data directory, on a free port of the loopback.
#[derive(Debug)]
pub struct Daemon {
    child: Child,
    /// `127.0.0.1:PORT`.
    pub address: String,
    /// Where its figures are read, likewise.
    pub metrics: Option<String>,
    pub data: PathBuf,
}

/// A daemon process that may not listen yet.
#[derive(Debug)]
pub struct Starting {
    child: Child,
    data: PathBuf,
}

impl Starting {
    /// Starts `binary` (the demo binary) as the daemon.
    pub fn start(binary: &Path, data: &Path) -> Result<Self> {
        Self::start_with(binary, data, [])
    }

    /// As [`Starting::start`], with more in its environment.
    pub fn start_with(
        binary: &Path,
        data: &Path,
        environment: impl IntoIterator<Item = (&'static str, OsString)>,
    ) -> Result<Self> {
        Self::start_as(binary, data, &[], environment)
    }

    /// The same with more arguments.
    pub fn start_as(
        binary: &Path,
        data: &Path,
        more: &[&str],
        environment: impl IntoIterator<Item = (&'static str, OsString)>,
    ) -> Result<Self> {
        let log = std::fs::OpenOptions::new()
            .create(true)
            .append(true)
            .open(log_of(data))?;
        let child = Command::new(binary)
            .args([
                AS_DAEMON,
                "serve",
                "--listen",
                "127.0.0.1:0",
                "--metrics",
                "127.0.0.1:0",
                "--json",
                "--data",
            ])
            .arg(data)
            .args(more)
            .env_remove("BAYWRIGHT_DATA")
            .envs(environment)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(log)
            .spawn()
            .context("the daemon could not be started")?;
        Ok(Self {
            child,
            data: data.to_owned(),
        })
    }

    /// Waits until it can append.
    pub fn ready(mut self) -> Result<Daemon> {
        let mut line = String::new();
        let out = self
            .child
            .stdout
            .take()
            .context("the daemon has no standard output")?;
        BufReader::new(out).read_line(&mut line)?;
        let ready: serde_json::Value = match serde_json::from_str(&line) {
            Ok(ready) => ready,
            Err(error) => {
                let status = self.child.wait()?;
                bail!(
                    "the daemon ended with {status} before it was ready ({error}): {line:?}; it said last:\n{}",
                    last_words(&self.data)
                );
            }
        };
        let address = ready["listening"]
            .as_str()
            .context("no `listening` in the first line")?;
        Ok(Daemon {
            address: address.to_owned(),
            metrics: ready["metrics"].as_str().map(str::to_owned),
            data: self.data,
            child: self.child,
        })
    }

    /// Ends it at once (SIGKILL), wherever it is.
    pub fn kill(mut self) -> Result<()> {
        self.child.kill()?;
        self.child.wait()?;
        Ok(())
    }
}

impl Daemon {
    /// Starts `binary` (the demo binary) as the daemon and waits until it can append.
    pub fn start(binary: &Path, data: &Path) -> Result<Self> {
        Starting::start(binary, data)?.ready()
    }

    /// As [`Daemon::start`], with more in its environment.
    pub fn start_with(
        binary: &Path,
        data: &Path,
        environment: impl IntoIterator<Item = (&'static str, OsString)>,
    ) -> Result<Self> {
        Starting::start_with(binary, data, environment)?.ready()
    }

    /// The same with more arguments.
    pub fn start_as(
        binary: &Path,
        data: &Path,
        more: &[&str],
        environment: impl IntoIterator<Item = (&'static str, OsString)>,
    ) -> Result<Self> {
        Starting::start_as(binary, data, more, environment)?.ready()
    }

    /// The process, for a message or a signal.
    pub fn id(&self) -> u32 {
        self.child.id()
    }

    /// Ends it at once, as a power cut would end the process (SIGKILL).
    pub fn kill(mut self) -> Result<()> {
        self.child.kill()?;
        self.child.wait()?;
        Ok(())
    }

    /// Asks it to stop (SIGTERM) and waits.
    pub fn stop(mut self) -> Result<()> {
        let asked = Command::new("kill")
            .arg(self.child.id().to_string())
            .status()?;
        ensure!(asked.success(), "the daemon could not be asked to stop");
        let status = self.child.wait()?;
        ensure!(status.success(), "the daemon stopped with {status}");
        Ok(())
    }
}

/// The end of what the daemons of this directory have said.
fn last_words(data: &Path) -> String {
    const LINES: usize = 20;
    let said = std::fs::read(log_of(data)).unwrap_or_default();
    let said = String::from_utf8_lossy(&said);
    let lines: Vec<&str> = said.lines().collect();
    lines[lines.len().saturating_sub(LINES)..].join("\n")
}

/// Where the daemons of this directory write their log lines.
fn log_of(data: &Path) -> PathBuf {
    data.with_extension("stderr")
}

/// A story that fails leaves no daemon behind.
impl Drop for Daemon {
    fn drop(&mut self) {
        // After `kill` and `stop` the child has been waited for, and neither
        // call does anything.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Runs `binary` as `bay` in a clean environment: its data directory, server
/// and bay are given, nothing else of this machine leaks in.
pub fn bay<I, S>(binary: &Path, data: &Path, server: &str, bay: &str, args: I) -> Result<Output>
where
    I: IntoIterator<Item = S>,
    S: AsRef<OsStr>,
{
    Ok(bay_command(binary, data, server, bay, args).output()?)
}

/// As [`bay`], not started yet.
pub fn bay_command<I, S>(binary: &Path, data: &Path, server: &str, bay: &str, args: I) -> Command
where
    I: IntoIterator<Item = S>,
    S: AsRef<OsStr>,
{
    as_bay(binary, &[AS_BAY], data, server, bay, args)
}

/// Runs `bay` as [`bay`] does, on a device with other clocks.
pub fn clocked_bay<I, S>(
    binary: &Path,
    clocks: &SkewedClocks,
    data: &Path,
    server: &str,
    bay: &str,
    args: I,
) -> Result<Output>
where
    I: IntoIterator<Item = S>,
    S: AsRef<OsStr>,
{
    let role = [AS_CLOCKED_BAY, &clocks.write()];
    Ok(as_bay(binary, &role, data, server, bay, args).output()?)
}

fn as_bay<I, S>(
    binary: &Path,
    role: &[&str],
    data: &Path,
    server: &str,
    bay: &str,
    args: I,
) -> Command
where
    I: IntoIterator<Item = S>,
    S: AsRef<OsStr>,
{
    let mut command = Command::new(binary);
    command
        .args(role)
        .args(args)
        .env_clear()
        .env("HOME", data)
        .env("BAYWRIGHT_DATA", data)
        .env("BAYWRIGHT_SERVER", server)
        .env("BAYWRIGHT_BAY", bay)
        .env("NO_COLOR", "1")
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    command
}

/// As [`bay`], on a device that finds its daemon by what it joined.
pub fn bay_at_home<I, S>(binary: &Path, data: &Path, args: I) -> Result<Output>
where
    I: IntoIterator<Item = S>,
    S: AsRef<OsStr>,
{
    Ok(Command::new(binary)
        .arg(AS_BAY)
        .args(args)
        .env_clear()
        .env("HOME", data)
        .env("BAYWRIGHT_DATA", data)
        .env("NO_COLOR", "1")
        .stdin(Stdio::null())
        .output()?)
}

/// Runs a subcommand of the daemon over a data directory it has to itself.
pub fn daemon_command(binary: &Path, args: &[&str], data: &Path) -> Result<Output> {
    Ok(Command::new(binary)
        .arg(AS_DAEMON)
        .args(args)
        .arg("--data")
        .arg(data)
        .env_remove("BAYWRIGHT_DATA")
        .stdin(Stdio::null())
        .output()?)
}
