//! The customer's page: what is on it, and above all what is not.

use baywright_proto::v1::{Panel, Quote, QuoteAsked, QuoteLine, QuotePrinted, QuoteState};
use baywright_terms::catalogue::{Catalogue, EXAMPLE, file};

use super::super::quote::page;
use super::NASTY;
use super::markup::read;
use crate::render::fixture::quote as fixture;

fn catalogue() -> Catalogue {
    file::read(EXAMPLE).unwrap()
}

fn without_tax() -> Quote {
    let mut quote = fixture::open();
    if let Some(printed) = &mut quote.printed {
        printed.tax_milli_pct = 0;
    }
    quote
}

/// With panels of its own: the tail and the wings are left out.
fn of_some_panels() -> Quote {
    let mut quote = fixture::open();
    let keeps = ["nose", "side-left", "side-right", "seat"];
    let panels = keeps.map(|code| Panel {
        code: code.to_owned(),
        finish: "gloss".to_owned(),
        area_cm2: 0,
    });
    if let Some(asked) = &mut quote.asked {
        asked.panels = panels.into();
    }
    quote
}

/// As long and as dear as they come.
fn long() -> Quote {
    let mut quote = fixture::unseen();
    let words = "the green one of the Hollerbach farm with cab, loader and a folding roof ";
    if let (Some(asked), Some(printed)) = (&mut quote.asked, &mut quote.printed) {
        asked.vehicle = words.repeat(2);
        asked.customer = words.to_owned();
        asked.without_stages = vec!["mask".to_owned(), "metal".to_owned(), "wheels".to_owned()];
        for code in [
            "wash",
            "measure",
            "metal",
            "wipe-down",
            "coat-trim",
            "wheels",
            "mask",
        ] {
            let mut stage = printed.stages[0].clone();
            code.clone_into(&mut stage.stage);
            printed.stages.push(stage);
        }
        printed.price_from_minor = 1_234_567_890;
        printed.price_to_minor = 2_345_678_901;
    }
    quote
}

pub(super) fn made() -> Vec<(&'static str, String)> {
    let catalogue = catalogue();
    let of = |quote: &Quote| page(quote, Some(&catalogue));
    vec![
        ("quote", of(&fixture::open())),
        ("quote unseen", of(&fixture::unseen())),
        ("quote accepted", of(&fixture::done())),
        ("quote on top", of(&fixture::addition())),
        ("quote without tax", of(&without_tax())),
        ("quote of some panels", of(&of_some_panels())),
        ("quote long", of(&long())),
        ("quote bare", page(&Quote::default(), None)),
    ]
}

/// Hours, by stage and in all, half and four in five, in the bay; costs, what
/// is left, and what it was learned from.
const INNER: [&str; 26] = [
    "7:29", "9:01", "9:38", "11:12", "2:25", "1:58", "2:41", "1:21", "8:32", "339.04", "331.18",
    "386.20", "183.30", "36.46", "15.10", "104.18", "370.50", "113.96", "80.15", "490.00", "25 %",
    "15 %", "14 jobs", "20,000", "20261125", "4812",
];

#[test]
fn none_of_the_shops_inner_figures_is_on_it() {
    // The owner's print of the same quotes has every one of them.
    let owners: String = [fixture::open(), fixture::done(), fixture::addition()]
        .iter()
        .map(|quote| crate::render::quote::quote(quote, &[], 200))
        .collect();
    for inner in INNER {
        assert!(
            owners.contains(inner),
            "{inner} is no figure of the fixture"
        );
    }
    for (name, page) in made() {
        let text = read(&page).named("body")[0].text.replace('\u{a0}', " ");
        for inner in INNER {
            assert!(!text.contains(inner), "{name} has {inner}");
        }
        let text = read(&page).text.to_lowercase();
        for word in [
            "hour",
            "hands-on",
            "labour",
            "cost",
            "margin",
            "contribution",
            "overhead",
            "supplies",
            "allowance",
            "learned",
            "guess",
            "half of",
            "four in five",
            "suggest",
            "discount",
            "list price",
            "soil",
            "intricacy",
            "record",
            "iron-remover",
            " ml",
            "safe",
            "dose",
            "second vehicle",
        ] {
            // A stage's name is the shop's own.
            let own = text.replace("inspect under two lights, remedy high spots", "");
            assert!(!own.contains(word), "{name} has {word}: {own}");
        }
    }
}

#[test]
fn the_scope_is_in_the_words_of_the_catalogue() {
    let text = read(&page(&fixture::open(), Some(&catalogue()))).text;
    for words in [
        "Lindenhof Fahrzeugpflege (invented)",
        "Quote 12",
        "M. Oliveira (invented)",
        "red three-wheeler, folding roof",
        "Three-wheeler, tourer: one-step polish and coating",
        "Wed 25 Nov 2026",
        "Fri 25 Dec 2026",
        "Machine polish, one step",
        "Not part of it: Mask, plug and take trim off.",
    ] {
        assert!(text.contains(words), "{words}: {text}");
    }
    // Without a catalogue the codes stand for themselves.
    let text = read(&page(&fixture::open(), None)).text;
    assert!(
        text.contains("hand-over") && !text.contains("Machine polish"),
        "{text}"
    );
}

#[test]
fn panels_that_are_left_out_are_named() {
    let text = read(&page(&of_some_panels(), Some(&catalogue()))).text;
    assert!(
        text.contains("Left out: wing left, wing right, tail,"),
        "{text}"
    );
    assert!(!text.contains("nose"), "{text}");
    let text = read(&page(&fixture::open(), Some(&catalogue()))).text;
    assert!(!text.contains("Left out"), "{text}");
}

#[test]
fn one_line_says_whether_tax_is_included() {
    let text = |quote: &Quote| read(&page(quote, None)).text.replace('\u{a0}', " ");
    let with = text(&fixture::open());
    assert!(with.contains("Including 23 % tax"), "{with}");
    for sum in ["EUR 557.19", "453.00", "104.19"] {
        assert!(with.contains(sum), "{sum}: {with}");
    }
    assert!(!with.contains("without tax."), "{with}");
    let without = text(&without_tax());
    assert_eq!(
        without.matches("Prices are without tax.").count(),
        1,
        "{without}"
    );
    assert!(
        without.contains("EUR 453.00") && !without.contains("Including"),
        "{without}"
    );
}

#[test]
fn a_price_of_an_unseen_vehicle_is_from_and_to_subject_to_inspection() {
    let text = read(&page(&fixture::unseen(), None))
        .text
        .replace('\u{a0}', " ");
    assert!(text.contains("From EUR 506.76 to EUR 761.37"), "{text}");
    assert!(
        text.contains("without it from EUR 412.00 to EUR 619.00."),
        "{text}"
    );
    assert!(text.contains("Subject to inspection"), "{text}");
    assert!(!text.contains("453.00"), "{text}");
    let seen = read(&page(&fixture::open(), None)).text;
    assert!(!seen.contains("inspection"), "{seen}");
}

#[test]
fn what_was_agreed_takes_the_place_of_what_was_suggested() {
    let text = read(&page(&fixture::done(), None))
        .text
        .replace('\u{a0}', " ");
    // 430.00 and 23 %.
    assert!(
        text.contains("EUR 528.90") && text.contains("The price agreed."),
        "{text}"
    );
    assert!(
        text.contains("Accepted") && text.contains("Thu 3 Dec 2026"),
        "{text}"
    );
    assert!(
        !text.contains("453.00") && !text.contains("Valid until"),
        "{text}"
    );
}

#[test]
fn a_draft_a_declined_and_a_run_out_quote_say_what_they_are() {
    let with = |change: fn(&mut QuoteLine)| {
        let mut quote = fixture::open();
        change(quote.line.as_mut().unwrap());
        read(&page(&quote, None)).text
    };
    assert!(with(|line| line.number = 0).contains("Draft of a quoteNot sent yet"));
    assert!(with(|line| line.state = QuoteState::Declined.into()).contains("Declined"));
    assert!(with(|line| line.state = QuoteState::RunOut.into()).contains("No longer valid"));
    assert!(!with(|_| ()).contains("No longer valid"));
}

#[test]
fn words_of_the_shop_and_of_the_customer_stay_words() {
    let mut quote = fixture::done();
    for text in [&mut quote.shop, &mut quote.planned_date] {
        NASTY.clone_into(text);
    }
    quote.asked = Some(QuoteAsked {
        job_type: NASTY.to_owned(),
        vehicle: NASTY.to_owned(),
        customer: NASTY.to_owned(),
        without_stages: vec![NASTY.to_owned()],
        ..QuoteAsked::default()
    });
    let mut printed = QuotePrinted {
        currency: NASTY.to_owned(),
        ..fixture::printed()
    };
    for stage in &mut printed.stages {
        NASTY.clone_into(&mut stage.stage);
    }
    quote.printed = Some(printed);
    let mut catalogue = catalogue();
    for stage in catalogue.stages.values_mut() {
        NASTY.clone_into(&mut stage.name);
    }
    for catalogue in [None, Some(&catalogue)] {
        let page = page(&quote, catalogue);
        let elements = read(&page);
        assert!(elements.named("script").is_empty() && elements.named("img").is_empty());
        assert!(
            elements.text.contains("<script>alert(1)</script>"),
            "shown as it was said"
        );
        let steers = page
            .chars()
            .find(|c| (c.is_control() && *c != '\n') || ('\u{202a}'..='\u{202e}').contains(c));
        assert_eq!(steers, None);
    }
}
