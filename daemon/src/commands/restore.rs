//! `baywrightd restore`.

use std::io::{BufRead as _, IsTerminal as _, Write as _};
use std::process::ExitCode;

use anyhow::Context as _;

use super::{data_dir_of, progress_bar};
use crate::access::devices::Device;
use crate::args::RestoreArgs;
use crate::backup::devices::{self, Choice};
use crate::backup::file::{self, Checked};
use crate::backup::restore::{self, Brought};
use crate::clock::{Clock as _, SystemClock};
use crate::lock::DataLock;

pub(super) fn run(args: &RestoreArgs) -> anyhow::Result<ExitCode> {
    let dir = data_dir_of(&args.data)?;
    // Said first: nobody should answer questions for nothing.
    restore::refuse_used(&dir).context("nothing was restored")?;
    let _lock = DataLock::take(&dir)?;
    restore::refuse_used(&dir).context("nothing was restored")?;
    let bar = progress_bar(args.json);
    let checked = file::check(&args.file, |done, of| {
        bar.set_length(of);
        bar.set_position(done);
    });
    bar.finish_and_clear();
    let checked = checked.context("nothing was restored")?;
    let allowed = devices::allowed(&checked.carried).context("nothing was restored")?;
    let choice = choose(args, &allowed)?;
    let now_us = SystemClock.now().0;
    let mut carried = checked.carried.clone();
    let cut_off =
        devices::cut_off_others(&mut carried, &choice, now_us).context("nothing was restored")?;
    let bar = progress_bar(args.json);
    let brought = restore::bring_back(&checked, &carried, &dir, now_us, &mut |done, of| {
        bar.set_length(of);
        bar.set_position(done);
    });
    bar.finish_and_clear();
    let brought = brought.context("the backup could not be brought back")?;
    if args.json {
        println!("{}", json(&checked, &brought, &cut_off));
    } else {
        say(&dir, &checked, &brought, &allowed, &cut_off);
    }
    Ok(ExitCode::SUCCESS)
}

/// Which devices stay allowed: as was said, or asked one by one.
fn choose(args: &RestoreArgs, allowed: &[Device]) -> anyhow::Result<Choice> {
    if let Some(text) = &args.keep_devices {
        return Ok(Choice::parse(text, allowed)?);
    }
    if allowed.is_empty() {
        return Ok(Choice::All);
    }
    if args.json || !std::io::stdin().is_terminal() || !std::io::stderr().is_terminal() {
        anyhow::bail!(
            "nobody can be asked here which devices stay allowed ({}): \
             give --keep-devices all, none, or names with commas between them",
            devices::list(allowed)
        );
    }
    let mut err = std::io::stderr().lock();
    writeln!(
        err,
        "Which devices stay allowed? One that was lost or stolen with the server should\n\
         not. One that is cut off keeps its posts and can be enrolled again."
    )?;
    let mut kept = std::collections::BTreeSet::new();
    let mut answers = std::io::stdin().lock().lines();
    for device in allowed {
        loop {
            write!(err, "  {} ({}) [Y/n] ", device.name, device.role.word())?;
            err.flush()?;
            let Some(answer) = answers.next() else {
                anyhow::bail!("the questions were not all answered: nothing was restored");
            };
            match answer?.trim().to_lowercase().as_str() {
                "" | "y" | "yes" => {
                    kept.insert(device.name.clone());
                }
                "n" | "no" => {}
                _ => {
                    writeln!(err, "  Answer y or n; Enter means y.")?;
                    continue;
                }
            }
            break;
        }
    }
    Ok(Choice::Named(kept))
}

fn say(
    dir: &std::path::Path,
    checked: &Checked,
    brought: &Brought,
    allowed: &[Device],
    cut_off: &[String],
) {
    println!(
        "Restored: log {} with {}, the last received {}.",
        short_log_id(brought),
        super::records(brought.whole.records),
        super::instant(checked.last_received_us)
    );
    println!(
        "It is in {}, as epoch {}. Jobs opened from now on are numbered from {}: the\n\
         numbers before that belong to jobs that the bays may still bring.",
        dir.display(),
        brought.restored.epoch,
        brought.restored.first_job_number
    );
    match (allowed.len() - cut_off.len().min(allowed.len()), cut_off) {
        (_, []) if allowed.is_empty() => {}
        (kept, []) => println!("All {kept} devices stay allowed."),
        (kept, names) => println!(
            "{kept} devices stay allowed; cut off: {}.",
            names.join(", ")
        ),
    }
    if !allowed.is_empty() {
        println!(
            "A device that was cut off after the backup is allowed again unless it was\n\
             named here; one enrolled after it has to be enrolled anew."
        );
    }
    println!(
        "\nNext: start the daemon, and let every bay run any command, such as `bay now`:\n\
         each sends again by itself what it still holds and this backup lacks. Facts of a\n\
         bay that is gone, or older than its spool goes back, are lost."
    );
}

fn short_log_id(brought: &Brought) -> String {
    let id = uuid::Uuid::from_bytes(brought.meta.log_id)
        .simple()
        .to_string();
    id.chars().take(8).collect()
}

fn json(checked: &Checked, brought: &Brought, cut_off: &[String]) -> serde_json::Value {
    serde_json::json!({
        "log_id": uuid::Uuid::from_bytes(brought.meta.log_id).simple().to_string(),
        "epoch": brought.restored.epoch,
        "records": brought.whole.records,
        "head_seq": brought.whole.seq,
        "hash": brought.whole.hash.to_string(),
        "last_received_us": checked.last_received_us,
        "first_job_number": brought.restored.first_job_number,
        "cut_off": cut_off,
    })
}
