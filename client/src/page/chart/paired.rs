//! Quoted against actual: two bars below each name.

use maud::{Markup, html};

use super::scale::{Axis, Scale};
use super::{BASELINE_PX, Fill, LINE_PX, Picture, bar, grid, hours, legend, line, words};
use crate::render::figure::hours_minutes;

#[derive(Debug, Clone)]
pub(in crate::page) struct Pair {
    pub name: String,
    /// Behind the name, quieter.
    pub note: String,
    /// `None`: no allowance.
    pub quoted_us: Option<i64>,
    /// `None`: no record.
    pub actual_us: Option<i64>,
    /// Part of it.
    pub rework_us: i64,
}

/// The longest bar leaves room for its figure, on a phone too.
const BARS: (f64, f64) = (0.0, 84.0);
const BAR_PX: f64 = 11.0;
const PITCH_PX: f64 = 16.0;
const GAP_PX: f64 = 10.0;
const MARKS_MAX: f64 = 6.0;

pub(in crate::page) fn picture(
    id: &'static str,
    title: &str,
    says: &str,
    pairs: &[Pair],
) -> Picture {
    let longest_us = pairs
        .iter()
        .map(|pair| pair.actual_us.max(pair.quoted_us).unwrap_or(0))
        .max()
        .unwrap_or(0);
    let scale = Scale::new(Axis::hours(hours(longest_us), MARKS_MAX), BARS.0, BARS.1);
    let top_px = LINE_PX + 4.0;
    let mut at_px = top_px;
    let mut drawn = Vec::new();
    for pair in pairs {
        drawn.push(self::pair(id, &scale, pair, at_px));
        at_px += LINE_PX + 2.0 * PITCH_PX + GAP_PX;
    }
    let has_rework = pairs.iter().any(|pair| pair.rework_us > 0);
    let mut kinds = vec![(0.0, Fill::Stone, "quoted"), (27.0, Fill::Deep, "actual")];
    if has_rework {
        kinds.push((54.0, Fill::Brick, "of it rework"));
    }
    let body = html! {
        (legend(id, &kinds))
        (grid(&scale, (top_px + 6.0, at_px), |mark| format!("{mark} h")))
        @for part in &drawn { (part) }
    };
    Picture {
        id,
        title: title.to_owned(),
        says: says.to_owned(),
        caption: "Length: hours of labour.".to_owned(),
        height_px: at_px + LINE_PX,
        body,
    }
}

fn pair(id: &str, scale: &Scale, pair: &Pair, top_px: f64) -> Markup {
    let start = scale.at(0.0);
    let quoted_px = top_px + LINE_PX;
    let actual_px = quoted_px + PITCH_PX;
    let inset_px = (PITCH_PX - BAR_PX) / 2.0;
    let worked_us = pair.actual_us.unwrap_or(0);
    let first_pass_us = worked_us.saturating_sub(pair.rework_us.max(0)).max(0);
    let (parted, end) = (scale.at(hours(first_pass_us)), scale.at(hours(worked_us)));
    let letters_px = BASELINE_PX - 2.0;
    html! {
        text x="0" y=(super::px(top_px + BASELINE_PX)) {
            tspan.b { (pair.name) }
            @if !pair.note.is_empty() { tspan.q dx="8" { (pair.note) } }
        }
        @if let Some(quoted_us) = pair.quoted_us {
            @let until = scale.at(hours(quoted_us));
            (bar(id, (start, until), (quoted_px + inset_px, BAR_PX), Fill::Stone))
            (words("q", (until, 6.0), quoted_px + letters_px, &hours_minutes(quoted_us)))
        } @else {
            (words("q", (start, 6.0), quoted_px + letters_px, "no allowance"))
        }
        (bar(id, (start, parted), (actual_px + inset_px, BAR_PX), Fill::Deep))
        (bar(id, (parted, end), (actual_px + inset_px, BAR_PX), Fill::Brick))
        (words("", (end, 6.0), actual_px + letters_px, &pair.actual_us.map_or_else(|| "no record".to_owned(), hours_minutes)))
        (line("s-quiet", (start, quoted_px), (start, quoted_px + 2.0 * PITCH_PX)))
    }
}
