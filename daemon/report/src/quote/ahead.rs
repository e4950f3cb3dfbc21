//! Hours promised by accepted quotes against open hours, two weeks ahead.
//!
//! The two weeks are the fourteen civil days of the shop from today on; what is
//! left of today counts. Work without a day, or with one that is past, falls to
//! the first week; work planned for later is listed and counts in neither.
//!
//! A job's quote is taken for the log-normal with its printed half and four in
//! five; what was done comes off, never below nothing. The half and the four in
//! five of a week are those of the *sum* of its jobs, taken as independent, by
//! seeded draws: the sum of all four-in-fives would be reached far less often
//! than one time in five.

use std::collections::{BTreeMap, BTreeSet};

use baywright_floor::catalogues::{Catalogues, Snapshot};
use baywright_floor::event::{EventId, JobKey};
use baywright_floor::quote::QuoteRow;
use baywright_floor::row::Row;
use baywright_terms::code::Code;
use baywright_terms::hours::open_intervals;
use baywright_terms::time::{Micros, Week, day_range, shop_day};
use jiff::ToSpan as _;
use jiff::civil::{Date, Weekday};
use jiff::tz::TimeZone;

use super::book::{BookedQuote, QuoteBook, QuoteStanding};
use super::promised::{Promised, sum_of};
use crate::figures::{Ahead, AheadJob, AheadWeek};
use crate::input::Index;
use crate::labour::{count, declared, length_us};
use crate::span::{Span, sum_us};

const DAYS_OF_WEEK: i64 = 7;
const WEEKS: usize = 2;

/// What is promised at an instant. The rows are every print of and answer to a
/// quote, and of each job that was not released its opening, work and
/// declarations, with the release of each that was.
pub fn ahead(rows: &[Row], catalogues: &Catalogues, at: Micros) -> Ahead {
    let snapshot = catalogues.at(at);
    let book = QuoteBook::of(rows);
    let index = Index::new(rows);
    let mut to_do = to_do(&book, &index, at);
    to_do.sort_by(|a, b| (&a.planned, a.number, a.id).cmp(&(&b.planned, b.number, b.id)));
    let spans = spans(at, &snapshot.zone);
    let weeks = spans.iter().enumerate();
    let weeks = weeks.map(|(at_week, span)| {
        let in_week = |job: &&ToDo| week_of(job, &spans, &snapshot.zone) == Some(at_week);
        let jobs: Vec<&ToDo> = to_do.iter().filter(in_week).collect();
        let labour = sum_of(jobs.iter().map(|job| &job.labour));
        let bay = sum_of(jobs.iter().map(|job| &job.bay));
        let (worker_open_us, bay_open_us) = open_us(snapshot, *span);
        AheadWeek {
            week: name(*span, &snapshot.zone),
            from: span.from,
            until: span.until,
            worker_open_us,
            bay_open_us,
            promised_half_us: labour.0,
            promised_p80_us: labour.1,
            promised_bay_half_us: bay.0,
            promised_bay_p80_us: bay.1,
        }
    });
    let no_day = to_do.iter().filter(|job| job.planned.is_none());
    let (no_day_half_us, no_day_p80_us) = sum_of(no_day.map(|job| &job.labour));
    let open: Vec<Promised> = book
        .quotes()
        .filter(|(_, quote)| quote.standing(at) == Some(QuoteStanding::Open))
        .filter_map(|(id, quote)| Some(Promised::of_labour(id, quote.print_at(at)?)))
        .collect();
    Ahead {
        from: at,
        weeks: weeks.collect(),
        no_day_half_us,
        no_day_p80_us,
        jobs: to_do.iter().map(ToDo::figures).collect(),
        quotes_open: count(open.len()),
        quotes_open_half_us: sum_of(open.iter()).0,
    }
}

/// Accepted work on one job.
struct ToDo {
    /// The job, or the quote where it is not opened yet.
    id: EventId,
    number: Option<u64>,
    job_type: Code,
    vehicle: String,
    planned: Option<Date>,
    labour: Promised,
    bay: Promised,
}

impl ToDo {
    fn figures(&self) -> AheadJob {
        let left = self.labour.left_us();
        AheadJob {
            number: self.number,
            job_type: self.job_type.clone(),
            vehicle: self.vehicle.clone(),
            planned_date: self.planned.map(|day| day.to_string()).unwrap_or_default(),
            promised_half_us: self.labour.half_us,
            promised_p80_us: self.labour.p80_us,
            done_us: self.labour.done_us,
            left_half_us: left.0,
            left_p80_us: left.1,
        }
    }
}

/// Accepted quotes by the job they opened or were made for.
fn to_do(book: &QuoteBook<'_>, index: &Index<'_>, at: Micros) -> Vec<ToDo> {
    let mut by_job: BTreeMap<EventId, Vec<(EventId, &BookedQuote<'_>)>> = BTreeMap::new();
    for (id, quote) in book.quotes() {
        let accepted = quote.standing(at) == Some(QuoteStanding::Accepted);
        let released = quote.job.and_then(|job| index.jobs.get(&job)?.released);
        if accepted && released.is_none_or(|released| at < released) {
            let of = by_job.entry(quote.job.unwrap_or(id)).or_default();
            of.push((id, quote));
        }
    }
    let of = |(id, mut quotes): (EventId, Vec<(EventId, &BookedQuote<'_>)>)| {
        // The quote of the job before the lines added to it.
        quotes.sort_by_key(|(id, quote)| (quote.is_addition(), *id));
        let prints: Vec<(EventId, &QuoteRow)> = quotes
            .iter()
            .filter_map(|(id, quote)| Some((*id, quote.accepted()?.0)))
            .collect();
        let (_, first) = prints.first()?;
        let job = quotes.first().and_then(|(_, quote)| quote.job);
        let opened = job.and_then(|job| index.jobs.get(&job)?.opened);
        let (labour_done_us, bay_done_us) = done(index, job, &prints, at);
        let all = |of: fn(EventId, &QuoteRow) -> Promised, done_us| {
            let each = prints.iter().map(|(id, print)| of(*id, print));
            Promised::together(id, each, done_us)
        };
        // A line added later says nothing of when the job is planned.
        let planned = quotes
            .iter()
            .find_map(|(_, quote)| quote.answer_at(at)?.planned_date.parse::<Date>().ok());
        Some(ToDo {
            id,
            number: opened.and_then(|opened| opened.number),
            job_type: opened
                .map_or(&first.asked.job_type, |o| &o.job_type)
                .clone(),
            vehicle: opened.map_or(&first.asked.vehicle, |o| &o.vehicle).clone(),
            planned,
            labour: all(Promised::of_labour, labour_done_us),
            bay: all(Promised::of_bay, bay_done_us),
        })
    };
    by_job.into_iter().filter_map(of).collect()
}

/// Labour done of the stages that were quoted, and the time in which anybody was
/// at work on them.
fn done(
    index: &Index<'_>,
    job: Option<JobKey>,
    prints: &[(EventId, &QuoteRow)],
    at: Micros,
) -> (i64, i64) {
    let Some(rows) = job.and_then(|job| index.jobs.get(&job)) else {
        return (0, 0);
    };
    let stages: BTreeSet<&Code> = prints
        .iter()
        .flat_map(|(_, print)| &print.printed.stages)
        .map(|stage| &stage.stage)
        .collect();
    let worked = rows.hands_on.iter().filter(|h| stages.contains(&h.stage));
    let worked: Vec<_> = worked.filter(|h| h.from < at).collect();
    let recorded_us = sum_us(worked.iter().map(|h| length_us(h)));
    let said = declared(rows).filter(|(stage, _)| stages.contains(stage));
    let said_us = sum_us(said.map(|(_, us)| us));
    let stretches: Vec<(i64, i64)> = worked.iter().map(|h| (h.from.0, h.until.0)).collect();
    let merged = baywright_floor::timeline::merged(&stretches);
    let at_work_us = sum_us(
        merged
            .iter()
            .map(|(from, until)| until.saturating_sub(*from)),
    );
    (
        recorded_us.saturating_add(said_us),
        at_work_us.saturating_add(said_us),
    )
}

/// Seven days from now and the seven after them, in the shop's zone: a day that
/// the clocks change on is one like any other.
fn spans(at: Micros, zone: &TimeZone) -> [Span; WEEKS] {
    let today = shop_day(at, zone);
    let midnight = |days: i64| day_range(today.saturating_add(days.days()), zone).0;
    let middle = midnight(DAYS_OF_WEEK);
    [
        Span::new(at, middle),
        Span::new(middle, midnight(2 * DAYS_OF_WEEK)),
    ]
}

fn name(span: Span, zone: &TimeZone) -> String {
    let first = shop_day(span.from, zone);
    if first.weekday() == Weekday::Monday {
        return Week::of(span.from, zone).to_string();
    }
    let last = shop_day(Micros(span.until.0.saturating_sub(1)), zone);
    format!("{first} to {last}")
}

/// The week that a job falls in; `None`: planned for later.
fn week_of(job: &ToDo, spans: &[Span], zone: &TimeZone) -> Option<usize> {
    let Some(day) = job.planned else {
        return Some(0);
    };
    let begins = day_range(day, zone).0;
    spans.iter().position(|span| begins < span.until)
}

/// Open time of the workers and of the places of the bays.
fn open_us(snapshot: &Snapshot, span: Span) -> (i64, i64) {
    let catalogue = &snapshot.catalogue;
    let Some(shop) = &catalogue.shop else {
        return (0, 0);
    };
    let (from, until) = (span.from, span.until);
    let open = open_intervals(&shop.open, &snapshot.zone, from, until);
    let breaks = open_intervals(&shop.breaks, &snapshot.zone, from, until);
    let whole = |(from, until): &(Micros, Micros)| Span::new(*from, *until);
    let open_us = sum_us(open.iter().map(|o| whole(o).length_us()));
    let cut = |b: Span| open.iter().filter_map(move |o| whole(o).cut_to(b));
    let breaks_us = sum_us(
        breaks
            .iter()
            .flat_map(|b| cut(whole(b)))
            .map(Span::length_us),
    );
    let workers = catalogue.workers.values().filter(|w| !w.retired).count();
    let bays = catalogue.bays.values().filter(|bay| !bay.retired);
    let places = sum_us(bays.map(|bay| i64::from(bay.places.max(1))));
    let people = i64::try_from(workers).unwrap_or(i64::MAX);
    (
        open_us.saturating_sub(breaks_us).saturating_mul(people),
        open_us.saturating_mul(places),
    )
}
