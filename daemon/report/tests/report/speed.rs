//! A long span, timed and printed, never asserted: machines differ.

use std::time::Instant;

use baywright_floor::event::EventId;
use baywright_floor::row::Row;
use baywright_report::week;
use baywright_terms::amount::{Nanolitres, Quantity};
use baywright_terms::time::Micros;

use crate::made::{Made, at, bay, code, hours, job_type, minutes, ml, shop};

/// Two years of a shop: 1,500 jobs and 60,000 rows.
const JOBS: u64 = 1_500;
const ROWS_PER_JOB: usize = 40;

fn long_span() -> Made {
    let mut catalogue = shop();
    for n in 1..=3 {
        catalogue.bays.insert(code(&format!("bay-{n}")), bay(1));
    }
    let stages = [("decon", hours(1)), ("polish", hours(4))];
    let allowed = [("soap", ml(50))];
    let types = &mut catalogue.job_types;
    types.insert(code("trike-coat"), job_type(&stages, &allowed));
    let mut made = Made::new(catalogue);
    let begin = at("2024-11-25T08:00").0;
    for n in 0..JOBS {
        let first = made.rows.len();
        let from = Micros(begin + i64::try_from(n).unwrap() * hours(11));
        made.open(1, "trike-coat", "2024-11-25T08:00");
        made.release(1, "2024-11-25T08:00");
        let bay = format!("bay-{}", n % 3 + 1);
        made.stay(1, &bay, from, Some(Micros(from.0 + hours(30))));
        made.used(
            Some(1),
            "soap",
            "2024-11-25T08:00",
            Some(Quantity::Volume(Nanolitres(7))),
            None,
        );
        while made.rows.len() - first < ROWS_PER_JOB {
            let step = i64::try_from(made.rows.len() - first).unwrap();
            let start = Micros(from.0 + step * minutes(20));
            made.work(1, "polish", start, minutes(15));
            made.wait(1, start, Some(Micros(start.0 + minutes(20))));
        }
        for row in &mut made.rows[first..] {
            name(row, n, from);
        }
    }
    made
}

/// Gives a row the job's own key and times.
fn name(row: &mut Row, n: u64, from: Micros) {
    let mut key = [7; 16];
    key[..8].copy_from_slice(&n.to_be_bytes());
    let key = EventId(key);
    match row {
        Row::JobOpened(opened) => (opened.job, opened.opened) = (key, from),
        Row::JobReleased { job, at, .. } => (*job, *at) = (key, Micros(from.0 + hours(30))),
        Row::Presence(presence) => presence.job = key,
        Row::HandsOn(hands_on) => hands_on.job = key,
        Row::Waiting(waiting) => waiting.job = key,
        Row::Use(used) => (used.job, used.at) = (Some(key), from),
        _ => {}
    }
}

#[test]
fn two_years_of_rows_are_worked_out_at_once() {
    let made = long_span();
    let (from, until) = (at("2024-11-01T00:00"), at("2027-01-01T00:00"));
    let began = Instant::now();
    let figures = week(&made.input(), "all", from, until);
    let took = began.elapsed();
    println!(
        "{} rows, {} jobs: {took:?}",
        made.rows.len(),
        figures.jobs.len()
    );
    assert_eq!(figures.jobs.len(), usize::try_from(JOBS).unwrap());
    assert_eq!(figures.types[0].jobs_quoted, 1_500);
    let occupied: i64 = figures.bays.iter().map(|b| b.occupied_us).sum();
    assert_eq!(occupied, 1_500 * hours(30));
}
