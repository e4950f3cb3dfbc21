//! Cells that a spreadsheet reads as what they are.

use std::borrow::Cow;

use baywright_terms::text::steers;

/// One cell of a row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Cell {
    /// Text that somebody typed or scanned.
    Text(String),
    /// A figure, an instant or a word of this program.
    Own(String),
}

impl Cell {
    /// What is written into the file.
    pub(super) fn written(&self) -> Cow<'_, str> {
        match self {
            Self::Text(text) => defused(text),
            Self::Own(own) => Cow::Borrowed(own),
        }
    }
}

/// Keeps a spreadsheet from running a text as a formula: one that begins like
/// a formula gets an apostrophe before it.
///
/// A vehicle named `=HYPERLINK(...)` would otherwise act on the owner's
/// machine. A text that somebody began with an apostrophe and a formula gets
/// one more, so that [`as_typed`] gives back every text.
pub(in crate::commands) fn defused(text: &str) -> Cow<'_, str> {
    if begins_a_formula(text.trim_start_matches('\'')) {
        Cow::Owned(format!("'{text}"))
    } else {
        Cow::Borrowed(text)
    }
}

/// A cell of our own export as it was typed: without the apostrophe that
/// defused it. A cell with another apostrophe in front keeps it.
pub(in crate::commands) fn as_typed(cell: &str) -> &str {
    match cell.strip_prefix('\'') {
        Some(text) if begins_a_formula(text.trim_start_matches('\'')) => text,
        _ => cell,
    }
}

/// True where a spreadsheet would read a formula: behind blanks and what
/// nobody sees, a sign that begins one, or a control character that some
/// programs read past. The wide forms count as signs in some languages.
fn begins_a_formula(text: &str) -> bool {
    let is_blank = |c: &char| matches!(c, ' ' | '\u{a0}') || (steers(*c) && !c.is_control());
    let first = text.chars().find(|c| !is_blank(c));
    first.is_some_and(|c| {
        c.is_control() || matches!(c, '=' | '+' | '-' | '@' | '＝' | '＋' | '－' | '＠')
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_that_looks_like_a_formula_is_defused() {
        for text in [
            "=1+1",
            "+1",
            "-1",
            "@x",
            "\t=1",
            "\r=1",
            "\n=1",
            "  =1",
            "＝1",
            "'=1",
            "''-1",
            "'' =",
            "\u{feff}=1",
            "\u{a0}@x",
            "\u{202e}+1",
            "\0=1",
        ] {
            let written = Cell::Text(text.to_owned()).written().into_owned();
            assert_eq!(written, format!("'{text}"));
            assert_eq!(as_typed(&written), text);
        }
        for text in ["red van", "b2-7", "", "a=b", "'", "'s van", "o'neil"] {
            assert_eq!(Cell::Text(text.to_owned()).written(), text);
            assert_eq!(as_typed(text), text);
        }
    }

    #[test]
    fn a_figure_below_nothing_stays_a_figure() {
        assert_eq!(Cell::Own("-2.5".to_owned()).written(), "-2.5");
    }
}
