//! `bay completions` and `bay man`: pages made from the command tree itself.

use std::path::{Path, PathBuf};

use clap::{Args, CommandFactory as _};
use clap_complete::Shell;
use serde_json::Value;

use crate::answer::Outcome;
use crate::args::Cli;
use crate::error::Error;

/// Prints the completions of a shell.
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  bay completions bash > ~/.local/share/bash-completion/completions/bay")]
pub struct CompletionsArgs {
    /// The shell they are for.
    pub shell: Shell,
}

/// Prints the manual page, or writes one for each command.
#[derive(Debug, Default, Args)]
#[command(after_help = "\
Example:
  bay man --out /usr/local/share/man/man1")]
pub struct ManArgs {
    /// Write bay.1, bay-week.1 and all others into this folder.
    #[arg(long, value_name = "FOLDER")]
    pub out: Option<PathBuf>,
}

/// Needs no context: neither folder nor daemon.
pub fn completions(args: &CompletionsArgs) -> Outcome {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut Cli::command(), "bay", &mut script);
    Outcome::new(String::from_utf8_lossy(&script), Value::Null)
}

/// Needs no context either.
pub fn man(args: &ManArgs) -> Result<Outcome, Error> {
    match &args.out {
        Some(folder) => write_pages(folder),
        None => page().map(|page| Outcome::new(page, Value::Null)),
    }
}

fn page() -> Result<String, Error> {
    let mut page = Vec::new();
    clap_mangen::Man::new(Cli::command())
        .render(&mut page)
        .map_err(|error| Error::internal(format!("The manual page could not be made: {error}.")))?;
    Ok(String::from_utf8_lossy(&page).into_owned())
}

fn write_pages(folder: &Path) -> Result<Outcome, Error> {
    std::fs::create_dir_all(folder).map_err(|e| Error::file("Making", folder, &e))?;
    clap_mangen::generate_to(Cli::command(), folder)
        .map_err(|e| Error::file("Writing manual pages into", folder, &e))?;
    let text = format!("Manual pages are in {}.", folder.display());
    Ok(Outcome::new(text, Value::Null))
}
