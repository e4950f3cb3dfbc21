//! A random shop as records of a log.
//!
//! Events come in any order of time, from three devices, with codes the
//! catalogue does not know, strikes of strikes, settlements of anything and
//! catalogue changes in between: whatever happens, it is a fact.

use baywright_proto::v1::{self, fact::Kind};
use prost::Message as _;

use super::catalogue::{PRODUCTS, STAGES, WORKERS, catalogue};
use super::office;
use crate::facts::Stored;

/// Monday 2026-03-02, 06:00 UTC; the clocks change within the month.
pub(super) const START_US: i64 = 1_772_431_200_000_000;
pub(super) const MINUTE_US: i64 = 60_000_000;
const DEVICES: [&str; 3] = ["bay-1", "bay-2", "office"];
const BAYS: [&str; 3] = ["bay-1", "bay-2", "bay-9"];
const PANELS: [&str; 4] = ["nose", "tub", "lid", ""];

/// A generator of which a seed means the same shop for ever (xorshift64*).
#[derive(Debug, Clone)]
pub(super) struct Dice(u64);

impl Dice {
    pub(super) fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1)
    }

    pub(super) fn below(&mut self, limit: usize) -> usize {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        let drawn = self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 33;
        usize::try_from(drawn).unwrap_or(0) % limit
    }

    fn percent(&mut self, chance: usize) -> bool {
        self.below(100) < chance
    }

    fn of<'a>(&mut self, words: &[&'a str]) -> &'a str {
        let at = self.below(words.len());
        words.get(at).copied().unwrap_or("")
    }
}

/// Makes a log, one record after the other.
#[derive(Debug, Clone)]
pub(super) struct Shop {
    dice: Dice,
    seq: u64,
    now_us: i64,
    device_seqs: [u64; DEVICES.len()],
    jobs: Vec<[u8; 16]>,
    events: Vec<[u8; 16]>,
    drafts: Vec<[u8; 16]>,
    /// Chance that a record comes late, per cent.
    late_percent: usize,
}

impl Shop {
    pub(super) fn new(seed: u64, late_percent: usize) -> Self {
        Self {
            dice: Dice::new(seed),
            seq: 0,
            now_us: START_US,
            device_seqs: [0; DEVICES.len()],
            jobs: Vec::new(),
            events: Vec::new(),
            drafts: Vec::new(),
            late_percent,
        }
    }

    /// The next so many records; the first of a shop is its catalogue.
    pub(super) fn records(&mut self, count: usize) -> Vec<Stored> {
        (0..count).map(|_| self.record()).collect()
    }

    fn record(&mut self) -> Stored {
        let kind = if self.seq == 0 {
            Kind::CatalogueSet(v1::CatalogueSet {
                learned_up_to_seq: 0,
                valid_from_us: START_US,
                changed: Some(catalogue()),
            })
        } else {
            self.kind()
        };
        let step = i64::try_from(self.dice.below(12)).unwrap_or(0);
        self.now_us += step * MINUTE_US;
        let is_late = self.seq > 0 && self.dice.percent(self.late_percent);
        let late = i64::try_from(self.dice.below(30 * 60)).unwrap_or(0);
        let occurred_us = if is_late {
            self.now_us - late * MINUTE_US
        } else {
            self.now_us
        };
        self.stored(kind, occurred_us)
    }

    /// A record of this fact at this time.
    pub(super) fn stored(&mut self, kind: Kind, occurred_us: i64) -> Stored {
        self.seq += 1;
        let device = self.dice.below(DEVICES.len());
        let mut device_seq = 0;
        if let Some(count) = self.device_seqs.get_mut(device) {
            *count += 1;
            device_seq = *count;
        }
        let mut event_id = [0_u8; 16];
        event_id[..8].copy_from_slice(&self.seq.to_be_bytes());
        event_id[8] = 7;
        self.events.push(event_id);
        if matches!(kind, Kind::QuoteDrafted(_)) {
            self.drafts.push(event_id);
        }
        let mut job_number = 0;
        if matches!(kind, Kind::JobOpened(_)) {
            self.jobs.push(event_id);
            job_number = self.jobs.len().try_into().unwrap();
        }
        let by = match self.dice.below(4) {
            0 => Vec::new(),
            1 => vec!["ana".to_owned(), "bo".to_owned()],
            _ => vec![self.dice.of(&WORKERS).to_owned()],
        };
        let fact = v1::Fact {
            bay: self.dice.of(&BAYS).to_owned(),
            by,
            job: self.job_ref(),
            kind: Some(kind),
            ..v1::Fact::default()
        };
        let record = v1::Record {
            seq: self.seq,
            received_us: self.now_us,
            occurred_us,
            time_basis: 1 + i32::try_from(self.dice.below(4)).unwrap(),
            device: DEVICES.get(device).copied().unwrap_or("").to_owned(),
            role: 1,
            event_id: event_id.to_vec(),
            device_seq,
            delivery_clocks: Some(v1::Clocks {
                wall_us: self.now_us + i64::try_from(self.dice.below(5)).unwrap() * 1_000_000,
                ..v1::Clocks::default()
            }),
            job_number,
            fact: fact.encode_to_vec(),
            ..v1::Record::default()
        };
        Stored {
            seq: self.seq,
            record: record.encode_to_vec(),
        }
    }

    fn job_ref(&mut self) -> Option<v1::JobRef> {
        let job = match self.dice.below(6) {
            0 => v1::job_ref::Job::Number(1 + u64::try_from(self.dice.below(30)).unwrap()),
            1 => v1::job_ref::Job::OpeningEventId(self.a_job()?),
            _ => return None,
        };
        Some(v1::JobRef { job: Some(job) })
    }

    fn a_job(&mut self) -> Option<Vec<u8>> {
        // Mostly one of the last few, as on a floor.
        let back = self.dice.below(4);
        let at = self.jobs.len().checked_sub(1 + back)?;
        self.jobs.get(at).map(|id| id.to_vec())
    }

    fn an_event(&mut self) -> Vec<u8> {
        let back = 1 + self.dice.below(40);
        let at = self.events.len().saturating_sub(back);
        self.events
            .get(at)
            .map(|id| id.to_vec())
            .unwrap_or_default()
    }

    fn amount(&mut self) -> v1::Amount {
        let unit = [v1::Unit::Ml, v1::Unit::UsFloz, v1::Unit::G, v1::Unit::Each];
        let unit = unit.get(self.dice.below(4)).copied().unwrap_or_default();
        v1::Amount {
            decimal: format!("{}.5", self.dice.below(400)),
            unit: unit.into(),
        }
    }

    fn kind(&mut self) -> Kind {
        match self.dice.below(100) {
            0..8 => self.job_fact(),
            8..50 => self.stage_fact(),
            50..72 => self.product_fact(),
            72..90 => self.panel_fact(),
            90..94 => Kind::StruckOut(v1::StruckOut {
                event_id: self.an_event(),
                reason: "a slip".to_owned(),
            }),
            94..97 => self.settled(),
            97..98 => self.price_change(),
            98 => {
                let drafts = std::mem::take(&mut self.drafts);
                let fact = office::fact(&mut self.dice, self.now_us, &drafts);
                self.drafts = drafts;
                fact
            }
            _ => Kind::Noted(v1::Noted {
                text: "cold today".to_owned(),
                ..v1::Noted::default()
            }),
        }
    }

    fn job_fact(&mut self) -> Kind {
        match self.dice.below(6) {
            0..3 => {
                let comeback_of = if self.dice.percent(10) {
                    self.job_ref()
                } else {
                    None
                };
                Kind::JobOpened(v1::JobOpened {
                    job_type: "trike-coat".to_owned(),
                    vehicle: "red three-wheeler".to_owned(),
                    handle: format!("b{}-{}", self.dice.below(3), self.seq),
                    grades: Some(v1::Grades {
                        soil: 4,
                        defects: 3,
                        intricacy: 9,
                    }),
                    comeback_of,
                    quote_event_id: self.drafts.last().map(|id| id.to_vec()).unwrap_or_default(),
                    ..v1::JobOpened::default()
                })
            }
            3..5 => Kind::JobMoved(v1::JobMoved {
                place: self
                    .dice
                    .of(&["bay-1", "bay-2", "holding", "away"])
                    .to_owned(),
            }),
            _ => Kind::JobReleased(v1::JobReleased {}),
        }
    }

    fn stage_fact(&mut self) -> Kind {
        let stage = self.dice.of(&STAGES).to_owned();
        let product = self.dice.of(&PRODUCTS).to_owned();
        match self.dice.below(10) {
            0..4 => Kind::StageStarted(v1::StageStarted {
                stage,
                rework: self.dice.percent(10),
                ..v1::StageStarted::default()
            }),
            4..7 => Kind::StageFinished(v1::StageFinished {
                stage: if self.dice.percent(50) {
                    String::new()
                } else {
                    stage
                },
                result: 1 + i32::from(self.dice.percent(10)),
            }),
            7 => Kind::StagePaused(v1::StagePaused {
                stage,
                person: self.dice.percent(50),
                reason: "lunch".to_owned(),
            }),
            8 if self.dice.percent(50) => Kind::StageResumed(v1::StageResumed { stage }),
            8 => Kind::StageDeclared(v1::StageDeclared {
                stage,
                declaration: i32::try_from(self.dice.below(4)).unwrap(),
                about_us: 20 * MINUTE_US,
            }),
            _ if self.dice.percent(60) => Kind::DwellStarted(v1::DwellStarted {
                product,
                panels: vec!["nose".to_owned()],
            }),
            _ => Kind::DwellEnded(v1::DwellEnded::default()),
        }
    }

    fn product_fact(&mut self) -> Kind {
        let product = self.dice.of(&PRODUCTS).to_owned();
        let amount = self.amount();
        match self.dice.below(10) {
            0..4 => Kind::ProductUsed(v1::ProductUsed {
                product,
                quantity: match self.dice.below(5) {
                    0 => None,
                    1 => Some(v1::product_used::Quantity::Weighing(v1::Weighing {
                        before: Some(amount),
                        after: Some(v1::Amount {
                            decimal: "3".to_owned(),
                            unit: v1::Unit::G.into(),
                        }),
                    })),
                    _ => Some(v1::product_used::Quantity::Amount(amount)),
                },
                lot: "L7".to_owned(),
                source: i32::try_from(self.dice.below(3)).unwrap(),
                ..v1::ProductUsed::default()
            }),
            4..6 => Kind::MixMade(v1::MixMade {
                product,
                ratio: Some(v1::Ratio {
                    water_parts: "15".to_owned(),
                    product_parts: "1".to_owned(),
                }),
                volume: Some(v1::Amount {
                    decimal: "2".to_owned(),
                    unit: v1::Unit::L.into(),
                }),
                additions: vec![v1::Addition {
                    product: "shampoo".to_owned(),
                    amount: Some(amount),
                }],
            }),
            6 => Kind::MixDumped(v1::MixDumped {
                product,
                amount: self.dice.percent(50).then_some(amount),
                ..v1::MixDumped::default()
            }),
            7 => Kind::ProductRefilled(v1::ProductRefilled {
                product,
                state: i32::try_from(self.dice.below(4)).unwrap(),
                amount: Some(amount),
                lot: String::new(),
            }),
            8 => Kind::StockReceived(v1::StockReceived {
                product,
                packs: 3,
                pack: Some(amount),
                price: Some(v1::Money {
                    price_minor: 1_990,
                    currency: "EUR".to_owned(),
                }),
                lot: "L8".to_owned(),
            }),
            _ => Kind::StockCounted(v1::StockCounted {
                product,
                amount: Some(amount),
            }),
        }
    }

    fn panel_fact(&mut self) -> Kind {
        let panel = self.dice.of(&PANELS).to_owned();
        match self.dice.below(16) {
            0..4 => Kind::PanelCoated(v1::PanelCoated {
                panel,
                section: u32::from(self.dice.percent(50)),
                product: "hard-coat".to_owned(),
                lot: "L9".to_owned(),
                layer: 0,
            }),
            4..7 => Kind::PanelLevelled(v1::PanelLevelled {
                panel,
                result: i32::try_from(self.dice.below(4)).unwrap(),
                amends: self.dice.percent(20),
                ..v1::PanelLevelled::default()
            }),
            7 => Kind::PanelLamp(v1::PanelLamp {
                panel,
                duration_us: 20 * MINUTE_US,
                surface_milli_c: Some(60_000),
            }),
            8 => Kind::PanelCured(v1::PanelCured { panel }),
            9 => Kind::SurfaceCovered(v1::SurfaceCovered {
                finish: "matte".to_owned(),
                cover: 1 + i32::from(self.dice.percent(50)),
                ..v1::SurfaceCovered::default()
            }),
            10 => Kind::FlawFound(v1::FlawFound {
                panel,
                flaw: "scratch".to_owned(),
                existing: self.dice.percent(50),
                photo: "photo 4".to_owned(),
            }),
            11 => Kind::FlawRemedied(v1::FlawRemedied {
                panel,
                flaw: "scratch".to_owned(),
                flaw_event_id: Vec::new(),
            }),
            _ => Kind::AmbientRead(v1::AmbientRead {
                air_milli_c: 21_500,
                humidity_milli_pct: 46_000,
                surface_milli_c: self.dice.percent(70).then_some(20_000),
                source: 1,
            }),
        }
    }

    fn settled(&mut self) -> Kind {
        use v1::settled::Answer;
        let answer = match self.dice.below(8) {
            6 => Answer::NotDone(true),
            7 => Answer::BreakOff(true),
            0 => Answer::AsIs(true),
            1 => Answer::EndUs(self.now_us),
            2 => Answer::Code("decon".to_owned()),
            3 => match self.job_ref() {
                Some(job) => Answer::Job(job),
                None => Answer::AsIs(true),
            },
            4 => Answer::TookUs(30 * MINUTE_US),
            _ => Answer::LeaveOut(true),
        };
        Kind::Settled(v1::Settled {
            event_id: self.an_event(),
            reason: "I was there".to_owned(),
            answer: Some(answer),
            ..v1::Settled::default()
        })
    }

    fn price_change(&mut self) -> Kind {
        let mut changed = catalogue();
        changed.bays.clear();
        changed.shop = self.dice.percent(30).then(|| v1::Shop {
            zone: "Europe/Dublin".to_owned(),
            ..changed.shop.unwrap_or_default()
        });
        let days = i64::try_from(self.dice.below(3)).unwrap();
        Kind::CatalogueSet(v1::CatalogueSet {
            learned_up_to_seq: 0,
            valid_from_us: self.now_us - days * 24 * 60 * MINUTE_US,
            changed: Some(changed),
        })
    }
}
