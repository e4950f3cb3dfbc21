//! What half of the jobs used, up to what four in five used, against what was
//! allowed: one strip for each product.

use maud::{Markup, html};

use super::scale::{Axis, Scale};
use super::{BASELINE_PX, Fill, LINE_PX, Picture, bar, line, px, words};

/// Shares of the allowance; 1 is the allowance.
#[derive(Debug, Clone)]
pub(in crate::page) struct Strip {
    pub name: String,
    /// Behind the name, quieter.
    pub note: String,
    pub half: f64,
    pub p80: f64,
    /// The half as it is printed.
    pub figure: String,
}

/// Beyond three times its allowance a product is only said to be there, or it
/// would press the others into a corner.
const SHARE_MAX: f64 = 3.0;
const STRIP_PX: f64 = 16.0;
const GAP_PX: f64 = 6.0;
const MARKS_MAX: f64 = 5.0;

pub(in crate::page) fn picture(
    id: &'static str,
    title: &str,
    says: &str,
    strips: &[Strip],
) -> Picture {
    let most = strips.iter().map(|s| s.half.max(s.p80)).fold(1.0, f64::max);
    let scale = Scale::new(Axis::around(0.0, most.min(SHARE_MAX), MARKS_MAX), 0.0, 97.0);
    let mut at_px = 0.0;
    let mut drawn = Vec::new();
    for strip in strips {
        drawn.push(self::strip(id, &scale, strip, at_px));
        at_px += LINE_PX + STRIP_PX + GAP_PX;
    }
    let body = html! {
        @for part in &drawn { (part) }
        @for mark in &scale.axis.marks {
            @let class = if *mark > scale.axis.from { "q m" } else { "q" };
            (words(class, (scale.at(*mark), 0.0), at_px + BASELINE_PX, &format!("{:.0} %", mark * 100.0)))
        }
    };
    Picture {
        id,
        title: title.to_owned(),
        says: says.to_owned(),
        caption: "Per cent of the allowance, for each job. Dot: half of the jobs used no more. Bar: from there \
                  up to what four in five used no more than. Upright line: the allowance."
            .to_owned(),
        height_px: at_px + LINE_PX,
        body,
    }
}

fn strip(id: &str, scale: &Scale, strip: &Strip, top_px: f64) -> Markup {
    let strip_px = top_px + LINE_PX;
    let middle_px = strip_px + STRIP_PX / 2.0;
    let (half, p80, allowed) = (scale.at(strip.half), scale.at(strip.p80), scale.at(1.0));
    let fill = if strip.half > 1.0 {
        Fill::Brick
    } else {
        Fill::Sand
    };
    let beyond = scale.is_beyond(strip.half.max(strip.p80));
    html! {
        text x="0" y=(px(top_px + BASELINE_PX)) {
            tspan.b { (strip.name) }
            @if !strip.note.is_empty() { tspan.q dx="8" { (strip.note) } }
        }
        (words("r", (100.0, 0.0), top_px + BASELINE_PX, &strip.figure))
        (line("s-hair", (0.0, middle_px), (scale.at(scale.axis.to), middle_px)))
        (bar(id, (half, p80), (middle_px - 4.0, 8.0), fill))
        (line("s-text", (allowed, strip_px), (allowed, strip_px + STRIP_PX)))
        circle.f-deep cx=(super::percent(half)) cy=(px(middle_px)) r="5" {}
        @if beyond { (words("q r", (100.0, 0.0), middle_px + 5.0, "→")) }
    }
}
