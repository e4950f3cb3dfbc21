//! A worker's own figures.

use baywright_floor::row::Ended;
use baywright_report::{OWN_JOBS_MIN, own};

use crate::made::{Made, at, code, hours, minutes, shop, week_of};

/// Ana works an hour of decon on so many jobs, on the last beside Ben.
fn worked_on(jobs: u8) -> Made {
    let mut made = Made::new(shop());
    for n in 1..=jobs {
        made.open(n, "unsorted", "2026-11-23T08:00");
        let from = at("2026-11-24T08:00").saturating_add(hours(i64::from(n)));
        made.work(n, "decon", from, hours(1));
    }
    let polish = at("2026-11-25T08:00");
    for worker in ["ana", "ben"] {
        let us = minutes(90);
        made.work_as(
            jobs,
            "polish",
            worker,
            "bay-1",
            polish,
            us,
            Ended::Done,
            false,
        );
    }
    made
}

#[test]
fn below_five_jobs_only_what_is_needed_is_told() {
    assert_eq!(OWN_JOBS_MIN, 5);
    let made = worked_on(4);
    let (from, until) = week_of("2026-11-23");
    let ana = own(&made.input(), &code("ana"), from, until);
    assert_eq!(ana.jobs_needed, 5);
    assert_eq!((ana.jobs, ana.hands_on_us), (0, 0));
    assert!(ana.stages.is_empty());
}

#[test]
fn from_five_jobs_on_they_are_that_workers_alone_and_of_the_span() {
    let made = worked_on(5);
    let (from, until) = week_of("2026-11-23");
    let ana = own(&made.input(), &code("ana"), from, until);
    assert_eq!((ana.jobs, ana.hands_on_us), (5, hours(5) + minutes(90)));
    let stages: Vec<_> = ana
        .stages
        .iter()
        .map(|s| (s.stage.as_str(), s.jobs, s.hands_on_us))
        .collect();
    assert_eq!(stages, [("decon", 5, hours(5)), ("polish", 1, minutes(90))]);
    let ben = own(&made.input(), &code("ben"), from, until);
    assert_eq!((ben.jobs, ben.stages.len()), (0, 0));
    // A span that cuts the fifth job off has four.
    let until = at("2026-11-24T13:00");
    assert_eq!(own(&made.input(), &code("ana"), from, until).jobs, 0);
    // One that cuts it in two has half of it.
    let until = at("2026-11-24T13:30");
    let cut = own(&made.input(), &code("ana"), from, until);
    assert_eq!((cut.jobs, cut.hands_on_us), (5, hours(4) + minutes(30)));
}
