//! What the people of an invented shop say, drawn from a seed.

use baywright_proto::v1::{self, fact::Kind, fact::Occurred};
use baywright_terms::time::{HOUR_US, MINUTE_US};
use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha12Rng;

/// The last word of each list is not in the catalogue.
const STAGES: [&str; 5] = ["prewash", "decon", "polish", "coat", "unheard-of"];
const PRODUCTS: [&str; 4] = ["iron-remover", "shampoo", "hard-coat", "no-such"];
const WORKERS: [&str; 4] = ["ana", "bo", "chi", "nobody-known"];
const PANELS: [&str; 3] = ["nose", "tub", ""];

/// A text of this length fills a spool after a dozen facts, so that it is compacted.
const LONG_TEXT_BYTES: usize = 22_000;

/// What was said before, to be named again.
#[derive(Debug, Default)]
pub(crate) struct Before {
    /// Openings of jobs, of every bay.
    pub(crate) jobs: Vec<[u8; 16]>,
    /// Events of the bay that speaks.
    pub(crate) own: Vec<[u8; 16]>,
}

/// What somebody says, and how.
#[derive(Debug, Clone)]
pub(crate) struct Speech {
    pub(crate) fact: v1::Fact,
    /// No daemon can read it.
    pub(crate) unreadable: bool,
    pub(crate) waiting: bool,
    pub(crate) anyway: bool,
}

/// Somebody at a bay says something. `office` is the one bay that settles and
/// sets the catalogue: where two did, the order of delivery would decide.
pub(crate) fn speech(seed: u64, bay: usize, office: bool, now_us: i64, before: &Before) -> Speech {
    let mut dice = Dice(ChaCha12Rng::seed_from_u64(seed));
    let unreadable = dice.percent(4);
    let kind = if unreadable {
        Kind::StruckOut(v1::StruckOut {
            event_id: vec![1, 2, 3],
            reason: "torn by somebody's own program".to_owned(),
        })
    } else {
        dice.kind(office, now_us, before)
    };
    let occurred = match dice.below(12) {
        0 => Some(Occurred::AgoUs(dice.span(40) * MINUTE_US)),
        1 => Some(Occurred::AtUs(now_us - dice.span(300) * MINUTE_US)),
        _ => None,
    };
    let by = match dice.below(4) {
        0 => Vec::new(),
        1 => vec!["ana".to_owned(), "bo".to_owned()],
        _ => vec![dice.word(&WORKERS)],
    };
    Speech {
        fact: v1::Fact {
            occurred,
            bay: format!("bay-{}", bay + 1),
            by,
            job: dice.job(before),
            kind: Some(kind),
            ..v1::Fact::default()
        },
        unreadable,
        waiting: dice.percent(60),
        anyway: dice.percent(30),
    }
}

/// The first thing every shop says.
pub(crate) fn catalogue_set(now_us: i64) -> v1::Fact {
    v1::Fact {
        bay: "office".to_owned(),
        kind: Some(Kind::CatalogueSet(v1::CatalogueSet {
            valid_from_us: now_us - 48 * HOUR_US,
            changed: Some(catalogue()),
            learned_up_to_seq: 0,
        })),
        ..v1::Fact::default()
    }
}

/// The last thing that anybody says.
pub(crate) fn goodbye(bay: usize) -> v1::Fact {
    v1::Fact {
        bay: format!("bay-{}", bay + 1),
        kind: Some(Kind::Noted(v1::Noted {
            text: "good night".to_owned(),
            ..v1::Noted::default()
        })),
        ..v1::Fact::default()
    }
}

#[derive(Debug)]
struct Dice(ChaCha12Rng);

impl Dice {
    fn below(&mut self, limit: usize) -> usize {
        self.0.random_range(0..limit)
    }

    fn span(&mut self, limit: i64) -> i64 {
        self.0.random_range(0..limit)
    }

    fn percent(&mut self, chance: usize) -> bool {
        self.below(100) < chance
    }

    fn word(&mut self, words: &[&str]) -> String {
        let at = self.below(words.len());
        words.get(at).copied().unwrap_or("").to_owned()
    }

    /// One of the last few.
    fn one_of(&mut self, ids: &[[u8; 16]]) -> Option<Vec<u8>> {
        let back = self.below(6) + 1;
        Some(ids.get(ids.len().checked_sub(back)?)?.to_vec())
    }

    fn job(&mut self, before: &Before) -> Option<v1::JobRef> {
        use v1::job_ref::Job;
        let job = match self.below(6) {
            0 => Job::Number(self.0.random_range(1..8)),
            1 | 2 => Job::OpeningEventId(self.one_of(&before.jobs)?),
            _ => return None,
        };
        Some(v1::JobRef { job: Some(job) })
    }

    fn amount(&mut self) -> v1::Amount {
        let unit = [v1::Unit::Ml, v1::Unit::UsFloz, v1::Unit::G];
        v1::Amount {
            decimal: format!("{}.5", self.below(400)),
            unit: unit[self.below(unit.len())].into(),
        }
    }

    fn kind(&mut self, office: bool, now_us: i64, before: &Before) -> Kind {
        match self.below(100) {
            0..12 => self.of_a_job(),
            12..46 => self.of_a_stage(),
            46..62 => self.of_a_product(),
            62..80 => self.of_a_panel(),
            80..87 => match self.one_of(&before.own) {
                Some(event_id) => Kind::StruckOut(v1::StruckOut {
                    event_id,
                    reason: "a slip".to_owned(),
                }),
                None => self.note(),
            },
            87..94 if office => self.of_the_office(now_us, before),
            _ => self.note(),
        }
    }

    fn note(&mut self) -> Kind {
        let mut text = format!("cold today, {}", self.below(1_000_000));
        if self.percent(8) {
            text.push_str(&"…".repeat(LONG_TEXT_BYTES / "…".len()));
        }
        Kind::Noted(v1::Noted {
            text,
            ..v1::Noted::default()
        })
    }

    fn of_a_job(&mut self) -> Kind {
        match self.below(6) {
            0..3 => Kind::JobOpened(v1::JobOpened {
                job_type: "trike-coat".to_owned(),
                vehicle: "red three-wheeler".to_owned(),
                grades: Some(v1::Grades {
                    soil: 4,
                    defects: 3,
                    intricacy: 5,
                }),
                ..v1::JobOpened::default()
            }),
            3 | 4 => Kind::JobMoved(v1::JobMoved {
                place: self.word(&["bay-1", "bay-2", "holding", "away"]),
            }),
            _ => Kind::JobReleased(v1::JobReleased {}),
        }
    }

    fn of_a_stage(&mut self) -> Kind {
        let stage = self.word(&STAGES);
        match self.below(10) {
            0..4 => Kind::StageStarted(v1::StageStarted {
                stage,
                rework: self.percent(10),
                ..v1::StageStarted::default()
            }),
            4..7 => Kind::StageFinished(v1::StageFinished {
                stage: if self.percent(50) {
                    String::new()
                } else {
                    stage
                },
                result: 1,
            }),
            7 => Kind::StagePaused(v1::StagePaused {
                stage,
                person: self.percent(50),
                reason: "lunch".to_owned(),
            }),
            8 => Kind::StageResumed(v1::StageResumed { stage }),
            _ => Kind::DwellStarted(v1::DwellStarted {
                product: self.word(&PRODUCTS),
                panels: vec!["nose".to_owned()],
            }),
        }
    }

    fn of_a_product(&mut self) -> Kind {
        let product = self.word(&PRODUCTS);
        let amount = self.amount();
        match self.below(6) {
            0..3 => Kind::ProductUsed(v1::ProductUsed {
                product,
                quantity: Some(v1::product_used::Quantity::Amount(amount)),
                ..v1::ProductUsed::default()
            }),
            3 => Kind::MixMade(v1::MixMade {
                product,
                ratio: Some(v1::Ratio {
                    water_parts: "15".to_owned(),
                    product_parts: "1".to_owned(),
                }),
                volume: Some(v1::Amount {
                    decimal: "2".to_owned(),
                    unit: v1::Unit::L.into(),
                }),
                additions: Vec::new(),
            }),
            4 => Kind::MixDumped(v1::MixDumped {
                product,
                ..v1::MixDumped::default()
            }),
            _ => Kind::StockCounted(v1::StockCounted {
                product,
                amount: Some(amount),
            }),
        }
    }

    fn of_a_panel(&mut self) -> Kind {
        let panel = self.word(&PANELS);
        match self.below(8) {
            0..3 => Kind::PanelCoated(v1::PanelCoated {
                panel,
                product: "hard-coat".to_owned(),
                ..v1::PanelCoated::default()
            }),
            3..5 => Kind::PanelLevelled(v1::PanelLevelled {
                panel,
                result: 1,
                ..v1::PanelLevelled::default()
            }),
            5 => Kind::FlawFound(v1::FlawFound {
                panel,
                flaw: "scratch".to_owned(),
                existing: self.percent(50),
                photo: String::new(),
            }),
            _ => Kind::AmbientRead(v1::AmbientRead {
                air_milli_c: 21_500,
                humidity_milli_pct: 46_000,
                surface_milli_c: self.percent(70).then_some(20_000),
                source: 1,
            }),
        }
    }

    fn of_the_office(&mut self, now_us: i64, before: &Before) -> Kind {
        use v1::settled::Answer;
        if self.percent(30) {
            let Some(Kind::CatalogueSet(set)) =
                catalogue_set(now_us + self.span(48) * HOUR_US).kind
            else {
                return self.note();
            };
            return Kind::CatalogueSet(set);
        }
        let Some(event_id) = self.one_of(&before.jobs) else {
            return self.note();
        };
        Kind::Settled(v1::Settled {
            event_id,
            reason: "I was there".to_owned(),
            answer: Some(match self.below(3) {
                0 => Answer::AsIs(true),
                1 => Answer::EndUs(now_us),
                _ => Answer::LeaveOut(true),
            }),
            ..v1::Settled::default()
        })
    }
}

/// A small invented shop, open day and night but for a break.
fn catalogue() -> v1::Catalogue {
    let stage = |code: &&str| v1::Stage {
        code: (*code).to_owned(),
        kind: v1::StageKind::Cleaning.into(),
        ..v1::Stage::default()
    };
    let panel = |code: &str, finish: &str| v1::Panel {
        code: code.to_owned(),
        finish: finish.to_owned(),
        area_cm2: 4_000,
    };
    v1::Catalogue {
        shop: Some(v1::Shop {
            name: "Three Wheels".to_owned(),
            zone: "Europe/Berlin".to_owned(),
            currency: "EUR".to_owned(),
            open: (1..=6)
                .map(|weekday| v1::OpenHours {
                    weekday,
                    from_min: 7 * 60,
                    until_min: 18 * 60,
                })
                .collect(),
            ..v1::Shop::default()
        }),
        bays: ["bay-1", "bay-2"]
            .map(|code| v1::Bay {
                code: code.to_owned(),
                places: 1,
                ..v1::Bay::default()
            })
            .to_vec(),
        workers: WORKERS
            .iter()
            .take(3)
            .map(|code| v1::Worker {
                code: (*code).to_owned(),
                ..v1::Worker::default()
            })
            .collect(),
        products: PRODUCTS
            .iter()
            .take(3)
            .map(|code| v1::Product {
                code: (*code).to_owned(),
                dwell_shortest_us: 3 * MINUTE_US,
                dwell_longest_us: 10 * MINUTE_US,
                water_safe_us: 12 * HOUR_US,
                full_cure_us: 7 * 24 * HOUR_US,
                ..v1::Product::default()
            })
            .collect(),
        stages: STAGES.iter().take(4).map(stage).collect(),
        job_types: vec![v1::JobType {
            code: "trike-coat".to_owned(),
            vehicle_class: "trike".to_owned(),
            stages: STAGES
                .iter()
                .take(4)
                .map(|stage| v1::StageAllowance {
                    stage: (*stage).to_owned(),
                    allowance_us: HOUR_US,
                    ..v1::StageAllowance::default()
                })
                .collect(),
            panels: vec![panel("nose", "gloss"), panel("tub", "matte")],
            ..v1::JobType::default()
        }],
    }
}
