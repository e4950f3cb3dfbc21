//! Odd records, and the command that settles each.

use baywright_proto::v1::{OddRecord, OddResponse};

use super::calendar::Calendar;
use super::figure::{counted, hours_minutes};
use super::text::{clean, paragraph};

/// How much is said of a record.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Detail {
    /// As part of another page.
    Short,
    /// Without the command: the answer is asked for below it.
    Asked,
    /// With its year.
    Full,
}

/// All odd records as text of at most `page` columns.
pub fn list(response: &OddResponse, page: usize) -> String {
    let calendar = Calendar::of(&response.zone);
    if response.odd.is_empty() {
        return "Nothing to settle.\n".to_owned();
    }
    let count = u64::try_from(response.odd.len()).unwrap_or(u64::MAX);
    let mut out = format!("{} to settle.\n", counted(count, "record", "records"));
    for record_to_settle in &response.odd {
        out.push('\n');
        out.push_str(&record(record_to_settle, &calendar, Detail::Full, page));
    }
    out
}

/// One record: where and when, what is odd, and what settles it.
pub fn record(record: &OddRecord, calendar: &Calendar, detail: Detail, page: usize) -> String {
    let when = match detail {
        Detail::Short | Detail::Asked => calendar.short_day_and_time(record.occurred_us),
        Detail::Full => calendar.day_and_time(record.occurred_us),
    };
    let mut head = vec![format!("event {}", record.seq), when];
    if !record.bay.is_empty() {
        head.push(clean(&record.bay));
    }
    if record.job_number != 0 {
        head.push(format!("job {}", record.job_number));
    }
    let mut out = paragraph(&head.join(", "), page, 2);
    out.push('\n');
    out.push_str(&paragraph(&format!("  {}", clean(&record.text)), page, 0));
    out.push('\n');
    if record.settled {
        out.push_str("  settled\n");
    } else if detail != Detail::Asked && record.changes_us != 0 {
        out.push_str(&paragraph(&format!("  {}", hangs(record)), page, 0));
        out.push('\n');
    }
    if !record.settled && detail != Detail::Asked && !record.settle_with.is_empty() {
        let command = format!("  > {}", clean(&record.settle_with));
        out.push_str(&paragraph(&command, page, 4));
        out.push('\n');
    }
    out
}

/// The labour that hangs on the answer: `0:45 of decon hangs on it.`
fn hangs(record: &OddRecord) -> String {
    let size = hours_minutes(record.changes_us);
    let stage = clean(&record.stage);
    match record.code.as_str() {
        "unclosed" => format!("{size} of {stage} is counted until it is answered."),
        "break-crossed" => format!("{size} of {stage} would come off."),
        "undeclared" => format!("{size} is allowed for {stage}; none is counted."),
        _ => format!("{size} of {stage} hangs on it."),
    }
}
