//! Rows as a spreadsheet gets them.

mod jobs;

use baywright_proto::v1;
use baywright_proto::v1::fact::Kind;
use jiff::tz::TimeZone;
use prost::Message as _;

use super::cell::Cell;
use super::row::{COLUMNS, cells};

fn row(kind: Kind) -> Vec<(&'static str, String)> {
    let fact = v1::Fact {
        bay: "bay-1".to_owned(),
        by: vec!["ana".to_owned(), "ben".to_owned()],
        kind: Some(kind),
        ..v1::Fact::default()
    };
    let record = v1::Record {
        seq: 12,
        received_us: 1_795_420_801_000_000,
        occurred_us: 1_795_420_800_000_000,
        time_basis: 4,
        device: "bay-1".to_owned(),
        event_id: vec![0x2a; 16],
        fact: fact.encode_to_vec(),
        ..v1::Record::default()
    };
    let response = v1::WatchResponse {
        job_number: 118,
        struck: true,
        ..v1::WatchResponse::default()
    };
    let zone = TimeZone::fixed(jiff::tz::offset(1));
    COLUMNS
        .iter()
        .zip(cells(&response, &record, &zone))
        .map(|((name, _), cell)| (*name, cell.written().into_owned()))
        .filter(|(_, cell)| !cell.is_empty())
        .collect()
}

#[test]
fn a_use_is_one_row_with_its_amount_and_unit() {
    let used = v1::ProductUsed {
        product: "iron-remover".to_owned(),
        quantity: Some(v1::product_used::Quantity::Amount(v1::Amount {
            decimal: "350".to_owned(),
            unit: 1,
        })),
        panels: vec!["nose".to_owned(), "left-door".to_owned()],
        ..v1::ProductUsed::default()
    };
    let lines: Vec<String> = row(Kind::ProductUsed(used))
        .into_iter()
        .map(|(name, cell)| format!("{name}: {cell}"))
        .collect();
    insta::assert_snapshot!(lines.join("\n"), @"
    seq: 12
    occurred_local: 2026-11-23 09:00:00
    occurred_utc: 2026-11-23T08:00:00.000000Z
    received_utc: 2026-11-23T08:00:01.000000Z
    device: bay-1
    bay: bay-1
    by: ana;ben
    job: 118
    fact: product_used
    product: iron-remover
    amount: 350
    unit: ml
    panels: nose;left-door
    struck: yes
    time_basis: stated
    event_id: 2a2a2a2a-2a2a-2a2a-2a2a-2a2a2a2a2a2a
    ");
}

#[test]
fn air_below_freezing_is_a_figure_not_a_formula() {
    let air = v1::AmbientRead {
        air_milli_c: -500,
        humidity_milli_pct: 46_000,
        surface_milli_c: Some(-1250),
        source: 1,
    };
    let row = row(Kind::AmbientRead(air));
    assert!(row.contains(&("air_c", "-0.500".to_owned())), "{row:?}");
    assert!(row.contains(&("surface_c", "-1.250".to_owned())), "{row:?}");
}

#[test]
fn a_fact_that_cannot_be_read_is_still_a_row() {
    let record = v1::Record {
        seq: 3,
        fact: vec![0xff; 4],
        ..v1::Record::default()
    };
    let cells = cells(&v1::WatchResponse::default(), &record, &TimeZone::UTC);
    assert!(cells.contains(&Cell::Own("unreadable".to_owned())));
}
