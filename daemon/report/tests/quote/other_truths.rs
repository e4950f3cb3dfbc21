//! A small part of the study in `examples/other_truths`: quotes in shops whose truth
//! is not the model's.

#[path = "../../examples/other_truths/shop.rs"]
mod shop;
#[path = "../../examples/other_truths/walk.rs"]
mod walk;

use walk::{Against, Held, walk};

const SEED: u64 = 77;

#[test]
fn quotes_of_shops_with_another_truth_lose_less_than_what_people_do() {
    let mut held = Held::default();
    for shop in 0..16 {
        held.add(walk(SEED + shop, 10).unwrap());
    }
    println!("seeds from {SEED}: {} quotes", held.count());
    for against in [Against::Recorded, Against::True] {
        let [quote, last_five, allowance] = held.mean_losses(against);
        let held_to = against.words();
        assert!(quote < 0.8 * last_five, "{held_to}: {quote} {last_five}");
        let (_, (low, _)) = held.over_allowance(SEED, against);
        assert!(low <= 0.0, "{held_to}: {quote} {allowance}");
        assert!(held.half_held(against) < held.p80_held(against));
    }
    // 320 quotes, twenty of each shop: four standard errors with shops of their own.
    let p80 = held.p80_held(Against::Recorded);
    assert!((0.68..=0.92).contains(&p80), "{p80}");
    // A forgotten stop only makes a record longer.
    assert!(p80 <= held.p80_held(Against::True));
    let (low, high) = held.p80_range(SEED, Against::Recorded);
    assert!(low <= p80 && p80 <= high, "{low} {p80} {high}");
    assert!(held.p80_held_if(0.5, Against::Recorded) < p80);
}
