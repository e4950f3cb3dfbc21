//! Quotes by how they ended.

use baywright_report::figures::QuotesOfType;
use baywright_report::quote::{QuoteBook, QuoteStanding, week_quotes};
use baywright_terms::code::Code;
use baywright_terms::time::Micros;

use crate::shop::{Office, at, hours, id};

const HALF: (i64, i64) = (hours_(8), hours_(10));

const fn hours_(hours: i64) -> i64 {
    hours * 3_600_000_000
}

fn week(office: &Office) -> Vec<QuotesOfType> {
    let (from, until) = (at("2026-11-23T00:00"), at("2026-11-30T00:00"));
    week_quotes(&office.rows, from, until, at("2026-12-15T00:00"))
}

#[test]
fn the_latest_answer_counts_and_the_one_before_no_longer() {
    let mut office = Office::default();
    office.print(1, "2026-11-20T09:00", HALF, 50_000, None);
    office.answer(1, "2026-11-24T09:00", None, "too dear");
    office.answer(1, "2026-11-25T09:00", Some(45_000), "2026-12-01");
    let book = QuoteBook::of(&office.rows);
    let quote = book.get(id(1)).unwrap();
    let standing = |when: &str| quote.standing(at(when));
    assert_eq!(standing("2026-11-19T00:00"), None);
    assert_eq!(standing("2026-11-21T00:00"), Some(QuoteStanding::Open));
    assert_eq!(standing("2026-11-24T12:00"), Some(QuoteStanding::Declined));
    assert_eq!(standing("2026-11-25T12:00"), Some(QuoteStanding::Accepted));
}

#[test]
fn a_quote_runs_out_after_its_date_and_a_revision_prolongs_it() {
    let mut office = Office::default();
    office.print(1, "2026-10-01T09:00", HALF, 50_000, None);
    let book = QuoteBook::of(&office.rows);
    let quote = book.get(id(1)).unwrap();
    assert_eq!(
        quote.standing(at("2026-10-31T08:00")),
        Some(QuoteStanding::Open)
    );
    assert_eq!(
        quote.standing(at("2026-10-31T09:00")),
        Some(QuoteStanding::RunOut)
    );
    office.print(1, "2026-10-20T09:00", HALF, 48_000, None);
    let book = QuoteBook::of(&office.rows);
    let quote = book.get(id(1)).unwrap();
    assert_eq!(
        quote.standing(at("2026-11-01T09:00")),
        Some(QuoteStanding::Open)
    );
}

#[test]
fn the_print_in_force_at_acceptance_is_kept_whatever_is_printed_after() {
    let mut office = Office::default();
    office.print(1, "2026-11-20T09:00", HALF, 50_000, None);
    office.print(1, "2026-11-21T09:00", HALF, 52_000, None);
    office.answer(1, "2026-11-22T09:00", Some(52_000), "");
    office.print(1, "2026-11-23T09:00", HALF, 60_000, None);
    office.open(id(9), 109, Some(1), "2026-11-22T09:00");
    let book = QuoteBook::of(&office.rows);
    let quote = book.get(id(1)).unwrap();
    assert_eq!(quote.accepted().unwrap().0.printed.price_minor, 52_000);
    assert_eq!((quote.job, quote.number), (Some(id(9)), Some(109)));
}

#[test]
fn revisions_of_a_struck_draft_are_no_quote() {
    let mut office = Office::default();
    office.print(1, "2026-11-20T09:00", HALF, 50_000, None);
    office.print(1, "2026-11-21T09:00", HALF, 52_000, None);
    office.rows.remove(0);
    assert_eq!(QuoteBook::of(&office.rows).quotes().count(), 0);
}

#[test]
fn quotes_count_where_they_were_decided_or_ran_out_by_printed_prices() {
    let mut office = Office::default();
    // Won in the week at 450.00 of 500.00 and at 300.00 of 300.00.
    office.print(1, "2026-11-10T09:00", HALF, 50_000, None);
    office.answer(1, "2026-11-23T00:00", Some(45_000), "");
    office.print(2, "2026-11-24T09:00", HALF, 30_000, None);
    office.answer(2, "2026-11-24T10:00", Some(30_000), "");
    // Lost in the week, before it, and after it, where it was still open.
    office.print(3, "2026-11-24T09:00", HALF, 70_000, None);
    office.answer(3, "2026-11-29T23:59", None, "too dear");
    office.print(4, "2026-11-01T09:00", HALF, 90_000, None);
    office.answer(4, "2026-11-22T23:59", None, "before");
    office.print(5, "2026-11-24T09:00", HALF, 80_000, None);
    office.answer(5, "2026-11-30T00:00", None, "after");
    // Ran out on 24 November; ran out before.
    office.print(6, "2026-10-25T09:00", HALF, 10_000, None);
    office.print(7, "2026-10-01T09:00", HALF, 10_000, None);
    // A line of its own is none that a customer shops around with.
    office.print(8, "2026-11-24T09:00", HALF, 10_000, Some(id(9)));
    office.answer(8, "2026-11-24T10:00", Some(10_000), "");
    let expected = QuotesOfType {
        job_type: Code::new("trike-wash"),
        won: 2,
        lost: 1,
        open: 1,
        run_out: 1,
        won_price_mean_minor: 40_000,
        lost_price_mean_minor: 70_000,
        // 750.00 of 800.00 is 937.5, half to even.
        agreed_milli: 938,
        lost_why: vec!["too dear".into()],
    };
    assert_eq!(week(&office), vec![expected]);
}

#[test]
fn a_quiet_week_has_no_quotes() {
    let mut office = Office::default();
    office.print(1, "2026-10-01T09:00", HALF, 50_000, None);
    office.answer(1, "2026-10-02T09:00", Some(50_000), "");
    assert_eq!(week(&office), Vec::new());
    assert_eq!(
        week_quotes(&[], Micros(0), Micros(hours(9)), Micros(0)),
        Vec::new()
    );
}
