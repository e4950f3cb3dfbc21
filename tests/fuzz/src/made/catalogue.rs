//! Changes of the catalogue, as the wire can hold them.

use baywright_proto::v1;

use super::{
    CURRENCIES, NUMBERS, PRODUCTS, STAGES, TYPES, WORKERS, amount, code, money, panels, small,
    words,
};
use crate::food::Food;

/// A change of the catalogue: hours at the edges, rates, allowances, odd names.
pub(super) fn change(food: &mut Food<'_>) -> v1::Catalogue {
    let hours = |food: &mut Food<'_>| {
        crate::targets::hours::rows(food)
            .iter()
            .map(|row| v1::OpenHours {
                weekday: u32::from(row.weekday),
                from_min: u32::from(row.from_min),
                until_min: u32::from(row.until_min),
            })
            .collect()
    };
    let zones = crate::targets::words::ZONES;
    v1::Catalogue {
        shop: food.flag().then(|| v1::Shop {
            name: words(food),
            zone: code(food, &zones),
            currency: code(food, &CURRENCIES),
            open: hours(food),
            breaks: hours(food),
            overhead_per_hour_minor: food.number(),
            wage_burden_milli: small(food),
            ..v1::Shop::default()
        }),
        workers: (0..food.below(3))
            .map(|_| v1::Worker {
                code: code(food, &WORKERS),
                name: words(food),
                rate_minor: food.number(),
                retired: food.flag(),
            })
            .collect(),
        products: (0..food.below(3))
            .map(|_| v1::Product {
                code: code(food, &PRODUCTS),
                name: words(food),
                pack: amount(food),
                pack_price: money(food),
                caution: words(food),
                sds: words(food),
                dwell_shortest_us: food.number(),
                dwell_longest_us: food.number(),
                level_from_us: food.number(),
                level_until_us: food.number(),
                water_safe_us: food.number(),
                full_cure_us: food.number(),
                density_g_per_ml: code(food, &NUMBERS),
                unmetered: food.flag(),
                ..v1::Product::default()
            })
            .collect(),
        stages: (0..food.below(3))
            .map(|_| v1::Stage {
                code: code(food, &STAGES),
                name: words(food),
                caution: words(food),
                supplies_minor: food.number(),
                kind: i32::from(food.byte() % 6),
                ..v1::Stage::default()
            })
            .collect(),
        job_types: (0..food.below(2))
            .map(|_| v1::JobType {
                code: code(food, &TYPES),
                name: words(food),
                vehicle_class: code(food, &["trike", ""]),
                stages: (0..food.below(4))
                    .map(|_| v1::StageAllowance {
                        stage: code(food, &STAGES),
                        allowance_us: food.number(),
                        source: i32::from(food.byte() % 6),
                    })
                    .collect(),
                products: (0..food.below(3))
                    .map(|_| v1::ProductAllowance {
                        product: code(food, &PRODUCTS),
                        amount: amount(food),
                        source: 0,
                    })
                    .collect(),
                panels: panels(food),
                price: money(food),
                retired: food.flag(),
            })
            .collect(),
        ..v1::Catalogue::default()
    }
}
