//! Labour against allowances.

use baywright_floor::fact::Declaration;
use baywright_floor::row::{Ended, Row};
use baywright_terms::catalogue::Catalogue;
use proptest::prelude::*;

use crate::made::{Made, at, code, hours, job, job_type, minutes, shop};

fn trade() -> Catalogue {
    let mut catalogue = shop();
    let stages = [
        ("decon", hours(1)),
        ("polish", hours(4)),
        ("coat", hours(2)),
    ];
    let types = &mut catalogue.job_types;
    types.insert(code("trike-coat"), job_type(&stages, &[]));
    types.insert(code("boat-wash"), job_type(&[("decon", hours(3))], &[]));
    types.insert(code("bare"), job_type(&[], &[]));
    catalogue
}

#[test]
fn two_people_for_an_hour_are_two_hours() {
    let mut made = Made::new(trade());
    made.open(1, "trike-coat", "2026-11-23T08:00");
    for worker in ["ana", "ben"] {
        let from = at("2026-11-23T08:00");
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
    made.release(1, "2026-11-23T17:00");
    let week = made.week("2026-11-23");
    assert_eq!(week.jobs[0].actual_us, hours(2));
    assert_eq!(week.jobs[0].quoted_us, Some(hours(7)));
    assert_eq!(week.jobs[0].cycle_us, Some(hours(9)));
}

#[test]
fn a_job_without_allowances_has_no_quote_and_all_its_stages_are_marked() {
    for unquoted in ["unsorted", "spaceship", "bare"] {
        let mut made = Made::new(trade());
        made.open(1, unquoted, "2026-11-23T08:00");
        made.work(1, "decon", at("2026-11-23T08:00"), hours(1));
        made.release(1, "2026-11-23T17:00");
        let week = made.week("2026-11-23");
        assert_eq!(week.jobs[0].quoted_us, None, "{unquoted}");
        assert!(!week.jobs[0].stages[0].allowed);
        let figures = &week.types[0];
        assert_eq!((figures.jobs, figures.jobs_quoted), (1, 0));
        assert_eq!(figures.actual_unquoted_us, hours(1));
    }
}

#[test]
fn a_stage_without_an_allowance_counts_to_actual_and_is_marked() {
    let mut made = Made::new(trade());
    made.open(1, "trike-coat", "2026-11-23T08:00");
    made.work(1, "wipe-down", at("2026-11-23T08:00"), minutes(20));
    made.work(1, "coat", at("2026-11-23T09:00"), hours(1));
    made.release(1, "2026-11-23T17:00");
    let week = made.week("2026-11-23");
    let stages: Vec<_> = week.jobs[0]
        .stages
        .iter()
        .map(|s| {
            (
                s.stage.as_str(),
                s.jobs,
                s.quoted_us,
                s.actual_us,
                s.allowed,
            )
        })
        .collect();
    assert_eq!(
        stages,
        [
            ("decon", 0, hours(1), 0, true),
            ("polish", 0, hours(4), 0, true),
            ("coat", 1, hours(2), hours(1), true),
            ("wipe-down", 1, 0, minutes(20), false),
        ]
    );
    assert_eq!(week.jobs[0].actual_us, hours(1) + minutes(20));
    assert_eq!(week.types[0].stages, week.jobs[0].stages);
}

#[test]
fn rework_unclosed_and_declared_are_parts_of_actual() {
    let mut made = Made::new(trade());
    made.open(1, "trike-coat", "2026-11-23T08:00");
    made.work(1, "decon", at("2026-11-23T08:00"), hours(1));
    let again = at("2026-11-23T10:00");
    made.work_as(
        1,
        "polish",
        "ana",
        "bay-1",
        again,
        hours(2),
        Ended::Done,
        true,
    );
    let left_open = at("2026-11-24T10:00");
    made.work_as(
        1,
        "polish",
        "ben",
        "bay-1",
        left_open,
        hours(3),
        Ended::Unclosed,
        false,
    );
    made.declare(1, "coat", Declaration::DoneAbout { about_us: hours(4) });
    made.declare(1, "coat", Declaration::DoneAbout { about_us: hours(2) });
    made.release(1, "2026-11-25T17:00");
    let week = made.week("2026-11-23");
    let figures = &week.jobs[0];
    assert_eq!(figures.actual_us, hours(1 + 2 + 3 + 2));
    assert_eq!(figures.rework_us, hours(2));
    assert_eq!(figures.first_pass_us, hours(6));
    assert_eq!(figures.unclosed_us, hours(3));
    assert_eq!(figures.declared_us, hours(2), "the later declaration holds");
}

#[test]
fn a_declaration_stands_in_for_a_record_and_yields_to_one() {
    for (declaration, recorded, want_us, want_jobs) in [
        (
            Declaration::DoneAbout { about_us: hours(2) },
            false,
            hours(2),
            1,
        ),
        (
            Declaration::DoneAbout { about_us: hours(2) },
            true,
            hours(1),
            1,
        ),
        (Declaration::DoneAbout { about_us: -5 }, false, 0, 1),
        (Declaration::NotDone, false, 0, 0),
        (Declaration::Unknown, false, 0, 0),
    ] {
        let mut made = Made::new(trade());
        made.open(1, "trike-coat", "2026-11-23T08:00");
        if recorded {
            made.work(1, "coat", at("2026-11-23T08:00"), hours(1));
        }
        made.declare(1, "coat", declaration);
        made.release(1, "2026-11-23T17:00");
        let week = made.week("2026-11-23");
        let coat = week.jobs[0].stages.iter().find(|s| s.stage == code("coat"));
        let coat = coat.unwrap();
        assert_eq!(
            (coat.actual_us, coat.jobs),
            (want_us, want_jobs),
            "{declaration:?}"
        );
        assert_eq!(week.jobs[0].actual_us, want_us);
    }
}

#[test]
fn all_of_a_comeback_is_rework_and_names_the_job_it_came_from() {
    let mut made = Made::new(trade());
    made.open(1, "trike-coat", "2026-11-09T08:00");
    made.open_again(2, "trike-coat", "2026-11-23T08:00", Some(1));
    made.work(2, "polish", at("2026-11-23T08:00"), hours(1));
    made.declare(
        2,
        "coat",
        Declaration::DoneAbout {
            about_us: minutes(10),
        },
    );
    made.release(2, "2026-11-23T17:00");
    let week = made.week("2026-11-23");
    assert_eq!(week.jobs.len(), 1);
    assert_eq!(week.jobs[0].rework_us, hours(1) + minutes(10));
    assert_eq!(week.jobs[0].first_pass_us, 0);
    assert_eq!(week.jobs[0].quoted_us, Some(0), "it was paid for before");
    assert_eq!(week.types[0].quoted_us, 0);
    assert_eq!(week.jobs[0].comeback_of, Some(job(1)));
    assert_eq!(week.jobs[0].comeback_of_number, Some(101));
}

#[test]
fn the_quote_is_the_allowance_in_force_when_the_job_was_opened() {
    let mut made = Made::new(trade());
    made.set(at("2026-11-24T00:00"), {
        let mut changed = Catalogue::default();
        let stages = [("decon", hours(9))];
        changed
            .job_types
            .insert(code("boat-wash"), job_type(&stages, &[]));
        changed
    });
    made.open(1, "boat-wash", "2026-11-23T08:00");
    made.open(2, "boat-wash", "2026-11-24T08:00");
    made.release(1, "2026-11-25T17:00");
    made.release(2, "2026-11-25T17:00");
    let week = made.week("2026-11-23");
    let quoted: Vec<_> = week.jobs.iter().map(|j| j.quoted_us).collect();
    assert_eq!(quoted, [Some(hours(3)), Some(hours(9))]);
    assert_eq!(week.types[0].quoted_us, hours(12));
}

#[test]
fn the_main_bay_is_where_it_stood_longest_and_holding_is_none() {
    let mut made = Made::new(trade());
    made.open(1, "trike-coat", "2026-11-23T08:00");
    for (place, from, until) in [
        ("holding", "2026-11-23T08:00", "2026-11-24T08:00"),
        ("bay-2", "2026-11-24T08:00", "2026-11-24T10:00"),
        ("bay-1", "2026-11-24T10:00", "2026-11-24T11:00"),
        ("bay-1", "2026-11-24T12:00", "2026-11-24T13:00"),
    ] {
        made.stay(1, place, at(from), Some(at(until)));
    }
    made.release(1, "2026-11-24T13:00");
    // Two hours in each: the first by code.
    assert_eq!(made.week("2026-11-23").jobs[0].bay, code("bay-1"));
    made.stay(
        1,
        "bay-2",
        at("2026-11-24T13:00"),
        Some(at("2026-11-24T13:01")),
    );
    assert_eq!(made.week("2026-11-23").jobs[0].bay, code("bay-2"));
}

#[test]
fn a_job_counts_in_the_week_of_its_first_release_only() {
    let mut made = Made::new(trade());
    made.open(1, "boat-wash", "2026-11-23T08:00");
    made.release(1, "2026-11-30T00:00");
    made.release(1, "2026-12-08T12:00");
    assert!(made.week("2026-11-23").jobs.is_empty());
    assert_eq!(made.week("2026-11-30").jobs.len(), 1);
    assert!(made.week("2026-12-07").jobs.is_empty());
}

proptest! {
    #[test]
    fn stages_add_up_to_jobs_and_jobs_to_types(
        work in prop::collection::vec((1_u8..6, 0_usize..4, 0_i64..9_000_000_000, any::<bool>()), 0..40),
        declared in prop::collection::vec((1_u8..6, 0_usize..4, 0_i64..9_000_000_000), 0..8),
        kinds in prop::collection::vec(0_usize..4, 5),
        shuffle in any::<u64>(),
    ) {
        let stages = ["decon", "polish", "coat", "wipe-down"];
        let types = ["trike-coat", "boat-wash", "unsorted", "bare"];
        let mut made = Made::new(trade());
        for (n, kind) in (1_u8..).zip(&kinds) {
            made.open(n, types[*kind], "2026-11-23T08:00");
            made.release(n, "2026-11-24T08:00");
        }
        let mut recorded_us = 0;
        for (n, stage, us, rework) in &work {
            let from = at("2026-11-23T09:00");
            made.work_as(*n, stages[*stage], "ana", "bay-1", from, *us, Ended::Done, *rework);
            recorded_us += us;
        }
        for (n, stage, about_us) in &declared {
            made.declare(*n, stages[*stage], Declaration::DoneAbout { about_us: *about_us });
        }
        let week = made.week("2026-11-23");
        prop_assert_eq!(week.jobs.len(), 5);
        let sum = |parts: &mut dyn Iterator<Item = i64>| parts.sum::<i64>();
        for j in &week.jobs {
            prop_assert_eq!(sum(&mut j.stages.iter().map(|s| s.actual_us)), j.actual_us);
            prop_assert_eq!(sum(&mut j.stages.iter().map(|s| s.quoted_us)), j.quoted_us.unwrap_or(0));
            prop_assert_eq!(j.first_pass_us + j.rework_us, j.actual_us);
            prop_assert!(j.declared_us <= j.actual_us);
        }
        for t in &week.types {
            let of_type = || week.jobs.iter().filter(|j| j.job_type == t.job_type);
            prop_assert_eq!(usize::try_from(t.jobs).unwrap(), of_type().count());
            prop_assert_eq!(sum(&mut of_type().map(|j| j.actual_us)), t.actual_us);
            prop_assert_eq!(sum(&mut of_type().filter_map(|j| j.quoted_us)), t.quoted_us);
            prop_assert_eq!(sum(&mut t.stages.iter().map(|s| s.actual_us)), t.actual_us);
            prop_assert_eq!(sum(&mut t.stages.iter().map(|s| s.quoted_us)), t.quoted_us);
        }
        let declared_us = sum(&mut week.jobs.iter().map(|j| j.declared_us));
        prop_assert_eq!(sum(&mut week.jobs.iter().map(|j| j.actual_us)), recorded_us + declared_us);

        // The order of rows does not matter where no declaration repeats.
        let mut seen = std::collections::BTreeSet::new();
        if declared.iter().all(|(n, stage, _)| seen.insert((*n, *stage))) {
            let turn = usize::try_from(shuffle % 97).unwrap() % made.rows.len();
            made.rows.rotate_left(turn);
            made.rows.reverse();
            prop_assert_eq!(made.week("2026-11-23"), week);
        }
    }
}

#[test]
fn rows_of_a_job_whose_opening_is_struck_still_count_for_the_bay() {
    let mut made = Made::new(trade());
    made.open(1, "boat-wash", "2026-11-23T08:00");
    made.stay(
        1,
        "bay-1",
        at("2026-11-23T08:00"),
        Some(at("2026-11-23T09:00")),
    );
    made.release(1, "2026-11-23T09:00");
    made.rows.retain(|row| !matches!(row, Row::JobOpened(_)));
    let week = made.week("2026-11-23");
    assert!(week.jobs.is_empty());
    assert_eq!(week.bays[0].occupied_us, hours(1));
}
