//! Random well-formed catalogues for property tests.

use std::collections::BTreeMap;

use proptest::collection::{btree_map, vec};
use proptest::option;
use proptest::prelude::*;
use proptest::sample::{select, subsequence};

use crate::amount::{Amount, Decimal, Money, Ratio, Unit};
use crate::code::Code;
use crate::hours::OpenHours;
use crate::surface::{self, FINISHES};
use crate::temperature::MilliCelsius;
use crate::time::{DAY_US, SECOND_US};

use super::*;

fn code() -> impl Strategy<Value = Code> {
    "[a-z][a-z0-9]{0,6}(-[a-z0-9]{1,4}){0,2}"
        .prop_filter("a word of the program", |c| {
            !matches!(c.as_str(), "away" | "holding" | UNSORTED)
        })
        .prop_map(|c| Code::new(&c))
}

/// Words as the file keeps them: no spaces at the ends, quotes and all.
fn words() -> impl Strategy<Value = String> {
    prop_oneof![
        Just(String::new()),
        "[ -~éüß€\"'\\\\#]{1,40}".prop_map(|w| w.trim().to_owned()),
        Just("quotes \"\"\" and ''' and \\ in it".to_owned()),
    ]
}

fn span() -> impl Strategy<Value = i64> {
    prop_oneof![
        (1..=20_000_i64).prop_map(|s| s * SECOND_US),
        (1..=20_i64).prop_map(|d| d * DAY_US),
        1..=DAY_US,
    ]
}

/// Two ends, the first not above the second, either left out.
fn ends<T: Ord + Copy + std::fmt::Debug + 'static>(
    one: impl Strategy<Value = T>,
) -> impl Strategy<Value = (Option<T>, Option<T>)> {
    vec(one, 2).prop_flat_map(|ends| {
        let (low, high) = (ends[0].min(ends[1]), ends[0].max(ends[1]));
        (
            select(vec![Some(low), None]),
            select(vec![Some(high), None]),
        )
    })
}

fn amount() -> impl Strategy<Value = Amount> {
    (1..=99_999_i64, 0..=4_u8, select(Unit::ALL.to_vec())).prop_map(|(digits, scale, unit)| {
        Amount {
            decimal: Decimal { digits, scale },
            unit,
        }
    })
}

fn money(currency: &'static str) -> impl Strategy<Value = Money> {
    (
        0..=9_999_999_i64,
        select(vec![currency, "USD", "JPY", "KWD"]),
    )
        .prop_map(|(minor, currency)| Money::new(minor, currency))
}

fn ratio() -> impl Strategy<Value = Ratio> {
    (1..=400_i64, 1..=3_u8).prop_map(|(water, product)| Ratio {
        water_parts: Decimal::whole(water + i64::from(product)),
        product_parts: Decimal::whole(i64::from(product)),
    })
}

fn hours() -> impl Strategy<Value = Vec<OpenHours>> {
    subsequence((1..=7_u8).collect::<Vec<_>>(), 0..=7).prop_flat_map(|days| {
        let spells = days.len();
        (
            Just(days),
            vec((0..=700_u16, 1..=300_u16, 1..=400_u16), spells),
        )
            .prop_map(|(days, times)| {
                let mut hours = Vec::new();
                for (weekday, (from_min, long, gap)) in days.into_iter().zip(times) {
                    let until_min = from_min + long;
                    hours.push(OpenHours {
                        weekday,
                        from_min,
                        until_min,
                    });
                    if gap > 200 {
                        let from_min = until_min + gap - 200;
                        hours.push(OpenHours {
                            weekday,
                            from_min,
                            until_min: 1_440,
                        });
                    }
                }
                hours
            })
    })
}

fn grades() -> impl Strategy<Value = Vec<String>> {
    prop_oneof![Just(Vec::new()), vec(words(), 5)]
}

fn source() -> impl Strategy<Value = Source> {
    select(vec![
        Source::Unmarked,
        Source::Shop,
        Source::Label,
        Source::Trade,
        Source::Guess,
        Source::Standard,
    ])
}

fn rules() -> impl Strategy<Value = Vec<SurfaceRule>> {
    let codes: Vec<&str> = FINISHES.iter().map(|f| f.code).collect();
    subsequence(codes, 0..=6).prop_flat_map(|codes| {
        let count = codes.len();
        let standings = vec![Standing::Fine, Standing::Care, Standing::Never];
        (Just(codes), vec((select(standings), words()), count)).prop_map(|(codes, rest)| {
            let mut rules: Vec<SurfaceRule> = codes
                .into_iter()
                .zip(rest)
                .map(|(finish, (standing, why))| SurfaceRule {
                    finish: Code::new(finish),
                    standing,
                    why: if why.is_empty() {
                        "because".to_owned()
                    } else {
                        why
                    },
                })
                .collect();
            surface::sort_rules(&mut rules);
            rules
        })
    })
}

fn costs() -> impl Strategy<Value = ShopCosts> {
    let sum = || option::of(1..=99_999_i64);
    let quoting = (
        option::of(1..=900_u32),
        option::of(1..=9_000_000_000_000_i64),
        option::of(1..=100_000_u32),
    );
    (sum(), option::of(1_000..=5_000_u32), sum(), quoting).prop_map(
        |(standard_rate_minor, wage_burden_milli, overhead_per_hour_minor, quoting)| ShopCosts {
            standard_rate_minor,
            wage_burden_milli,
            overhead_per_hour_minor,
            target_margin_permille: quoting.0,
            quote_valid_us: quoting.1,
            tax_milli_pct: quoting.2,
        },
    )
}

fn shop() -> impl Strategy<Value = Shop> {
    let zones = vec!["Europe/Lisbon", "America/Chicago", "UTC"];
    let units = vec![UnitSystem::Metric, UnitSystem::Us, UnitSystem::Imperial];
    (
        (
            words(),
            select(zones),
            select(vec!["EUR", "JPY", "KWD"]),
            select(units),
        ),
        (hours(), hours(), grades(), grades(), grades()),
        costs(),
    )
        .prop_map(
            |((name, zone, currency, units), (open, breaks, soil, defects, intricacy), costs)| {
                Shop {
                    name,
                    zone: zone.to_owned(),
                    currency: currency.to_owned(),
                    units,
                    open,
                    breaks,
                    soil_grades: soil,
                    defects_grades: defects,
                    intricacy_grades: intricacy,
                    costs,
                }
            },
        )
}

fn product() -> impl Strategy<Value = Product> {
    let celsius = (-30_000..=99_000_i32).prop_map(MilliCelsius);
    let cure = ends((1..=30_i64).prop_map(|d| d * DAY_US / 2));
    (
        (
            words(),
            prop_oneof![Just(String::new()), code().prop_map(|c| c.to_string())],
        ),
        (
            option::of(amount()),
            option::of(money("EUR")),
            option::of(1..=5_000_000_i64),
        ),
        (
            option::of(ratio()),
            ends(span()),
            any::<bool>(),
            ends(span()),
            cure,
            ends(celsius),
        ),
        (rules(), words(), words(), source(), any::<bool>()),
        (option::of(span()), option::of(span())),
    )
        .prop_map(
            |(
                (name, kind),
                (pack, pack_price, density),
                (ratio, dwell, unmetered, level, cure, surface),
                (rules, sds, caution, source, retired),
                (lead_us, open_life_us),
            )| Product {
                name,
                kind,
                pack,
                pack_price,
                density_micro_g_per_ml: density,
                ratio,
                dwell_shortest_us: dwell.0,
                dwell_longest_us: dwell.1,
                unmetered,
                level_from_us: level.0,
                level_until_us: level.1,
                water_safe_us: cure.0,
                full_cure_us: cure.1,
                surface_lowest: surface.0,
                surface_highest: surface.1,
                rules,
                sds,
                caution,
                source,
                lead_us,
                open_life_us,
                retired,
            },
        )
}

fn stage() -> impl Strategy<Value = Stage> {
    let kinds = vec![
        StageKind::Cleaning,
        StageKind::Correction,
        StageKind::Coating,
        StageKind::Other,
    ];
    (
        words(),
        select(kinds),
        rules(),
        words(),
        option::of(1..=99_999_i64),
        any::<bool>(),
    )
        .prop_map(
            |(name, kind, rules, caution, supplies_minor, retired)| Stage {
                name,
                kind,
                rules,
                caution,
                supplies_minor,
                retired,
            },
        )
}

fn job_type(stages: Vec<Code>, products: Vec<Code>) -> impl Strategy<Value = JobType> {
    let stage_count = stages.len();
    let product_count = products.len();
    let finishes: Vec<&str> = FINISHES
        .iter()
        .map(|f| f.code)
        .chain(["unknown", "gloss/satin"])
        .collect();
    let panel = (select(finishes), option::of(1..=500_000_u32));
    (
        (words(), code(), option::of(money("EUR")), any::<bool>()),
        (Just(stages), vec((span(), source()), stage_count)),
        (Just(products), vec((amount(), source()), product_count)),
        btree_map(code(), panel, 0..6),
    )
        .prop_map(
            |((name, vehicle_class, price, retired), stages, products, panels)| JobType {
                name,
                vehicle_class,
                stages: stages
                    .0
                    .into_iter()
                    .zip(stages.1)
                    .map(|(stage, (allowance_us, source))| StageAllowance {
                        stage,
                        allowance_us,
                        source,
                    })
                    .collect(),
                products: products
                    .0
                    .into_iter()
                    .zip(products.1)
                    .map(|(product, (amount, source))| ProductAllowance {
                        product,
                        amount,
                        source,
                    })
                    .collect(),
                panels: panels
                    .into_iter()
                    .map(|(code, (finish, area_cm2))| Panel {
                        code,
                        finish: Code::new(finish),
                        area_cm2,
                    })
                    .collect(),
                price,
                retired,
            },
        )
}

/// A catalogue that a file could hold.
pub(crate) fn catalogue() -> impl Strategy<Value = Catalogue> {
    let bay = (words(), 1..=20_u32, any::<bool>()).prop_map(|(name, places, retired)| Bay {
        name,
        places,
        retired,
    });
    let worker = (words(), option::of(1..=99_999_i64), any::<bool>()).prop_map(
        |(name, rate_minor, retired)| Worker {
            name,
            rate_minor,
            retired,
        },
    );
    (
        shop(),
        btree_map(code(), bay, 0..4),
        btree_map(code(), worker, 0..4),
        btree_map(code(), product(), 0..5),
        btree_map(code(), stage(), 0..5),
    )
        .prop_flat_map(|(shop, bays, workers, products, stages)| {
            let stage_codes: Vec<Code> = stages.keys().cloned().collect();
            let product_codes: Vec<Code> = products.keys().cloned().collect();
            let types: BoxedStrategy<BTreeMap<Code, JobType>> =
                btree_map(code(), job_type(stage_codes, product_codes), 0..4).boxed();
            (Just((shop, bays, workers, products, stages)), types)
        })
        .prop_map(
            |((shop, bays, workers, products, stages), job_types)| Catalogue {
                shop: Some(shop),
                bays,
                workers,
                products,
                stages,
                job_types,
            },
        )
}
