//! Why a bay stood idle with a vehicle in it.
//!
//! Every microsecond of idle time has one reason, so that they add up to it:
//!
//! - `closed`: outside the shop's open hours, whatever came before. A shop that
//!   gave none is not closed at any time;
//! - else what came before the idle stretch on that job. Where its hands-on time
//!   ended last with a pause or a break, the words given with it, or `break`, or
//!   `laid aside, no reason given`;
//! - else, where it waited until then, `after waiting`: a dwell, flash, lamp or
//!   cure was over and nobody went on;
//! - else `before the first stage`, `between stages`, `after the last stage` (no
//!   other has begun up to now), `after a stage that nothing ended`,
//!   `went elsewhere` (the worker began something else) or `moved on`
//!   (the job was taken to another place while it was worked on).
//!
//! The words of a pause are the shop's own. The rarest are summed under `other
//! reasons given`.

use std::collections::BTreeMap;

use baywright_floor::row::{Ended, HandsOn};
use baywright_floor::timeline::{Clock, merged};
use baywright_terms::code::Code;
use baywright_terms::time::Micros;

use crate::days::BayTimes;
use crate::figures::IdleReason;
use crate::input::{Index, JobRows};
use crate::labour::is_bay;
use crate::span::Span;
use crate::stays::{Stretch, stretch};
use crate::throughput::within;

/// Different words of pauses that are listed for a bay: with the fixed reasons
/// that fills a page.
const WORDS_LISTED_MAX: usize = 12;

/// In the order of the documentation.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Why<'a> {
    Closed,
    Words(&'a str),
    Break,
    LaidAside,
    AfterWaiting,
    BeforeFirst,
    Between,
    AfterLast,
    Unclosed,
    Elsewhere,
    Moved,
    OtherWords,
}

impl<'a> Why<'a> {
    fn as_str(self) -> &'a str {
        match self {
            Self::Closed => "closed",
            Self::Words(words) => words,
            Self::Break => "break",
            Self::LaidAside => "laid aside, no reason given",
            Self::AfterWaiting => "after waiting",
            Self::BeforeFirst => "before the first stage",
            Self::Between => "between stages",
            Self::AfterLast => "after the last stage",
            Self::Unclosed => "after a stage that nothing ended",
            Self::Elsewhere => "went elsewhere",
            Self::Moved => "moved on",
            Self::OtherWords => "other reasons given",
        }
    }
}

/// Idle time of each bay in `counted` by reason, the longest first.
pub(crate) fn by_bay<'a>(
    index: &Index<'a>,
    times: &BayTimes<'a>,
    counted: Span,
) -> BTreeMap<&'a Code, Vec<IdleReason>> {
    let open = open(times, counted);
    let mut bays: BTreeMap<&Code, BTreeMap<Why<'_>, i64>> = BTreeMap::new();
    for job in &times.jobs {
        let Some(rows) = index.jobs.get(&job.job) else {
            continue;
        };
        let before = Before::new(rows);
        for stay in job.stays.iter().filter(|stay| is_bay(stay.place)) {
            let idle = stay.spans.iter().filter(|span| span.clock == Clock::Idle);
            for span in idle {
                let Some(part) = stretch(Micros(span.from), Micros(span.until), counted) else {
                    continue;
                };
                let reasons = bays.entry(stay.place).or_default();
                let mut add = |why, us: i64| {
                    if us > 0 {
                        let sum = reasons.entry(why).or_default();
                        *sum = sum.saturating_add(us);
                    }
                };
                let open_us = overlap_us(&open, part);
                add(before.why(Micros(span.from)), open_us);
                let closed_us = part.1.saturating_sub(part.0).saturating_sub(open_us);
                add(Why::Closed, closed_us);
            }
        }
    }
    bays.into_iter()
        .map(|(bay, reasons)| (bay, listed(reasons)))
        .collect()
}

fn listed(reasons: BTreeMap<Why<'_>, i64>) -> Vec<IdleReason> {
    let (mut words, mut listed): (Vec<_>, Vec<_>) = reasons
        .into_iter()
        .partition(|(why, _)| matches!(why, Why::Words(_)));
    words.sort_by_key(|(why, us)| (std::cmp::Reverse(*us), *why));
    let rare = words.split_off(WORDS_LISTED_MAX.min(words.len()));
    let others_us = rare
        .iter()
        .fold(0, |sum: i64, (_, us)| sum.saturating_add(*us));
    listed.extend(words);
    if others_us > 0 {
        listed.push((Why::OtherWords, others_us));
    }
    listed.sort_by_key(|(why, us)| (std::cmp::Reverse(*us), *why));
    listed
        .into_iter()
        .map(|(why, idle_us)| IdleReason {
            reason: why.as_str().to_owned(),
            idle_us,
        })
        .collect()
}

/// When the shop was not closed: its open hours, and all time for which it gave none.
fn open(times: &BayTimes<'_>, counted: Span) -> Vec<Stretch> {
    let mut open = Vec::new();
    for piece in times.pieces.iter().filter(|p| within(p.span, counted)) {
        let shop = piece.snapshot.catalogue.shop.as_ref();
        if shop.is_some_and(|shop| !shop.open.is_empty()) {
            open.extend_from_slice(&piece.open);
        } else {
            open.push((piece.span.from.0, piece.span.until.0));
        }
    }
    merged(&open)
}

/// How much of a stretch lies in others that are merged and in order.
fn overlap_us(others: &[Stretch], (from, until): Stretch) -> i64 {
    let first = others.partition_point(|(_, end)| *end <= from);
    let rest = others.get(first..).unwrap_or_default();
    rest.iter()
        .take_while(|(begin, _)| *begin < until)
        .map(|(begin, end)| until.min(*end) - from.max(*begin))
        .sum()
}

/// What was done on a job, to be asked what came before an instant.
struct Before<'a> {
    /// In order of end; of those that end together the one that says most
    /// comes last.
    hands_on: Vec<&'a HandsOn>,
    last_begin: Option<Micros>,
    /// Ends of waiting, in order.
    waited: Vec<Micros>,
}

impl<'a> Before<'a> {
    fn new(rows: &JobRows<'a>) -> Self {
        let mut hands_on = rows.hands_on.clone();
        hands_on.sort_by_key(|h| (h.until, says(h), h.seq_from));
        let mut waited: Vec<Micros> = rows.waiting.iter().filter_map(|w| w.until).collect();
        waited.sort_unstable();
        Self {
            last_begin: hands_on.iter().map(|h| h.from).max(),
            hands_on,
            waited,
        }
    }

    /// The reason of an idle stretch that begins at `at`, in open hours.
    fn why(&self, at: Micros) -> Why<'a> {
        let ended = self.hands_on.partition_point(|h| h.until <= at);
        let last = ended
            .checked_sub(1)
            .and_then(|last| self.hands_on.get(last));
        if let Some(last) = last
            && matches!(last.ended, Ended::Paused | Ended::Break)
        {
            return match (last.reason.trim(), last.ended) {
                ("", Ended::Break) => Why::Break,
                ("", _) => Why::LaidAside,
                (words, _) => Why::Words(words),
            };
        }
        if self.waited.binary_search(&at).is_ok() && last.is_none_or(|last| last.until < at) {
            return Why::AfterWaiting;
        }
        let Some(last) = last else {
            return Why::BeforeFirst;
        };
        match last.ended {
            Ended::Dwell => Why::AfterWaiting,
            Ended::Unclosed => Why::Unclosed,
            Ended::Elsewhere => Why::Elsewhere,
            Ended::Moved => Why::Moved,
            _ if self.last_begin.is_some_and(|begin| at <= begin) => Why::Between,
            _ => Why::AfterLast,
        }
    }
}

/// How much the end of a stretch says about what follows.
fn says(hands_on: &HandsOn) -> u8 {
    match hands_on.ended {
        Ended::Paused | Ended::Break if !hands_on.reason.trim().is_empty() => 5,
        Ended::Break => 4,
        Ended::Paused => 3,
        Ended::Unclosed | Ended::Elsewhere | Ended::Moved | Ended::Dwell => 1,
        Ended::Done | Ended::Again | Ended::Settled | Ended::Released | Ended::Running => 2,
    }
}
