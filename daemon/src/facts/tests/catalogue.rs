//! The catalogue of an invented shop. The last word of each list is not in it.

use baywright_proto::v1;

use super::shop::MINUTE_US;

pub(super) const WORKERS: [&str; 4] = ["ana", "bo", "chi", "nobody-known"];
pub(super) const STAGES: [&str; 5] = ["prewash", "decon", "polish", "coat", "unheard-of"];
pub(super) const PRODUCTS: [&str; 4] = ["iron-remover", "shampoo", "hard-coat", "no-such"];

/// A small invented shop.
pub(super) fn catalogue() -> v1::Catalogue {
    let bay = |code: &str, places| v1::Bay {
        code: code.to_owned(),
        places,
        ..v1::Bay::default()
    };
    let worker = |code: &&str| v1::Worker {
        code: (*code).to_owned(),
        ..v1::Worker::default()
    };
    let stage = |code: &&str| v1::Stage {
        code: (*code).to_owned(),
        kind: v1::StageKind::Cleaning.into(),
        rules: vec![v1::SurfaceRule {
            finish: "matte".to_owned(),
            standing: v1::Standing::Never.into(),
            why: "it cannot be polished afterwards".to_owned(),
        }],
        ..v1::Stage::default()
    };
    let product = |code: &&str| v1::Product {
        code: (*code).to_owned(),
        dwell_shortest_us: 3 * MINUTE_US,
        dwell_longest_us: 10 * MINUTE_US,
        water_safe_us: 12 * 60 * MINUTE_US,
        full_cure_us: 7 * 24 * 60 * MINUTE_US,
        ..v1::Product::default()
    };
    v1::Catalogue {
        shop: Some(v1::Shop {
            name: "Three Wheels".to_owned(),
            zone: "Europe/Berlin".to_owned(),
            currency: "EUR".to_owned(),
            open: (1..=6)
                .map(|weekday| v1::OpenHours {
                    weekday,
                    from_min: 8 * 60,
                    until_min: 17 * 60,
                })
                .collect(),
            breaks: vec![v1::OpenHours {
                weekday: 1,
                from_min: 12 * 60,
                until_min: 12 * 60 + 30,
            }],
            ..v1::Shop::default()
        }),
        bays: vec![bay("bay-1", 1), bay("bay-2", 2)],
        workers: WORKERS.iter().take(3).map(worker).collect(),
        products: PRODUCTS.iter().take(3).map(product).collect(),
        stages: STAGES.iter().take(4).map(stage).collect(),
        job_types: vec![v1::JobType {
            code: "trike-coat".to_owned(),
            vehicle_class: "trike".to_owned(),
            stages: STAGES
                .iter()
                .take(4)
                .map(|stage| v1::StageAllowance {
                    stage: (*stage).to_owned(),
                    allowance_us: 60 * MINUTE_US,
                    ..v1::StageAllowance::default()
                })
                .collect(),
            panels: vec![
                v1::Panel {
                    code: "nose".to_owned(),
                    finish: "gloss".to_owned(),
                    area_cm2: 4_000,
                },
                v1::Panel {
                    code: "tub".to_owned(),
                    finish: "matte".to_owned(),
                    area_cm2: 0,
                },
            ],
            ..v1::JobType::default()
        }],
    }
}
