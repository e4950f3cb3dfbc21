//! Cells that a spreadsheet reads as what they are.

use std::borrow::Cow;

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
/// machine. The wide forms of the signs count as signs in some languages.
fn defused(text: &str) -> Cow<'_, str> {
    let first = text.trim_start_matches(' ').chars().next();
    match first {
        Some('=' | '+' | '-' | '@' | '\t' | '\r' | '\n' | '＝' | '＋' | '－' | '＠') => {
            Cow::Owned(format!("'{text}"))
        }
        _ => Cow::Borrowed(text),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_that_looks_like_a_formula_is_defused() {
        for text in [
            "=1+1", "+1", "-1", "@x", "\t=1", "\r=1", "\n=1", "  =1", "＝1",
        ] {
            let written = Cell::Text(text.to_owned()).written().into_owned();
            assert_eq!(written, format!("'{text}"));
        }
        for text in ["red van", "b2-7", "", "a=b"] {
            assert_eq!(Cell::Text(text.to_owned()).written(), text);
        }
    }

    #[test]
    fn a_figure_below_nothing_stays_a_figure() {
        assert_eq!(Cell::Own("-2.5".to_owned()).written(), "-2.5");
    }
}
