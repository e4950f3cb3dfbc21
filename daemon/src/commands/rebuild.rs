//! `baywrightd rebuild`, and `--check`, which only compares.

use std::path::Path;
use std::process::ExitCode;
use std::sync::Arc;

use anyhow::Context as _;
use rusqlite::{Connection, OpenFlags};

use super::{data_dir_of, progress_bar};
use crate::args::RebuildArgs;
use crate::facts::reader::FactsReader;
use crate::facts::{self, FACTS_FILE, Facts, LogSource, LogSources as _};
use crate::journal::{Hash, LogReaders};
use crate::lock::DataLock;

pub(super) fn run(args: &RebuildArgs) -> anyhow::Result<ExitCode> {
    let dir = data_dir_of(&args.data)?;
    let _lock = DataLock::take(&dir)?;
    if args.check {
        check(&dir, args.json)
    } else {
        rebuild(&dir, args.json)
    }
}

fn rebuild(dir: &Path, json: bool) -> anyhow::Result<ExitCode> {
    let bar = progress_bar(json);
    let hash = facts::rebuild(dir, open_log(dir)?, &mut |progress| {
        bar.set_length(progress.of);
        bar.set_position(progress.folded);
    })
    .context("the facts could not be worked out")?;
    bar.finish_and_clear();
    let hash = Hash(hash);
    if json {
        println!("{}", serde_json::json!({ "rows_hash": hash.to_string() }));
    } else {
        println!("The facts are worked out anew; the hash of their rows is {hash}.");
    }
    Ok(ExitCode::SUCCESS)
}

/// Folds the log up to where the facts are into memory, and compares the rows.
fn check(dir: &Path, json: bool) -> anyhow::Result<ExitCode> {
    let cursor = FactsReader::open(dir, Arc::new(LogReaders::new(dir)))
        .and_then(|reader| reader.cursor())
        .context("the facts as they are cannot be read; `baywrightd rebuild` makes them anew")?;
    let conn = Connection::open_with_flags(
        dir.join(FACTS_FILE),
        OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX,
    )
    .context("the facts as they are cannot be opened")?;
    let present = facts::dump_hash(&conn).context("the facts as they are cannot be read")?;
    let rebuilt = Facts::in_memory_as_of(open_log(dir)?, cursor)
        .and_then(|facts| facts.hash())
        .context("the facts could not be worked out")?;
    let same = present == rebuilt;
    if json {
        let line = serde_json::json!({
            "same": same,
            "folded_seq": cursor,
            "rows_hash": Hash(present).to_string(),
            "rebuilt_rows_hash": Hash(rebuilt).to_string(),
        });
        println!("{line}");
    } else if same {
        println!(
            "The facts up to seq {cursor} are what a rebuild gives; the hash of their rows is {}.",
            Hash(present)
        );
    } else {
        println!(
            "The facts differ: their rows up to seq {cursor} hash to {}, those of a rebuild to {}. `baywrightd rebuild` puts them right.",
            Hash(present),
            Hash(rebuilt)
        );
    }
    Ok(if same {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    })
}

fn open_log(dir: &Path) -> anyhow::Result<Box<dyn LogSource>> {
    LogReaders::new(dir)
        .open()
        .map_err(|source| anyhow::anyhow!(source.to_string()))
        .with_context(|| format!("the log in {} cannot be read", dir.display()))
}
