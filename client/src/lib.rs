//! `bay`: the terminal command at each bay, and the library under it.
//!
//! [`run`] is the whole command; [`device::Device`] is a bay's spool with its
//! delivery, for programs that post by themselves.

use std::ffi::OsString;
use std::io::Write as _;
use std::process::ExitCode;
use std::sync::Arc;

use clap::Parser as _;

pub mod answer;
pub mod args;
pub mod ask;
pub mod cache;
pub mod clock;
pub mod commands;
pub mod config;
pub mod connect;
pub mod context;
pub mod delivery;
pub mod describe;
pub mod device;
pub mod error;
#[cfg(test)]
mod fake;
pub mod floor;
pub mod joined;
pub mod likely;
pub mod nearby;
pub mod page;
pub mod post;
pub mod render;
pub mod resolve;
pub mod say;
pub mod screen;
pub mod spool;
#[cfg(test)]
mod stories;

use crate::answer::{Outcome, Output};
use crate::args::Cli;
use crate::clock::{Clocks, MachineClocks};
use crate::context::Context;
use crate::error::Error;

/// Runs `bay` with the clocks of this machine. The first argument is the
/// program's name.
pub fn run(args: impl IntoIterator<Item = OsString>) -> ExitCode {
    run_with(args, Arc::new(MachineClocks::default()))
}

/// As [`run`], with clocks from outside.
pub fn run_with(args: impl IntoIterator<Item = OsString>, clocks: Arc<dyn Clocks>) -> ExitCode {
    let cli = match Cli::try_parse_from(args) {
        Ok(cli) => cli,
        Err(error) => {
            print_usage(&error);
            return ExitCode::from(u8::try_from(error.exit_code()).unwrap_or(2));
        }
    };
    let output = Output {
        json: cli.common.json,
        no_color: cli.common.no_color,
    };
    output.settle();
    output.print(answer(cli, clocks))
}

/// Says what is wrong with a command line; help and version also come this way.
/// What was typed is in it, and may have been scanned.
fn print_usage(error: &clap::Error) {
    let words = error.render().ansi().to_string();
    let words = screen::neutral(&words);
    let _ = if error.use_stderr() {
        write!(anstream::stderr(), "{words}")
    } else {
        write!(anstream::stdout(), "{words}")
    };
}

/// What a command line comes to, before it is printed.
pub fn answer(cli: Cli, clocks: Arc<dyn Clocks>) -> Result<Outcome, Error> {
    let context = Context::new(cli.common, clocks)?;
    let done = match cli.command {
        Some(command) => commands::run(&context, command),
        None => commands::now::bare(&context),
    };
    if let Some(noticed) = context.noticed() {
        answer::note(&say::noticed(noticed));
    }
    context.renew_when_due();
    done
}
