//! How wide the page is on which a report is printed.

use crate::render::PAGE_COLUMNS;

/// Narrower than this no report is readable.
const COLUMNS_MIN: usize = 40;
/// Wider than this a line is tiring to read.
const COLUMNS_MAX: usize = 110;

/// Columns of the terminal that standard output goes to, within reason; a page
/// of 80 where it goes elsewhere.
pub fn columns() -> usize {
    rustix::termios::tcgetwinsize(std::io::stdout())
        .ok()
        .map(|size| usize::from(size.ws_col))
        .filter(|columns| *columns > 0)
        .map_or(PAGE_COLUMNS, |columns| {
            columns.clamp(COLUMNS_MIN, COLUMNS_MAX)
        })
}
