//! A shop that does everything, in any order, and some of it wrong.

use std::collections::BTreeMap;

use baywright_floor::event::{Event, EventId, JobRef, Seq, TimeBasis};
use baywright_floor::fact::{
    AmbientRead, Answer, ContainerState, Declaration, Fact, Grades, JobOpened, LevelResult,
    ProductUsed, Settled, UseSource, Used,
};
use baywright_terms::amount::{Amount, Decimal, Money, Unit};
use baywright_terms::catalogue::Catalogue;
use baywright_terms::code::Code;
use baywright_terms::temperature::{MilliCelsius, MilliPercent};
use baywright_terms::time::{HOUR_US, MINUTE_US, Micros};
use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::{Desk, MONDAY, catalogue, ratio, weekdays};

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
                reason: ["", "waits for parts"][usize::from(self.chance(50))].to_owned(),
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
            quote: None,
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
        let answer = match self.rng.random_range(0..9) {
            6 => Answer::NotDone,
            7 => Answer::BreakOff,
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
            question: self
                .pick(&[
                    "",
                    "",
                    "unclosed",
                    "break-crossed",
                    "undeclared",
                    "unknown-code",
                ])
                .to_owned(),
            of: self
                .pick(&["", "", "ana", "ben", "polish", "zed"])
                .to_owned(),
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
            learned_up_to: None,
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
