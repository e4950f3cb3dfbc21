//! Contrast of the colours, computed.
//!
//! Source: W3C, Web Content Accessibility Guidelines (WCAG) 2.2, definitions
//! of "relative luminance" and "contrast ratio": for each of R, G, B, the
//! 8-bit value / 255 is linear: c / 12.92 up to 0.04045, else
//! ((c + 0.055) / 1.055)^2.4; L = 0.2126 R + 0.7152 G + 0.0722 B; the ratio is
//! (L1 + 0.05) / (L2 + 0.05), L1 the lighter.

use std::collections::BTreeSet;

use super::super::style::{INKS, OFFER, RULES};

/// What stands on what, and how far apart the two must be.
#[derive(Debug, Clone, Copy)]
struct Pair {
    ink: &'static str,
    ground: &'static str,
    ratio_min: f64,
}

/// WCAG 2.2, success criterion 1.4.3 (AA): text against its ground.
const TEXT: f64 = 4.5;
/// WCAG 2.2, success criterion 1.4.11: parts of a picture that carry meaning.
const GRAPHIC: f64 = 3.0;

const fn pair(ink: &'static str, ground: &'static str, ratio_min: f64) -> Pair {
    Pair {
        ink,
        ground,
        ratio_min,
    }
}

/// Every pair the style sheet makes. `hair` only parts rows, which stand apart
/// without it.
const PAIRS: [Pair; 12] = [
    pair("text", "paper", TEXT),
    pair("text", "wash", TEXT),
    pair("quiet", "paper", TEXT),
    pair("quiet", "wash", TEXT),
    pair("link", "paper", TEXT),
    pair("link", "wash", TEXT),
    pair("brick", "paper", TEXT),
    pair("paper", "deep", TEXT),
    pair("deep", "paper", GRAPHIC),
    pair("sand", "paper", GRAPHIC),
    pair("stone", "paper", GRAPHIC),
    pair("paper", "text", TEXT),
];

fn luminance(colour: &str) -> f64 {
    let digits = colour.strip_prefix('#').unwrap();
    let linear = |at: usize| {
        let value = u8::from_str_radix(&digits[at..at + 2], 16).unwrap();
        let share = f64::from(value) / 255.0;
        if share <= 0.04045 {
            share / 12.92
        } else {
            ((share + 0.055) / 1.055).powf(2.4)
        }
    };
    0.2126 * linear(0) + 0.7152 * linear(2) + 0.0722 * linear(4)
}

fn ratio(one: &str, other: &str) -> f64 {
    let (one, other) = (luminance(one), luminance(other));
    (one.max(other) + 0.05) / (one.min(other) + 0.05)
}

#[test]
fn the_ratio_is_that_of_the_guidelines() {
    // Black on white is 21:1 by the definition; #767676 is the well known
    // lightest grey of 4.5:1 on white (from memory).
    assert!((ratio("#000000", "#ffffff") - 21.0).abs() < 1e-9);
    assert!(ratio("#767676", "#ffffff") >= 4.5 && ratio("#777777", "#ffffff") < 4.5);
}

#[test]
fn every_pair_of_colours_can_be_told_apart_in_both_schemes() {
    for pair in PAIRS {
        let find = |name: &str| INKS.iter().find(|ink| ink.name == name).unwrap();
        let (ink, ground) = (find(pair.ink), find(pair.ground));
        for (scheme, one, other) in [
            ("light", ink.light, ground.light),
            ("dark", ink.dark, ground.dark),
        ] {
            let ratio = ratio(one, other);
            assert!(
                ratio >= pair.ratio_min,
                "{scheme}: {} on {} is {ratio:.2}, wanted {}",
                pair.ink,
                pair.ground,
                pair.ratio_min
            );
        }
    }
}

/// Names in `property:var(--name)`, for one property.
fn used(property: &str) -> BTreeSet<&'static str> {
    let mut names = BTreeSet::new();
    for rules in [RULES, OFFER] {
        for (at, _) in rules.match_indices("var(--") {
            let name = rules[at + 6..].split(')').next().unwrap();
            let declaration = rules[..at].rsplit(['{', ';']).next().unwrap();
            let of = declaration.split(':').next().unwrap().trim();
            if of == property {
                names.insert(name);
            }
        }
    }
    names
}

#[test]
fn the_style_sheet_uses_no_other_colour_and_no_pair_that_is_not_checked() {
    for rules in [RULES, OFFER] {
        assert!(!rules.contains('#') && !rules.contains("rgb") && !rules.contains("hsl"));
    }
    let paired: BTreeSet<&str> = PAIRS.iter().map(|pair| pair.ink).collect();
    for property in ["color", "fill", "stroke"] {
        for name in used(property) {
            // A fill of paper is letters on a bar, a hairline only parts rows.
            assert!(paired.contains(name) || name == "hair", "{property} {name}");
        }
    }
    assert!(
        used("color").len() >= 4 && used("fill").len() >= 5,
        "the reader reads the sheet"
    );
    let grounds: BTreeSet<&str> = PAIRS.iter().map(|pair| pair.ground).collect();
    for name in used("background") {
        assert!(grounds.contains(name), "background {name}");
    }
}
