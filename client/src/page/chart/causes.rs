//! What took from the result and what gave back: bars to either side of none.

use maud::{Markup, html};

use super::scale::{Axis, Scale};
use super::{BASELINE_PX, Fill, LINE_PX, Picture, bar, line, words};

#[derive(Debug, Clone)]
pub(in crate::page) struct Cause {
    pub name: String,
    /// Above nothing: it took.
    pub value: f64,
    /// As it is printed.
    pub figure: String,
}

const BAR_PX: f64 = 11.0;
const GAP_PX: f64 = 7.0;
const STEPS_MAX: f64 = 6.0;

pub(in crate::page) fn picture(
    id: &'static str,
    title: &str,
    says: &str,
    caption: &str,
    causes: &[Cause],
) -> Picture {
    let lowest = causes.iter().map(|c| c.value).fold(0.0, f64::min);
    let highest = causes.iter().map(|c| c.value).fold(0.0, f64::max);
    let scale = Scale::new(Axis::around(lowest, highest, STEPS_MAX), 0.0, 100.0);
    let mut at_px = 0.0;
    let mut drawn = Vec::new();
    for cause in causes {
        drawn.push(self::cause(id, &scale, cause, at_px));
        at_px += LINE_PX + BAR_PX + GAP_PX;
    }
    let body = html! {
        @for part in &drawn { (part) }
    };
    Picture {
        id,
        title: title.to_owned(),
        says: says.to_owned(),
        caption: caption.to_owned(),
        height_px: at_px,
        body,
    }
}

fn cause(id: &str, scale: &Scale, cause: &Cause, top_px: f64) -> Markup {
    let (zero, end) = (scale.at(0.0), scale.at(cause.value));
    let (ends, fill) = if cause.value > 0.0 {
        ((zero, end), Fill::Brick)
    } else {
        ((end, zero), Fill::Deep)
    };
    html! {
        (words("", (0.0, 0.0), top_px + BASELINE_PX, &cause.name))
        (words("r", (100.0, 0.0), top_px + BASELINE_PX, &cause.figure))
        (bar(id, ends, (top_px + LINE_PX, BAR_PX), fill))
        (line("s-quiet", (zero, top_px + LINE_PX - 2.0), (zero, top_px + LINE_PX + BAR_PX + 2.0)))
    }
}
