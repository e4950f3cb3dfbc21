//! `bay import`: jobs from before the log, out of a table of the shop's own.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use baywright_proto::v1;
use baywright_terms::amount::Unit;
use baywright_terms::catalogue::Catalogue;
use baywright_terms::time::{Micros, shop_day};
use clap::Args;
use serde_json::{Value, json};

use self::cell::{DateOrder, TimeUnit};
use self::columns::Columns;
use self::jobs::{Found, Read, Reading};
use self::sheet::Sheet;
use self::tell::Sum;
use self::words::Words;
use super::page;
use crate::answer::Outcome;
use crate::context::{Context, zone_named};
use crate::error::{Error, Kind};
use crate::render::figure::counted;

mod bring;
mod cell;
mod columns;
mod jobs;
mod key;
mod sheet;
mod tell;
mod words;

/// Largest file that is read: far above the jobs of a shop's life.
const FILE_BYTES_MAX: u64 = 64 * 1024 * 1024;
/// A clock may be a little behind the day that a job was written down on.
const TODAY_SLACK_US: i64 = 24 * 3_600_000_000;

/// Jobs from before the log, to learn from: a table of comma-separated values.
///
/// Save it from the spreadsheet as CSV UTF-8. A row is a whole job, or, with a
/// column for the job's number, one stage or one product of it. Without --map
/// it says which columns there are and what they are likely to be. Everything
/// is checked first; after any fault nothing is imported. The same file again
/// adds nothing: a job is known by what it says. One that was put right in the
/// file counts as another, so strike the old import first. These jobs are in no
/// week and no bay: quotes learn from them.
#[derive(Debug, Args)]
#[command(after_help = "\
Fields: job, date, type, class, vehicle, stage, worker, product, amount, quoted, actual, soil,
defects, intricacy, price, stage:CODE (a column with the time of that stage), product:CODE (a
column with the amount of that product).

Examples:
  bay import past.csv
  bay import past.csv --map date=Datum --map type=Leistung --map 'actual=Ist (h)' --dry
  bay import past.csv --map job=Nr --map date=Datum --map type=Leistung --map stage=Schritt \\
      --map actual=Minuten --codes Polieren=polish --codes Trocknen=dry
  bay import past.csv --map date=Day --set type=trike-coat --map stage:polish=Polish \\
      --map product:iron-remover='Iron remover (ml)' --dates dmy")]
pub struct ImportArgs {
    /// The table.
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// Which column holds a field, by its heading.
    #[arg(long = "map", value_name = "FIELD=COLUMN")]
    maps: Vec<String>,
    /// What a field is on every row.
    #[arg(long = "set", value_name = "FIELD=VALUE")]
    sets: Vec<String>,
    /// The code that a word of the table stands for.
    #[arg(long, value_name = "WORD=CODE")]
    codes: Vec<String>,
    /// A file of such words, one WORD=CODE a line.
    #[arg(long, value_name = "FILE")]
    codes_file: Option<PathBuf>,
    /// In which order dates are written, where 3/4/2025 could be two days.
    #[arg(long, value_enum, value_name = "ORDER")]
    dates: Option<DateOrder>,
    /// What a time without a unit counts; else the heading says it, or minutes.
    #[arg(long, value_enum, value_name = "UNIT")]
    times: Option<TimeUnit>,
    /// The unit of amounts that have none and whose heading names none: ml.
    #[arg(long, value_name = "UNIT")]
    amounts: Option<String>,
    /// What parts the columns, where it is not found by itself: `,` `;` or tab.
    #[arg(long, value_name = "SIGN")]
    delimiter: Option<String>,
    /// Leave out the jobs that have a fault, and import the others.
    #[arg(long)]
    skip_bad: bool,
}

/// Reads the table, checks it, and brings in what is new.
pub fn run(context: &Context, args: &ImportArgs) -> Result<Outcome, Error> {
    let words = Words::read(&args.codes, args.codes_file.as_deref())?;
    let delimiter = args.delimiter.as_deref().map(delimiter).transpose()?;
    let bytes = bytes(&args.file)?;
    let (sheet, mut faults) = Sheet::read(&bytes, delimiter)
        .map_err(|fault| Error::refused(tell::faults(&args.file, &[fault])))?;
    let catalogue = catalogue(context);
    if args.maps.is_empty() {
        let guesses = columns::guess(&sheet, &catalogue, &words);
        return Ok(tell::columns(&args.file, &sheet, &guesses));
    }
    let columns = Columns::read(&args.maps, &args.sets, &sheet)?;
    let mut reading = reading(context, args, &sheet, &columns, &words, &catalogue)?;
    reading.bad_lines = faults.iter().map(|fault| fault.line).collect();
    let mut found = jobs::read(&reading);
    faults.append(&mut found.faults);
    faults.sort_by_key(|fault| fault.line);
    // A code in a --map is wrong on every line.
    let is_whole = faults.iter().any(|fault| fault.line == 0);
    if !faults.is_empty() && (!args.skip_bad || is_whole) {
        let hint = "Nothing was imported. --skip-bad leaves the jobs with a fault out and imports the others.";
        return Err(
            Error::refused(tell::faults(&args.file, &faults)).with_hint(if is_whole {
                "Nothing was imported."
            } else {
                hint
            }),
        );
    }
    let mut remarks = Vec::new();
    if !faults.is_empty() {
        remarks.push(format!(
            "{} left out: {}",
            counted(found.left_out, "job", "jobs"),
            tell::faults(&args.file, &faults)
        ));
    }
    if found.other_sums > 0 {
        remarks.push(format!(
            "Of {} the time as a whole is not that of its stages: the stages were taken.",
            counted(found.other_sums, "job", "jobs")
        ));
    }
    bring(context, &args.file, &found, &remarks)
}

/// A table as it is read without a bay around it.
#[derive(Debug, Clone, Copy)]
pub struct Table<'a> {
    pub bytes: &'a [u8],
    pub maps: &'a [String],
    pub sets: &'a [String],
    pub codes: &'a [String],
    pub catalogue: &'a Catalogue,
    pub anyway: bool,
    /// No job was done after it.
    pub today: jiff::civil::Date,
}

/// What a table comes to.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Comes {
    pub jobs: Vec<v1::PastJob>,
    /// What the person is shown: the columns, or the faults.
    pub shown: String,
}

/// Reads a table as [`run`] does, for checks that feed it tables that nobody
/// would write.
pub fn read_table(table: &Table<'_>) -> Result<Comes, Error> {
    let file = Path::new("table.csv");
    let words = Words::read(table.codes, None)?;
    let (sheet, mut faults) = Sheet::read(table.bytes, None)
        .map_err(|fault| Error::refused(tell::faults(file, &[fault])))?;
    if table.maps.is_empty() {
        let guesses = columns::guess(&sheet, table.catalogue, &words);
        return Ok(Comes {
            jobs: Vec::new(),
            shown: tell::columns(file, &sheet, &guesses).text,
        });
    }
    let columns = Columns::read(table.maps, table.sets, &sheet)?;
    let mut found = jobs::read(&Reading {
        sheet: &sheet,
        columns: &columns,
        words: &words,
        catalogue: table.catalogue,
        units: baywright_terms::catalogue::UnitSystem::Metric,
        dates: None,
        times: None,
        amounts: None,
        today: table.today,
        bad_lines: faults.iter().map(|fault| fault.line).collect(),
        anyway: table.anyway,
    });
    faults.append(&mut found.faults);
    let new: Vec<&Read> = found.jobs.iter().collect();
    let shown = format!(
        "{}\n{}",
        tell::faults(file, &faults),
        tell::preview(&new, 80)
    );
    Ok(Comes {
        jobs: found.jobs.into_iter().map(|job| job.past).collect(),
        shown,
    })
}

/// Asks which jobs are in the log, and posts the others.
fn bring(
    context: &Context,
    file: &Path,
    found: &Found,
    remarks: &[String],
) -> Result<Outcome, Error> {
    let dry = context.common.dry;
    let mut said: Vec<String> = remarks.to_vec();
    let known = match ask_known(context, &found.jobs) {
        Ok(known) => known,
        // A dry run is worth something without a daemon.
        Err(error) if dry && error.kind() == Kind::Unreachable => {
            said.push("No answer from the daemon: which of them it has is not known.".to_owned());
            BTreeSet::new()
        }
        Err(error) => return Err(error),
    };
    let new: Vec<&Read> = found
        .jobs
        .iter()
        .filter(|job| !known.contains(&job.past.key))
        .collect();
    let held = u64::try_from(found.jobs.len().saturating_sub(new.len())).unwrap_or(u64::MAX);
    let sum = Sum::of(new.iter().copied());
    let mut events = Vec::new();
    if !new.is_empty() && !dry {
        let source = file.file_name().map(|name| name.to_string_lossy());
        events = bring::post(context, &source.unwrap_or_default(), &new)?.events;
    }
    let mut text = String::new();
    if dry && !new.is_empty() {
        text.push_str(&tell::preview(&new, page::columns()));
        text.push('\n');
    }
    text.push_str(&outcome_words(&sum, held, dry));
    for line in &said {
        text.push('\n');
        text.push_str(line);
    }
    let json = json!({ "import": {
        "file": file, "dry": dry, "new": sum.json(), "known": held, "left_out": found.left_out,
        "events": Value::from(events), "remarks": said,
    }});
    Ok(Outcome::new(text, json))
}

fn ask_known(context: &Context, jobs: &[Read]) -> Result<BTreeSet<Vec<u8>>, Error> {
    if !context.common.dry {
        bring::settle_spool(context)?;
    }
    bring::known(context, jobs)
}

fn outcome_words(sum: &Sum, held: u64, dry: bool) -> String {
    let held_words = match held {
        0 => String::new(),
        held => format!(
            " {} in the log already.",
            counted(held, "job is", "jobs are")
        ),
    };
    if sum.jobs == 0 {
        return format!("Nothing new.{held_words}");
    }
    let what = sum.words();
    if dry {
        return format!("Would come in: {what}.{held_words} Nothing was posted (--dry).");
    }
    let next = sum.main_type().map_or_else(String::new, |code| {
        format!("\nWhat they change: bay learned {code}")
    });
    format!("Imported {what}.{held_words}{next}")
}

fn reading<'a>(
    context: &Context,
    args: &ImportArgs,
    sheet: &'a Sheet,
    columns: &'a Columns,
    words: &'a Words,
    catalogue: &'a Catalogue,
) -> Result<Reading<'a>, Error> {
    let units = context.units();
    let amounts = args
        .amounts
        .as_deref()
        .map(|typed| Unit::parse(typed, units));
    let shop = catalogue.shop.as_ref();
    let zone = zone_named(shop.map_or("UTC", |shop| shop.zone.as_str()));
    let latest = Micros(context.now().0.saturating_add(TODAY_SLACK_US));
    Ok(Reading {
        sheet,
        columns,
        words,
        catalogue,
        units,
        dates: args.dates,
        times: args.times,
        amounts: amounts.transpose().map_err(|e| super::refused(&e))?,
        today: shop_day(latest, &zone),
        bad_lines: BTreeSet::new(),
        anyway: context.common.anyway,
    })
}

/// The catalogue as the daemon has it now, else as this bay knows it.
fn catalogue(context: &Context) -> Catalogue {
    context.refresh_catalogue();
    let held = context.catalogue_or_ask();
    held.map(|held| held.catalogue.clone()).unwrap_or_default()
}

fn delimiter(typed: &str) -> Result<char, Error> {
    match typed {
        "tab" | "\t" => Ok('\t'),
        "," | "comma" => Ok(','),
        ";" | "semicolon" => Ok(';'),
        _ => Err(Error::usage(format!("`{typed}` does not part columns."))
            .with_hint("Known: `,` `;` and tab.")),
    }
}

fn bytes(path: &Path) -> Result<Vec<u8>, Error> {
    let failed = |error: std::io::Error| {
        let message = match error.kind() {
            std::io::ErrorKind::NotFound => format!("There is no file {}.", path.display()),
            _ => format!("{} could not be read: {error}.", path.display()),
        };
        Error::refused(message)
    };
    let size = std::fs::metadata(path).map_err(failed)?.len();
    if size > FILE_BYTES_MAX {
        return Err(Error::refused(format!(
            "{} is larger than a table of jobs can be ({FILE_BYTES_MAX} bytes).",
            path.display()
        ))
        .with_hint("Import it in parts."));
    }
    std::fs::read(path).map_err(failed)
}

#[cfg(test)]
mod tests;
