//! Facts made of bytes: every kind, with the codes of the example shop, codes
//! nobody knows, numbers at the edges, and references to each other.

mod catalogue;
mod log;

use baywright_proto::v1::{self, fact::Kind};

use crate::food::Food;

pub use log::records;

const BAYS: [&str; 6] = ["bay-1", "bay-2", "holding", "away", "", "no-bay"];
const WORKERS: [&str; 6] = ["ana", "ben", "cleo", "", "nobody", "ana "];
const STAGES: [&str; 10] = [
    "prewash",
    "decon",
    "dry",
    "mask",
    "polish",
    "wipe-down",
    "coat",
    "wheels",
    "",
    "no-stage",
];
const PRODUCTS: [&str; 7] = [
    "iron-remover",
    "shampoo",
    "coating-3y",
    "panel-wipe",
    "compound",
    "",
    "no-product",
];
const PANELS: [&str; 6] = ["nose", "tank", "seat", "door-left", "", "no-panel"];
const FINISHES: [&str; 6] = ["gloss", "matte", "satin", "leather", "glass", "no-finish"];
const TYPES: [&str; 5] = ["trike-coat", "hatch-polish", "unsorted", "", "no-type"];
const NUMBERS: [&str; 12] = [
    "350",
    "0.35",
    "15",
    "1",
    "0",
    "62.4",
    "999999999999.999999",
    "",
    "-1",
    "1e9",
    "0.000001",
    "000001",
];
const CURRENCIES: [&str; 4] = ["EUR", "JPY", "", "no"];
/// What somebody might type to steer a terminal, a page or a spreadsheet.
pub const HOSTILE: [&str; 12] = [
    "red van",
    "",
    "\u{1b}[2J\u{1b}]0;x\u{7}",
    "\u{9b}31m\u{90}q",
    "abc\u{202e}txt.exe\u{2066}",
    "<script>alert(1)</script>",
    "\"><img src=x onerror=y>&amp;",
    "=HYPERLINK(\"http://192.0.2.1\",\"x\")",
    "-1+1|cmd",
    "\t=1\r\n+2",
    "a\0b\u{1}\u{fffe}\u{ffff}]]>",
    "e\u{301}\u{1f468}\u{200d}\u{1f527}",
];

fn code(food: &mut Food<'_>, of: &[&str]) -> String {
    if food.byte() > 240 {
        return food.text(&HOSTILE);
    }
    food.pick(of).unwrap_or_default().to_owned()
}

fn codes(food: &mut Food<'_>, of: &[&str]) -> Vec<String> {
    (0..food.below(4)).map(|_| code(food, of)).collect()
}

fn words(food: &mut Food<'_>) -> String {
    food.text(&HOSTILE)
}

fn id(food: &mut Food<'_>) -> Vec<u8> {
    match food.byte() {
        0..=220 => food.id().to_vec(),
        221..=235 => Vec::new(),
        _ => {
            let length = food.below(20);
            food.bytes(length).to_vec()
        }
    }
}

fn amount(food: &mut Food<'_>) -> Option<v1::Amount> {
    (food.byte() < 230).then(|| v1::Amount {
        decimal: code(food, &NUMBERS),
        unit: i32::from(food.byte() % 11),
    })
}

fn money(food: &mut Food<'_>) -> Option<v1::Money> {
    (food.byte() < 160).then(|| v1::Money {
        price_minor: food.number(),
        currency: code(food, &CURRENCIES),
    })
}

fn grades(food: &mut Food<'_>) -> Option<v1::Grades> {
    let grade = |food: &mut Food<'_>| match food.byte() {
        how @ 0..=240 => u32::from(how % 6),
        _ => small(food),
    };
    food.flag().then(|| v1::Grades {
        soil: grade(food),
        defects: grade(food),
        intricacy: grade(food),
    })
}

/// A number of the wire's 32 bits, its ends included.
fn small(food: &mut Food<'_>) -> u32 {
    u32::try_from(food.number()).unwrap_or(u32::MAX)
}

fn signed(food: &mut Food<'_>) -> i32 {
    i32::try_from(food.number()).unwrap_or(i32::MAX)
}

fn panels(food: &mut Food<'_>) -> Vec<v1::Panel> {
    (0..food.below(4))
        .map(|_| v1::Panel {
            code: code(food, &PANELS),
            finish: code(food, &FINISHES),
            area_cm2: small(food),
        })
        .collect()
}

fn job(food: &mut Food<'_>) -> Option<v1::JobRef> {
    let job = match food.byte() {
        0..=150 => return None,
        151..=190 => Some(v1::job_ref::Job::Number(u64::from(food.byte() % 8))),
        191..=240 => Some(v1::job_ref::Job::OpeningEventId(id(food))),
        241..=248 => Some(v1::job_ref::Job::Number(u64::MAX)),
        _ => None,
    };
    Some(v1::JobRef { job })
}

fn asked(food: &mut Food<'_>) -> Option<v1::QuoteAsked> {
    (food.byte() < 240).then(|| v1::QuoteAsked {
        job_type: code(food, &TYPES),
        vehicle: words(food),
        vehicle_class: code(food, &["trike", "van", ""]),
        grades: grades(food),
        panels: panels(food),
        without_stages: codes(food, &STAGES),
        with_stages: codes(food, &STAGES),
        unseen: food.flag(),
        like_job_number: u64::from(food.byte() % 5),
        customer: words(food),
    })
}

fn printed(food: &mut Food<'_>) -> Option<v1::QuotePrinted> {
    (food.byte() < 240).then(|| v1::QuotePrinted {
        currency: code(food, &CURRENCIES),
        stages: (0..food.below(4))
            .map(|_| v1::QuotedStage {
                stage: code(food, &STAGES),
                allowance_us: food.number(),
                half_us: food.number(),
                p80_us: food.number(),
                quoted_us: food.number(),
                n: small(food),
            })
            .collect(),
        products: (0..food.below(3))
            .map(|_| v1::QuotedProduct {
                product: code(food, &PRODUCTS),
                unit: code(food, &["ml", "g", "each", ""]),
                allowance: float(food),
                half: float(food),
                p80: float(food),
                quoted: amount(food),
                cost_minor: food.number(),
                n: small(food),
            })
            .collect(),
        hands_on_half_us: food.number(),
        hands_on_p80_us: food.number(),
        labour_minor: food.number(),
        materials_minor: food.number(),
        supplies_minor: food.number(),
        overhead_minor: food.number(),
        cost_minor: food.number(),
        price_minor: food.number(),
        list_minor: food.number(),
        target_margin_permille: signed(food),
        valid_until_us: food.instant().0,
        model_version: words(food),
        likes: (0..food.below(3))
            .map(|_| v1::QuotedLike {
                job_number: u64::from(food.byte()),
                vehicle: words(food),
                job_type: code(food, &TYPES),
                grades: grades(food),
                hands_on_us: food.number(),
                released_us: food.number(),
            })
            .collect(),
        tax_milli_pct: small(food),
        widen_milli: small(food),
        ..v1::QuotePrinted::default()
    })
}

fn float(food: &mut Food<'_>) -> f64 {
    match food.byte() {
        0..=200 => f64::from(food.byte()),
        201..=210 => f64::NAN,
        211..=220 => f64::INFINITY,
        221..=230 => -1.0,
        _ => f64::from_bits(food.number().cast_unsigned()),
    }
}

/// One fact; its kind is the first byte.
pub fn fact(food: &mut Food<'_>) -> v1::Fact {
    let number = food.byte();
    let kind = match number % 36 {
        0..=3 => shop_fact(food, number),
        4..=13 => stage_fact(food, number),
        14..=20 => product_fact(food, number),
        21..=28 => panel_fact(food, number),
        _ => office_fact(food, number),
    };
    v1::Fact {
        clocks: (food.byte() < 250).then(|| v1::Clocks {
            wall_us: food.instant().0,
            boot_id: code(food, &["boot-1", "boot-2", ""]),
            boot_us: food.number(),
        }),
        occurred: match food.byte() {
            0..=150 => None,
            151..=200 => Some(v1::fact::Occurred::AgoUs(food.number())),
            _ => Some(v1::fact::Occurred::AtUs(food.instant().0)),
        },
        bay: code(food, &BAYS),
        by: codes(food, &WORKERS),
        job: job(food),
        kind: Some(kind),
    }
}

fn shop_fact(food: &mut Food<'_>, number: u8) -> Kind {
    match number % 36 {
        0 | 1 => Kind::JobOpened(v1::JobOpened {
            job_type: code(food, &TYPES),
            vehicle: words(food),
            vehicle_class: code(food, &["trike", "van", ""]),
            grades: grades(food),
            panels: panels(food),
            repaint_age_days: small(food),
            comeback_of: job(food),
            handle: code(food, &["b1-1", "b2-7", ""]),
            agreed: money(food),
            quote_event_id: id(food),
        }),
        2 => Kind::JobMoved(v1::JobMoved {
            place: code(food, &BAYS),
        }),
        _ => Kind::JobReleased(v1::JobReleased {}),
    }
}

fn stage_fact(food: &mut Food<'_>, number: u8) -> Kind {
    let stage = code(food, &STAGES);
    match number % 36 {
        4..=6 => Kind::StageStarted(v1::StageStarted {
            stage,
            panels: codes(food, &PANELS),
            rework: food.flag(),
        }),
        7 => Kind::StagePaused(v1::StagePaused {
            stage,
            person: food.flag(),
            reason: words(food),
        }),
        8 => Kind::StageResumed(v1::StageResumed { stage }),
        9 | 10 => Kind::StageFinished(v1::StageFinished {
            stage,
            result: i32::from(food.byte() % 4),
        }),
        11 => Kind::StageDeclared(v1::StageDeclared {
            stage,
            declaration: i32::from(food.byte() % 5),
            about_us: food.number(),
        }),
        12 => Kind::DwellStarted(v1::DwellStarted {
            product: code(food, &PRODUCTS),
            panels: codes(food, &PANELS),
        }),
        _ => Kind::DwellEnded(v1::DwellEnded {
            product: code(food, &PRODUCTS),
            panels: codes(food, &PANELS),
        }),
    }
}

fn product_fact(food: &mut Food<'_>, number: u8) -> Kind {
    let product = code(food, &PRODUCTS);
    match number % 36 {
        14 => Kind::AmbientRead(v1::AmbientRead {
            air_milli_c: signed(food),
            humidity_milli_pct: small(food),
            surface_milli_c: food.flag().then(|| signed(food)),
            source: i32::from(food.byte() % 4),
        }),
        15 => Kind::MixMade(v1::MixMade {
            product,
            ratio: food.flag().then(|| v1::Ratio {
                water_parts: code(food, &NUMBERS),
                product_parts: code(food, &NUMBERS),
            }),
            volume: amount(food),
            additions: (0..food.below(3))
                .map(|_| v1::Addition {
                    product: code(food, &PRODUCTS),
                    amount: amount(food),
                })
                .collect(),
        }),
        16 => Kind::MixDumped(v1::MixDumped {
            product,
            mix_event_id: id(food),
            amount: amount(food),
        }),
        17 | 18 => Kind::ProductUsed(v1::ProductUsed {
            product,
            quantity: if food.flag() {
                amount(food).map(v1::product_used::Quantity::Amount)
            } else {
                Some(v1::product_used::Quantity::Weighing(v1::Weighing {
                    before: amount(food),
                    after: amount(food),
                }))
            },
            lot: words(food),
            panels: codes(food, &PANELS),
            source: i32::from(food.byte() % 4),
        }),
        19 => Kind::ProductRefilled(v1::ProductRefilled {
            product,
            state: i32::from(food.byte() % 5),
            amount: amount(food),
            lot: words(food),
        }),
        _ if food.flag() => Kind::StockReceived(v1::StockReceived {
            product,
            packs: small(food),
            pack: amount(food),
            price: money(food),
            lot: words(food),
        }),
        _ => Kind::StockCounted(v1::StockCounted {
            product,
            amount: amount(food),
        }),
    }
}

fn panel_fact(food: &mut Food<'_>, number: u8) -> Kind {
    let panel = code(food, &PANELS);
    match number % 36 {
        21 | 22 => Kind::PanelCoated(v1::PanelCoated {
            panel,
            section: small(food),
            product: code(food, &PRODUCTS),
            lot: words(food),
            layer: small(food),
        }),
        23 => Kind::PanelLevelled(v1::PanelLevelled {
            panel,
            section: small(food),
            result: i32::from(food.byte() % 5),
            amends: food.flag(),
        }),
        24 => Kind::PanelLamp(v1::PanelLamp {
            panel,
            duration_us: food.number(),
            surface_milli_c: food.flag().then(|| signed(food)),
        }),
        25 => Kind::PanelCured(v1::PanelCured { panel }),
        26 => Kind::SurfaceCovered(v1::SurfaceCovered {
            finish: code(food, &FINISHES),
            panel,
            cover: i32::from(food.byte() % 4),
        }),
        27 => Kind::FlawFound(v1::FlawFound {
            panel,
            flaw: words(food),
            existing: food.flag(),
            photo: words(food),
        }),
        _ => Kind::FlawRemedied(v1::FlawRemedied {
            panel,
            flaw: words(food),
            flaw_event_id: id(food),
        }),
    }
}

fn office_fact(food: &mut Food<'_>, number: u8) -> Kind {
    match number % 36 {
        29 => Kind::Noted(v1::Noted {
            text: words(food),
            set_aside_event_id: if food.flag() { Vec::new() } else { id(food) },
        }),
        30 => Kind::StruckOut(v1::StruckOut {
            event_id: id(food),
            reason: words(food),
        }),
        31 => Kind::Settled(settled(food)),
        32 => Kind::CatalogueSet(v1::CatalogueSet {
            valid_from_us: food.instant().0,
            changed: Some(catalogue::change(food)),
            learned_up_to_seq: u64::from(food.byte() % 4),
        }),
        33 => Kind::QuoteDrafted(v1::QuoteDrafted {
            asked: asked(food),
            printed: printed(food),
            addition: food.flag(),
        }),
        34 => match food.byte() % 3 {
            0 => Kind::QuoteRevised(v1::QuoteRevised {
                quote_event_id: id(food),
                asked: asked(food),
                printed: printed(food),
                reason: words(food),
            }),
            1 => Kind::QuoteAccepted(v1::QuoteAccepted {
                quote_event_id: id(food),
                agreed: money(food),
                suggested: money(food),
                reason: words(food),
                planned_date: code(
                    food,
                    &["2026-11-30", "", "9999-12-31", "-9999-01-01", "soon"],
                ),
            }),
            _ => Kind::QuoteDeclined(v1::QuoteDeclined {
                quote_event_id: id(food),
                reason: words(food),
            }),
        },
        _ => Kind::PastRecorded(past(food)),
    }
}

fn settled(food: &mut Food<'_>) -> v1::Settled {
    use v1::settled::Answer;
    v1::Settled {
        event_id: id(food),
        reason: words(food),
        answer: match food.byte() % 9 {
            0 => Some(Answer::AsIs(food.flag())),
            1 => Some(Answer::EndUs(food.instant().0)),
            2 => Some(Answer::Code(code(food, &STAGES))),
            3 => job(food).map(Answer::Job),
            4 => Some(Answer::TookUs(food.number())),
            5 => Some(Answer::LeaveOut(true)),
            6 => Some(Answer::NotDone(true)),
            7 => Some(Answer::BreakOff(true)),
            _ => None,
        },
        question: code(food, &["unclosed", "unknown-code", "long-open", ""]),
        of: code(food, &["polish", "ana", ""]),
    }
}

/// Past jobs; their keys are few, so that some come twice.
fn past(food: &mut Food<'_>) -> v1::PastRecorded {
    v1::PastRecorded {
        source: words(food),
        jobs: (0..food.below(4))
            .map(|_| v1::PastJob {
                key: id(food),
                date: code(food, &["2025-03-24", "2026-11-30", "", "soon"]),
                job_type: code(food, &TYPES),
                vehicle: words(food),
                vehicle_class: code(food, &["trike", ""]),
                grades: grades(food),
                quoted_us: food.number(),
                actual_us: food.number(),
                stages: (0..food.below(3))
                    .map(|_| v1::PastStage {
                        stage: code(food, &STAGES),
                        quoted_us: food.number(),
                        actual_us: food.number(),
                        worker: code(food, &WORKERS),
                    })
                    .collect(),
                uses: (0..food.below(3))
                    .map(|_| v1::PastUse {
                        product: code(food, &PRODUCTS),
                        amount: amount(food),
                    })
                    .collect(),
                price: money(food),
            })
            .collect(),
    }
}
