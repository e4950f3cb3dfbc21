//! The weeks before, one line each.

use baywright_proto::v1::{Week, WeekPoint};

use super::figure::{hours_minutes, whole_percent};
use super::money::{figure, left_heading};
use super::table::{Column, Table};
use super::text::{clean, push, section};

/// About a week; an hour more or less does not matter here.
const WEEK_US: i64 = 7 * 24 * 3_600_000_000;

/// The section; empty where no history was asked for.
pub(super) fn history(week: &Week, page: usize) -> String {
    if week.history.is_empty() {
        return String::new();
    }
    let priced = week.history.iter().any(|point| point.revenue_minor != 0);
    let mut columns = vec![
        Column::text("week"),
        Column::number("jobs"),
        Column::number("quoted"),
        Column::number("actual"),
        Column::number("1 in 5\n%"),
        Column::number("half\n%"),
        Column::number("4 in 5\n%"),
        Column::number("rework"),
        Column::number("in use\n%"),
    ];
    if priced {
        let margin = week.money.is_some_and(|money| money.margin);
        let currency = clean(&week.currency);
        columns.push(Column::number(left_heading(margin, &currency)));
        columns.push(Column::number(format!("an hour\n{currency}")));
    }
    let mut table = Table::of(columns);
    // Weeks before the first record say nothing about the shop.
    let begun = |point: &&WeekPoint| {
        point.jobs > 0 || point.from_us.saturating_add(WEEK_US) > week.log_from_us
    };
    for point in week.history.iter().filter(begun) {
        table.row_of(cells(point, &week.currency));
    }
    let mut out = section("Week by week, labour in hours:minutes", page);
    out.push_str(&table.render(page));
    if week
        .history
        .iter()
        .any(|point| point.ratio_half_permille > 0)
    {
        push(
            &mut out,
            "Actual labour in % of the quote: 1 in 5 jobs stayed below the first figure, half \
             below the second, 4 in 5 below the third.",
            page,
        );
    }
    out
}

fn cells(point: &WeekPoint, currency: &str) -> Vec<String> {
    let in_use = whole_percent(point.utilisation_permille);
    if point.jobs == 0 {
        let mut cells = vec![String::new(); 9];
        cells[0].clone_from(&point.week);
        "0".clone_into(&mut cells[1]);
        cells[8] = in_use;
        return cells;
    }
    let ratio = |permille: u32| {
        if point.ratio_half_permille > 0 {
            whole_percent(permille)
        } else {
            String::new()
        }
    };
    vec![
        point.week.clone(),
        point.jobs.to_string(),
        hours_minutes(point.quoted_us),
        hours_minutes(point.actual_us),
        ratio(point.ratio_p20_permille),
        ratio(point.ratio_half_permille),
        ratio(point.ratio_p80_permille),
        hours_minutes(point.rework_us),
        in_use,
        figure(point.contribution_minor, currency),
        match point.effective_hour_minor {
            0 => String::new(),
            minor => figure(minor, currency),
        },
    ]
}
