use std::collections::BTreeSet;

use super::*;
use crate::catalogue::{EXAMPLE, file};

fn panel(code: &str, finish: &str) -> Panel {
    Panel {
        code: Code::new(code),
        finish: Code::new(finish),
        area_cm2: None,
    }
}

fn product(kind: &str) -> Product {
    let catalogue = file::read(EXAMPLE).unwrap();
    let (_, product) = catalogue.products.into_iter().next().unwrap();
    Product {
        rules: product_rules(kind),
        kind: kind.to_owned(),
        ..product
    }
}

fn standing_of(kind: &str, finish: &str) -> Standing {
    standing(&product_rules(kind), finish).0
}

/// Source: common practice in the trade.
#[test]
fn the_rules_that_the_trade_knows_best_hold_by_default() {
    for (kind, finish, want) in [
        ("polish", "matte", Standing::Never),
        ("polish", "satin", Standing::Never),
        ("polish", "gloss", Standing::Fine),
        ("compound", "textured-plastic", Standing::Never),
        ("clay", "matte", Standing::Never),
        ("alkaline-cleaner", "bare-aluminium", Standing::Never),
        ("alkaline-cleaner", "plastic-screen", Standing::Never),
        ("alkaline-cleaner", "gloss", Standing::Fine),
        ("water-spot-remover", "anodised", Standing::Never),
        ("brightener", "glass", Standing::Never),
        ("tar-remover", "plastic-screen", Standing::Never),
        ("iron-remover", "electronics", Standing::Never),
        ("iron-remover", "gloss", Standing::Fine),
        ("iron-remover", "matte", Standing::Care),
        ("panel-wipe", "hot-metal", Standing::Never),
        ("coating", "brake", Standing::Never),
        ("coating", "grip", Standing::Never),
        ("coating", "leather", Standing::Never),
        ("coating", "textured-plastic", Standing::Never),
        ("coating", "matte", Standing::Care),
        ("trim-coating", "textured-plastic", Standing::Fine),
        ("trim-coating", "gloss", Standing::Care),
        ("leather-coating", "leather", Standing::Fine),
        ("topper", "brake", Standing::Never),
        ("shampoo", "matte", Standing::Fine),
    ] {
        assert_eq!(standing_of(kind, finish), want, "{kind} on {finish}");
    }
    for (stage, finish, want) in [
        ("polish", "matte", Standing::Never),
        ("prewash", "electronics", Standing::Never),
        ("decon", "electronics", Standing::Never),
        ("decon", "gloss", Standing::Fine),
        ("coat", "fresh-repaint", Standing::Never),
        ("coat", "matte", Standing::Care),
        ("wipe-down", "hot-metal", Standing::Never),
        ("intake", "electronics", Standing::Fine),
    ] {
        assert_eq!(
            standing(&stage_rules(stage), finish).0,
            want,
            "{stage} on {finish}"
        );
    }
}

#[test]
fn every_finish_has_its_own_code_words_and_a_letter_for_each_treatment() {
    let codes: BTreeSet<&str> = FINISHES.iter().map(|f| f.code).collect();
    assert_eq!(codes.len(), FINISHES.len());
    for finish in &FINISHES {
        assert!(crate::code::is_well_formed(finish.code), "{}", finish.code);
        assert!(!finish.words.is_empty() && !finish.why.is_empty());
        assert!(finish.letters_are_whole(), "{}", finish.code);
    }
    assert!(!codes.contains(UNKNOWN));
}

#[test]
fn default_reasons_fit_the_file() {
    for kind in &PRODUCT_KINDS {
        for rule in product_rules(kind.code) {
            assert!(!rule.why.is_empty(), "{} {}", kind.code, rule.finish);
            assert!(
                rule.why.chars().count() <= crate::catalogue::limits::SENTENCE_CHARS_MAX,
                "{}",
                rule.why
            );
        }
    }
}

#[test]
fn a_vehicle_hears_only_of_the_finishes_it_has_nevers_first() {
    let catalogue = file::read(EXAMPLE).unwrap();
    let trike = &catalogue.job_types[&Code::new("trike-coat")];
    let rules = rules_for_vehicle(&catalogue, Some(trike), &trike.panels, &Covered::default());
    let finishes: BTreeSet<&Code> = trike.panels.iter().map(|p| &p.finish).collect();
    assert!(!rules.is_empty());
    assert!(rules.iter().all(|r| finishes.contains(&r.finish)));
    assert!(rules.iter().all(|r| r.standing > Standing::Fine));
    assert!(rules.is_sorted_by_key(|r| std::cmp::Reverse(r.standing)));
    let polish = rules
        .iter()
        .find(|r| r.what.as_str() == "polish" && r.finish.as_str() == "matte")
        .unwrap();
    assert_eq!(polish.standing, Standing::Never);
    let sides: Vec<&str> = polish.panels.iter().map(Code::as_str).collect();
    assert_eq!(sides, ["side-left", "side-right"]);
}

#[test]
fn covering_a_finish_or_a_panel_answers_its_nevers() {
    let iron = Code::new("iron-remover");
    let remover = product("iron-remover");
    let panels = [
        panel("dash", "electronics"),
        panel("seat", "leather"),
        panel("radio", "electronics"),
    ];
    let all = rules_for_product(&iron, &remover, &panels, &Covered::default());
    assert_eq!(all.len(), 2);
    let masked = Covered {
        finishes: vec![Code::new("electronics")],
        panels: Vec::new(),
    };
    let left = rules_for_product(&iron, &remover, &panels, &masked);
    assert_eq!(left.len(), 1);
    assert_eq!(left[0].finish.as_str(), "leather");
    let one = Covered {
        finishes: Vec::new(),
        panels: vec![Code::new("dash")],
    };
    let left = rules_for_product(&iron, &remover, &panels, &one);
    let electronics = left
        .iter()
        .find(|r| r.finish.as_str() == "electronics")
        .unwrap();
    assert_eq!(electronics.panels, [Code::new("radio")]);
}

#[test]
fn an_unknown_finish_takes_the_strictest_of_what_it_may_be() {
    let polish = product_rules("polish");
    let (strict, why) = standing(&polish, UNKNOWN);
    assert_eq!(strict, Standing::Never);
    assert!(
        why.contains("it may be") && why.contains("hidden spot"),
        "{why}"
    );
    // Of two candidates the stricter one counts.
    assert_eq!(standing(&polish, "gloss/matte").0, Standing::Never);
    assert_eq!(
        standing(&product_rules("iron-remover"), "gloss/matte").0,
        Standing::Care
    );
    // No rule at all still asks for a test spot.
    let (care, why) = standing(&[], "gloss/matte");
    assert_eq!(care, Standing::Care);
    assert!(why.contains("hidden spot"), "{why}");
    // A finish typed wrong is one that is not known.
    assert_eq!(standing(&polish, "mate").0, Standing::Never);
}

#[test]
fn a_rule_of_the_shop_wins_over_the_default() {
    let rules = [SurfaceRule {
        finish: Code::new("matte"),
        standing: Standing::Fine,
        why: "tested here".to_owned(),
    }];
    assert_eq!(standing(&rules, "matte").0, Standing::Fine);
}

#[test]
fn an_unsorted_job_hears_of_every_product_in_use() {
    let mut catalogue = file::read(EXAMPLE).unwrap();
    let panels = [panel("x", "matte")];
    let all = rules_for_vehicle(&catalogue, None, &panels, &Covered::default());
    assert!(all.iter().any(|r| r.what.as_str() == "compound"));
    catalogue
        .products
        .get_mut(&Code::new("compound"))
        .unwrap()
        .retired = true;
    let left = rules_for_vehicle(&catalogue, None, &panels, &Covered::default());
    assert!(left.iter().all(|r| r.what.as_str() != "compound"));
    assert!(left.len() < all.len());
}

#[test]
fn the_rules_of_a_vehicle_fit_a_dozen_lines_by_finish() {
    let catalogue = file::read(EXAMPLE).unwrap();
    let trike = &catalogue.job_types[&Code::new("trike-coat")];
    let rules = rules_for_vehicle(&catalogue, Some(trike), &trike.panels, &Covered::default());
    let lines = by_finish(&rules);
    let finishes: BTreeSet<&Code> = trike.panels.iter().map(|p| &p.finish).collect();
    assert!(lines.len() <= finishes.len());
    assert!(lines.is_sorted_by_key(|l| l.nevers.is_empty()));
    let matte = lines.iter().find(|l| l.finish.as_str() == "matte").unwrap();
    assert_eq!(matte.panels.len(), 2);
    assert_eq!(matte.nevers, [Code::new("polish")]);
    assert!(matte.cares.contains(&Code::new("coat")));
    assert_eq!(matte.whys.len(), 1);
    // Every rule is in one of the lines.
    for rule in &rules {
        let line = lines.iter().find(|l| l.finish == rule.finish).unwrap();
        let list = if rule.standing == Standing::Never {
            &line.nevers
        } else {
            &line.cares
        };
        assert!(list.contains(&rule.what), "{rule:?}");
    }
}
