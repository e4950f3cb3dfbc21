//! A table of comma-separated values as spreadsheets write it, with the line
//! that every row begins on.
//!
//! Read here and not by a library, because what a person needs of a fault is
//! the number of its line, and blank lines, line ends within quotes and the
//! ends of other systems must all be counted.

use std::fmt::Write as _;

use crate::commands::export::as_typed;

/// Rows of one table; a shop does not do as many jobs in a lifetime.
const ROWS_MAX: usize = 200_000;
/// Cells of one row; more is no table of jobs.
const CELLS_MAX: usize = 400;

/// A table: its headings and the rows below them.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Sheet {
    pub(super) delimiter: char,
    pub(super) headings: Vec<String>,
    pub(super) rows: Vec<Row>,
}

/// One row; at most as many cells as there are headings. Rows that end early
/// are not filled up: a small file of short rows would grow a thousandfold.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Row {
    /// Counted from 1, as an editor does.
    pub(super) line: u64,
    pub(super) cells: Vec<String>,
}

/// What is wrong with a file as a whole or with one of its lines.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Fault {
    /// 0: the file as a whole.
    pub(super) line: u64,
    pub(super) what: String,
    /// How to mend it; may be empty.
    pub(super) hint: String,
}

impl Fault {
    pub(super) fn new(line: u64, what: impl Into<String>, hint: impl Into<String>) -> Self {
        Self {
            line,
            what: what.into(),
            hint: hint.into(),
        }
    }
}

impl Sheet {
    /// Reads a file. Rows wider than the headings are faults, and are kept as far
    /// as there are headings.
    pub(super) fn read(bytes: &[u8], delimiter: Option<char>) -> Result<(Self, Vec<Fault>), Fault> {
        let text = text(bytes)?;
        let (named, text, skipped) = separator_line(text);
        let delimiter = delimiter.or(named).unwrap_or_else(|| sniff(text));
        let mut records = Records::new(text, delimiter, 1 + skipped);
        let headings = loop {
            match records.next() {
                None => return Err(Fault::new(0, "There is nothing in it.", "")),
                Some(record) => {
                    let record = record?;
                    if !is_blank(&record.cells) {
                        break record.cells;
                    }
                }
            }
        };
        let mut headings: Vec<String> = headings.iter().map(|cell| squeezed(cell)).collect();
        while headings.last().is_some_and(String::is_empty) {
            headings.pop();
        }
        let mut sheet = Self {
            delimiter,
            headings,
            rows: Vec::new(),
        };
        let mut faults = Vec::new();
        for record in records {
            let mut record = record?;
            for cell in &mut record.cells {
                let typed = as_typed(cell);
                if typed.len() < cell.len() {
                    *cell = typed.to_owned();
                }
            }
            if is_blank(&record.cells) {
                continue;
            }
            if sheet.rows.len() >= ROWS_MAX {
                let what = format!("The file has more than {ROWS_MAX} rows.");
                return Err(Fault::new(record.line, what, "Import it in parts."));
            }
            let wide = sheet.headings.len();
            let surplus = record.cells.get(wide..).unwrap_or_default();
            if !is_blank(surplus) {
                let what = format!("has {} cells below {wide} headings.", record.cells.len());
                let hint = "A text with the delimiter in it needs quotes.";
                faults.push(Fault::new(record.line, what, hint));
            }
            record.cells.truncate(wide);
            sheet.rows.push(record);
        }
        Ok((sheet, faults))
    }
}

fn text(bytes: &[u8]) -> Result<&str, Fault> {
    let save = "Save it from the spreadsheet as CSV UTF-8.";
    if bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]) {
        return Err(Fault::new(0, "The file is UTF-16 text.", save));
    }
    if bytes.starts_with(b"PK\x03\x04") {
        let what = "The file is a workbook, not comma-separated values.";
        return Err(Fault::new(0, what, save));
    }
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    std::str::from_utf8(bytes).map_err(|error| {
        let before = bytes.get(..error.valid_up_to()).unwrap_or_default();
        let line = 1 + before.iter().map(|b| u64::from(*b == b'\n')).sum::<u64>();
        Fault::new(line, "is not UTF-8 text.", save)
    })
}

/// Some spreadsheets name their delimiter in a first line of its own: `sep=;`.
/// It is a sign or a tab; a letter or an escape would be no table.
fn separator_line(text: &str) -> (Option<char>, &str, u64) {
    let first = text.split(['\n', '\r']).next().unwrap_or_default();
    let named = first.strip_prefix("sep=").and_then(|rest| {
        let mut chars = rest.chars();
        let is_sign = |c: &char| *c == '\t' || (c.is_ascii_punctuation() && *c != '"');
        chars
            .next()
            .filter(is_sign)
            .filter(|_| chars.next().is_none())
    });
    match named {
        None => (None, text, 0),
        Some(named) => {
            let rest = text.get(first.len()..).unwrap_or_default();
            let rest = rest
                .strip_prefix("\r\n")
                .or_else(|| rest.strip_prefix(['\n', '\r']))
                .unwrap_or(rest);
            (Some(named), rest, 1)
        }
    }
}

/// The delimiter that the first line with anything on it has most of, outside
/// quotes.
fn sniff(text: &str) -> char {
    let mut counts = [(';', 0_usize), ('\t', 0), (',', 0)];
    let mut quoted = false;
    let begin = text.trim_start_matches(['\n', '\r', ' ']);
    for c in begin.chars() {
        match c {
            '"' => quoted = !quoted,
            '\n' | '\r' if !quoted => break,
            c if !quoted => {
                for (delimiter, count) in &mut counts {
                    *count += usize::from(*delimiter == c);
                }
            }
            _ => {}
        }
    }
    let mut best = counts[2];
    for other in counts {
        if other.1 > best.1 {
            best = other;
        }
    }
    best.0
}

fn is_blank(cells: &[String]) -> bool {
    cells.iter().all(|cell| cell.trim().is_empty())
}

/// Without spaces at the ends, and with single ones within.
pub(super) fn squeezed(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for word in text.split_whitespace() {
        let space = if out.is_empty() { "" } else { " " };
        let _ = write!(out, "{space}{word}");
    }
    out
}

/// The rows of a text, by RFC 4180 and as leniently as it is used.
struct Records<'a> {
    rest: std::iter::Peekable<std::str::Chars<'a>>,
    delimiter: char,
    line: u64,
    failed: bool,
}

impl<'a> Records<'a> {
    fn new(text: &'a str, delimiter: char, line: u64) -> Self {
        Self {
            rest: text.chars().peekable(),
            delimiter,
            line,
            failed: false,
        }
    }

    /// Takes a line end that began with `c`.
    fn end_line(&mut self, c: char) {
        if c == '\r' && self.rest.peek() == Some(&'\n') {
            self.rest.next();
        }
        self.line += 1;
    }

    /// The text of a quoted cell, whose first quote is taken already.
    fn quoted(&mut self, cell: &mut String) -> Result<(), Fault> {
        let opened = self.line;
        loop {
            match self.rest.next() {
                None => {
                    self.failed = true;
                    let what = "opens a quote that nothing closes.";
                    return Err(Fault::new(opened, what, ""));
                }
                Some('"') if self.rest.peek() == Some(&'"') => {
                    self.rest.next();
                    cell.push('"');
                }
                Some('"') => return Ok(()),
                Some(c) => {
                    if c == '\n' || (c == '\r' && self.rest.peek() != Some(&'\n')) {
                        self.line += 1;
                    }
                    cell.push(c);
                }
            }
        }
    }

    fn record(&mut self) -> Result<Row, Fault> {
        let line = self.line;
        let mut cells = Vec::new();
        let mut cell = String::new();
        let too_wide = || Fault::new(line, format!("has more than {CELLS_MAX} cells."), "");
        while let Some(c) = self.rest.next() {
            match c {
                '"' if cell.trim().is_empty() => {
                    cell.clear();
                    self.quoted(&mut cell)?;
                }
                '\n' | '\r' => {
                    self.end_line(c);
                    break;
                }
                c if c == self.delimiter => {
                    cells.push(std::mem::take(&mut cell));
                    if cells.len() >= CELLS_MAX {
                        self.failed = true;
                        return Err(too_wide());
                    }
                }
                c => cell.push(c),
            }
        }
        cells.push(cell);
        Ok(Row { line, cells })
    }
}

impl Iterator for Records<'_> {
    type Item = Result<Row, Fault>;

    fn next(&mut self) -> Option<Self::Item> {
        if self.failed || self.rest.peek().is_none() {
            return None;
        }
        Some(self.record())
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::commands::export::defused;

    fn read(text: &str) -> Sheet {
        let (sheet, faults) = Sheet::read(text.as_bytes(), None).unwrap();
        assert_eq!(faults, [], "{text:?}");
        sheet
    }

    fn lines(sheet: &Sheet) -> Vec<(u64, Vec<&str>)> {
        let cells = |row: &'_ Row| row.line;
        sheet
            .rows
            .iter()
            .map(|row| (cells(row), row.cells.iter().map(String::as_str).collect()))
            .collect()
    }

    #[test]
    fn every_dialect_gives_the_same_rows_with_their_lines() {
        let same = vec![(2, vec!["a b", "1,5"]), (4, vec!["c", "2"])];
        for text in [
            "Type;Time\na b;1,5\n\nc;2\n",
            "Type;Time\r\na b;1,5\r\n\r\nc;2",
            "Type\tTime\ra b\t1,5\r\rc\t2\r",
            "Type,Time\n\"a b\",\"1,5\"\n,\nc,2\n",
            "\u{feff}\"Type\";\"Time\"\na b;\"1,5\"\n;;\nc;2;\n",
            "Type; Time ;;\na b;1,5;;\n\nc;2;;\n",
        ] {
            let sheet = read(text);
            assert_eq!(sheet.headings, ["Type", "Time"], "{text:?}");
            assert_eq!(lines(&sheet), same, "{text:?}");
        }
        let named = read("sep=;\nType;Time\nx;1,5\n");
        assert_eq!(lines(&named), [(3, vec!["x", "1,5"])]);
        let (escape, _) = Sheet::read(b"sep=\x1b\nType;Time\nx;1,5\n", None).unwrap();
        assert_eq!((escape.delimiter, escape.headings.len()), (',', 1));
    }

    #[test]
    fn quotes_hold_delimiters_line_ends_and_quotes_and_the_lines_are_still_right() {
        let sheet = read("a,b\n\"one, \"\"two\"\"\r\nthree\",x\nlast,y\n");
        assert_eq!(
            lines(&sheet),
            [
                (2, vec!["one, \"two\"\r\nthree", "x"]),
                (4, vec!["last", "y"])
            ]
        );
        // A quote inside a cell is a letter: 15" wheels.
        assert_eq!(lines(&read("a,b\n15\" wheels,x\n"))[0].1[0], "15\" wheels");
    }

    #[test]
    fn what_is_no_table_is_said_with_its_line() {
        let fails = |bytes: &[u8]| Sheet::read(bytes, None).unwrap_err();
        assert_eq!(fails(b"").line, 0);
        assert_eq!(fails(b"\n;;\n").what, "There is nothing in it.");
        assert_eq!(fails(b"a,b\n1,2\n\xe4,3\n").line, 3);
        assert_eq!(fails(b"\xff\xfea\0").what, "The file is UTF-16 text.");
        assert!(fails(b"PK\x03\x04..").what.contains("workbook"));
        let open = fails(b"a,b\n1,2\n\"3,4\n5,6\n");
        assert_eq!(
            (open.line, open.what.as_str()),
            (3, "opens a quote that nothing closes.")
        );
    }

    #[test]
    fn a_row_wider_than_the_headings_is_a_fault_and_the_others_are_read() {
        let (sheet, faults) = Sheet::read(b"a,b\n1,2\n1,2,3\n4,5\n", None).unwrap();
        assert_eq!(faults.len(), 1);
        assert_eq!((faults[0].line, sheet.rows.len()), (3, 3));
        assert_eq!(faults[0].what, "has 3 cells below 2 headings.");
    }

    proptest! {
        #[test]
        fn no_bytes_make_it_panic(bytes in proptest::collection::vec(any::<u8>(), 0..200)) {
            let _ = Sheet::read(&bytes, None);
        }

        /// As our own export writes it: a text like a formula is defused, and
        /// one that begins with an apostrophe and a formula once more.
        #[test]
        fn what_is_exported_comes_back_as_it_was(
            cells in proptest::collection::vec(
                proptest::collection::vec("\\PC{0,12}|[\"\n;,\t]{1,4}|'{0,3}[ =+\\-@\t]{1,3}\\PC{0,4}", 3),
                1..6,
            ),
            delimiter in proptest::sample::select(vec![',', ';', '\t']),
        ) {
            let quote = |text: &String| {
                format!("\"{}\"", defused(text).replace('"', "\"\""))
            };
            let mut text = ["x", "y", "z"].join(&delimiter.to_string());
            for row in &cells {
                let row: Vec<String> = row.iter().map(quote).collect();
                text.push('\n');
                text.push_str(&row.join(&delimiter.to_string()));
            }
            let (sheet, faults) = Sheet::read(text.as_bytes(), Some(delimiter)).unwrap();
            prop_assert_eq!(faults, vec![]);
            let kept: Vec<_> = cells.into_iter().filter(|row| !is_blank(row)).collect();
            let read: Vec<_> = sheet.rows.into_iter().map(|row| row.cells).collect();
            prop_assert_eq!(read, kept);
        }
    }
}
