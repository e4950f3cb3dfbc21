//! One file per family of commands. Each exports a clap `Args` struct and
//! `run(context, args)`.

use crate::answer::Outcome;
use crate::args::Command;
use crate::context::Context;
use crate::error::Error;

pub mod catalogue;
pub mod export;
pub mod generate;
pub mod job;
pub mod now;
mod office;
pub mod page;
pub mod settle;
pub mod week;

/// Does what the command line asked for.
pub fn run(context: &Context, command: Command) -> Result<Outcome, Error> {
    match command {
        Command::Now(args) => now::run(context, &args),
        Command::Week(args) => week::run(context, &args),
        Command::Job(args) => job::run(context, &args),
        Command::Settle(args) => settle::run(context, &args),
        Command::Catalogue(args) => catalogue::run(context, &args),
        Command::Export(args) => export::run(context, &args),
        Command::Completions(args) => Ok(generate::completions(&args)),
        Command::Man(args) => generate::man(&args),
    }
}
