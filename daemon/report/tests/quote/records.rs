//! What is learned from one job, and what is not.

use baywright_floor::catalogues::Catalogues;
use baywright_floor::event::{EventId, JobKey, Seq};
use baywright_floor::fact::{Declaration, Grades};
use baywright_floor::quote::{PastJob, PastRow, PastStage};
use baywright_floor::row::{Ended, HandsOn, JobOpenedRow, Presence, Row, UseRow};
use baywright_report::Input;
use baywright_report::quote::{JobRecord, Learnt, of_job, of_past};
use baywright_terms::time::{HOUR_US, Micros};

use crate::invented::*;

const JOB: JobKey = EventId([1; 16]);
const OPENED: i64 = NOW.0 - 100 * HOUR_US;

/// Rows of one job of six hours in a bay.
struct Told {
    rows: Vec<Row>,
    from: i64,
}

impl Told {
    fn new() -> Self {
        let opened = Row::JobOpened(JobOpenedRow {
            quote: None,
            job: JOB,
            seq: Seq(1),
            number: Some(101),
            handle: String::new(),
            opened: Micros(OPENED),
            job_type: code("saloon-coat"),
            vehicle: "grey saloon".into(),
            vehicle_class: code("saloon"),
            grades: grades(4, 2, 3),
            panels: Vec::new(),
            comeback_of: None,
            agreed_minor: None,
        });
        let stay = Row::Presence(Presence {
            job: JOB,
            place: code("bay-1"),
            from: Micros(OPENED),
            until: Some(Micros(OPENED + 6 * HOUR_US)),
            seq_from: Seq(1),
            seq_until: None,
        });
        let released = Row::JobReleased {
            job: JOB,
            at: Micros(OPENED + 7 * HOUR_US),
            seq: Seq(50),
        };
        Self {
            rows: vec![opened, stay, released],
            from: OPENED,
        }
    }

    fn opening(&mut self) -> &mut JobOpenedRow {
        match &mut self.rows[0] {
            Row::JobOpened(opened) => opened,
            _ => unreachable!("the first row opens the job"),
        }
    }

    /// Minutes of work, one after the other.
    fn work(&mut self, stage: &str, worker: &str, us: i64, ended: Ended, rework: bool) {
        self.rows.push(Row::HandsOn(HandsOn {
            job: JOB,
            stage: code(stage),
            run: EventId([9; 16]),
            worker: code(worker),
            bay: code("bay-1"),
            from: Micros(self.from),
            until: Micros(self.from + us),
            ended,
            reason: String::new(),
            rework,
            seq_from: Seq(2),
            seq_until: None,
        }));
        self.from += us;
    }

    fn record(&self) -> Option<JobRecord> {
        let catalogues = catalogues(shop());
        let input = Input {
            rows: &self.rows,
            catalogues: &catalogues,
            as_of: NOW,
            as_of_seq: Seq(99),
            log_from: Some(Micros(0)),
            log_until: Some(NOW),
        };
        of_job(&input, JOB)
    }

    fn stages(&self) -> Vec<(String, i64, Option<String>)> {
        let record = self.record().unwrap();
        let stage = |s: baywright_report::quote::StageRecord| {
            (s.stage.to_string(), s.us, s.worker.map(|w| w.to_string()))
        };
        record.stages.into_iter().map(stage).collect()
    }
}

#[test]
fn a_released_job_tells_its_first_pass_by_stage_and_who_did_nearly_all_of_it() {
    let mut told = Told::new();
    told.work("decon", "ana", minutes(40), Ended::Paused, false);
    told.work("decon", "ben", minutes(10), Ended::Done, false);
    told.work("polish", "ana", minutes(79), Ended::Done, false);
    told.work("polish", "ben", minutes(21), Ended::Done, false);
    let stages = told.stages();
    // Exactly four fifths of it are ana's; of the polish a little less.
    let ana = Some("ana".to_owned());
    assert_eq!(stages[0], ("decon".into(), minutes(50), ana));
    assert_eq!(stages[1], ("polish".into(), minutes(100), None));
    let record = told.record().unwrap();
    assert_eq!(record.labour_us, minutes(150));
    assert_eq!(record.bay_hands_on_us, minutes(150));
    assert_eq!(record.grades, grades(4, 2, 3));
    assert_eq!(record.number, Some(101));
}

#[test]
fn rework_and_stages_that_nothing_ended_are_no_measure_of_a_stage() {
    let mut told = Told::new();
    told.work("decon", "ana", minutes(40), Ended::Done, false);
    told.work("decon", "ana", minutes(15), Ended::Done, true);
    told.work("polish", "ana", minutes(60), Ended::Done, false);
    told.work("polish", "ana", minutes(60), Ended::Unclosed, false);
    let stages = told.stages();
    assert_eq!(stages.len(), 1);
    assert_eq!((stages[0].0.as_str(), stages[0].1), ("decon", minutes(40)));
    // What the job took as a whole holds all of it.
    assert_eq!(told.record().unwrap().labour_us, minutes(175));
}

#[test]
fn a_stage_said_to_have_taken_about_so_long_counts_and_an_unknown_one_does_not() {
    let mut told = Told::new();
    let about = Declaration::DoneAbout {
        about_us: minutes(30),
    };
    for (stage, declaration) in [
        ("wash", about),
        ("decon", Declaration::Unknown),
        ("coat", Declaration::NotDone),
    ] {
        told.rows.push(Row::Declared {
            job: JOB,
            stage: code(stage),
            declaration,
            seq: Seq(40),
        });
    }
    assert_eq!(told.stages(), [("wash".into(), minutes(30), None)]);
}

#[test]
fn a_comeback_and_a_job_that_is_still_here_tell_nothing() {
    let mut told = Told::new();
    told.work("decon", "ana", minutes(40), Ended::Done, false);
    assert!(told.record().is_some());
    told.opening().comeback_of = Some(EventId([7; 16]));
    assert_eq!(told.record(), None);
    let mut here = Told::new();
    here.rows.truncate(2);
    assert_eq!(here.record(), None);
    here.rows.clear();
    assert_eq!(here.record(), None);
}

#[test]
fn only_amounts_that_were_measured_are_learned_from() {
    let mut told = Told::new();
    let used = |product: &str, measured: Option<i64>| {
        Row::Use(UseRow {
            event: EventId([5; 16]),
            seq: Seq(30),
            at: Micros(OPENED + HOUR_US),
            job: Some(JOB),
            stage: code("decon"),
            bay: code("bay-1"),
            product: code(product),
            quantity: measured.map(|amount| ml(amount).quantity()),
            mix: None,
            lot: String::new(),
            panels: Vec::new(),
            rework: false,
        })
    };
    told.rows.push(used("iron-remover", Some(300)));
    told.rows.push(used("iron-remover", Some(50)));
    told.rows.push(used("soap", None));
    let products = told.record().unwrap().products;
    assert_eq!(products.len(), 1);
    assert_eq!(products[0].product.as_str(), "iron-remover");
    assert_eq!(products[0].base, 350_000_000);
    // A part that nobody measured would make the whole too small.
    told.rows.push(used("iron-remover", None));
    assert_eq!(told.record().unwrap().products, []);
}

/// A discount is no evidence about time.
#[test]
fn an_agreed_price_changes_nothing_that_is_learned() {
    let mut told = Told::new();
    told.work("polish", "ana", minutes(200), Ended::Done, false);
    let full = told.record();
    told.opening().agreed_minor = Some(1);
    assert_eq!(told.record(), full);
}

fn past(stages: &[(&str, i64, &str)], whole_us: i64) -> PastRow {
    let stage = |(stage, us, worker): &(&str, i64, &str)| PastStage {
        stage: code(stage),
        quoted_us: 0,
        actual_us: *us,
        worker: code(worker),
    };
    PastRow {
        seq: Seq(3),
        source: "old.csv".into(),
        past: PastJob {
            key: EventId([8; 16]),
            date: "2026-03-02".into(),
            job_type: code("trike-coat"),
            vehicle: "old trike".into(),
            vehicle_class: code(""),
            grades: Grades::default(),
            quoted_us: 0,
            actual_us: whole_us,
            stages: stages.iter().map(stage).collect(),
            uses: vec![
                (code("iron-remover"), ml(200)),
                (code("iron-remover"), ml(80)),
            ],
            price_minor: None,
        },
    }
}

fn cats() -> Catalogues {
    catalogues(shop())
}

#[test]
fn a_past_job_tells_stages_or_the_whole_and_is_of_the_class_of_its_type() {
    let record = of_past(&past(&[], minutes(400)), &cats()).unwrap();
    assert_eq!(record.whole_us, Some(minutes(400)));
    assert_eq!(record.vehicle_class.as_str(), "trike");
    assert_eq!((record.job, record.number), (None, None));
    // 2026-03-02 begins at 23:00 UTC of the day before, in winter in Berlin.
    assert_eq!(record.released, Micros(1_772_406_000_000_000));
    // One amount for each product, however many rows named it.
    assert_eq!(record.products.len(), 1);
    assert_eq!(record.products[0].base, 280_000_000);

    let stages = [
        ("decon", minutes(30), "ana"),
        ("decon", minutes(10), "ben"),
        ("polish", minutes(90), "ben"),
        ("coat", 0, "ben"),
    ];
    let record = of_past(&past(&stages, minutes(400)), &cats()).unwrap();
    assert_eq!(record.whole_us, None);
    assert_eq!(record.labour_us, minutes(400));
    let told: Vec<(&str, i64, bool)> = record
        .stages
        .iter()
        .map(|s| (s.stage.as_str(), s.us, s.worker.is_some()))
        .collect();
    assert_eq!(
        told,
        [("decon", minutes(40), false), ("polish", minutes(90), true)]
    );
}

#[test]
fn a_past_job_that_says_nothing_or_has_no_day_is_none() {
    let mut row = past(&[], 0);
    row.past.uses.clear();
    assert_eq!(of_past(&row, &cats()), None);
    let mut row = past(&[], minutes(10));
    row.past.date = "yesterday".into();
    assert_eq!(of_past(&row, &cats()), None);
}

#[test]
fn the_same_past_job_counts_once_and_one_of_an_unknown_type_not_at_all() {
    let row = past(&[], minutes(400));
    let record = of_past(&row, &cats()).unwrap();
    let mut strange = record.clone();
    strange.past = Some(EventId([4; 16]));
    strange.job_type = code("submarine");
    let learnt = Learnt::of(&[record.clone(), record, strange], &cats(), NOW);
    assert_eq!((learnt.jobs, learnt.jobs_imported), (1, 1));
    assert_eq!(learnt.jobs_of_type(&code("trike-coat")), 1);
    assert_eq!(learnt.jobs_of_type(&code("submarine")), 0);
}
