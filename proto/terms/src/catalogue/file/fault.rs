//! What is wrong in a catalogue file, where, and what to write instead.

use std::collections::BTreeMap;
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
///
/// Its work is by the number of faults, whatever lies before each in the file.
#[derive(Debug)]
pub(super) struct Faults<'t> {
    text: &'t str,
    /// Byte at which each line begins.
    lines: Vec<usize>,
    /// What is wrong and how to mend it, by its byte: the first in the file.
    found: BTreeMap<usize, (String, String)>,
    /// Faults below those.
    more: usize,
    /// Lines that are not TOML. What was lost on them would only be reported
    /// again as missing.
    broken: bool,
}

impl<'t> Faults<'t> {
    pub(super) fn new(text: &'t str) -> Self {
        let ends = text.match_indices('\n').map(|(end, _)| end + 1);
        Self {
            text,
            lines: std::iter::once(0).chain(ends).collect(),
            found: BTreeMap::new(),
            more: 0,
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
        let at = boundary(self.text, at);
        // One fault to a place: the second would only be a consequence.
        let line = self.line(at);
        let end = self.lines.get(line).copied().unwrap_or(usize::MAX);
        let is_told = if self.broken {
            self.found.range(self.begin(line)..end).next().is_some()
        } else {
            self.found.contains_key(&at)
        };
        if is_told {
            return;
        }
        self.found
            .insert(at, (shortened(what.into()), shortened(hint.into())));
        if self.found.len() > FAULTS_MAX {
            self.found.pop_last();
            self.more += 1;
        }
    }

    /// The line of a byte, from 1.
    fn line(&self, at: usize) -> usize {
        self.lines.partition_point(|begin| *begin <= at)
    }

    /// Byte at which a line begins.
    fn begin(&self, line: usize) -> usize {
        self.lines.get(line.saturating_sub(1)).copied().unwrap_or(0)
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
        if self.more > 0
            && let Some(mut last) = self.found.last_entry()
        {
            let (_, hint) = last.get_mut();
            *hint = format!("{hint} ({} more faults below.)", self.more);
        }
        let found = std::mem::take(&mut self.found);
        let fault = |(at, (what, hint))| {
            let line = self.line(at);
            let before = self.text.get(self.begin(line)..at).unwrap_or_default();
            Fault {
                line,
                column: before.chars().count() + 1,
                what,
                hint,
            }
        };
        Err(found.into_iter().map(fault).collect())
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

/// The byte, or the one before it at which a character begins.
fn boundary(text: &str, at: usize) -> usize {
    let mut at = at.min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    at
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
    let at = boundary(text, at);
    let start = text[..at].rfind('\n').map_or(0, |i| i + 1);
    let end = text[at..].find('\n').map_or(text.len(), |i| at + i);
    &text[start..end]
}
