//! Catalogue codes, and the nearest known code to a mistyped one.

use std::borrow::Borrow;
use std::fmt;
use std::sync::Arc;

use serde::{Deserialize, Serialize};

/// A catalogue code: `iron-remover`, `bay-1`, `ana`.
///
/// Facts of the floor are kept even when a code is unknown or odd, so this
/// type holds any text; [`is_well_formed`] tells whether the catalogue would
/// accept it. Cheap to clone.
#[derive(Clone, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Code(Arc<str>);

impl Code {
    /// Wraps a text as it came.
    pub fn new(text: &str) -> Self {
        Self(Arc::from(text))
    }

    /// The text of the code.
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// True where the fact left the code out.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
}

impl fmt::Debug for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:?}", &*self.0)
    }
}

impl fmt::Display for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl From<&str> for Code {
    fn from(text: &str) -> Self {
        Self::new(text)
    }
}

impl From<String> for Code {
    fn from(text: String) -> Self {
        Self(Arc::from(text))
    }
}

impl AsRef<str> for Code {
    fn as_ref(&self) -> &str {
        &self.0
    }
}

/// Lets a map by code be searched with a text.
impl Borrow<str> for Code {
    fn borrow(&self) -> &str {
        &self.0
    }
}

/// Longest code that the catalogue accepts, in characters.
///
/// Long enough for a plain description, short enough for a column of a table.
pub const CODE_CHARS_MAX: usize = 40;

/// Fewest typed characters that may stand for a longer code.
pub const PREFIX_CHARS_MIN: usize = 3;

/// Most codes named in answer to an unknown one.
pub const NEAREST_MAX: usize = 3;

/// Most slips of the finger in a long code that still count as near.
const DISTANCE_MAX: usize = 3;

/// True for a code that the catalogue accepts: 1 to 40 lower-case ASCII
/// letters, digits and hyphens, with no hyphen at either end (one in front
/// would read as a flag on the command line).
pub fn is_well_formed(text: &str) -> bool {
    (1..=CODE_CHARS_MAX).contains(&text.len())
        && !text.starts_with('-')
        && !text.ends_with('-')
        && text
            .bytes()
            .all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-')
}

/// What a typed code stands for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Resolved<'a> {
    /// The code itself, whatever its case.
    Exact(&'a str),
    /// The only code that begins with what was typed; the answer says so.
    Prefix(&'a str),
    /// No such code; the nearest known ones, best first.
    Unknown { nearest: Vec<&'a str> },
}

impl<'a> Resolved<'a> {
    /// The code where there is one.
    pub fn code(&self) -> Option<&'a str> {
        match self {
            Self::Exact(code) | Self::Prefix(code) => Some(code),
            Self::Unknown { .. } => None,
        }
    }
}

/// Finds what a typed code stands for among the known ones: the same code, or
/// the only one that begins with at least three typed characters.
pub fn resolve<'a>(typed: &str, known: impl Iterator<Item = &'a str> + Clone) -> Resolved<'a> {
    let typed = typed.trim().to_lowercase();
    if let Some(same) = known.clone().find(|code| code.to_lowercase() == typed) {
        return Resolved::Exact(same);
    }
    if typed.chars().count() >= PREFIX_CHARS_MIN {
        let mut longer = known.clone().filter(|code| code.starts_with(&typed));
        if let (Some(only), None) = (longer.next(), longer.next()) {
            return Resolved::Prefix(only);
        }
    }
    Resolved::Unknown {
        nearest: nearest(&typed, known),
    }
}

/// The known codes nearest to a mistyped one, best first, at most three.
///
/// Near is: a few slips (one letter wrong, missing, too many, or two
/// swapped) for the length, or the beginning of the code, or one of its
/// hyphenated words.
pub fn nearest<'a>(typed: &str, known: impl Iterator<Item = &'a str>) -> Vec<&'a str> {
    let typed: Vec<char> = typed
        .trim()
        .to_lowercase()
        .chars()
        .take(CODE_CHARS_MAX * 2)
        .collect();
    if typed.is_empty() {
        return Vec::new();
    }
    let mut near: Vec<(usize, usize, &str)> = known
        .filter_map(|code| {
            let letters: Vec<char> = code.chars().collect();
            let slips = distance(&typed, &letters);
            let bound = (typed.len().max(letters.len()) / 3).clamp(1, DISTANCE_MAX);
            let rank = if slips <= bound && slips < letters.len() {
                slips
            } else if typed.len() >= 2 && letters.starts_with(&typed) {
                DISTANCE_MAX + 1
            } else if code
                .split('-')
                .any(|word| word.chars().eq(typed.iter().copied()))
            {
                DISTANCE_MAX + 2
            } else {
                return None;
            };
            Some((rank, slips, code))
        })
        .collect();
    near.sort_unstable();
    near.dedup();
    near.truncate(NEAREST_MAX);
    near.into_iter().map(|(_, _, code)| code).collect()
}

/// Damerau–Levenshtein distance in its restricted form (optimal string
/// alignment): a swap of two neighbours counts as one slip.
fn distance(a: &[char], b: &[char]) -> usize {
    let mut before_last: Vec<usize> = Vec::new();
    let mut last: Vec<usize> = (0..=b.len()).collect();
    for (i, &from) in a.iter().enumerate() {
        let mut row = Vec::with_capacity(b.len() + 1);
        row.push(i + 1);
        for (j, &to) in b.iter().enumerate() {
            let mut best = (last[j] + usize::from(from != to))
                .min(last[j + 1] + 1)
                .min(row[j] + 1);
            if i > 0 && j > 0 && from == b[j - 1] && a[i - 1] == to {
                best = best.min(before_last[j - 1] + 1);
            }
            row.push(best);
        }
        before_last = std::mem::replace(&mut last, row);
    }
    last[b.len()]
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const KNOWN: [&str; 8] = [
        "iron-remover",
        "tar-remover",
        "wheel-soap",
        "prewash-foam",
        "panel-wipe",
        "panel-wash",
        "ana",
        "bay-1",
    ];

    fn near(typed: &str) -> Vec<&'static str> {
        nearest(typed, KNOWN.into_iter())
    }

    #[test]
    fn a_mistyped_code_finds_its_neighbours_best_first() {
        for (typed, best) in [
            ("iron-remvoer", "iron-remover"),
            ("ironremover", "iron-remover"),
            ("iorn-remover", "iron-remover"),
            ("panel-wip", "panel-wipe"),
            ("panel-wsh", "panel-wash"),
            ("wheel", "wheel-soap"),
            ("foam", "prewash-foam"),
            ("anna", "ana"),
            ("bay1", "bay-1"),
        ] {
            assert_eq!(near(typed).first(), Some(&best), "{typed}");
        }
        assert_eq!(near("remover"), ["tar-remover", "iron-remover"]);
        assert_eq!(near("panel"), ["panel-wash", "panel-wipe"]);
    }

    #[test]
    fn nothing_is_near_to_nonsense() {
        for typed in ["", " ", "zzzzzz", "x", "quarter-horse"] {
            assert!(near(typed).is_empty(), "{typed:?}: {:?}", near(typed));
        }
    }

    #[test]
    fn a_prefix_stands_for_a_code_only_where_it_is_the_only_one() {
        let resolve = |typed| resolve(typed, KNOWN.into_iter());
        assert_eq!(resolve("iron-remover"), Resolved::Exact("iron-remover"));
        assert_eq!(resolve("Iron-Remover "), Resolved::Exact("iron-remover"));
        assert_eq!(resolve("iron"), Resolved::Prefix("iron-remover"));
        assert!(
            matches!(resolve("ir"), Resolved::Unknown { nearest } if nearest == ["iron-remover"])
        );
        assert!(matches!(resolve("panel"), Resolved::Unknown { nearest } if nearest.len() == 2));
        assert_eq!(resolve("iron-remvoer").code(), None);
    }

    #[test]
    fn the_catalogue_accepts_plain_codes_only() {
        for text in ["a", "iron-remover", "bay-1", "3m", &"a".repeat(40)] {
            assert!(is_well_formed(text), "{text}");
        }
        for text in ["", "-a", "a-", "Ana", "a b", "é", "a_b", &"a".repeat(41)] {
            assert!(!is_well_formed(text), "{text}");
        }
    }

    #[test]
    fn a_map_by_code_is_searched_with_a_text() {
        let codes = KNOWN.map(|code| (Code::new(code), code));
        let by_order = std::collections::BTreeMap::from(codes.clone());
        let by_hash = std::collections::HashMap::from(codes);
        for code in KNOWN {
            assert_eq!(by_order.get(code), Some(&code));
            assert_eq!(by_hash.get(code), Some(&code));
        }
        assert_eq!(by_order.get("iron"), None);
    }

    proptest! {
        #[test]
        fn distance_is_a_symmetric_count(a in "[a-d]{0,8}", b in "[a-d]{0,8}") {
            let (a, b): (Vec<char>, Vec<char>) = (a.chars().collect(), b.chars().collect());
            let slips = distance(&a, &b);
            prop_assert_eq!(slips, distance(&b, &a));
            prop_assert_eq!(slips == 0, a == b);
            prop_assert!(slips >= a.len().abs_diff(b.len()));
            prop_assert!(slips <= a.len().max(b.len()));
        }

        #[test]
        fn one_slip_in_a_code_of_four_or_more_is_found(at in 0..12_usize, letter in "[a-z]") {
            let mut typed: Vec<char> = "iron-remover".chars().collect();
            typed.splice(at..=at, letter.chars());
            let typed: String = typed.into_iter().collect();
            let found = near(&typed);
            prop_assert_eq!(found.first(), Some(&"iron-remover"));
        }
    }
}
