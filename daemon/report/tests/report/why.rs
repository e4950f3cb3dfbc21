//! Every printed row opens into lines that add up to it.

use baywright_floor::fact::LevelResult;
use baywright_floor::row::{CoatedRow, Row};
use baywright_report::figures::Week;
use baywright_report::{RowId, Why, WhyUnit, why};
use baywright_terms::time::Micros;
use proptest::prelude::*;

use crate::made::{Made, at, code, hours, job};
use crate::money::MONDAY;
use crate::random::{build, random};

fn open(made: &Made, week: &Week, id: RowId) -> Why {
    let why = why(&made.input(), week, &id.to_string()).unwrap();
    assert_eq!(why.id, id.to_string());
    assert!(!why.title.is_empty() && !why.formula.is_empty());
    let sum = |of: fn(&baywright_report::WhyLine) -> i64| why.lines.iter().map(of).sum::<i64>();
    assert_eq!(sum(|l| l.time_us), why.total_us, "{id}");
    assert_eq!(sum(|l| l.money_minor), why.total_minor, "{id}");
    assert_eq!(sum(|l| l.amount.base), why.total.base, "{id}");
    for line in &why.lines {
        let of_a_job = line.job_number.is_some();
        assert_eq!(line.job.is_some(), of_a_job, "{line:?}");
        assert!(!line.text.is_empty(), "{line:?}");
        let mut ordered = line.seqs.clone();
        ordered.sort_unstable();
        ordered.dedup();
        assert_eq!(ordered, line.seqs);
    }
    why
}

/// Opens every row of a week and compares it with the figure that is printed.
fn assert_opens(made: &Made) {
    let week = made.week(MONDAY);
    for (n, bay) in (1..).zip(&week.bays) {
        let why = open(made, &week, RowId::Bay(n));
        assert_eq!(why.unit, WhyUnit::Us);
        assert_eq!(why.total_us, bay.open_us + bay.occupied_outside_open_us);
        for (kind, us) in [
            ("hands-on", bay.hands_on_us),
            ("waiting", bay.waiting_us),
            ("idle", bay.idle_us),
        ] {
            let of_kind = why.lines.iter().filter(|line| line.text == kind);
            assert_eq!(of_kind.map(|line| line.time_us).sum::<i64>(), us, "{kind}");
        }
    }
    for (n, figures) in (1..).zip(&week.types) {
        let why = open(made, &week, RowId::Type(n));
        assert_eq!(why.total_us, figures.actual_us);
        assert_eq!(why.total_minor, figures.money.labour_minor);
        for (of, stage) in (1..).zip(&figures.stages) {
            let why = open(made, &week, RowId::Stage(n, of));
            assert_eq!(why.total_us, stage.actual_us, "{stage:?}");
        }
        for (cause, shortfall) in (1..).zip(&figures.shortfalls) {
            let why = open(made, &week, RowId::TypeShortfall(n, cause));
            assert_eq!(why.unit, WhyUnit::Minor);
            assert_eq!(why.total_minor, shortfall.amount_minor);
        }
    }
    for (cause, shortfall) in (1..).zip(&week.shortfalls) {
        let why = open(made, &week, RowId::Shortfall(cause));
        assert_eq!(why.total_minor, shortfall.amount_minor);
    }
    for figures in &week.jobs {
        let why = open(made, &week, RowId::Job(figures.number.unwrap()));
        assert_eq!(why.total_us, figures.actual_us);
        assert_eq!(why.total_minor, figures.money.labour_minor);
    }
    for (n, chemical) in (1..).zip(&week.chemicals) {
        let why = open(made, &week, RowId::Chemical(n));
        assert_eq!(why.unit, WhyUnit::Amount(chemical.unit));
        assert_eq!(why.total, chemical.used, "{chemical:?} {:?}", why.lines);
        assert_eq!(why.total_minor, chemical.cost_minor);
    }
    for (n, group) in (1..).zip(&week.rework) {
        let why = open(made, &week, RowId::Rework(n));
        assert_eq!(why.total.base, 1_000 * i64::from(group.sections));
    }
}

proptest! {
    #[test]
    fn every_row_opens_into_lines_that_add_up(
        random in random(0..9_999_999, 0..40_000_000_000),
        mixed in prop::collection::vec((prop::option::of(1_u8..4), 1_i64..900_000_000), 0..4),
        dumped in prop::option::of(1_i64..900_000_000),
    ) {
        let mut made = build(&random);
        let mix = made.mix("soap", 5_000_000_000, 333_333_333);
        for (n, base) in mixed {
            let used = baywright_terms::amount::Nanolitres(base);
            let quantity = Some(baywright_terms::amount::Quantity::Volume(used));
            made.used(n, "soap", "2026-11-24T09:00", quantity, Some(mix));
        }
        if let Some(base) = dumped {
            made.dump(mix, base, "2026-11-25T16:00");
        }
        made.wait(2, at("2026-11-24T09:00"), Some(at("2026-11-24T10:00")));
        coat(&mut made, 1, true);
        assert_opens(&made);
    }
}

fn coat(made: &mut Made, section: u8, levelled: bool) {
    let event = job(200 + section);
    let when = Micros(at("2026-11-24T14:00").0 + i64::from(section));
    let seq = made.used(None, "hard-coat", "2026-11-24T14:00", None, None);
    made.rows.pop();
    made.rows.push(Row::Coated(CoatedRow {
        event,
        seq,
        job: job(1),
        panel: code("nose"),
        section: u32::from(section),
        finish: code("gloss"),
        product: code("hard-coat"),
        lot: "L9".into(),
        layer: 1,
        at: when,
        air: None,
        humidity: None,
        surface: None,
    }));
    if levelled {
        made.rows.push(Row::Levelled {
            coated: event,
            job: job(1),
            at: Micros(when.0 + hours(1)),
            result: LevelResult::HighSpot,
            seq,
        });
    }
}

#[test]
fn a_row_that_is_not_there_says_which_are() {
    let mut made = Made::new(crate::made::shop());
    made.open(1, "unsorted", "2026-11-23T08:00");
    made.work(1, "decon", at("2026-11-23T08:00"), hours(1));
    made.release(1, "2026-11-23T17:00");
    let week = made.week(MONDAY);
    for id in ["b9", "x1", "j7", "", "t1.2", "t2", "f1"] {
        let error = why(&made.input(), &week, id).unwrap_err();
        let text = error.to_string();
        for part in ["b1", "t1", "t1.1", "j101", MONDAY] {
            assert!(text.contains(part), "{id}: {text}");
        }
    }
    let empty = made.week("2026-12-07");
    let error = why(&made.input(), &empty, "j101").unwrap_err();
    assert!(error.to_string().contains("none"), "{error}");
}

#[test]
fn a_bay_opens_into_what_each_job_took_and_the_empty_rest() {
    let mut catalogue = crate::made::shop();
    catalogue.bays.insert(code("bay-1"), crate::made::bay(1));
    let mut made = Made::new(catalogue);
    made.open(1, "unsorted", "2026-11-23T08:00");
    let (from, until) = (at("2026-11-23T08:00"), at("2026-11-23T12:00"));
    made.stay(1, "bay-1", from, Some(until));
    made.work(1, "decon", from, hours(1));
    made.wait(1, at("2026-11-23T09:00"), Some(at("2026-11-23T09:30")));
    let week = made.week(MONDAY);
    let lines: Vec<_> = open(&made, &week, RowId::Bay(1))
        .lines
        .into_iter()
        .map(|line| (line.job_number, line.text, line.time_us))
        .collect();
    let empty = "empty: open, and no job in the place".to_owned();
    assert_eq!(
        lines,
        [
            (Some(101), "hands-on".to_owned(), hours(1)),
            (Some(101), "waiting".to_owned(), hours(1) / 2),
            (Some(101), "idle".to_owned(), hours(5) / 2),
            // Five days of nine hours and four on Sunday.
            (None, empty, hours(45)),
        ]
    );
}
