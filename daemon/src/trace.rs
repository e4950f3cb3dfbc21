//! The trace's way out: lines that nothing in them can steer.
//!
//! Names of devices, errors of clients and paths of files stand in the trace,
//! and somebody reads it on a terminal. A line end in one would forge a line
//! of its own, an escape sequence would act on the reader's screen.

use std::io::{self, Write};

use baywright_terms::text::steers;
use tracing_subscriber::fmt::MakeWriter;

/// Standard error, for one event at a time.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Trace;

/// One event on its way to `out`.
#[derive(Debug)]
pub(crate) struct Lines<W: Write>(W);

impl<'a> MakeWriter<'a> for Trace {
    type Writer = Lines<io::StderrLock<'static>>;

    fn make_writer(&'a self) -> Self::Writer {
        Lines(io::stderr().lock())
    }
}

impl<W: Write> Write for Lines<W> {
    /// The subscriber hands over an event in one piece with its line end.
    fn write(&mut self, event: &[u8]) -> io::Result<usize> {
        self.0
            .write_all(neutral(&String::from_utf8_lossy(event)).as_bytes())?;
        Ok(event.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        self.0.flush()
    }
}

/// An event without what would steer a terminal: its own line end and the
/// subscriber's styles stay.
fn neutral(event: &str) -> String {
    let (line, end) = match event.strip_suffix('\n') {
        Some(line) => (line, "\n"),
        None => (event, ""),
    };
    let mut out = String::with_capacity(event.len());
    let mut rest = line;
    while let Some(c) = rest.chars().next() {
        let length = style(rest).unwrap_or(c.len_utf8());
        if length == c.len_utf8() && steers(c) {
            out.extend(c.escape_unicode());
        } else {
            out.push_str(rest.get(..length).unwrap_or_default());
        }
        rest = rest.get(length..).unwrap_or_default();
    }
    out.push_str(end);
    out
}

/// The length of a style at the start of a text: digits and semicolons between
/// `ESC [` and `m`. The subscriber escapes those that are not its own.
fn style(text: &str) -> Option<usize> {
    let inside = text.strip_prefix("\u{1b}[")?;
    let digits = inside.find(|c: char| !(c.is_ascii_digit() || c == ';'))?;
    inside.get(digits..)?.starts_with('m').then_some(digits + 3)
}

#[cfg(test)]
mod tests {
    use std::sync::{Arc, Mutex};

    use super::*;

    /// A place to write to that the test can read.
    #[derive(Debug, Clone, Default)]
    struct Seen(Arc<Mutex<Vec<u8>>>);

    impl Write for Seen {
        fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
            self.0.lock().unwrap().extend_from_slice(bytes);
            Ok(bytes.len())
        }

        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    fn traced(hostile: &'static str) -> String {
        let seen = Seen::default();
        let out = seen.clone();
        let subscriber = tracing_subscriber::fmt()
            .with_ansi(false)
            .with_writer(move || Lines(out.clone()))
            .finish();
        tracing::subscriber::with_default(subscriber, || {
            tracing::warn!(device = hostile, error = %hostile, "heard {hostile}");
        });
        let bytes = seen.0.lock().unwrap().clone();
        String::from_utf8(bytes).unwrap()
    }

    #[test]
    fn an_event_is_one_line_whatever_stands_in_it() {
        for hostile in [
            "bay-1\n2026-11-24T09:00:00Z ERROR forged",
            "\u{1b}[2J\u{1b}]0;x\u{7}",
            "\u{9b}31m\r\u{8}",
            "abc\u{202e}cba\u{2066}\u{2028}x",
        ] {
            let line = traced(hostile);
            let inner = line.strip_suffix('\n').unwrap();
            assert!(!inner.chars().any(steers), "{line:?}");
            assert!(inner.contains("heard"), "{line:?}");
        }
    }

    #[test]
    fn styles_of_the_subscriber_stay() {
        let styled = "\u{1b}[2m09:00\u{1b}[0m \u{1b}[33m WARN\u{1b}[0m x\n";
        assert_eq!(neutral(styled), styled);
        assert_eq!(neutral("a\u{1b}[2Jb\n"), "a\\u{1b}[2Jb\n");
    }
}
