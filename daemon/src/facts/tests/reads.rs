//! Reads beside the writer.

use std::sync::Arc;

use baywright_floor::event::EventId;
use baywright_floor::row::Row;
use baywright_proto::v1::{self, fact::Kind};
use baywright_terms::time::Micros;

use super::log::Log;
use super::shop::{MINUTE_US, START_US, Shop};
use crate::facts::reader::{FactsReader, JobName};
use crate::facts::rows::{self, Table};
use crate::facts::{Facts, FactsError, ReportError};
use crate::learner::Learner;

pub(super) struct Desk {
    _folder: tempfile::TempDir,
    log: Log,
    facts: Facts,
    pub(super) reader: FactsReader,
}

pub(super) fn desk(entries: Vec<crate::facts::Stored>) -> Desk {
    let folder = tempfile::tempdir().unwrap();
    let log = Log::of(entries);
    let facts = Facts::open(folder.path(), log.boxed(), &mut |_| {}).unwrap();
    let reader = FactsReader::open(folder.path(), Arc::new(log.clone())).unwrap();
    Desk {
        _folder: folder,
        log,
        facts,
        reader,
    }
}

impl Desk {
    fn post(&mut self, entries: &[crate::facts::Stored]) {
        self.log.push(entries);
        self.facts.absorb(entries).unwrap();
        self.facts.commit().unwrap();
    }
}

const FOR_EVER: Micros = Micros(i64::MAX);

#[test]
fn a_read_sees_rows_and_state_of_one_cursor_while_the_writer_goes_on() {
    let mut shop = Shop::new(31, 15);
    let mut desk = desk(shop.records(200));
    let Desk {
        facts, reader, log, ..
    } = &mut desk;
    reader
        .view(|view| {
            let first = view.rows_for_span(Micros(0), FOR_EVER, Micros(START_US))?;
            let live = view.live()?;
            let batch = shop.records(40);
            log.push(&batch);
            facts.absorb(&batch).unwrap();
            facts.commit().unwrap();
            assert_eq!(view.cursor(), 200);
            let second = view.rows_for_span(Micros(0), FOR_EVER, Micros(START_US))?;
            assert_eq!(first, second);
            assert_eq!(live, view.live()?);
            Ok::<_, FactsError>(())
        })
        .unwrap();
    assert_eq!(reader.cursor().unwrap(), 240);
}

#[test]
fn the_span_of_everything_gives_every_row_once() {
    let desk = desk(Shop::new(32, 15).records(500));
    let rows = desk
        .reader
        .view(|view| view.rows_for_span(Micros(i64::MIN), FOR_EVER, Micros(START_US)))
        .unwrap();
    let stored: usize = Table::ALL
        .into_iter()
        .filter(|table| {
            !matches!(
                table,
                Table::Counted | Table::Covered | Table::Declared | Table::Notice
            )
        })
        .map(|table| rows::select(&desk.facts.conn, table, "", []).unwrap().len())
        .sum();
    let untimed = |row: &&Row| {
        matches!(
            row,
            Row::Counted { .. } | Row::Covered { .. } | Row::Declared { .. } | Row::Notice(_)
        )
    };
    let provisional = rows
        .iter()
        .filter(|row| match row {
            Row::Presence(row) => row.until.is_none(),
            Row::Waiting(row) => row.until.is_none(),
            Row::HandsOn(row) => row.ended == baywright_floor::row::Ended::Running,
            _ => false,
        })
        .count();
    assert_eq!(
        rows.len() - rows.iter().filter(untimed).count() - provisional,
        stored
    );
    // Of notices the odd ones alone: those that wait, and those of its jobs.
    let odd = "WHERE severity = 'odd' AND (settled = 0 OR job IN (SELECT job FROM job))";
    let odd = rows::select(&desk.facts.conn, Table::Notice, odd, []).unwrap();
    assert!(!odd.is_empty());
    let notices = rows.iter().filter(|row| matches!(row, Row::Notice(_)));
    assert_eq!(notices.count(), odd.len());
}

#[test]
fn a_job_touched_by_the_span_comes_with_all_its_rows() {
    let desk = desk(Shop::new(33, 5).records(600));
    let day = 24 * 60 * MINUTE_US;
    let (from, until) = (Micros(START_US + day), Micros(START_US + 2 * day));
    desk.reader
        .view(|view| {
            let rows = view.rows_for_span(from, until, until)?;
            let jobs: Vec<EventId> = rows
                .iter()
                .filter_map(|row| match row {
                    Row::Presence(stay) => Some(stay.job),
                    _ => None,
                })
                .collect();
            assert!(!jobs.is_empty());
            for job in jobs {
                let of_job =
                    rows::select_rows(&desk.facts.conn, Table::HandsOn, "WHERE job = ?1", [job.0])?;
                for row in of_job {
                    assert!(rows.contains(&row), "{row:?}");
                }
                assert!(rows.iter().any(|row| matches!(row,
                    Row::JobOpened(opened) if opened.job == job)));
            }
            Ok::<_, FactsError>(())
        })
        .unwrap();
}

#[test]
fn jobs_are_found_by_number_and_handle_and_opening() {
    let mut shop = Shop::new(34, 0);
    let mut desk = desk(shop.records(1));
    let opened = shop.stored(
        Kind::JobOpened(v1::JobOpened {
            handle: "b2-7".to_owned(),
            job_type: "trike-coat".to_owned(),
            ..v1::JobOpened::default()
        }),
        START_US + MINUTE_US,
    );
    desk.post(&[opened]);
    let found = |name: JobName| desk.reader.view(|view| view.job_named(&name)).unwrap();
    let job = found(JobName::Number(1)).unwrap();
    assert_eq!(found(JobName::Handle("b2-7".to_owned())), Some(job));
    assert_eq!(found(JobName::Opening(job)), Some(job));
    assert_eq!(found(JobName::Number(2)), None);
    assert_eq!(found(JobName::Handle("b2-8".to_owned())), None);
    let story = desk.reader.job(
        &v1::JobRequest {
            job: Some(v1::job_request::Job::Handle("b2-7".to_owned())),
            as_of_seq: 0,
        },
        Micros(START_US + 2 * MINUTE_US),
    );
    let story = story.unwrap();
    assert_eq!(story.lines.len(), 1);
    assert_eq!(story.job.unwrap().number, 1);
    let none = desk.reader.job(
        &v1::JobRequest {
            job: Some(v1::job_request::Job::Number(9)),
            as_of_seq: 0,
        },
        Micros(START_US),
    );
    assert!(matches!(none, Err(ReportError::NoSuchJob { .. })));
}

#[test]
fn a_struck_line_stays_in_the_story_and_its_strike_beside_it() {
    let mut shop = Shop::new(35, 0);
    let mut desk = desk(shop.records(1));
    let number = v1::job_request::Job::Number(1);
    let opened = shop.stored(
        Kind::JobOpened(v1::JobOpened::default()),
        START_US + MINUTE_US,
    );
    desk.post(&[opened]);
    let job = desk
        .reader
        .view(|view| view.job_named(&JobName::Number(1)))
        .unwrap()
        .unwrap();
    let mut flaw = v1::Fact {
        job: Some(v1::JobRef {
            job: Some(v1::job_ref::Job::OpeningEventId(job.0.to_vec())),
        }),
        bay: "bay-1".to_owned(),
        kind: Some(Kind::FlawFound(v1::FlawFound {
            panel: "nose".to_owned(),
            flaw: "scratch".to_owned(),
            ..v1::FlawFound::default()
        })),
        ..v1::Fact::default()
    };
    let found = super::shop_record(3, [3; 16], &flaw, START_US + 2 * MINUTE_US);
    flaw.kind = Some(Kind::StruckOut(v1::StruckOut {
        event_id: vec![3; 16],
        reason: "wrong vehicle".to_owned(),
    }));
    flaw.job = None;
    let strike = super::shop_record(4, [4; 16], &flaw, START_US + 3 * MINUTE_US);
    desk.post(&[found, strike]);
    let story = desk
        .reader
        .job(
            &v1::JobRequest {
                job: Some(number),
                as_of_seq: 0,
            },
            Micros(START_US + 9 * MINUTE_US),
        )
        .unwrap();
    let lines: Vec<(u64, bool)> = story.lines.iter().map(|l| (l.seq, l.struck)).collect();
    assert_eq!(lines, [(2, false), (3, true), (4, false)]);
    let counted = desk.reader.counted(&[2, 3, 4, 99]).unwrap();
    assert_eq!(
        counted.iter().map(|c| c.struck).collect::<Vec<_>>(),
        [false, true, false, false]
    );
    assert_eq!(counted[0].job_number, 1);
    assert_eq!(counted[3].job_number, 0);
}

#[test]
fn a_week_as_of_a_seq_is_the_week_printed_then() {
    let mut shop = Shop::new(36, 10);
    let mut desk = desk(shop.records(300));
    let asked = |as_of_seq| v1::WeekRequest {
        week: "2026-W10".to_owned(),
        as_of_seq,
        ..v1::WeekRequest::default()
    };
    let received = desk
        .reader
        .view(|view| {
            let received = view.received()?;
            Ok::<_, FactsError>(received)
        })
        .unwrap()
        .unwrap();
    let then = desk
        .reader
        .week(&Learner::default(), &asked(0), received)
        .unwrap();
    desk.post(&shop.records(300));
    let later = desk
        .reader
        .week(&Learner::default(), &asked(0), received)
        .unwrap();
    assert_ne!(then, later);
    let again = desk
        .reader
        .week(
            &Learner::default(),
            &asked(300),
            Micros(received.0 + 99 * MINUTE_US),
        )
        .unwrap();
    assert_eq!(then, again);
    assert_eq!(again.as_of_seq, 300);
}

#[test]
fn bay_time_adds_up_in_every_week_of_a_random_shop() {
    let desk = desk(Shop::new(37, 15).records(1_500));
    let mut occupied = 0;
    for week in ["2026-W10", "2026-W11"] {
        let asked = v1::WeekRequest {
            week: week.to_owned(),
            as_of_seq: 0,
            ..v1::WeekRequest::default()
        };
        let week = desk
            .reader
            .week(
                &Learner::default(),
                &asked,
                Micros(START_US + 30 * 24 * 60 * MINUTE_US),
            )
            .unwrap();
        for bay in &week.bays {
            assert_eq!(
                bay.hands_on_us + bay.waiting_us + bay.idle_us + bay.empty_us,
                bay.open_us + bay.occupied_outside_open_us,
                "{} in {}",
                bay.bay,
                week.week
            );
            occupied += bay.occupied_us;
        }
    }
    assert!(occupied > 0);
}

#[test]
fn an_unreadable_week_says_how_to_write_it() {
    let desk = desk(Shop::new(38, 0).records(5));
    let asked = v1::WeekRequest {
        week: "next".to_owned(),
        as_of_seq: 0,
        ..v1::WeekRequest::default()
    };
    let error = desk
        .reader
        .week(&Learner::default(), &asked, Micros(START_US))
        .unwrap_err();
    assert!(error.to_string().contains("2026-W48"), "{error}");
}

#[test]
fn the_floor_now_names_bays_jobs_and_what_is_odd() {
    let desk = desk(Shop::new(39, 5).records(400));
    let at = Micros(desk.facts.fold.live.last.clone().unwrap().occurred.0);
    let all = desk.reader.now("", at).unwrap();
    assert_eq!(all.head_seq, 400);
    assert!(all.bays.len() >= 2);
    assert!(all.odd_open > 0);
    assert!(all.catalogue_revision > 0);
    let one = desk.reader.now("bay-1", at).unwrap();
    assert_eq!(one.bays.len(), 1);
    let odd = desk.reader.odd(false, at).unwrap();
    assert_eq!(u32::try_from(odd.odd.len()).unwrap(), all.odd_open);
    assert!(odd.odd.iter().all(|record| !record.text.is_empty()));
    assert!(desk.reader.odd(true, at).unwrap().odd.len() >= odd.odd.len());
}
