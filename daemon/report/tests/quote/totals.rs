//! What holds of the figures of any quote.

use baywright_report::quote::{Learnt, suggest};
use proptest::prelude::*;

use crate::invented::*;

#[test]
fn quoted_shares_add_up_to_half_and_the_whole_is_narrower_than_its_stages() {
    let records = jobs(30, 1, 0.1, 0.2);
    let quote = quote(&records, &asking("saloon-coat"));
    let shares: i64 = quote.stages.iter().map(|s| s.quoted_us).sum();
    assert_eq!(shares, quote.hands_on_half_us);
    let ends: i64 = quote.stages.iter().map(|s| s.p80_us).sum();
    assert!(quote.hands_on_p80_us < ends);
    assert!(quote.hands_on_half_us < quote.hands_on_p80_us);
    // A log-normal's mean lies above its half.
    assert!(quote.hands_on_half_us < quote.hands_on_mean_us);
    let error = ratio(quote.hands_on_p80_error_us, quote.hands_on_p80_us);
    assert!((0.0001..0.02).contains(&error), "{error}");
    assert_eq!(quote.draws, 20_000);
    let order: Vec<&str> = quote.stages.iter().map(|s| s.stage.as_str()).collect();
    assert_eq!(order, ["wash", "decon", "polish", "coat"]);
}

#[test]
fn stages_of_one_vehicle_go_long_together() {
    // If they were independent, variances would add: the job's own effect and
    // what the type has in common make the whole wider than that.
    let records = jobs(60, 2, 0.0, 0.25);
    let quote = quote(&records, &asking("truck-coat"));
    let above = |half: i64, p80: i64| ratio(p80 - half, 1_000_000);
    let alone: f64 = quote
        .stages
        .iter()
        .map(|s| above(s.half_us, s.p80_us).powi(2))
        .sum();
    assert!(above(quote.hands_on_half_us, quote.hands_on_p80_us) > 1.1 * alone.sqrt());
}

#[test]
fn the_same_seed_gives_the_same_figures_and_another_differs_by_chance_alone() {
    let records = jobs(25, 3, 0.0, 0.2);
    let asked = asking("trike-coat");
    let first = quote(&records, &asked);
    assert_eq!(first, quote(&records, &asked));
    let mut other = asked.clone();
    other.seed = 8;
    let other = quote(&records, &other);
    assert_ne!(first.hands_on_p80_us, other.hands_on_p80_us);
    let off = (first.hands_on_p80_us - other.hands_on_p80_us).abs();
    assert!(off < 6 * first.hands_on_p80_error_us);
}

#[test]
fn without_a_seed_the_question_makes_one() {
    let mut asked = asking("trike-coat");
    asked.seed = 0;
    let (a, b) = (quote(&[], &asked), quote(&[], &asked));
    assert_eq!(a, b);
    assert_ne!(a.seed, 0);
    asked.grades.soil = 5;
    assert_ne!(quote(&[], &asked).seed, a.seed);
}

#[test]
fn the_order_of_records_does_not_matter_and_one_told_twice_counts_once() {
    let mut records = jobs(20, 4, 0.1, 0.2);
    let before = quote(&records, &asking("saloon-coat"));
    records.reverse();
    assert_eq!(before, quote(&records, &asking("saloon-coat")));
    let catalogues = catalogues(shop());
    let mut twice = records.clone();
    twice.extend(records.iter().cloned());
    let learnt = Learnt::of(&twice, &catalogues, NOW);
    assert_eq!(learnt.jobs, 20);
    let after = suggest(&learnt, &records, &catalogues, &asking("saloon-coat"), NOW).unwrap();
    assert_eq!(before, after);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]

    #[test]
    fn any_quote_adds_up_and_stays_in_order(
        seed in 1_u64..1_000,
        count in 0_u32..25,
        soil in 0_u8..=5, defects in 0_u8..=5, intricacy in 0_u8..=5,
        unseen: bool,
        without in prop::sample::subsequence(vec!["wash", "decon", "polish", "coat"], 0..=3),
    ) {
        let records = jobs(count, seed, 0.1, 0.3);
        let mut asked = asking("truck-coat");
        asked.grades = grades(soil, defects, intricacy);
        asked.unseen = unseen;
        asked.without = without.iter().map(|stage| code(stage)).collect();
        let quote = quote(&records, &asked);
        prop_assert_eq!(quote.stages.len(), 4 - without.len());
        let shares: i64 = quote.stages.iter().map(|s| s.quoted_us).sum();
        prop_assert_eq!(shares, quote.hands_on_half_us);
        prop_assert!(quote.hands_on_half_us <= quote.hands_on_p80_us);
        for stage in &quote.stages {
            prop_assert!(stage.half_us <= stage.p80_us && stage.half_us > 0);
        }
        prop_assert!(quote.bay_half_us >= quote.waiting_half_us);
        prop_assert!(quote.cost_half_minor <= quote.cost_p80_minor);
        prop_assert_eq!(quote.price_minor % 100, 0);
        prop_assert!(quote.price_minor >= quote.cost.sum_minor());
        prop_assert_eq!(quote.price_range_minor.is_some(), unseen);
        if let Some((from, to)) = quote.price_range_minor {
            prop_assert!(from <= quote.price_minor && quote.price_minor <= to && from < to);
        }
    }

    /// Size drives nothing, and neither does a name.
    #[test]
    fn a_class_that_nobody_has_seen_changes_the_spread_alone(
        seed in 1_u64..1_000,
        count in 0_u32..25,
        name in "[a-z]{3,8}",
    ) {
        prop_assume!(!CLASSES.contains(&name.as_str()));
        let records = jobs(count, seed, 0.1, 0.2);
        let mut asked = asking("saloon-coat");
        let own = quote(&records, &asked);
        asked.vehicle_class = code("large-van");
        let van = quote(&records, &asked);
        asked.vehicle_class = code(&name);
        let named = quote(&records, &asked);
        prop_assert_eq!(van.hands_on_half_us, named.hands_on_half_us);
        prop_assert_eq!(van.hands_on_p80_us, named.hands_on_p80_us);
        // What is on record of the type's own class is no news of another: half
        // moves by no more than that class was found to differ and the draws do.
        let moved = ratio(van.hands_on_half_us, own.hands_on_half_us).ln().abs();
        prop_assert!(moved < 0.15, "{}", moved);
        prop_assert!(width(&van) > width(&own) - 0.02, "{} {}", width(&van), width(&own));
    }
}
