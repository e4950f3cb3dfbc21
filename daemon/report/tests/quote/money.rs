//! Cost, price and margin of a quote, and what is said where something is missing.

use baywright_terms::catalogue::{Catalogue, ShopCosts};
use baywright_terms::time::{DAY_US, HOUR_US};

use crate::invented::*;

fn with_costs(change: impl FnOnce(&mut ShopCosts)) -> Catalogue {
    let mut catalogue = shop();
    change(&mut catalogue.shop.as_mut().unwrap().costs);
    catalogue
}

#[test]
fn cost_follows_the_mean_job_and_the_price_leaves_the_target_of_itself() {
    let quote = quote(&jobs(10, 31, 0.0, 0.2), &asking("saloon-coat"));
    // 24.00 an hour and 30 % on top, 15.00 of overhead: integers, rounded once each.
    let hours = ratio(quote.hands_on_mean_us, HOUR_US);
    let near = |minor: i64, expected: f64| {
        let minor = f64::from(i32::try_from(minor).unwrap());
        assert!((minor - expected).abs() < 1.0, "{minor} {expected}");
    };
    near(quote.cost.labour_minor, hours * 2_400.0 * 1.3);
    near(quote.cost.overhead_minor, hours * 1_500.0);
    // Four stages at 2.50 each.
    assert_eq!(quote.cost.supplies_minor, 1_000);
    // A litre costs 20.00; the mean of it lies above its half.
    let of_half = ratio(quote.products[0].half, 1_000_000_000) * 2_000.0;
    near(quote.products[0].cost_minor.unwrap(), of_half);
    assert!(quote.cost.materials_minor >= quote.products[0].cost_minor.unwrap());
    // price = cost / (1 − 30 %), up to the next whole euro.
    let left = quote.price_minor * 700 - quote.cost.sum_minor() * 1_000;
    assert!((0..70_000).contains(&left), "{left}");
    assert_eq!(quote.list_minor, Some(90_000));
    assert!(quote.margin && !quote.target_is_guess);
    let at_p80 = quote.price_minor - quote.cost_p80_minor;
    let permille = i64::from(quote.margin_p80_permille);
    assert_eq!(permille, at_p80 * 1_000 / quote.price_minor);
    assert!(permille < 300);
}

#[test]
fn what_is_missing_for_a_price_is_said() {
    let none = with_costs(|costs| *costs = ShopCosts::default());
    let quote = quote_under(&[], &catalogues(none), &asking("saloon-coat"));
    assert!(!quote.margin && quote.target_is_guess);
    assert_eq!(quote.target_margin_permille, 300);
    assert!(says(&quote, "a contribution, not a margin"));
    assert!(says(&quote, "30 % stand in, a trade guess"));
    let mut bare = shop();
    for worker in bare.workers.values_mut() {
        worker.rate_minor = None;
    }
    bare.products
        .get_mut(&code("iron-remover"))
        .unwrap()
        .pack_price = None;
    let quote = quote_under(&[], &catalogues(bare), &asking("saloon-coat"));
    assert!(says(&quote, "No worker has a rate"));
    assert!(says(&quote, "No price in the catalogue: iron-remover"));
    assert_eq!(quote.cost.labour_minor, 0);
}

#[test]
fn a_quote_is_valid_as_long_as_the_shop_says() {
    let quote = quote_under(&[], &catalogues(shop()), &asking("saloon-coat"));
    assert_eq!(quote.valid_until.0, NOW.0 + 30 * DAY_US);
    let short = with_costs(|costs| costs.quote_valid_us = Some(14 * DAY_US));
    let quote = quote_under(&[], &catalogues(short), &asking("saloon-coat"));
    assert_eq!(quote.valid_until.0, NOW.0 + 14 * DAY_US);
}

#[test]
fn bay_time_is_labour_by_the_usual_crew_and_the_usual_waiting() {
    // Two at a time, and 50 minutes of waiting on each.
    let mut records: Vec<_> = (0..6)
        .map(|n| job(n, 1, grades(3, 3, 3), |_| 1.0))
        .collect();
    let alone = quote(&[], &asking("saloon-coat"));
    // Nothing recorded: the label's three minutes, and one worker.
    assert_eq!(alone.waiting_half_us, minutes(3));
    assert_eq!(alone.bay_half_us, alone.hands_on_half_us + minutes(3));
    for record in &mut records {
        record.bay_hands_on_us = record.labour_us / 2;
    }
    let known = quote(&records, &asking("saloon-coat"));
    assert_eq!(known.waiting_half_us, minutes(50));
    let apart = known.bay_half_us - minutes(50) - known.hands_on_half_us / 2;
    assert!(apart.abs() < 10, "{apart}");
}
