//! Money of jobs, and why they fell short.

use baywright_floor::fact::Declaration;
use baywright_floor::row::{Ended, Row, StockKind};
use baywright_report::figures::{Cause, JobFigures, Shortfall, Week};
use baywright_terms::amount::{Money, Nanolitres, Quantity, Unit};
use baywright_terms::catalogue::{Catalogue, ShopCosts, Worker};
use proptest::prelude::*;

use crate::made::{Made, amount, at, code, hours, job_type, minutes, ml, product, shop};
use crate::random::{build, random};

pub(crate) const MONDAY: &str = "2026-11-23";

pub(crate) fn worker(rate_minor: i64) -> Worker {
    Worker {
        name: String::new(),
        rate_minor: Some(rate_minor),
        retired: false,
    }
}

/// Two stages and 100 ml of soap for 400.00; ana costs 20.00 and ben 30.00 an
/// hour; a litre of soap costs 10.00.
fn trade() -> Catalogue {
    let mut catalogue = shop();
    let workers = &mut catalogue.workers;
    workers.insert(code("ana"), worker(2_000));
    workers.insert(code("ben"), worker(3_000));
    let mut soap = product(None);
    soap.pack = Some(ml(1_000));
    soap.pack_price = Some(Money::new(1_000, "EUR"));
    catalogue.products.insert(code("soap"), soap);
    let stages = [("decon", hours(2)), ("polish", hours(4))];
    let mut kind = job_type(&stages, &[("soap", ml(100))]);
    kind.price = Some(Money::new(40_000, "EUR"));
    catalogue.job_types.insert(code("trike-coat"), kind);
    catalogue
}

pub(crate) fn with_costs(costs: ShopCosts) -> Catalogue {
    let mut catalogue = trade();
    if let Some(shop) = &mut catalogue.shop {
        shop.costs = costs;
    }
    catalogue
}

fn volume(ml: i64) -> Quantity {
    Quantity::Volume(Nanolitres(ml * 1_000_000))
}

pub(crate) fn receive(made: &mut Made, when: &str, lot: &str, packs: u32, price_minor: i64) {
    let seq = made.used(None, "soap", when, None, None);
    made.rows.pop();
    made.rows.push(Row::Stock {
        product: code("soap"),
        kind: StockKind::Received,
        quantity: Some(volume(1_000 * i64::from(packs))),
        packs,
        price_minor: Some(price_minor),
        lot: lot.into(),
        at: at(when),
        seq,
    });
}

fn agree(made: &mut Made, agreed: i64) {
    for row in &mut made.rows {
        if let Row::JobOpened(opened) = row {
            opened.agreed_minor = Some(agreed);
        }
    }
}

fn amount_of(shortfalls: &[Shortfall], cause: Cause) -> i64 {
    let of_cause = shortfalls.iter().find(|s| s.cause == cause);
    of_cause.unwrap().amount_minor
}

/// All causes, in order.
fn amounts(shortfalls: &[Shortfall]) -> Vec<i64> {
    shortfalls.iter().map(|s| s.amount_minor).collect()
}

/// One job of the week, opened on Monday at 8:00 and released on Friday.
fn one(made: &mut Made) -> JobFigures {
    made.release(1, "2026-11-27T12:00");
    let week = made.week(MONDAY);
    assert_adds_up(&week);
    week.jobs.into_iter().next().unwrap()
}

fn opened(catalogue: Catalogue) -> Made {
    let mut made = Made::new(catalogue);
    made.open(1, "trike-coat", "2026-11-23T08:00");
    made
}

fn by(made: &mut Made, stage: &str, worker: &str, from: &str, us: i64, rework: bool) {
    let from = at(from);
    made.work_as(1, stage, worker, "bay-1", from, us, Ended::Done, rework);
}

/// Everything that must add up, in every figure of a week.
fn assert_adds_up(week: &Week) {
    let parts_add_up = |shortfalls: &[Shortfall]| {
        for s in shortfalls {
            let parts: i64 = s.parts.iter().map(|p| p.amount_minor).sum();
            assert_eq!(parts, s.amount_minor, "{s:?}");
            if s.cause != Cause::DiscountGiven {
                assert_eq!(s.labour_minor + s.materials_minor, s.amount_minor, "{s:?}");
            }
        }
        shortfalls.iter().map(|s| s.amount_minor).sum::<i64>()
    };
    for j in &week.jobs {
        let m = &j.money;
        assert_eq!(
            m.contribution_minor,
            m.revenue_minor.unwrap_or(0)
                - m.labour_minor
                - m.materials_minor
                - m.supplies_minor
                - m.overhead_minor
        );
        match m.quoted {
            Some(quoted) => assert_eq!(
                parts_add_up(&j.shortfalls),
                quoted.contribution_minor - m.contribution_minor,
                "{:?}",
                j.shortfalls
            ),
            None => assert!(j.shortfalls.is_empty()),
        }
    }
    let sums = week.types.iter().map(|t| (&t.money, &t.shortfalls));
    for (money, shortfalls) in sums.chain([(&week.money, &week.shortfalls)]) {
        assert_eq!(
            parts_add_up(shortfalls),
            money.quoted_contribution_minor - money.contribution_of_quoted_minor
        );
    }
    let of_types = |of: &dyn Fn(&baywright_report::figures::WeekMoney) -> i64| {
        week.types.iter().map(|t| of(&t.money)).sum::<i64>()
    };
    assert_eq!(of_types(&|m| m.revenue_minor), week.money.revenue_minor);
    assert_eq!(of_types(&|m| m.labour_minor), week.money.labour_minor);
    assert_eq!(of_types(&|m| m.materials_minor), week.money.materials_minor);
    assert_eq!(
        of_types(&|m| m.contribution_minor),
        week.money.contribution_minor
    );
}

#[test]
fn a_job_as_quoted_falls_short_by_nothing() {
    let mut made = opened(with_costs(ShopCosts {
        standard_rate_minor: Some(2_000),
        ..ShopCosts::default()
    }));
    by(
        &mut made,
        "decon",
        "ana",
        "2026-11-23T08:00",
        hours(2),
        false,
    );
    by(
        &mut made,
        "polish",
        "ana",
        "2026-11-24T08:00",
        hours(4),
        false,
    );
    made.used(Some(1), "soap", "2026-11-23T09:00", Some(volume(100)), None);
    let job = one(&mut made);
    assert_eq!(amounts(&job.shortfalls), [0; 7]);
    let money = &job.money;
    assert_eq!((money.labour_minor, money.materials_minor), (12_000, 100));
    assert_eq!(money.contribution_minor, 40_000 - 12_100);
    assert!(money.revenue_assumed && !money.margin);
    // (400.00 − 1.00) ÷ 6 h.
    assert_eq!(money.effective_hour_minor, Some(6_650));
}

#[test]
fn each_cause_takes_its_own_and_they_add_up() {
    // The standard rate is the mean of 20.00 and 30.00.
    let mut made = opened(trade());
    by(
        &mut made,
        "decon",
        "ana",
        "2026-11-23T08:00",
        hours(3),
        false,
    );
    by(
        &mut made,
        "polish",
        "ben",
        "2026-11-24T08:00",
        hours(4),
        false,
    );
    by(
        &mut made,
        "polish",
        "ben",
        "2026-11-25T08:00",
        hours(1),
        true,
    );
    receive(&mut made, "2026-11-23T08:30", "L1", 2, 1_500);
    made.used(Some(1), "soap", "2026-11-23T09:00", Some(volume(140)), None);
    agree(&mut made, 35_000);
    let job = one(&mut made);
    // Discount 50.00; an hour over in decon at 25.00; ana 3 h × −5.00 and ben
    // 5 h × +5.00; 40 ml over at 10.00 a litre; 140 ml at 5.00 a litre more;
    // an hour of rework at 25.00; no waste.
    assert_eq!(
        amounts(&job.shortfalls),
        [5_000, 2_500, 1_000, 40, 70, 2_500, 0]
    );
    let took = &job.shortfalls[1].parts;
    assert_eq!(took.len(), 1);
    assert_eq!(
        (took[0].stage.as_str(), took[0].amount_minor),
        ("decon", 2_500)
    );
    assert_eq!(job.money.labour_minor, 3 * 2_000 + 5 * 3_000);
    assert_eq!(job.money.materials_minor, 210);
}

#[test]
fn two_workers_cost_their_own_rates_and_a_rate_that_changed_mid_stretch_is_cut() {
    let mut made = opened(trade());
    let mut raised = Catalogue::default();
    raised.workers.insert(code("ana"), worker(2_600));
    made.set(at("2026-11-23T10:00"), raised);
    by(
        &mut made,
        "decon",
        "ana",
        "2026-11-23T08:00",
        hours(3),
        false,
    );
    by(
        &mut made,
        "decon",
        "ben",
        "2026-11-23T08:00",
        hours(2),
        false,
    );
    let job = one(&mut made);
    assert_eq!(job.money.labour_minor, 2 * 2_000 + 2_600 + 2 * 3_000);
    // The standard stays what it was at opening: 25.00.
    let paid = amount_of(&job.shortfalls, Cause::PaidMorePerHour);
    assert_eq!(paid, 12_600 - 5 * 2_500);
}

#[test]
fn the_wage_burden_multiplies_every_rate_and_with_overhead_it_is_a_margin() {
    let mut made = opened(with_costs(ShopCosts {
        standard_rate_minor: Some(2_000),
        wage_burden_milli: Some(1_250),
        overhead_per_hour_minor: Some(1_000),
        ..ShopCosts::default()
    }));
    by(
        &mut made,
        "decon",
        "ana",
        "2026-11-23T08:00",
        hours(2),
        false,
    );
    let job = one(&mut made);
    let money = &job.money;
    assert_eq!(money.labour_minor, 5_000);
    // Six sold hours, though two were worked.
    assert_eq!(money.overhead_minor, 6_000);
    assert!(money.margin);
    let quoted = money.quoted.unwrap();
    assert_eq!(quoted.labour_minor, 15_000);
    assert_eq!(quoted.contribution_minor, 40_000 - 15_000 - 100 - 6_000);
}

#[test]
fn nobody_named_and_declared_minutes_cost_the_standard_rate() {
    let mut made = opened(trade());
    by(&mut made, "decon", "", "2026-11-23T08:00", hours(1), false);
    by(
        &mut made,
        "decon",
        "cas",
        "2026-11-23T08:00",
        hours(2),
        false,
    );
    let about_us = minutes(30);
    made.declare(1, "polish", Declaration::DoneAbout { about_us });
    let job = one(&mut made);
    assert_eq!(job.money.labour_minor, 2_500 * 7 / 2);
    assert_eq!(job.money.labour_without_rate_us, hours(3));
    assert_eq!(amount_of(&job.shortfalls, Cause::PaidMorePerHour), 0);
}

#[test]
fn without_any_rate_labour_costs_nothing_and_is_said_to() {
    let mut catalogue = trade();
    catalogue.workers.clear();
    let mut made = opened(catalogue);
    by(
        &mut made,
        "decon",
        "ana",
        "2026-11-23T08:00",
        hours(3),
        false,
    );
    let job = one(&mut made);
    assert_eq!(job.money.labour_minor, 0);
    assert_eq!(job.money.labour_without_rate_us, hours(3));
}

#[test]
fn the_named_lot_is_priced_then_the_last_receipt_then_the_catalogue() {
    for (lot, when, want) in [
        // Before any receipt: the catalogue's 10.00.
        ("", "2026-11-23T08:10", 1_000),
        // The named lot, though it was written down after the use.
        ("L2", "2026-11-23T08:10", 3_000),
        ("", "2026-11-23T09:00", 2_000),
        ("L1", "2026-11-25T09:00", 2_000),
        ("", "2026-11-25T09:00", 3_000),
        // A lot nobody received: the last receipt.
        ("L9", "2026-11-25T09:00", 3_000),
    ] {
        let mut made = opened(trade());
        receive(&mut made, "2026-11-23T08:30", "L1", 3, 2_000);
        receive(&mut made, "2026-11-24T08:30", "L2", 1, 3_000);
        made.used(Some(1), "soap", when, Some(volume(1_000)), None);
        if let Some(Row::Use(used)) = made.rows.last_mut() {
            used.lot = lot.into();
        }
        assert_eq!(one(&mut made).money.materials_minor, want, "{lot} {when}");
    }
}

#[test]
fn a_price_in_another_currency_is_none() {
    let mut catalogue = trade();
    for soap in catalogue.products.values_mut() {
        soap.pack_price = Some(Money::new(1_000, "USD"));
    }
    for kind in catalogue.job_types.values_mut() {
        kind.price = Some(Money::new(40_000, "USD"));
    }
    let mut made = opened(catalogue);
    made.used(Some(1), "soap", "2026-11-23T09:00", Some(volume(140)), None);
    let job = one(&mut made);
    assert_eq!(job.money.materials_minor, 0);
    assert_eq!(job.money.uses_without_price, 1);
    assert_eq!(
        (job.money.revenue_minor, job.money.list_minor),
        (None, None)
    );
    assert!(job.shortfalls.is_empty() && job.money.quoted.is_none());
    assert_eq!(job.money.contribution_minor, 0);
}

#[test]
fn a_pack_by_weight_prices_a_volume_by_the_density() {
    let mut catalogue = trade();
    for soap in catalogue.products.values_mut() {
        // A kilogram of 1.25 g/ml is 800 ml.
        soap.pack = Some(amount(1, Unit::Kg));
        soap.density_micro_g_per_ml = Some(1_250_000);
    }
    let mut made = opened(catalogue);
    made.used(Some(1), "soap", "2026-11-23T09:00", Some(volume(400)), None);
    assert_eq!(one(&mut made).money.materials_minor, 500);
}

#[test]
fn a_product_without_an_allowance_is_all_used_more() {
    let mut made = opened(trade());
    made.set(at("2026-11-23T08:00"), Catalogue::default());
    let mut wax = product(None);
    wax.pack = Some(ml(500));
    wax.pack_price = Some(Money::new(2_000, "EUR"));
    let mut later = Catalogue::default();
    // Not in the catalogue at opening: what was paid is the standard.
    later.products.insert(code("wax"), wax);
    made.set(at("2026-11-23T12:00"), later);
    made.used(Some(1), "wax", "2026-11-24T09:00", Some(volume(50)), None);
    let job = one(&mut made);
    assert_eq!(job.money.materials_minor, 200);
    // 200 of wax over, 100 ml of soap saved.
    assert_eq!(amount_of(&job.shortfalls, Cause::UsedMore), 100);
    assert_eq!(amount_of(&job.shortfalls, Cause::PaidMoreForIt), 0);
}

#[test]
fn all_of_a_comeback_is_rework_and_brings_nothing_in() {
    let mut made = Made::new(trade());
    made.open(2, "trike-coat", "2026-11-16T08:00");
    made.open_again(1, "trike-coat", "2026-11-23T08:00", Some(2));
    by(
        &mut made,
        "polish",
        "ben",
        "2026-11-24T08:00",
        hours(1),
        false,
    );
    let job = one(&mut made);
    assert_eq!(
        (job.money.revenue_minor, job.money.list_minor),
        (Some(0), Some(0))
    );
    assert!(!job.money.revenue_assumed);
    assert_eq!(amount_of(&job.shortfalls, Cause::Rework), 2_500);
    assert_eq!(amount_of(&job.shortfalls, Cause::PaidMorePerHour), 500);
    assert_eq!(job.money.contribution_minor, -3_000);
}

#[test]
fn supplies_are_the_same_on_both_sides() {
    let mut catalogue = trade();
    for (stage, minor) in [("decon", 300), ("polish", 500), ("wax", 70)] {
        let stage_of = baywright_terms::catalogue::Stage {
            name: String::new(),
            kind: baywright_terms::catalogue::StageKind::Other,
            rules: Vec::new(),
            caution: String::new(),
            supplies_minor: Some(minor),
            retired: false,
        };
        catalogue.stages.insert(code(stage), stage_of);
    }
    let mut made = opened(catalogue.clone());
    by(&mut made, "wax", "ana", "2026-11-23T08:00", hours(1), false);
    let job = one(&mut made);
    assert_eq!(job.money.supplies_minor, 800);
    let quoted = job.money.quoted.unwrap();
    assert_eq!(quoted.contribution_minor, 40_000 - 15_000 - 100 - 800);
    // Nothing is allowed: the stages worked on.
    let mut made = Made::new(catalogue);
    made.open(1, "unsorted", "2026-11-23T08:00");
    by(&mut made, "wax", "ana", "2026-11-23T08:00", hours(1), false);
    by(&mut made, "wax", "ben", "2026-11-23T10:00", hours(1), false);
    let job = one(&mut made);
    assert_eq!(job.money.supplies_minor, 70);
    assert_eq!(job.money.quoted, None);
}

#[test]
fn later_prices_rates_and_allowances_do_not_move_the_quote() {
    let quote = |later: bool| {
        let mut made = opened(trade());
        if later {
            let mut changed = trade();
            changed.workers.insert(code("ana"), worker(9_000));
            let mut kind = job_type(&[("decon", hours(9))], &[("soap", ml(900))]);
            kind.price = Some(Money::new(90_000, "EUR"));
            changed.job_types.insert(code("trike-coat"), kind);
            made.set(at("2026-11-24T00:00"), changed);
        }
        one(&mut made).money.quoted
    };
    assert_eq!(quote(false), quote(true));
}

#[test]
fn a_bay_earns_by_the_hours_that_its_jobs_took_anywhere() {
    let mut made = opened(trade());
    for (bay, from, until) in [
        ("bay-1", "2026-11-23T08:00", "2026-11-23T11:00"),
        ("bay-2", "2026-11-23T11:00", "2026-11-23T12:00"),
        ("holding", "2026-11-23T12:00", "2026-11-27T12:00"),
    ] {
        made.stay(1, bay, at(from), Some(at(until)));
    }
    made.release(1, "2026-11-27T12:00");
    let week = made.week(MONDAY);
    // 400.00 over four hours in bays, whichever bay.
    let per_hour: Vec<_> = week
        .bays
        .iter()
        .map(|bay| bay.contribution_per_hour_minor)
        .collect();
    assert_eq!(per_hour, [Some(10_000), Some(10_000)]);
}

#[test]
fn what_was_used_on_no_job_is_loose() {
    let mut made = Made::new(trade());
    made.used(None, "soap", "2026-11-23T09:00", Some(volume(250)), None);
    made.used(None, "soap", "2026-11-30T09:00", Some(volume(999)), None);
    let week = made.week(MONDAY);
    assert_eq!(week.money.loose_materials_minor, 250);
    assert_eq!(week.money.materials_minor, 0);
}

proptest! {
    #[test]
    fn money_adds_up_at_every_level(random in random(0..9_999_999, 0..40_000_000_000)) {
        assert_adds_up(&build(&random).week(MONDAY));
    }

    #[test]
    fn nothing_overflows_and_the_parts_still_add_up(
        random in random(i64::MIN..i64::MAX, 0..i64::MAX / 4),
    ) {
        assert_adds_up(&build(&random).week(MONDAY));
    }
}
