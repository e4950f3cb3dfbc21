//! Tables of the rules, in order of precedence: given events, then rows.

mod shop;

use std::fmt::Write;

use baywright_floor::event::{Event, EventId, JobRef, TimeBasis};
use baywright_floor::fact::{
    AmbientRead, Answer, Declaration, Fact, JobOpened, LevelResult, ProductUsed, Settled,
    UseSource, Used,
};
use baywright_floor::memory::Book;
use baywright_floor::notice::{AirWhy, Notice, What};
use baywright_floor::row::{Ended, Row, WaitingKind};
use baywright_floor::words;
use baywright_terms::amount::{Nanolitres, Quantity};
use baywright_terms::catalogue::Catalogue;
use baywright_terms::code::Code;
use baywright_terms::temperature::{MilliCelsius, MilliPercent};
use baywright_terms::time::{HOUR_US, MINUTE_US, Micros};
use shop::{DAY_US, Desk, MONDAY, catalogue, finished, ml, opened, started, used};

/// A day at the bays: times are minutes after Monday's midnight.
struct Day {
    desk: Desk,
    events: Vec<Event>,
}

const EIGHT: i64 = 8 * 60;

impl Day {
    fn new() -> Self {
        let mut day = Self::without_catalogue();
        let event = day.desk.catalogue_set(MONDAY - DAY_US, catalogue());
        day.events.push(event);
        day
    }

    fn without_catalogue() -> Self {
        Self {
            desk: Desk::default(),
            events: Vec::new(),
        }
    }

    fn post(&mut self, minute: i64, bay: &str, by: &[&str], fact: Fact) -> EventId {
        self.about(minute, bay, by, JobRef::Here, fact)
    }

    fn about(&mut self, minute: i64, bay: &str, by: &[&str], job: JobRef, fact: Fact) -> EventId {
        let at = MONDAY + minute * MINUTE_US;
        let mut event = self.desk.event(bay, bay, at, fact);
        event.by = by.iter().map(|w| Code::new(w)).collect();
        event.job = job;
        self.events.push(event);
        self.events[self.events.len() - 1].id
    }

    /// Opens a job and brings it to a bay, two minutes before a time.
    fn job_in(&mut self, minute: i64, bay: &str) -> EventId {
        let job = self.post(minute - 2, bay, &[], opened("trike-coat"));
        self.bring(minute - 1, bay, job);
        job
    }

    fn bring(&mut self, minute: i64, bay: &str, job: EventId) -> EventId {
        let place = bay.into();
        self.about(minute, bay, &[], JobRef::Job(job), Fact::JobMoved { place })
    }

    fn settle(&mut self, event: EventId, answer: Answer) -> EventId {
        let reason = String::new();
        let settled = Settled {
            event,
            reason,
            answer,
        };
        self.post(30 * 24 * 60, "", &[], Fact::Settled(settled))
    }

    fn strike(&mut self, event: EventId) -> EventId {
        let reason = String::new();
        self.post(30 * 24 * 60, "", &[], Fact::StruckOut { event, reason })
    }

    fn book(&self) -> Book {
        let mut book = Book::default();
        for event in &self.events {
            book.absorb(event);
        }
        book
    }

    fn rows(&self) -> Vec<Row> {
        self.book().rows().cloned().collect()
    }

    /// Hands-on as `worker stage from-until why`, minutes after midnight.
    fn hands_on(&self) -> Vec<String> {
        let mut found: Vec<(i64, String)> = Vec::new();
        for row in self.rows() {
            let Row::HandsOn(h) = row else { continue };
            let mut line = String::new();
            let _ = write!(
                line,
                "{} {} {}-{} {:?}{}",
                if h.worker.is_empty() {
                    "-"
                } else {
                    h.worker.as_str()
                },
                h.stage,
                minute(h.from),
                minute(h.until),
                h.ended,
                if h.rework { " rework" } else { "" }
            );
            found.push((h.from.0, line));
        }
        found.sort();
        found.into_iter().map(|(_, line)| line).collect()
    }

    fn waiting(&self) -> Vec<(WaitingKind, i64, i64)> {
        let mut found: Vec<(WaitingKind, i64, i64)> = self
            .rows()
            .into_iter()
            .filter_map(|row| match row {
                Row::Waiting(w) => Some((w.kind, minute(w.from), minute(w.until?))),
                _ => None,
            })
            .collect();
        found.sort();
        found
    }

    /// Notices about an event.
    fn notices(&self, event: EventId) -> Vec<Notice> {
        self.rows()
            .into_iter()
            .filter_map(|row| match row {
                Row::Notice(n) if n.event == event => Some(n.notice),
                _ => None,
            })
            .collect()
    }

    /// The job and the workers an event counts for; nothing where it is struck.
    fn counted(&self, event: EventId) -> (Option<EventId>, Vec<Code>) {
        self.rows()
            .into_iter()
            .find_map(|row| match row {
                Row::Counted {
                    event: of, job, by, ..
                } if of == event => Some((job, by)),
                _ => None,
            })
            .unwrap_or_default()
    }
}

fn minute(at: Micros) -> i64 {
    (at.0 - MONDAY) / MINUTE_US
}

fn pause(stage: &str, person: bool) -> Fact {
    Fact::StagePaused {
        stage: stage.into(),
        person,
        reason: String::new(),
    }
}

fn resume(stage: &str) -> Fact {
    Fact::StageResumed {
        stage: stage.into(),
    }
}

fn dwell(product: &str) -> Fact {
    Fact::DwellStarted {
        product: product.into(),
        panels: Vec::new(),
    }
}

fn dwell_end(product: &str) -> Fact {
    Fact::DwellEnded {
        product: product.into(),
        panels: Vec::new(),
    }
}

fn coat(panel: &str) -> Fact {
    Fact::PanelCoated {
        panel: panel.into(),
        section: 0,
        product: "ceramic".into(),
        lot: String::new(),
        layer: 0,
    }
}

fn level(result: LevelResult, amends: bool) -> Fact {
    Fact::PanelLevelled {
        panel: "".into(),
        section: 0,
        result,
        amends,
    }
}

fn mix(volume: i64) -> Fact {
    Fact::MixMade {
        product: "foam".into(),
        ratio: None,
        volume: Some(ml(volume)),
        additions: Vec::new(),
    }
}

// Places.

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

// Stages and workers.

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

// Dwell and waiting.

#[test]
fn a_dwell_sets_its_workers_free_and_they_go_on_unless_they_started_something() {
    let mut day = Day::new();
    day.job_in(EIGHT, "bay-1");
    day.job_in(EIGHT, "bay-2");
    day.post(EIGHT, "bay-1", &["ana", "ben"], started("decon"));
    day.post(EIGHT + 5, "bay-1", &[], dwell("iron-remover"));
    day.post(EIGHT + 6, "bay-2", &["ben"], started("prewash"));
    day.post(EIGHT + 7, "bay-2", &["ben"], finished(""));
    day.post(EIGHT + 9, "bay-1", &[], dwell_end(""));
    day.post(EIGHT + 20, "bay-1", &[], finished("decon"));
    assert_eq!(
        day.hands_on(),
        [
            "ana decon 480-485 Dwell",
            "ben decon 480-485 Dwell",
            "ben prewash 486-487 Done",
            "ana decon 489-500 Done"
        ]
    );
    assert_eq!(day.waiting(), [(WaitingKind::Dwell, EIGHT + 5, EIGHT + 9)]);
}

#[test]
fn waiting_of_a_dwell_is_capped_at_the_longest_and_said_where_over_or_under() {
    for (minutes, expected, said) in [
        (
            10,
            7,
            Some(Notice::DwellTooLong {
                product: "iron-remover".into(),
                over_us: 3 * MINUTE_US,
            }),
        ),
        (
            1,
            1,
            Some(Notice::DwellTooShort {
                product: "iron-remover".into(),
                under_us: MINUTE_US,
            }),
        ),
        (4, 4, None),
    ] {
        let mut day = Day::new();
        day.job_in(EIGHT, "bay-1");
        day.post(EIGHT, "bay-1", &["ana"], started("decon"));
        day.post(EIGHT + 5, "bay-1", &[], dwell("iron-remover"));
        let ended = day.post(EIGHT + 5 + minutes, "bay-1", &[], dwell_end("iron-remover"));
        assert_eq!(
            day.waiting(),
            [(WaitingKind::Dwell, EIGHT + 5, EIGHT + 5 + expected)]
        );
        assert_eq!(day.notices(ended), Vec::from_iter(said));
    }
}

#[test]
fn done_after_a_dwell_nobody_ended_finishes_the_stage_and_the_dwell() {
    let mut day = Day::new();
    day.job_in(EIGHT, "bay-1");
    day.post(EIGHT, "bay-1", &["ana"], started("decon"));
    day.post(EIGHT + 5, "bay-1", &["ana"], dwell("foam"));
    let done = day.post(EIGHT + 15, "bay-1", &["ana"], finished(""));
    assert_eq!(day.hands_on(), ["ana decon 480-485 Dwell"]);
    assert_eq!(day.waiting(), [(WaitingKind::Dwell, EIGHT + 5, EIGHT + 15)]);
    assert_eq!(day.notices(done), []);
}

#[test]
fn a_coat_flashes_until_levelled_and_cures_until_water_safe() {
    let mut day = Day::new();
    day.job_in(EIGHT, "bay-1");
    day.post(EIGHT, "bay-1", &["ana"], coat("nose"));
    day.post(
        EIGHT + 4,
        "bay-1",
        &["ana"],
        level(LevelResult::Clean, false),
    );
    day.post(
        EIGHT + 24 * 60,
        "bay-1",
        &[],
        Fact::Noted {
            text: String::new(),
        },
    );
    assert_eq!(
        day.waiting(),
        [
            (WaitingKind::Flash, EIGHT, EIGHT + 4),
            (WaitingKind::Cure, EIGHT + 4, EIGHT + 12 * 60)
        ]
    );
}

#[test]
fn a_panel_found_cured_or_a_release_ends_the_cure_and_a_wet_release_is_said() {
    let mut day = Day::new();
    day.job_in(EIGHT, "bay-1");
    day.post(EIGHT, "bay-1", &["ana"], coat("nose"));
    day.post(EIGHT + 1, "bay-1", &["ana"], coat("trim"));
    day.post(
        EIGHT + 60,
        "bay-1",
        &[],
        Fact::PanelCured {
            panel: "nose".into(),
        },
    );
    let release = day.post(EIGHT + 90, "bay-1", &[], Fact::JobReleased);
    assert_eq!(
        day.waiting(),
        [
            (WaitingKind::Flash, EIGHT, EIGHT + 90),
            (WaitingKind::Flash, EIGHT + 1, EIGHT + 90),
            (WaitingKind::Cure, EIGHT, EIGHT + 60),
            (WaitingKind::Cure, EIGHT + 1, EIGHT + 90)
        ]
    );
    let until = Micros(MONDAY + (EIGHT + 1) * MINUTE_US + 12 * HOUR_US);
    assert!(day.notices(release).contains(&Notice::StillWet { until }));
}

#[test]
fn a_lamp_is_waiting_for_as_long_as_it_shines() {
    let mut day = Day::new();
    day.job_in(EIGHT, "bay-1");
    let lamp = Fact::PanelLamp {
        panel: "nose".into(),
        duration_us: 15 * MINUTE_US,
        surface: None,
    };
    day.post(EIGHT, "bay-1", &[], lamp);
    day.post(
        EIGHT + 60,
        "bay-1",
        &[],
        Fact::Noted {
            text: String::new(),
        },
    );
    assert_eq!(day.waiting(), [(WaitingKind::Lamp, EIGHT, EIGHT + 15)]);
}

#[test]
fn levelling_meets_the_section_that_waited_longest_and_can_be_amended() {
    let mut day = Day::new();
    day.job_in(EIGHT, "bay-1");
    let first = day.post(EIGHT, "bay-1", &[], coat("nose"));
    let second = day.post(EIGHT + 1, "bay-1", &[], coat("nose"));
    day.post(EIGHT + 4, "bay-1", &[], level(LevelResult::Clean, false));
    day.post(EIGHT + 5, "bay-1", &[], level(LevelResult::Clean, false));
    let none = day.post(EIGHT + 6, "bay-1", &[], level(LevelResult::Clean, false));
    day.post(EIGHT + 20, "bay-1", &[], level(LevelResult::HighSpot, true));
    let levelled: Vec<(EventId, LevelResult)> = day
        .rows()
        .into_iter()
        .filter_map(|row| match row {
            Row::Levelled { coated, result, .. } => Some((coated, result)),
            _ => None,
        })
        .collect();
    assert_eq!(
        levelled,
        [
            (first, LevelResult::Clean),
            (second, LevelResult::Clean),
            (second, LevelResult::HighSpot)
        ]
    );
    assert_eq!(
        day.notices(none),
        [Notice::NothingToLevel { panel: "".into() }]
    );
}

#[test]
fn sections_are_counted_and_a_panel_spread_again_later_gets_a_layer() {
    let mut day = Day::new();
    day.job_in(EIGHT, "bay-1");
    for minute in [0, 10, 120] {
        day.post(EIGHT + minute, "bay-1", &[], coat("nose"));
        day.post(
            EIGHT + minute + 4,
            "bay-1",
            &[],
            level(LevelResult::Clean, false),
        );
    }
    let counted: Vec<(u32, u32)> = day
        .rows()
        .into_iter()
        .filter_map(|row| match row {
            Row::Coated(c) => Some((c.layer, c.section)),
            _ => None,
        })
        .collect();
    assert_eq!(counted, [(1, 1), (1, 2), (2, 1)]);
}

// Unclosed, breaks, settlements, strikes.

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
                    finish: "matte".into(),
                    why: "it cannot be undone".into()
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

// Release.

#[test]
fn a_stage_of_the_type_without_record_or_declaration_is_listed_ten_minutes_after_release() {
    let mut day = Day::new();
    let job = day.job_in(EIGHT, "bay-1");
    day.post(EIGHT, "bay-1", &["ana"], started("prewash"));
    let declare = |stage: &str| Fact::StageDeclared {
        stage: stage.into(),
        declaration: Declaration::NotDone,
    };
    day.post(EIGHT + 29, "bay-1", &[], declare("decon"));
    let release = day.post(EIGHT + 30, "bay-1", &[], Fact::JobReleased);
    day.about(
        EIGHT + 35,
        "bay-1",
        &[],
        JobRef::Job(job),
        declare("polish"),
    );
    assert_eq!(
        day.notices(release),
        [Notice::StillRunning {
            stages: vec!["prewash".into()]
        }]
    );
    day.post(
        EIGHT + 40,
        "bay-1",
        &[],
        Fact::Noted {
            text: String::new(),
        },
    );
    assert_eq!(
        day.notices(release).last(),
        Some(&Notice::Undeclared {
            stages: vec!["coat".into()]
        })
    );
}

// Mixes and uses.

fn taken(day: &Day) -> Vec<(bool, Option<Quantity>)> {
    day.rows()
        .into_iter()
        .filter_map(|row| match row {
            Row::Use(u) => Some((u.mix.is_some(), u.quantity)),
            _ => None,
        })
        .collect()
}

fn dumped(day: &Day) -> Vec<i64> {
    day.rows()
        .into_iter()
        .filter_map(|row| match row {
            Row::MixDumped { volume, .. } => Some(volume.0 / 1_000_000),
            _ => None,
        })
        .collect()
}

#[test]
fn a_use_takes_the_live_mix_until_it_is_used_up() {
    let mut day = Day::new();
    day.job_in(EIGHT, "bay-1");
    day.post(EIGHT, "bay-1", &["ana"], started("prewash"));
    day.post(EIGHT + 1, "bay-1", &[], mix(1_000));
    let from_mix = day.post(EIGHT + 2, "bay-1", &[], used("foam", 600));
    let over = day.post(EIGHT + 3, "bay-1", &[], used("foam", 500));
    day.post(EIGHT + 4, "bay-1", &[], used("foam", 50));
    let volume = |ml: i64| Some(Quantity::Volume(Nanolitres(ml * 1_000_000)));
    assert_eq!(
        taken(&day),
        [
            (true, volume(600)),
            (true, volume(500)),
            (false, volume(50))
        ]
    );
    let foam: Code = "foam".into();
    let has = |event, notice: &Notice| day.notices(event).contains(notice);
    let from = Notice::FromMix {
        product: foam.clone(),
    };
    assert!(has(from_mix, &from));
    assert!(has(
        over,
        &Notice::MixOverdrawn {
            product: foam.clone()
        }
    ));
    let rows = day.rows();
    let made = rows.iter().find_map(|r| match r {
        Row::MixMade(m) => Some((m.volume, m.concentrate)),
        _ => None,
    });
    // 15:1 by the catalogue: a sixteenth of 1,000 mL.
    assert_eq!(
        made,
        Some((Nanolitres(1_000_000_000), Nanolitres(62_500_000)))
    );
    let of_stage = rows.iter().all(|r| match r {
        Row::Use(u) => u.stage.as_str() == "prewash",
        _ => true,
    });
    assert!(of_stage);
}

#[test]
fn neat_leaves_the_mix_alone_and_a_mix_that_is_not_there_is_odd() {
    let mut day = Day::new();
    day.job_in(EIGHT, "bay-1");
    let with = |source| {
        Fact::ProductUsed(ProductUsed {
            product: "foam".into(),
            used: Used::Amount(ml(100)),
            lot: String::new(),
            panels: Vec::new(),
            source,
        })
    };
    let none = day.post(EIGHT, "bay-1", &[], with(UseSource::Mix));
    day.post(EIGHT + 1, "bay-1", &[], mix(1_000));
    day.post(EIGHT + 2, "bay-1", &[], with(UseSource::Neat));
    day.post(EIGHT + 3, "bay-1", &[], with(UseSource::Mix));
    let dump = Fact::MixDumped {
        product: "foam".into(),
        mix: None,
        amount: None,
    };
    day.post(EIGHT + 4, "bay-1", &[], dump);
    let no_mix = Notice::NoMix {
        product: "foam".into(),
    };
    assert!(day.notices(none).contains(&no_mix));
    let from_mix: Vec<bool> = taken(&day).into_iter().map(|(mix, _)| mix).collect();
    assert_eq!(from_mix, [false, false, true]);
    assert_eq!(dumped(&day), [900]);
}

#[test]
fn the_rest_of_a_replaced_or_forgotten_mix_is_waste() {
    let mut day = Day::new();
    day.job_in(EIGHT, "bay-1");
    day.post(EIGHT, "bay-1", &[], mix(1_000));
    day.post(EIGHT + 1, "bay-1", &[], used("foam", 300));
    let second = day.post(EIGHT + 2, "bay-1", &[], mix(500));
    assert_eq!(dumped(&day), [700]);
    assert_eq!(
        day.notices(second),
        [Notice::MixReplaced {
            product: "foam".into(),
            rest: Nanolitres(700_000_000)
        }]
    );
    day.post(
        EIGHT + 31 * 24 * 60,
        "bay-2",
        &[],
        Fact::Noted {
            text: String::new(),
        },
    );
    assert_eq!(dumped(&day), [700, 500]);
}

// Cautions.

#[test]
fn a_never_is_said_when_the_vehicle_comes_in_and_not_once_it_is_covered() {
    let mut day = Day::new();
    let job = day.post(EIGHT - 2, "bay-1", &[], opened("trike-coat"));
    let never = Notice::SurfaceNever {
        what: "polish".into(),
        finish: "matte".into(),
        why: "it cannot be undone".into(),
    };
    assert!(day.notices(job).contains(&never));
    let brought = day.bring(EIGHT - 1, "bay-1", job);
    assert!(day.notices(brought).contains(&never));
    let start = day.post(EIGHT, "bay-1", &["ana"], started("polish"));
    assert!(day.notices(start).contains(&never));
    let cover = Fact::SurfaceCovered {
        finish: "matte".into(),
        panel: "".into(),
        left_out: false,
    };
    day.post(EIGHT + 1, "bay-1", &[], cover);
    let again = day.post(EIGHT + 2, "bay-1", &["ben"], started("polish"));
    assert!(!day.notices(again).contains(&never));
}

#[test]
fn what_was_put_on_a_panel_against_a_rule_is_odd() {
    let mut day = Day::new();
    day.job_in(EIGHT, "bay-1");
    let coated = day.post(EIGHT, "bay-1", &["ana"], coat("tank"));
    assert!(day.notices(coated).contains(&Notice::AgainstRule {
        what: "ceramic".into(),
        panel: "tank".into(),
        finish: "matte".into(),
        why: "it makes it shine".into(),
    }));
}

#[test]
fn coating_in_unfit_air_is_said_from_the_last_fresh_reading() {
    for (age, said) in [(10, true), (119, true), (121, false)] {
        let mut day = Day::new();
        day.job_in(EIGHT, "bay-1");
        // 20 °C at 80 % has its dew point near 16.4 °C; the surface has 9 °C.
        let read = Fact::AmbientRead(AmbientRead {
            air: MilliCelsius(20_000),
            humidity: MilliPercent(80_000),
            surface: Some(MilliCelsius(9_000)),
            sensor: false,
        });
        day.post(EIGHT, "bay-1", &[], read);
        let coated = day.post(EIGHT + age, "bay-1", &["ana"], coat("nose"));
        let notices = day.notices(coated);
        let dew = notices.iter().any(|n| {
            matches!(n, Notice::AirUnfit { why: AirWhy::DewMargin { margin_milli_c }, .. }
                if (-7_500..-7_300).contains(margin_milli_c))
        });
        let cold = notices.iter().any(|n| {
            matches!(
                n,
                Notice::AirUnfit {
                    why: AirWhy::TooCold {
                        lowest_milli_c: 10_000,
                        ..
                    },
                    ..
                }
            )
        });
        assert_eq!((dew, cold), (said, said), "{age} min old: {notices:?}");
    }
}

#[test]
fn a_clock_that_is_off_and_a_time_in_the_future_are_said() {
    let mut day = Day::new();
    let id = day.post(
        EIGHT,
        "bay-1",
        &[],
        Fact::Noted {
            text: String::new(),
        },
    );
    let say = |offset_us, basis, ahead_us: i64| {
        let mut day = Day::new();
        day.post(
            EIGHT,
            "bay-1",
            &[],
            Fact::Noted {
                text: String::new(),
            },
        );
        let event = day.events.last_mut().unwrap();
        event.clock_offset_us = offset_us;
        event.time_basis = basis;
        event.received = Micros(event.position.occurred.0 - ahead_us);
        day.notices(id)
    };
    assert_eq!(say(2_000_000, TimeBasis::Boot, 2_000_000), []);
    let offset_us = -2_000_001;
    assert_eq!(
        say(offset_us, TimeBasis::Boot, 0),
        [Notice::ClockOffset { offset_us }]
    );
    assert_eq!(
        say(offset_us, TimeBasis::PresentOffset, 0),
        [Notice::ClockUnsure { offset_us }, Notice::TimeUnsure]
    );
    assert_eq!(
        say(0, TimeBasis::Boot, 3_000_000),
        [Notice::InFuture {
            ahead_us: 3_000_000
        }]
    );
}

// The catalogue in force.

#[test]
fn a_late_catalogue_changes_what_is_after_its_valid_from_but_never_open_hours_before_its_receipt() {
    let mut day = Day::without_catalogue();
    day.job_in(14 * 60, "bay-1");
    day.post(14 * 60, "bay-1", &["ana"], started("prewash"));
    let odd = day.post(14 * 60 + 1, "bay-1", &["ana"], used("iron-remvoer", 5));
    day.post(
        24 * 60 + EIGHT,
        "bay-1",
        &[],
        Fact::Noted {
            text: String::new(),
        },
    );
    assert_eq!(day.notices(odd), []);
    let mut set = day.desk.catalogue_set(MONDAY, catalogue());
    set.position.occurred = Micros(MONDAY + 3 * DAY_US);
    set.received = Micros(MONDAY + 3 * DAY_US);
    day.events.push(set);
    assert_eq!(
        day.notices(odd),
        [Notice::UnknownCode {
            what: What::Product,
            code: "iron-remvoer".into()
        }]
    );
    // Cut at midnight of UTC, not at 18:00: the hours were not known then.
    assert_eq!(day.hands_on(), ["ana prewash 840-1440 Unclosed"]);
}

#[test]
fn a_struck_catalogue_change_never_held() {
    let mut day = Day::new();
    day.job_in(EIGHT, "bay-1");
    let mut changed = Catalogue::default();
    changed.stages.insert(
        "rinse".into(),
        catalogue().stages[&Code::new("prewash")].clone(),
    );
    let set = day.desk.catalogue_set(MONDAY, changed);
    let set_id = set.id;
    day.events.push(set);
    let start = day.post(EIGHT, "bay-1", &["ana"], started("rinse"));
    day.post(EIGHT + 5, "bay-1", &["ana"], finished("rinse"));
    assert_eq!(day.notices(start), []);
    day.strike(set_id);
    assert_eq!(
        day.notices(start),
        [Notice::UnknownCode {
            what: What::Stage,
            code: "rinse".into()
        }]
    );
}

// What is told at once.

#[test]
fn a_receipt_tells_job_workers_notices_and_the_window_of_a_coat() {
    let mut day = Day::new();
    let job = day.job_in(EIGHT, "bay-1");
    day.post(EIGHT, "bay-1", &["ana"], started("coat"));
    day.post(EIGHT + 1, "bay-1", &["ana"], coat("nose"));
    let mut book = Book::default();
    let mut told = Vec::new();
    for event in &day.events {
        told.push(book.absorb(event));
    }
    let told = told.pop().unwrap();
    assert_eq!(told.job, Some(job));
    assert_eq!(told.by, [Code::new("ana")]);
    let coated = told.coated.expect("a section");
    let window = baywright_floor::step::window_of(&coated, book.fold.cats.at(coated.at));
    let limits = window.limits().expect("the label's");
    assert_eq!(
        (limits.from_us, limits.until_us),
        (3 * MINUTE_US, 6 * MINUTE_US)
    );
}

#[test]
fn a_strike_of_an_event_not_in_the_log_is_told_and_holds_when_it_comes() {
    let mut day = Day::new();
    day.job_in(EIGHT, "bay-1");
    day.post(EIGHT, "bay-1", &["ana"], started("prewash"));
    let slip = day.events.pop().unwrap();
    day.strike(slip.id);
    let mut book = day.book();
    let told = book.absorb(&slip);
    assert!(told.struck);
    assert!(
        !book
            .rows()
            .any(|r| matches!(r, Row::Counted { event, .. } if *event == slip.id))
    );
    let mut first = Book::default();
    let told: Vec<_> = day.events.iter().map(|e| first.absorb(e)).collect();
    assert_eq!(told.last().unwrap().notices, [Notice::StrikeUnknown]);
}

#[test]
fn now_shows_who_is_on_what_and_what_waits() {
    let mut day = Day::new();
    let job = day.job_in(EIGHT, "bay-1");
    day.post(EIGHT, "bay-1", &["ana"], started("decon"));
    day.post(EIGHT + 5, "bay-1", &["ana"], dwell("iron-remover"));
    day.post(EIGHT + 5, "bay-1", &["ben"], started("coat"));
    day.post(EIGHT + 6, "bay-1", &["ben"], coat("nose"));
    let book = day.book();
    let at = Micros(MONDAY + (EIGHT + 8) * MINUTE_US);
    let now = baywright_floor::now::now(&book.fold.live.state, &book.fold.cats, at);
    let bay = &now.bays[0];
    assert_eq!(
        (bay.bay.as_str(), bay.places, now.bays.len()),
        ("bay-1", 1, 3)
    );
    let shown = &bay.jobs[0];
    assert_eq!(shown.job, job);
    assert_eq!(shown.running.len(), 1);
    assert_eq!(shown.running[0].hands_on_us, 3 * MINUTE_US);
    assert_eq!(shown.paused[0].stage.as_str(), "decon");
    assert_eq!(
        shown.dwells[0].longest_at,
        Some(Micros(MONDAY + (EIGHT + 12) * MINUTE_US))
    );
    assert_eq!(shown.sections.len(), 1);
    let stages = |codes: &[Code]| codes.iter().map(Code::to_string).collect::<Vec<_>>();
    assert_eq!(stages(&shown.stages_done), ["decon", "coat"]);
    assert_eq!(stages(&shown.stages_open), ["prewash", "polish"]);
    let ben = now
        .workers
        .iter()
        .find(|w| w.worker.as_str() == "ben")
        .unwrap();
    assert_eq!((ben.job, ben.stage.as_str()), (Some(job), "coat"));
    assert!(
        book.rows()
            .any(|r| matches!(r, Row::HandsOn(h) if h.ended == Ended::Dwell))
    );
}
