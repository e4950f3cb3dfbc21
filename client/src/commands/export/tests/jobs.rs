//! Jobs in each form.

use baywright_proto::v1;
use quick_xml::events::Event;
use serde_json::Value;

use crate::commands::export::jobs::{Form, Lines};
use crate::commands::export::sheet::{self, Kind, Sheet};
use crate::commands::export::xes::{Xes, major};
use crate::render::fixture;

/// Tue 24 Nov 2026 15:05 in Berlin.
const TUESDAY: i64 = 1_795_529_100_000_000;
const MINUTE_US: i64 = 60_000_000;

fn stretch(worker: &str, from_min: i64, until_min: i64, ended: &str) -> v1::ExportStretch {
    v1::ExportStretch {
        stage: "polish".to_owned(),
        run_event_id: vec![0x11; 16],
        worker: worker.to_owned(),
        bay: "bay-1".to_owned(),
        from_us: TUESDAY + from_min * MINUTE_US,
        until_us: TUESDAY + until_min * MINUTE_US,
        hands_on_us: (until_min - from_min) * MINUTE_US,
        ended: ended.to_owned(),
        seq_from: 12,
        seq_until: 15,
        cost_minor: (worker == "ana").then_some(1_350),
        ..v1::ExportStretch::default()
    }
}

fn short(cause: &str, amount_minor: i64) -> v1::Shortfall {
    v1::Shortfall {
        cause: cause.to_owned(),
        amount_minor,
        ..v1::Shortfall::default()
    }
}

/// Two people on one run, a pause, a stretch of no length, one that still
/// runs; and a name with everything that XML and spreadsheets trip over.
fn job() -> v1::ExportJob {
    v1::ExportJob {
        number: 118,
        opening_event_id: vec![0x22; 16],
        job_type: "trike-coat".to_owned(),
        vehicle: "=red <b>\"trike\"</b> & 'co'\u{1}\u{fffe}\t\n\r]]>".to_owned(),
        vehicle_class: "trike".to_owned(),
        grades: Some(v1::Grades {
            soil: 4,
            defects: 3,
            intricacy: 5,
        }),
        bay: "bay-1".to_owned(),
        opened_us: TUESDAY,
        quoted_us: Some(90 * MINUTE_US),
        actual_us: 115 * MINUTE_US,
        declared_us: 10 * MINUTE_US,
        agreed_minor: Some(45_000),
        currency: "EUR".to_owned(),
        comeback_of: 90,
        comeback_of_event_id: vec![0x23; 16],
        stays: vec![v1::ExportStay {
            place: "bay-1".to_owned(),
            from_us: TUESDAY,
            hands_on_us: 75 * MINUTE_US,
            waiting_us: 5 * MINUTE_US,
            idle_us: MINUTE_US,
            seq_from: 11,
            ..v1::ExportStay::default()
        }],
        hands_on: vec![
            stretch("ana", 10, 40, "paused"),
            stretch("ben", 10, 55, "done"),
            stretch("ana", 45, 55, "done"),
            stretch("", 55, 55, "elsewhere"),
            v1::ExportStretch {
                rework: true,
                ..stretch("ana", 60, 80, "running")
            },
        ],
        waiting: vec![v1::ExportWait {
            kind: "dwell".to_owned(),
            product: "iron-remover".to_owned(),
            from_us: TUESDAY,
            until_us: TUESDAY + 5 * MINUTE_US,
            seq_from: 9,
            seq_until: 10,
            ..v1::ExportWait::default()
        }],
        declared: vec![v1::ExportDeclared {
            stage: "dry".to_owned(),
            declaration: "done-about".to_owned(),
            counted_us: 10 * MINUTE_US,
            cost_minor: Some(450),
        }],
        uses: vec![used()],
        sections: vec![v1::ExportSection {
            panel: "nose".to_owned(),
            coated_us: TUESDAY,
            air_milli_c: Some(21_500),
            humidity_milli_pct: Some(46_000),
            surface_milli_c: None,
            levelled: vec![v1::ExportLevelled {
                at_us: TUESDAY + MINUTE_US,
                result: "clean".to_owned(),
                seq: 21,
            }],
            seq: 20,
            ..v1::ExportSection::default()
        }],
        money: Some(v1::JobMoney {
            revenue_minor: 45_000,
            revenue_known: true,
            list_minor: 48_000,
            labour_minor: 2_700,
            materials_minor: 600,
            contribution_minor: 41_700,
            quoted: true,
            quoted_contribution_minor: 44_000,
            ..v1::JobMoney::default()
        }),
        shortfalls: vec![short("discount-given", 3_000), short("took-longer", -700)],
        materials: vec![v1::StoryUse {
            seqs: vec![14],
            ..v1::StoryUse::default()
        }],
        ..v1::ExportJob::default()
    }
}

/// 300 ml of a mix of two products.
fn used() -> v1::ExportUse {
    let part = |product: &str, used, unit: &str| v1::ExportPart {
        product: product.to_owned(),
        used,
        unit: unit.to_owned(),
        cost_minor: (unit == "ml").then_some(112),
    };
    let amount = |decimal: &str| v1::Amount {
        decimal: decimal.to_owned(),
        unit: v1::Unit::G.into(),
    };
    v1::ExportUse {
        seq: 14,
        event_id: vec![0x33; 16],
        at_us: TUESDAY,
        product: "shampoo".to_owned(),
        stage: "prewash".to_owned(),
        bay: "bay-1".to_owned(),
        lot: "-L7".to_owned(),
        panels: vec!["nose".to_owned(), "lid".to_owned()],
        posted: Some(v1::Amount {
            decimal: "0.30".to_owned(),
            unit: v1::Unit::L.into(),
        }),
        weighed_before: Some(amount("62.4")),
        weighed_after: Some(amount("48.9")),
        used: 300.0,
        unit: "ml".to_owned(),
        mix_event_id: vec![0x44; 16],
        parts: vec![part("shampoo", 18.75, "ml"), part("booster", 2.5, "g")],
    }
}

fn head() -> v1::ExportHead {
    v1::ExportHead {
        shop: "Surface & Co (invented)".to_owned(),
        zone: "Europe/Berlin".to_owned(),
        currency: "EUR".to_owned(),
        as_of_us: TUESDAY,
        as_of_seq: 99,
        jobs: 1,
    }
}

fn filled<F: Form>(mut form: F) {
    form.head(&head()).unwrap();
    form.job(&job()).unwrap();
    form.loose_use(&used()).unwrap();
    form.end().unwrap();
}

fn rows(kind: Kind) -> Vec<Vec<String>> {
    let mut out = Vec::new();
    filled(Sheet::new(&mut out, kind));
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .from_reader(out.as_slice());
    reader
        .records()
        .map(|record| record.unwrap().iter().map(str::to_owned).collect())
        .collect()
}

/// Rows as `name: cell` without the empty cells.
fn shown(kind: Kind) -> String {
    let rows = rows(kind);
    let (names, rows) = rows.split_first().unwrap();
    let rows: Vec<String> = rows
        .iter()
        .map(|row| {
            let cells = names.iter().zip(row).filter(|(_, cell)| !cell.is_empty());
            let cells: Vec<String> = cells
                .map(|(name, cell)| format!("{name}: {}", cell.escape_debug()))
                .collect();
            cells.join("\n")
        })
        .collect();
    rows.join("\n--\n")
}

#[test]
fn a_job_is_one_row() {
    insta::assert_snapshot!(shown(sheet::JOBS));
}

#[test]
fn a_stage_is_a_row_for_each_stretch_and_what_was_stated() {
    insta::assert_snapshot!(shown(sheet::STAGES));
    let minutes: f64 = rows(sheet::STAGES)[1..]
        .iter()
        .map(|row| row[11].parse::<f64>().unwrap())
        .sum();
    assert!((minutes - 115.0).abs() < 1e-9, "{minutes}");
}

#[test]
fn a_use_is_a_row_for_each_product_in_it_and_a_use_on_no_job_has_none() {
    insta::assert_snapshot!(shown(sheet::USES));
}

#[test]
fn a_line_of_json_is_a_job_and_its_names_are_part_of_the_contract() {
    let mut out = Vec::new();
    filled(Lines::new(&mut out));
    let text = String::from_utf8(out).unwrap();
    assert_eq!(text.lines().count(), 1, "{text}");
    let json: Value = serde_json::from_str(&text).unwrap();
    assert_eq!(json["vehicle"], job().vehicle);
    assert_eq!(
        json["hands_on"][0]["run_event_id"],
        "11111111-1111-1111-1111-111111111111"
    );
    insta::assert_snapshot!(fixture::key_paths(&json).join("\n"));
}

/// The events of the only trace: activity, instance, transition, instant,
/// worker, cost.
fn events(xes: &str) -> Vec<Vec<String>> {
    let mut reader = quick_xml::Reader::from_str(xes);
    let (mut events, mut event) = (Vec::new(), None);
    loop {
        match reader.read_event().unwrap() {
            Event::Start(e) if e.name().as_ref() == "event" => {
                event = Some(std::collections::BTreeMap::new());
            }
            Event::End(e) if e.name().as_ref() == "event" => {
                let event = event.take().unwrap();
                let keys = [
                    "concept:name",
                    "concept:instance",
                    "lifecycle:transition",
                    "time:timestamp",
                    "org:resource",
                    "cost:total",
                    "rework",
                ];
                let cells = keys.map(|key| event.get(key).cloned().unwrap_or_default());
                events.push(cells.to_vec());
            }
            Event::Empty(e) => {
                if let Some(event) = &mut event {
                    let value = |name: &str| {
                        let found = e.try_get_attribute(name).unwrap().unwrap();
                        quick_xml::escape::unescape(&found.value)
                            .unwrap()
                            .into_owned()
                    };
                    event.insert(value("key"), value("value"));
                }
            }
            Event::Eof => return events,
            _ => {}
        }
    }
}

#[test]
fn each_stretch_starts_and_completes_by_itself_in_order_of_time() {
    let mut out = Vec::new();
    filled(Xes::new(&mut out));
    let text = String::from_utf8(out).unwrap();
    let lines: Vec<String> = events(&text)
        .into_iter()
        .map(|event| {
            event
                .join(" ")
                .replace("11111111-1111-1111-1111-111111111111", "RUN")
        })
        .collect();
    insta::assert_snapshot!(lines.join("\n"), @"
    polish RUN.1 start 2026-11-24T15:15:00.000000+01:00 ana  false
    polish RUN.2 start 2026-11-24T15:15:00.000000+01:00 ben  false
    polish RUN.1 complete 2026-11-24T15:45:00.000000+01:00 ana 13.50 false
    polish RUN.3 start 2026-11-24T15:50:00.000000+01:00 ana  false
    polish RUN.2 complete 2026-11-24T16:00:00.000000+01:00 ben  false
    polish RUN.3 complete 2026-11-24T16:00:00.000000+01:00 ana 13.50 false
    polish RUN.4 start 2026-11-24T16:00:00.000000+01:00   false
    polish RUN.4 complete 2026-11-24T16:00:00.000000+01:00   false
    polish RUN.5 start 2026-11-24T16:05:00.000000+01:00 ana  true
    ");
}

#[test]
fn a_name_full_of_signs_comes_back_but_for_what_xml_cannot_hold() {
    let mut out = Vec::new();
    filled(Xes::new(&mut out));
    let text = String::from_utf8(out).unwrap();
    let held = |c: char| !c.is_control() || c == '\n';
    assert!(text.chars().all(held), "{text:?}");
    let line = text
        .lines()
        .find(|line| line.contains("key=\"vehicle\""))
        .unwrap();
    let value = line.split("value=\"").nth(1).unwrap();
    let value = value.strip_suffix("\"/>").unwrap();
    let back = quick_xml::escape::unescape(value).unwrap().into_owned();
    let sent = job().vehicle;
    assert_eq!(back, sent.replace(['\u{1}', '\u{fffe}'], "\u{fffd}"));
}

#[test]
fn money_is_a_decimal_of_its_currency() {
    for (minor, currency, written) in [
        (1_350, "EUR", "13.50"),
        (5, "EUR", "0.05"),
        (-5, "EUR", "-0.05"),
        (0, "EUR", "0.00"),
        (1_350, "JPY", "1350"),
        (1_350, "KWD", "1.350"),
        (i64::MIN, "EUR", "-92233720368547758.08"),
    ] {
        assert_eq!(major(minor, currency), written);
    }
}
