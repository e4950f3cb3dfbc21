//! Who is hands-on on what.

use super::*;

#[test]
fn a_worker_who_starts_elsewhere_leaves_the_first_stage() {
    let mut day = Day::new();
    let first = day.job_in(EIGHT, "bay-1");
    day.job_in(EIGHT, "bay-2");
    day.post(EIGHT, "bay-1", &["ana"], started("polish"));
    let elsewhere = day.post(EIGHT + 45, "bay-2", &["ana"], started("prewash"));
    day.post(EIGHT + 60, "bay-2", &[], finished("prewash"));
    assert_eq!(
        day.hands_on(),
        ["ana polish 480-525 Elsewhere", "ana prewash 525-540 Done"]
    );
    assert!(day.notices(elsewhere).contains(&Notice::EndedElsewhere {
        worker: "ana".into(),
        stage: "polish".into(),
        job: first,
        bay: "bay-1".into(),
        worked_us: 45 * MINUTE_US,
    }));
}

#[test]
fn two_people_for_one_hour_are_two_labour_hours_on_one_run() {
    let mut day = Day::new();
    day.job_in(EIGHT, "bay-1");
    let start = day.post(EIGHT, "bay-1", &["ana"], started("polish"));
    day.post(EIGHT, "bay-1", &["ben"], started("polish"));
    let done = day.post(EIGHT + 60, "bay-1", &[], finished("polish"));
    assert_eq!(
        day.hands_on(),
        ["ana polish 480-540 Done", "ben polish 480-540 Done"]
    );
    let runs: Vec<EventId> = day
        .rows()
        .into_iter()
        .filter_map(|row| match row {
            Row::HandsOn(h) => Some(h.run),
            _ => None,
        })
        .collect();
    assert_eq!(runs, [start, start]);
    assert_eq!(day.counted(done).1, ["ana".into(), "ben".into()]);
}

#[test]
fn nobody_named_is_one_unnamed_worker_per_bay() {
    let mut day = Day::new();
    day.job_in(EIGHT, "bay-1");
    day.job_in(EIGHT, "bay-2");
    day.post(EIGHT, "bay-1", &[], started("prewash"));
    day.post(EIGHT, "bay-2", &[], started("prewash"));
    day.post(EIGHT + 10, "bay-1", &[], started("decon"));
    day.post(EIGHT + 20, "bay-1", &[], finished(""));
    day.post(EIGHT + 30, "bay-2", &[], finished(""));
    assert_eq!(
        day.hands_on(),
        [
            "- prewash 480-490 Elsewhere",
            "- prewash 480-510 Done",
            "- decon 490-500 Done"
        ]
    );
}

#[test]
fn done_ends_the_stage_named_or_what_those_named_are_on() {
    let mut day = Day::new();
    day.job_in(EIGHT, "bay-1");
    day.post(EIGHT, "bay-1", &["ana", "ben"], started("polish"));
    day.post(EIGHT, "bay-1", &["cem"], started("decon"));
    day.post(EIGHT + 10, "bay-1", &["ana"], finished(""));
    day.post(EIGHT + 20, "bay-1", &[], finished("decon"));
    day.post(EIGHT + 30, "bay-1", &[], finished(""));
    let nothing = day.post(EIGHT + 31, "bay-1", &[], finished("polish"));
    assert_eq!(
        day.hands_on(),
        [
            "ana polish 480-490 Done",
            "ben polish 480-510 Done",
            "cem decon 480-500 Done"
        ]
    );
    assert_eq!(
        day.notices(nothing),
        [Notice::NothingToEnd {
            stage: "polish".into()
        }]
    );
}

#[test]
fn a_stage_done_again_after_again_or_on_a_comeback_is_rework() {
    let mut day = Day::new();
    let first = day.job_in(EIGHT, "bay-1");
    day.post(EIGHT, "bay-1", &["ana"], started("polish"));
    let again = Fact::StageFinished {
        stage: "".into(),
        again: true,
    };
    day.post(EIGHT + 10, "bay-1", &["ana"], again);
    day.post(EIGHT + 20, "bay-1", &["ana"], started("polish"));
    day.post(EIGHT + 30, "bay-1", &["ana"], finished(""));
    day.post(EIGHT + 40, "bay-1", &["ana"], started("polish"));
    day.post(EIGHT + 50, "bay-1", &[], Fact::JobReleased);
    let Fact::JobOpened(back) = opened("trike-coat") else {
        return;
    };
    let back = Fact::JobOpened(JobOpened {
        comeback_of: Some(JobRef::Job(first)),
        ..back
    });
    let back = day.post(EIGHT + 60, "bay-1", &[], back);
    day.bring(EIGHT + 61, "bay-1", back);
    day.post(EIGHT + 62, "bay-1", &["ana"], started("coat"));
    day.post(EIGHT + 63, "bay-1", &["ana"], finished("coat"));
    assert_eq!(
        day.hands_on(),
        [
            "ana polish 480-490 Again",
            "ana polish 500-510 Done rework",
            "ana polish 520-530 Released",
            "ana coat 542-543 Done rework"
        ]
    );
}

#[test]
fn pause_lays_a_stage_aside_and_resume_takes_the_last_one_up() {
    let mut day = Day::new();
    day.job_in(EIGHT, "bay-1");
    day.post(EIGHT, "bay-1", &["ana"], started("polish"));
    day.post(EIGHT + 10, "bay-1", &["ana"], pause("", false));
    day.post(EIGHT + 12, "bay-1", &["ana"], started("decon"));
    day.post(EIGHT + 20, "bay-1", &["ana"], pause("decon", false));
    day.post(EIGHT + 30, "bay-1", &["ana"], resume(""));
    day.post(EIGHT + 40, "bay-1", &["ana"], resume("polish"));
    day.post(EIGHT + 50, "bay-1", &["ana"], finished(""));
    assert_eq!(
        day.hands_on(),
        [
            "ana polish 480-490 Paused",
            "ana decon 492-500 Paused",
            "ana decon 510-520 Elsewhere",
            "ana polish 520-530 Done"
        ]
    );
}

#[test]
fn a_break_pauses_a_person_until_they_resume_or_start() {
    let mut day = Day::new();
    day.job_in(EIGHT, "bay-1");
    day.post(EIGHT, "bay-1", &["ana", "ben"], started("polish"));
    day.post(EIGHT + 10, "bay-1", &["ana"], pause("", true));
    let at = |minute: i64| {
        let mut day = Day::new();
        day.job_in(EIGHT, "bay-1");
        day.post(EIGHT, "bay-1", &["ana"], started("polish"));
        day.post(EIGHT + 10, "bay-1", &["ana"], pause("", true));
        day.post(EIGHT + 25, "bay-1", &["ana"], resume(""));
        let book = day.book();
        let at = Micros(MONDAY + minute * MINUTE_US);
        let now = baywright_floor::now::now(&book.fold.live.state, &book.fold.cats, at);
        let ana = now.workers.into_iter().find(|w| w.worker.as_str() == "ana");
        ana.map(|w| (w.on_break, w.stage.to_string()))
    };
    day.post(EIGHT + 25, "bay-1", &["ana"], started("decon"));
    day.post(EIGHT + 30, "bay-1", &[], finished(""));
    assert_eq!(
        day.hands_on(),
        [
            "ana polish 480-490 Break",
            "ben polish 480-510 Done",
            "ana decon 505-510 Done"
        ]
    );
    assert_eq!(at(EIGHT + 26), Some((false, "polish".to_owned())));
}

#[test]
fn a_move_ends_hands_on_and_the_stage_can_be_resumed_in_the_other_bay() {
    let mut day = Day::new();
    let job = day.job_in(EIGHT, "bay-1");
    day.post(EIGHT, "bay-1", &["ana"], started("polish"));
    day.bring(EIGHT + 20, "bay-2", job);
    day.post(EIGHT + 30, "bay-2", &["ana"], resume(""));
    day.post(EIGHT + 40, "bay-2", &["ana"], finished(""));
    assert_eq!(
        day.hands_on(),
        ["ana polish 480-500 Moved", "ana polish 510-520 Done"]
    );
}

#[test]
fn who_began_without_a_name_may_pause_go_on_and_end_with_one() {
    let mut day = Day::new();
    day.job_in(EIGHT, "bay-1");
    day.post(EIGHT, "bay-1", &[], started("prewash"));
    day.post(EIGHT + 10, "bay-1", &["ana"], pause("", false));
    day.post(EIGHT + 20, "bay-1", &["ana"], resume(""));
    day.post(EIGHT + 30, "bay-1", &["ana"], finished(""));
    day.post(EIGHT + 40, "bay-1", &[], started("decon"));
    day.post(EIGHT + 50, "bay-1", &["ben"], finished("decon"));
    assert_eq!(
        day.hands_on(),
        [
            "- prewash 480-490 Paused",
            "ana prewash 500-510 Done",
            "- decon 520-530 Done"
        ]
    );
}

#[test]
fn the_words_of_a_pause_or_a_break_stay_with_the_time_it_ended() {
    let mut day = Day::new();
    day.job_in(EIGHT, "bay-1");
    let pause_for = |person: bool, reason: &str| Fact::StagePaused {
        stage: "".into(),
        person,
        reason: reason.to_owned(),
    };
    day.post(EIGHT, "bay-1", &["ana"], started("prewash"));
    day.post(
        EIGHT + 10,
        "bay-1",
        &["ana"],
        pause_for(false, "waits for a part"),
    );
    day.post(EIGHT + 20, "bay-1", &["ana"], resume(""));
    day.post(EIGHT + 30, "bay-1", &["ana"], pause_for(true, "lunch"));
    day.post(EIGHT + 40, "bay-1", &["ana"], resume(""));
    day.post(EIGHT + 50, "bay-1", &["ana"], finished(""));
    let mut said: Vec<(Micros, Ended, String)> = day
        .rows()
        .into_iter()
        .filter_map(|row| match row {
            Row::HandsOn(h) => Some((h.from, h.ended, h.reason)),
            _ => None,
        })
        .collect();
    said.sort_by_key(|(from, ..)| *from);
    let said: Vec<(Ended, &str)> = said.iter().map(|(_, e, r)| (*e, r.as_str())).collect();
    let expected = [
        (Ended::Paused, "waits for a part"),
        (Ended::Break, "lunch"),
        (Ended::Done, ""),
    ];
    assert_eq!(said, expected);
}
