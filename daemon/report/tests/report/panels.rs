//! Coated panels: air that did not fit, cures under way, how sections came out.

use baywright_floor::event::{EventId, Seq};
use baywright_floor::fact::LevelResult;
use baywright_floor::notice::AirWhy;
use baywright_floor::row::{CoatedRow, Row};
use baywright_report::figures::CureUnderWay;
use baywright_report::story;
use baywright_terms::temperature::{MilliCelsius, MilliPercent};
use baywright_terms::time::Micros;

use crate::made::{Made, at, code, hours, job, minutes, product, shop};

/// A shop with one coating: water-safe after twelve hours, cured after a week,
/// for surfaces from 10 to 30 °C.
fn coating() -> Made {
    let mut catalogue = shop();
    let mut hard_coat = product(None);
    hard_coat.water_safe_us = Some(hours(12));
    hard_coat.full_cure_us = Some(hours(168));
    hard_coat.surface_lowest = Some(MilliCelsius(10_000));
    hard_coat.surface_highest = Some(MilliCelsius(30_000));
    catalogue.products.insert(code("hard-coat"), hard_coat);
    let mut made = Made::new(catalogue);
    made.open(1, "unsorted", "2026-11-23T08:00");
    let (from, until) = (at("2026-11-23T08:00"), at("2026-11-24T17:00"));
    made.stay(1, "bay-1", from, Some(until));
    made
}

const SEQS: u64 = 900;

fn coated(made: &mut Made, n: u8, panel: &str, when: Micros, read: Option<(i32, u32, i32)>) {
    let c = MilliCelsius;
    made.rows.push(Row::Coated(CoatedRow {
        event: EventId([n; 16]),
        seq: Seq(SEQS + u64::from(n)),
        job: job(1),
        panel: code(panel),
        section: u32::from(n),
        finish: code("gloss"),
        product: code("hard-coat"),
        lot: if n.is_multiple_of(2) { "L2" } else { "L1" }.into(),
        layer: 1,
        at: when,
        air: read.map(|(air, _, _)| c(air)),
        humidity: read.map(|(_, humidity, _)| MilliPercent(humidity)),
        surface: read.map(|(_, _, surface)| c(surface)),
    }));
}

fn levelled(made: &mut Made, n: u8, when: Micros, result: LevelResult) {
    made.rows.push(Row::Levelled {
        coated: EventId([n; 16]),
        job: job(1),
        at: when,
        result,
        seq: Seq(SEQS + 100 + u64::from(n)),
    });
}

#[test]
fn a_section_in_unfit_air_is_listed_with_why_and_where() {
    let mut made = coating();
    let when = at("2026-11-23T09:00");
    // Dew point of 20 °C at 50 % is 9.3 °C (WMO Magnus): a surface of 12 °C is
    // 2.7 °C above it, one of 12.5 °C is 3.2 °C.
    coated(&mut made, 1, "nose", when, Some((20_000, 50_000, 12_000)));
    coated(&mut made, 2, "nose", when, Some((20_000, 50_000, 12_500)));
    coated(&mut made, 3, "tail", when, Some((20_000, 30_000, 9_000)));
    coated(&mut made, 4, "tail", when, Some((35_000, 30_000, 31_000)));
    coated(&mut made, 5, "tail", when, None);
    coated(
        &mut made,
        6,
        "tail",
        at("2026-11-30T09:00"),
        Some((35_000, 30_000, 31_000)),
    );
    let out = made.week("2026-11-23").air_out;
    let found: Vec<(u64, &str)> = out
        .iter()
        .map(|air| {
            let why = match air.why {
                AirWhy::DewMargin { .. } => "dew",
                AirWhy::TooCold { .. } => "cold",
                AirWhy::TooWarm { .. } => "warm",
            };
            (air.seq.0 - SEQS, why)
        })
        .collect();
    assert_eq!(found, [(1, "dew"), (3, "cold"), (4, "warm")]);
    assert_eq!(
        (out[0].bay.as_str(), out[0].job_number),
        ("bay-1", Some(101))
    );
}

fn cures_at(made: &mut Made, as_of: &str) -> Vec<CureUnderWay> {
    made.as_of = at(as_of);
    made.week("2026-11-23").cures
}

#[test]
fn a_cure_is_under_way_until_its_label_is_over_wherever_the_vehicle_is() {
    let mut made = coating();
    made.release(1, "2026-11-24T17:00");
    coated(&mut made, 1, "nose", at("2026-11-23T09:00"), None);
    coated(&mut made, 2, "nose", at("2026-11-23T10:00"), None);
    coated(&mut made, 3, "tail", at("2026-11-23T12:00"), None);
    let wet = cures_at(&mut made, "2026-11-23T23:00");
    assert_eq!(wet.len(), 1);
    assert_eq!(wet[0].water_safe, Some(at("2026-11-24T00:00")));
    assert_eq!(wet[0].full_cure, Some(at("2026-11-30T12:00")));
    assert_eq!((wet[0].panels, wet[0].job_number), (2, Some(101)));
    // The nose is through at ten, the tail two hours later.
    let soft = cures_at(&mut made, "2026-11-30T11:59");
    assert_eq!((soft[0].water_safe, soft[0].panels), (None, 1));
    assert_eq!(cures_at(&mut made, "2026-11-30T12:00"), []);
}

#[test]
fn a_panel_found_cured_is_water_safe_and_goes_on_curing_by_its_label() {
    let mut made = coating();
    coated(&mut made, 1, "nose", at("2026-11-23T09:00"), None);
    made.rows.push(Row::Cured {
        job: job(1),
        panel: code("nose"),
        at: at("2026-11-23T15:00"),
        seq: Seq(950),
    });
    let cures = cures_at(&mut made, "2026-11-23T16:00");
    assert_eq!(cures[0].water_safe, None);
    assert_eq!(cures[0].full_cure, Some(at("2026-11-30T09:00")));
    // One more coat after that is wet again.
    coated(&mut made, 2, "nose", at("2026-11-23T15:30"), None);
    let cures = cures_at(&mut made, "2026-11-23T16:00");
    assert_eq!(cures[0].water_safe, Some(at("2026-11-24T03:30")));
}

#[test]
fn sections_are_grouped_by_lot_and_the_latest_word_counts() {
    let mut made = coating();
    let when = at("2026-11-23T09:00");
    for (n, surface) in [(1, 18_000), (3, 16_500), (5, 21_000)] {
        coated(&mut made, n, "nose", when, Some((25_000, 40_000, surface)));
    }
    coated(&mut made, 2, "tail", when, None);
    levelled(&mut made, 1, at("2026-11-23T09:04"), LevelResult::Clean);
    levelled(&mut made, 3, at("2026-11-23T09:05"), LevelResult::Smeared);
    // Found on the next morning, and so after the row that comes later here.
    levelled(&mut made, 5, at("2026-11-24T08:00"), LevelResult::HighSpot);
    levelled(&mut made, 5, at("2026-11-23T09:06"), LevelResult::Clean);
    let groups = made.week("2026-11-23").rework;
    let lots: Vec<_> = groups
        .iter()
        .map(|g| (g.lot.as_str(), g.sections, g.smeared, g.high_spots))
        .collect();
    assert_eq!(lots, [("L1", 3, 1, 1), ("L2", 1, 0, 0)]);
    assert_eq!(groups[0].lowest, Some(MilliCelsius(16_500)));
    assert_eq!(groups[0].highest, Some(MilliCelsius(21_000)));
    assert_eq!(groups[1].lowest, None);
}

#[test]
fn a_story_has_its_sections_stretches_and_the_air_that_held() {
    let mut made = coating();
    made.as_of = at("2026-11-23T12:00");
    coated(&mut made, 1, "nose", at("2026-11-23T09:00"), None);
    levelled(&mut made, 1, at("2026-11-23T09:04"), LevelResult::Clean);
    levelled(&mut made, 1, at("2026-11-23T11:00"), LevelResult::HighSpot);
    made.work(1, "coat", at("2026-11-23T08:50"), minutes(30));
    made.wait(1, at("2026-11-23T09:04"), None);
    for (n, (bay, when)) in [
        // It held at nine, though nobody was here yet when it was read.
        ("bay-1", "2026-11-23T07:30"),
        // A later one took its place, or it was another bay's.
        ("bay-1", "2026-11-23T06:30"),
        ("bay-2", "2026-11-23T09:00"),
        ("bay-1", "2026-11-23T10:00"),
    ]
    .into_iter()
    .enumerate()
    {
        made.rows.push(Row::Air {
            bay: code(bay),
            at: at(when),
            air: MilliCelsius(20_000),
            humidity: MilliPercent(50_000),
            surface: None,
            sensor: false,
            seq: Seq(1_000 + u64::try_from(n).unwrap()),
        });
    }
    let story = story(&made.input(), job(1)).unwrap();
    let read: Vec<u64> = story.air.iter().map(|a| a.seq.0).collect();
    assert_eq!(read, [1_000, 1_003]);
    let section = &story.sections[0];
    let first = at("2026-11-23T09:04");
    assert_eq!(section.levelled, Some((first, LevelResult::HighSpot)));
    assert_eq!(section.seqs.len(), 3);
    let stretches: Vec<_> = story
        .stretches
        .iter()
        .map(|s| (s.from, s.until, s.place.as_str()))
        .collect();
    assert_eq!(
        stretches,
        [
            (
                at("2026-11-23T08:50"),
                Some(at("2026-11-23T09:20")),
                "bay-1"
            ),
            (first, None, "bay-1"),
        ]
    );
    assert_eq!((story.as_of, story.currency.as_str()), (made.as_of, "EUR"));
}
