//! An invented shop at work, simulated from a seed: what happens at three bays
//! over some weeks, with the mess of real life. The codes come from the
//! example catalogue, the truth behind the work from `truth`.
//!
//! The result is a plain list of happenings in the order of time; posting
//! them is the demo's business.

pub mod day;
pub mod mess;
pub mod truth;

use baywright_proto::v1;
use baywright_terms::catalogue::Catalogue;
use baywright_terms::code::Code;
use baywright_terms::time::Micros;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use rand::SeedableRng as _;
use rand_chacha::ChaCha12Rng;

use self::day::Floor;

/// One fact of the invented floor, before it is posted.
#[derive(Debug, Clone)]
pub struct Happening {
    /// When it truly happened.
    pub at: Micros,
    /// Index of the bay whose terminal posts it; one more is the office.
    pub bay: usize,
    pub by: Vec<Code>,
    /// Index into [`Shop::jobs`]; `None` leaves the job to the daemon.
    pub job: Option<usize>,
    /// The quote it is about.
    pub quote: Option<OfQuote>,
    pub kind: v1::fact::Kind,
    pub manner: Manner,
}

/// A quote of the invented office.
#[derive(Debug, Clone, Copy)]
pub struct OfQuote {
    pub index: usize,
    /// Agreed price in per cent of the suggested one.
    pub agreed_percent: i64,
}

/// How a happening reaches the daemon.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Manner {
    /// Posted as it happens.
    Online,
    /// The bay has no network: kept in its spool, sent in the evening.
    Offline,
    /// Takes back the latest use of the same bay.
    StrikesLastUse,
}

/// A vehicle of the invented shop.
#[derive(Debug, Clone)]
pub struct Vehicle {
    pub job_type: Code,
    pub words: String,
    /// Position in the happenings of its opening.
    pub comeback_of: Option<usize>,
    /// The quote it was accepted with.
    pub quote: Option<OfQuote>,
}

/// The whole simulation.
#[derive(Debug)]
pub struct Shop {
    pub happenings: Vec<Happening>,
    pub jobs: Vec<Vehicle>,
    /// Bay codes in the order of the indices.
    pub bays: Vec<Code>,
    /// Monday of the last week.
    pub last_week: Date,
}

/// Simulates `weeks` weeks that end with the week before `today`.
pub fn simulate(
    catalogue: &Catalogue,
    zone: &TimeZone,
    today: Date,
    weeks: u32,
    seed: u64,
) -> Shop {
    let monday = today
        .saturating_sub(jiff::Span::new().days(i64::from(today.weekday().to_monday_zero_offset())));
    let first = monday.saturating_sub(jiff::Span::new().weeks(i64::from(weeks)));
    let last_week = monday.saturating_sub(jiff::Span::new().weeks(1));
    // Two streams of chance, so that what the office says changes nothing on the floor.
    let office = ChaCha12Rng::seed_from_u64(seed ^ 0x000f_f1ce);
    let mut floor = Floor::new(catalogue, zone, ChaCha12Rng::seed_from_u64(seed), office);
    let mut date = first;
    while date < monday {
        floor.work_a_day(date, date >= last_week);
        date = date.saturating_add(jiff::Span::new().days(1));
    }
    let (mut happenings, jobs, bays) = floor.finish();
    mess::add(&mut happenings, zone, last_week, seed);
    happenings.sort_by_key(|h| h.at);
    Shop {
        happenings,
        jobs,
        bays,
        last_week,
    }
}
