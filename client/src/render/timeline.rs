//! A job's days drawn in text: a line for each day and place, a mark for each
//! stretch of minutes.
//!
//! Plain ASCII marks of one column each, so that a serial console draws the
//! same picture as a wide terminal.

use std::ops::Range;

use baywright_proto::v1::{JobStory, StoryPlace};
use baywright_terms::hours::{OpenHours, open_intervals};
use baywright_terms::time::{Micros, day_range, shop_day};
use jiff::civil::Date;
use jiff::tz::TimeZone;

use super::calendar::Calendar;
use super::figure::counted;
use super::text::{clean, pad_right, push, section, shorten};

const HANDS_ON: char = '#';
const WAITING: char = '+';
const IDLE: char = '.';
const CLOSED: char = '_';
const NOT_HERE: char = ' ';

/// Days that are drawn; a job that stood for months is told by its events.
const DAYS_DRAWN_MAX: usize = 31;
/// Columns of the day, and of the place behind it, with a space after each.
const DAY_COLUMNS: usize = 7;
const PLACE_COLUMNS: usize = 10;
/// Minutes of one mark, from the finest on.
const MARK_MINUTES: [i64; 5] = [10, 15, 20, 30, 60];
/// Columns that an hour on the axis needs, with a space.
const HOUR_COLUMNS: usize = 3;

const DAY_MIN: i64 = 24 * 60;

/// An interval of instants, microseconds.
type Span = (i64, i64);

/// The picture with its legend; empty where the job was never in a place.
pub(super) fn timeline(
    story: &JobStory,
    hours: &[OpenHours],
    calendar: &Calendar,
    page: usize,
) -> String {
    // An older daemon tells how much was done and not when: a picture of idle
    // days would be wrong.
    let done = |stay: &StoryPlace| stay.hands_on_us > 0 || stay.waiting_us > 0;
    if story.stretches.is_empty() && story.places.iter().any(done) {
        return String::new();
    }
    let picture = Picture::of(story, hours, calendar.zone());
    let Some(axis) = picture.axis(page) else {
        return String::new();
    };
    let mut out = section("Day by day", page);
    out.push_str(&axis.line());
    let mut used = Vec::new();
    let mut quiet: Option<(Date, Date, String)> = None;
    for day in picture.days.iter().take(DAYS_DRAWN_MAX) {
        let rows = picture.rows(*day, &axis);
        let stood = match rows.as_slice() {
            [(place, marks)] if is_quiet(marks) => Some(place.clone()),
            _ => None,
        };
        if let (Some((_, last, place)), Some(here)) = (&mut quiet, &stood)
            && place == here
        {
            *last = *day;
            continue;
        }
        out.push_str(&stood_line(quiet.take(), calendar, page));
        if let Some(place) = stood {
            quiet = Some((*day, *day, place));
            continue;
        }
        for (index, (place, marks)) in rows.into_iter().enumerate() {
            used.extend(marks.chars());
            let name = if index == 0 {
                calendar.day_of_month(start_of(*day, calendar.zone()))
            } else {
                String::new()
            };
            out.push_str(&row(&name, &place, &marks));
        }
    }
    out.push_str(&stood_line(quiet, calendar, page));
    let more = picture.days.len().saturating_sub(DAYS_DRAWN_MAX);
    if more > 0 {
        let more = counted(u64::try_from(more).unwrap_or(u64::MAX), "day", "days");
        push(&mut out, &format!("and {more} more"), page);
    }
    push(&mut out, &legend(&used, axis.mark_min), page);
    out
}

fn row(day: &str, place: &str, marks: &str) -> String {
    let place = shorten(&clean(place), PLACE_COLUMNS - 1);
    let line = format!(
        "{}{}{marks}",
        pad_right(day, DAY_COLUMNS),
        pad_right(&place, PLACE_COLUMNS)
    );
    format!("{}\n", line.trim_end())
}

/// `Sat 28 to Sun 29: stood in holding`, instead of lines without a mark.
fn stood_line(quiet: Option<(Date, Date, String)>, calendar: &Calendar, page: usize) -> String {
    let Some((first, last, place)) = quiet else {
        return String::new();
    };
    let day = |date: Date| calendar.day_of_month(start_of(date, calendar.zone()));
    let days = if first == last {
        day(first)
    } else {
        format!("{} to {}", day(first), day(last))
    };
    let mut out = String::new();
    push(
        &mut out,
        &format!("{days} it stood in {}", clean(&place)),
        page,
    );
    out
}

/// True where nothing was done and it was here all the time that is drawn.
fn is_quiet(marks: &str) -> bool {
    marks.chars().all(|mark| matches!(mark, IDLE | CLOSED))
}

fn legend(used: &[char], mark_min: i64) -> String {
    let meanings = [
        (HANDS_ON, "hands-on"),
        (WAITING, "waiting (dwell, flash, lamp, cure)"),
        (IDLE, "idle"),
        (CLOSED, "idle while closed"),
    ];
    let said: Vec<String> = meanings
        .into_iter()
        .filter(|(mark, _)| used.contains(mark))
        .map(|(mark, meaning)| format!("{mark} {meaning}"))
        .collect();
    format!(
        "{}; a mark is {mark_min} min, and shows what took most of them.",
        said.join(", ")
    )
}

fn start_of(day: Date, zone: &TimeZone) -> i64 {
    day_range(day, zone).0.0
}

/// What is to be drawn.
struct Picture<'a> {
    zone: &'a TimeZone,
    stays: Vec<(&'a str, Span)>,
    /// In order and without overlaps, as are the next.
    hands_on: Vec<Span>,
    /// Hands-on time and waiting.
    busy: Vec<Span>,
    open: Vec<Span>,
    /// False: nobody knows when the shop is open.
    has_hours: bool,
    days: Vec<Date>,
}

impl<'a> Picture<'a> {
    fn of(story: &'a JobStory, hours: &[OpenHours], zone: &'a TimeZone) -> Self {
        let until = |until_us: i64| {
            if until_us == 0 {
                story.as_of_us
            } else {
                until_us
            }
        };
        let stay = |place: &'a StoryPlace| {
            let span = (place.from_us, until(place.until_us));
            (span.0 < span.1).then_some((place.place.as_str(), span))
        };
        let stays: Vec<(&str, Span)> = story.places.iter().filter_map(stay).collect();
        let of_kind = |hands_on: bool| {
            let spans = story
                .stretches
                .iter()
                .filter(|stretch| (stretch.kind == "hands-on") == hands_on)
                .map(|stretch| (stretch.from_us, until(stretch.until_us)));
            merged(spans.collect())
        };
        let (hands_on, waiting) = (of_kind(true), of_kind(false));
        let busy = merged(hands_on.iter().chain(&waiting).copied().collect());
        let days = days_of(&stays, zone);
        let open = match (days.first(), days.last()) {
            (Some(first), Some(last)) => {
                let from = day_range(*first, zone).0;
                let until = day_range(*last, zone).1;
                let open = open_intervals(hours, zone, from, until);
                open.into_iter().map(|(a, b)| (a.0, b.0)).collect()
            }
            _ => Vec::new(),
        };
        Self {
            zone,
            stays,
            hands_on,
            busy,
            open,
            has_hours: !hours.is_empty(),
            days,
        }
    }

    /// The time of day that all days are drawn over: whole hours around all
    /// that was done, the moves, and the open hours.
    fn axis(&self, page: usize) -> Option<Axis> {
        let mut minutes: Option<Range<i64>> = None;
        for day in self.days.iter().take(DAYS_DRAWN_MAX) {
            let (from, until) = day_range(*day, self.zone);
            let of_day = (from.0, until.0);
            let moves = self.stays.iter().map(|(_, stay)| *stay);
            // Where it stood over night, neither end is on this day.
            let moves = moves.flat_map(|stay| [(stay.0, stay.0), (stay.1, stay.1)]);
            let drawn = self.busy.iter().chain(&self.open);
            for span in drawn.copied().chain(moves) {
                if span.0 > of_day.1 || span.1 < of_day.0 {
                    continue;
                }
                let first = self.minute_of_day(*day, span.0.max(of_day.0));
                let last = self.minute_of_day(*day, span.1.min(of_day.1));
                let reach = minutes.get_or_insert(first..last);
                reach.start = reach.start.min(first);
                reach.end = reach.end.max(last);
            }
        }
        let minutes = minutes?;
        let first_min = minutes.start / 60 * 60;
        let last_min = ((minutes.end + 59) / 60 * 60).clamp(first_min + 60, DAY_MIN);
        let room = page.saturating_sub(DAY_COLUMNS + PLACE_COLUMNS);
        let marks = |mark_min: i64| usize::try_from((last_min - first_min) / mark_min);
        let mark_min = MARK_MINUTES
            .into_iter()
            .find(|mark_min| marks(*mark_min).is_ok_and(|marks| marks <= room))
            .or_else(|| MARK_MINUTES.last().copied())?;
        Some(Axis {
            first_min: first_min.min(DAY_MIN - 60),
            marks: marks(mark_min).ok()?.max(1),
            mark_min,
        })
    }

    /// Civil minutes after midnight of the day; 1440 at its end.
    fn minute_of_day(&self, day: Date, at_us: i64) -> i64 {
        let civil = Micros(at_us).civil(self.zone);
        if civil.date() > day {
            return DAY_MIN;
        }
        i64::from(civil.hour()) * 60 + i64::from(civil.minute())
    }

    /// The places of a day in order, each with its marks.
    fn rows(&self, day: Date, axis: &Axis) -> Vec<(String, String)> {
        let (from, until) = day_range(day, self.zone);
        let mut rows: Vec<(String, Vec<Span>)> = Vec::new();
        for (place, stay) in &self.stays {
            let span = (stay.0.max(from.0), stay.1.min(until.0));
            if span.0 >= span.1 {
                continue;
            }
            match rows.iter_mut().find(|(name, _)| name == place) {
                Some((_, spans)) => spans.push(span),
                None => rows.push(((*place).to_owned(), vec![span])),
            }
        }
        let cells = axis.cells(day, self.zone);
        rows.into_iter()
            .map(|(place, stays)| {
                let marks = cells.iter().map(|cell| self.mark(*cell, &stays));
                (place, marks.collect())
            })
            .collect()
    }

    /// What took most of a mark's minutes while the vehicle was there.
    fn mark(&self, cell: Span, stays: &[Span]) -> char {
        let (mut hands_on, mut waiting, mut closed, mut here) = (0_i64, 0_i64, 0_i64, 0_i64);
        for stay in stays {
            let part = (cell.0.max(stay.0), cell.1.min(stay.1));
            let length = part.1.saturating_sub(part.0);
            if length <= 0 {
                continue;
            }
            let worked_on = overlap(&self.hands_on, part);
            let busy = overlap(&self.busy, part);
            here += length;
            hands_on += worked_on;
            waiting += busy - worked_on;
            if self.has_hours {
                // Work after closing is work; only what is left is closed.
                let shut = length - overlap(&self.open, part);
                closed += shut.min(length - busy);
            }
        }
        if here <= 0 {
            return NOT_HERE;
        }
        let idle = here - hands_on - waiting - closed;
        let most = hands_on.max(waiting).max(idle).max(closed);
        match most {
            size if size == hands_on => HANDS_ON,
            size if size == waiting => WAITING,
            size if size == idle => IDLE,
            _ => CLOSED,
        }
    }
}

/// The columns that a day is drawn in.
struct Axis {
    first_min: i64,
    marks: usize,
    mark_min: i64,
}

impl Axis {
    /// The instants of each mark on that day: civil times, so that a day on
    /// which the clocks change is drawn like any other.
    fn cells(&self, day: Date, zone: &TimeZone) -> Vec<Span> {
        let (start, end) = day_range(day, zone);
        let midnight = day.to_datetime(jiff::civil::Time::midnight());
        let at = |mark: usize| {
            let marks = i64::try_from(mark).unwrap_or(i64::MAX);
            let minutes = self.first_min + marks.saturating_mul(self.mark_min);
            if minutes >= DAY_MIN {
                return end.0;
            }
            let span = jiff::SignedDuration::from_mins(minutes);
            midnight
                .checked_add(span)
                .ok()
                .and_then(|civil| zone.to_timestamp(civil).ok())
                .map_or(start.0, jiff::Timestamp::as_microsecond)
        };
        (0..self.marks)
            .map(|mark| (at(mark), at(mark + 1)))
            .collect()
    }

    /// The hours above the marks.
    fn line(&self) -> String {
        let marks_per_hour = usize::try_from(60 / self.mark_min).unwrap_or(1).max(1);
        let hours_apart = HOUR_COLUMNS.div_ceil(marks_per_hour);
        let mut line = " ".repeat(DAY_COLUMNS + PLACE_COLUMNS);
        let hours = self.marks.div_ceil(marks_per_hour);
        for index in (0..hours).step_by(hours_apart) {
            let hour = self.first_min / 60 + i64::try_from(index).unwrap_or(0);
            let cell = format!("{hour:02}");
            line.push_str(&pad_right(&cell, marks_per_hour * hours_apart));
        }
        let width = DAY_COLUMNS + PLACE_COLUMNS + self.marks;
        let line: String = line
            .chars()
            .take(width.max(DAY_COLUMNS + PLACE_COLUMNS + 2))
            .collect();
        format!("{}\n", line.trim_end())
    }
}

/// The days that any stay touches, in order; a few more than are drawn at most.
fn days_of(stays: &[(&str, Span)], zone: &TimeZone) -> Vec<Date> {
    /// Longest span of days that is counted, so that a wild instant cannot
    /// fill the memory.
    const DAYS_COUNTED_MAX: usize = 1_000;
    let first = stays.iter().map(|(_, stay)| stay.0).min();
    let last = stays.iter().map(|(_, stay)| stay.1).max();
    let (Some(first), Some(last)) = (first, last) else {
        return Vec::new();
    };
    let first = shop_day(Micros(first), zone);
    let last = shop_day(Micros(last.saturating_sub(1)), zone);
    let days = std::iter::successors(Some(first), |day| day.tomorrow().ok());
    days.take_while(|day| *day <= last)
        .take(DAYS_COUNTED_MAX)
        .collect()
}

/// The same time without overlaps, in order.
fn merged(mut spans: Vec<Span>) -> Vec<Span> {
    spans.retain(|span| span.0 < span.1);
    spans.sort_unstable();
    let mut merged: Vec<Span> = Vec::new();
    for span in spans {
        match merged.last_mut() {
            Some(last) if last.1 >= span.0 => last.1 = last.1.max(span.1),
            _ => merged.push(span),
        }
    }
    merged
}

/// Time of `within` that the spans cover.
fn overlap(spans: &[Span], within: Span) -> i64 {
    spans
        .iter()
        .map(|span| {
            span.1
                .min(within.1)
                .saturating_sub(span.0.max(within.0))
                .max(0)
        })
        .fold(0, i64::saturating_add)
}

#[cfg(test)]
mod tests {
    use baywright_proto::v1::StoryStretch;

    use super::super::fixture::{self, MIN};
    use super::*;

    fn weekdays() -> Vec<OpenHours> {
        (1..=5)
            .map(|weekday| OpenHours {
                weekday,
                from_min: 480,
                until_min: 1_050,
            })
            .collect()
    }

    fn drawn(story: &JobStory, hours: &[OpenHours]) -> String {
        timeline(story, hours, &Calendar::of(&story.zone), 80)
    }

    #[test]
    fn a_job_over_three_days_in_two_bays() {
        insta::assert_snapshot!(drawn(&fixture::story(), &weekdays()), @"
        Day by day
                         00  02  04  06  08  10  12  14  16  18  20  22
        Mon 23 bay-1                     ##.#####.##########
               holding                                      _____________
        Tue 24 holding   ________________.
               bay-2                     ###.........++++++++++++++++++++
        Wed 25 bay-2     ++++____________..................
        # hands-on, + waiting (dwell, flash, lamp, cure), . idle, _ idle while closed; a
        mark is 30 min, and shows what took most of them.
        ");
    }

    #[test]
    fn without_hours_nothing_is_called_closed() {
        let shown = drawn(&fixture::story(), &[]);
        assert!(!shown.contains("closed") && !shown.contains('_'), "{shown}");
    }

    #[test]
    fn days_on_which_it_only_stood_are_one_line() {
        let mut story = fixture::story();
        story.stretches.clear();
        story.places.truncate(1);
        story.places[0].hands_on_us = 0;
        story.places[0].waiting_us = 0;
        story.places[0].until_us = story.places[0].from_us + 12 * 1_440 * MIN;
        let shown = drawn(&story, &weekdays());
        assert!(shown.contains("it stood in bay-1"), "{shown}");
        assert!(shown.lines().count() < 8, "{shown}");
    }

    #[test]
    fn a_day_with_an_hour_twice_is_as_wide_as_any_other() {
        // 25 Oct 2026 in Berlin has 25 hours; the work is from 01:00 to 04:00.
        let midnight = 1_792_879_200_000_000;
        let mut story = fixture::story();
        story.places.truncate(1);
        story.places[0].from_us = midnight;
        story.places[0].until_us = midnight + 25 * 60 * MIN;
        story.stretches = vec![StoryStretch {
            kind: "hands-on".to_owned(),
            from_us: midnight + 60 * MIN,
            until_us: midnight + 5 * 60 * MIN,
            ..StoryStretch::default()
        }];
        let shown = drawn(&story, &[]);
        let line = shown.lines().find(|line| line.contains('#')).unwrap();
        assert_eq!(
            line.matches('#').count(),
            6,
            "01:00 to 04:00 in half hours: {shown}"
        );
    }

    #[test]
    fn work_whose_times_are_not_known_is_not_drawn_as_idle() {
        let mut story = fixture::story();
        story.stretches.clear();
        assert_eq!(drawn(&story, &weekdays()), "");
    }

    #[test]
    fn a_job_that_was_never_in_a_place_has_no_picture() {
        assert_eq!(drawn(&JobStory::default(), &weekdays()), "");
    }
}
