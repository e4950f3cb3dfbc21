//! A sum week by week, above and below nothing.

use maud::html;

use super::band::{WEEKS, places};
use super::scale::{Axis, Scale};
use super::{BASELINE_PX, Fill, LINE_PX, Picture, bar, line, words};

#[derive(Debug, Clone)]
pub(in crate::page) struct Column {
    pub name: String,
    pub value: f64,
}

const PLOT_PX: f64 = 120.0;
const MARKS_MAX: f64 = 4.0;

/// `label` prints a mark of the axis.
pub(in crate::page) fn picture(
    id: &'static str,
    title: &str,
    says: &str,
    columns: &[Column],
    label: impl Fn(f64) -> String,
) -> Picture {
    let lowest = columns.iter().map(|c| c.value).fold(0.0, f64::min);
    let highest = columns.iter().map(|c| c.value).fold(0.0, f64::max);
    let scale = Scale::new(
        Axis::around(lowest, highest, MARKS_MAX),
        PLOT_PX + LINE_PX / 2.0,
        LINE_PX / 2.0,
    );
    let zero_px = scale.at(0.0);
    let body = html! {
        @for mark in &scale.axis.marks {
            @let y_px = scale.at(*mark);
            (line("s-hair", (WEEKS.0, y_px), (100.0, y_px)))
            (words("q r", (WEEKS.0, -6.0), y_px + 4.0, &label(*mark)))
        }
        @for (column, (middle, half_width)) in columns.iter().zip(places(columns.len())) {
            @let end_px = scale.at(column.value);
            @let (top_px, fill) = if column.value < 0.0 { (zero_px, Fill::Brick) } else { (end_px, Fill::Deep) };
            (bar(id, (middle - half_width, middle + half_width), (top_px, (zero_px - end_px).abs()), fill))
            (words("q m", (middle, 0.0), PLOT_PX + LINE_PX + BASELINE_PX, &column.name))
        }
        (line("s-quiet", (WEEKS.0, zero_px), (100.0, zero_px)))
    };
    Picture {
        id,
        title: title.to_owned(),
        says: says.to_owned(),
        caption: String::new(),
        height_px: PLOT_PX + 2.0 * LINE_PX,
        body,
    }
}
