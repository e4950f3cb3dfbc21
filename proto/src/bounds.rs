//! How long the words, lists and figures of a fact may be.
//!
//! Both ends ask here: a bay before it keeps a fact, while the person can still
//! mend it, and the daemon before it appends one. No honest fact comes near any
//! of these; they keep one bad caller from filling the disk, the folds and the
//! screens of everybody else. Codes and kinds that are merely unknown are no
//! matter of this page: those are kept.

mod floor;
mod office;

use crate::v1;
use crate::v1::fact::{Kind, Occurred};

/// Largest fact, bytes. A catalogue of some thousand entries stays below it;
/// everything else is a few hundred bytes.
pub const FACT_BYTES_MAX: usize = 1024 * 1024;

/// Bytes of the id of an event.
const ID_BYTES: usize = 16;

/// Longest code, lot or handle, bytes. Codes of the catalogue have at most 40
/// letters, a lot read from a bar code at most about 90.
pub const CODE_BYTES_MAX: usize = 256;

/// Longest words for one thing, bytes: a vehicle, a reason, where a photograph
/// is. Four pages of text; the longest path of a file on Linux is a quarter of it.
pub const WORDS_BYTES_MAX: usize = 16 * 1024;

/// Longest note, bytes: a dozen pages of text.
pub const NOTE_BYTES_MAX: usize = 64 * 1024;

/// Longest decimal in figures, bytes: 12 digits, a point and 6 digits are 19.
pub const DECIMAL_BYTES_MAX: usize = 32;

/// Workers, panels or additions that one fact names. A catalogue's job type has
/// at most 120 panels.
pub const NAMED_MAX: usize = 1_000;

/// Entries of one table of the catalogue that one fact sets. A file has at most 500.
pub const ENTRIES_MAX: usize = 5_000;

/// Jobs of the past in one fact. `bay import` sends them in parts of 256 KiB.
pub const PAST_JOBS_MAX: usize = 10_000;

/// Longest duration, microseconds: ten years. No vehicle stays that long.
pub const DURATION_US_MAX: i64 = 10 * 366 * 24 * 3_600 * 1_000_000;

/// Largest amount of money, minor units; what a person may type is as large.
pub const MONEY_MINOR_MAX: i64 = 1_000_000_000_000_000;

/// Packs in one delivery.
pub const PACKS_MAX: u32 = 1_000_000;

/// Sections of a panel, and layers on it.
pub const SECTIONS_MAX: u32 = 10_000;

/// Instants lie between 2000-01-01 and 2200-01-01, UTC, microseconds: what
/// lies outside comes from a clock that was never set, and sums of what lies
/// inside cannot overflow.
pub const EARLIEST_US: i64 = 946_684_800_000_000;
pub const LATEST_US: i64 = 7_258_118_400_000_000;

/// A field that is over its bound, and how to mend it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Over {
    /// Path of the field, as in the `.proto` files.
    pub field: &'static str,
    /// A clause that follows the field's name.
    pub mend: String,
}

/// Lists what of a fact is over its bound.
pub fn over(fact: &v1::Fact) -> Vec<Over> {
    let mut check = Check::default();
    check.code("fact.bay", &fact.bay);
    check.codes("fact.by", &fact.by);
    check.job("fact.job.opening_event_id", fact.job.as_ref());
    if let Some(clocks) = &fact.clocks {
        check.code("fact.clocks.boot_id", &clocks.boot_id);
    }
    match fact.occurred {
        Some(Occurred::AgoUs(ago_us)) => check.duration("fact.ago_us", ago_us),
        // That it is an instant is said by the rule that works out when it happened.
        Some(Occurred::AtUs(_)) | None => {}
    }
    match &fact.kind {
        Some(
            Kind::QuoteDrafted(_)
            | Kind::QuoteRevised(_)
            | Kind::QuoteAccepted(_)
            | Kind::QuoteDeclined(_),
        ) => check.quote(fact),
        Some(Kind::CatalogueSet(set)) => check.catalogue(set),
        Some(Kind::PastRecorded(past)) => check.past(past),
        Some(kind) => check.floor(kind),
        None => {}
    }
    check.over
}

#[derive(Default)]
struct Check {
    over: Vec<Over>,
}

impl Check {
    fn add(&mut self, field: &'static str, mend: String) {
        // One of a kind is enough to mend a list of a thousand.
        if self.over.iter().all(|over| over.field != field) {
            self.over.push(Over { field, mend });
        }
    }

    fn bytes(&mut self, field: &'static str, text: &str, max: usize) {
        if text.len() > max {
            let mend = format!(
                "has {} bytes, the most is {max}: say it shorter",
                text.len()
            );
            self.add(field, mend);
        }
    }

    fn code(&mut self, field: &'static str, text: &str) {
        self.bytes(field, text, CODE_BYTES_MAX);
    }

    fn words(&mut self, field: &'static str, text: &str) {
        self.bytes(field, text, WORDS_BYTES_MAX);
    }

    fn id(&mut self, field: &'static str, id: &[u8]) {
        if id.len() > ID_BYTES {
            let mend = format!(
                "has {} bytes: give the {ID_BYTES} bytes of the event's id",
                id.len()
            );
            self.add(field, mend);
        }
    }

    fn job(&mut self, field: &'static str, job: Option<&v1::JobRef>) {
        if let Some(v1::job_ref::Job::OpeningEventId(id)) = job.and_then(|job| job.job.as_ref()) {
            self.id(field, id);
        }
    }

    fn count(&mut self, field: &'static str, count: usize, max: usize) {
        if count > max {
            let mend = format!("has {count} entries, the most is {max}: post it in parts");
            self.add(field, mend);
        }
    }

    fn codes(&mut self, field: &'static str, codes: &[String]) {
        self.count(field, codes.len(), NAMED_MAX);
        for code in codes {
            self.code(field, code);
        }
    }

    fn duration(&mut self, field: &'static str, us: i64) {
        if !(0..=DURATION_US_MAX).contains(&us) {
            let mend = format!("is {us}: give microseconds, from 0 to {DURATION_US_MAX}");
            self.add(field, mend);
        }
    }

    /// 0 says that there is none.
    fn instant(&mut self, field: &'static str, us: i64) {
        if us != 0 && !(EARLIEST_US..=LATEST_US).contains(&us) {
            let mend = "is not an instant between the years 2000 and 2200: give Unix microseconds";
            self.add(field, mend.to_owned());
        }
    }

    fn minor(&mut self, field: &'static str, minor: i64) {
        if !(-MONEY_MINOR_MAX..=MONEY_MINOR_MAX).contains(&minor) {
            let mend = format!("is {minor}: the most is {MONEY_MINOR_MAX} minor units");
            self.add(field, mend);
        }
    }

    fn money(&mut self, field: &'static str, money: Option<&v1::Money>) {
        if let Some(money) = money {
            self.minor(field, money.price_minor);
            self.bytes(field, &money.currency, DECIMAL_BYTES_MAX);
        }
    }

    fn amount(&mut self, field: &'static str, amount: Option<&v1::Amount>) {
        if let Some(amount) = amount {
            self.bytes(field, &amount.decimal, DECIMAL_BYTES_MAX);
        }
    }

    fn ratio(&mut self, field: &'static str, ratio: Option<&v1::Ratio>) {
        if let Some(ratio) = ratio {
            self.bytes(field, &ratio.water_parts, DECIMAL_BYTES_MAX);
            self.bytes(field, &ratio.product_parts, DECIMAL_BYTES_MAX);
        }
    }

    fn at_most(&mut self, field: &'static str, number: u32, max: u32) {
        if number > max {
            self.add(field, format!("is {number}, the most is {max}"));
        }
    }

    fn finite(&mut self, field: &'static str, figure: f64) {
        if !figure.is_finite() {
            self.add(field, "is no number: give a finite one".to_owned());
        }
    }

    fn panels(&mut self, field: &'static str, panels: &[v1::Panel]) {
        self.count(field, panels.len(), NAMED_MAX);
        for panel in panels {
            self.code(field, &panel.code);
            self.code(field, &panel.finish);
        }
    }
}

#[cfg(test)]
mod tests;
