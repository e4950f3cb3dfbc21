//! `baywrightd verify`.

use std::process::ExitCode;

use anyhow::Context as _;

use super::{data_dir_of, progress_bar};
use crate::args::VerifyArgs;
use crate::journal::LogReader;
use crate::journal::verify::verify;

pub(super) fn run(args: &VerifyArgs) -> anyhow::Result<ExitCode> {
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
            "The log is whole: {} records, hash {}.",
            whole.records, whole.hash
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
