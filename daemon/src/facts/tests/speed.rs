//! How long folding takes. Prints what it measures; the bounds are loose, for
//! a busy machine and an unoptimised build.

use std::time::Instant;

use super::shop::{Log, Shop};
use crate::facts::Facts;

/// Events of the measured log where the environment asks for no other number.
const EVENTS: usize = 3_000;

#[test]
fn catching_up_and_one_post_at_a_time_are_quick() {
    let events = std::env::var("BAYWRIGHT_TEST_EVENTS")
        .ok()
        .and_then(|text| text.parse().ok())
        .unwrap_or(EVENTS);
    let mut shop = Shop::new(50, 2);
    let log = Log::of(shop.records(events));
    let folder = tempfile::tempdir().unwrap();

    let begun = Instant::now();
    let mut facts = Facts::open(folder.path(), log.boxed(), &mut |_| {}).unwrap();
    let built = begun.elapsed();

    let posts = 200;
    let mut one_by_one = Vec::new();
    let mut ordered = Shop::clone_without_late(&shop);
    for _ in 0..posts {
        let batch = ordered.records(1);
        log.push(&batch);
        let begun = Instant::now();
        facts.absorb(&batch).unwrap();
        facts.commit().unwrap();
        one_by_one.push(begun.elapsed());
    }
    one_by_one.sort();
    let half = one_by_one[posts / 2];
    let p99 = one_by_one[posts * 99 / 100];
    println!(
        "{events} events built in {:.2} s; one post folded and committed: half {:.3} ms, P99 {:.3} ms",
        built.as_secs_f64(),
        half.as_secs_f64() * 1e3,
        p99.as_secs_f64() * 1e3,
    );
    assert!(built.as_secs() < 60, "{built:?}");
    assert!(half.as_millis() < 50, "{half:?}");
}
