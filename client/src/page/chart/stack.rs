//! Bay time by kind: a bar for each bay and day, as long as its hours.

use maud::{Markup, html};

use super::scale::{Axis, Scale};
use super::{BASELINE_PX, Fill, LINE_PX, Picture, bar, grid, hours, legend, line, words};
use crate::render::figure::hours_minutes;

/// The four kinds of one bay on one day, or in one week.
#[derive(Debug, Clone, Default)]
pub(in crate::page) struct Row {
    pub name: String,
    pub hands_on_us: i64,
    pub waiting_us: i64,
    pub idle_us: i64,
    pub empty_us: i64,
}

impl Row {
    fn whole_us(&self) -> i64 {
        [
            self.hands_on_us,
            self.waiting_us,
            self.idle_us,
            self.empty_us,
        ]
        .into_iter()
        .fold(0, i64::saturating_add)
    }
}

#[derive(Debug)]
pub(in crate::page) struct Group {
    pub name: String,
    pub rows: Vec<Row>,
}

/// Where the bars begin and the longest ends, per cent of the width.
const BARS: (f64, f64) = (17.0, 87.0);
const ROW_PX: f64 = 19.0;
const BAR_PX: f64 = 12.0;
const GROUP_GAP_PX: f64 = 12.0;
const MARKS_MAX: f64 = 6.0;

pub(in crate::page) fn picture(
    id: &'static str,
    title: &str,
    says: &str,
    groups: &[Group],
) -> Picture {
    let rows = groups.iter().flat_map(|group| &group.rows);
    let longest_us = rows.map(Row::whole_us).max().unwrap_or(0);
    let scale = Scale::new(Axis::hours(hours(longest_us), MARKS_MAX), BARS.0, BARS.1);
    let top_px = LINE_PX + 6.0;
    let mut at_px = top_px;
    let mut drawn = Vec::new();
    for group in groups {
        drawn.push(words("b", (0.0, 0.0), at_px + BASELINE_PX, &group.name));
        at_px += LINE_PX;
        for row in &group.rows {
            drawn.push(self::row(id, &scale, row, at_px));
            at_px += ROW_PX;
        }
        at_px += GROUP_GAP_PX;
    }
    let bottom_px = at_px - GROUP_GAP_PX;
    let kinds = [
        (0.0, Fill::Deep, "hands-on"),
        (29.0, Fill::Sand, "waiting"),
        (56.0, Fill::Stone, "idle"),
        (76.0, Fill::Open, "empty"),
    ];
    let body = html! {
        (legend(id, &kinds))
        (grid(&scale, (top_px + LINE_PX, bottom_px), |mark| format!("{mark} h")))
        @for part in &drawn { (part) }
    };
    Picture {
        id,
        title: title.to_owned(),
        says: says.to_owned(),
        caption: "Length: hours of the bay's places. At the right: hands-on time.".to_owned(),
        height_px: bottom_px + LINE_PX,
        body,
    }
}

fn row(id: &str, scale: &Scale, row: &Row, top_px: f64) -> Markup {
    let parts = [
        (row.hands_on_us, Fill::Deep),
        (row.waiting_us, Fill::Sand),
        (row.idle_us, Fill::Stone),
        (row.empty_us, Fill::Open),
    ];
    let middle_px = (ROW_PX - BAR_PX) / 2.0;
    let mut until_us: i64 = 0;
    let bars: Vec<Markup> = parts
        .into_iter()
        .map(|(span_us, fill)| {
            let from = scale.at(hours(until_us));
            until_us = until_us.saturating_add(span_us.max(0));
            bar(
                id,
                (from, scale.at(hours(until_us))),
                (top_px + middle_px, BAR_PX),
                fill,
            )
        })
        .collect();
    let start = scale.at(0.0);
    let letters_px = top_px + BASELINE_PX;
    html! {
        (words("q r", (start, -6.0), letters_px, &row.name))
        @for bar in &bars { (bar) }
        (line("s-quiet", (start, top_px), (start, top_px + ROW_PX)))
        @if row.whole_us() > 0 {
            (words("r", (100.0, 0.0), letters_px, &hours_minutes(row.hands_on_us)))
        }
    }
}
