//! Where a job is, and which job a fact is about.

use super::*;

#[test]
fn a_job_is_in_exactly_one_place_from_opening_to_release() {
    let mut day = Day::new();
    let job = day.job_in(EIGHT, "bay-1");
    day.about(
        EIGHT + 60,
        "bay-1",
        &[],
        JobRef::Here,
        Fact::JobMoved {
            place: "away".into(),
        },
    );
    day.bring(EIGHT + 90, "bay-2", job);
    day.post(EIGHT + 120, "bay-2", &[], Fact::JobReleased);
    let stays: Vec<(String, i64, i64)> = day
        .rows()
        .into_iter()
        .filter_map(|row| match row {
            Row::Presence(p) => Some((p.place.to_string(), minute(p.from), minute(p.until?))),
            _ => None,
        })
        .collect();
    let expected = [
        ("holding", EIGHT - 2, EIGHT - 1),
        ("bay-1", EIGHT - 1, EIGHT + 60),
        ("away", EIGHT + 60, EIGHT + 90),
        ("bay-2", EIGHT + 90, EIGHT + 120),
    ];
    assert_eq!(stays, expected.map(|(p, a, b)| (p.to_owned(), a, b)));
}

#[test]
fn a_fact_without_a_job_counts_for_the_job_brought_last() {
    let mut day = Day::new();
    let first = day.job_in(EIGHT, "bay-1");
    let on_first = day.post(EIGHT + 5, "bay-1", &[], started("prewash"));
    let second = day.job_in(EIGHT + 10, "bay-1");
    let on_second = day.post(EIGHT + 15, "bay-1", &[], used("wipe", 5));
    assert_eq!(day.counted(on_first).0, Some(first));
    assert_eq!(day.counted(on_second).0, Some(second));
}

#[test]
fn a_bay_with_more_jobs_than_places_is_odd_and_kept() {
    let mut day = Day::new();
    let first = day.job_in(EIGHT, "bay-1");
    let second = day.post(EIGHT + 5, "bay-1", &[], opened("trike-coat"));
    let brought = day.bring(EIGHT + 6, "bay-1", second);
    let overfull = Notice::BayOverfull {
        bay: "bay-1".into(),
        jobs: vec![first, second],
    };
    assert!(day.notices(brought).contains(&overfull));
    assert_eq!(
        words::severity(&overfull),
        baywright_floor::notice::Severity::Odd
    );
    let mut day = Day::new();
    day.job_in(EIGHT, "bay-3");
    let second = day.post(EIGHT + 5, "bay-3", &[], opened("trike-coat"));
    let brought = day.bring(EIGHT + 6, "bay-3", second);
    let has = |n: &Notice| matches!(n, Notice::BayOverfull { .. });
    assert!(
        !day.notices(brought).iter().any(has),
        "bay-3 has two places"
    );
}

#[test]
fn a_fact_in_an_empty_bay_is_kept_and_settled_onto_a_job() {
    let mut day = Day::new();
    let lone = day.post(EIGHT, "bay-1", &["ana"], used("wipe", 5));
    let job = day.job_in(EIGHT + 10, "bay-1");
    let bay = "bay-1".into();
    assert_eq!(day.notices(lone), [Notice::NoJobHere { bay }]);
    assert_eq!(day.counted(lone).0, None);
    day.settle(lone, Answer::Job(JobRef::Job(job)));
    assert_eq!(day.counted(lone).0, Some(job));
}

#[test]
fn an_unknown_number_and_a_job_released_before_are_odd() {
    let mut day = Day::new();
    let job = day.job_in(EIGHT, "bay-1");
    let number = day.about(
        EIGHT + 1,
        "bay-1",
        &[],
        JobRef::UnknownNumber(999),
        used("wipe", 1),
    );
    day.post(EIGHT + 30, "bay-1", &[], Fact::JobReleased);
    for minute in [EIGHT + 31, EIGHT + 300] {
        let late = day.about(minute, "bay-1", &[], JobRef::Job(job), used("wipe", 1));
        assert_eq!(day.notices(late), [Notice::JobNotOpen { job }]);
        assert_eq!(day.counted(late).0, Some(job));
    }
    assert_eq!(
        day.notices(number),
        [Notice::UnknownJobNumber { number: 999 }]
    );
}
