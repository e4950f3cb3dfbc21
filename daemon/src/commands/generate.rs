//! `baywrightd completions` and `baywrightd man`: made from the command tree
//! itself, for the package.

use std::io::Write as _;
use std::process::ExitCode;

use anyhow::Context as _;
use clap::CommandFactory as _;

use crate::args::{Cli, CompletionsArgs, ManArgs};

pub(super) fn completions(args: &CompletionsArgs) -> anyhow::Result<ExitCode> {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut Cli::command(), "baywrightd", &mut script);
    print(&script)
}

pub(super) fn man(args: &ManArgs) -> anyhow::Result<ExitCode> {
    let Some(folder) = &args.out else {
        let mut page = Vec::new();
        clap_mangen::Man::new(Cli::command())
            .render(&mut page)
            .context("the manual page could not be made")?;
        return print(&page);
    };
    std::fs::create_dir_all(folder)
        .and_then(|()| clap_mangen::generate_to(Cli::command(), folder))
        .with_context(|| {
            format!(
                "manual pages could not be written into {}",
                folder.display()
            )
        })?;
    Ok(ExitCode::SUCCESS)
}

fn print(bytes: &[u8]) -> anyhow::Result<ExitCode> {
    let mut out = std::io::stdout().lock();
    out.write_all(bytes)
        .and_then(|()| out.flush())
        .context("standard output is closed")?;
    Ok(ExitCode::SUCCESS)
}
