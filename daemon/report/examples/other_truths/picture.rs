//! How often *four in five* held, as a picture.

use std::fmt::Write as _;
use std::ops::RangeInclusive;

use super::walk::Against;

/// One row of the picture.
pub(crate) struct Mark {
    pub(crate) jobs: usize,
    pub(crate) against: Against,
    pub(crate) held: f64,
    pub(crate) range: (f64, f64),
}

const LEFT: f64 = 190.0;
const WIDTH: f64 = 420.0;
const ROW: f64 = 28.0;
/// Shares at the ends of the axis.
const AXIS: (f64, f64) = (0.6, 1.0);

/// Shares with their ranges, row by row, over the band they should lie in.
pub(crate) fn picture(marks: &[Mark], band: &RangeInclusive<f64>) -> String {
    let x = |share: f64| LEFT + WIDTH * (share.clamp(AXIS.0, AXIS.1) - AXIS.0) / (AXIS.1 - AXIS.0);
    let rows = f64::from(u32::try_from(marks.len()).unwrap_or(u32::MAX));
    let bottom = ROW * (rows + 1.0);
    let (from, until) = (x(*band.start()), x(*band.end()));
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"640\" height=\"{:.0}\" font-family=\"sans-serif\" font-size=\"13\">\n\
         <title>How often four in five held in shops of another truth</title>\n\
         <rect width=\"100%\" height=\"100%\" fill=\"white\"/>\n\
         <rect x=\"{from:.1}\" y=\"10\" width=\"{:.1}\" height=\"{bottom:.1}\" fill=\"#dde8dd\"/>\n",
        bottom + 40.0,
        until - from
    );
    let mut y = ROW;
    for mark in marks {
        // Writing to a string cannot fail.
        let _ = writeln!(
            svg,
            "<text x=\"8\" y=\"{:.1}\">{} jobs, {}</text>\
             <line x1=\"{:.1}\" x2=\"{:.1}\" y1=\"{y:.1}\" y2=\"{y:.1}\" stroke=\"#333\" stroke-width=\"2\"/>\
             <circle cx=\"{:.1}\" cy=\"{y:.1}\" r=\"5\" fill=\"#333\"/>",
            y + 4.0,
            mark.jobs,
            mark.against.words(),
            x(mark.range.0),
            x(mark.range.1),
            x(mark.held),
        );
        y += ROW;
    }
    for percent in [60_u32, 70, 80, 90, 100] {
        let _ = writeln!(
            svg,
            "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{percent} %</text>",
            x(f64::from(percent) / 100.0),
            bottom + 28.0
        );
    }
    svg.push_str("</svg>\n");
    svg
}
