//! Quoted against actual labour, by job type and job.

use baywright_proto::v1::{WeekJob, WeekStage, WeekType};
use maud::{Markup, html};

use super::Sheet;
use crate::page::chart::paired::{Pair, picture};
use crate::page::frame::Section;
use crate::page::phrase::{NONE, differs, jobs as jobs_in_words, minus, some_hours};
use crate::page::table::{Column, Table, cell, named};
use crate::render::figure::{counted, difference_percent, hours_minutes};
use crate::render::text::{capital, clean};

const NO_ALLOWANCE: &str = "none";

pub(super) fn types(sheet: &Sheet<'_>) -> Option<Section> {
    let types = &sheet.week.types;
    if types.is_empty() {
        return None;
    }
    let pairs: Vec<Pair> = types
        .iter()
        .map(|of_type| Pair {
            name: clean(&of_type.job_type),
            note: jobs_in_words(of_type.jobs),
            quoted_us: (of_type.jobs_quoted > 0).then_some(of_type.quoted_us),
            actual_us: Some(of_type.actual_us),
            rework_us: of_type.rework_us,
        })
        .collect();
    let body = html! {
        (picture("types-chart", "Quoted against actual labour by job type", &sentence(types), &pairs).render())
        (types_table(types).render())
        @if types.iter().any(|of_type| of_type.actual_unquoted_us > 0) {
            p.small { "Differences leave out the labour of jobs without an allowance." }
        }
        @for (index, of_type) in types.iter().enumerate() {
            @if !of_type.stages.is_empty() {
                details {
                    summary { "Stages of " (clean(&of_type.job_type)) }
                    (stages(&format!("stages-{index}"), &format!("Stages of {}, hours:minutes", clean(&of_type.job_type)), &of_type.stages, true).render())
                }
            }
        }
    };
    Some(Section::new("types", "Quoted against actual", body))
}

fn sentence(types: &[WeekType]) -> String {
    let each: Vec<String> = types
        .iter()
        .map(|of_type| {
            let actual = hours_minutes(of_type.actual_us);
            let name = clean(&of_type.job_type);
            if of_type.jobs_quoted > 0 {
                let quoted = hours_minutes(of_type.quoted_us);
                format!("{name} was quoted {quoted} and took {actual}")
            } else {
                format!("{name} has no allowance and took {actual}")
            }
        })
        .collect();
    format!("Hours and minutes of labour: {}.", each.join("; "))
}

fn types_table(types: &[WeekType]) -> Table {
    let mut table = Table::new(
        "types-table",
        "Labour by job type, hours:minutes",
        [
            Column::text("Job type"),
            Column::number("Jobs"),
            Column::number("Quoted"),
            Column::number("Actual"),
            Column::number("Differs"),
            Column::number("%"),
            Column::number("First pass"),
            Column::number("Rework"),
            Column::number("Declared"),
            Column::number("Unclosed"),
        ],
    );
    for of_type in types {
        table.row(type_cells(
            named(&clean(&of_type.job_type), &clean(&of_type.id)),
            of_type,
        ));
    }
    if types.len() > 1 {
        table.total(type_cells(cell("All"), &sum(types)));
    }
    table
}

fn type_cells(name: Markup, of_type: &WeekType) -> [Markup; 10] {
    let compared = of_type.actual_us.saturating_sub(of_type.actual_unquoted_us);
    let quoted = (of_type.jobs_quoted > 0).then_some(of_type.quoted_us);
    let [quoted, actual, off, percent] = against(quoted, of_type.actual_us, compared);
    [
        name,
        cell(of_type.jobs.to_string()),
        quoted,
        actual,
        off,
        percent,
        cell(some_hours(
            of_type.actual_us.saturating_sub(of_type.rework_us),
        )),
        cell(some_hours(of_type.rework_us)),
        cell(some_hours(of_type.declared_us)),
        cell(some_hours(of_type.unclosed_us)),
    ]
}

fn sum(types: &[WeekType]) -> WeekType {
    let add = |field: fn(&WeekType) -> i64| types.iter().map(field).fold(0, i64::saturating_add);
    let count = |field: fn(&WeekType) -> u32| types.iter().map(field).fold(0, u32::saturating_add);
    WeekType {
        jobs: count(|t| t.jobs),
        jobs_quoted: count(|t| t.jobs_quoted),
        quoted_us: add(|t| t.quoted_us),
        actual_us: add(|t| t.actual_us),
        actual_unquoted_us: add(|t| t.actual_unquoted_us),
        rework_us: add(|t| t.rework_us),
        unclosed_us: add(|t| t.unclosed_us),
        declared_us: add(|t| t.declared_us),
        ..WeekType::default()
    }
}

/// Cells `quoted, actual, differs, %`.
fn against(quoted_us: Option<i64>, actual_us: i64, compared_us: i64) -> [Markup; 4] {
    let actual = cell(hours_minutes(actual_us));
    let Some(quoted) = quoted_us else {
        return [cell(NO_ALLOWANCE), actual, cell(NONE), cell(NONE)];
    };
    let off = differs(compared_us, quoted);
    let percent = minus(&difference_percent(compared_us, quoted));
    let more = (compared_us > quoted).then_some("more");
    [
        cell(hours_minutes(quoted)),
        actual,
        html! { span class=[more] { (off) } },
        cell(if percent.is_empty() { NONE } else { &percent }),
    ]
}

/// The stages of a type or of a job.
pub(in crate::page) fn stages(
    id: &str,
    caption: &str,
    stages: &[WeekStage],
    with_jobs: bool,
) -> Table {
    let mut columns = vec![Column::text("Stage")];
    if with_jobs {
        columns.push(Column::number("Jobs"));
    }
    columns.extend([
        Column::number("Quoted"),
        Column::number("Actual"),
        Column::number("Differs"),
        Column::number("%"),
        Column::number("Rework"),
        Column::number("Declared"),
        Column::number("Unclosed"),
    ]);
    let mut table = Table::new(id, caption, columns);
    for stage in stages {
        let quoted = (!stage.no_allowance).then_some(stage.quoted_us);
        let mut cells = vec![named(&clean(&stage.stage), &clean(&stage.id))];
        if with_jobs {
            cells.push(cell(stage.jobs.to_string()));
        }
        if stage.jobs == 0 {
            // Allowed, and nobody recorded it: not the same as done in no time.
            let quoted = cell(hours_minutes(stage.quoted_us));
            cells.extend([quoted, cell("no record"), cell(NONE), cell(NONE)]);
        } else {
            cells.extend(against(quoted, stage.actual_us, stage.actual_us));
        }
        cells.extend([
            cell(some_hours(stage.rework_us)),
            cell(some_hours(stage.declared_us)),
            cell(some_hours(stage.unclosed_us)),
        ]);
        table.row(cells);
    }
    table
}

pub(super) fn jobs(sheet: &Sheet<'_>) -> Option<Section> {
    let released: Vec<&WeekJob> = sheet
        .week
        .jobs
        .iter()
        .filter(|job| job.released_us != 0)
        .collect();
    if released.is_empty() {
        return None;
    }
    let code = sheet.purse.code();
    let mut table = Table::new(
        "jobs-table",
        format!("Jobs released; labour in hours:minutes, money in {code}"),
        [
            Column::text("Job"),
            Column::short("Out"),
            Column::wide("Type and vehicle"),
            Column::number("Quoted"),
            Column::number("Actual"),
            Column::number("Differs"),
            Column::number("Price"),
            Column::number(&capital(sheet.result())),
            Column::number("Effective hour"),
        ],
    );
    for job in &released {
        table.row(job_cells(sheet, job));
    }
    let body = html! {
        (table.render())
        p.small {
            "Effective hour: price less materials, for each hour of labour. "
            @if released.iter().any(|j| j.money.as_ref().is_some_and(|m| m.revenue_assumed)) {
                "* nothing was agreed, so the list price stands in. "
            }
            @if released.iter().any(|j| j.unclosed_us > 0) {
                "Unclosed: nobody ended the stage, so it was cut at closing. "
            }
            @if released.iter().any(|j| j.declared_us > 0) { "Declared: stated at release, not recorded. " }
            "One job in full: " code { "bay job NUMBER" } "."
        }
    };
    let title = format!(
        "{} released",
        counted(crate::page::phrase::many(&released), "job", "jobs")
    );
    Some(Section::new("jobs", title, body))
}

fn job_cells(sheet: &Sheet<'_>, job: &WeekJob) -> [Markup; 9] {
    let quoted = (!job.no_allowance).then_some(job.quoted_us);
    let [quoted, actual, off, _] = against(quoted, job.actual_us, job.actual_us);
    let money = job.money.as_ref();
    let priced = money.filter(|money| money.revenue_known);
    let minor = |value: Option<i64>| {
        value.map_or_else(|| NONE.to_owned(), |minor| sheet.purse.number(minor))
    };
    let assumed = if priced.is_some_and(|money| money.revenue_assumed) {
        "*"
    } else {
        ""
    };
    let hour = priced
        .map(|money| money.effective_hour_minor)
        .filter(|hour| *hour != 0);
    [
        named(&name(job), &clean(&job.id)),
        cell(sheet.calendar.day_of_month(job.released_us)),
        html! {
            (clean(&job.job_type))
            @if !job.vehicle.is_empty() { small { (clean(&job.vehicle)) } }
            @for remark in remarks(job) { small { (remark) } }
        },
        quoted,
        actual,
        off,
        cell(format!(
            "{assumed}{}",
            minor(priced.map(|money| money.revenue_minor))
        )),
        cell(minor(priced.map(|money| money.contribution_minor))),
        cell(minor(hour)),
    ]
}

/// The number of a job, or the handle of one that has none yet.
pub(in crate::page) fn name(job: &WeekJob) -> String {
    if job.number == 0 {
        clean(&job.handle)
    } else {
        job.number.to_string()
    }
}

/// What to know about the labour of a job before trusting it.
pub(in crate::page) fn remarks(job: &WeekJob) -> Vec<String> {
    let parts: Vec<String> = [
        (job.rework_us, "rework"),
        (job.unclosed_us, "unclosed"),
        (job.declared_us, "declared"),
    ]
    .into_iter()
    .filter(|(span, _)| *span > 0)
    .map(|(span, what)| format!("{} {what}", hours_minutes(span)))
    .collect();
    let mut remarks = Vec::new();
    if job.comeback_of != 0 {
        remarks.push(format!("puts job {} right", job.comeback_of));
    }
    if !parts.is_empty() {
        remarks.push(format!("of it {}", parts.join(", ")));
    }
    remarks
}
