//! One vehicle's days in the shop: where it stood, and the three clocks below
//! each other, a day at a time.

use maud::{Markup, html};

use super::scale::{Axis, Scale};
use super::{BASELINE_PX, Fill, LINE_PX, Picture, bar, line, percent, px, words};

/// Hours of the day, local time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::page) struct Hours {
    pub from: f64,
    pub until: f64,
}

/// Hours with what they were spent on, or where.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::page) struct Named {
    pub name: String,
    pub hours: Hours,
    pub rework: bool,
}

#[derive(Debug, Clone, Default)]
pub(in crate::page) struct Day {
    pub name: String,
    pub stays: Vec<Named>,
    pub hands_on: Vec<Named>,
    pub waiting: Vec<Hours>,
    pub idle: Vec<Hours>,
}

/// Where the day begins and ends, per cent of the width.
const PLOT: (f64, f64) = (19.0, 99.0);
const LANE_PX: f64 = 19.0;
const BAR_PX: f64 = 14.0;
const GAP_PX: f64 = 14.0;
/// Shares of the width that a letter may take on a wide page: a name longer
/// than its bar is left out there, and cut off at the bar's end on a phone.
const LETTER_SHARE: f64 = 1.15;

pub(in crate::page) fn picture(
    id: &'static str,
    title: &str,
    says: &str,
    shown: &Axis,
    days: &[Day],
) -> Picture {
    let scale = Scale::new(shown.clone(), PLOT.0, PLOT.1);
    let has_rework = days.iter().flat_map(|day| &day.hands_on).any(|w| w.rework);
    let mut at_px = 0.0;
    let mut drawn = Vec::new();
    for day in days {
        drawn.push(self::day(id, &scale, day, at_px));
        at_px += LINE_PX + 4.0 * LANE_PX + GAP_PX;
    }
    let body = html! { @for part in &drawn { (part) } @if !days.is_empty() { (clock(&scale, at_px - GAP_PX)) } };
    let rework = if has_rework {
        " Striped hands-on time is rework."
    } else {
        ""
    };
    Picture {
        id,
        title: title.to_owned(),
        says: says.to_owned(),
        caption: format!(
            "Across: the clock of the shop. Each minute is hands-on, waiting or idle. Hours in which nothing was \
             ever recorded are left out.{rework}"
        ),
        height_px: at_px - GAP_PX + LINE_PX,
        body,
    }
}

fn clock(scale: &Scale, top_px: f64) -> Markup {
    html! {
        @for mark in &scale.axis.marks {
            (words("q m", (scale.at(*mark), 0.0), top_px + BASELINE_PX, &format!("{mark:.0}")))
        }
    }
}

fn day(id: &str, scale: &Scale, day: &Day, top_px: f64) -> Markup {
    let lanes_px = top_px + LINE_PX;
    let lane_px = |lane: f64| lanes_px + lane * LANE_PX;
    let hours = |hours: &Hours| (scale.at(hours.from), scale.at(hours.until));
    let at = |lane: f64| (lane_px(lane) + (LANE_PX - BAR_PX) / 2.0, BAR_PX);
    html! {
        (words("b", (0.0, 0.0), top_px + BASELINE_PX, &day.name))
        @for mark in &scale.axis.marks {
            @let x = scale.at(*mark);
            (line("s-hair", (x, lanes_px), (x, lane_px(4.0))))
        }
        @for (lane, name) in [(0.0, "place"), (1.0, "hands-on"), (2.0, "waiting"), (3.0, "idle")] {
            (words("q r", (PLOT.0, -8.0), lane_px(lane) + BASELINE_PX, name))
        }
        @for stay in &day.stays {
            @let ends = hours(&stay.hours);
            (bar(id, ends, at(0.0), Fill::Open))
            (inside("q", ends, lane_px(0.0), &stay.name))
        }
        @for work in &day.hands_on {
            @let ends = hours(&work.hours);
            (bar(id, ends, at(1.0), if work.rework { Fill::Brick } else { Fill::Deep }))
            @if !work.rework { (inside("on", ends, lane_px(1.0), &work.name)) }
        }
        @for waiting in &day.waiting { (bar(id, hours(waiting), at(2.0), Fill::Sand)) }
        @for idle in &day.idle { (bar(id, hours(idle), at(3.0), Fill::Stone)) }
    }
}

/// A name inside its bar, cut off where the bar ends.
fn inside(class: &str, (from, until): (f64, f64), top_px: f64, name: &str) -> Markup {
    let letters = f64::from(u32::try_from(name.chars().count()).unwrap_or(u32::MAX));
    let width = until - from;
    if letters * LETTER_SHARE > width {
        return Markup::default();
    }
    html! {
        svg x=(percent(from)) width=(percent(width)) y=(px(top_px)) height=(px(LANE_PX)) overflow="hidden" {
            text class=(class) x="5" y=(px(BASELINE_PX)) { (name) }
        }
    }
}
