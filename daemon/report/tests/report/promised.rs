//! A job is held against the quote it was accepted with.

use baywright_floor::event::{EventId, Seq};
use baywright_floor::fact::Grades;
use baywright_floor::quote::{
    Asked, Printed, PrintedProduct, PrintedStage, QuoteDecidedRow, QuoteRow,
};
use baywright_floor::row::Row;
use baywright_report::figures::{Cause, JobFigures};
use baywright_terms::catalogue::{Catalogue, ShopCosts};
use baywright_terms::time::Micros;

use crate::made::{Made, at, code, hours, job, minutes, ml};
use crate::money::{MONDAY, with_costs, worker};

/// An hour costs 20.00 in a standard; a litre of soap 10.00; the type allows
/// two hours of decon, four of polish, 100 ml of soap, for 400.00.
fn trade() -> Catalogue {
    with_costs(ShopCosts {
        standard_rate_minor: Some(2_000),
        ..ShopCosts::default()
    })
}

fn quote(n: u8) -> EventId {
    EventId([n; 16])
}

fn printed(stages: &[(&str, i64)], soap_ml: i64, price_minor: i64) -> Printed {
    let sum_us = stages.iter().map(|(_, us)| us).sum();
    Printed {
        stages: stages
            .iter()
            .map(|(stage, quoted_us)| PrintedStage {
                stage: code(stage),
                allowance_us: *quoted_us,
                quoted_us: *quoted_us,
            })
            .collect(),
        products: vec![PrintedProduct {
            product: code("soap"),
            quoted: Some(ml(soap_ml)),
        }],
        hands_on_half_us: sum_us,
        hands_on_p80_us: sum_us,
        bay_half_us: sum_us,
        bay_p80_us: sum_us,
        price_minor,
        cost_minor: 0,
        valid_until: Micros(i64::MAX),
        trade_guess: false,
    }
}

fn print(made: &mut Made, n: u8, when: &str, addition_to: Option<u8>, printed: Printed) {
    let revised = made
        .rows
        .iter()
        .any(|row| matches!(row, Row::Quote(of) if of.quote == quote(n)));
    made.rows.push(Row::Quote(QuoteRow {
        quote: quote(n),
        seq: Seq(500),
        at: at(when),
        revised,
        addition_to: addition_to.map(job),
        asked: Asked {
            job_type: code("trike-coat"),
            vehicle: String::new(),
            vehicle_class: code("trike"),
            grades: Grades::default(),
            unseen: false,
            customer: String::new(),
        },
        printed,
    }));
}

fn answer(made: &mut Made, n: u8, when: &str, agreed: Option<i64>, addition_to: Option<u8>) {
    made.rows.push(Row::QuoteDecided(QuoteDecidedRow {
        quote: quote(n),
        seq: Seq(501),
        at: at(when),
        accepted: agreed.is_some(),
        addition_to: addition_to.map(job),
        agreed_minor: agreed,
        suggested_minor: None,
        reason: String::new(),
        planned_date: String::new(),
    }));
}

/// Opened on Monday with quote 1; half an hour of decon and three of polish.
fn opened_with_quote(made: &mut Made) {
    made.open(1, "trike-coat", "2026-11-23T08:00");
    for row in &mut made.rows {
        if let Row::JobOpened(opened) = row {
            opened.quote = Some(quote(1));
        }
    }
    made.work(1, "decon", at("2026-11-23T08:00"), minutes(30));
    made.work(1, "polish", at("2026-11-23T10:00"), hours(3));
    made.release(1, "2026-11-27T12:00");
}

fn figures(made: &Made) -> JobFigures {
    made.week(MONDAY).jobs.into_iter().next().unwrap()
}

fn cause(of: &JobFigures, cause: Cause) -> i64 {
    let found = of.shortfalls.iter().find(|s| s.cause == cause);
    found.unwrap().amount_minor
}

#[test]
fn a_job_is_held_against_what_its_quote_printed_last_before_it_was_accepted() {
    let mut made = Made::new(trade());
    let of = |decon_us| printed(&[("decon", decon_us), ("polish", hours(3))], 200, 50_000);
    print(&mut made, 1, "2026-11-20T10:00", None, of(hours(9)));
    print(&mut made, 1, "2026-11-21T10:00", None, of(hours(1)));
    answer(&mut made, 1, "2026-11-22T10:00", Some(45_000), None);
    print(&mut made, 1, "2026-11-22T12:00", None, of(hours(7)));
    opened_with_quote(&mut made);
    let job = figures(&made);
    assert_eq!(job.quoted_us, Some(hours(4)));
    let quoted: Vec<i64> = job.stages.iter().map(|s| s.quoted_us).collect();
    assert_eq!(quoted, [hours(1), hours(3)]);
    // Four hours at 20.00 and 200 ml at 10.00 a litre, sold for 500.00 before the discount.
    let money = job.money.quoted.unwrap();
    assert_eq!(money.labour_minor, 8_000);
    assert_eq!(money.materials_minor, 200);
    assert_eq!(money.contribution_minor, 50_000 - 8_000 - 200);
    assert_eq!(job.money.revenue_minor, Some(45_000));
    assert_eq!(cause(&job, Cause::DiscountGiven), 5_000);
    assert_eq!(cause(&job, Cause::TookLonger), -1_000);
}

#[test]
fn standards_are_those_of_the_catalogue_when_it_was_accepted() {
    let mut made = Made::new(trade());
    let of = printed(&[("decon", hours(1))], 100, 50_000);
    print(&mut made, 1, "2026-11-20T10:00", None, of);
    answer(&mut made, 1, "2026-11-20T12:00", Some(50_000), None);
    // Dearer before the job is opened: the quote was accepted at the old rate.
    let mut dearer = with_costs(ShopCosts {
        standard_rate_minor: Some(9_000),
        ..ShopCosts::default()
    });
    dearer.workers.insert(code("ana"), worker(9_000));
    made.set(at("2026-11-21T00:00"), dearer);
    opened_with_quote(&mut made);
    let job = figures(&made);
    assert_eq!(job.money.quoted.unwrap().labour_minor, 2_000);
    assert_eq!(cause(&job, Cause::PaidMorePerHour), 7 * 3_500);
}

#[test]
fn a_line_added_in_the_middle_joins_hours_amounts_and_price() {
    let mut made = Made::new(trade());
    let first = printed(&[("decon", hours(1)), ("polish", hours(3))], 100, 50_000);
    print(&mut made, 1, "2026-11-20T10:00", None, first);
    answer(&mut made, 1, "2026-11-20T12:00", Some(48_000), None);
    opened_with_quote(&mut made);
    let more = printed(&[("polish", hours(1)), ("metal", hours(2))], 50, 12_000);
    print(&mut made, 2, "2026-11-24T10:00", Some(1), more.clone());
    answer(&mut made, 2, "2026-11-24T10:05", Some(11_000), Some(1));
    // Offered and declined: no part of the promise.
    print(&mut made, 3, "2026-11-24T11:00", Some(1), more);
    answer(&mut made, 3, "2026-11-24T11:05", None, Some(1));
    let job = figures(&made);
    assert_eq!(job.quoted_us, Some(hours(7)));
    let polish = job.stages.iter().find(|s| s.stage == code("polish"));
    assert_eq!(polish.unwrap().quoted_us, hours(4));
    assert_eq!(job.money.revenue_minor, Some(59_000));
    assert_eq!(job.money.list_minor, Some(62_000));
    assert_eq!(cause(&job, Cause::DiscountGiven), 3_000);
    assert_eq!(job.money.quoted.unwrap().materials_minor, 150);
}

#[test]
fn without_an_acceptance_the_catalogue_at_opening_stands() {
    for declined in [false, true] {
        let mut made = Made::new(trade());
        let of = printed(&[("decon", hours(1))], 100, 50_000);
        print(&mut made, 1, "2026-11-20T10:00", None, of);
        if declined {
            answer(&mut made, 1, "2026-11-20T12:00", None, None);
        }
        opened_with_quote(&mut made);
        let job = figures(&made);
        assert_eq!(job.quoted_us, Some(hours(6)));
        assert_eq!(job.money.list_minor, Some(40_000));
    }
}
