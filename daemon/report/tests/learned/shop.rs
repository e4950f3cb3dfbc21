//! An invented shop with quotes and released jobs, made by hand.

use baywright_floor::catalogues::Catalogues;
use baywright_floor::event::{EventId, JobKey, Seq};
use baywright_floor::fact::Grades;
use baywright_floor::quote::{Asked, Printed, PrintedStage, QuoteDecidedRow, QuoteRow};
use baywright_floor::row::{Ended, HandsOn, JobOpenedRow, Row};
use baywright_report::quote::{JobRecord, StageRecord};
use baywright_terms::amount::Money;
use baywright_terms::catalogue::{
    Bay, Catalogue, JobType, Shop, ShopCosts, Source, Stage, StageAllowance, StageKind, UnitSystem,
    Worker,
};
use baywright_terms::code::Code;
use baywright_terms::hours::OpenHours;
use baywright_terms::time::{HOUR_US, MINUTE_US, Micros};
use jiff::civil::DateTime;
use jiff::tz::TimeZone;

pub(crate) const ZONE: &str = "Europe/Berlin";

pub(crate) fn at(civil: &str) -> Micros {
    let civil: DateTime = civil.parse().unwrap();
    let zone = TimeZone::get(ZONE).unwrap();
    Micros(zone.to_timestamp(civil).unwrap().as_microsecond())
}

pub(crate) fn id(n: u8) -> EventId {
    EventId([n; 16])
}

pub(crate) fn hours(hours: i64) -> i64 {
    hours * HOUR_US
}

pub(crate) fn minutes(minutes: i64) -> i64 {
    minutes * MINUTE_US
}

pub(crate) fn euros(euros: i64) -> Money {
    Money {
        minor: euros * 100,
        currency: "EUR".into(),
    }
}

fn stage(kind: StageKind) -> Stage {
    Stage {
        name: String::new(),
        kind,
        rules: Vec::new(),
        caution: String::new(),
        supplies_minor: None,
        retired: false,
    }
}

pub(crate) fn worker(retired: bool) -> Worker {
    Worker {
        name: String::new(),
        rate_minor: Some(2_000),
        retired,
    }
}

/// Two workers and one retired, three places; 20.00 an hour, target 30 %, with
/// burden and overhead of nothing; a trike wash of two hours, 100.00.
pub(crate) fn catalogue() -> Catalogue {
    let weekday = |weekday| OpenHours {
        weekday,
        from_min: 8 * 60,
        until_min: 17 * 60,
    };
    let lunch = |weekday| OpenHours {
        weekday,
        from_min: 12 * 60,
        until_min: 13 * 60,
    };
    let night = OpenHours {
        weekday: 7,
        from_min: 60,
        until_min: 5 * 60,
    };
    let shop = Shop {
        name: "Quay Row (invented)".into(),
        zone: ZONE.into(),
        currency: "EUR".into(),
        units: UnitSystem::Metric,
        open: (1..=5).map(weekday).chain([night]).collect(),
        breaks: (1..=5).map(lunch).collect(),
        soil_grades: Vec::new(),
        defects_grades: Vec::new(),
        intricacy_grades: Vec::new(),
        costs: ShopCosts {
            standard_rate_minor: Some(2_000),
            wage_burden_milli: Some(1_000),
            overhead_per_hour_minor: Some(0),
            target_margin_permille: Some(300),
            ..ShopCosts::default()
        },
    };
    let bay = |places| Bay {
        name: String::new(),
        places,
        retired: false,
    };
    let mut out = Catalogue {
        shop: Some(shop),
        ..Catalogue::default()
    };
    out.bays.insert("bay-1".into(), bay(1));
    out.bays.insert("bay-2".into(), bay(2));
    out.workers.insert("ana".into(), worker(false));
    out.workers.insert("ben".into(), worker(false));
    out.workers.insert("cas".into(), worker(true));
    out.stages.insert("wash".into(), stage(StageKind::Cleaning));
    out.stages
        .insert("polish".into(), stage(StageKind::Correction));
    out.job_types
        .insert("trike-wash".into(), job_type(minutes(60), minutes(60), 100));
    out
}

pub(crate) fn job_type(wash_us: i64, polish_us: i64, price: i64) -> JobType {
    let allowance = |stage: &str, allowance_us| StageAllowance {
        stage: Code::new(stage),
        allowance_us,
        source: Source::Guess,
    };
    JobType {
        name: "Trike wash".into(),
        vehicle_class: Code::new("trike"),
        stages: vec![allowance("wash", wash_us), allowance("polish", polish_us)],
        products: Vec::new(),
        panels: Vec::new(),
        price: Some(euros(price)),
        retired: false,
    }
}

pub(crate) fn catalogues(catalogue: Catalogue) -> Catalogues {
    let mut out = Catalogues::default();
    out.add(Micros(0), Micros(0), Seq(1), id(0xEE), catalogue, None);
    out
}

/// A released job of the trike wash, wash and polish in minutes.
pub(crate) fn record(n: u32, released: Micros, wash_us: i64, polish_us: i64) -> JobRecord {
    let mut key = [0; 16];
    key[12..].copy_from_slice(&n.to_be_bytes());
    let stage = |stage: &str, us| StageRecord {
        stage: Code::new(stage),
        us,
        worker: Some(Code::new("ana")),
    };
    JobRecord {
        job: Some(EventId(key)),
        number: Some(u64::from(n)),
        past: None,
        job_type: Code::new("trike-wash"),
        vehicle_class: Code::new("trike"),
        grades: Grades {
            soil: 3,
            defects: 3,
            intricacy: 3,
        },
        vehicle: String::new(),
        opened: Some(Micros(released.0 - hours(8))),
        released,
        stages: vec![stage("wash", wash_us), stage("polish", polish_us)],
        unclosed: Vec::new(),
        products: Vec::new(),
        whole_us: None,
        labour_us: wash_us + polish_us,
        bay_hands_on_us: wash_us + polish_us,
        bay_waiting_us: 0,
    }
}

/// Repeatable noise: a standard normal from a seed and a place (sum of twelve).
pub(crate) fn noise(seed: u64, n: u32) -> f64 {
    let mut state = seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ (u64::from(n) << 17);
    let mut uniform = || {
        state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        let top = u32::try_from((z ^ (z >> 31)) >> 32).unwrap();
        f64::from(top) / f64::from(u32::MAX)
    };
    (0..12).map(|_| uniform()).sum::<f64>() - 6.0
}

/// `us` times a factor, in whole microseconds.
#[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation)]
pub(crate) fn times(us: i64, factor: f64) -> i64 {
    (us as f64 * factor).round() as i64
}

/// Rows of the office.
#[derive(Debug, Default)]
pub(crate) struct Office {
    pub(crate) rows: Vec<Row>,
    seq: u64,
}

impl Office {
    pub(crate) fn seq(&mut self) -> Seq {
        self.seq += 1;
        Seq(self.seq)
    }

    /// Wash and polish are quoted half and half.
    pub(crate) fn print(
        &mut self,
        n: u8,
        when: &str,
        (half_us, p80_us): (i64, i64),
        price_minor: i64,
        addition_to: Option<JobKey>,
    ) {
        let revised = self
            .rows
            .iter()
            .any(|row| matches!(row, Row::Quote(of) if of.quote == id(n)));
        let stage = |stage: &str| PrintedStage {
            stage: Code::new(stage),
            allowance_us: minutes(60),
            quoted_us: half_us / 2,
        };
        let row = QuoteRow {
            quote: id(n),
            seq: self.seq(),
            at: at(when),
            revised,
            addition_to,
            asked: Asked {
                job_type: Code::new("trike-wash"),
                vehicle: "red three-wheeler".into(),
                vehicle_class: Code::new("trike"),
                grades: Grades::default(),
                unseen: false,
                customer: String::new(),
            },
            printed: Printed {
                stages: vec![stage("wash"), stage("polish")],
                products: Vec::new(),
                hands_on_half_us: half_us,
                hands_on_p80_us: p80_us,
                bay_half_us: 2 * half_us,
                bay_p80_us: 2 * p80_us,
                price_minor,
                cost_minor: 0,
                valid_until: Micros(at(when).0 + 30 * 24 * HOUR_US),
                trade_guess: false,
            },
        };
        self.rows.push(Row::Quote(row));
    }

    pub(crate) fn answer(&mut self, n: u8, when: &str, agreed: Option<i64>, words: &str) {
        let seq = self.seq();
        let accepted = agreed.is_some();
        let word = |is: bool| if is { words.to_owned() } else { String::new() };
        self.rows.push(Row::QuoteDecided(QuoteDecidedRow {
            quote: id(n),
            seq,
            at: at(when),
            accepted,
            addition_to: None,
            agreed_minor: agreed,
            suggested_minor: None,
            reason: word(!accepted),
            planned_date: word(accepted),
        }));
    }

    pub(crate) fn open(&mut self, job: JobKey, number: u64, quote: Option<u8>, when: &str) {
        let seq = self.seq();
        self.rows.push(Row::JobOpened(JobOpenedRow {
            job,
            seq,
            number: Some(number),
            handle: String::new(),
            opened: at(when),
            job_type: Code::new("trike-wash"),
            vehicle: "red three-wheeler".into(),
            vehicle_class: Code::new("trike"),
            grades: Grades::default(),
            panels: Vec::new(),
            comeback_of: None,
            agreed_minor: None,
            quote: quote.map(id),
        }));
    }

    pub(crate) fn work(&mut self, job: JobKey, stage: &str, worker: &str, from: &str, us: i64) {
        let seq = self.seq();
        self.rows.push(Row::HandsOn(HandsOn {
            job,
            stage: Code::new(stage),
            run: id(0xAA),
            worker: Code::new(worker),
            bay: Code::new("bay-1"),
            from: at(from),
            until: Micros(at(from).0 + us),
            ended: Ended::Done,
            reason: String::new(),
            rework: false,
            seq_from: seq,
            seq_until: None,
        }));
    }

    pub(crate) fn release(&mut self, job: JobKey, when: &str) {
        let seq = self.seq();
        let at = at(when);
        self.rows.push(Row::JobReleased { job, at, seq });
    }
}
