//! A small part of the study in `examples/other_truths`: quotes in shops whose truth
//! is not the model's.

#[path = "../../examples/other_truths/shop.rs"]
mod shop;
#[path = "../../examples/other_truths/walk.rs"]
mod walk;

use walk::{Held, walk};

const SEED: u64 = 77;

#[test]
fn quotes_of_shops_with_another_truth_lose_less_than_what_people_do() {
    let mut held = Held::default();
    for shop in 0..16 {
        held.add(walk(SEED + shop, 10).unwrap());
    }
    println!("seeds from {SEED}: {} quotes", held.quotes);
    let [quote, last_five, allowance] = held.mean_losses();
    assert!(quote < 0.8 * last_five, "{quote} {last_five}");
    let (over, error) = held.over(2);
    assert!(over <= 2.0 * error, "{quote} {allowance}");
    // 320 quotes, twenty of each shop: four standard errors with shops of their own.
    let p80 = held.share(held.p80_as_recorded);
    assert!((0.68..=0.92).contains(&p80), "{p80}");
    assert!(held.share(held.half) < held.share(held.p80));
}
