//! The weeks before, with their spread.

use baywright_proto::v1::WeekPoint;
use maud::{Markup, html};

use super::Sheet;
use crate::page::chart::band::{self, Point, Spread};
use crate::page::chart::columns::{self, Column as Bar};
use crate::page::frame::Section;
use crate::page::phrase::{NONE, mark, permille, some_hours};
use crate::page::table::{Column, Table, cell};
use crate::render::figure::hours_minutes;
use crate::render::text::{capital, clean};

/// One week is no history.
const WEEKS_MIN: usize = 2;
/// Counts up to here are words.
const WORDS: [&str; 13] = [
    "No", "One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight", "Nine", "Ten", "Eleven",
    "Twelve",
];

pub(super) fn section(sheet: &Sheet<'_>) -> Option<Section> {
    let history = &sheet.week.history;
    // Weeks before the first job say nothing.
    let first = history.iter().position(|point| point.jobs > 0)?;
    let history = history.get(first..)?;
    if history.len() < WEEKS_MIN {
        return None;
    }
    let points: Vec<Point> = history.iter().map(point).collect();
    let bars: Vec<Bar> = history
        .iter()
        .map(|point| Bar {
            name: short_name(&point.week),
            value: sheet.purse.drawn(point.contribution_minor),
        })
        .collect();
    let result = capital(sheet.result());
    let title = format!("{result} by week, {}", sheet.purse.code());
    let has_money = history.iter().any(|point| point.revenue_minor != 0);
    let body = html! {
        h3 { "Actual labour against quoted" }
        (band::picture("history-chart", "Actual against quoted labour by week", &ratio_sentence(history), &points).render())
        @if has_money {
            h3 { (title) }
            (columns::picture("result-chart", &title, &money_sentence(sheet, history), &bars, mark).render())
        }
        (table(sheet, history).render())
    };
    let count = WORDS
        .get(history.len())
        .map_or_else(|| history.len().to_string(), |word| (*word).to_owned());
    Some(Section::new(
        "history",
        format!("{count} weeks with their spread"),
        body,
    ))
}

fn point(point: &WeekPoint) -> Point {
    let ratio = |permille: u32| f64::from(permille) / 1000.0;
    Point {
        name: short_name(&point.week),
        spread: (point.ratio_half_permille > 0).then(|| Spread {
            p20: ratio(point.ratio_p20_permille),
            half: ratio(point.ratio_half_permille),
            p80: ratio(point.ratio_p80_permille),
        }),
    }
}

/// `48` of `2026-W48`: twelve of them stand side by side on a phone.
fn short_name(week: &str) -> String {
    let week = clean(week);
    week.rsplit_once('W')
        .map_or(week.clone(), |(_, number)| number.to_owned())
}

fn ratio_sentence(history: &[WeekPoint]) -> String {
    let with_jobs = || history.iter().filter(|point| point.ratio_half_permille > 0);
    let lowest = with_jobs().min_by_key(|point| point.ratio_half_permille);
    let highest = with_jobs().max_by_key(|point| point.ratio_half_permille);
    let last = with_jobs().next_back();
    match (lowest, highest, last) {
        (Some(lowest), Some(highest), Some(last)) => format!(
            "The half of each week's jobs lay between {} of the quoted labour in {} and {} in {}; in {} it was {}, \
             and four in five stayed below {}.",
            permille(lowest.ratio_half_permille),
            clean(&lowest.week),
            permille(highest.ratio_half_permille),
            clean(&highest.week),
            clean(&last.week),
            permille(last.ratio_half_permille),
            permille(last.ratio_p80_permille),
        ),
        _ => "No job of these weeks was quoted.".to_owned(),
    }
}

fn money_sentence(sheet: &Sheet<'_>, history: &[WeekPoint]) -> String {
    let lowest = history.iter().min_by_key(|point| point.contribution_minor);
    let highest = history.iter().max_by_key(|point| point.contribution_minor);
    match (lowest, highest) {
        (Some(lowest), Some(highest)) => format!(
            "The {} lay between {} in {} and {} in {}.",
            sheet.result(),
            sheet.purse.named(lowest.contribution_minor),
            clean(&lowest.week),
            sheet.purse.named(highest.contribution_minor),
            clean(&highest.week),
        ),
        _ => String::new(),
    }
}

fn table(sheet: &Sheet<'_>, history: &[WeekPoint]) -> Table {
    let code = sheet.purse.code();
    let mut table = Table::new(
        "history-table",
        format!("Week by week; labour in hours:minutes, money in {code}"),
        [
            Column::text("Week"),
            Column::number("Jobs"),
            Column::number("Quoted"),
            Column::number("Actual"),
            Column::number("One in five below"),
            Column::number("Half below"),
            Column::number("Four in five below"),
            Column::number("Rework"),
            Column::number("In use"),
            Column::number(&capital(sheet.result())),
            Column::number("Effective hour"),
        ],
    );
    for point in history {
        table.row(cells(sheet, point));
    }
    table
}

fn cells(sheet: &Sheet<'_>, point: &WeekPoint) -> [Markup; 11] {
    let ratio = |value: u32| {
        if value > 0 {
            cell(permille(value))
        } else {
            cell(NONE)
        }
    };
    [
        cell(clean(&point.week)),
        cell(point.jobs.to_string()),
        cell(hours_minutes(point.quoted_us)),
        cell(hours_minutes(point.actual_us)),
        ratio(point.ratio_p20_permille),
        ratio(point.ratio_half_permille),
        ratio(point.ratio_p80_permille),
        cell(some_hours(point.rework_us)),
        cell(permille(point.utilisation_permille)),
        cell(sheet.purse.number(point.contribution_minor)),
        if point.effective_hour_minor == 0 {
            cell(NONE)
        } else {
            cell(sheet.purse.number(point.effective_hour_minor))
        },
    ]
}
