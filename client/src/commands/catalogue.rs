//! `bay catalogue`: what the shop is made of, as a file that a person edits.

use std::fmt::Write as _;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

use baywright_proto::catalogue::from_wire;
use baywright_proto::v1;
use baywright_proto::v1::catalogue_service_client::CatalogueServiceClient;
use baywright_terms::catalogue::limits::FAULTS_MAX;
use baywright_terms::catalogue::{Catalogue, file};
use baywright_terms::time::parse_at;
use clap::{Args, Subcommand};
use serde_json::{Value, json};

use crate::answer::Outcome;
use crate::context::Context;
use crate::error::Error;
use crate::render::calendar::Calendar;
use crate::render::figure::counted;

pub(super) mod apply;
mod begin;

/// Largest catalogue file that is read: a hundred times a large shop's.
const FILE_BYTES_MAX: u64 = 4 * 1024 * 1024;
/// Faults that are printed of one file; the rest follows from these as a rule.
const FAULTS_SHOWN_MAX: usize = 20;

/// Bays, people, products, stages and job types, as a file to edit.
#[derive(Debug, Args)]
pub struct CatalogueArgs {
    #[command(subcommand)]
    step: Step,
}

#[derive(Debug, Subcommand)]
enum Step {
    Begin(begin::BeginArgs),
    Check(CheckArgs),
    Apply(apply::ApplyArgs),
    Show(ShowArgs),
}

/// Read a file and say what is wrong in it, without a daemon.
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  bay catalogue check shop.toml")]
struct CheckArgs {
    /// The catalogue file.
    #[arg(value_name = "FILE")]
    file: PathBuf,
}

/// Print the catalogue in force, as a file to edit.
///
/// With --at, as it was in force at that time.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  bay catalogue show > shop.toml
  bay catalogue show --at \"2026-11-12 14:05\"")]
struct ShowArgs {}

/// Does one step.
pub fn run(context: &Context, args: &CatalogueArgs) -> Result<Outcome, Error> {
    match &args.step {
        Step::Begin(args) => begin::run(context, args),
        Step::Check(args) => check(&args.file),
        Step::Apply(args) => apply::run(context, args),
        Step::Show(_) => show(context),
    }
}

fn check(path: &Path) -> Result<Outcome, Error> {
    let catalogue = read(path)?;
    let text = format!("{} can be applied: {}.", path.display(), counts(&catalogue));
    let json = json!({ "check": { "file": path, "faults": [] } });
    Ok(Outcome::new(text, json))
}

fn show(context: &Context) -> Result<Outcome, Error> {
    let at_us = match &context.common.at {
        None => 0,
        Some(typed) => {
            let at = parse_at(typed, &context.zone(), context.now());
            at.map_err(|error| Error::refused(format!("{error}.")))?.0
        }
    };
    let held = in_force(context, at_us)?;
    if held.revision == 0 {
        let when = if at_us == 0 { "yet" } else { "then" };
        return Err(
            Error::refused(format!("There was no catalogue {when}.")).with_hint(
                "`bay catalogue begin` writes a first one, `bay catalogue apply` posts it.",
            ),
        );
    }
    let text = file::write(&held.catalogue);
    let json = json!({ "revision": held.revision, "catalogue": as_json(&text) });
    Ok(Outcome::new(text, json).verbatim())
}

/// The names of the JSON are those of the file.
fn as_json(text: &str) -> Value {
    toml::from_str(text).unwrap_or(Value::Null)
}

/// A catalogue with the event that made it.
#[derive(Debug)]
pub(super) struct InForce {
    /// 0: there is none.
    pub(super) revision: u64,
    pub(super) catalogue: Catalogue,
}

/// The catalogue at an instant; 0: now.
pub(super) fn in_force(context: &Context, at_us: i64) -> Result<InForce, Error> {
    let request = v1::GetCatalogueRequest {
        at_us,
        held_revision: 0,
    };
    let response = context.call("the catalogue", async |channel| {
        CatalogueServiceClient::new(channel)
            .get_catalogue(request)
            .await
    })?;
    Ok(InForce {
        revision: response.revision,
        catalogue: response
            .catalogue
            .as_ref()
            .map(from_wire)
            .unwrap_or_default(),
    })
}

/// Reads a catalogue file, or tells every fault with its place.
fn read(path: &Path) -> Result<Catalogue, Error> {
    let failed = |error: std::io::Error| {
        let message = match error.kind() {
            ErrorKind::NotFound => format!("There is no file {}.", path.display()),
            _ => format!("{} could not be read: {error}.", path.display()),
        };
        Error::refused(message).with_hint("`bay catalogue begin` writes a first one.")
    };
    let size = std::fs::metadata(path).map_err(failed)?.len();
    if size > FILE_BYTES_MAX {
        return Err(Error::refused(format!(
            "{} is larger than a catalogue can be ({FILE_BYTES_MAX} bytes).",
            path.display()
        )));
    }
    let text = std::fs::read_to_string(path).map_err(failed)?;
    file::read(&text).map_err(|faults| told(path, &faults))
}

fn told(path: &Path, faults: &[file::Fault]) -> Error {
    let count = u64::try_from(faults.len()).unwrap_or(u64::MAX);
    // A reading tells of so many and no more.
    let (begins, least) = if faults.len() < FAULTS_MAX {
        ("", "")
    } else {
        ("At least ", "at least ")
    };
    let mut message = format!(
        "{begins}{} in {}:",
        counted(count, "fault", "faults"),
        path.display()
    );
    for fault in faults.iter().take(FAULTS_SHOWN_MAX) {
        message.push_str(&format_fault(fault));
    }
    if let Some(more) = faults
        .len()
        .checked_sub(FAULTS_SHOWN_MAX)
        .filter(|n| *n > 0)
    {
        let _ = write!(message, "\n  and {least}{more} more");
    }
    Error::refused(message)
}

fn format_fault(fault: &file::Fault) -> String {
    let mut text = format!("\n  {}:{}: {}", fault.line, fault.column, fault.what);
    if !fault.hint.is_empty() {
        text.push_str("\n    ");
        text.push_str(&fault.hint);
    }
    text
}

/// `3 bays, 5 workers, 15 products, 9 stages, 8 job types`; retired ones left out.
fn counts(catalogue: &Catalogue) -> String {
    let count = |n: usize, one, many| counted(u64::try_from(n).unwrap_or(u64::MAX), one, many);
    let live = |retired: &mut dyn Iterator<Item = bool>| retired.filter(|r| !r).count();
    [
        count(
            live(&mut catalogue.bays.values().map(|e| e.retired)),
            "bay",
            "bays",
        ),
        count(
            live(&mut catalogue.workers.values().map(|e| e.retired)),
            "worker",
            "workers",
        ),
        count(
            live(&mut catalogue.products.values().map(|e| e.retired)),
            "product",
            "products",
        ),
        count(
            live(&mut catalogue.stages.values().map(|e| e.retired)),
            "stage",
            "stages",
        ),
        count(
            live(&mut catalogue.job_types.values().map(|e| e.retired)),
            "job type",
            "job types",
        ),
    ]
    .join(", ")
}

/// `Tue 1 Dec 2026 00:00`, in the zone of a catalogue.
fn shown(at_us: i64, zone: &str) -> String {
    Calendar::of(zone).day_and_time(at_us)
}
