//! What is wrong in a catalogue file, where, and what to write instead.

use std::fmt;

use crate::catalogue::limits::FAULTS_MAX;

/// One thing in the file that cannot be used, and how to mend it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// From 1.
    pub line: usize,
    /// In characters, from 1.
    pub column: usize,
    pub what: String,
    pub hint: String,
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "line {}, column {}: {}",
            self.line, self.column, self.what
        )?;
        if self.hint.is_empty() {
            return Ok(());
        }
        write!(f, " Hint: {}", self.hint)
    }
}

impl std::error::Error for Fault {}

/// Gathers the faults of one reading, so that all are told at once.
#[derive(Debug)]
pub(super) struct Faults<'t> {
    text: &'t str,
    found: Vec<Fault>,
    /// Lines that are not TOML. What was lost on them would only be reported
    /// again as missing.
    broken: bool,
}

impl<'t> Faults<'t> {
    pub(super) fn new(text: &'t str) -> Self {
        Self {
            text,
            found: Vec::new(),
            broken: false,
        }
    }

    /// Notes a line that is not TOML.
    pub(super) fn syntax(&mut self, error: &toml::de::Error) {
        self.broken = true;
        let at = error.span().map_or(0, |s| s.start);
        let (what, hint) = explain(error.message(), self.text, at);
        self.add(at, what, hint);
    }

    /// Notes something wrong at a byte of the text.
    pub(super) fn add(&mut self, at: usize, what: impl Into<String>, hint: impl Into<String>) {
        let (line, column) = place(self.text, at);
        // One fault to a place: the second would only be a consequence.
        if self
            .found
            .iter()
            .any(|f| f.line == line && (f.column == column || self.broken))
        {
            return;
        }
        self.found.push(Fault {
            line,
            column,
            what: shortened(what.into()),
            hint: shortened(hint.into()),
        });
    }

    /// Notes that something is not there. Left out where a broken line may
    /// have held it.
    pub(super) fn absent(&mut self, at: usize, what: impl Into<String>, hint: impl Into<String>) {
        if !self.broken {
            self.add(at, what, hint);
        }
    }

    pub(super) fn into_result<T>(mut self, value: T) -> Result<T, Vec<Fault>> {
        if self.found.is_empty() {
            return Ok(value);
        }
        self.found.sort_by_key(|f| (f.line, f.column));
        if self.found.len() > FAULTS_MAX {
            let more = self.found.len() - FAULTS_MAX;
            self.found.truncate(FAULTS_MAX);
            if let Some(last) = self.found.last_mut() {
                last.hint = format!("{} ({more} more faults below.)", last.hint);
            }
        }
        Err(self.found)
    }
}

/// A sentence that can be read though it names a value of many pages: its
/// beginning, which says where, and its end, which says what to write.
fn shortened(sentence: String) -> String {
    const HEAD_CHARS: usize = 300;
    const TAIL_CHARS: usize = 300;
    let chars = sentence.chars().count();
    if chars <= HEAD_CHARS + TAIL_CHARS {
        return sentence;
    }
    let head: String = sentence.chars().take(HEAD_CHARS).collect();
    let tail: String = sentence.chars().skip(chars - TAIL_CHARS).collect();
    format!("{head} ... {tail}")
}

/// Line and column of a byte, both from 1, the column in characters.
pub(super) fn place(text: &str, at: usize) -> (usize, usize) {
    let mut at = at.min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    let before = &text[..at];
    let line = before.matches('\n').count() + 1;
    let start = before.rfind('\n').map_or(0, |i| i + 1);
    (line, before[start..].chars().count() + 1)
}

/// Says what the TOML reader found in words for a person who edits by hand.
fn explain(message: &str, text: &str, at: usize) -> (String, String) {
    let line = line_around(text, at);
    let hint = if message.contains("duplicate key") {
        "this key stands twice in the same entry; keep one of the two."
    } else if line.matches('"').count() % 2 == 1 {
        "a text stands between two straight quotes: name = \"Ana\"."
    } else if line.contains('=') {
        "write key = \"text\", key = 12, key = true, or a list: key = [\"a\", \"b\"]; \
         commas between the parts of a list, brackets closed."
    } else if line.trim_start().starts_with('[') {
        "a single table is headed [shop]; one of several is headed [[product]]."
    } else {
        "each line is a heading in brackets, key = value, or a comment after #."
    };
    (
        format!("this is not TOML: {}.", message.trim_end_matches('.')),
        hint.to_owned(),
    )
}

fn line_around(text: &str, at: usize) -> &str {
    let mut at = at.min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    let start = text[..at].rfind('\n').map_or(0, |i| i + 1);
    let end = text[at..].find('\n').map_or(text.len(), |i| at + i);
    &text[start..end]
}
