//! One table of the file, and the values in it as a person writes them.

use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::catalogue::limits::{NAME_CHARS_MAX, SENTENCE_CHARS_MAX};
use crate::code::{Code, is_well_formed};

use super::fault::Faults;
use super::nearest_of;

/// What a code may be, for hints.
const CODE_FORM: &str =
    "a code is lower-case letters, digits and single hyphens, like iron-remover or bay-1.";

/// A table of the file with its place.
#[derive(Debug, Clone)]
pub(super) struct Entry<'d> {
    /// How messages name it: `product iron-remover`.
    pub(super) label: String,
    table: &'d DeTable<'d>,
    /// Byte at which it begins.
    pub(super) at: usize,
}

/// A text of the file with its place.
#[derive(Debug, Clone, Copy)]
pub(super) struct Text<'d> {
    pub(super) text: &'d str,
    pub(super) at: usize,
}

impl<'d> Entry<'d> {
    pub(super) fn new(label: &str, table: &'d DeTable<'d>, at: usize) -> Self {
        Self {
            label: label.to_owned(),
            table,
            at,
        }
    }

    /// Names every key that is not one of `known`, with the nearest that is.
    pub(super) fn only(&self, known: &[&str], faults: &mut Faults<'_>) {
        for (key, _) in self.table {
            let name: &str = key.get_ref();
            if known.contains(&name) {
                continue;
            }
            let hint = match nearest_of(name, known.iter().copied()) {
                Some(near) => format!("did you mean {near}?"),
                None => format!("known here: {}.", known.join(", ")),
            };
            faults.add(
                key.span().start,
                format!("{} has no key `{name}`.", self.label),
                hint,
            );
        }
    }

    pub(super) fn has(&self, key: &str) -> bool {
        self.value(key).is_some()
    }

    /// Byte at which a key's value begins, or the entry where there is none.
    pub(super) fn at_value(&self, key: &str) -> usize {
        self.value(key).map_or(self.at, |v| v.span().start)
    }

    fn value(&self, key: &str) -> Option<&'d Spanned<DeValue<'d>>> {
        self.table.get(key)
    }

    /// A number or a text, as text: `price = "24.50"` and `price = 24.50` are
    /// the same to a person.
    fn scalar(&self, key: &str, example: &str, faults: &mut Faults<'_>) -> Option<Text<'d>> {
        let value = self.value(key)?;
        let text = match value.get_ref() {
            DeValue::String(text) => text.as_ref(),
            DeValue::Integer(number) if number.radix() == 10 => number.as_str(),
            DeValue::Float(number) => number.as_str(),
            _ => {
                faults.add(
                    value.span().start,
                    format!("`{key}` of {} is not a text.", self.label),
                    format!("write {key} = \"{example}\"."),
                );
                return None;
            }
        };
        Some(Text {
            text,
            at: value.span().start,
        })
    }

    /// A value that is written as a text and read by `parse`, whose error says
    /// what is wrong.
    pub(super) fn parsed<T>(
        &self,
        key: &str,
        example: &str,
        faults: &mut Faults<'_>,
        parse: impl FnOnce(&str) -> Result<T, String>,
    ) -> Option<T> {
        let found = self.scalar(key, example, faults)?;
        match parse(found.text) {
            Ok(value) => Some(value),
            Err(why) => {
                faults.add(
                    found.at,
                    format!("`{key}` of {}: {}.", self.label, why.trim_end_matches('.')),
                    format!("write it like {key} = \"{example}\"."),
                );
                None
            }
        }
    }

    /// A text of at most `chars_max` printable characters; empty where absent.
    fn words(&self, key: &str, chars_max: usize, faults: &mut Faults<'_>) -> Option<String> {
        let value = self.value(key)?;
        let DeValue::String(text) = value.get_ref() else {
            faults.add(
                value.span().start,
                format!("`{key}` of {} is not a text.", self.label),
                format!("put it between quotes: {key} = \"…\"."),
            );
            return None;
        };
        let text = text.trim();
        checked_words(key, text, value.span().start, chars_max, faults)
    }

    /// A name; the fallback where the file gives none.
    pub(super) fn name(&self, fallback: &str, faults: &mut Faults<'_>) -> String {
        self.words("name", NAME_CHARS_MAX, faults)
            .unwrap_or_else(|| fallback.to_owned())
    }

    /// A sentence; empty where the file gives none.
    pub(super) fn sentence(&self, key: &str, faults: &mut Faults<'_>) -> String {
        self.words(key, SENTENCE_CHARS_MAX, faults)
            .unwrap_or_default()
    }

    /// `true` or `false`; false where absent.
    pub(super) fn flag(&self, key: &str, faults: &mut Faults<'_>) -> bool {
        match self.value(key).map(|v| (v.get_ref(), v.span().start)) {
            None => false,
            Some((DeValue::Boolean(flag), _)) => *flag,
            Some((_, at)) => {
                faults.add(
                    at,
                    format!("`{key}` of {} is neither true nor false.", self.label),
                    format!("write {key} = true, without quotes, or leave the line out."),
                );
                false
            }
        }
    }

    /// A well-formed code that must be there.
    pub(super) fn code(&self, key: &str, example: &str, faults: &mut Faults<'_>) -> Option<Code> {
        let Some(value) = self.value(key) else {
            faults.absent(
                self.at,
                format!("{} has no `{key}`.", self.label),
                format!("add {key} = \"{example}\"; {CODE_FORM}"),
            );
            return None;
        };
        let DeValue::String(text) = value.get_ref() else {
            faults.add(
                value.span().start,
                format!("`{key}` of {} is not a text.", self.label),
                format!("write {key} = \"{example}\"."),
            );
            return None;
        };
        checked_code(text, value.span().start, faults)
    }

    /// One of a closed list of words.
    pub(super) fn choice<T: Copy>(
        &self,
        key: &str,
        choices: &[(&str, T)],
        faults: &mut Faults<'_>,
    ) -> Option<T> {
        let example = choices.first().map_or("", |c| c.0);
        let found = self.scalar(key, example, faults)?;
        if let Some((_, value)) = choices.iter().find(|(word, _)| *word == found.text) {
            return Some(*value);
        }
        let words: Vec<&str> = choices.iter().map(|c| c.0).collect();
        let near = nearest_of(found.text, words.iter().copied())
            .map_or(String::new(), |n| format!(" Did you mean {n}?"));
        faults.add(
            found.at,
            format!("`{key}` of {} cannot be `{}`.", self.label, found.text),
            format!("one of {}.{near}", words.join(", ")),
        );
        None
    }

    /// The texts of a list.
    pub(super) fn texts(
        &self,
        key: &str,
        example: &str,
        faults: &mut Faults<'_>,
    ) -> Option<Vec<Text<'d>>> {
        let value = self.value(key)?;
        let hint = || format!("write {key} = [{example}].");
        let DeValue::Array(list) = value.get_ref() else {
            faults.add(
                value.span().start,
                format!("`{key}` of {} is not a list of texts.", self.label),
                hint(),
            );
            return None;
        };
        let mut found = Vec::new();
        for part in list {
            if let DeValue::String(text) = part.get_ref() {
                found.push(Text {
                    text: text.as_ref(),
                    at: part.span().start,
                });
            } else {
                faults.add(
                    part.span().start,
                    format!("one part of `{key}` of {} is not a text.", self.label),
                    hint(),
                );
            }
        }
        Some(found)
    }

    /// The tables of a list: `[[product]]`, or rows in braces.
    pub(super) fn rows(&self, key: &str, form: &str, faults: &mut Faults<'_>) -> Vec<Entry<'d>> {
        let Some(value) = self.value(key) else {
            return Vec::new();
        };
        let DeValue::Array(list) = value.get_ref() else {
            faults.add(
                value.span().start,
                format!("`{key}` of {} is not a list of entries.", self.label),
                form.to_owned(),
            );
            return Vec::new();
        };
        let mut rows = Vec::new();
        for part in list {
            match part.get_ref() {
                DeValue::Table(table) => {
                    rows.push(Entry::new(key, table, part.span().start));
                }
                _ => faults.add(
                    part.span().start,
                    format!("one part of `{key}` of {} is not an entry.", self.label),
                    form.to_owned(),
                ),
            }
        }
        rows
    }

    /// A table inside this one.
    pub(super) fn inner(&self, key: &str, form: &str, faults: &mut Faults<'_>) -> Option<Self> {
        let value = self.value(key)?;
        if let DeValue::Table(table) = value.get_ref() {
            return Some(Entry::new(
                &format!("`{key}` of {}", self.label),
                table,
                value.span().start,
            ));
        }
        faults.add(
            value.span().start,
            format!("`{key}` of {} is not a table.", self.label),
            form.to_owned(),
        );
        None
    }

    /// Keys with their text values, in the order of the file.
    pub(super) fn pairs(&self, form: &str, faults: &mut Faults<'_>) -> Vec<(Text<'d>, Text<'d>)> {
        let mut found = Vec::new();
        for (key, value) in self.table {
            if let DeValue::String(text) = value.get_ref() {
                found.push((
                    Text {
                        text: key.get_ref(),
                        at: key.span().start,
                    },
                    Text {
                        text: text.as_ref(),
                        at: value.span().start,
                    },
                ));
            } else {
                faults.add(
                    key.span().start,
                    format!("`{}` in {} is not a text.", key.get_ref(), self.label),
                    form.to_owned(),
                );
            }
        }
        found.sort_by_key(|(key, _)| key.at);
        found
    }

    /// A whole number in a range.
    pub(super) fn whole(
        &self,
        key: &str,
        range: Range<u32>,
        faults: &mut Faults<'_>,
    ) -> Option<u32> {
        let example = range.start.to_string();
        let top = range.end.saturating_sub(1);
        self.parsed(key, &example, faults, |text| {
            text.parse::<u32>()
                .ok()
                .filter(|n| range.contains(n))
                .ok_or_else(|| format!("it is a whole number from {} to {top}", range.start))
        })
    }
}

/// A code of the file, or a fault.
pub(super) fn checked_code(text: &str, at: usize, faults: &mut Faults<'_>) -> Option<Code> {
    if is_well_formed(text) {
        return Some(Code::new(text));
    }
    faults.add(at, format!("`{text}` is not a code."), CODE_FORM);
    None
}

/// A text for people, or a fault.
pub(super) fn checked_words(
    what: &str,
    text: &str,
    at: usize,
    chars_max: usize,
    faults: &mut Faults<'_>,
) -> Option<String> {
    if text.chars().any(char::is_control) {
        faults.add(
            at,
            format!("`{what}` holds a line break or another character that cannot be shown."),
            "write it on one line.",
        );
        return None;
    }
    let chars = text.chars().count();
    if chars > chars_max {
        faults.add(
            at,
            format!("`{what}` has {chars} characters; at most {chars_max} fit."),
            "say it shorter.",
        );
        return None;
    }
    Some(text.to_owned())
}
