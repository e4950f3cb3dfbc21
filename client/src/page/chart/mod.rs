//! Pictures as plain SVG elements: percent across, pixels down, no path that
//! would have to be scaled. So letters keep their size on a phone and on
//! paper, colours come from the style sheet, and no width of a text has to be
//! guessed.

pub(super) mod band;
pub(super) mod calibration;
pub(super) mod causes;
pub(super) mod columns;
pub(super) mod paired;
pub(super) mod scale;
pub(super) mod spread;
pub(super) mod stack;
pub(super) mod timeline;

use maud::{Markup, html};

use scale::Scale;

/// Height of a line of letters with the room around it, pixels.
const LINE_PX: f64 = 20.0;
/// Closer than this to the left end a centred label would hang over it, per cent.
const EDGE: f64 = 3.0;
/// From the top of a line down to where its letters stand.
const BASELINE_PX: f64 = 14.0;

/// A picture with what it is called and what it says.
#[derive(Debug)]
pub(super) struct Picture {
    /// Unique on the page.
    pub id: &'static str,
    pub title: String,
    /// What there is to see, as a sentence, for who does not see it.
    pub says: String,
    /// How to read it, below it.
    pub caption: String,
    pub height_px: f64,
    pub body: Markup,
}

impl Picture {
    pub(super) fn render(self) -> Markup {
        let (title, says) = (format!("{}-title", self.id), format!("{}-says", self.id));
        html! {
            figure {
                svg.chart width="100%" height=(px(self.height_px)) role="img"
                    aria-labelledby=(title) aria-describedby=(says) {
                    title id=(title) { (self.title) }
                    desc id=(says) { (self.says) }
                    defs { (hatches(self.id)) }
                    (self.body)
                }
                @if !self.caption.is_empty() { figcaption { (self.caption) } }
            }
        }
    }
}

/// How an area is filled; each stands apart in grey print too.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Fill {
    /// Solid, the darkest.
    Deep,
    /// Stripes that rise.
    Sand,
    /// Dots.
    Stone,
    /// Stripes that fall, close together.
    Brick,
    /// An outline.
    Open,
}

/// The hatches of one picture. Ids are the page's, so each picture has its own.
fn hatches(id: &str) -> Markup {
    html! {
        pattern id={ (id) "-sand" } width="6" height="6" patternUnits="userSpaceOnUse"
            patternTransform="rotate(45)" {
            rect.f-sand width="3" height="6" {}
        }
        pattern id={ (id) "-stone" } width="4" height="4" patternUnits="userSpaceOnUse" {
            circle.f-stone cx="1" cy="1" r="1" {}
            circle.f-stone cx="3" cy="3" r="1" {}
        }
        pattern id={ (id) "-brick" } width="4" height="4" patternUnits="userSpaceOnUse"
            patternTransform="rotate(-45)" {
            rect.f-brick width="2.6" height="4" {}
        }
    }
}

/// A bar between two places across.
fn bar(id: &str, (from, to): (f64, f64), (top_px, height_px): (f64, f64), fill: Fill) -> Markup {
    let width = to - from;
    if !(width.is_finite() && width > 0.0 && height_px > 0.0) {
        return Markup::default();
    }
    let hatch = match fill {
        Fill::Sand => Some("sand"),
        Fill::Stone => Some("stone"),
        Fill::Brick => Some("brick"),
        Fill::Deep | Fill::Open => None,
    };
    let class = match fill {
        Fill::Deep => "f-deep",
        Fill::Sand => "s-sand",
        Fill::Stone => "s-stone",
        Fill::Brick => "s-brick",
        Fill::Open => "f-none s-stone",
    };
    let fill = hatch.map(|hatch| format!("url(#{id}-{hatch})"));
    html! {
        rect class=(class) fill=[fill] x=(percent(from)) width=(percent(width))
            y=(px(top_px)) height=(px(height_px)) {}
    }
}

fn line(class: &str, (x1, y1_px): (f64, f64), (x2, y2_px): (f64, f64)) -> Markup {
    html! {
        line class=(class) x1=(percent(x1)) y1=(px(y1_px)) x2=(percent(x2)) y2=(px(y2_px)) {}
    }
}

/// Words that begin, end or are centred at a place, as their class says, moved
/// by some pixels.
fn words(class: &str, (x, dx_px): (f64, f64), y_px: f64, text: &str) -> Markup {
    html! {
        text class=(class) x=(percent(x)) dx=(px(dx_px)) y=(px(y_px)) { (text) }
    }
}

/// What the fills mean, side by side, each at its place across.
fn legend(id: &str, entries: &[(f64, Fill, &str)]) -> Markup {
    html! {
        @for (x, fill, text) in entries {
            svg x=(percent(*x)) width="12" height="20" y="0" overflow="visible" {
                (bar(id, (0.0, 100.0), (4.0, 11.0), *fill))
            }
            (words("q", (*x, 18.0), BASELINE_PX, text))
        }
    }
}

/// Hairlines at the marks of an axis across, with their labels below.
fn grid(scale: &Scale, (top_px, bottom_px): (f64, f64), label: impl Fn(f64) -> String) -> Markup {
    html! {
        @for mark in &scale.axis.marks {
            @let x = scale.at(*mark);
            (line("s-hair", (x, top_px), (x, bottom_px)))
            // At the very edge half a label would be lost on paper.
            @let class = if x < EDGE { "q" } else { "q m" };
            (words(class, (x, 0.0), bottom_px + BASELINE_PX, &label(*mark)))
        }
    }
}

/// Per cent of the width, to a hundredth.
fn percent(value: f64) -> String {
    format!("{}%", short(value))
}

/// Pixels, to a hundredth.
fn px(value: f64) -> String {
    short(value)
}

fn short(value: f64) -> String {
    if !value.is_finite() {
        return "0".to_owned();
    }
    let text = format!("{value:.2}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0" } else { text }.to_owned()
}

/// A count or a span as a value to draw.
#[expect(clippy::cast_precision_loss, reason = "drawn, never summed")]
pub(super) fn value(whole: i64) -> f64 {
    whole as f64
}

/// Microseconds as hours to draw.
pub(super) fn hours(span_us: i64) -> f64 {
    const HOUR_US: f64 = 3.6e9;
    value(span_us) / HOUR_US
}
