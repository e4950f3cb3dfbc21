//! What nobody measured: dumped mixes and refills, shared over jobs; and what
//! it all cost.

use baywright_floor::event::Seq;
use baywright_floor::row::{ContainerKind, Row, StockKind};
use baywright_report::figures::{ChemicalFigures, JobStory, PortionUnit, StoryUse, Week};
use baywright_terms::amount::{Micrograms, Money, Nanolitres, Quantity};
use baywright_terms::catalogue::{Catalogue, Product};
use baywright_terms::code::Code;
use baywright_terms::time::Micros;
use proptest::prelude::*;

use crate::made::{Made, at, code, hours, job, job_type, minutes, ml, product, shop};

const ML: i64 = 1_000_000;

fn unmetered() -> Product {
    Product {
        unmetered: true,
        ..product(None)
    }
}

fn priced(minor: i64, pack_ml: i64) -> Product {
    Product {
        pack: Some(ml(pack_ml)),
        pack_price: Some(Money {
            minor,
            currency: "EUR".to_owned(),
        }),
        ..product(None)
    }
}

fn trade() -> Catalogue {
    let mut catalogue = shop();
    let types = &mut catalogue.job_types;
    let stages = [("wash", hours(1))];
    types.insert(
        code("trike-coat"),
        job_type(&stages, &[("glass-cleaner", ml(60)), ("soap", ml(100))]),
    );
    types.insert(
        code("boat-wash"),
        job_type(&stages, &[("glass-cleaner", ml(30))]),
    );
    types.insert(code("mirror-only"), job_type(&stages, &[]));
    let products = &mut catalogue.products;
    products.insert(code("glass-cleaner"), unmetered());
    products.insert(code("soap"), priced(1_000, 1_000));
    catalogue
}

fn refill(made: &mut Made, product: &str, when: &str, quantity: Option<Quantity>) -> Seq {
    let seq = Seq(9_000 + u64::try_from(made.rows.len()).unwrap());
    made.rows.push(Row::Container {
        product: code(product),
        bay: code("bay-1"),
        kind: ContainerKind::Refilled,
        quantity,
        lot: String::new(),
        at: at(when),
        seq,
    });
    seq
}

fn volume(ml: i64) -> Quantity {
    Quantity::Volume(Nanolitres(ml * ML))
}

/// A job worked on from an instant for so many minutes.
fn worked(made: &mut Made, n: u8, kind: &str, when: &str, for_min: i64) {
    made.open(n, kind, when);
    made.work(n, "wash", at(when), minutes(for_min));
    made.release(n, "2026-11-28T12:00");
}

fn story(made: &Made, n: u8) -> JobStory {
    baywright_report::story(&made.input(), job(n)).unwrap()
}

/// A job's row of glass cleaner.
fn glass(made: &Made, n: u8) -> StoryUse {
    let uses = story(made, n).uses;
    uses.into_iter()
        .find(|u| u.product == code("glass-cleaner"))
        .unwrap()
}

#[test]
fn what_a_refill_took_is_shared_by_allowance_over_who_worked_since_the_last() {
    let mut made = Made::new(trade());
    refill(
        &mut made,
        "glass-cleaner",
        "2026-11-23T07:00",
        Some(volume(500)),
    );
    worked(&mut made, 1, "trike-coat", "2026-11-23T08:00", 60);
    worked(&mut made, 2, "boat-wash", "2026-11-23T10:00", 20);
    worked(&mut made, 3, "mirror-only", "2026-11-23T11:00", 90);
    let second = refill(
        &mut made,
        "glass-cleaner",
        "2026-11-24T07:00",
        Some(volume(270)),
    );
    // Twice the allowance, twice the share; who is allowed none takes none.
    for (n, want) in [(1, 180), (2, 90)] {
        let glass = glass(&made, n);
        assert_eq!(glass.used.base, want * ML, "job {n}");
        assert_eq!((glass.apportioned, glass.at_allowance), (true, false));
        assert_eq!(glass.seqs, [second]);
    }
    assert!(
        story(&made, 3)
            .uses
            .iter()
            .all(|u| u.product != code("glass-cleaner"))
    );
}

#[test]
fn a_job_over_a_refill_takes_of_both_sides_by_its_hours_on_each() {
    let mut made = Made::new(trade());
    refill(
        &mut made,
        "glass-cleaner",
        "2026-11-23T07:00",
        Some(volume(500)),
    );
    // A quarter of the work lies before nine.
    worked(&mut made, 1, "trike-coat", "2026-11-23T08:30", 120);
    worked(&mut made, 2, "boat-wash", "2026-11-23T08:00", 60);
    let second = refill(
        &mut made,
        "glass-cleaner",
        "2026-11-23T09:00",
        Some(volume(90)),
    );
    let third = refill(
        &mut made,
        "glass-cleaner",
        "2026-11-24T07:00",
        Some(volume(40)),
    );
    // Weights 60 × 1/4 = 15 and 30 before; job 1 alone after.
    let first = glass(&made, 1);
    assert_eq!(first.used.base, (30 + 40) * ML);
    assert_eq!(first.seqs, [second, third]);
    assert_eq!(glass(&made, 2).used.base, 60 * ML);
}

#[test]
fn before_the_first_refill_and_after_the_last_the_allowance_stands_in() {
    let mut made = Made::new(trade());
    worked(&mut made, 1, "trike-coat", "2026-11-23T08:00", 60);
    refill(
        &mut made,
        "glass-cleaner",
        "2026-11-23T12:00",
        Some(volume(5_000)),
    );
    worked(&mut made, 2, "boat-wash", "2026-11-23T13:00", 60);
    for (n, want) in [(1, 60), (2, 30)] {
        let glass = glass(&made, n);
        assert_eq!(glass.used.base, want * ML, "job {n}");
        assert_eq!((glass.apportioned, glass.at_allowance), (false, true));
        assert_eq!(glass.seqs, []);
    }
    // A refill without an amount ends an interval of which nothing is known.
    refill(&mut made, "glass-cleaner", "2026-11-24T12:00", None);
    assert!(glass(&made, 2).at_allowance);
    // One in grams says nothing about millilitres without a density.
    refill(
        &mut made,
        "glass-cleaner",
        "2026-11-25T12:00",
        Some(Quantity::Mass(Micrograms(5 * ML))),
    );
    assert!(glass(&made, 2).at_allowance);
}

#[test]
fn what_was_measured_by_hand_comes_off_first_and_its_job_takes_no_share() {
    let mut made = Made::new(trade());
    refill(
        &mut made,
        "glass-cleaner",
        "2026-11-23T07:00",
        Some(volume(500)),
    );
    worked(&mut made, 1, "trike-coat", "2026-11-23T08:00", 60);
    worked(&mut made, 2, "boat-wash", "2026-11-23T10:00", 60);
    made.used(
        Some(1),
        "glass-cleaner",
        "2026-11-23T08:30",
        Some(volume(70)),
        None,
    );
    made.used(
        None,
        "glass-cleaner",
        "2026-11-23T09:00",
        Some(volume(10)),
        None,
    );
    refill(
        &mut made,
        "glass-cleaner",
        "2026-11-24T07:00",
        Some(volume(200)),
    );
    let first = glass(&made, 1);
    assert_eq!((first.used.base, first.apportioned), (70 * ML, false));
    assert_eq!(glass(&made, 2).used.base, 120 * ML);
}

#[test]
fn a_refill_that_no_job_can_have_taken_is_nobodys_and_still_shown() {
    let mut made = Made::new(trade());
    refill(
        &mut made,
        "glass-cleaner",
        "2026-11-23T07:00",
        Some(volume(500)),
    );
    worked(&mut made, 3, "mirror-only", "2026-11-23T11:00", 90);
    refill(
        &mut made,
        "glass-cleaner",
        "2026-11-24T07:00",
        Some(volume(270)),
    );
    // The refill of a metered product only moves it into another bottle.
    refill(&mut made, "soap", "2026-11-23T07:00", Some(volume(500)));
    refill(&mut made, "soap", "2026-11-24T07:00", Some(volume(500)));
    let week = made.week("2026-11-23");
    let loose: Vec<_> = of_type(&week, "").collect();
    assert_eq!(loose.len(), 1, "{loose:?}");
    assert_eq!(loose[0].used.base, 270 * ML);
    assert!(loose[0].apportioned);
}

#[test]
fn a_comeback_is_allowed_nothing_and_takes_no_share() {
    let mut made = Made::new(trade());
    refill(
        &mut made,
        "glass-cleaner",
        "2026-11-23T07:00",
        Some(volume(500)),
    );
    worked(&mut made, 1, "trike-coat", "2026-11-23T08:00", 60);
    made.open_again(2, "trike-coat", "2026-11-23T10:00", Some(1));
    made.work(2, "wash", at("2026-11-23T10:00"), minutes(60));
    refill(
        &mut made,
        "glass-cleaner",
        "2026-11-24T07:00",
        Some(volume(100)),
    );
    assert_eq!(glass(&made, 1).used.base, 100 * ML);
    assert!(story(&made, 2).uses.is_empty());
}

fn of_type<'w>(week: &'w Week, kind: &'w str) -> impl Iterator<Item = &'w ChemicalFigures> {
    week.chemicals
        .iter()
        .filter(move |c| c.job_type == code(kind))
}

/// Definition 8 by hand: of three values the median is the second, and P80 lies
/// at place (3 + 1/3) · 0.8 + 1/3 = 3, the third.
#[test]
fn figures_for_each_job_are_over_the_jobs_with_an_amount_and_without_waste() {
    let mut made = Made::new(trade());
    for (n, used) in [(1, Some(50)), (2, Some(80)), (3, Some(200)), (4, None)] {
        worked(&mut made, n, "trike-coat", "2026-11-23T08:00", 60);
        if let Some(used) = used {
            made.used(
                Some(n),
                "soap",
                "2026-11-23T08:30",
                Some(volume(used)),
                None,
            );
        }
    }
    let mix = made.mix("soap", 1_000 * ML, 1_000 * ML);
    made.used(
        Some(3),
        "soap",
        "2026-11-23T08:40",
        Some(volume(100)),
        Some(mix),
    );
    made.dump(mix, 900 * ML, "2026-11-27T16:00");
    let week = made.week("2026-11-23");
    let soap = of_type(&week, "trike-coat")
        .find(|c| c.product == code("soap"))
        .unwrap();
    let per_job = soap.per_job;
    assert_eq!((soap.jobs, soap.jobs_with_use, per_job.n), (4, 3, 3));
    // (50 + 80 + 300) / 3, half to even.
    assert_eq!(per_job.mean_base, 143_333_333);
    assert_eq!(per_job.median_base, 80 * ML);
    assert_eq!(per_job.p80_base, 300 * ML);
    // A millilitre is a minor unit.
    assert_eq!(per_job.cost_median_minor, 80);
    assert_eq!(per_job.cost_p80_minor, 300);
    assert_eq!(soap.dumped.base, 900 * ML);
    assert_eq!(soap.dumped_cost_minor, 900);
    assert_eq!(soap.cost_minor, 430 + 900);
    assert_eq!(soap.allowance_cost_minor, 400);
    let third = story(&made, 3).uses;
    let third = third.iter().find(|u| u.product == code("soap")).unwrap();
    assert_eq!((third.cost_minor, third.waste_minor), (1_200, 900));
}

#[test]
fn a_product_without_a_price_says_so() {
    let mut made = Made::new(trade());
    worked(&mut made, 1, "trike-coat", "2026-11-23T08:00", 60);
    made.used(Some(1), "tape", "2026-11-23T08:30", Some(volume(5)), None);
    made.used(Some(1), "soap", "2026-11-23T08:30", Some(volume(5)), None);
    let week = made.week("2026-11-23");
    let no_price = |name: &str| {
        let mut rows = of_type(&week, "trike-coat");
        rows.find(|c| c.product == code(name)).unwrap().no_price
    };
    assert!(no_price("tape"));
    assert!(!no_price("soap"));
}

#[derive(Debug, Clone)]
enum Happened {
    Worked(u8, i64),
    Measured(Option<u8>, i64),
    Drew(Option<u8>, i64),
    Dumped(i64),
    Refilled(i64),
}

fn happened() -> impl Strategy<Value = Happened> {
    let job = 1_u8..6;
    prop_oneof![
        (job.clone(), 1_i64..90).prop_map(|(n, min)| Happened::Worked(n, min)),
        (prop::option::of(job.clone()), 1_i64..40_000_000)
            .prop_map(|(n, nl)| Happened::Measured(n, nl)),
        (prop::option::of(job), 1_i64..400_000_000).prop_map(|(n, nl)| Happened::Drew(n, nl)),
        (1_i64..400_000_000).prop_map(Happened::Dumped),
        (1_i64..900_000_000).prop_map(Happened::Refilled),
    ]
}

/// A shop in which things happened two hours apart, all jobs released.
fn random_shop(things: &[Happened]) -> Made {
    let mut catalogue = trade();
    let cleaner = catalogue.products.get_mut(&code("glass-cleaner")).unwrap();
    cleaner.pack = Some(ml(750));
    cleaner.pack_price = Some(Money {
        minor: 1_333,
        currency: "EUR".to_owned(),
    });
    let mut made = Made::new(catalogue);
    for n in 1..6 {
        let kind = ["trike-coat", "boat-wash", "mirror-only"][usize::from(n) % 3];
        made.open(n, kind, "2026-11-02T08:00");
    }
    let mix = made.mix("soap", 7_000_000_000, 999_999_999);
    let begin = at("2026-11-02T08:00");
    for (place, thing) in (0..).zip(things) {
        let when = Micros(begin.0 + place * hours(2));
        let civil = when.civil(&crate::made::zone()).to_string();
        let volume = |nl: i64| Some(Quantity::Volume(Nanolitres(nl)));
        match *thing {
            Happened::Worked(n, min) => made.work(n, "wash", when, minutes(min)),
            Happened::Measured(n, nl) => {
                made.used(n, "glass-cleaner", &civil, volume(nl), None);
            }
            Happened::Drew(n, nl) => {
                made.used(n, "soap", &civil, volume(nl), Some(mix));
            }
            Happened::Dumped(nl) => made.dump(mix, nl, &civil),
            Happened::Refilled(nl) => {
                refill(&mut made, "glass-cleaner", &civil, volume(nl));
            }
        }
    }
    for n in 1..6 {
        made.release(n, "2026-12-30T12:00");
    }
    made.rows.push(Row::Stock {
        product: code("soap"),
        kind: StockKind::Received,
        quantity: Some(volume(3_000)),
        packs: 3,
        price_minor: Some(1_117),
        lot: String::new(),
        at: at("2026-11-04T08:00"),
        seq: Seq(8_999),
    });
    made
}

fn all_time(made: &Made) -> Week {
    let (from, until) = (at("2026-01-01T00:00"), at("2027-03-01T00:00"));
    baywright_report::week(&made.input(), "all", from, until)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn what_was_dumped_is_shared_without_a_nanolitre_left(
        things in prop::collection::vec(happened(), 1..60),
    ) {
        let made = random_shop(&things);
        let week = all_time(&made);
        let dumped: i64 = week.chemicals.iter().map(|c| c.dumped.base).sum();
        // Each dump is rounded once, as a use of the same volume would be.
        let volumes = things.iter().filter_map(|thing| match thing {
            Happened::Dumped(nl) => Some(i128::from(*nl)),
            _ => None,
        });
        let want: i128 = volumes
            .map(|nl| {
                let (whole, rest) = (nl * 999_999_999 / 7_000_000_000, nl * 999_999_999 % 7_000_000_000);
                let up = rest * 2 > 7_000_000_000 || (rest * 2 == 7_000_000_000 && whole % 2 == 1);
                whole + i128::from(up)
            })
            .sum();
        prop_assert_eq!(i128::from(dumped), want);
    }

    #[test]
    fn refills_are_used_up_by_what_was_measured_and_what_was_shared(
        mut things in prop::collection::vec(happened(), 1..60),
    ) {
        // Nothing before the first refill and after the last, so that no
        // allowance stands in; the first only begins the counting.
        let is_refill = |thing: &Happened| matches!(thing, Happened::Refilled(_));
        let first = things.iter().position(is_refill).unwrap_or(things.len());
        things.drain(..first);
        let last = things.iter().rposition(is_refill).map_or(0, |last| last + 1);
        things.truncate(last);
        let made = random_shop(&things);
        let week = all_time(&made);
        let cleaner = || week.chemicals.iter().filter(|c| c.product == code("glass-cleaner"));
        prop_assert!(cleaner().all(|c| !c.at_allowance && c.unit == PortionUnit::Ml));
        let taken: i64 = cleaner().map(|c| c.used.base).sum();
        let mut want = 0;
        let mut measured = 0;
        for thing in things.iter().skip(1) {
            match thing {
                // More measured than went in is believed.
                Happened::Refilled(nl) => {
                    want += (*nl).max(measured);
                    measured = 0;
                }
                Happened::Measured(_, nl) => measured += nl,
                _ => {}
            }
        }
        prop_assert_eq!(taken, want);
    }

    #[test]
    fn costs_of_the_rows_add_up_to_the_materials_of_the_jobs(
        things in prop::collection::vec(happened(), 1..60),
    ) {
        let made = random_shop(&things);
        let week = all_time(&made);
        let cost = |of_jobs: bool| -> i64 {
            let rows = week.chemicals.iter();
            rows.filter(|c| c.job_type.as_str().is_empty() != of_jobs).map(|c| c.cost_minor).sum()
        };
        prop_assert_eq!(cost(true), week.money.materials_minor);
        prop_assert_eq!(cost(false), week.money.loose_materials_minor);
        for job in &week.jobs {
            let story = baywright_report::story(&made.input(), job.job).unwrap();
            let costs: i64 = story.uses.iter().map(|u| u.cost_minor).sum();
            prop_assert_eq!(costs, job.money.materials_minor);
        }
        let of = |code: &Code| week.chemicals.iter().filter(|c| c.product == *code).count();
        prop_assert!(of(&code("soap")) > 0);
    }
}
