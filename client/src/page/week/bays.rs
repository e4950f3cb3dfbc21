//! Where each bay's time went, by kind and day.

use baywright_proto::v1::{WeekBay, WeekDay};
use jiff::civil::Date;
use maud::{Markup, html};

use super::Sheet;
use crate::page::chart::stack::{Group, Row, picture};
use crate::page::frame::Section;
use crate::page::phrase::{NONE, permille, some_hours};
use crate::page::table::{Column, Table, cell, named};
use crate::render::figure::{adding_up, hours_minutes};
use crate::render::text::{capital, clean};

/// A longer span is drawn by week: a bar for each day would fill pages.
const DAYS_DRAWN_MAX: usize = 14;

pub(super) fn section(sheet: &Sheet<'_>) -> Option<Section> {
    let bays = &sheet.week.bays;
    let used = bays
        .iter()
        .any(|bay| bay.open_us != 0 || bay.occupied_us != 0);
    if !used {
        return None;
    }
    let groups = groups(&sheet.week.days);
    let by_week = is_by_week(&sheet.week.days);
    let body = html! {
        @if !groups.is_empty() {
            (picture(
                "bays-chart",
                if by_week { "Bay time by kind and week" } else { "Bay time by kind and day" },
                &sentence(bays),
                &groups,
            ).render())
        }
        (kinds(sheet).render())
        p.small {
            "Hands-on, waiting and idle make the time a place was occupied; with empty they make open hours plus what \
             was worked outside them. In use: occupied share of the open hours. Hands-on share: of the occupied time."
        }
        (idle(bays))
        (earnings(sheet))
        @if !groups.is_empty() {
            details { summary { "The numbers behind the picture" } (numbers(&groups, by_week).render()) }
        }
    };
    Some(Section::new("bays", "Bay time", body))
}

/// Part of a whole, per mille.
pub(super) fn share(part: i64, whole: i64) -> u32 {
    if whole <= 0 {
        return 0;
    }
    let (part, whole) = (i128::from(part.max(0)), i128::from(whole));
    u32::try_from((part * 1000 + whole / 2) / whole).unwrap_or(u32::MAX)
}

fn sentence(bays: &[WeekBay]) -> String {
    let each: Vec<String> = bays
        .iter()
        .map(|bay| {
            format!(
                "{}: {} hands-on, {} waiting, {} idle and {} empty",
                clean(&bay.bay),
                hours_minutes(bay.hands_on_us),
                hours_minutes(bay.waiting_us),
                hours_minutes(bay.idle_us),
                hours_minutes(bay.empty_us)
            )
        })
        .collect();
    format!("Hours and minutes in all, {}.", each.join("; "))
}

fn kinds(sheet: &Sheet<'_>) -> Table {
    let bays = &sheet.week.bays;
    let mut table = Table::new(
        "bays-table",
        "Bay time by kind, hours:minutes",
        [
            Column::text("Bay"),
            Column::number("Jobs out"),
            Column::number("Open"),
            Column::number("Hands-on"),
            Column::number("Waiting"),
            Column::number("Idle"),
            Column::number("Empty"),
            Column::number("Outside hours"),
            Column::number("In use"),
            Column::number("Hands-on share"),
        ],
    );
    for bay in bays {
        table.row(kind_cells(
            named(&clean(&bay.bay), &clean(&bay.id)),
            bay,
            bay.utilisation_permille,
        ));
    }
    if bays.len() > 1 {
        let sum = sum(bays);
        let used = share(sum.open_us.saturating_sub(sum.empty_us), sum.open_us);
        table.total(kind_cells(cell("All"), &sum, used));
    }
    table
}

fn kind_cells(name: Markup, bay: &WeekBay, used_permille: u32) -> [Markup; 10] {
    let [hands_on, waiting, idle, empty] =
        adding_up([bay.hands_on_us, bay.waiting_us, bay.idle_us, bay.empty_us]);
    // The printed row balances: what is outside hours is what rounding leaves.
    let [open, outside] = adding_up([bay.open_us, bay.occupied_outside_open_us]);
    let occupied = bay
        .hands_on_us
        .saturating_add(bay.waiting_us)
        .saturating_add(bay.idle_us);
    let percent = |whole: i64, value: u32| {
        if whole > 0 {
            cell(permille(value))
        } else {
            cell(NONE)
        }
    };
    [
        name,
        cell(bay.jobs_released.to_string()),
        cell(some_hours(open)),
        cell(some_hours(hands_on)),
        cell(some_hours(waiting)),
        cell(some_hours(idle)),
        cell(some_hours(empty)),
        cell(some_hours(outside)),
        percent(bay.open_us, used_permille),
        percent(occupied, share(bay.hands_on_us, occupied)),
    ]
}

fn sum(bays: &[WeekBay]) -> WeekBay {
    let add = |field: fn(&WeekBay) -> i64| bays.iter().map(field).fold(0, i64::saturating_add);
    let jobs = bays.iter().map(|bay| bay.jobs_released);
    WeekBay {
        jobs_released: jobs.fold(0, u32::saturating_add),
        open_us: add(|bay| bay.open_us),
        occupied_outside_open_us: add(|bay| bay.occupied_outside_open_us),
        hands_on_us: add(|bay| bay.hands_on_us),
        waiting_us: add(|bay| bay.waiting_us),
        idle_us: add(|bay| bay.idle_us),
        empty_us: add(|bay| bay.empty_us),
        ..WeekBay::default()
    }
}

/// Why vehicles stood and nobody worked on them: reasons down, bays across.
fn idle(bays: &[WeekBay]) -> Markup {
    let spans = |reason: &str| -> Vec<i64> {
        let of = |bay: &WeekBay| {
            let same = bay.idle.iter().filter(|idle| idle.reason == reason);
            same.map(|idle| idle.idle_us).fold(0, i64::saturating_add)
        };
        bays.iter().map(of).collect()
    };
    let sum = |spans: &[i64]| spans.iter().copied().fold(0, i64::saturating_add);
    let all = bays.iter().flat_map(|bay| &bay.idle);
    let mut reasons: Vec<&str> = all.map(|idle| idle.reason.as_str()).collect();
    reasons.sort_unstable();
    reasons.dedup();
    reasons.sort_by_key(|reason| std::cmp::Reverse(sum(&spans(reason))));
    let mut columns = vec![Column::wide("Reason")];
    columns.extend(bays.iter().map(|bay| Column::number(&clean(&bay.bay))));
    columns.push(Column::number("All"));
    let caption = "Idle time by reason, hours:minutes";
    let mut table = Table::new("idle-table", caption, columns);
    for reason in reasons {
        let spans = spans(reason);
        let whole = sum(&spans);
        if whole != 0 {
            let mut cells = vec![cell(clean(reason))];
            cells.extend(spans.into_iter().map(|span| cell(some_hours(span))));
            cells.push(cell(some_hours(whole)));
            table.row(cells);
        }
    }
    if table.is_empty() {
        Markup::default()
    } else {
        table.render()
    }
}

/// What held each bay longest, and what its hours brought.
fn earnings(sheet: &Sheet<'_>) -> Markup {
    let bays = &sheet.week.bays;
    let code = sheet.purse.code();
    let result = sheet.result();
    let mut table = Table::new(
        "earnings-table",
        format!("What held each bay, and what its hours brought, {code}"),
        [
            Column::text("Bay"),
            Column::wide("Held longest by"),
            Column::number("For"),
            Column::number("Jobs here, mean"),
            Column::number(&format!("{} per occupied hour", capital(result))),
        ],
    );
    for bay in bays {
        if bay.longest_stage.is_empty() && bay.contribution_per_hour_minor.is_none() {
            continue;
        }
        let stage = clean(&bay.longest_stage);
        table.row([
            cell(clean(&bay.bay)),
            cell(if stage.is_empty() { NONE } else { &stage }),
            cell(some_hours(bay.longest_stage_us)),
            cell(format!("{:.1}", bay.jobs_here_mean)),
            cell(
                bay.contribution_per_hour_minor
                    .map_or_else(|| NONE.to_owned(), |minor| sheet.purse.number(minor)),
            ),
        ]);
    }
    if table.is_empty() {
        Markup::default()
    } else {
        table.render()
    }
}

fn is_by_week(days: &[WeekDay]) -> bool {
    let mut dates: Vec<&str> = days.iter().map(|day| day.date.as_str()).collect();
    dates.sort_unstable();
    dates.dedup();
    dates.len() > DAYS_DRAWN_MAX
}

/// Days with any time, below their bay; a long span by week.
fn groups(days: &[WeekDay]) -> Vec<Group> {
    let by_week = is_by_week(days);
    let mut groups: Vec<Group> = Vec::new();
    let mut sorted: Vec<&WeekDay> = days.iter().collect();
    sorted.sort_by(|a, b| (&a.bay, &a.date).cmp(&(&b.bay, &b.date)));
    for day in sorted {
        let bay = clean(&day.bay);
        if groups.last().is_none_or(|group| group.name != bay) {
            groups.push(Group {
                name: bay,
                rows: Vec::new(),
            });
        }
        let name = day_name(&day.date, by_week);
        let Some(group) = groups.last_mut() else {
            continue;
        };
        if group.rows.last().is_none_or(|row| row.name != name) {
            group.rows.push(Row {
                name,
                ..Row::default()
            });
        }
        if let Some(row) = group.rows.last_mut() {
            add(row, day);
        }
    }
    for group in &mut groups {
        group
            .rows
            .retain(|row| [row.hands_on_us, row.waiting_us, row.idle_us, row.empty_us] != [0; 4]);
    }
    groups.retain(|group| !group.rows.is_empty());
    groups
}

fn add(row: &mut Row, day: &WeekDay) {
    for (sum, part) in [
        (&mut row.hands_on_us, day.hands_on_us),
        (&mut row.waiting_us, day.waiting_us),
        (&mut row.idle_us, day.idle_us),
        (&mut row.empty_us, day.empty_us),
    ] {
        *sum = sum.saturating_add(part);
    }
}

/// `Mon 23`, or `W48`; what cannot be read as it came.
fn day_name(date: &str, by_week: bool) -> String {
    let Ok(read) = date.parse::<Date>() else {
        return clean(date);
    };
    if by_week {
        return format!("W{:02}", read.iso_week_date().week());
    }
    jiff::fmt::strtime::format("%a %-d", read).unwrap_or_else(|_| clean(date))
}

fn numbers(groups: &[Group], by_week: bool) -> Table {
    let mut table = Table::new(
        "days-table",
        format!(
            "Bay time by {}, hours:minutes",
            if by_week { "week" } else { "day" }
        ),
        [
            Column::text("Bay and day"),
            Column::number("Hands-on"),
            Column::number("Waiting"),
            Column::number("Idle"),
            Column::number("Empty"),
        ],
    );
    for group in groups {
        for row in &group.rows {
            let spans = adding_up([row.hands_on_us, row.waiting_us, row.idle_us, row.empty_us]);
            let [hands_on, waiting, idle, empty] = spans.map(|span| cell(some_hours(span)));
            let name = format!("{}, {}", group.name, row.name);
            table.row([cell(name), hands_on, waiting, idle, empty]);
        }
    }
    table
}
