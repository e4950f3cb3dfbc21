use baywright_terms::catalogue::{EXAMPLE, begin, file};
use proptest::collection::vec;
use proptest::option;
use proptest::prelude::*;
use prost::Message as _;

use super::*;

fn decimal() -> impl Strategy<Value = String> {
    prop_oneof!["[0-9]{1,12}", "[0-9]{0,4}\\.[0-9]{1,6}", "[-0-9.,a]{0,6}"]
}

fn amount() -> impl Strategy<Value = v1::Amount> {
    (decimal(), -1..=11_i32).prop_map(|(decimal, unit)| v1::Amount { decimal, unit })
}

fn money() -> impl Strategy<Value = v1::Money> {
    (any::<i64>(), ".{0,4}").prop_map(|(price_minor, currency)| v1::Money {
        price_minor,
        currency,
    })
}

fn hours() -> impl Strategy<Value = v1::OpenHours> {
    (
        0..=9_u32,
        prop_oneof![0..=1_500_u32, any::<u32>()],
        0..=1_500_u32,
    )
        .prop_map(|(weekday, from_min, until_min)| v1::OpenHours {
            weekday,
            from_min,
            until_min,
        })
}

fn shop() -> impl Strategy<Value = v1::Shop> {
    let grades = || vec(".{0,9}", 0..7);
    (
        (".{0,9}", ".{0,9}", ".{0,4}", "metric|us|imperial|x"),
        (
            vec(hours(), 0..5),
            vec(hours(), 0..5),
            grades(),
            grades(),
            grades(),
        ),
        (any::<i64>(), any::<u32>(), any::<i64>()),
        (any::<u32>(), any::<i64>(), any::<u32>()),
    )
        .prop_map(
            |((name, zone, currency, units), rest, costs, quoting)| v1::Shop {
                name,
                zone,
                currency,
                open: rest.0,
                breaks: rest.1,
                soil_grades: rest.2,
                defects_grades: rest.3,
                intricacy_grades: rest.4,
                units,
                standard_rate_minor: costs.0,
                wage_burden_milli: costs.1,
                overhead_per_hour_minor: costs.2,
                target_margin_permille: quoting.0,
                quote_valid_us: quoting.1,
                tax_milli_pct: quoting.2,
            },
        )
}

fn rules() -> impl Strategy<Value = Vec<v1::SurfaceRule>> {
    let rule =
        (".{0,9}", -1..=5_i32, ".{0,9}").prop_map(|(finish, standing, why)| v1::SurfaceRule {
            finish,
            standing,
            why,
        });
    vec(rule, 0..4)
}

fn product() -> impl Strategy<Value = v1::Product> {
    let us = || prop_oneof![Just(0), any::<i64>()];
    let ratio = (decimal(), decimal()).prop_map(|(water_parts, product_parts)| v1::Ratio {
        water_parts,
        product_parts,
    });
    (
        (
            ".{0,9}",
            ".{0,9}",
            option::of(amount()),
            option::of(money()),
            decimal(),
        ),
        (option::of(ratio), us(), us(), any::<bool>(), us(), us()),
        (us(), us(), any::<Option<i32>>(), any::<Option<i32>>()),
        (rules(), ".{0,9}", -1..=7_i32, any::<bool>(), us(), us()),
    )
        .prop_map(|(a, b, c, d)| v1::Product {
            code: a.0,
            name: a.1.clone(),
            kind: a.1,
            pack: a.2,
            pack_price: a.3,
            density_g_per_ml: a.4,
            ratio: b.0,
            dwell_shortest_us: b.1,
            dwell_longest_us: b.2,
            unmetered: b.3,
            level_from_us: b.4,
            level_until_us: b.5,
            water_safe_us: c.0,
            full_cure_us: c.1,
            surface_lowest_milli_c: c.2,
            surface_highest_milli_c: c.3,
            rules: d.0,
            sds: d.1.clone(),
            caution: d.1,
            source: d.2,
            retired: d.3,
            lead_us: d.4,
            open_life_us: d.5,
        })
}

fn job_type() -> impl Strategy<Value = v1::JobType> {
    let stage = (".{0,9}", any::<i64>(), -1..=7_i32).prop_map(|(stage, allowance_us, source)| {
        v1::StageAllowance {
            stage,
            allowance_us,
            source,
        }
    });
    let product =
        (".{0,9}", option::of(amount()), -1..=7_i32).prop_map(|(product, amount, source)| {
            v1::ProductAllowance {
                product,
                amount,
                source,
            }
        });
    let panel = (".{0,9}", ".{0,9}", any::<u32>()).prop_map(|(code, finish, area_cm2)| v1::Panel {
        code,
        finish,
        area_cm2,
    });
    (
        (".{0,9}", ".{0,9}", option::of(money()), any::<bool>()),
        (vec(stage, 0..4), vec(product, 0..4), vec(panel, 0..4)),
    )
        .prop_map(|((code, name, price, retired), rows)| v1::JobType {
            code,
            vehicle_class: name.clone(),
            name,
            stages: rows.0,
            products: rows.1,
            panels: rows.2,
            price,
            retired,
        })
}

fn message() -> impl Strategy<Value = v1::Catalogue> {
    let bay = (".{0,9}", any::<u32>(), any::<bool>()).prop_map(|(code, places, retired)| v1::Bay {
        name: code.clone(),
        code,
        places,
        retired,
    });
    let worker = (".{0,9}", any::<i64>(), any::<bool>()).prop_map(|(code, rate_minor, retired)| {
        v1::Worker {
            name: code.clone(),
            code,
            rate_minor,
            retired,
        }
    });
    let stage = (".{0,9}", -1..=7_i32, rules(), any::<bool>(), any::<i64>()).prop_map(
        |(code, kind, rules, retired, supplies_minor)| v1::Stage {
            name: code.clone(),
            caution: code.clone(),
            code,
            kind,
            rules,
            retired,
            supplies_minor,
        },
    );
    (
        option::of(shop()),
        vec(bay, 0..4),
        vec(worker, 0..4),
        vec(product(), 0..4),
        vec(stage, 0..4),
        vec(job_type(), 0..4),
    )
        .prop_map(
            |(shop, bays, workers, products, stages, job_types)| v1::Catalogue {
                shop,
                bays,
                workers,
                products,
                stages,
                job_types,
            },
        )
}

fn over_the_wire(catalogue: &Catalogue) -> Catalogue {
    let bytes = to_wire(catalogue).encode_to_vec();
    from_wire(&v1::Catalogue::decode(bytes.as_slice()).unwrap())
}

#[test]
fn the_example_shop_survives_the_wire() {
    let example = file::read(EXAMPLE).unwrap();
    assert_eq!(over_the_wire(&example), example);
}

#[test]
fn what_begin_builds_survives_the_wire() {
    let built = begin::build(&begin::Answers::default());
    assert_eq!(over_the_wire(&built), built);
}

#[test]
fn an_empty_message_is_an_empty_catalogue() {
    assert_eq!(from_wire(&v1::Catalogue::default()), Catalogue::default());
}

#[test]
fn odd_values_are_kept_or_dropped_one_by_one() {
    let odd = v1::Product {
        code: "Odd Code".to_owned(),
        pack: Some(v1::Amount {
            decimal: "lots".to_owned(),
            unit: 1,
        }),
        density_g_per_ml: "-1".to_owned(),
        dwell_longest_us: -5,
        rules: vec![v1::SurfaceRule {
            finish: "matte".to_owned(),
            standing: 99,
            why: String::new(),
        }],
        source: 99,
        ..Default::default()
    };
    let read = from_wire(&v1::Catalogue {
        products: vec![odd],
        ..Default::default()
    });
    let product = &read.products[&Code::new("Odd Code")];
    assert_eq!(product.pack, None);
    assert_eq!(product.density_micro_g_per_ml, None);
    assert_eq!(product.dwell_longest_us, Some(-5));
    assert_eq!(product.rules[0].standing, Standing::Care);
    assert_eq!(product.source, Source::Unmarked);
}

#[test]
fn hours_that_no_day_has_are_dropped() {
    for (weekday, from_min, until_min, kept) in [
        (1, 480, 1_440, true),
        (0, 480, 1_000, false),
        (8, 480, 1_000, false),
        (1, 480, 480, false),
        (1, 480, 1_441, false),
        (257, 480, 1_000, false),
    ] {
        let hours = v1::OpenHours {
            weekday,
            from_min,
            until_min,
        };
        assert_eq!(hours_from_wire(&hours).is_some(), kept, "{hours:?}");
    }
}

proptest! {
    #[test]
    fn any_message_reads_and_what_was_read_survives_the_wire(message in message()) {
        let read = from_wire(&message);
        prop_assert_eq!(over_the_wire(&read), read);
    }
}
