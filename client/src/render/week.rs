//! The owner's Friday: one week of the shop on a page.

use baywright_proto::v1::{Week, WeekBay, WeekJob, WeekStage, WeekType};

use super::calendar::Calendar;
use super::chemicals;
use super::figure::{
    adding_up, counted, difference, difference_percent, hours_minutes, whole_percent,
};
use super::settle::{self, Detail};
use super::table::{Column, Table};
use super::text::{clean, paragraph};

/// Odd records that the week shows before it points to `bay settle`.
const ODD_SHOWN_MAX: usize = 6;
/// Stands where the catalogue has no allowance.
pub(super) const NO_ALLOWANCE: &str = "none";

/// The week as text of at most `page` columns.
pub fn week(week: &Week, page: usize) -> String {
    let calendar = Calendar::of(&week.zone);
    let mut out = head(week, &calendar, page);
    if !week.remark.is_empty() {
        push(&mut out, &clean(&week.remark), page);
    }
    let log_is_empty = week.log_from_us == 0 && week.log_until_us == 0;
    if log_is_empty {
        if week.remark.is_empty() {
            push(
                &mut out,
                "The log is empty: nothing has been posted yet.",
                page,
            );
        }
        return out;
    }
    // A week that has not begun has no bay time to show.
    if !week.bays.is_empty() && (week.counted_until_us > week.from_us || week.as_of_us == 0) {
        out.push_str(&bays(&week.bays, page));
    }
    let released: Vec<&WeekJob> = week.jobs.iter().filter(|j| j.released_us != 0).collect();
    if released.is_empty() && week.remark.is_empty() {
        out.push('\n');
        push(
            &mut out,
            &format!("No job was released in {}.", clean(&week.week)),
            page,
        );
    }
    if !week.types.is_empty() {
        out.push_str(&types(&week.types, page));
    }
    if !released.is_empty() {
        out.push_str(&jobs(&released, &calendar, page));
    }
    out.push_str(&chemicals::chemicals(&week.chemicals, page));
    out.push_str(&odd(week, &calendar, page));
    out
}

fn head(week: &Week, calendar: &Calendar, page: usize) -> String {
    let shop = if week.shop.is_empty() {
        String::new()
    } else {
        format!("{}, ", clean(&week.shop))
    };
    let mut out = String::new();
    push(&mut out, &format!("{shop}week {}", clean(&week.week)), page);
    let last_us = week.until_us.saturating_sub(1);
    let last = calendar.day(last_us);
    // A week may begin in the year before.
    let first = calendar.day(week.from_us);
    let first = match (first.rsplit_once(' '), last.rsplit_once(' ')) {
        (Some((day, year)), Some((_, same))) if year == same => day,
        _ => &first,
    };
    let dates = format!("{first} to {last}, {} time", clean(calendar.zone_name()));
    push(&mut out, &dates, page);
    if week.as_of_us != 0 {
        let at = calendar.short_day_and_time(week.as_of_us);
        let mut as_of = format!("As of {at}, event {}.", week.as_of_seq);
        let runs = week.as_of_us >= week.from_us && week.as_of_us < week.until_us;
        if runs && week.counted_until_us < week.until_us {
            as_of.push_str(" The week is still running.");
        }
        push(&mut out, &as_of, page);
    }
    out
}

fn bays(bays: &[WeekBay], page: usize) -> String {
    let mut table = Table::new([
        Column::text("bay"),
        Column::number("jobs\nout"),
        Column::number("open"),
        Column::number("occupied"),
        Column::number("hands-\non"),
        Column::number("waiting"),
        Column::number("idle"),
        Column::number("empty"),
        Column::number("outside\nhours"),
        Column::number("in use\n%"),
    ]);
    for bay in bays {
        table.row(bay_cells(&bay.bay, bay, bay.utilisation_permille));
    }
    if bays.len() > 1 {
        let sum = sum_of_bays(bays);
        let permille = share_permille(sum.open_us.saturating_sub(sum.empty_us), sum.open_us);
        table.total(bay_cells("all", &sum, permille));
    }
    let mut out = section("Bay time, hours:minutes", page);
    if bays
        .iter()
        .all(|bay| bay.open_us == 0 && bay.occupied_us == 0)
    {
        push(&mut out, "No open hours, and no vehicle in a bay.", page);
        return out;
    }
    out.push_str(&table.render(page));
    let adds = "hands-on + waiting + idle = occupied; occupied + empty = open + outside hours.";
    push(&mut out, adds, page);
    let labour: Vec<String> = bays
        .iter()
        .filter(|bay| bay.labour_us > 0)
        .map(|bay| format!("{} {}", clean(&bay.bay), hours_minutes(bay.labour_us)))
        .collect();
    if !labour.is_empty() {
        let labour = format!("Labour, each person's time: {}.", labour.join(", "));
        push(&mut out, &labour, page);
    }
    out
}

fn bay_cells(name: &str, bay: &WeekBay, permille: u32) -> [String; 10] {
    let parts = [bay.hands_on_us, bay.waiting_us, bay.idle_us, bay.empty_us];
    let [hands_on, waiting, idle, empty] = adding_up(parts);
    let occupied = hands_on.saturating_add(waiting).saturating_add(idle);
    // The printed row balances: what is outside hours is what the rounding of
    // the others leaves of it.
    let [open, outside] = adding_up([bay.open_us, bay.occupied_outside_open_us]);
    [
        name.to_owned(),
        bay.jobs_released.to_string(),
        hours_minutes(open),
        hours_minutes(occupied),
        hours_minutes(hands_on),
        hours_minutes(waiting),
        hours_minutes(idle),
        hours_minutes(empty),
        hours_minutes(outside),
        if bay.open_us > 0 {
            whole_percent(permille)
        } else {
            String::new()
        },
    ]
}

fn sum_of_bays(bays: &[WeekBay]) -> WeekBay {
    let sum = |field: fn(&WeekBay) -> i64| bays.iter().map(field).fold(0, i64::saturating_add);
    WeekBay {
        jobs_released: bays
            .iter()
            .map(|b| b.jobs_released)
            .fold(0, u32::saturating_add),
        open_us: sum(|b| b.open_us),
        occupied_us: sum(|b| b.occupied_us),
        occupied_outside_open_us: sum(|b| b.occupied_outside_open_us),
        hands_on_us: sum(|b| b.hands_on_us),
        waiting_us: sum(|b| b.waiting_us),
        idle_us: sum(|b| b.idle_us),
        empty_us: sum(|b| b.empty_us),
        labour_us: sum(|b| b.labour_us),
        ..WeekBay::default()
    }
}

fn share_permille(part: i64, whole: i64) -> u32 {
    if whole <= 0 {
        return 0;
    }
    let (part, whole) = (i128::from(part.max(0)), i128::from(whole));
    u32::try_from((part * 1000 + whole / 2) / whole).unwrap_or(u32::MAX)
}

fn types(types: &[WeekType], page: usize) -> String {
    let mut table = Table::new([
        Column::text("job type"),
        Column::number("jobs"),
        Column::number("quoted"),
        Column::number("actual"),
        Column::number("differs"),
        Column::number("%"),
    ]);
    for of_type in types {
        type_rows(&mut table, of_type);
    }
    if types.len() > 1 {
        let sum =
            |field: fn(&WeekType) -> i64| types.iter().map(field).fold(0, i64::saturating_add);
        let jobs: u64 = types.iter().map(|t| u64::from(t.jobs)).sum();
        let quoted = sum(|t| t.quoted_us);
        let actual = sum(|t| t.actual_us);
        let compared = actual.saturating_sub(sum(|t| t.actual_unquoted_us));
        let head = ["all".to_owned(), jobs.to_string()];
        table.total(against(head, Some(quoted), actual, compared));
        if actual > compared {
            let unquoted = hours_minutes(actual.saturating_sub(compared));
            table.note(&format!(
                "Differences leave out {unquoted} of labour without an allowance."
            ));
        }
    }
    let mut out = section(
        "Labour by job type, hours:minutes (quoted = the catalogue's allowance)",
        page,
    );
    out.push_str(&table.render(page));
    out
}

fn type_rows(table: &mut Table, of_type: &WeekType) {
    let compared = of_type.actual_us.saturating_sub(of_type.actual_unquoted_us);
    let quoted = (of_type.jobs_quoted > 0).then_some(of_type.quoted_us);
    let head = [of_type.job_type.clone(), of_type.jobs.to_string()];
    table.row(against(head, quoted, of_type.actual_us, compared));
    if let Some(stage) = differs_most(&of_type.stages) {
        let head = [
            format!("  most in {}", clean(&stage.stage)),
            stage.jobs.to_string(),
        ];
        let quoted = (!stage.no_allowance).then_some(stage.quoted_us);
        table.row(against(head, quoted, stage.actual_us, stage.actual_us));
    }
    if of_type.jobs_quoted > 0 && of_type.jobs_quoted < of_type.jobs {
        let without = of_type.jobs - of_type.jobs_quoted;
        let note = format!(
            "  the difference leaves out {} ({}) without an allowance",
            counted(u64::from(without), "job", "jobs"),
            hours_minutes(of_type.actual_unquoted_us),
        );
        table.note(&note);
    }
}

/// Cells `quoted, actual, differs, %` behind two others.
pub(super) fn against(
    [first, second]: [String; 2],
    quoted_us: Option<i64>,
    actual_us: i64,
    compared_us: i64,
) -> [String; 6] {
    let Some(quoted) = quoted_us else {
        let none = NO_ALLOWANCE.to_owned();
        let actual = hours_minutes(actual_us);
        return [first, second, none, actual, String::new(), String::new()];
    };
    [
        first,
        second,
        hours_minutes(quoted),
        hours_minutes(actual_us),
        difference(compared_us, quoted),
        difference_percent(compared_us, quoted),
    ]
}

/// The stage that is furthest from its allowance, a minute at least.
fn differs_most(stages: &[WeekStage]) -> Option<&WeekStage> {
    const LEAST_US: u64 = 60_000_000;
    let off = |stage: &WeekStage| stage.actual_us.abs_diff(stage.quoted_us);
    stages
        .iter()
        .filter(|stage| off(stage) >= LEAST_US)
        .max_by_key(|stage| off(stage))
}

fn jobs(jobs: &[&WeekJob], calendar: &Calendar, page: usize) -> String {
    let mut table = Table::new([
        Column::text("job"),
        Column::text("out"),
        Column::text("job type"),
        Column::text("vehicle"),
        Column::number("quoted"),
        Column::number("actual"),
        Column::number("differs"),
    ]);
    for job in jobs {
        let quoted = (!job.no_allowance).then_some(job.quoted_us);
        let [_, _, quoted, actual, differs, _] =
            against(Default::default(), quoted, job.actual_us, job.actual_us);
        table.row([
            job_name(job),
            calendar.day_of_month(job.released_us),
            job.job_type.clone(),
            job.vehicle.clone(),
            quoted,
            actual,
            differs,
        ]);
        for uncertain in uncertain(job) {
            table.note(&format!("      {uncertain}"));
        }
    }
    let mut out = section("Jobs released, labour in hours:minutes", page);
    out.push_str(&table.render(page));
    out.push_str(&legend(jobs, page));
    out
}

/// The number of a job, or the handle of one that has none yet.
pub(super) fn job_name(job: &WeekJob) -> String {
    if job.number == 0 {
        job.handle.clone()
    } else {
        job.number.to_string()
    }
}

/// What to know about the labour of a job before trusting it.
pub(super) fn uncertain(job: &WeekJob) -> Vec<String> {
    let parts: Vec<String> = [
        (job.rework_us, "rework"),
        (job.unclosed_us, "unclosed"),
        (job.declared_us, "declared"),
    ]
    .into_iter()
    .filter(|(span, _)| *span > 0)
    .map(|(span, what)| format!("{} {what}", hours_minutes(span)))
    .collect();
    let mut lines = Vec::new();
    if job.comeback_of != 0 {
        lines.push(format!("puts job {} right", job.comeback_of));
    }
    if !parts.is_empty() {
        lines.push(format!("of it {}", parts.join(", ")));
    }
    lines
}

fn legend(jobs: &[&WeekJob], page: usize) -> String {
    let mut words = Vec::new();
    if jobs.iter().any(|job| job.unclosed_us > 0) {
        words.push("Unclosed: nobody ended the stage, so it was cut at closing.");
    }
    if jobs.iter().any(|job| job.declared_us > 0) {
        words.push("Declared: stated at release, not recorded.");
    }
    let mut out = String::new();
    if !words.is_empty() {
        push(&mut out, &words.join(" "), page);
    }
    out
}

fn odd(week: &Week, calendar: &Calendar, page: usize) -> String {
    if week.odd.is_empty() {
        return String::new();
    }
    let count = u64::try_from(week.odd.len()).unwrap_or(u64::MAX);
    let mut out = section(
        &format!("{} to settle", counted(count, "record", "records")),
        page,
    );
    // Those of the week first: what is older has been seen before.
    let (of_week, others): (Vec<_>, Vec<_>) = week
        .odd
        .iter()
        .partition(|record| (week.from_us..week.until_us).contains(&record.occurred_us));
    for record in of_week.into_iter().chain(others).take(ODD_SHOWN_MAX) {
        out.push_str(&settle::record(record, calendar, Detail::Short, page));
    }
    if let Some(more) = week.odd.len().checked_sub(ODD_SHOWN_MAX).filter(|n| *n > 0) {
        push(
            &mut out,
            &format!("and {more} more; all of them: bay settle"),
            page,
        );
    }
    out
}

/// A heading with an empty line above it.
pub(super) fn section(title: &str, page: usize) -> String {
    format!("\n{}\n", paragraph(title, page, 0))
}

pub(super) fn push(out: &mut String, text: &str, page: usize) {
    out.push_str(&paragraph(text, page, 0));
    out.push('\n');
}
