//! The last gate before a terminal: whatever a text went through before, no
//! character in it steers the screen but the styles of this program.
//!
//! Renderers clean free text where they put it in, because only they know what
//! is free text. This gate stands behind all of them, so that one forgotten
//! place is no hole.

use std::borrow::Cow;
use std::fmt::Write as _;
use std::io::{self, Write};

use baywright_terms::text::steers;
use serde_json::Value;

/// What stands for a character that would steer the terminal.
const NEUTRAL: char = '\u{fffd}';

/// Styles that this program and its help print: reset, bold, underline, red,
/// green, yellow. None of them can hide text or move the cursor.
const STYLES: [&str; 6] = [
    "\u{1b}[0m",
    "\u{1b}[1m",
    "\u{1b}[4m",
    "\u{1b}[31m",
    "\u{1b}[32m",
    "\u{1b}[33m",
];

/// A text of several lines in which only line ends and [`STYLES`] are left of
/// what could steer a terminal.
pub fn neutral(text: &str) -> Cow<'_, str> {
    if !text.chars().any(|c| steers(c) && c != '\n') {
        return Cow::Borrowed(text);
    }
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(c) = rest.chars().next() {
        let style = STYLES.iter().find(|style| rest.starts_with(**style));
        let (kept, length) = match (style, c) {
            (Some(style), _) => (*style, style.len()),
            (None, '\n') => ("\n", 1),
            (None, c) if steers(c) => ("\u{fffd}", c.len_utf8()),
            (None, c) => (rest.get(..c.len_utf8()).unwrap_or_default(), c.len_utf8()),
        };
        out.push_str(kept);
        rest = rest.get(length..).unwrap_or_default();
    }
    Cow::Owned(out)
}

/// JSON on one line, with every character that [`steers`] as an escape: the
/// same value for whoever reads it, and nothing a terminal acts on.
pub fn escaped(json: &Value) -> String {
    escape(&json.to_string())
}

/// Serialised JSON with its steering characters as escapes. They can stand
/// inside its texts alone, and there an escape means the same.
pub fn escape(json: &str) -> String {
    let mut out = String::with_capacity(json.len());
    for c in json.chars() {
        if steers(c) {
            let mut units = [0; 2];
            for unit in c.encode_utf16(&mut units) {
                let _ = write!(out, "\\u{unit:04x}");
            }
        } else {
            out.push(c);
        }
    }
    out
}

/// Writes a file's text to a terminal: as it is, without what would steer it.
#[derive(Debug)]
pub struct Screen<W: Write> {
    out: W,
    /// The beginning of a character that came in two writes.
    held: Vec<u8>,
}

impl<W: Write> Screen<W> {
    pub fn new(out: W) -> Self {
        Self {
            out,
            held: Vec::new(),
        }
    }

    fn put(&mut self, text: &str) -> io::Result<()> {
        let keeps = |c: char| matches!(c, '\n' | '\t') || !steers(c);
        // The end of a row of a spreadsheet is no movement of the cursor.
        let text = text.replace("\r\n", "\n");
        let shown: String = text
            .chars()
            .map(|c| if keeps(c) { c } else { NEUTRAL })
            .collect();
        self.out.write_all(shown.as_bytes())
    }
}

impl<W: Write> Write for Screen<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.held.extend_from_slice(bytes);
        let held = std::mem::take(&mut self.held);
        let whole = match std::str::from_utf8(&held) {
            // A character that is not whole yet waits for its end.
            Err(error) if error.error_len().is_none() => error.valid_up_to(),
            Ok(_) | Err(_) => held.len(),
        };
        let (now, later) = held.split_at(whole);
        self.held = later.to_vec();
        self.put(&String::from_utf8_lossy(now))?;
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        self.out.flush()
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn only_the_styles_of_this_program_reach_the_terminal() {
        let own = "\u{1b}[31m\u{1b}[1mNever\u{1b}[0m polish\nnext";
        assert_eq!(neutral(own), own);
        for (hostile, shown) in [
            ("a\u{1b}[2Jb", "a\u{fffd}[2Jb"),
            ("\u{1b}[8mhidden", "\u{fffd}[8mhidden"),
            ("\u{1b}]0;title\u{7}", "\u{fffd}]0;title\u{fffd}"),
            ("\u{9b}31mred", "\u{fffd}31mred"),
            ("one\rtwo\u{8}", "one\u{fffd}two\u{fffd}"),
            ("abc\u{202e}cba\u{2066}", "abc\u{fffd}cba\u{fffd}"),
            ("x\u{1b}", "x\u{fffd}"),
        ] {
            assert_eq!(neutral(hostile), shown);
        }
    }

    #[test]
    fn json_says_the_same_and_steers_nothing() {
        let value = json!({"note": "a\u{1b}[2J\u{9b}m\u{7f}\u{202e}\u{e0041}\u{e9}三"});
        let text = escaped(&value);
        assert!(!text.chars().any(steers), "{text}");
        assert!(
            text.contains("\u{e9}三") && text.contains("\\udb40\\udc41"),
            "{text}"
        );
        assert_eq!(serde_json::from_str::<Value>(&text).unwrap(), value);
    }

    #[test]
    fn a_file_on_the_screen_keeps_its_lines_and_loses_what_steers() {
        let mut out = Vec::new();
        let mut screen = Screen::new(&mut out);
        let file = "vehicle,note\r\nvan,\"\u{1b}[2J三\tx\"\r\n".as_bytes();
        for byte in file {
            screen.write_all(&[*byte]).unwrap();
        }
        let shown = String::from_utf8(out).unwrap();
        assert!(shown.contains("\u{fffd}[2J三\tx"), "{shown:?}");
        assert!(!shown.contains('\u{1b}'));
    }
}
