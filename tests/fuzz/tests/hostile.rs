//! Hostile text in every field that people type, through a real fold, and every
//! way in which it is shown again.

#![allow(
    clippy::unwrap_used,
    reason = "clippy's exception for tests does not reach the functions that tests share"
)]

use baywright_daemon::facts::Stored;
use baywright_fuzz::food::NOW;
use baywright_fuzz::made::HOSTILE;
use baywright_fuzz::targets::catalogue::example;
use baywright_fuzz::targets::facts::{Asked, Shown, shown};
use baywright_proto::v1::{self, fact::Kind};
use prost::Message as _;

const MINUTE_US: i64 = 60_000_000;
/// Seq of the opening in [`visit`].
const OPENING: u64 = 3;

/// The facts of one visit, with `text` wherever a person types words or scans
/// a code that nobody knows.
fn visit(text: &str) -> Vec<Kind> {
    let word = || text.to_owned();
    let stage = |kind: fn(String) -> Kind| kind(word());
    vec![
        Kind::CatalogueSet(v1::CatalogueSet {
            valid_from_us: 0,
            changed: Some(baywright_proto::catalogue::to_wire(&example())),
            learned_up_to_seq: 0,
        }),
        Kind::CatalogueSet(v1::CatalogueSet {
            valid_from_us: 1,
            changed: Some(v1::Catalogue {
                workers: vec![v1::Worker {
                    code: word(),
                    name: word(),
                    ..v1::Worker::default()
                }],
                stages: vec![v1::Stage {
                    code: "coat".to_owned(),
                    name: word(),
                    caution: word(),
                    ..v1::Stage::default()
                }],
                ..v1::Catalogue::default()
            }),
            learned_up_to_seq: 0,
        }),
        Kind::JobOpened(v1::JobOpened {
            job_type: "trike-coat".to_owned(),
            vehicle: word(),
            handle: word(),
            vehicle_class: word(),
            ..v1::JobOpened::default()
        }),
        Kind::JobMoved(v1::JobMoved {
            place: "bay-1".to_owned(),
        }),
        stage(|stage| {
            Kind::StageStarted(v1::StageStarted {
                panels: vec![stage.clone()],
                stage,
                rework: false,
            })
        }),
        Kind::StageStarted(v1::StageStarted {
            stage: "coat".to_owned(),
            ..v1::StageStarted::default()
        }),
        Kind::ProductUsed(v1::ProductUsed {
            product: "iron-remover".to_owned(),
            quantity: Some(v1::product_used::Quantity::Amount(v1::Amount {
                decimal: "350".to_owned(),
                unit: v1::Unit::Ml.into(),
            })),
            lot: word(),
            panels: vec![word()],
            ..v1::ProductUsed::default()
        }),
        Kind::ProductUsed(v1::ProductUsed {
            product: word(),
            quantity: Some(v1::product_used::Quantity::Amount(v1::Amount {
                decimal: word(),
                unit: 99,
            })),
            ..v1::ProductUsed::default()
        }),
        Kind::PanelCoated(v1::PanelCoated {
            panel: word(),
            product: "coating-3y".to_owned(),
            lot: word(),
            ..v1::PanelCoated::default()
        }),
        Kind::FlawFound(v1::FlawFound {
            panel: word(),
            flaw: word(),
            existing: true,
            photo: word(),
        }),
        Kind::Noted(v1::Noted {
            text: word(),
            ..v1::Noted::default()
        }),
        Kind::StagePaused(v1::StagePaused {
            stage: String::new(),
            person: false,
            reason: word(),
        }),
        Kind::QuoteDrafted(v1::QuoteDrafted {
            asked: Some(v1::QuoteAsked {
                job_type: "trike-coat".to_owned(),
                vehicle: word(),
                customer: word(),
                ..v1::QuoteAsked::default()
            }),
            printed: Some(v1::QuotePrinted {
                currency: word(),
                model_version: word(),
                stages: vec![v1::QuotedStage {
                    stage: word(),
                    half_us: 60 * MINUTE_US,
                    p80_us: 90 * MINUTE_US,
                    quoted_us: 60 * MINUTE_US,
                    ..v1::QuotedStage::default()
                }],
                hands_on_half_us: 60 * MINUTE_US,
                hands_on_p80_us: 90 * MINUTE_US,
                price_minor: 100,
                ..v1::QuotePrinted::default()
            }),
            addition: false,
        }),
        Kind::StockReceived(v1::StockReceived {
            product: "iron-remover".to_owned(),
            packs: 1,
            lot: word(),
            ..v1::StockReceived::default()
        }),
        Kind::JobReleased(v1::JobReleased {}),
    ]
}

/// The visit of `text` as a log of one device.
fn log(text: &str) -> Vec<Stored> {
    let begin_us = NOW.0 - 24 * 60 * MINUTE_US;
    let records = (1_u64..).zip(visit(text)).map(|(seq, kind)| {
        let opens = matches!(kind, Kind::JobOpened(_));
        let at_us = begin_us + i64::try_from(seq).unwrap() * 7 * MINUTE_US;
        let fact = v1::Fact {
            bay: "bay-1".to_owned(),
            by: vec!["ana".to_owned(), text.to_owned()],
            job: (seq > OPENING).then_some(v1::JobRef {
                job: Some(v1::job_ref::Job::Number(1)),
            }),
            kind: Some(kind),
            ..v1::Fact::default()
        };
        let mut event_id = vec![7; 16];
        event_id[15] = u8::try_from(seq).unwrap();
        v1::Record {
            seq,
            received_us: at_us,
            occurred_us: at_us,
            device: text.to_owned(),
            event_id,
            device_seq: seq,
            job_number: u64::from(opens),
            fact: fact.encode_to_vec(),
            ..v1::Record::default()
        }
    });
    let stored = records.map(|record| Stored {
        seq: record.seq,
        record: record.encode_to_vec(),
    });
    stored.collect()
}

fn shown_of(text: &str) -> Shown {
    shown(&log(text), &Asked::default(), &[NOW]).unwrap()
}

#[test]
fn nothing_that_anybody_types_steers_what_it_is_shown_on() {
    for text in HOSTILE {
        shown_of(text).check();
    }
}

#[test]
fn what_was_typed_is_shown_in_every_way() {
    // The check above would pass on empty pages.
    let shown = shown_of("<b>red\u{1b}[2J van</b>");
    let screens = shown
        .screens
        .iter()
        .filter(|s| s.contains("<b>red?[2J van</b>"));
    assert!(screens.count() > 5);
    let pages = shown.pages.iter();
    let pages = pages.filter(|p| p.contains("&lt;b&gt;red?[2J van&lt;/b&gt;"));
    assert!(pages.count() > 2);
    for (form, export) in &shown.exports {
        assert!(export.contains("red"), "{form}: {export}");
    }
}

#[test]
fn a_formula_is_a_text_in_every_sheet() {
    let shown = shown_of("=1+1");
    let sheets = shown
        .exports
        .iter()
        .filter(|(form, _)| !matches!(*form, "json" | "xes"));
    for (form, sheet) in sheets {
        assert!(sheet.contains("'=1+1"), "{form}: {sheet}");
    }
    for (form, whole) in shown
        .exports
        .iter()
        .filter(|(form, _)| matches!(*form, "json" | "xes"))
    {
        assert!(
            whole.contains("=1+1") && !whole.contains("'=1+1"),
            "{form}: {whole}"
        );
    }
}
