//! Promised share against the share that held: on the diagonal a promise is
//! kept exactly.

use maud::html;

use super::scale::{Axis, Scale};
use super::{BASELINE_PX, LINE_PX, Picture, line, percent, px, words};

/// Shares between 0 and 1.
#[derive(Debug, Clone, Copy)]
pub(in crate::page) struct Point {
    pub promised: f64,
    pub held: f64,
    /// The range of the held share.
    pub low: f64,
    pub high: f64,
}

const PLOT_PX: f64 = 260.0;
/// Across, per cent: the marks of the upright axis stand before it.
const PLOT: (f64, f64) = (13.5, 94.0);
const MARKS: f64 = 5.0;

pub(in crate::page) fn picture(
    id: &'static str,
    title: &str,
    says: &str,
    points: &[Point],
) -> Picture {
    let across = Scale::new(Axis::around(0.0, 1.0, MARKS), PLOT.0, PLOT.1);
    let down = Scale::new(
        Axis::around(0.0, 1.0, MARKS),
        PLOT_PX + LINE_PX / 2.0,
        LINE_PX / 2.0,
    );
    let share = |mark: &f64| format!("{:.0} %", mark * 100.0);
    let bottom_px = down.at(0.0);
    let body = html! {
        @for mark in &down.axis.marks {
            (line("s-hair", (PLOT.0, down.at(*mark)), (PLOT.1, down.at(*mark))))
            (words("q r", (PLOT.0, -6.0), down.at(*mark) + 4.0, &share(mark)))
        }
        @for mark in &across.axis.marks {
            (words("q m", (across.at(*mark), 0.0), bottom_px + 4.0 + BASELINE_PX, &share(mark)))
        }
        (line("s-text", (PLOT.0, bottom_px), (PLOT.1, down.at(1.0))))
        @for point in points {
            @let x = across.at(point.promised);
            (line("s-deep", (x, down.at(point.low)), (x, down.at(point.high))))
        }
        @for (point, next) in points.iter().zip(points.iter().skip(1)) {
            (line(
                "s-stone",
                (across.at(point.promised), down.at(point.held)),
                (across.at(next.promised), down.at(next.held)),
            ))
        }
        @for point in points {
            circle.f-deep cx=(percent(across.at(point.promised))) cy=(px(down.at(point.held))) r="4.5" {}
        }
    };
    Picture {
        id,
        title: title.to_owned(),
        says: says.to_owned(),
        caption: "Across: the share that was promised to take no more. Up: the share that did. Dot: what held. \
                  Upright line: where it lies with 95 % certainty. Slope from corner to corner: as promised; above \
                  it quotes were careful, below it too short."
            .to_owned(),
        height_px: PLOT_PX + 2.0 * LINE_PX,
        body,
    }
}
