//! Catalogue messages to and from [`baywright_terms::catalogue`].
//!
//! From the wire is total: an odd value is kept where the type can hold it and
//! dropped to "not given" where it cannot. A stored catalogue is a fact.

use baywright_terms::catalogue::file::text;
use baywright_terms::catalogue::{
    Bay, Catalogue, JobType, Product, ProductAllowance, Shop, Source, Stage, StageAllowance,
    StageKind, Standing, SurfaceRule, UnitSystem, Worker,
};
use baywright_terms::code::Code;
use baywright_terms::hours::OpenHours;
use baywright_terms::temperature::MilliCelsius;

use crate::amount::{
    amount_from_wire, amount_to_wire, money_from_wire, money_to_wire, panel_from_wire,
    panel_to_wire, ratio_from_wire, ratio_to_wire,
};
use crate::v1;

/// The catalogue as a message; entries in the order of their codes.
pub fn to_wire(catalogue: &Catalogue) -> v1::Catalogue {
    v1::Catalogue {
        shop: catalogue.shop.as_ref().map(shop_to_wire),
        bays: entries(&catalogue.bays, bay_to_wire),
        workers: entries(&catalogue.workers, worker_to_wire),
        products: entries(&catalogue.products, product_to_wire),
        stages: entries(&catalogue.stages, stage_to_wire),
        job_types: entries(&catalogue.job_types, job_type_to_wire),
    }
}

/// The message as a catalogue; of two entries with one code the later holds.
pub fn from_wire(catalogue: &v1::Catalogue) -> Catalogue {
    let code = |text: &str| Code::new(text);
    Catalogue {
        shop: catalogue.shop.as_ref().map(shop_from_wire),
        bays: catalogue
            .bays
            .iter()
            .map(|b| (code(&b.code), bay_from_wire(b)))
            .collect(),
        workers: catalogue
            .workers
            .iter()
            .map(|w| (code(&w.code), worker_from_wire(w)))
            .collect(),
        products: catalogue
            .products
            .iter()
            .map(|p| (code(&p.code), product_from_wire(p)))
            .collect(),
        stages: catalogue
            .stages
            .iter()
            .map(|s| (code(&s.code), stage_from_wire(s)))
            .collect(),
        job_types: catalogue
            .job_types
            .iter()
            .map(|t| (code(&t.code), job_type_from_wire(t)))
            .collect(),
    }
}

fn entries<T, W>(
    entries: &std::collections::BTreeMap<Code, T>,
    convert: impl Fn(&Code, &T) -> W,
) -> Vec<W> {
    entries
        .iter()
        .map(|(code, entry)| convert(code, entry))
        .collect()
}

/// 0 on the wire stands for a value not given.
fn given(value: i64) -> Option<i64> {
    Some(value).filter(|v| *v != 0)
}

fn shop_to_wire(shop: &Shop) -> v1::Shop {
    v1::Shop {
        name: shop.name.clone(),
        zone: shop.zone.clone(),
        currency: shop.currency.clone(),
        open: shop.open.iter().map(hours_to_wire).collect(),
        breaks: shop.breaks.iter().map(hours_to_wire).collect(),
        soil_grades: shop.soil_grades.clone(),
        defects_grades: shop.defects_grades.clone(),
        intricacy_grades: shop.intricacy_grades.clone(),
        units: match shop.units {
            UnitSystem::Metric => "metric",
            UnitSystem::Us => "us",
            UnitSystem::Imperial => "imperial",
        }
        .to_owned(),
    }
}

fn shop_from_wire(shop: &v1::Shop) -> Shop {
    Shop {
        name: shop.name.clone(),
        zone: shop.zone.clone(),
        currency: shop.currency.clone(),
        units: match shop.units.as_str() {
            "us" => UnitSystem::Us,
            "imperial" => UnitSystem::Imperial,
            _ => UnitSystem::Metric,
        },
        open: shop.open.iter().filter_map(hours_from_wire).collect(),
        breaks: shop.breaks.iter().filter_map(hours_from_wire).collect(),
        soil_grades: shop.soil_grades.clone(),
        defects_grades: shop.defects_grades.clone(),
        intricacy_grades: shop.intricacy_grades.clone(),
    }
}

fn hours_to_wire(hours: &OpenHours) -> v1::OpenHours {
    v1::OpenHours {
        weekday: hours.weekday.into(),
        from_min: hours.from_min.into(),
        until_min: hours.until_min.into(),
    }
}

/// `None` for hours of no weekday or beyond the day: the fold cuts at closing
/// and must not be handed a closing time that never comes.
fn hours_from_wire(hours: &v1::OpenHours) -> Option<OpenHours> {
    let hours = OpenHours {
        weekday: u8::try_from(hours.weekday).ok()?,
        from_min: u16::try_from(hours.from_min).ok()?,
        until_min: u16::try_from(hours.until_min).ok()?,
    };
    let real = (1..=7).contains(&hours.weekday)
        && hours.from_min < hours.until_min
        && hours.until_min <= 24 * 60;
    real.then_some(hours)
}

fn bay_to_wire(code: &Code, bay: &Bay) -> v1::Bay {
    v1::Bay {
        code: code.to_string(),
        name: bay.name.clone(),
        places: bay.places,
        retired: bay.retired,
    }
}

fn bay_from_wire(bay: &v1::Bay) -> Bay {
    Bay {
        name: bay.name.clone(),
        places: bay.places.max(1),
        retired: bay.retired,
    }
}

fn worker_to_wire(code: &Code, worker: &Worker) -> v1::Worker {
    v1::Worker {
        code: code.to_string(),
        name: worker.name.clone(),
        rate_minor: worker.rate_minor.unwrap_or(0),
        retired: worker.retired,
    }
}

fn worker_from_wire(worker: &v1::Worker) -> Worker {
    Worker {
        name: worker.name.clone(),
        rate_minor: given(worker.rate_minor),
        retired: worker.retired,
    }
}

fn source_to_wire(source: Source) -> i32 {
    match source {
        Source::Unmarked => v1::Source::Unspecified,
        Source::Shop => v1::Source::Shop,
        Source::Label => v1::Source::Label,
        Source::Trade => v1::Source::Trade,
        Source::Guess => v1::Source::Guess,
        Source::Standard => v1::Source::Standard,
    }
    .into()
}

fn source_from_wire(source: i32) -> Source {
    match v1::Source::try_from(source) {
        Ok(v1::Source::Shop) => Source::Shop,
        Ok(v1::Source::Label) => Source::Label,
        Ok(v1::Source::Trade) => Source::Trade,
        Ok(v1::Source::Guess) => Source::Guess,
        Ok(v1::Source::Standard) => Source::Standard,
        Ok(v1::Source::Unspecified) | Err(_) => Source::Unmarked,
    }
}

fn rule_to_wire(rule: &SurfaceRule) -> v1::SurfaceRule {
    v1::SurfaceRule {
        finish: rule.finish.to_string(),
        standing: match rule.standing {
            Standing::Fine => v1::Standing::Fine,
            Standing::Care => v1::Standing::Care,
            Standing::Never => v1::Standing::Never,
        }
        .into(),
        why: rule.why.clone(),
    }
}

/// A standing that this build does not know reads as care: a warning too many
/// is better than one too few.
fn rule_from_wire(rule: &v1::SurfaceRule) -> SurfaceRule {
    SurfaceRule {
        finish: Code::new(&rule.finish),
        standing: match v1::Standing::try_from(rule.standing) {
            Ok(v1::Standing::Fine) => Standing::Fine,
            Ok(v1::Standing::Never) => Standing::Never,
            Ok(v1::Standing::Care | v1::Standing::Unspecified) | Err(_) => Standing::Care,
        },
        why: rule.why.clone(),
    }
}

fn product_to_wire(code: &Code, product: &Product) -> v1::Product {
    v1::Product {
        code: code.to_string(),
        name: product.name.clone(),
        kind: product.kind.clone(),
        pack: product.pack.as_ref().map(amount_to_wire),
        pack_price: product.pack_price.as_ref().map(money_to_wire),
        density_g_per_ml: product
            .density_micro_g_per_ml
            .map_or(String::new(), text::density),
        ratio: product.ratio.as_ref().map(ratio_to_wire),
        dwell_shortest_us: product.dwell_shortest_us.unwrap_or(0),
        dwell_longest_us: product.dwell_longest_us.unwrap_or(0),
        unmetered: product.unmetered,
        level_from_us: product.level_from_us.unwrap_or(0),
        level_until_us: product.level_until_us.unwrap_or(0),
        water_safe_us: product.water_safe_us.unwrap_or(0),
        full_cure_us: product.full_cure_us.unwrap_or(0),
        surface_lowest_milli_c: product.surface_lowest.map(|t| t.0),
        surface_highest_milli_c: product.surface_highest.map(|t| t.0),
        rules: product.rules.iter().map(rule_to_wire).collect(),
        sds: product.sds.clone(),
        caution: product.caution.clone(),
        source: source_to_wire(product.source),
        retired: product.retired,
    }
}

fn product_from_wire(product: &v1::Product) -> Product {
    Product {
        name: product.name.clone(),
        kind: product.kind.clone(),
        pack: product.pack.as_ref().and_then(amount_from_wire),
        pack_price: product.pack_price.as_ref().map(money_from_wire),
        density_micro_g_per_ml: text::parse_density(&product.density_g_per_ml),
        ratio: product.ratio.as_ref().and_then(ratio_from_wire),
        dwell_shortest_us: given(product.dwell_shortest_us),
        dwell_longest_us: given(product.dwell_longest_us),
        unmetered: product.unmetered,
        level_from_us: given(product.level_from_us),
        level_until_us: given(product.level_until_us),
        water_safe_us: given(product.water_safe_us),
        full_cure_us: given(product.full_cure_us),
        surface_lowest: product.surface_lowest_milli_c.map(MilliCelsius),
        surface_highest: product.surface_highest_milli_c.map(MilliCelsius),
        rules: product.rules.iter().map(rule_from_wire).collect(),
        sds: product.sds.clone(),
        caution: product.caution.clone(),
        source: source_from_wire(product.source),
        retired: product.retired,
    }
}

fn stage_to_wire(code: &Code, stage: &Stage) -> v1::Stage {
    v1::Stage {
        code: code.to_string(),
        name: stage.name.clone(),
        kind: match stage.kind {
            StageKind::Cleaning => v1::StageKind::Cleaning,
            StageKind::Correction => v1::StageKind::Correction,
            StageKind::Coating => v1::StageKind::Coating,
            StageKind::Other => v1::StageKind::Other,
        }
        .into(),
        rules: stage.rules.iter().map(rule_to_wire).collect(),
        caution: stage.caution.clone(),
        retired: stage.retired,
    }
}

fn stage_from_wire(stage: &v1::Stage) -> Stage {
    Stage {
        name: stage.name.clone(),
        kind: match v1::StageKind::try_from(stage.kind) {
            Ok(v1::StageKind::Cleaning) => StageKind::Cleaning,
            Ok(v1::StageKind::Correction) => StageKind::Correction,
            Ok(v1::StageKind::Coating) => StageKind::Coating,
            Ok(v1::StageKind::Other | v1::StageKind::Unspecified) | Err(_) => StageKind::Other,
        },
        rules: stage.rules.iter().map(rule_from_wire).collect(),
        caution: stage.caution.clone(),
        retired: stage.retired,
    }
}

fn job_type_to_wire(code: &Code, job_type: &JobType) -> v1::JobType {
    v1::JobType {
        code: code.to_string(),
        name: job_type.name.clone(),
        vehicle_class: job_type.vehicle_class.to_string(),
        stages: job_type
            .stages
            .iter()
            .map(|row| v1::StageAllowance {
                stage: row.stage.to_string(),
                allowance_us: row.allowance_us,
                source: source_to_wire(row.source),
            })
            .collect(),
        products: job_type
            .products
            .iter()
            .map(|row| v1::ProductAllowance {
                product: row.product.to_string(),
                amount: Some(amount_to_wire(&row.amount)),
                source: source_to_wire(row.source),
            })
            .collect(),
        panels: job_type.panels.iter().map(panel_to_wire).collect(),
        price: job_type.price.as_ref().map(money_to_wire),
        retired: job_type.retired,
    }
}

fn job_type_from_wire(job_type: &v1::JobType) -> JobType {
    JobType {
        name: job_type.name.clone(),
        vehicle_class: Code::new(&job_type.vehicle_class),
        stages: job_type
            .stages
            .iter()
            .map(|row| StageAllowance {
                stage: Code::new(&row.stage),
                allowance_us: row.allowance_us,
                source: source_from_wire(row.source),
            })
            .collect(),
        products: job_type
            .products
            .iter()
            .filter_map(|row| {
                Some(ProductAllowance {
                    product: Code::new(&row.product),
                    // An allowance without a readable amount allows nothing.
                    amount: amount_from_wire(row.amount.as_ref()?)?,
                    source: source_from_wire(row.source),
                })
            })
            .collect(),
        panels: job_type.panels.iter().map(panel_from_wire).collect(),
        price: job_type.price.as_ref().map(money_from_wire),
        retired: job_type.retired,
    }
}

#[cfg(test)]
mod tests {
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
        )
            .prop_map(|((name, zone, currency, units), rest)| v1::Shop {
                name,
                zone,
                currency,
                open: rest.0,
                breaks: rest.1,
                soil_grades: rest.2,
                defects_grades: rest.3,
                intricacy_grades: rest.4,
                units,
            })
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
            (rules(), ".{0,9}", -1..=7_i32, any::<bool>()),
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
            })
    }

    fn job_type() -> impl Strategy<Value = v1::JobType> {
        let stage =
            (".{0,9}", any::<i64>(), -1..=7_i32).prop_map(|(stage, allowance_us, source)| {
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
        let panel =
            (".{0,9}", ".{0,9}", any::<u32>()).prop_map(|(code, finish, area_cm2)| v1::Panel {
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
        let bay =
            (".{0,9}", any::<u32>(), any::<bool>()).prop_map(|(code, places, retired)| v1::Bay {
                name: code.clone(),
                code,
                places,
                retired,
            });
        let worker =
            (".{0,9}", any::<i64>(), any::<bool>()).prop_map(|(code, rate_minor, retired)| {
                v1::Worker {
                    name: code.clone(),
                    code,
                    rate_minor,
                    retired,
                }
            });
        let stage = (".{0,9}", -1..=7_i32, rules(), any::<bool>()).prop_map(
            |(code, kind, rules, retired)| v1::Stage {
                name: code.clone(),
                caution: code.clone(),
                code,
                kind,
                rules,
                retired,
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
}
