//! Free text made safe and fitted: control characters neutralised, widths as
//! a terminal counts them, lines wrapped or shortened.

use baywright_terms::text::steers;
use unicode_width::{UnicodeWidthChar as _, UnicodeWidthStr as _};

/// What stands for a character that would steer the terminal.
const NEUTRAL: char = '?';
/// Ends a text that did not fit. ASCII, for serial consoles.
pub const CUT: &str = "..";

/// Columns that a terminal gives a text.
pub fn width(text: &str) -> usize {
    text.width()
}

/// Makes a text from the floor safe to print on one line.
///
/// A vehicle's name may hold anything that was scanned or typed, escape
/// sequences included; those must not reach the owner's terminal. Tabs and line
/// ends become spaces; other control characters, and the marks that turn the
/// direction of writing, become `?`.
pub fn clean(text: &str) -> String {
    text.chars()
        .map(|c| match c {
            '\t' | '\n' | '\r' | '\u{85}' | '\u{2028}' | '\u{2029}' => ' ',
            c if steers(c) => NEUTRAL,
            c => c,
        })
        .collect::<String>()
        .trim()
        .to_owned()
}

/// With a capital first letter.
pub fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(letters).collect()
    })
}

/// Shortens a text to `columns`, ending in `..` where something was left out.
pub fn shorten(text: &str, columns: usize) -> String {
    if width(text) <= columns {
        return text.to_owned();
    }
    let kept = before_cut(text, columns).trim_end_matches(' ');
    let cut = CUT.get(..columns.min(CUT.len())).unwrap_or(CUT);
    format!("{kept}{cut}")
}

/// What of a text stands before [`CUT`]: nothing, where its first character is
/// wider than what is left.
fn before_cut(text: &str, columns: usize) -> &str {
    let room = columns.saturating_sub(CUT.len());
    let (head, _) = fitting(text, room);
    if width(head) <= room { head } else { "" }
}

/// Pads on the right to `columns`.
pub fn pad_right(text: &str, columns: usize) -> String {
    let mut padded = text.to_owned();
    padded.extend(std::iter::repeat_n(
        ' ',
        columns.saturating_sub(width(text)),
    ));
    padded
}

/// Pads on the left to `columns`.
pub fn pad_left(text: &str, columns: usize) -> String {
    let mut padded = " ".repeat(columns.saturating_sub(width(text)));
    padded.push_str(text);
    padded
}

/// Where a line may end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Breaks {
    /// At spaces: prose, and commands that somebody copies.
    Spaces,
    /// Behind hyphens too: codes in a narrow column.
    Hyphens,
}

/// Breaks a text into lines of at most `columns`, where `breaks` allows it, else
/// wherever the line is full. Spaces it begins with indent every line. Never
/// empty.
pub fn wrap(text: &str, columns: usize, breaks: Breaks) -> Vec<String> {
    let columns = columns.max(2);
    let words = text.trim_start_matches(' ');
    let spaces = (text.len() - words.len()).min(columns / 2);
    let indent = " ".repeat(spaces);
    let room = columns - spaces;
    let mut lines = Vec::new();
    let mut rest = words.trim_end_matches(' ');
    while width(rest) > room {
        let (head, tail) = split(rest, room, breaks);
        lines.push(format!("{indent}{head}"));
        rest = tail;
    }
    if !rest.is_empty() || lines.is_empty() {
        lines.push(format!("{indent}{rest}"));
    }
    lines
}

/// Wraps, and cuts what is beyond `lines_max`.
pub fn wrap_at_most(text: &str, columns: usize, lines_max: usize) -> Vec<String> {
    let mut lines = wrap(text, columns, Breaks::Hyphens);
    if lines.len() > lines_max {
        lines.truncate(lines_max);
        if let Some(last) = lines.last_mut() {
            *last = format!("{}{CUT}", before_cut(last, columns));
        }
    }
    lines
}

/// A paragraph: wrapped to `columns`, every line but the first set in by
/// `hanging` more than the first.
pub fn paragraph(text: &str, columns: usize, hanging: usize) -> String {
    let words = text.trim_start_matches(' ');
    let first = text.len() - words.len();
    let room = columns.saturating_sub(first + hanging);
    let mut lines = wrap(words, room, Breaks::Spaces).into_iter();
    let mut out = format!("{}{}", " ".repeat(first), lines.next().unwrap_or_default());
    for line in lines {
        out.push('\n');
        out.extend(std::iter::repeat_n(' ', first + hanging));
        out.push_str(&line);
    }
    out
}

/// The first line of at most `room` columns and what is left of the text.
fn split(text: &str, room: usize, breaks: Breaks) -> (&str, &str) {
    let (fits, rest) = fitting(text, room);
    if rest.starts_with(' ') {
        return (fits.trim_end_matches(' '), rest.trim_start_matches(' '));
    }
    let at_space = fits.rfind(' ').map(|at| (at, at + 1));
    let at_hyphen = fits
        .rfind('-')
        .filter(|at| *at > 0 && breaks == Breaks::Hyphens)
        .map(|at| (at + 1, at + 1));
    let (end, next) = match (at_space, at_hyphen) {
        (Some(space), Some(hyphen)) => space.max(hyphen),
        (Some(at), None) | (None, Some(at)) => at,
        (None, None) => (fits.len(), fits.len()),
    };
    let head = text.get(..end).unwrap_or(fits).trim_end_matches(' ');
    let tail = text.get(next..).unwrap_or(rest).trim_start_matches(' ');
    if head.is_empty() {
        (fits, rest)
    } else {
        (head, tail)
    }
}

/// The longest beginning of at most `room` columns, at least one character,
/// and the rest. Measured as a whole: a character can widen the one before.
fn fitting(text: &str, room: usize) -> (&str, &str) {
    let mut end = 0;
    for (at, c) in text.char_indices() {
        let next = at + c.len_utf8();
        let beginning = text.get(..next).unwrap_or(text);
        if end > 0 && c.width() != Some(0) && width(beginning) > room {
            break;
        }
        end = next;
    }
    // A mark of no width may have widened the last character beyond the room.
    while width(text.get(..end).unwrap_or_default()) > room {
        match text.get(..end).and_then(|t| t.char_indices().next_back()) {
            Some((at, _)) if at > 0 => end = at,
            _ => break,
        }
    }
    text.split_at(end)
}

/// A heading with an empty line above it.
pub(super) fn section(title: &str, page: usize) -> String {
    format!("\n{}\n", paragraph(title, page, 0))
}

/// Adds a paragraph and ends its line.
pub(super) fn push(out: &mut String, text: &str, page: usize) {
    out.push_str(&paragraph(text, page, 0));
    out.push('\n');
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn escape_sequences_do_not_reach_the_terminal() {
        assert_eq!(clean("red\x1b[31mvan\x07"), "red?[31mvan?");
        assert_eq!(clean("a\tb\r\nc"), "a b  c");
        assert_eq!(clean("\u{9b}2Jx"), "?2Jx");
        assert_eq!(clean("abc\u{202e}cba\u{2066}"), "abc?cba?");
        assert_eq!(clean("Großer Škoda 三輪"), "Großer Škoda 三輪");
    }

    #[test]
    fn wide_characters_count_two() {
        assert_eq!(width("三輪"), 4);
        assert_eq!(shorten("三輪トラック", 7), "三輪..");
        assert_eq!(shorten("三輪トラック", 3), "..");
        assert_eq!(wrap_at_most("三輪トラック", 3, 2), ["三", ".."]);
        assert_eq!(shorten("abc", 3), "abc");
        assert_eq!(shorten("abcd", 3), "a..");
        assert_eq!(
            [0, 1, 2].map(|columns| shorten("abcd", columns)),
            ["", ".", ".."]
        );
        assert_eq!(pad_left("三", 4), "  三");
    }

    #[test]
    fn wraps_at_spaces_then_behind_hyphens_then_anywhere() {
        assert_eq!(
            wrap("red three-wheeler van", 10, Breaks::Hyphens),
            ["red three-", "wheeler", "van"]
        );
        assert_eq!(wrap("abcdefgh", 3, Breaks::Spaces), ["abc", "def", "gh"]);
        assert_eq!(
            wrap("  most in polish", 10, Breaks::Spaces),
            ["  most in", "  polish"]
        );
        assert_eq!(wrap("", 10, Breaks::Spaces), [""]);
        assert_eq!(wrap_at_most("one two three four", 5, 2), ["one", "two.."]);
    }

    #[test]
    fn a_paragraph_hangs_below_its_first_word() {
        assert_eq!(
            paragraph("  ! one two three", 13, 2),
            "  ! one two\n    three"
        );
    }

    proptest! {
        #[test]
        fn no_wrapped_line_is_too_wide_and_no_word_is_lost(text in "\\PC{0,80}", columns in 4usize..40) {
            let text = clean(&text);
            let lines = wrap(&text, columns, Breaks::Hyphens);
            for line in &lines {
                prop_assert!(width(line) <= columns, "{line:?} in {columns}");
            }
            let letters = |t: &str| t.chars().filter(|c| *c != ' ').collect::<String>();
            prop_assert_eq!(letters(&lines.concat()), letters(&text));
            prop_assert!(width(&shorten(&text, columns)) <= columns);
        }
    }
}
