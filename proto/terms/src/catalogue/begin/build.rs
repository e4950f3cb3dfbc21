//! Answers into a catalogue.

use std::collections::BTreeMap;

use crate::amount::{Amount, Decimal, Ratio, Unit};
use crate::catalogue::file::value;
use crate::catalogue::{
    Bay, Catalogue, JobType, Panel, Product, ProductAllowance, Shop, ShopCosts, Source, Stage,
    StageAllowance, Worker,
};
use crate::code::Code;
use crate::surface;
use crate::time::MINUTE_US;

use super::class::{CLASSES, Step, VehicleClass};
use super::product::{PRODUCTS, ProductDefault, Usage};
use super::trade::{SERVICES, STAGES, Service};
use super::{Answers, code_from_words};

/// Kind and default code of the product that the coating's name replaces.
const COATING: &str = "coating";

/// Sentences of grades 1 to 5 for a new catalogue.
const SOIL: [&str; 5] = [
    "Kept: a little dust.",
    "Light film, washed within the last weeks.",
    "Normal road use.",
    "Heavy film, baked insects, tar.",
    "Neglected: everything baked on.",
];
const DEFECTS: [&str; 5] = [
    "Hardly any marks.",
    "Light swirls under a lamp.",
    "Swirls seen in daylight.",
    "Etching, oxidation, many scratches.",
    "Deep defects all over.",
];
const INTRICACY: [&str; 5] = [
    "Large plain panels.",
    "Few edges and little trim.",
    "As usual for its class.",
    "Many nooks, trim or mixed finishes.",
    "Full of nooks, fins and mixed finishes, hard to reach.",
];

/// Builds a catalogue from answers and common practice. Every number in it is
/// marked by its kind of source; nothing is the shop's own yet.
pub fn build(answers: &Answers) -> Catalogue {
    let coating = coating_code(answers);
    let classes = CLASSES.iter().filter(|c| answers.classes.contains(&c.code));
    let services: Vec<&Service> = SERVICES
        .iter()
        .filter(|s| answers.services.contains(&s.code))
        .collect();
    let mut job_types = BTreeMap::new();
    for class in classes {
        for service in &services {
            let code = Code::new(&format!("{}-{}", class.code, service.code));
            job_types.insert(code, job_type(class, service, &coating));
        }
    }
    let used_stage = |code: &str| services.iter().any(|s| s.stages.contains(&code));
    let used_product = |code: &str| {
        let code = if code == COATING {
            coating.as_str()
        } else {
            code
        };
        job_types
            .values()
            .any(|t: &JobType| t.products.iter().any(|p| p.product.as_str() == code))
    };
    Catalogue {
        shop: Some(shop(answers)),
        bays: answers.bays.iter().map(bay).collect(),
        workers: answers.workers.iter().map(worker).collect(),
        products: PRODUCTS
            .iter()
            .filter(|p| used_product(p.code))
            .map(|p| product(p, answers, &coating))
            .collect(),
        stages: STAGES
            .iter()
            .filter(|s| used_stage(s.code))
            .map(|s| {
                let stage = Stage {
                    name: s.name.to_owned(),
                    kind: s.kind,
                    rules: surface::stage_rules(s.code),
                    caution: s.caution.to_owned(),
                    supplies_minor: None,
                    retired: false,
                };
                (Code::new(s.code), stage)
            })
            .collect(),
        job_types,
    }
}

/// The coating's code, from its name; never one of the other products.
fn coating_code(answers: &Answers) -> Code {
    code_from_words(&answers.coating)
        .filter(|code| PRODUCTS.iter().all(|p| p.code != code.as_str()))
        .unwrap_or_else(|| Code::new(COATING))
}

fn shop(answers: &Answers) -> Shop {
    let sentences = |list: [&str; 5]| list.into_iter().map(str::to_owned).collect();
    Shop {
        name: answers.name.clone(),
        zone: answers.zone.clone(),
        currency: answers.currency.clone(),
        units: answers.units,
        open: answers.open.clone(),
        breaks: Vec::new(),
        soil_grades: sentences(SOIL),
        defects_grades: sentences(DEFECTS),
        intricacy_grades: sentences(INTRICACY),
        costs: ShopCosts::default(),
    }
}

fn bay(code: &Code) -> (Code, Bay) {
    let bay = Bay {
        name: code.to_string(),
        places: 1,
        retired: false,
    };
    (code.clone(), bay)
}

fn worker((code, name): &(Code, String)) -> (Code, Worker) {
    let worker = Worker {
        name: name.clone(),
        rate_minor: None,
        retired: false,
    };
    (code.clone(), worker)
}

fn product(default: &ProductDefault, answers: &Answers, coating: &Code) -> (Code, Product) {
    let is_coating = default.code == COATING;
    let dwell = value::range(default.dwell, value::span).unwrap_or_default();
    let from_label = is_coating && (answers.cure_from_label || answers.level_us != (None, None));
    let product = Product {
        name: if is_coating {
            answers.coating.clone()
        } else {
            default.name.to_owned()
        },
        kind: default.kind.to_owned(),
        pack: None,
        pack_price: None,
        density_micro_g_per_ml: value::density(default.density).ok(),
        ratio: Ratio::parse(default.ratio).ok(),
        dwell_shortest_us: dwell.0,
        dwell_longest_us: dwell.1,
        unmetered: false,
        level_from_us: answers.level_us.0.filter(|_| is_coating),
        level_until_us: answers.level_us.1.filter(|_| is_coating),
        water_safe_us: is_coating.then_some(answers.water_safe_us),
        full_cure_us: is_coating.then_some(answers.full_cure_us),
        surface_lowest: None,
        surface_highest: None,
        rules: surface::product_rules(default.kind),
        sds: String::new(),
        caution: default.caution.to_owned(),
        source: if from_label {
            Source::Label
        } else {
            Source::Trade
        },
        lead_us: None,
        open_life_us: None,
        retired: false,
    };
    let code = if is_coating {
        coating.clone()
    } else {
        Code::new(default.code)
    };
    (code, product)
}

fn job_type(class: &VehicleClass, service: &Service, coating: &Code) -> JobType {
    JobType {
        name: format!("{}: {}", class.words, service.words),
        vehicle_class: Code::new(class.code),
        stages: STAGES
            .iter()
            .filter(|s| service.stages.contains(&s.code))
            .filter_map(|s| stage_row(class, service, s.code, s.steps))
            .collect(),
        products: PRODUCTS
            .iter()
            .filter(|p| service.products.contains(&p.code))
            .filter_map(|p| product_row(class, p, coating))
            .collect(),
        panels: class
            .panels
            .iter()
            .map(|p| Panel {
                code: Code::new(p.code),
                finish: Code::new(p.finish),
                area_cm2: Some(area_cm2(class, p.area_permille)).filter(|a| *a > 0),
            })
            .collect(),
        price: None,
        retired: false,
    }
}

fn stage_row(
    class: &VehicleClass,
    service: &Service,
    code: &str,
    steps: &[Step],
) -> Option<StageAllowance> {
    // A plain wash is dried once; decontamination makes it wet again.
    let once = !service.stages.contains(&"decon");
    let steps: Vec<Step> = steps
        .iter()
        .copied()
        .filter(|s| !(once && *s == Step::DryAgain))
        .collect();
    let minutes = class.minutes(&steps);
    (minutes > 0).then(|| StageAllowance {
        stage: Code::new(code),
        allowance_us: i64::from(minutes) * MINUTE_US,
        source: Source::Trade,
    })
}

/// A panel's share of the painted area, to a hundredth of a square metre: more
/// figures would claim what nobody measured.
fn area_cm2(class: &VehicleClass, permille: u32) -> u32 {
    const STEP_CM2: u32 = 100;
    let exact = class.painted_cm2 / 1_000 * permille;
    exact.div_ceil(STEP_CM2) * STEP_CM2
}

/// Two figures of a number: the middle of a wide range deserves no more.
fn two_figures(value: i64) -> i64 {
    let mut step = 1;
    while value / step >= 100 {
        step *= 10;
    }
    (value + step / 2) / step * step
}

fn product_row(
    class: &VehicleClass,
    product: &ProductDefault,
    coating: &Code,
) -> Option<ProductAllowance> {
    let (tenths, source) = match product.usage {
        Usage::Scaled(tenths) => (
            two_figures(tenths * class.usage_pct / 100),
            if class.usage_guessed {
                Source::Guess
            } else {
                Source::Trade
            },
        ),
        Usage::OnFinish(tenths, finish) if class.has(finish) => (tenths, Source::Trade),
        Usage::GuessOnFinish(tenths, finish) if class.has(finish) => (tenths, Source::Guess),
        Usage::Layer => (
            class.coating_tenth_ml,
            if class.usage_guessed {
                Source::Guess
            } else {
                Source::Trade
            },
        ),
        Usage::OnFinish(..) | Usage::GuessOnFinish(..) => return None,
    };
    let code = if product.code == COATING {
        coating.clone()
    } else {
        Code::new(product.code)
    };
    Some(ProductAllowance {
        product: code,
        amount: Amount {
            decimal: Decimal {
                digits: tenths,
                scale: 1,
            }
            .normalised(),
            unit: Unit::Ml,
        },
        source,
    })
}
