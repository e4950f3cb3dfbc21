//! A ratio week by week: the half, and the band that holds three jobs in five.

use maud::html;

use super::scale::{Axis, Scale};
use super::{BASELINE_PX, Fill, LINE_PX, Picture, bar, line, percent, px, words};

#[derive(Debug, Clone)]
pub(in crate::page) struct Point {
    pub name: String,
    /// `None`: no job.
    pub spread: Option<Spread>,
}

/// Actual over quoted; 1 is as quoted.
#[derive(Debug, Clone, Copy)]
pub(in crate::page) struct Spread {
    pub p20: f64,
    pub half: f64,
    pub p80: f64,
}

const PLOT_PX: f64 = 190.0;
const MARKS_MAX: f64 = 5.0;
/// Where the weeks begin: the figures of the marks stand before them.
pub(super) const WEEKS: (f64, f64) = (13.5, 100.0);
/// Share of a week's place that its bar takes.
const BAR_SHARE: f64 = 0.34;

pub(in crate::page) fn picture(
    id: &'static str,
    title: &str,
    says: &str,
    points: &[Point],
) -> Picture {
    let spreads: Vec<Spread> = points.iter().filter_map(|point| point.spread).collect();
    let lowest = spreads.iter().map(|s| s.p20).fold(1.0, f64::min);
    let highest = spreads.iter().map(|s| s.p80).fold(1.0, f64::max);
    let scale = Scale::new(
        Axis::around(lowest, highest, MARKS_MAX),
        PLOT_PX + LINE_PX / 2.0,
        LINE_PX / 2.0,
    );
    let places = places(points.len());
    let mut before: Option<(f64, f64)> = None;
    let mut drawn = Vec::new();
    for (point, (middle, half_width)) in points.iter().zip(&places) {
        let here = point.spread.map(|spread| (*middle, scale.at(spread.half)));
        drawn.push(html! {
            @if let Some(spread) = point.spread {
                @let (top_px, bottom_px) = (scale.at(spread.p80), scale.at(spread.p20));
                (bar(id, (middle - half_width, middle + half_width), (top_px, bottom_px - top_px), Fill::Sand))
            }
            @if let (Some(from), Some(to)) = (before, here) { (line("s-deep", from, to)) }
            (words("q m", (*middle, 0.0), PLOT_PX + LINE_PX + BASELINE_PX, &point.name))
        });
        before = here;
    }
    let body = html! {
        @for mark in &scale.axis.marks {
            @let y_px = scale.at(*mark);
            (line("s-hair", (WEEKS.0, y_px), (WEEKS.1, y_px)))
            (words("q r", (WEEKS.0, -6.0), y_px + 4.0, &format!("{:.0} %", mark * 100.0)))
        }
        (line("s-text", (WEEKS.0, scale.at(1.0)), (WEEKS.1, scale.at(1.0))))
        @for part in &drawn { (part) }
        @for (point, (middle, _)) in points.iter().zip(&places) {
            @if let Some(spread) = point.spread {
                circle.f-deep cx=(percent(*middle)) cy=(px(scale.at(spread.half))) r="4" {}
            }
        }
    };
    Picture {
        id,
        title: title.to_owned(),
        says: says.to_owned(),
        caption: "Actual labour, per cent of the quoted. Dot: half of the week's jobs took no more. Bar: from what \
                  one in five stayed below to what four in five stayed below. Dark line: as quoted."
            .to_owned(),
        height_px: PLOT_PX + 2.0 * LINE_PX,
        body,
    }
}

/// Middle and half width of each of so many places side by side, per cent.
pub(super) fn places(count: usize) -> Vec<(f64, f64)> {
    let parts = f64::from(u32::try_from(count.max(1)).unwrap_or(u32::MAX));
    let pitch = (WEEKS.1 - WEEKS.0) / parts;
    std::iter::successors(Some(WEEKS.0 + pitch / 2.0), |middle| Some(middle + pitch))
        .take(count)
        .map(|middle| (middle, pitch * BAR_SHARE))
        .collect()
}
