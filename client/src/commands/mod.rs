//! One file per family of commands. Each exports a clap `Args` struct and
//! `run(context, args)`.

use crate::answer::Outcome;
use crate::args::Command;
use crate::context::Context;
use crate::error::Error;

pub mod now;

/// Does what the command line asked for.
pub fn run(context: &Context, command: Command) -> Result<Outcome, Error> {
    match command {
        Command::Now(args) => now::run(context, &args),
    }
}
