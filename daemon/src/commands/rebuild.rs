//! `baywrightd rebuild`.

use std::process::ExitCode;

use anyhow::Context as _;

use super::{data_dir_of, progress_bar};
use crate::args::RebuildArgs;
use crate::facts::{self, LogSources as _};
use crate::journal::LogReaders;
use crate::lock::DataLock;

pub(super) fn run(args: &RebuildArgs) -> anyhow::Result<ExitCode> {
    let dir = data_dir_of(&args.data)?;
    let _lock = DataLock::take(&dir)?;
    let log = LogReaders::new(&dir)
        .open()
        .map_err(|source| anyhow::anyhow!(source.to_string()))
        .with_context(|| format!("the log in {} cannot be read", dir.display()))?;
    let bar = progress_bar(args.json);
    let hash = facts::rebuild(&dir, log, &mut |progress| {
        bar.set_length(progress.of);
        bar.set_position(progress.folded);
    })
    .context("the facts could not be worked out")?;
    bar.finish_and_clear();
    let hash: String = hash.iter().map(|byte| format!("{byte:02x}")).collect();
    if args.json {
        println!("{}", serde_json::json!({ "rows_hash": hash }));
    } else {
        println!("The facts are worked out anew; the hash of their rows is {hash}.");
    }
    Ok(ExitCode::SUCCESS)
}
