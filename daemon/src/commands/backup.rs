//! `baywrightd backup`.

use std::path::Path;
use std::process::ExitCode;

use anyhow::Context as _;

use super::{data_dir_of, progress_bar, progress_style};
use crate::args::BackupArgs;
use crate::backup::file::Checked;
use crate::backup::folder::{self, Kept};
use crate::backup::make::{self, Progress};
use crate::backup::noted::Noted;
use crate::clock::{Clock as _, SystemClock};

/// Bar of the first half, which copies bytes; the second half checks records.
const COPYING: &str = "{bar:40} {bytes} of {total_bytes} copied, {eta} to go";
const CHECKING: &str = "{bar:40} {pos} of {len} records checked, {eta} to go";

pub(super) fn run(args: &BackupArgs) -> anyhow::Result<ExitCode> {
    let dir = data_dir_of(&args.data)?;
    let made_us = SystemClock.now().0;
    let bar = progress_bar(args.json);
    let mut copying = None;
    let mut progress = |at: Progress| {
        let (is_copying, done, of, style) = match at {
            Progress::Copied { bytes, of } => (true, bytes, of, COPYING),
            Progress::Checked { records, of } => (false, records, of, CHECKING),
        };
        if copying != Some(is_copying) {
            copying = Some(is_copying);
            progress_style(&bar, style);
        }
        bar.set_length(of);
        bar.set_position(done);
    };
    let made = match (&args.file, &args.into) {
        (Some(file), _) => {
            make::make(&dir, file, args.replace, made_us, &mut progress).map(|made| Kept {
                made,
                removed: Vec::new(),
                stayed: Vec::new(),
            })
        }
        (None, Some(into)) => folder::make_in(&dir, into, args.keep, made_us, &mut progress),
        (None, None) => {
            anyhow::bail!("nothing says where the backup goes: give FILE or --into DIR")
        }
    };
    bar.finish_and_clear();
    let kept = made.context("no backup was made")?;
    let made = &kept.made;
    let noted = Noted::new(&made.meta, made.whole.seq, made_us, &absolute(&made.path));
    if let Err(error) = noted.write(&dir) {
        // The backup is good all the same; bays keep their posts for longer.
        eprintln!(
            "Note: the backup is whole, but the daemon cannot tell the bays of it: {}.",
            super::sentence(&error.into())
        );
    }
    for (path, why) in &kept.stayed {
        eprintln!(
            "Note: {} should have gone and stayed: {why}.",
            path.display()
        );
    }
    if args.json {
        println!("{}", json(&kept));
    } else {
        say(&kept);
    }
    Ok(ExitCode::SUCCESS)
}

/// A note that names a file relative to where somebody stood names nothing.
fn absolute(path: &Path) -> std::path::PathBuf {
    path.canonicalize().unwrap_or_else(|_| path.to_owned())
}

fn say(kept: &Kept) {
    let made = &kept.made;
    println!("Backed up: {}.", made.path.display());
    println!(
        "{}, the last received {}; read back, and the whole chain checked.",
        super::records(made.whole.records),
        super::instant(made.last_received_us)
    );
    println!("{}", holds(made));
    match kept.removed.len() {
        0 => {}
        1 => println!("Removed 1 older backup."),
        n => println!("Removed {n} older backups."),
    }
}

/// What somebody who finds the file finds in it.
fn holds(made: &Checked) -> &'static str {
    if made.carried.is_empty() {
        "It holds prices and what was typed of customers and workers, in plain: keep it\n\
         where only you can read it, and not only on this computer."
    } else {
        "It holds this daemon's keys, prices and what was typed of customers and workers,\n\
         in plain: keep it where only you can read it, and not only on this computer."
    }
}

fn json(kept: &Kept) -> serde_json::Value {
    let made = &kept.made;
    let text = |path: &Path| path.display().to_string();
    serde_json::json!({
        "file": text(&made.path),
        "records": made.whole.records,
        "head_seq": made.whole.seq,
        "hash": made.whole.hash.to_string(),
        "last_received_us": made.last_received_us,
        "carried": made.carried.iter().map(|file| file.name.as_str()).collect::<Vec<_>>(),
        "removed": kept.removed.iter().map(|path| text(path)).collect::<Vec<_>>(),
    })
}
