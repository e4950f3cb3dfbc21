//! An invented shop, its catalogue and its past jobs.

use baywright_floor::catalogues::Catalogues;
use baywright_floor::event::{EventId, Seq};
use baywright_floor::fact::Grades;
use baywright_report::figures::{PortionUnit, Suggestion};
use baywright_report::quote::{Asking, JobRecord, Learnt, ProductRecord, StageRecord, suggest};
use baywright_terms::amount::{Amount, Decimal, Money, Unit};
use baywright_terms::catalogue::{
    Catalogue, JobType, Product, ProductAllowance, Shop, ShopCosts, Source, Stage, StageAllowance,
    StageKind, UnitSystem, Worker,
};
use baywright_terms::code::Code;
use baywright_terms::time::{DAY_US, HOUR_US, MINUTE_US, Micros};

/// The instant of every question: 2026-11-25, 08:00 UTC.
pub(crate) const NOW: Micros = Micros(1_795_593_600_000_000);

pub(crate) fn code(text: &str) -> Code {
    Code::new(text)
}

pub(crate) fn minutes(minutes: i64) -> i64 {
    minutes * MINUTE_US
}

pub(crate) fn grades(soil: u8, defects: u8, intricacy: u8) -> Grades {
    Grades {
        soil,
        defects,
        intricacy,
    }
}

pub(crate) fn ml(digits: i64) -> Amount {
    Amount {
        decimal: Decimal { digits, scale: 0 },
        unit: Unit::Ml,
    }
}

pub(crate) fn money(minor: i64) -> Money {
    Money {
        minor,
        currency: "EUR".into(),
    }
}

/// Minutes of a stage on trike, saloon and truck.
pub(crate) const STAGES: [(&str, StageKind, [i64; 3]); 4] = [
    ("wash", StageKind::Cleaning, [20, 25, 45]),
    ("decon", StageKind::Cleaning, [40, 45, 70]),
    ("polish", StageKind::Correction, [120, 180, 330]),
    ("coat", StageKind::Coating, [70, 75, 140]),
];

pub(crate) const TYPES: [&str; 3] = ["trike-coat", "saloon-coat", "truck-coat"];
pub(crate) const CLASSES: [&str; 3] = ["trike", "saloon", "truck"];
/// Millilitres of iron remover on each.
pub(crate) const IRON_ML: [i64; 3] = [250, 400, 600];

pub(crate) fn shop() -> Catalogue {
    let costs = ShopCosts {
        wage_burden_milli: Some(1_300),
        overhead_per_hour_minor: Some(1_500),
        target_margin_permille: Some(300),
        ..ShopCosts::default()
    };
    let mut catalogue = Catalogue {
        shop: Some(Shop {
            name: "Quay Row (invented)".into(),
            zone: "Europe/Berlin".into(),
            currency: "EUR".into(),
            units: UnitSystem::Metric,
            open: Vec::new(),
            breaks: Vec::new(),
            soil_grades: Vec::new(),
            defects_grades: Vec::new(),
            intricacy_grades: Vec::new(),
            costs,
        }),
        ..Catalogue::default()
    };
    for (name, kind, _) in STAGES {
        catalogue.stages.insert(code(name), stage(kind));
    }
    catalogue
        .stages
        .insert(code("lamp"), stage(StageKind::Other));
    for (at, (name, class)) in TYPES.into_iter().zip(CLASSES).enumerate() {
        let allowances = STAGES.map(|(stage, _, of)| (stage, minutes(of[at])));
        let job_type = job_type(class, &allowances, IRON_ML[at]);
        catalogue.job_types.insert(code(name), job_type);
    }
    let pack = Some(ml(1_000));
    let product = product(pack, Some(money(2_000)));
    catalogue.products.insert(code("iron-remover"), product);
    for name in ["ana", "ben"] {
        let worker = Worker {
            name: String::new(),
            rate_minor: Some(2_400),
            retired: false,
        };
        catalogue.workers.insert(code(name), worker);
    }
    catalogue
}

fn stage(kind: StageKind) -> Stage {
    Stage {
        name: String::new(),
        kind,
        rules: Vec::new(),
        caution: String::new(),
        supplies_minor: Some(250),
        retired: false,
    }
}

pub(crate) fn job_type(class: &str, stages: &[(&str, i64)], iron_ml: i64) -> JobType {
    let stage = |(stage, us): &(&str, i64)| StageAllowance {
        stage: code(stage),
        allowance_us: *us,
        source: Source::Guess,
    };
    JobType {
        name: String::new(),
        vehicle_class: code(class),
        stages: stages.iter().map(stage).collect(),
        products: vec![ProductAllowance {
            product: code("iron-remover"),
            amount: ml(iron_ml),
            source: Source::Guess,
        }],
        panels: Vec::new(),
        price: Some(money(90_000)),
        retired: false,
    }
}

fn product(pack: Option<Amount>, pack_price: Option<Money>) -> Product {
    Product {
        name: String::new(),
        kind: String::new(),
        pack,
        pack_price,
        density_micro_g_per_ml: None,
        ratio: None,
        dwell_shortest_us: Some(minutes(3)),
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

pub(crate) fn catalogues(catalogue: Catalogue) -> Catalogues {
    let mut all = Catalogues::default();
    set(&mut all, 1, catalogue, None);
    all
}

/// The nth change, a day after the one before it.
pub(crate) fn set(all: &mut Catalogues, n: u8, changed: Catalogue, learned: Option<Seq>) {
    let at = Micros(i64::from(n) * DAY_US);
    let seq = Seq(u64::from(n));
    all.add(at, at, seq, EventId([n; 16]), changed, learned);
}

/// Numbers that look like chance, from a seed.
pub(crate) struct Chance(u64);

impl Chance {
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1)
    }

    fn next(&mut self) -> u64 {
        // xorshift64*, Vigna 2016.
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        self.0.wrapping_mul(0x2545_f491_4f6c_dd1d) >> 33
    }

    pub(crate) fn below(&mut self, n: u64) -> u64 {
        self.next() % n
    }

    /// Nearly standard normal: twelve evenly spread numbers, less their mean.
    pub(crate) fn normal(&mut self) -> f64 {
        let even = |n: u64| f64::from(u32::try_from(n).unwrap()) / f64::from(1_u32 << 31);
        (0..12).map(|_| even(self.next())).sum::<f64>() - 6.0
    }
}

#[allow(clippy::cast_possible_truncation, reason = "minutes of a job")]
pub(crate) fn times(us: i64, factor: f64) -> i64 {
    let us = i32::try_from(us / 1_000).unwrap();
    (f64::from(us) * factor).round() as i64 * 1_000
}

/// The nth job of a type: each stage took `factor(stage)` times its allowance.
pub(crate) fn job(
    n: u32,
    of_type: usize,
    grades: Grades,
    mut factor: impl FnMut(&str) -> f64,
) -> JobRecord {
    let mut id = [0x33; 16];
    id[..4].copy_from_slice(&n.to_be_bytes());
    let opened = NOW.0 - DAY_US * 400 + i64::from(n) * HOUR_US * 4;
    let stages = STAGES.map(|(stage, _, of)| StageRecord {
        stage: code(stage),
        us: times(minutes(of[of_type]), factor(stage)),
        worker: Some(code("ana")),
    });
    let labour_us = stages.iter().map(|s| s.us).sum();
    let iron = IRON_ML[of_type] * 1_000_000;
    JobRecord {
        job: Some(EventId(id)),
        number: Some(u64::from(n)),
        past: None,
        job_type: code(TYPES[of_type]),
        vehicle_class: code(CLASSES[of_type]),
        grades,
        vehicle: format!("vehicle {n}"),
        opened: Some(Micros(opened)),
        released: Micros(opened + 9 * HOUR_US),
        stages: stages.into(),
        unclosed: Vec::new(),
        products: vec![ProductRecord {
            product: code("iron-remover"),
            unit: PortionUnit::Ml,
            base: times(iron, factor("iron-remover")),
        }],
        whole_us: None,
        labour_us,
        bay_hands_on_us: labour_us,
        bay_waiting_us: minutes(50),
    }
}

/// Jobs of every type whose logarithms spread around `centre`.
pub(crate) fn jobs(count: u32, seed: u64, centre: f64, spread: f64) -> Vec<JobRecord> {
    let mut chance = Chance::new(seed);
    let mut jobs = Vec::new();
    for n in 0..count {
        let of_type = usize::try_from(chance.below(3)).unwrap();
        let grade = |chance: &mut Chance| 1 + u8::try_from(chance.below(5)).unwrap();
        let own = spread * chance.normal();
        let graded = grades(grade(&mut chance), grade(&mut chance), grade(&mut chance));
        jobs.push(job(n, of_type, graded, |_| {
            (centre + own + spread * chance.normal()).exp()
        }));
    }
    jobs
}

pub(crate) fn asking(job_type: &str) -> Asking {
    Asking {
        job_type: code(job_type),
        vehicle_class: code(""),
        grades: grades(3, 3, 3),
        without: Vec::new(),
        with: Vec::new(),
        unseen: false,
        addition: false,
        seed: 7,
    }
}

pub(crate) fn quote(records: &[JobRecord], asking: &Asking) -> Suggestion {
    quote_under(records, &catalogues(shop()), asking)
}

pub(crate) fn quote_under(
    records: &[JobRecord],
    catalogues: &Catalogues,
    asking: &Asking,
) -> Suggestion {
    let learnt = Learnt::of(records, catalogues, NOW);
    suggest(&learnt, records, catalogues, asking, NOW).unwrap()
}

/// How many times the one is the other.
pub(crate) fn ratio(one: i64, other: i64) -> f64 {
    let as_f64 = |us: i64| f64::from(i32::try_from(us / 1_000).unwrap());
    as_f64(one) / as_f64(other)
}

/// Four in five over half: how wide it is.
pub(crate) fn width(quote: &Suggestion) -> f64 {
    ratio(quote.hands_on_p80_us, quote.hands_on_half_us)
}

pub(crate) fn says(quote: &Suggestion, words: &str) -> bool {
    quote.remarks.iter().any(|said| said.contains(words))
}
