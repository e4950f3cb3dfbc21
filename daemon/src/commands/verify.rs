//! `baywrightd verify`.

use std::path::Path;
use std::process::ExitCode;

use anyhow::Context as _;

use super::{data_dir_of, progress_bar};
use crate::args::VerifyArgs;
use crate::backup::file;
use crate::journal::LogReader;
use crate::journal::verify::verify;

pub(super) fn run(args: &VerifyArgs) -> anyhow::Result<ExitCode> {
    if let Some(path) = &args.file {
        return backup(path, args.json);
    }
    let dir = data_dir_of(&args.data)?;
    let log = LogReader::open(&dir)
        .with_context(|| format!("the log in {} cannot be read", dir.display()))?;
    let bar = progress_bar(args.json);
    let walked = verify(&log, |done, of| {
        bar.set_length(of);
        bar.set_position(done);
        true
    });
    bar.finish_and_clear();
    match walked {
        Ok(whole) if args.json => {
            let line = serde_json::json!({
                "whole": true,
                "records": whole.records,
                "head_seq": whole.seq,
                "hash": whole.hash.to_string(),
            });
            println!("{line}");
        }
        Ok(whole) => println!(
            "The log is whole: {}, hash {}.",
            super::records(whole.records),
            whole.hash
        ),
        Err(broken) => {
            if args.json {
                let line = serde_json::json!({
                    "whole": false,
                    "broken_seq": broken.seq,
                    "why": broken.why,
                });
                println!("{line}");
            } else {
                println!("Broken at seq {}: {}.", broken.seq, broken.why);
                println!(
                    "Every record before it is as it was appended. Keep this directory as it is, and restore a backup."
                );
            }
            return Ok(ExitCode::FAILURE);
        }
    }
    Ok(ExitCode::SUCCESS)
}

/// Checks a backup as a restore does, and changes nothing.
fn backup(path: &Path, json: bool) -> anyhow::Result<ExitCode> {
    let bar = progress_bar(json);
    let checked = file::check(path, |done, of| {
        bar.set_length(of);
        bar.set_position(done);
    });
    bar.finish_and_clear();
    let checked = match checked {
        Ok(checked) => checked,
        Err(error) => {
            let error = anyhow::Error::from(error);
            if json {
                let line = serde_json::json!({"whole": false, "why": super::sentence(&error)});
                println!("{line}");
                return Ok(ExitCode::FAILURE);
            }
            return Err(error);
        }
    };
    if json {
        let line = serde_json::json!({
            "whole": true,
            "records": checked.whole.records,
            "head_seq": checked.whole.seq,
            "hash": checked.whole.hash.to_string(),
            "made_us": checked.description.made_us,
            "last_received_us": checked.last_received_us,
        });
        println!("{line}");
    } else {
        println!(
            "The backup is whole: made {}, {}, the last received {}, hash {}.",
            super::instant(checked.description.made_us),
            super::records(checked.whole.records),
            super::instant(checked.last_received_us),
            checked.whole.hash
        );
    }
    Ok(ExitCode::SUCCESS)
}
