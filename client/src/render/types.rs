//! Quoted against actual labour, and what is left, by job type.

use baywright_proto::v1::{Week, WeekStage, WeekType};

use super::figure::{NO_ALLOWANCE, counted, difference, difference_percent, hours_minutes};
use super::in_words::of_it;
use super::money::{figure, left_heading};
use super::table::{Column, Table};
use super::text::{clean, push, section};

/// A type is far over, so that more of its stages are shown, from this much
/// above its quotes on: by share, and by time, because a fifth of nothing is
/// nothing.
const FAR_OVER_PERCENT: i128 = 20;
const FAR_OVER_US: i64 = 3_600_000_000;
/// Stages shown of a type that is far over; of any other it is one.
const STAGES_OF_FAR_OVER: usize = 3;
/// A stage off by less is off by rounding.
const OFF_LEAST_US: u64 = 60_000_000;

/// The section; empty where nothing was released.
pub(super) fn types(week: &Week, all_stages: bool, page: usize) -> String {
    let types = &week.types;
    if types.is_empty() {
        return String::new();
    }
    let priced = week.money.is_some_and(|money| money.jobs_priced > 0);
    let mut columns = vec![
        Column::text("id"),
        Column::text("job type"),
        Column::number("jobs"),
        Column::number("quoted"),
        Column::number("actual"),
        Column::number("differs"),
        Column::number("%"),
    ];
    if priced {
        let margin = week.money.is_some_and(|money| money.margin);
        let currency = clean(&week.currency);
        columns.push(Column::number(left_heading(margin, &currency)));
        columns.push(Column::number(format!("an hour\n{currency}")));
    }
    let mut table = Table::of(columns);
    for of_type in types {
        type_rows(&mut table, of_type, week, all_stages);
    }
    if types.len() > 1 {
        totals(&mut table, week);
    }
    let mut out = section(
        "Labour by job type, hours:minutes (quoted = the catalogue's allowance)",
        page,
    );
    out.push_str(&table.render(page));
    let mut said = Vec::new();
    if priced {
        said.push("An hour: (revenue - materials) / all hours of labour on the jobs.");
    }
    if !all_stages {
        said.push("Every stage: --stages.");
    }
    if !said.is_empty() {
        push(&mut out, &said.join(" "), page);
    }
    out
}

fn totals(table: &mut Table, week: &Week) {
    let types = &week.types;
    let sum = |field: fn(&WeekType) -> i64| types.iter().map(field).fold(0, i64::saturating_add);
    let jobs: u64 = types.iter().map(|t| u64::from(t.jobs)).sum();
    let quoted = sum(|t| t.quoted_us);
    let actual = sum(|t| t.actual_us);
    let compared = actual.saturating_sub(sum(|t| t.actual_unquoted_us));
    let mut cells = vec![String::new(), "all".to_owned(), jobs.to_string()];
    cells.extend(against(Some(quoted), actual, compared));
    cells.extend(left(week.money.as_ref(), &week.currency));
    table.total_of(cells);
    if actual > compared {
        let unquoted = hours_minutes(actual.saturating_sub(compared));
        table.note(&format!(
            "Differences leave out {unquoted} of labour without an allowance."
        ));
    }
}

fn type_rows(table: &mut Table, of_type: &WeekType, week: &Week, all_stages: bool) {
    let compared = of_type.actual_us.saturating_sub(of_type.actual_unquoted_us);
    let quoted = (of_type.jobs_quoted > 0).then_some(of_type.quoted_us);
    let mut cells = vec![
        of_type.id.clone(),
        of_type.job_type.clone(),
        of_type.jobs.to_string(),
    ];
    cells.extend(against(quoted, of_type.actual_us, compared));
    cells.extend(left(of_type.money.as_ref(), &week.currency));
    table.row_of(cells);
    let of_it = of_it(of_type.rework_us, of_type.unclosed_us, of_type.declared_us);
    if !of_it.is_empty() {
        table.note(&format!("      {of_it}"));
    }
    if of_type.jobs_quoted > 0 && of_type.jobs_quoted < of_type.jobs {
        let without = of_type.jobs - of_type.jobs_quoted;
        let note = format!(
            "      the difference leaves out {} ({}) without an allowance",
            counted(u64::from(without), "job", "jobs"),
            hours_minutes(of_type.actual_unquoted_us),
        );
        table.note(&note);
    }
    if all_stages {
        for stage in &of_type.stages {
            stage_row(table, stage, "");
        }
        return;
    }
    let shown = if is_far_over(compared, of_type.quoted_us) {
        STAGES_OF_FAR_OVER
    } else {
        1
    };
    let furthest = differ_most(&of_type.stages);
    for (index, stage) in furthest.into_iter().take(shown).enumerate() {
        stage_row(table, stage, if index == 0 { "most in " } else { "then " });
    }
}

fn stage_row(table: &mut Table, stage: &WeekStage, before: &str) {
    let quoted = (!stage.no_allowance).then_some(stage.quoted_us);
    let mut cells = vec![
        stage.id.clone(),
        format!("  {before}{}", clean(&stage.stage)),
        stage.jobs.to_string(),
    ];
    cells.extend(against(quoted, stage.actual_us, stage.actual_us));
    table.row_of(cells);
    let of_it = of_it(stage.rework_us, stage.unclosed_us, stage.declared_us);
    if !of_it.is_empty() {
        table.note(&format!("        {of_it}"));
    }
}

fn is_far_over(actual_us: i64, quoted_us: i64) -> bool {
    let over = actual_us.saturating_sub(quoted_us);
    quoted_us > 0
        && over >= FAR_OVER_US
        && i128::from(over) * 100 >= i128::from(quoted_us) * FAR_OVER_PERCENT
}

/// What is left and the effective hour; empty cells where there is no price.
fn left(money: Option<&baywright_proto::v1::WeekMoney>, currency: &str) -> [String; 2] {
    let Some(money) = money.filter(|money| money.jobs_priced > 0) else {
        return Default::default();
    };
    let hour = match money.effective_hour_minor {
        0 => String::new(),
        minor => figure(minor, currency),
    };
    [figure(money.contribution_minor, currency), hour]
}

/// Cells `quoted, actual, differs, %`.
pub(super) fn against(quoted_us: Option<i64>, actual_us: i64, compared_us: i64) -> [String; 4] {
    let Some(quoted) = quoted_us else {
        let none = NO_ALLOWANCE.to_owned();
        return [none, hours_minutes(actual_us), String::new(), String::new()];
    };
    [
        hours_minutes(quoted),
        hours_minutes(actual_us),
        difference(compared_us, quoted),
        difference_percent(compared_us, quoted),
    ]
}

/// The stages that are a minute or more off their allowance, furthest first.
fn differ_most(stages: &[WeekStage]) -> Vec<&WeekStage> {
    let off = |stage: &WeekStage| stage.actual_us.abs_diff(stage.quoted_us);
    let mut furthest: Vec<&WeekStage> = stages
        .iter()
        .filter(|stage| off(stage) >= OFF_LEAST_US)
        .collect();
    furthest.sort_by_key(|stage| std::cmp::Reverse(off(stage)));
    furthest
}
