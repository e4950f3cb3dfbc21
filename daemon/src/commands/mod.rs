//! The commands of `baywrightd`, one file each.

mod as_owner;
mod backup;
mod console;
mod devices;
mod enrol;
mod generate;
mod init;
mod rebuild;
mod restore;
mod serve;
mod verify;

use std::ffi::OsString;
use std::io::IsTerminal as _;
use std::path::PathBuf;
use std::process::ExitCode;
use std::time::Duration;

use clap::Parser as _;
use indicatif::{ProgressBar, ProgressStyle};

use as_owner::go_on_as_owner;

use crate::args::{Cli, Command, DataArgs};
use crate::config::{NoDataDir, data_dir};

/// Exit code of a command line that cannot be followed.
const USAGE: u8 = 2;

/// How often a progress bar is drawn, milliseconds.
const DRAW_MS: u64 = 100;

/// Runs one command. The arguments begin with the program's name.
pub fn run(args: impl IntoIterator<Item = OsString>) -> ExitCode {
    let cli = match Cli::try_parse_from(args) {
        Ok(cli) => cli,
        Err(error) => {
            // Help and version go to standard output and are no failure.
            let printed = error.print();
            return match (error.use_stderr(), printed) {
                (false, Ok(())) => ExitCode::SUCCESS,
                _ => ExitCode::from(USAGE),
            };
        }
    };
    let done = match cli.command {
        Command::Serve(args) => serve::run(&args),
        Command::Init(args) => init::run(&args),
        Command::Enrol(args) => enrol::run(&args),
        Command::Devices(args) => devices::run(&args),
        Command::Verify(args) => verify::run(&args),
        Command::Rebuild(args) => rebuild::run(&args),
        Command::Backup(args) => backup::run(&args),
        Command::Restore(args) => restore::run(&args),
        Command::Completions(args) => generate::completions(&args),
        Command::Man(args) => generate::man(&args),
    };
    match done {
        Ok(code) => code,
        Err(error) => {
            eprintln!("Error: {}.", sentence(&error));
            let is_usage = error.is::<NoDataDir>()
                || error.is::<crate::config::NotLoopback>()
                || error.is::<crate::config::MetricsNotLoopback>();
            if is_usage {
                ExitCode::from(USAGE)
            } else {
                ExitCode::FAILURE
            }
        }
    }
}

/// An error with all its causes.
fn sentence(error: &anyhow::Error) -> String {
    let causes: Vec<String> = error.chain().map(ToString::to_string).collect();
    causes.join(": ").trim_end_matches('.').to_owned()
}

/// The data directory of a command, as the user whose it is: every command
/// passes here before it touches anything, so that none leaves a file of root's
/// that stops the service.
fn data_dir_of(args: &DataArgs) -> anyhow::Result<PathBuf> {
    let dir = data_dir(args.dir.as_deref(), |name| {
        std::env::var_os(name)
            .filter(|value| !value.is_empty())
            .map(PathBuf::from)
    })?;
    go_on_as_owner(&dir)?;
    Ok(dir)
}

/// A progress bar on standard error, where that is a terminal and nobody asked for JSON.
fn progress_bar(json: bool) -> ProgressBar {
    if json || !std::io::stderr().is_terminal() {
        return ProgressBar::hidden();
    }
    let bar = ProgressBar::new(0);
    progress_style(&bar, "{bar:40} {pos} of {len} records, {eta} to go");
    bar.enable_steady_tick(Duration::from_millis(DRAW_MS));
    bar
}

fn progress_style(bar: &ProgressBar, template: &str) {
    if let Ok(style) = ProgressStyle::with_template(template) {
        bar.set_style(style);
    }
}

/// `1 record`, `5 records`.
fn records(count: u64) -> String {
    match count {
        1 => "1 record".to_owned(),
        more => format!("{more} records"),
    }
}

/// An instant for a person who may be in any zone.
fn instant(at_us: i64) -> String {
    match jiff::Timestamp::from_microsecond(at_us) {
        Ok(at) if at_us > 0 => at.strftime("%Y-%m-%d %H:%M UTC").to_string(),
        _ => "never".to_owned(),
    }
}
