//! Unclosed stages, breaks, and what the owner answers.

use super::*;

#[test]
fn a_stage_nothing_ended_is_cut_at_closing_or_at_the_workers_last_post() {
    for (post, cut) in [
        (None, 18 * 60),
        (Some(17 * 60), 18 * 60),
        (Some(19 * 60), 19 * 60),
    ] {
        let mut day = Day::new();
        day.job_in(14 * 60, "bay-1");
        let start = day.post(14 * 60, "bay-1", &["ana"], started("polish"));
        if let Some(minute) = post {
            day.post(
                minute,
                "bay-1",
                &["ana"],
                Fact::Noted {
                    text: String::new(),
                },
            );
        }
        day.post(
            24 * 60 + EIGHT + 5,
            "bay-1",
            &[],
            Fact::Noted {
                text: String::new(),
            },
        );
        assert_eq!(day.hands_on(), [format!("ana polish 840-{cut} Unclosed")]);
        assert_eq!(
            day.notices(start),
            [
                Notice::SurfaceNever {
                    what: "polish".into(),
                    finishes: vec![("matte".into(), "it cannot be undone".to_owned())],
                },
                Notice::Unclosed {
                    stage: "polish".into(),
                    worker: "ana".into(),
                    cut_at: Micros(MONDAY + cut * MINUTE_US),
                }
            ]
        );
    }
}

#[test]
fn a_stage_begun_after_closing_is_never_cut_before_it_began() {
    let mut day = Day::new();
    day.job_in(20 * 60, "bay-1");
    day.post(20 * 60, "bay-1", &["ana"], started("prewash"));
    day.post(24 * 60 + EIGHT, "bay-1", &["ana"], finished(""));
    assert_eq!(day.hands_on(), ["ana prewash 1200-1200 Unclosed"]);
}

#[test]
fn a_stage_ended_before_the_next_opening_is_not_unclosed() {
    let mut day = Day::new();
    day.job_in(7 * 60, "bay-1");
    day.post(7 * 60, "bay-1", &["ana"], started("prewash"));
    day.post(24 * 60 + EIGHT - 1, "bay-1", &["ana"], finished(""));
    assert_eq!(day.hands_on(), ["ana prewash 420-1919 Done"]);
}

#[test]
fn without_open_hours_a_stage_is_cut_at_midnight() {
    let mut day = Day::without_catalogue();
    day.job_in(14 * 60, "bay-1");
    day.post(14 * 60, "bay-1", &["ana"], started("prewash"));
    day.post(2 * 24 * 60, "bay-1", &["ana"], finished(""));
    assert_eq!(day.hands_on(), ["ana prewash 840-1440 Unclosed"]);
}

#[test]
fn the_owners_answer_replaces_the_cut() {
    for (answer, expected) in [
        (Answer::AsIs, vec!["ana prewash 840-1080 Settled"]),
        (
            Answer::End(Micros(MONDAY + 16 * HOUR_US)),
            vec!["ana prewash 840-960 Settled"],
        ),
        (
            Answer::Took { took_us: HOUR_US },
            vec!["ana prewash 840-900 Settled"],
        ),
        (Answer::LeaveOut, vec![]),
    ] {
        let mut day = Day::new();
        day.job_in(14 * 60, "bay-1");
        let start = day.post(14 * 60, "bay-1", &["ana"], started("prewash"));
        day.post(
            24 * 60 + EIGHT,
            "bay-1",
            &[],
            Fact::Noted {
                text: String::new(),
            },
        );
        let settlement = day.settle(start, answer);
        assert_eq!(day.hands_on(), expected);
        let open = day
            .rows()
            .into_iter()
            .any(|row| matches!(row, Row::Notice(n) if n.event == start && !n.settled));
        assert!(!open, "nothing about it is left to settle");
        day.strike(settlement);
        assert_eq!(day.hands_on(), ["ana prewash 840-1080 Unclosed"]);
    }
}

#[test]
fn labour_that_the_owner_gave_is_shared_by_those_who_began_together() {
    let mut day = Day::new();
    day.job_in(EIGHT, "bay-1");
    let start = day.post(EIGHT, "bay-1", &["ana", "ben"], started("prewash"));
    day.post(EIGHT + 120, "bay-1", &[], finished(""));
    day.settle(start, Answer::Took { took_us: HOUR_US });
    assert_eq!(
        day.hands_on(),
        ["ana prewash 480-510 Settled", "ben prewash 480-510 Settled"]
    );
}

#[test]
fn a_break_that_a_stage_crossed_is_asked_about_and_not_deducted() {
    let mut day = Day::new();
    day.job_in(11 * 60, "bay-1");
    let start = day.post(11 * 60, "bay-1", &["ana"], started("prewash"));
    day.post(13 * 60, "bay-1", &["ana"], finished(""));
    assert_eq!(day.hands_on(), ["ana prewash 660-780 Done"]);
    assert_eq!(
        day.notices(start),
        [Notice::BreakCrossed {
            stage: "prewash".into(),
            worker: "ana".into(),
            from: Micros(MONDAY + 12 * HOUR_US),
            until: Micros(MONDAY + 12 * HOUR_US + 30 * MINUTE_US),
        }]
    );
}

#[test]
fn a_struck_start_never_happened() {
    let mut day = Day::new();
    day.job_in(EIGHT, "bay-1");
    day.post(EIGHT, "bay-1", &["ana"], started("prewash"));
    let slip = day.post(EIGHT + 10, "bay-1", &["ana"], started("polish"));
    day.post(EIGHT + 20, "bay-1", &["ana"], finished("prewash"));
    assert_eq!(day.hands_on()[0], "ana prewash 480-490 Elsewhere");
    let strike = day.strike(slip);
    assert_eq!(day.hands_on(), ["ana prewash 480-500 Done"]);
    day.strike(strike);
    assert_eq!(day.hands_on()[0], "ana prewash 480-490 Elsewhere");
}

#[test]
fn an_unknown_code_is_kept_and_the_code_that_was_meant_replaces_it() {
    let mut day = Day::new();
    day.job_in(EIGHT, "bay-1");
    let start = day.post(EIGHT, "bay-1", &["ana"], started("polsh"));
    day.post(EIGHT + 10, "bay-1", &["ana"], finished(""));
    assert_eq!(
        day.notices(start),
        [Notice::UnknownCode {
            what: What::Stage,
            code: "polsh".into()
        }]
    );
    assert_eq!(day.hands_on(), ["ana polsh 480-490 Done"]);
    day.settle(start, Answer::Code("polish".into()));
    assert_eq!(day.hands_on(), ["ana polish 480-490 Done"]);
    assert!(
        !day.notices(start)
            .iter()
            .any(|n| matches!(n, Notice::UnknownCode { .. }))
    );
}

#[test]
fn on_day_one_without_a_catalogue_no_code_is_unknown() {
    let mut day = Day::without_catalogue();
    let job = day.job_in(EIGHT, "bay-1");
    day.post(EIGHT, "bay-1", &["ana"], started("anything"));
    day.post(EIGHT + 5, "bay-1", &["ana"], used("whatever", 5));
    day.post(EIGHT + 10, "bay-1", &["ana"], finished(""));
    day.post(EIGHT + 20, "bay-1", &[], Fact::JobReleased);
    day.post(
        EIGHT + 60,
        "bay-1",
        &[],
        Fact::Noted {
            text: String::new(),
        },
    );
    let notices = day
        .rows()
        .into_iter()
        .filter(|r| matches!(r, Row::Notice(_)));
    assert_eq!(notices.count(), 0);
    assert!(
        day.rows()
            .iter()
            .any(|r| matches!(r, Row::JobReleased { job: j, .. } if *j == job))
    );
}

#[test]
fn a_break_comes_off_or_was_worked_through_as_the_owner_says() {
    let notice = |settled: bool| (settled, "break-crossed");
    let asked = |day: &Day| -> Vec<(bool, &'static str)> {
        day.rows()
            .into_iter()
            .filter_map(|row| match row {
                Row::Notice(n) if matches!(n.notice, Notice::BreakCrossed { .. }) => {
                    Some((n.settled, words::code(&n.notice)))
                }
                _ => None,
            })
            .collect()
    };
    let mut day = Day::new();
    day.job_in(11 * 60, "bay-1");
    let start = day.post(11 * 60, "bay-1", &["ana", "ben"], started("prewash"));
    day.post(13 * 60, "bay-1", &[], finished(""));
    assert_eq!(asked(&day), [notice(false), notice(false)]);
    let break_of = |worker: &str| format!("{worker}@{}", MONDAY + 12 * HOUR_US);
    // One was on the break, the other worked through.
    let off = day.reply(start, Answer::BreakOff, "break-crossed", &break_of("ana"));
    day.reply(start, Answer::AsIs, "break-crossed", &break_of("ben"));
    assert_eq!(
        day.hands_on(),
        [
            "ana prewash 660-720 Break",
            "ben prewash 660-780 Done",
            "ana prewash 750-780 Done",
        ]
    );
    assert_eq!(asked(&day), [notice(true), notice(true)]);
    day.strike(off);
    assert_eq!(
        day.hands_on(),
        ["ana prewash 660-780 Done", "ben prewash 660-780 Done"]
    );
    assert_eq!(asked(&day), [notice(false), notice(true)]);
}

#[test]
fn an_end_that_was_given_asks_about_the_breaks_before_it_and_labour_that_was_given_does_not() {
    for (answer, asks) in [
        (Answer::End(Micros(MONDAY + 14 * HOUR_US)), 1),
        (
            Answer::Took {
                took_us: 2 * HOUR_US,
            },
            0,
        ),
        (Answer::AsIs, 0),
    ] {
        let mut day = Day::new();
        day.job_in(11 * 60, "bay-1");
        let start = day.post(11 * 60, "bay-1", &["ana"], started("prewash"));
        day.post(
            24 * 60 + EIGHT,
            "bay-1",
            &[],
            Fact::Noted {
                text: String::new(),
            },
        );
        day.reply(start, answer.clone(), "unclosed", "ana");
        let asked = day.notices(start);
        let breaks = asked
            .iter()
            .filter(|n| matches!(n, Notice::BreakCrossed { .. }));
        assert_eq!(breaks.count(), asks, "{answer:?}");
    }
}

#[test]
fn an_answer_settles_only_the_question_that_it_answers() {
    let mut day = Day::new();
    day.job_in(14 * 60, "bay-1");
    let start = day.post(14 * 60, "bay-1", &["anna", "ben"], started("polsh"));
    day.post(
        24 * 60 + EIGHT,
        "bay-1",
        &[],
        Fact::Noted {
            text: String::new(),
        },
    );
    let open = |day: &Day| -> Vec<(&'static str, String)> {
        day.rows()
            .into_iter()
            .filter_map(|row| match row {
                Row::Notice(n)
                    if words::severity(&n.notice) == baywright_floor::notice::Severity::Odd
                        && !n.settled =>
                {
                    Some((
                        words::code(&n.notice),
                        baywright_floor::reply::subject(&n.notice),
                    ))
                }
                _ => None,
            })
            .collect()
    };
    let question = |code: &'static str, of: &str| (code, of.to_owned());
    assert_eq!(
        open(&day),
        [
            question("unknown-code", "polsh"),
            question("unknown-code", "anna"),
            question("unclosed", "anna"),
            question("unclosed", "ben"),
        ]
    );
    day.reply(
        start,
        Answer::Code("prewash".into()),
        "unknown-code",
        "polsh",
    );
    day.reply(start, Answer::Code("ana".into()), "unknown-code", "anna");
    assert_eq!(
        open(&day),
        [question("unclosed", "ana"), question("unclosed", "ben")]
    );
    let end = Answer::End(Micros(MONDAY + 15 * HOUR_US));
    day.reply(start, end, "unclosed", "ana");
    assert_eq!(open(&day), [question("unclosed", "ben")]);
    assert_eq!(
        day.hands_on(),
        [
            "ana prewash 840-900 Settled",
            "ben prewash 840-1080 Unclosed"
        ]
    );
    day.reply(start, Answer::LeaveOut, "unclosed", "ben");
    assert_eq!(open(&day), []);
    assert_eq!(day.hands_on(), ["ana prewash 840-900 Settled"]);
}
