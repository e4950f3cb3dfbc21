//! One working day after another: each bay works its vehicle through the
//! stages of its type, people come and go, chemicals are used.

mod cure;
mod quotes;
mod stage;
mod supply;

use std::collections::{BTreeMap, VecDeque};

use baywright_proto::v1;
use baywright_proto::v1::fact::Kind;
use baywright_terms::catalogue::{Catalogue, JobType, StageKind};
use baywright_terms::code::Code;
use baywright_terms::hours;
use baywright_terms::time::{MINUTE_US, Micros, SECOND_US};
use jiff::civil::{Date, Weekday};
use jiff::tz::TimeZone;
use rand::RngExt as _;
use rand_chacha::ChaCha12Rng;

use super::truth::{self, chance, spread};
use super::{Happening, Manner, Vehicle};

/// A vehicle being worked on.
#[derive(Debug)]
struct AtWork {
    job: usize,
    job_type: Code,
    left: VecDeque<Left>,
    chemical_factor: f64,
    /// Stages that nobody recorded, with the labour they took.
    unrecorded: Vec<(Code, i64)>,
    /// Sections with a high spot that somebody has to take off.
    high_spots: i64,
}

/// A stage still to be done.
#[derive(Debug, Clone)]
struct Left {
    stage: Code,
    labour_us: i64,
    begun: bool,
    rework: bool,
}

/// A vehicle that cures.
#[derive(Debug)]
struct Curing {
    work: AtWork,
    bay: usize,
    dry_at: Micros,
}

/// The invented floor between two days.
#[derive(Debug)]
pub struct Floor<'a> {
    catalogue: &'a Catalogue,
    zone: &'a TimeZone,
    rng: ChaCha12Rng,
    bays: Vec<Code>,
    workers: Vec<Code>,
    at_work: Vec<Option<AtWork>>,
    curing: Vec<Curing>,
    happenings: Vec<Happening>,
    jobs: Vec<Vehicle>,
    /// Until when a helper is taken, by worker.
    taken: BTreeMap<Code, Micros>,
    overran: bool,
    came_back: bool,
    supply: supply::Supply,
    /// Chance in the office.
    office: ChaCha12Rng,
    quotes: usize,
    /// When the shop opened for the first time.
    first: Option<Micros>,
}

fn minutes(us: i64) -> i64 {
    us / MINUTE_US
}

/// Multiplies whole microseconds by a factor near 1; the demo needs no more
/// than whole seconds.
fn scaled(us: i64, factor: f64) -> i64 {
    let seconds = (us / SECOND_US).max(0);
    let permille = factor.mul_add(1000.0, 0.5).clamp(0.0, 100_000.0);
    // Clamped above, so that the conversion cannot lose anything but the fraction.
    #[allow(clippy::cast_possible_truncation)]
    let permille = permille as i64;
    seconds * permille / 1000 * SECOND_US
}

impl<'a> Floor<'a> {
    pub fn new(
        catalogue: &'a Catalogue,
        zone: &'a TimeZone,
        rng: ChaCha12Rng,
        office: ChaCha12Rng,
    ) -> Self {
        let bays: Vec<Code> = catalogue.bays.keys().cloned().collect();
        Self {
            catalogue,
            zone,
            rng,
            at_work: bays.iter().map(|_| None).collect(),
            bays,
            workers: catalogue.workers.keys().cloned().collect(),
            curing: Vec::new(),
            happenings: Vec::new(),
            jobs: Vec::new(),
            taken: BTreeMap::new(),
            overran: false,
            came_back: false,
            supply: supply::Supply::default(),
            office,
            quotes: 0,
            first: None,
        }
    }

    /// What happened, the vehicles, the bays.
    pub fn finish(self) -> (Vec<Happening>, Vec<Vehicle>, Vec<Code>) {
        (self.happenings, self.jobs, self.bays)
    }

    fn say(&mut self, at: Micros, bay: usize, by: &[Code], job: Option<usize>, kind: Kind) {
        self.happenings.push(Happening {
            at,
            bay,
            by: by.to_vec(),
            job,
            quote: None,
            kind,
            manner: Manner::Online,
        });
    }

    /// A day at every bay; nothing happens while the shop is closed.
    pub fn work_a_day(&mut self, date: Date, last_week: bool) {
        let Some(shop) = &self.catalogue.shop else {
            return;
        };
        let midnight = baywright_terms::time::day_range(date, self.zone);
        let open = hours::open_intervals(&shop.open, self.zone, midnight.0, midnight.1);
        let (Some(&(opens, _)), Some(&(_, closes))) = (open.first(), open.last()) else {
            return;
        };
        self.first.get_or_insert(opens);
        self.stockroom(date, opens);
        self.asked_in_vain(opens);
        if date.weekday() == Weekday::Monday {
            self.refill(opens);
        }
        for bay in 0..self.bays.len() {
            self.let_go(bay, opens);
            self.work_at(bay, opens, closes, last_week);
        }
    }

    /// Bottles that nobody meters are filled up at the start of the week.
    fn refill(&mut self, opens: Micros) {
        let unmetered: Vec<Code> = self
            .catalogue
            .products
            .iter()
            .filter(|(_, p)| p.unmetered)
            .map(|(code, _)| code.clone())
            .collect();
        for product in unmetered {
            // What six days take by the allowances, about.
            let usual_ml = supply::usual_nl_a_day(self.catalogue, &product) * 6 / 1_000_000;
            let decimal = (usual_ml * self.rng.random_range(85..125) / 1000).max(1) * 10;
            self.supply.took(&product, decimal * 1_000_000);
            let kind = Kind::ProductRefilled(v1::ProductRefilled {
                product: product.to_string(),
                state: v1::ContainerState::Refilled.into(),
                amount: Some(v1::Amount {
                    decimal: decimal.to_string(),
                    unit: v1::Unit::Ml.into(),
                }),
                lot: String::new(),
            });
            self.say(Micros(opens.0 + MINUTE_US), 0, &[], None, kind);
        }
    }

    fn work_at(&mut self, bay: usize, opens: Micros, closes: Micros, last_week: bool) {
        let lead = self.lead(bay);
        let mut at = Micros(opens.0 + self.rng.random_range(2..12) * MINUTE_US);
        let mix = self.morning_mix(bay, &lead, at);
        at.0 += MINUTE_US;
        while at.0 < closes.0 - 25 * MINUTE_US {
            if self.at_work.get(bay).is_none_or(Option::is_none) {
                if at.0 > closes.0 - 90 * MINUTE_US {
                    break;
                }
                at = self.bring_in(bay, &lead, at, last_week);
            }
            at = self.next_stage(bay, &lead, at, closes, last_week);
            at.0 += self.rng.random_range(1..14) * MINUTE_US;
        }
        if let Some(product) = mix
            && chance(&mut self.rng, 55)
        {
            let kind = Kind::MixDumped(v1::MixDumped {
                product: product.to_string(),
                ..Default::default()
            });
            self.say(Micros(closes.0 - 4 * MINUTE_US), bay, &[lead], None, kind);
        }
    }

    /// The worker who answers for a bay.
    fn lead(&self, bay: usize) -> Code {
        self.workers
            .get(bay)
            .cloned()
            .unwrap_or_else(|| Code::new("someone"))
    }

    fn morning_mix(&mut self, bay: usize, lead: &Code, at: Micros) -> Option<Code> {
        let (code, product) = self
            .catalogue
            .products
            .iter()
            .find(|(code, p)| p.ratio.is_some() && code.as_str().contains("alkaline"))?;
        let ratio = product.ratio?;
        let code = code.clone();
        let kind = Kind::MixMade(v1::MixMade {
            product: code.to_string(),
            ratio: Some(v1::Ratio {
                water_parts: ratio.water_parts.to_string(),
                product_parts: ratio.product_parts.to_string(),
            }),
            volume: Some(v1::Amount {
                decimal: "4".into(),
                unit: v1::Unit::L.into(),
            }),
            additions: Vec::new(),
        });
        self.supply.took(&code, 250 * 1_000_000);
        self.say(at, bay, std::slice::from_ref(lead), None, kind);
        Some(code)
    }

    fn pick_type(&mut self) -> Option<(Code, &'a JobType)> {
        let types: Vec<(&Code, &JobType)> = self
            .catalogue
            .job_types
            .iter()
            .filter(|(_, t)| !t.retired)
            .collect();
        let total: u32 = types
            .iter()
            .map(|(code, _)| truth::of(code.as_str()).frequency)
            .sum();
        let mut draw = self.rng.random_range(0..total.max(1));
        for (code, job_type) in types {
            let frequency = truth::of(code.as_str()).frequency;
            if draw < frequency {
                return Some((code.clone(), job_type));
            }
            draw -= frequency;
        }
        None
    }

    fn bring_in(&mut self, bay: usize, lead: &Code, at: Micros, last_week: bool) -> Micros {
        // In the last week one vehicle comes back with a high spot.
        let comeback =
            (last_week && !self.came_back && self.jobs.len() > 10).then(|| self.jobs.len() - 8);
        let picked = match comeback.and_then(|job| self.jobs.get(job)) {
            Some(vehicle) => self
                .catalogue
                .job_types
                .get_key_value(&vehicle.job_type)
                .map(|(c, t)| (c.clone(), t)),
            None => self.pick_type(),
        };
        let Some((code, job_type)) = picked else {
            return at;
        };
        self.came_back |= comeback.is_some();
        let words = match comeback.and_then(|job| self.jobs.get(job)) {
            Some(vehicle) => vehicle.words.clone(),
            None => truth::words(&mut self.rng, code.as_str()),
        };
        let job = self.jobs.len();
        self.jobs.push(Vehicle {
            job_type: code.clone(),
            words: words.clone(),
            comeback_of: comeback,
            quote: None,
        });
        let truth = truth::of(code.as_str());
        let grade = |rng: &mut ChaCha12Rng| rng.random_range(2..=4_u32);
        let (soil, defects) = (grade(&mut self.rng), grade(&mut self.rng));
        let opened = v1::JobOpened {
            job_type: code.to_string(),
            vehicle: words,
            grades: Some(v1::Grades {
                soil,
                defects,
                intricacy: 3,
            }),
            agreed: self.agreed(job_type, comeback.is_some()),
            ..Default::default()
        };
        if comeback.is_none() {
            self.quoted(job, &opened, at);
        }
        self.say(at, bay, &[], Some(job), Kind::JobOpened(opened));
        let arrived = Micros(at.0 + self.rng.random_range(2..9) * MINUTE_US);
        let place = self.bays.get(bay).map(Code::to_string).unwrap_or_default();
        self.say(
            arrived,
            bay,
            std::slice::from_ref(lead),
            Some(job),
            Kind::JobMoved(v1::JobMoved { place }),
        );
        let factor = truth.labour_factor * spread(&mut self.rng, 0.14);
        let left = job_type
            .stages
            .iter()
            .filter(|s| {
                comeback.is_none() || ["polish", "wipe-down", "coat"].contains(&s.stage.as_str())
            })
            .map(|s| {
                let (cleaning, correction) = grade_factors(soil, defects);
                let kind = self
                    .catalogue
                    .stages
                    .get(&s.stage)
                    .map_or(StageKind::Other, |stage| stage.kind);
                let by_grade = match kind {
                    StageKind::Cleaning => cleaning,
                    StageKind::Correction => correction,
                    StageKind::Coating | StageKind::Other => 1.0,
                };
                let part = if comeback.is_some() { 0.3 } else { 1.0 };
                Left {
                    stage: s.stage.clone(),
                    labour_us: scaled(
                        s.allowance_us,
                        part * by_grade * factor * spread(&mut self.rng, 0.2),
                    ),
                    begun: false,
                    rework: false,
                }
            })
            .collect();
        let chemical_factor = truth.chemical_factor * spread(&mut self.rng, 0.15);
        let work = AtWork {
            job,
            job_type: code,
            left,
            chemical_factor,
            unrecorded: Vec::new(),
            high_spots: 0,
        };
        if let Some(place) = self.at_work.get_mut(bay) {
            *place = Some(work);
        }
        Micros(arrived.0 + 2 * MINUTE_US)
    }

    /// The price agreed with the customer: mostly that of the list, now and then
    /// less, and sometimes nobody noted it.
    fn agreed(&mut self, job_type: &JobType, comeback: bool) -> Option<v1::Money> {
        let list = job_type.price.as_ref().filter(|_| !comeback)?;
        let percent = match self.rng.random_range(0..100) {
            0..6 => return None,
            6..20 => self.rng.random_range(88..97),
            _ => 100,
        };
        Some(v1::Money {
            price_minor: list.minor * percent / 10_000 * 100,
            currency: list.currency.clone(),
        })
    }

    fn why_laid_aside(&mut self) -> &'static str {
        match self.rng.random_range(0..10) {
            0..2 => "waiting for a part",
            2 => "customer on the phone",
            3..8 => "closing time",
            _ => "",
        }
    }

    /// Works on the next stage of the vehicle in the bay; returns when the worker is free.
    fn next_stage(
        &mut self,
        bay: usize,
        lead: &Code,
        at: Micros,
        closes: Micros,
        last_week: bool,
    ) -> Micros {
        let Some(mut work) = self.at_work.get_mut(bay).and_then(Option::take) else {
            return at;
        };
        let Some(next) = work.left.pop_front() else {
            return self.leave_to_cure(bay, work, at, closes);
        };
        let Left {
            stage,
            mut labour_us,
            begun,
            rework,
        } = next;
        if last_week && !self.overran && stage.as_str() == "polish" {
            self.overran = true;
            labour_us = scaled(labour_us, 2.2);
        }
        let mut crew = vec![lead.clone()];
        if labour_us > 60 * MINUTE_US && chance(&mut self.rng, 40) {
            crew.extend(self.helper(at));
        }
        let bay_time_us = labour_us / i64::try_from(crew.len()).unwrap_or(1);
        let until = Micros((at.0 + bay_time_us).min(closes.0 - 5 * MINUTE_US));
        if let Some(helper) = crew.get(1) {
            self.taken.insert(helper.clone(), until);
        }
        let whole = until.0 - at.0 >= bay_time_us;
        let job = Some(work.job);
        // Now and then nobody touches the terminal for a short stage.
        if whole && !begun && labour_us < 40 * MINUTE_US && chance(&mut self.rng, 4) {
            work.unrecorded.push((stage.clone(), labour_us));
        } else {
            let start = if begun {
                Kind::StageResumed(v1::StageResumed {
                    stage: stage.to_string(),
                })
            } else {
                Kind::StageStarted(v1::StageStarted {
                    stage: stage.to_string(),
                    rework,
                    ..Default::default()
                })
            };
            self.say(at, bay, &crew, job, start);
            if !begun && !rework {
                self.inside(bay, &crew, &mut work, &stage, at, until);
            }
            self.lunch(bay, &crew, job, at, until);
            self.end_stage(bay, &crew, job, &stage, until, whole);
        }
        if !whole {
            let worked_us = (until.0 - at.0) * i64::try_from(crew.len()).unwrap_or(1);
            work.left.push_front(Left {
                stage,
                labour_us: labour_us - worked_us,
                begun: true,
                rework,
            });
        } else if stage.as_str() == "coat" && work.high_spots > 0 {
            work.left.push_front(Left {
                stage: Code::new("polish"),
                labour_us: work.high_spots * self.rng.random_range(12..26) * MINUTE_US,
                begun: false,
                rework: true,
            });
        }
        if let Some(place) = self.at_work.get_mut(bay) {
            *place = Some(work);
        }
        until
    }

    /// A helper who is free, if there is one.
    fn helper(&mut self, at: Micros) -> Option<Code> {
        let bays = self.bays.len();
        self.workers
            .iter()
            .skip(bays)
            .find(|w| self.taken.get(*w).is_none_or(|t| *t <= at))
            .cloned()
    }

    fn lunch(&mut self, bay: usize, crew: &[Code], job: Option<usize>, at: Micros, until: Micros) {
        let Some(shop) = &self.catalogue.shop else {
            return;
        };
        let breaks = hours::open_intervals(&shop.breaks, self.zone, at, until);
        let Some(&(from, to)) = breaks.first() else {
            return;
        };
        if to.0 - from.0 < 20 * MINUTE_US
            || to.0 + 5 * MINUTE_US > until.0
            || chance(&mut self.rng, 15)
        {
            // Too close to the end, or they forgot to say so.
            return;
        }
        let pause = Kind::StagePaused(v1::StagePaused {
            person: true,
            reason: "lunch".into(),
            ..Default::default()
        });
        self.say(from, bay, crew, job, pause);
        self.say(
            to,
            bay,
            crew,
            job,
            Kind::StageResumed(v1::StageResumed::default()),
        );
    }

    fn end_stage(
        &mut self,
        bay: usize,
        crew: &[Code],
        job: Option<usize>,
        stage: &Code,
        until: Micros,
        whole: bool,
    ) {
        if whole {
            // A forgotten stop: the next start ends it, or nothing does.
            if !chance(&mut self.rng, 3) {
                let kind = Kind::StageFinished(v1::StageFinished {
                    stage: stage.to_string(),
                    result: v1::StageResult::Done.into(),
                });
                self.say(until, bay, &[], job, kind);
            }
        } else if !chance(&mut self.rng, 6) {
            let kind = Kind::StagePaused(v1::StagePaused {
                stage: stage.to_string(),
                reason: self.why_laid_aside().into(),
                ..Default::default()
            });
            self.say(until, bay, crew, job, kind);
        }
    }
}

/// Cleaning and correction factors by grade (common practice).
fn grade_factors(soil: u32, defects: u32) -> (f64, f64) {
    let cleaning = [0.75, 0.9, 1.0, 1.25, 1.6];
    let correction = [0.6, 0.8, 1.0, 1.35, 1.9];
    let at = |table: [f64; 5], grade: u32| {
        usize::try_from(grade)
            .ok()
            .and_then(|g| table.get(g.saturating_sub(1)).copied())
            .unwrap_or(1.0)
    };
    (at(cleaning, soil), at(correction, defects))
}
