//! Random and regular shops for the tests of the fold. All names are invented.
#![allow(
    dead_code,
    unreachable_pub,
    missing_debug_implementations,
    reason = "each test file uses a part of it"
)]

use std::collections::BTreeMap;

use baywright_floor::event::{Event, EventId, JobRef, Position, Seq, TimeBasis};
use baywright_floor::fact::{
    AmbientRead, Answer, ContainerState, Declaration, Fact, Grades, JobOpened, LevelResult,
    ProductUsed, Settled, UseSource, Used,
};
use baywright_terms::amount::{Amount, Decimal, Money, Ratio, Unit};
use baywright_terms::catalogue::{
    Bay, Catalogue, JobType, Panel, Product, Shop, Source, Stage, StageAllowance, StageKind,
    Standing, SurfaceRule, UnitSystem, Worker,
};
use baywright_terms::code::Code;
use baywright_terms::hours::OpenHours;
use baywright_terms::temperature::{MilliCelsius, MilliPercent};
use baywright_terms::time::{HOUR_US, MINUTE_US, Micros};
use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

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
        retired: false,
    }
}

fn stage(name: &str, kind: StageKind) -> Stage {
    Stage {
        name: name.to_owned(),
        kind,
        rules: Vec::new(),
        caution: String::new(),
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
            fact,
        }
    }

    pub fn catalogue_set(&mut self, at: i64, changed: Catalogue) -> Event {
        let fact = Fact::CatalogueSet {
            valid_from: Micros(at),
            changed: Box::new(changed),
        };
        self.event("office", "", at, fact)
    }
}

pub fn opened(job_type: &str) -> Fact {
    Fact::JobOpened(JobOpened {
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

/// A shop that does everything, in any order, and some of it wrong.
pub struct RandomShop {
    rng: ChaCha8Rng,
    desk: Desk,
    now: i64,
    jobs: Vec<EventId>,
    posted: Vec<EventId>,
    mixes: Vec<EventId>,
    /// Times and amounts from all of 64 bits.
    wild: bool,
}

impl RandomShop {
    pub fn new(seed: u64) -> Self {
        Self {
            rng: ChaCha8Rng::seed_from_u64(seed),
            desk: Desk::default(),
            now: MONDAY + 7 * HOUR_US,
            jobs: Vec::new(),
            posted: Vec::new(),
            mixes: Vec::new(),
            wild: false,
        }
    }

    pub fn wild(seed: u64) -> Self {
        Self {
            wild: true,
            ..Self::new(seed)
        }
    }

    /// The events of a log, in the order of their seqs.
    pub fn events(mut self, count: usize) -> Vec<Event> {
        let mut events = Vec::with_capacity(count);
        if self.chance(80) {
            events.push(self.desk.catalogue_set(self.now, catalogue()));
        }
        while events.len() < count {
            events.push(self.event());
        }
        for (event, seq) in events.iter_mut().zip(1..) {
            event.seq = Seq(seq);
        }
        events
    }

    fn chance(&mut self, percent: u32) -> bool {
        self.rng.random_range(0..100) < percent
    }

    fn pick<T: Clone>(&mut self, of: &[T]) -> T {
        of[self.rng.random_range(0..of.len())].clone()
    }

    fn code(&mut self, of: &[&str]) -> Code {
        Code::new(self.pick(of))
    }

    fn span(&mut self, until: i64) -> i64 {
        if self.wild && self.chance(40) {
            return self.pick(&[i64::MIN, i64::MAX, -1, 0, 1]);
        }
        self.rng.random_range(0..until)
    }

    fn event(&mut self) -> Event {
        self.now += match self.rng.random_range(0..10) {
            0 | 1 => 0,
            9 => self.rng.random_range(0..14 * HOUR_US),
            _ => self.rng.random_range(0..20 * MINUTE_US),
        };
        let mut at = self.now;
        if self.chance(12) {
            at -= self.rng.random_range(0..30 * HOUR_US);
        }
        if self.chance(3) {
            at += self.rng.random_range(0..3 * HOUR_US);
        }
        if self.wild && self.chance(20) {
            at = self.pick(&[i64::MIN, i64::MAX, 0, i64::MAX - 1]);
        }
        let fact = self.fact(at);
        let owners = matches!(fact, Fact::Settled(_) | Fact::CatalogueSet { .. });
        let bay = self.pick(&["bay-1", "bay-2", "bay-3"]);
        let device = if owners { "office" } else { bay };
        let mut event = self.desk.event(device, bay, at, fact);
        event.received = Micros(self.now);
        event.time_basis = self.pick(&[
            TimeBasis::Boot,
            TimeBasis::Boot,
            TimeBasis::PresentOffset,
            TimeBasis::Stated,
        ]);
        event.clock_offset_us = self.span(4_000_000);
        if self.chance(70) {
            let count = self.pick(&[1, 1, 1, 2]);
            let known = ["ana", "ben", "cem", "dee", "ana", "ben", "zed"];
            event.by = (0..count).map(|_| self.code(&known)).collect();
        }
        event.job = match self.rng.random_range(0..10) {
            0..=3 if !self.jobs.is_empty() => JobRef::Job(self.recent_job()),
            4 if self.chance(10) => JobRef::UnknownNumber(999),
            _ => JobRef::Here,
        };
        match &event.fact {
            Fact::JobOpened(_) => self.jobs.push(event.id),
            Fact::MixMade { .. } => self.mixes.push(event.id),
            _ => {}
        }
        self.posted.push(event.id);
        event
    }

    fn recent_job(&mut self) -> EventId {
        let from = if self.chance(90) {
            self.jobs.len().saturating_sub(5)
        } else {
            0
        };
        self.jobs[self.rng.random_range(from..self.jobs.len())]
    }

    fn target(&mut self) -> EventId {
        if self.posted.is_empty() || self.chance(2) {
            return EventId([7; 16]);
        }
        let from = self
            .posted
            .len()
            .saturating_sub(if self.chance(80) { 25 } else { 200 });
        self.posted[self.rng.random_range(from..self.posted.len())]
    }

    fn stage(&mut self) -> Code {
        self.code(&["prewash", "decon", "polish", "coat", "coat", "plosh"])
    }

    fn product(&mut self) -> Code {
        self.code(&["iron-remover", "foam", "ceramic", "wipe", "fome"])
    }

    fn panel(&mut self) -> Code {
        self.code(&["nose", "tank", "trim", "nose", "", "wing"])
    }

    fn amount(&mut self) -> Amount {
        let digits = self.span(3_000);
        let unit = if self.chance(85) {
            Unit::Ml
        } else {
            self.pick(&[Unit::G, Unit::Each, Unit::UsFloz, Unit::L])
        };
        Amount {
            decimal: Decimal { digits, scale: 0 },
            unit,
        }
    }

    fn fact(&mut self, at: i64) -> Fact {
        match self.rng.random_range(0..100) {
            0..=6 => self.opening(),
            7..=17 => Fact::JobMoved {
                place: self.code(&["bay-1", "bay-2", "bay-3", "holding", "away", "bay-3"]),
            },
            18..=21 => Fact::JobReleased,
            22..=37 => Fact::StageStarted {
                stage: self.stage(),
                panels: if self.chance(20) {
                    vec![self.panel()]
                } else {
                    Vec::new()
                },
                rework: self.chance(10),
            },
            38..=41 => Fact::StagePaused {
                stage: self.stage_or_none(),
                person: self.chance(50),
                reason: String::new(),
            },
            42..=45 => Fact::StageResumed {
                stage: self.stage_or_none(),
            },
            46..=55 => Fact::StageFinished {
                stage: self.stage_or_none(),
                again: self.chance(15),
            },
            56..=57 => Fact::StageDeclared {
                stage: self.stage(),
                declaration: Declaration::NotDone,
            },
            58..=60 => Fact::DwellStarted {
                product: self.product(),
                panels: Vec::new(),
            },
            61..=63 => Fact::DwellEnded {
                product: if self.chance(50) {
                    Code::new("")
                } else {
                    self.product()
                },
                panels: Vec::new(),
            },
            64..=79 => self.panels_and_supplies(),
            80..=86 => Fact::StruckOut {
                event: self.target(),
                reason: "a slip".to_owned(),
            },
            87..=91 => self.settlement(at),
            92 => self.catalogue_change(at),
            _ => Fact::ProductUsed(ProductUsed {
                product: self.product(),
                used: match self.rng.random_range(0..6) {
                    0 => Used::Unsaid,
                    1 => Used::Weighed(self.amount(), self.amount()),
                    _ => Used::Amount(self.amount()),
                },
                lot: String::new(),
                panels: Vec::new(),
                source: self.pick(&[UseSource::Unsaid, UseSource::Neat, UseSource::Mix]),
            }),
        }
    }

    fn stage_or_none(&mut self) -> Code {
        if self.chance(50) {
            Code::new("")
        } else {
            self.stage()
        }
    }

    fn opening(&mut self) -> Fact {
        let comeback_of =
            (self.chance(10) && !self.jobs.is_empty()).then(|| JobRef::Job(self.jobs[0]));
        Fact::JobOpened(JobOpened {
            job_type: self.code(&["trike-coat", "trike-coat", "unsorted", "bote"]),
            vehicle: "red three-wheeler".to_owned(),
            vehicle_class: "".into(),
            grades: Grades::default(),
            panels: Vec::new(),
            repaint_age_days: 0,
            comeback_of,
            handle: String::new(),
            agreed: Some(Money {
                minor: self.span(100_000),
                currency: "EUR".to_owned(),
            }),
        })
    }

    fn panels_and_supplies(&mut self) -> Fact {
        match self.rng.random_range(0..14) {
            0 => Fact::AmbientRead(AmbientRead {
                air: MilliCelsius(self.rng.random_range(-5_000..40_000)),
                humidity: MilliPercent(self.rng.random_range(0..110_000)),
                surface: self
                    .chance(70)
                    .then(|| MilliCelsius(self.rng.random_range(-5_000..40_000))),
                sensor: false,
            }),
            1 | 2 => Fact::MixMade {
                product: self.product(),
                ratio: self.chance(50).then(|| ratio(10)),
                volume: self.chance(85).then(|| self.amount()),
                additions: Vec::new(),
            },
            3 => Fact::MixDumped {
                product: self.product(),
                mix: (self.chance(30) && !self.mixes.is_empty()).then(|| self.mixes[0]),
                amount: self.chance(50).then(|| self.amount()),
            },
            4 => Fact::ProductRefilled {
                product: self.product(),
                state: ContainerState::Opened,
                amount: None,
                lot: "a1".to_owned(),
            },
            5..=7 => Fact::PanelCoated {
                panel: self.panel(),
                section: self.rng.random_range(0..3),
                product: self.product(),
                lot: String::new(),
                layer: self.pick(&[0, 0, 0, 1, 2, u32::MAX]),
            },
            8 | 9 => Fact::PanelLevelled {
                panel: self.panel(),
                section: self.pick(&[0, 0, 1]),
                result: LevelResult::Clean,
                amends: self.chance(20),
            },
            10 => Fact::PanelLamp {
                panel: self.panel(),
                duration_us: self.span(HOUR_US),
                surface: None,
            },
            11 => Fact::PanelCured {
                panel: self.panel(),
            },
            12 => Fact::SurfaceCovered {
                finish: "matte".into(),
                panel: "".into(),
                left_out: false,
            },
            _ => self.flaw_or_stock(),
        }
    }

    fn flaw_or_stock(&mut self) -> Fact {
        match self.rng.random_range(0..6) {
            0 => Fact::FlawFound {
                panel: self.panel(),
                flaw: "scratch".to_owned(),
                existing: false,
                photo: String::new(),
            },
            1 => Fact::FlawRemedied {
                panel: self.panel(),
                flaw: String::new(),
                found: None,
            },
            2 => Fact::StockReceived {
                product: self.product(),
                packs: self.pick(&[1, 3, u32::MAX]),
                pack: Some(self.amount()),
                price: None,
                lot: String::new(),
            },
            3 => Fact::StockCounted {
                product: self.product(),
                amount: Some(self.amount()),
            },
            4 => Fact::Unknown,
            _ => Fact::Noted {
                text: "wind".to_owned(),
            },
        }
    }

    fn settlement(&mut self, at: i64) -> Fact {
        let answer = match self.rng.random_range(0..6) {
            0 => Answer::AsIs,
            1 => Answer::End(Micros(at.saturating_sub(self.span(5 * HOUR_US)))),
            2 => Answer::Code(self.code(&["polish", "foam", "ana", "nose"])),
            3 if !self.jobs.is_empty() => Answer::Job(JobRef::Job(self.recent_job())),
            4 => Answer::LeaveOut,
            _ => Answer::Took {
                took_us: self.span(5 * HOUR_US),
            },
        };
        Fact::Settled(Settled {
            event: self.target(),
            reason: String::new(),
            answer,
        })
    }

    fn catalogue_change(&mut self, at: i64) -> Fact {
        let mut changed = Catalogue::default();
        let whole = catalogue();
        match self.rng.random_range(0..3) {
            0 => changed.products = whole.products,
            1 => {
                changed.shop = whole.shop;
                if let Some(shop) = &mut changed.shop {
                    shop.open = weekdays(9 * 60, 17 * 60);
                    let zone = self.pick(&["UTC", "Europe/Berlin", "Nowhere/Nowhere"]);
                    zone.clone_into(&mut shop.zone);
                }
            }
            _ => changed = whole,
        }
        Fact::CatalogueSet {
            valid_from: Micros(at.saturating_sub(self.span(20 * HOUR_US))),
            changed: Box::new(changed),
        }
    }

    /// Another order of delivery that keeps the order of each device; seqs are
    /// given anew.
    pub fn shuffled(events: &[Event], seed: u64) -> Vec<Event> {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut queues: BTreeMap<&str, Vec<&Event>> = BTreeMap::new();
        for event in events.iter().rev() {
            queues
                .entry(&event.position.device)
                .or_default()
                .push(event);
        }
        let mut out = Vec::with_capacity(events.len());
        while out.len() < events.len() {
            let devices: Vec<&str> = queues
                .iter()
                .filter(|(_, queue)| !queue.is_empty())
                .map(|(device, _)| *device)
                .collect();
            let device = devices[rng.random_range(0..devices.len())];
            // A bay that was offline delivers a stretch at once.
            let stretch = 1 + (rng.next_u32() % 9) as usize;
            let queue = queues.entry(device).or_default();
            for _ in 0..stretch {
                out.extend(queue.pop().cloned());
            }
        }
        for (event, seq) in out.iter_mut().zip(1..) {
            event.seq = Seq(seq);
        }
        out
    }
}

/// A shop that works as it should: every day two jobs in each of three bays.
pub fn regular_shop(days: i64) -> Vec<Event> {
    let mut desk = Desk::default();
    let mut events = vec![desk.catalogue_set(MONDAY - DAY_US, catalogue())];
    for day in (0..days).filter(|day| day % 7 < 5) {
        for half in 0..2 {
            for (bay, worker) in [("bay-1", "ana"), ("bay-2", "ben"), ("bay-3", "cem")] {
                let start = MONDAY + day * DAY_US + (8 + half * 5) * HOUR_US;
                job_of_half_day(&mut desk, &mut events, bay, worker, start);
            }
        }
    }
    events.sort_by(|a, b| a.position.cmp(&b.position));
    for (event, seq) in events.iter_mut().zip(1..) {
        event.seq = Seq(seq);
    }
    events
}

fn job_of_half_day(desk: &mut Desk, events: &mut Vec<Event>, bay: &str, worker: &str, start: i64) {
    let at = |minute: i64| start + minute * MINUTE_US;
    let opening = desk.event(bay, bay, at(0), opened("trike-coat"));
    let job = JobRef::Job(opening.id);
    events.push(opening);
    let mut post = |minute: i64, fact: Fact| {
        let mut event = desk.event(bay, bay, at(minute), fact);
        event.by = vec![worker.into()];
        event.job = job;
        events.push(event);
    };
    post(1, Fact::JobMoved { place: bay.into() });
    post(
        2,
        Fact::MixMade {
            product: "foam".into(),
            ratio: None,
            volume: Some(ml(2_000)),
            additions: Vec::new(),
        },
    );
    post(3, started("prewash"));
    post(5, used("foam", 700));
    post(20, finished("prewash"));
    post(21, started("decon"));
    post(25, used("iron-remover", 300));
    post(
        26,
        Fact::DwellStarted {
            product: "iron-remover".into(),
            panels: Vec::new(),
        },
    );
    post(
        31,
        Fact::DwellEnded {
            product: "iron-remover".into(),
            panels: Vec::new(),
        },
    );
    post(50, finished(""));
    post(51, started("polish"));
    post(110, finished("polish"));
    post(112, started("coat"));
    for section in 0..3 {
        let minute = 115 + section * 10;
        post(
            minute,
            Fact::PanelCoated {
                panel: "nose".into(),
                section: 0,
                product: "ceramic".into(),
                lot: String::new(),
                layer: 0,
            },
        );
        post(
            minute + 4,
            Fact::PanelLevelled {
                panel: "".into(),
                section: 0,
                result: LevelResult::Clean,
                amends: false,
            },
        );
    }
    post(150, finished("coat"));
    post(
        151,
        Fact::MixDumped {
            product: "foam".into(),
            mix: None,
            amount: None,
        },
    );
    post(200, Fact::JobReleased);
}
