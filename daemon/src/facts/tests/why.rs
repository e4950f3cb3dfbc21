//! Every id that a week prints opens into lines that add up to its row.

use baywright_proto::v1;
use baywright_terms::time::Micros;

use super::reads::desk;
use super::shop::{MINUTE_US, START_US, Shop};
use crate::facts::ReportError;
use crate::learner::Learner;

/// What a printed row says: its id, and the time, money or amount of it.
struct Printed {
    id: String,
    us: Option<i64>,
    minor: Option<i64>,
    amount: Option<f64>,
}

fn printed(week: &v1::Week) -> Vec<Printed> {
    let row = |id: &str, us, minor, amount| Printed {
        id: id.to_owned(),
        us,
        minor,
        amount,
    };
    let mut rows = Vec::new();
    for bay in &week.bays {
        let us = bay.open_us + bay.occupied_outside_open_us;
        rows.push(row(&bay.id, Some(us), None, None));
    }
    for figures in &week.types {
        let money = figures.money.unwrap();
        let labour = Some(money.labour_minor);
        rows.push(row(&figures.id, Some(figures.actual_us), labour, None));
        for stage in &figures.stages {
            rows.push(row(&stage.id, Some(stage.actual_us), None, None));
        }
        for of in &figures.shortfalls {
            rows.push(row(&of.id, None, Some(of.amount_minor), None));
        }
    }
    for of in &week.shortfalls {
        rows.push(row(&of.id, None, Some(of.amount_minor), None));
    }
    for job in &week.jobs {
        let labour = Some(job.money.unwrap().labour_minor);
        rows.push(row(&job.id, Some(job.actual_us), labour, None));
        // A part of a job's shortfall opens with the week's or the type's.
        assert!(job.shortfalls.iter().all(|of| of.id.is_empty()));
    }
    for of in &week.chemicals {
        rows.push(row(&of.id, None, Some(of.cost_minor), Some(of.used)));
    }
    for group in &week.rework {
        let sections = Some(f64::from(group.sections));
        rows.push(row(&group.id, None, None, sections));
    }
    rows
}

#[test]
fn every_printed_row_opens_into_lines_that_add_up_to_it() {
    let mut opened = 0;
    for seed in 41..45 {
        let desk = desk(Shop::new(seed, 10).records(1_200));
        let now = Micros(START_US + 40 * 24 * 60 * MINUTE_US);
        let asked = v1::WeekRequest {
            from_date: "2026-03-02".to_owned(),
            to_date: "2026-03-31".to_owned(),
            ..v1::WeekRequest::default()
        };
        let week = desk.reader.week(&Learner::default(), &asked, now).unwrap();
        for row in printed(&week) {
            let question = v1::WhyRequest {
                week: Some(asked.clone()),
                id: row.id.clone(),
            };
            let why = desk.reader.why(&question, now).unwrap();
            let id = &why.id;
            assert_eq!(*id, row.id);
            let sum = |of: fn(&v1::WhyLine) -> i64| why.lines.iter().map(of).sum::<i64>();
            assert_eq!(sum(|line| line.time_us), why.total_us, "{id}");
            assert_eq!(sum(|line| line.money_minor), why.total_minor, "{id}");
            assert!(row.us.is_none_or(|us| us == why.total_us), "{id}");
            assert!(row.minor.is_none_or(|m| m == why.total_minor), "{id}");
            let amount: f64 = why.lines.iter().map(|line| line.amount).sum();
            for printed in row.amount.into_iter().chain([amount]) {
                let off = (printed - why.total_amount).abs();
                assert!(off < 1e-6, "{id}: {printed} {}", why.total_amount);
            }
            opened += 1;
        }
    }
    assert!(opened > 100, "{opened} rows were opened");
}

#[test]
fn an_id_that_no_row_has_is_answered_with_those_there_are() {
    let desk = desk(Shop::new(46, 0).records(300));
    let question = v1::WhyRequest {
        week: None,
        id: "b99".to_owned(),
    };
    let error = desk.reader.why(&question, Micros(START_US)).unwrap_err();
    assert!(matches!(error, ReportError::NoSuchRow(_)));
    let text = error.to_string();
    assert!(
        text.contains("\"b99\"") && text.contains("b1 to b"),
        "{text}"
    );
}
