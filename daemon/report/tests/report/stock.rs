//! What is left, how long it lasts, by when to order; and where a lot went.

use baywright_floor::event::EventId;
use baywright_floor::fact::LevelResult;
use baywright_floor::row::{CoatedRow, ContainerKind, Row, StockKind};
use baywright_report::figures::{LotFigures, StockFigures};
use baywright_terms::amount::{Micrograms, MilliEach, Money, Nanolitres, Quantity};
use baywright_terms::catalogue::{Catalogue, Product};
use baywright_terms::code::Code;
use baywright_terms::time::{HOUR_US, Micros};
use proptest::prelude::*;

use crate::made::{Made, at, code, hours, job, ml, product, shop, zone};

const ML: i64 = 1_000_000;
const DAY_US: i64 = 24 * HOUR_US;
/// A Friday; the weeks before it begin on 5 October.
const NOW: &str = "2026-12-04T17:00";

fn trade() -> Catalogue {
    let mut catalogue = shop();
    let soap = Product {
        pack: Some(ml(500)),
        pack_price: Some(Money {
            minor: 1_250,
            currency: "EUR".to_owned(),
        }),
        lead_us: Some(5 * DAY_US),
        open_life_us: Some(30 * DAY_US),
        ..product(None)
    };
    let unmetered = Product {
        unmetered: true,
        ..product(None)
    };
    let products = &mut catalogue.products;
    products.insert(code("soap"), soap);
    products.insert(code("glass-cleaner"), unmetered);
    // 1.25 g/ml.
    products.insert(code("paste"), product(Some(1_250_000)));
    catalogue
}

fn made() -> Made {
    let mut made = Made::new(trade());
    made.as_of = at(NOW);
    made
}

fn volume(ml: i64) -> Quantity {
    Quantity::Volume(Nanolitres(ml * ML))
}

fn moved(made: &mut Made, product: &str, kind: StockKind, when: &str, quantity: Quantity) {
    let seq = made.rows.len() + 1;
    made.rows.push(Row::Stock {
        product: code(product),
        kind,
        quantity: Some(quantity),
        packs: u32::from(kind == StockKind::Received),
        price_minor: None,
        lot: "L-1".to_owned(),
        at: at(when),
        seq: baywright_floor::event::Seq(seq.try_into().unwrap()),
    });
}

fn bottle(made: &mut Made, product: &str, kind: ContainerKind, when: &str, lot: &str) {
    made.rows.push(Row::Container {
        product: code(product),
        bay: code("bay-1"),
        kind,
        quantity: Some(volume(200)),
        lot: lot.to_owned(),
        at: at(when),
        seq: baywright_floor::event::Seq(7),
    });
}

fn stock(made: &Made, product: &str) -> StockFigures {
    let wanted = |line: &StockFigures| line.product == code(product);
    let mut lines = baywright_report::stock(&made.input()).into_iter();
    lines.find(wanted).unwrap()
}

#[test]
fn left_is_the_last_count_and_what_came_and_went_since() {
    let mut made = made();
    moved(
        &mut made,
        "soap",
        StockKind::Received,
        "2026-11-01T08:00",
        volume(9_000),
    );
    made.used(None, "soap", "2026-11-02T08:00", Some(volume(50)), None);
    moved(
        &mut made,
        "soap",
        StockKind::Counted,
        "2026-11-03T08:00",
        volume(700),
    );
    moved(
        &mut made,
        "soap",
        StockKind::Received,
        "2026-11-04T08:00",
        volume(500),
    );
    made.used(Some(1), "soap", "2026-11-05T08:00", Some(volume(120)), None);
    made.used(Some(1), "soap", "2026-11-05T09:00", None, None);
    let soap = stock(&made, "soap");
    assert!(soap.known);
    assert_eq!(soap.left.base, (700 + 500 - 120) * ML);
    assert_eq!(soap.counted_at, Some(at("2026-11-03T08:00")));
    assert_eq!(soap.without_amount, 1);
    // Nobody knows what is left of what was never counted or received.
    made.used(None, "paste", "2026-11-05T09:00", Some(volume(5)), None);
    let paste = stock(&made, "paste");
    assert_eq!(
        (paste.known, paste.left.base, paste.lasts_us),
        (false, 0, None)
    );
}

#[test]
fn a_mix_takes_its_concentrate_when_it_is_made_and_its_uses_take_no_more() {
    let mut made = made();
    moved(
        &mut made,
        "soap",
        StockKind::Received,
        "1970-01-01T01:00",
        volume(9_000),
    );
    moved(
        &mut made,
        "paste",
        StockKind::Received,
        "1970-01-01T01:00",
        volume(100),
    );
    // 12.5 g of paste are 10 ml.
    let paste = (code("paste"), Quantity::Mass(Micrograms(12_500_000)));
    let mix = made.mix_with("soap", 4_000 * ML, 250 * ML, vec![paste]);
    if let Some(Row::MixMade(mix)) = made.rows.last_mut() {
        mix.at = at("2026-11-20T08:00");
    }
    made.used(
        Some(1),
        "soap",
        "2026-11-20T09:00",
        Some(volume(800)),
        Some(mix),
    );
    made.dump(mix, 3_200 * ML, "2026-11-20T17:00");
    assert_eq!(stock(&made, "soap").left.base, 8_750 * ML);
    assert_eq!(stock(&made, "paste").left.base, 90 * ML);
}

#[test]
fn refills_leave_the_shelf_for_what_nobody_meters_only() {
    let mut made = made();
    for product in ["soap", "glass-cleaner"] {
        moved(
            &mut made,
            product,
            StockKind::Received,
            "2026-11-01T08:00",
            volume(5_000),
        );
        bottle(
            &mut made,
            product,
            ContainerKind::Refilled,
            "2026-11-02T08:00",
            "",
        );
        made.used(None, product, "2026-11-03T08:00", Some(volume(30)), None);
    }
    assert_eq!(stock(&made, "soap").left.base, 4_970 * ML);
    assert_eq!(stock(&made, "glass-cleaner").left.base, 4_800 * ML);
}

#[test]
fn what_is_in_another_unit_is_not_taken_off_and_said() {
    let mut made = made();
    moved(
        &mut made,
        "soap",
        StockKind::Counted,
        "2026-11-01T08:00",
        volume(1_000),
    );
    let piece = Quantity::Count(MilliEach(1_000));
    made.used(None, "soap", "2026-11-02T08:00", Some(piece), None);
    let soap = stock(&made, "soap");
    assert_eq!((soap.left.base, soap.without_amount), (1_000 * ML, 1));
}

/// Uses of 100, 200 … 800 ml in the eight weeks before NOW's.
fn eight_weeks() -> Made {
    let mut made = made();
    moved(
        &mut made,
        "soap",
        StockKind::Received,
        "2026-09-01T08:00",
        volume(9_000),
    );
    let first = at("2026-10-07T10:00");
    for week in 0..8 {
        let when = Micros(first.0 + week * 7 * DAY_US)
            .civil(&zone())
            .to_string();
        made.used(None, "soap", &when, Some(volume((week + 1) * 100)), None);
    }
    moved(
        &mut made,
        "soap",
        StockKind::Counted,
        "2026-11-30T07:00",
        volume(1_800),
    );
    made
}

/// Definition 8 by hand: of eight weeks P80 lies at place (8 + 1/3) · 0.8 + 1/3
/// = 7, the seventh, and P20 at (8 + 1/3) · 0.2 + 1/3 = 2, the second.
#[test]
fn days_left_are_those_of_the_mean_of_a_busy_and_of_a_quiet_week() {
    let made = eight_weeks();
    let soap = stock(&made, "soap");
    // The clocks went back an hour within the eight weeks.
    assert_eq!(soap.rate_us, 56 * DAY_US + HOUR_US);
    assert_eq!((soap.taken.base, soap.weeks_with_use), (3_600 * ML, 8));
    assert_eq!(soap.lasts_us, Some(28 * DAY_US + HOUR_US / 2));
    // 1800 ml: at 700 a week 18 days, at 200 a week 63 days.
    assert_eq!(soap.lasts_busy_us, Some(18 * DAY_US));
    assert_eq!(soap.lasts_quiet_us, Some(63 * DAY_US));
    assert_eq!(soap.order_by, Some(Micros(at(NOW).0 + (18 - 5) * DAY_US)));
    // 700 a week for 4 weeks and 5 days are 3300, 1500 more than there are.
    assert_eq!(soap.order_packs, 3);
    assert_eq!(soap.pack_price_minor, Some(1_250));
}

#[test]
fn a_young_shop_has_a_mean_from_its_first_day_and_no_range() {
    let mut made = made();
    moved(
        &mut made,
        "soap",
        StockKind::Received,
        "2026-12-02T17:00",
        volume(1_000),
    );
    made.used(None, "soap", "2026-12-03T08:00", Some(volume(200)), None);
    let soap = stock(&made, "soap");
    assert_eq!(soap.rate_us, 2 * DAY_US);
    // 800 ml at 100 a day.
    assert_eq!(soap.lasts_us, Some(8 * DAY_US));
    assert_eq!((soap.lasts_busy_us, soap.lasts_quiet_us), (None, None));
    assert_eq!(soap.order_by, Some(Micros(at(NOW).0 + 3 * DAY_US)));
    // A few hours say nothing of a day.
    made.as_of = at("2026-12-03T09:00");
    assert_eq!(stock(&made, "soap").lasts_us, None);
}

#[test]
fn more_used_than_received_is_shown_and_lasts_for_no_time() {
    let mut made = made();
    moved(
        &mut made,
        "soap",
        StockKind::Received,
        "2026-11-01T08:00",
        volume(100),
    );
    made.used(None, "soap", "2026-11-20T08:00", Some(volume(130)), None);
    let soap = stock(&made, "soap");
    assert_eq!(
        (soap.left.base, soap.lasts_us, soap.order_by),
        (-30 * ML, None, None)
    );
}

#[test]
fn a_bottle_is_open_until_it_is_empty_and_too_long_past_its_life() {
    let mut made = made();
    bottle(
        &mut made,
        "soap",
        ContainerKind::Opened,
        "2026-10-01T08:00",
        "A",
    );
    bottle(
        &mut made,
        "soap",
        ContainerKind::Opened,
        "2026-11-30T08:00",
        "B",
    );
    bottle(
        &mut made,
        "soap",
        ContainerKind::Opened,
        "2026-12-01T08:00",
        "C",
    );
    bottle(
        &mut made,
        "soap",
        ContainerKind::Empty,
        "2026-12-02T08:00",
        "B",
    );
    let lots = |made: &Made| -> Vec<(String, bool)> {
        let open = stock(made, "soap").open.into_iter();
        open.map(|bottle| (bottle.lot, bottle.too_long)).collect()
    };
    assert_eq!(
        lots(&made),
        [("A".to_owned(), true), ("C".to_owned(), false)]
    );
    // Without a lot it is the one that has been open longest.
    bottle(
        &mut made,
        "soap",
        ContainerKind::Empty,
        "2026-12-03T08:00",
        "",
    );
    assert_eq!(lots(&made), [("C".to_owned(), false)]);
}

#[test]
fn a_lot_is_found_on_its_sections_with_how_they_came_out_in_the_end() {
    let mut made = made();
    made.open(1, "trike-coat", "2026-11-23T08:00");
    moved(
        &mut made,
        "coating",
        StockKind::Received,
        "2026-11-01T08:00",
        volume(100),
    );
    let coated = |lot: &str, n: u8| CoatedRow {
        event: EventId([n; 16]),
        seq: baywright_floor::event::Seq(n.into()),
        job: job(1),
        panel: code("nose"),
        section: n.into(),
        finish: code("gloss"),
        product: code("coating"),
        lot: lot.to_owned(),
        layer: 1,
        at: at("2026-11-23T10:00"),
        air: None,
        humidity: None,
        surface: None,
    };
    made.rows.push(Row::Coated(coated("L-1", 1)));
    made.rows.push(Row::Coated(coated("L-2", 2)));
    for (minute, result) in [(5, LevelResult::Clean), (50, LevelResult::HighSpot)] {
        made.rows.push(Row::Levelled {
            coated: EventId([1; 16]),
            job: job(1),
            at: Micros(at("2026-11-23T10:00").0 + minute * 60_000_000),
            result,
            seq: baywright_floor::event::Seq(90),
        });
    }
    let lot = baywright_report::lot(&made.input(), "L-1");
    assert_eq!(
        (lot.receipts.len(), lot.panels.len(), lot.uses.len()),
        (1, 1, 0)
    );
    let panel = &lot.panels[0];
    assert_eq!(
        (panel.section, panel.result),
        (1, Some(LevelResult::HighSpot))
    );
    assert_eq!((panel.job.number, panel.job.released), (Some(101), None));
    made.release(1, "2026-11-25T12:00");
    let lot = baywright_report::lot(&made.input(), "L-1");
    assert_eq!(lot.panels[0].job.released, Some(at("2026-11-25T12:00")));
    assert_eq!(
        baywright_report::lot(&made.input(), "L-3"),
        LotFigures::default()
    );
}

proptest! {
    #[test]
    fn what_is_left_and_what_was_used_are_what_was_counted_and_received(
        things in prop::collection::vec((0_u8..5, any::<i64>()), 0..40),
    ) {
        let mut made = made();
        let begin = at("2026-10-01T08:00");
        for (place, (kind, nl)) in (0..).zip(things) {
            let when = Micros(begin.0 + place * hours(30)).civil(&zone()).to_string();
            let quantity = Quantity::Volume(Nanolitres(nl >> 16));
            match kind {
                0 => moved(&mut made, "soap", StockKind::Received, &when, quantity),
                1 => moved(&mut made, "soap", StockKind::Counted, &when, quantity),
                2 => { made.used(None, "soap", &when, Some(quantity), None); }
                3 => bottle(&mut made, "glass-cleaner", ContainerKind::Refilled, &when, ""),
                _ => moved(&mut made, "glass-cleaner", StockKind::Received, &when, quantity),
            }
        }
        for line in baywright_report::stock(&made.input()) {
            if line.known {
                prop_assert_eq!(
                    line.left.base + line.used.base,
                    line.counted.base + line.received.base,
                );
            }
            if let (Some(busy), Some(quiet)) = (line.lasts_busy_us, line.lasts_quiet_us) {
                prop_assert!(busy <= quiet);
            }
        }
        let products: Vec<Code> =
            baywright_report::stock(&made.input()).into_iter().map(|l| l.product).collect();
        prop_assert!(products.is_sorted());
    }
}
