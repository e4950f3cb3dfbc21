//! Random and regular shops for the tests of the fold. All names are invented.
#![allow(
    dead_code,
    unreachable_pub,
    unused_imports,
    missing_debug_implementations,
    reason = "each test file uses a part of it"
)]

mod random;
mod regular;

use std::collections::BTreeMap;

use baywright_floor::event::{Event, EventId, JobRef, Position, Seq, TimeBasis};
use baywright_floor::fact::{Fact, Grades, JobOpened, ProductUsed, UseSource, Used};
use baywright_terms::amount::{Amount, Decimal, Ratio, Unit};
use baywright_terms::catalogue::{
    Bay, Catalogue, JobType, Panel, Product, Shop, ShopCosts, Source, Stage, StageAllowance,
    StageKind, Standing, SurfaceRule, UnitSystem, Worker,
};
use baywright_terms::code::Code;
use baywright_terms::hours::OpenHours;
use baywright_terms::temperature::MilliCelsius;
use baywright_terms::time::{HOUR_US, MINUTE_US, Micros};

pub use random::RandomShop;
pub use regular::regular_shop;

/// Monday 2026-08-31 00:00 UTC.
pub const MONDAY: i64 = 1_788_134_400_000_000;
pub const DAY_US: i64 = 24 * HOUR_US;

pub fn ml(amount: i64) -> Amount {
    Amount {
        decimal: Decimal {
            digits: amount,
            scale: 0,
        },
        unit: Unit::Ml,
    }
}

pub fn ratio(water: i64) -> Ratio {
    let part = |digits| Decimal { digits, scale: 0 };
    Ratio {
        water_parts: part(water),
        product_parts: part(1),
    }
}

fn weekdays(from_min: u16, until_min: u16) -> Vec<OpenHours> {
    (1..=5)
        .map(|weekday| OpenHours {
            weekday,
            from_min,
            until_min,
        })
        .collect()
}

pub fn product(name: &str) -> Product {
    Product {
        name: name.to_owned(),
        kind: "cleaner".to_owned(),
        pack: None,
        pack_price: None,
        density_micro_g_per_ml: None,
        ratio: None,
        dwell_shortest_us: None,
        dwell_longest_us: None,
        unmetered: false,
        level_from_us: None,
        level_until_us: None,
        water_safe_us: None,
        full_cure_us: None,
        surface_lowest: None,
        surface_highest: None,
        rules: Vec::new(),
        sds: String::new(),
        caution: String::new(),
        source: Source::Unmarked,
        lead_us: None,
        open_life_us: None,
        retired: false,
    }
}

fn stage(name: &str, kind: StageKind) -> Stage {
    Stage {
        name: name.to_owned(),
        kind,
        rules: Vec::new(),
        caution: String::new(),
        supplies_minor: None,
        retired: false,
    }
}

/// The catalogue of an invented shop: open 8 to 18 with a break at noon, in UTC.
pub fn catalogue() -> Catalogue {
    let mut catalogue = Catalogue {
        shop: Some(Shop {
            name: "Gull Lane Finishing (invented)".to_owned(),
            zone: "UTC".to_owned(),
            currency: "EUR".to_owned(),
            units: UnitSystem::Metric,
            open: weekdays(8 * 60, 18 * 60),
            breaks: weekdays(12 * 60, 12 * 60 + 30),
            soil_grades: Vec::new(),
            defects_grades: Vec::new(),
            intricacy_grades: Vec::new(),
            costs: ShopCosts::default(),
        }),
        ..Catalogue::default()
    };
    for (code, places) in [("bay-1", 1), ("bay-2", 1), ("bay-3", 2)] {
        let bay = Bay {
            name: code.to_owned(),
            places,
            retired: false,
        };
        catalogue.bays.insert(code.into(), bay);
    }
    for code in ["ana", "ben", "cem", "dee"] {
        let worker = Worker {
            name: code.to_owned(),
            rate_minor: None,
            retired: false,
        };
        catalogue.workers.insert(code.into(), worker);
    }
    let iron = Product {
        dwell_shortest_us: Some(2 * MINUTE_US),
        dwell_longest_us: Some(7 * MINUTE_US),
        ..product("Iron remover")
    };
    let foam = Product {
        ratio: Some(ratio(15)),
        rules: vec![SurfaceRule {
            finish: "textured-plastic".into(),
            standing: Standing::Care,
            why: "it leaves a haze".to_owned(),
        }],
        ..product("Foam")
    };
    let ceramic = Product {
        level_from_us: Some(3 * MINUTE_US),
        level_until_us: Some(6 * MINUTE_US),
        water_safe_us: Some(12 * HOUR_US),
        surface_lowest: Some(MilliCelsius(10_000)),
        surface_highest: Some(MilliCelsius(28_000)),
        rules: vec![SurfaceRule {
            finish: "matte".into(),
            standing: Standing::Never,
            why: "it makes it shine".to_owned(),
        }],
        ..product("Ceramic")
    };
    let wipe = product("Wipe");
    for (code, product) in [
        ("iron-remover", iron),
        ("foam", foam),
        ("ceramic", ceramic),
        ("wipe", wipe),
    ] {
        catalogue.products.insert(code.into(), product);
    }
    for (code, kind) in STAGES {
        catalogue.stages.insert(code.into(), stage(code, kind));
    }
    if let Some(polish) = catalogue.stages.get_mut(&Code::new("polish")) {
        polish.rules.push(SurfaceRule {
            finish: "matte".into(),
            standing: Standing::Never,
            why: "it cannot be undone".to_owned(),
        });
    }
    let panel = |code: &str, finish: &str| Panel {
        code: code.into(),
        finish: finish.into(),
        area_cm2: None,
    };
    let job_type = JobType {
        name: "Three-wheeler, coated".to_owned(),
        vehicle_class: "trike".into(),
        stages: STAGES
            .iter()
            .map(|(code, _)| StageAllowance {
                stage: (*code).into(),
                allowance_us: HOUR_US,
                source: Source::Guess,
            })
            .collect(),
        products: Vec::new(),
        panels: vec![
            panel("nose", "gloss"),
            panel("tank", "matte"),
            panel("trim", "textured-plastic"),
        ],
        price: None,
        retired: false,
    };
    catalogue.job_types.insert("trike-coat".into(), job_type);
    catalogue
}

pub const STAGES: [(&str, StageKind); 4] = [
    ("prewash", StageKind::Cleaning),
    ("decon", StageKind::Cleaning),
    ("polish", StageKind::Correction),
    ("coat", StageKind::Coating),
];

/// Builds events with ids, device counts and seqs of their own.
#[derive(Debug, Default)]
pub struct Desk {
    next: u64,
    device_seqs: BTreeMap<String, u64>,
}

impl Desk {
    pub fn event(&mut self, device: &str, bay: &str, at: i64, fact: Fact) -> Event {
        self.next += 1;
        let device_seq = self.device_seqs.entry(device.to_owned()).or_default();
        *device_seq += 1;
        let mut id = [0_u8; 16];
        id[8..].copy_from_slice(&self.next.to_be_bytes());
        let is_opened = matches!(fact, Fact::JobOpened(_));
        Event {
            seq: Seq(self.next),
            id: EventId(id),
            position: Position {
                occurred: Micros(at),
                device: device.into(),
                device_seq: *device_seq,
            },
            received: Micros(at),
            time_basis: TimeBasis::Boot,
            clock_offset_us: 0,
            bay: bay.into(),
            by: Vec::new(),
            job: JobRef::Here,
            job_number: is_opened.then_some(self.next),
            sent_again: false,
            fact,
        }
    }

    pub fn catalogue_set(&mut self, at: i64, changed: Catalogue) -> Event {
        let fact = Fact::CatalogueSet {
            learned_up_to: None,
            valid_from: Micros(at),
            changed: Box::new(changed),
        };
        self.event("office", "", at, fact)
    }
}

pub fn opened(job_type: &str) -> Fact {
    Fact::JobOpened(JobOpened {
        quote: None,
        job_type: job_type.into(),
        vehicle: "red three-wheeler".to_owned(),
        vehicle_class: "".into(),
        grades: Grades::default(),
        panels: Vec::new(),
        repaint_age_days: 0,
        comeback_of: None,
        handle: String::new(),
        agreed: None,
    })
}

pub fn started(stage: &str) -> Fact {
    Fact::StageStarted {
        stage: stage.into(),
        panels: Vec::new(),
        rework: false,
    }
}

pub fn finished(stage: &str) -> Fact {
    Fact::StageFinished {
        stage: stage.into(),
        again: false,
    }
}

pub fn used(product: &str, amount: i64) -> Fact {
    Fact::ProductUsed(ProductUsed {
        product: product.into(),
        used: Used::Amount(ml(amount)),
        lot: String::new(),
        panels: Vec::new(),
        source: UseSource::Unsaid,
    })
}
