//! How a page looks: colours as data, so that a test can compute their
//! contrast, and one style sheet for screen, phone and paper.

use std::fmt::Write as _;

/// A colour with its value on a light and on a dark ground, `#rrggbb`.
#[derive(Debug, Clone, Copy)]
pub(super) struct Ink {
    pub name: &'static str,
    pub light: &'static str,
    pub dark: &'static str,
}

const fn ink(name: &'static str, light: &'static str, dark: &'static str) -> Ink {
    Ink { name, light, dark }
}

/// Every colour of a page. Three hues, each of another lightness, and hatches
/// beside them in the charts, so that grey print loses nothing.
pub(super) const INKS: [Ink; 10] = [
    ink("paper", "#ffffff", "#15181b"),
    ink("wash", "#f4f5f3", "#1e2226"),
    ink("text", "#1c2124", "#e7e9ea"),
    ink("quiet", "#59626a", "#a3abb2"),
    ink("hair", "#dfe2e1", "#31373c"),
    ink("link", "#1c5670", "#8cc4d8"),
    // Hands-on, and what was.
    ink("deep", "#1f5d6b", "#62b2bf"),
    // Waiting, and what nobody minds.
    ink("sand", "#a66f14", "#d9a550"),
    // Idle, quoted: the ground that the others stand out from.
    ink("stone", "#7c858c", "#8a949c"),
    // More than was meant to be.
    ink("brick", "#a3402a", "#e58f74"),
];

/// The style sheet, colours first.
pub(super) fn sheet() -> String {
    let set = |value: fn(&Ink) -> &'static str| {
        INKS.iter().fold(String::new(), |mut set, ink| {
            let _ = write!(set, "--{}:{};", ink.name, value(ink));
            set
        })
    };
    let light = set(|ink| ink.light);
    let dark = set(|ink| ink.dark);
    format!(
        ":root{{color-scheme:light dark;{light}}}\n\
         @media screen and (prefers-color-scheme:dark){{:root{{{dark}}}}}\n{RULES}"
    )
}

/// Lengths in rem, so that a reader's larger letters move everything with them.
pub(super) const RULES: &str = include_str!("style.css");

/// Beside them, what the customer's page has of its own.
pub(super) const OFFER: &str = include_str!("quote.css");
