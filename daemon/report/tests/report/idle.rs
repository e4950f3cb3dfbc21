//! Why a bay stood idle.

use baywright_floor::row::{Ended, Row};
use baywright_report::figures::WeekBay;

use crate::made::{Made, at, bay, code, hours, minutes, shop};

fn a_bay() -> Made {
    let mut catalogue = shop();
    catalogue.bays.insert(code("bay-1"), bay(1));
    let mut made = Made::new(catalogue);
    made.open(1, "unsorted", "2026-11-23T08:00");
    made
}

/// Work on job 1 that ends in some way, with words where there are any.
fn worked(made: &mut Made, from: &str, us: i64, ended: Ended, words: &str) {
    made.work_as(1, "polish", "ana", "bay-1", at(from), us, ended, false);
    if let Some(Row::HandsOn(row)) = made.rows.last_mut() {
        words.clone_into(&mut row.reason);
    }
}

fn reasons(made: &Made) -> Vec<(String, i64)> {
    let week = made.week("2026-11-23");
    let bay: &WeekBay = &week.bays[0];
    let sum: i64 = bay.idle.iter().map(|i| i.idle_us).sum();
    assert_eq!(sum, bay.idle_us, "{:?}", bay.idle);
    bay.idle
        .iter()
        .map(|i| (i.reason.clone(), i.idle_us / minutes(1)))
        .collect()
}

/// Monday from nine to five in the bay, an hour of work from ten to eleven.
fn after(ended: Ended, words: &str) -> Vec<(String, i64)> {
    let mut made = a_bay();
    let (from, until) = (at("2026-11-23T10:00"), at("2026-11-23T17:00"));
    made.stay(1, "bay-1", from, Some(until));
    worked(&mut made, "2026-11-23T10:00", hours(1), ended, words);
    reasons(&made)
}

#[test]
fn the_end_of_the_work_before_gives_the_reason() {
    for (ended, words, reason) in [
        (Ended::Paused, " part is on its way ", "part is on its way"),
        (Ended::Paused, "", "laid aside, no reason given"),
        (Ended::Break, "", "break"),
        (Ended::Break, "dentist", "dentist"),
        (Ended::Done, "", "after the last stage"),
        (Ended::Again, "", "after the last stage"),
        (Ended::Settled, "", "after the last stage"),
        (Ended::Unclosed, "", "after a stage that nothing ended"),
        (Ended::Elsewhere, "", "went elsewhere"),
        (Ended::Moved, "", "moved on"),
        (Ended::Dwell, "", "after waiting"),
    ] {
        assert_eq!(after(ended, words), [(reason.to_owned(), 360)], "{ended:?}");
    }
}

#[test]
fn a_day_has_a_reason_for_each_idle_minute() {
    let mut made = a_bay();
    let (from, until) = (at("2026-11-23T07:00"), at("2026-11-24T09:30"));
    made.stay(1, "bay-1", from, Some(until));
    worked(&mut made, "2026-11-23T09:00", hours(1), Ended::Done, "");
    worked(&mut made, "2026-11-23T10:30", hours(1), Ended::Dwell, "");
    made.wait(1, at("2026-11-23T11:30"), Some(at("2026-11-23T12:00")));
    worked(
        &mut made,
        "2026-11-23T12:45",
        hours(1),
        Ended::Paused,
        "waits for the owner",
    );
    // Nobody comes back until they close, nor in the hour before it is taken away.
    assert_eq!(
        reasons(&made),
        [
            ("closed".to_owned(), 60 + 15 * 60),
            ("waits for the owner".to_owned(), 3 * 60 + 15 + 90),
            ("before the first stage".to_owned(), 60),
            ("after waiting".to_owned(), 45),
            ("between stages".to_owned(), 30),
        ]
    );
}

#[test]
fn of_two_who_stop_together_the_one_who_says_why_counts() {
    let mut made = a_bay();
    let (from, until) = (at("2026-11-23T10:00"), at("2026-11-23T12:00"));
    made.stay(1, "bay-1", from, Some(until));
    worked(
        &mut made,
        "2026-11-23T10:00",
        hours(1),
        Ended::Paused,
        "lamp is out",
    );
    worked(&mut made, "2026-11-23T10:30", minutes(30), Ended::Done, "");
    assert_eq!(reasons(&made), [("lamp is out".to_owned(), 60)]);
}

#[test]
fn a_shop_without_open_hours_is_never_closed() {
    let mut catalogue = shop();
    if let Some(shop) = &mut catalogue.shop {
        shop.open.clear();
    }
    let mut made = Made::new(catalogue);
    made.open(1, "unsorted", "2026-11-23T08:00");
    made.stay(
        1,
        "bay-1",
        at("2026-11-23T20:00"),
        Some(at("2026-11-24T02:00")),
    );
    assert_eq!(reasons(&made), [("before the first stage".to_owned(), 360)]);
}

#[test]
fn the_rarest_words_are_summed_and_nothing_is_lost() {
    let mut made = a_bay();
    made.stay(
        1,
        "bay-1",
        at("2026-11-23T08:00"),
        Some(at("2026-11-23T17:00")),
    );
    for n in 0..20 {
        let from = at("2026-11-23T08:00").saturating_add(minutes(15 * n));
        let words = format!("reason {n}");
        made.work_as(
            1,
            "polish",
            "ana",
            "bay-1",
            from,
            minutes(5),
            Ended::Paused,
            false,
        );
        if let Some(Row::HandsOn(row)) = made.rows.last_mut() {
            row.reason = words;
        }
    }
    let found = reasons(&made);
    assert_eq!(found.len(), 13);
    assert!(found.contains(&("other reasons given".to_owned(), 8 * 10)));
}

#[test]
fn the_stage_that_held_the_bay_longest_counts_bay_time_and_not_heads() {
    let mut made = a_bay();
    made.stay(
        1,
        "bay-1",
        at("2026-11-23T08:00"),
        Some(at("2026-11-23T17:00")),
    );
    for worker in ["ana", "ben", "cem"] {
        let from = at("2026-11-23T09:00");
        made.work_as(
            1,
            "decon",
            worker,
            "bay-1",
            from,
            hours(1),
            Ended::Done,
            false,
        );
    }
    made.work(1, "polish", at("2026-11-23T11:00"), hours(2));
    // Beyond its stay the job holds no bay.
    made.work(1, "decon", at("2026-11-23T17:00"), hours(5));
    let week = made.week("2026-11-23");
    let bay = &week.bays[0];
    assert_eq!(bay.longest_stage, Some((code("polish"), hours(2))));
    assert_eq!(bay.flow_permille, Some(333));
    assert_eq!(bay.jobs_here_us, hours(9));
}
