//! One job.

use baywright_report::story;

use crate::made::{Made, at, hours, job, minutes, shop};

#[test]
fn every_stay_is_partitioned_by_the_three_clocks() {
    let mut made = Made::new(shop());
    made.as_of = at("2026-11-24T12:00");
    made.open(1, "unsorted", "2026-11-23T08:00");
    made.stay(1, "bay-1", at("2026-11-24T08:00"), None);
    made.stay(
        1,
        "holding",
        at("2026-11-23T08:00"),
        Some(at("2026-11-24T08:00")),
    );
    made.work(1, "decon", at("2026-11-24T09:00"), hours(1));
    made.wait(1, at("2026-11-24T09:30"), Some(at("2026-11-24T10:15")));
    let story = story(&made.input(), job(1)).unwrap();
    let places: Vec<_> = story
        .places
        .iter()
        .map(|p| (p.place.as_str(), p.hands_on_us, p.waiting_us, p.idle_us))
        .collect();
    assert_eq!(
        places,
        [
            ("holding", 0, 0, hours(24)),
            ("bay-1", hours(1), minutes(15), hours(4) - minutes(75)),
        ]
    );
    assert_eq!(story.places[1].until, None);
    assert_eq!(story.job.released, None);
    assert_eq!(story.job.cycle_us, None);
    assert_eq!(story.job.actual_us, hours(1));
    assert_eq!(story.zone, "Europe/Berlin");
}

#[test]
fn a_job_that_nobody_opened_has_no_story() {
    let mut made = Made::new(shop());
    made.stay(1, "bay-1", at("2026-11-24T08:00"), None);
    assert_eq!(story(&made.input(), job(1)), None);
    assert_eq!(story(&made.input(), job(2)), None);
}
