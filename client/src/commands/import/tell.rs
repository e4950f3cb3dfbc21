//! What is said of a file: its columns, its faults, what came in.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::Path;

use serde_json::{Value, json};

use super::columns::{Field, field_names};
use super::jobs::Read;
use super::sheet::{Fault, Sheet};
use crate::answer::{Outcome, plain};
use crate::render::figure::{counted, hours_minutes};
use crate::render::table::{Column, Table};
use crate::render::text::{clean, shorten, width};

/// Faults that are printed of one file; the rest follows from these as a rule.
const FAULTS_SHOWN_MAX: usize = 20;
/// Lines that are named of one fault.
const LINES_NAMED_MAX: usize = 4;
/// Jobs that a dry run shows.
const JOBS_SHOWN_MAX: usize = 8;
/// Columns of a cell's text where a column is shown by an example.
const EXAMPLE_COLUMNS: usize = 24;

/// All faults, those that say the same once with their lines.
pub(super) fn faults(path: &Path, faults: &[Fault]) -> String {
    let mut groups: Vec<(&Fault, Vec<u64>)> = Vec::new();
    for fault in faults {
        let same = groups
            .iter_mut()
            .find(|(first, _)| first.what == fault.what && first.hint == fault.hint);
        match same {
            Some((_, lines)) => lines.push(fault.line),
            None => groups.push((fault, vec![fault.line])),
        }
    }
    let count = u64::try_from(faults.len()).unwrap_or(u64::MAX);
    let mut text = format!(
        "{} in {}:",
        counted(count, "fault", "faults"),
        path.display()
    );
    let mut said = 0;
    // A hint that was just given is not given again.
    let mut last_hint = "";
    for (fault, lines) in groups.iter().take(FAULTS_SHOWN_MAX) {
        said += lines.len();
        let _ = write!(text, "\n  {}{}", place(lines), plain(&fault.what));
        if !fault.hint.is_empty() && fault.hint != last_hint {
            let _ = write!(text, "\n    {}", plain(&fault.hint));
        }
        last_hint = &fault.hint;
    }
    if let Some(more) = faults.len().checked_sub(said).filter(|more| *more > 0) {
        let _ = write!(text, "\n  and {more} more");
    }
    text
}

/// `line 3: `, `lines 3, 7, 9, 12 and 41 more: `; nothing for the file as a whole.
fn place(lines: &[u64]) -> String {
    let named: Vec<String> = lines
        .iter()
        .filter(|line| **line != 0)
        .take(LINES_NAMED_MAX)
        .map(u64::to_string)
        .collect();
    let more = lines.len().saturating_sub(named.len());
    match (named.len(), more) {
        (0, _) => String::new(),
        (1, 0) => format!("line {}: ", named.concat()),
        (_, 0) => format!("lines {}: ", named.join(", ")),
        (_, more) => format!("lines {} and {more} more: ", named.join(", ")),
    }
}

/// Which columns a file has, what they are likely to be, and how to go on.
pub(super) fn columns(path: &Path, sheet: &Sheet, guesses: &[Option<Field>]) -> Outcome {
    let mut table = Table::new([
        Column::whole_text("column"),
        Column::text("for example"),
        Column::text("taken as"),
    ]);
    let example = |index: usize| -> String {
        let cells = sheet.rows.iter().filter_map(|row| row.cells.get(index));
        let first = cells.map(|cell| cell.trim()).find(|cell| !cell.is_empty());
        shorten(&clean(first.unwrap_or_default()), EXAMPLE_COLUMNS)
    };
    let named = |guess: &Option<Field>| guess.as_ref().map_or_else(String::new, Field::name);
    for (index, (heading, guess)) in sheet.headings.iter().zip(guesses).enumerate() {
        table.row([clean(heading), example(index), named(guess)]);
    }
    let mut command = vec![format!(
        "bay import {}",
        quoted(&path.display().to_string())
    )];
    let mut has = Vec::new();
    for (heading, guess) in sheet.headings.iter().zip(guesses) {
        if let Some(field) = guess {
            let pair = format!("{}={}", field.name(), clean(heading));
            command.push(format!("--map {}", quoted(&pair)));
            has.push(field.clone());
        }
    }
    for (field, stands) in [
        (Field::Date, "--map date=COLUMN"),
        (Field::Type, "--map type=COLUMN"),
    ] {
        if !has.contains(&field) {
            command.push(stands.to_owned());
        }
    }
    let times = |field: &Field| matches!(field, Field::Actual | Field::StageTime(_));
    if !has.iter().any(times) {
        command.push("--map actual=COLUMN".to_owned());
    }
    command.push("--dry".to_owned());
    let rows = u64::try_from(sheet.rows.len()).unwrap_or(u64::MAX);
    let columns = crate::commands::page::columns();
    let text = format!(
        "{}: {} below {} headings, parted by {}. Nothing was imported: which column is what must be said.\n\n\
         {}\nAs far as the headings tell, this shows what would come in:\n\n{}\n\n\
         Fields: {}.\nWithout --dry it is imported.",
        path.display(),
        counted(rows, "row", "rows"),
        sheet.headings.len(),
        match sheet.delimiter {
            '\t' => "tabs".to_owned(),
            other => format!("`{other}`"),
        },
        table.render(columns),
        on_lines(&command, columns),
        field_names(),
    );
    let columns: Vec<Value> = sheet
        .headings
        .iter()
        .zip(guesses)
        .map(|(heading, guess)| json!({ "column": heading, "field": guess.as_ref().map(Field::name) }))
        .collect();
    let json = json!({ "columns": columns, "rows": rows, "command": command.join(" ") });
    Outcome::new(text, json)
}

/// A command on lines that a shell puts together again when they are copied.
fn on_lines(parts: &[String], columns: usize) -> String {
    /// What ends a line, and what begins the next.
    const BREAK: &str = " \\\n      ";
    let mut text = String::from("  ");
    let mut at = 2;
    for (index, part) in parts.iter().enumerate() {
        let wide = width(part) + 1;
        if index > 0 && at + wide + 2 > columns {
            text.push_str(BREAK);
            at = 6;
        } else if index > 0 {
            text.push(' ');
            at += 1;
        }
        text.push_str(part);
        at += wide - 1;
    }
    text
}

/// A word of a command line as a shell takes it.
fn quoted(word: &str) -> String {
    let is_plain = |c: char| c.is_alphanumeric() || matches!(c, '.' | '/' | '_' | '-' | '=' | ':');
    if !word.is_empty() && word.chars().all(is_plain) {
        return word.to_owned();
    }
    format!("'{}'", word.replace('\'', "'\\''"))
}

/// What some jobs come to.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Sum {
    pub(super) jobs: u64,
    pub(super) stages: u64,
    pub(super) amounts: u64,
    pub(super) types: BTreeMap<String, u64>,
}

impl Sum {
    pub(super) fn of<'a>(jobs: impl Iterator<Item = &'a Read>) -> Self {
        let mut sum = Self::default();
        let length = |n: usize| u64::try_from(n).unwrap_or(u64::MAX);
        for job in jobs {
            sum.jobs += 1;
            sum.stages += length(job.past.stages.len());
            sum.amounts += length(job.past.uses.len());
            *sum.types.entry(job.past.job_type.clone()).or_default() += 1;
        }
        sum
    }

    /// `214 jobs with 1280 stages and 640 amounts: trike-coat 120, tractor-wash 94`.
    pub(super) fn words(&self) -> String {
        let mut types: Vec<(&String, &u64)> = self.types.iter().collect();
        types.sort_by_key(|(code, n)| (std::cmp::Reverse(**n), (*code).clone()));
        let types: Vec<String> = types
            .into_iter()
            .map(|(code, n)| format!("{} {n}", clean(code)))
            .collect();
        let parts: Vec<String> = [
            (self.stages, "stage", "stages"),
            (self.amounts, "amount", "amounts"),
        ]
        .into_iter()
        .filter(|(n, ..)| *n > 0)
        .map(|(n, one, many)| counted(n, one, many))
        .collect();
        let with = if parts.is_empty() {
            String::new()
        } else {
            format!(" with {}", parts.join(" and "))
        };
        let jobs = counted(self.jobs, "job", "jobs");
        if types.is_empty() {
            return format!("{jobs}{with}");
        }
        format!("{jobs}{with}: {}", types.join(", "))
    }

    /// The type with most jobs.
    pub(super) fn main_type(&self) -> Option<&str> {
        let most = self
            .types
            .iter()
            .max_by_key(|(code, n)| (**n, std::cmp::Reverse((*code).clone())));
        most.map(|(code, _)| code.as_str())
    }

    pub(super) fn json(&self) -> Value {
        json!({
            "jobs": self.jobs, "stages": self.stages, "amounts": self.amounts, "types": self.types,
        })
    }
}

/// The first jobs of a dry run.
pub(super) fn preview(jobs: &[&Read], page: usize) -> String {
    let mut table = Table::new([
        Column::number("line"),
        Column::text("date"),
        Column::text("job type"),
        Column::text("vehicle"),
        Column::number("stages"),
        Column::number("quoted"),
        Column::number("actual"),
        Column::number("amounts"),
    ]);
    let some = |us: i64| {
        if us == 0 {
            String::new()
        } else {
            hours_minutes(us)
        }
    };
    for job in jobs.iter().take(JOBS_SHOWN_MAX) {
        let past = &job.past;
        let sum = |of: fn(&baywright_proto::v1::PastStage) -> i64| {
            past.stages.iter().map(of).fold(0, i64::saturating_add)
        };
        table.row([
            job.line.to_string(),
            past.date.clone(),
            past.job_type.clone(),
            past.vehicle.clone(),
            past.stages.len().to_string(),
            some(past.quoted_us.saturating_add(sum(|s| s.quoted_us))),
            some(past.actual_us.saturating_add(sum(|s| s.actual_us))),
            past.uses.len().to_string(),
        ]);
    }
    let mut out = table.render(page);
    if let Some(more) = jobs.len().checked_sub(JOBS_SHOWN_MAX).filter(|n| *n > 0) {
        let _ = writeln!(out, "and {more} more");
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn equal_faults_are_told_once_with_their_lines_and_the_rest_is_counted() {
        let mut all: Vec<Fault> = (3..10)
            .map(|line| {
                Fault::new(
                    line,
                    "no stage `Polieren` in the catalogue.",
                    "Did you mean polish?",
                )
            })
            .collect();
        all.extend((10..40).map(|line| Fault::new(line, format!("`x{line}` is not a time."), "")));
        let text = faults(Path::new("past.csv"), &all);
        assert!(
            text.starts_with(
                "37 faults in past.csv:\n  lines 3, 4, 5, 6 and 3 more: no stage `Polieren`"
            ),
            "{text}"
        );
        assert!(
            text.contains("\n    Did you mean polish?\n  line 10: `x10`"),
            "{text}"
        );
        assert!(text.ends_with("\n  and 11 more"), "{text}");
    }

    #[test]
    fn words_of_a_command_line_are_quoted_where_a_shell_would_part_them() {
        assert_eq!(quoted("date=Datum"), "date=Datum");
        assert_eq!(quoted("actual=Ist (min)"), "'actual=Ist (min)'");
        assert_eq!(quoted("type=it's"), r"'type=it'\''s'");
    }
}
