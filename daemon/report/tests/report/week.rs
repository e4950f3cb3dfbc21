//! The week as a whole.

use baywright_floor::catalogues::Catalogues;
use baywright_floor::event::Seq;
use baywright_report::{Input, week};

use crate::made::{EVER, Made, at, shop, week_of};

#[test]
fn an_empty_log_says_so() {
    let (from, until) = week_of("2026-11-23");
    let input = Input {
        rows: &[],
        catalogues: &Catalogues::default(),
        as_of: at("2026-11-25T12:00"),
        as_of_seq: Seq(0),
        log_from: None,
        log_until: None,
    };
    let figures = week(&input, "2026-W48", from, until);
    assert_eq!(
        figures.remark,
        "The log is empty: nothing has been posted yet."
    );
    assert!(figures.bays.is_empty() && figures.jobs.is_empty() && figures.chemicals.is_empty());
    assert_eq!(figures.log_span, None);
}

#[test]
fn a_week_outside_the_log_says_where_the_log_is() {
    let mut made = Made::new(shop());
    made.open(1, "unsorted", "2026-11-24T08:00");
    let input = Input {
        log_from: Some(at("2026-09-07T08:00")),
        log_until: Some(at("2026-11-25T23:30")),
        ..made.input()
    };
    let (from, until) = week_of("2026-08-31");
    assert_eq!(
        week(&input, "2026-W36", from, until).remark,
        "Nothing was posted in 2026-W36; the log runs from 2026-09-07 to 2026-11-25."
    );
    let (from, until) = week_of("2026-09-14");
    assert_eq!(
        week(&input, "2026-W38", from, until).remark,
        "No job was here in 2026-W38; the log runs from 2026-09-07 to 2026-11-25."
    );
    let (from, until) = week_of("2027-06-07");
    assert_eq!(
        week(&input, "2027-W23", from, until).remark,
        "2027-W23 has not begun."
    );
    let (from, until) = week_of("2026-11-23");
    assert_eq!(week(&input, "2026-W48", from, until).remark, "");
    assert_eq!(
        week(&input, "2026-W48", from, until).shop,
        "Quay Row (invented)"
    );
}

#[test]
fn jobs_come_in_order_of_release() {
    let mut made = Made::new(shop());
    for (n, released) in [
        (1, "2026-11-25T12:00"),
        (2, "2026-11-23T12:00"),
        (3, "2026-11-24T12:00"),
    ] {
        made.open(n, "unsorted", "2026-11-23T08:00");
        made.release(n, released);
    }
    let numbers: Vec<_> = made
        .week("2026-11-23")
        .jobs
        .iter()
        .map(|j| j.number)
        .collect();
    assert_eq!(numbers, [Some(102), Some(103), Some(101)]);
    assert!(EVER < made.as_of);
}
