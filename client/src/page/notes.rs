//! Small print: what the words mean and how the figures are made.

use baywright_proto::v1::Week;
use maud::{Markup, html};

use super::frame::Section;
use crate::render::text::clean;

/// How the week is to be read.
pub(super) fn week(week: &Week, command: &str, result: &str) -> Section {
    let body = html! {
        dl.terms {
            dt { "Small ids" }
            dd {
                "Each row can be opened down to the jobs, stages and records behind it: "
                code { (clean(command)) " --why ID" } "."
            }
            dt { "Hands-on, waiting, idle" }
            dd {
                "Each minute of a vehicle in a place is exactly one of the three. Waiting: a product works, a coating \
                 flashes or cures, a lamp is on."
            }
            dt { "Quoted" }
            dd { "The catalogue's allowance when the job was opened, or when its quote was accepted." }
            (result_words(result))
            (quantiles(&week.quantiles))
            (standard())
        }
        (safety())
    };
    Section::new("notes", "How to read this page", body)
}

pub(super) fn result_words(result: &str) -> Markup {
    html! {
        @if result == "margin" {
            dt { "Margin" }
            dd {
                "Revenue less labour with its wage burden, materials, supplies, and overhead for the sold hours. \
                 Without tax."
            }
        } @else {
            dt { "Contribution" }
            dd {
                "Revenue less labour, materials and supplies, without tax. It is not a margin: until the catalogue \
                 gives wage burden and overhead, those are not in it."
            }
        }
    }
}

fn quantiles(how: &str) -> Markup {
    let how = clean(how);
    html! {
        dt { "Half, four in five" }
        dd {
            "Half of the jobs lie at or below the first, four in five at or below the second."
            @if !how.is_empty() { " Taken as " (how) "." }
            " With few jobs they say little."
        }
    }
}

pub(super) fn standard() -> Markup {
    html! {
        dt { "Standard, not measured" }
        dd {
            "Towels, pads, gloves, machine wear and water are a fixed sum for each stage; products that nobody meters \
             are shared out between refills, or stand at their allowance."
        }
    }
}

pub(super) fn safety() -> Markup {
    html! {
        p.small {
            "Nothing here replaces a product's safety data sheet, local codes or licensed practice. These figures price \
             work; they are no books."
        }
    }
}

/// The last line of a page.
pub(super) fn foot(as_of_seq: u64) -> Markup {
    html! {
        p.small {
            "Made by " code { "bay" } " from the shop's own log"
            @if as_of_seq != 0 { " up to event " (as_of_seq) }
            ". This file loads nothing from anywhere."
        }
    }
}
