//! Open hours as stretches of time.

use baywright_terms::hours::OpenHours;
use baywright_terms::time::Micros;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan};

use crate::span::Span;

/// Open hours inside a span, in order of time. Hours that a clock change skips
/// are not there, and hours that it repeats are there twice: an opening lasts
/// from the instant of its first civil minute to that of its last.
pub(crate) fn open_within(open: &[OpenHours], zone: &TimeZone, span: Span) -> Vec<(i64, i64)> {
    let mut stretches = Vec::new();
    let (Some(mut day), Some(last)) = (date(span.from, zone), date(span.until, zone)) else {
        return stretches;
    };
    while day <= last {
        for hours in open.iter().filter(|h| is_on(**h, day)) {
            let opening =
                instant(day, hours.from_min, zone).zip(instant(day, hours.until_min, zone));
            let part = opening.and_then(|(from, until)| Span::new(from, until).cut_to(span));
            stretches.extend(part.map(|p| (p.from.0, p.until.0)));
        }
        match day.tomorrow() {
            Ok(next) => day = next,
            Err(_) => break,
        }
    }
    stretches.sort_unstable();
    stretches
}

fn is_on(hours: OpenHours, day: Date) -> bool {
    i8::try_from(hours.weekday) == Ok(day.weekday().to_monday_one_offset())
}

fn date(at: Micros, zone: &TimeZone) -> Option<Date> {
    let at = Timestamp::from_microsecond(at.0).ok()?;
    Some(zone.to_datetime(at).date())
}

/// The instant of a civil time; one that a clock change skips is as far after
/// the change as it was meant to be after the time before it.
fn instant(day: Date, minutes: u16, zone: &TimeZone) -> Option<Micros> {
    let civil = day
        .at(0, 0, 0, 0)
        .checked_add(i64::from(minutes).minutes())
        .ok()?;
    let at = zone.to_timestamp(civil).ok()?;
    Some(Micros(at.as_microsecond()))
}
