//! What a command gives back, and how it reaches the terminal.

use std::borrow::Cow;
use std::io::{IsTerminal as _, Write as _};
use std::process::ExitCode;

use baywright_terms::text::steers;
use serde_json::{Value, json};

use crate::commands::page::columns;
use crate::error::Error;
use crate::render::text::{paragraph, width};
use crate::screen::{Screen, escaped, neutral};

/// What a command found out or did.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Outcome {
    /// For the person; may carry ANSI styles, which are stripped where they are
    /// not wanted. Free text in it has gone through [`plain`].
    pub text: String,
    /// For `--json`: one object.
    pub json: Value,
    /// The text is a file: no line of it is wrapped.
    pub verbatim: bool,
}

impl Outcome {
    pub fn new(text: impl Into<String>, json: Value) -> Self {
        Self {
            text: text.into(),
            json,
            verbatim: false,
        }
    }

    /// The text is a file, to be kept as it is.
    #[must_use]
    pub fn verbatim(self) -> Self {
        Self {
            verbatim: true,
            ..self
        }
    }

    /// The command has written its own output.
    pub fn written() -> Self {
        Self::default()
    }
}

/// How output is to look.
#[derive(Debug, Clone, Copy, Default)]
pub struct Output {
    pub json: bool,
    pub no_color: bool,
}

impl Output {
    /// Sets the colour choice of the process once, before anything is printed.
    pub fn settle(self) {
        if self.no_color || self.json {
            anstream::ColorChoice::Never.write_global();
        }
    }

    /// Prints the outcome or the error, and gives the exit code.
    pub fn print(self, result: Result<Outcome, Error>) -> ExitCode {
        match result {
            Ok(outcome) => {
                let mut out = anstream::stdout().lock();
                // A closed pipe is the reader's choice, not a failure of the fact.
                let is_terminal = std::io::stdout().is_terminal();
                let text = outcome.text.trim_end();
                let _ = if self.json && !outcome.json.is_null() {
                    writeln!(out, "{}", escaped(&outcome.json))
                } else if outcome.text.is_empty() {
                    Ok(())
                } else if !outcome.verbatim {
                    let text = neutral(text);
                    if is_terminal {
                        writeln!(out, "{}", on_page(&text, columns()))
                    } else {
                        writeln!(out, "{text}")
                    }
                } else if is_terminal {
                    writeln!(Screen::new(&mut out), "{text}")
                } else {
                    writeln!(out, "{text}")
                };
                let _ = out.flush();
                ExitCode::SUCCESS
            }
            Err(error) => {
                let mut err = anstream::stderr().lock();
                let mut words = format!("Error: {}", plain_lines(error.message()));
                if let Some(hint) = error.hint() {
                    words.push_str("\nHint: ");
                    words.push_str(&plain_lines(hint));
                }
                if std::io::stderr().is_terminal() {
                    words = on_page(&words, columns());
                }
                let _ = writeln!(err, "{words}");
                if self.json {
                    let object = json!({"error": {
                        "kind": error.kind().word(),
                        "message": error.message(),
                        "hint": error.hint(),
                    }});
                    let _ = writeln!(anstream::stdout().lock(), "{}", escaped(&object));
                }
                error.exit_code()
            }
        }
    }
}

/// Says on standard error what is beside the answer.
pub fn note(line: &str) {
    let mut words = Cow::Borrowed(line);
    if std::io::stderr().is_terminal() {
        words = Cow::Owned(on_page(line, columns()));
    }
    let _ = writeln!(anstream::stderr().lock(), "{words}");
}

/// Wraps lines that are longer than the page between words; a terminal would
/// break them inside a word. A path is a word and stays whole.
pub fn on_page(text: &str, columns: usize) -> String {
    let fitted: Vec<Cow<'_, str>> = text
        .lines()
        .map(|line| {
            if width(&anstream::adapter::strip_str(line).to_string()) <= columns {
                Cow::Borrowed(line)
            } else {
                Cow::Owned(paragraph(line, columns, 2))
            }
        })
        .collect();
    fitted.join("\n")
}

/// Neutralises terminal control characters in a text somebody typed.
///
/// Vehicle names, notes and reasons come from other people: an escape sequence
/// in one must not move a cursor, clear a screen or set a colour.
pub fn plain(text: &str) -> Cow<'_, str> {
    if text.chars().any(steers) {
        Cow::Owned(
            text.chars()
                .map(|c| if steers(c) { '\u{fffd}' } else { c })
                .collect(),
        )
    } else {
        Cow::Borrowed(text)
    }
}

/// As [`plain`], keeping line ends.
pub fn plain_lines(text: &str) -> String {
    text.split('\n').map(plain).collect::<Vec<_>>().join("\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_lines_beyond_the_page_are_wrapped_and_styles_take_no_room() {
        assert_eq!(on_page("a  b   c\n  d", 10), "a  b   c\n  d");
        let styled = "\u{1b}[1mNever\u{1b}[0m polish";
        assert_eq!(on_page(styled, 12), styled);
        assert_eq!(on_page("one two three", 9), "one two\n  three");
    }

    #[test]
    fn control_characters_of_free_text_are_neutralised() {
        assert_eq!(plain("red three-wheeler"), "red three-wheeler");
        assert_eq!(
            plain("a\u{1b}[2Jb\u{7}\u{9b}c\u{202e}d"),
            "a\u{fffd}[2Jb\u{fffd}\u{fffd}c\u{fffd}d"
        );
        assert_eq!(plain_lines("a\nb\rc"), "a\nb\u{fffd}c");
    }
}
