//! Shop days: when a stretch that nothing ended must have ended, and which
//! breaks lie inside a stretch. Civil times of the shop's zone, all of them.

use baywright_terms::catalogue::Shop;
use baywright_terms::time::{HOUR_US, MINUTE_US, Micros};
use jiff::civil::{Date, DateTime};
use jiff::tz::TimeZone;
use jiff::{Span, Timestamp};

const DAY_MIN: i64 = 24 * 60;
const WEEK_MIN: i64 = 7 * DAY_MIN;
/// Days over which breaks are looked for: no stretch outlasts a week without
/// an opening, except one whose end the owner gave.
const BREAK_DAYS_MAX: i64 = 15;

/// The shop day of an instant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ShopDay {
    /// End of its last open hours; may lie before the instant.
    pub closing: Micros,
    /// First opening of a later shop day.
    pub next_opening: Micros,
}

/// Open hours and breaks of a week, prepared for looking up.
///
/// Hours that touch are one opening, also across midnight, and belong to the
/// day on which they begin. Without hours, or when the shop never closes,
/// nobody knows when the shop opens again: whatever ends within 24 hours of its
/// beginning is believed, and what does not is cut at midnight.
#[derive(Debug, Clone, Default)]
pub(crate) struct Week {
    /// Minutes from Monday of the week in question, over the week before it to two weeks after.
    open: Vec<(i64, i64)>,
    /// Weekday from 0 for Monday, and minutes of that day.
    breaks: Vec<(i64, i64, i64)>,
    shortest_break_min: i64,
}

impl Week {
    pub(crate) fn new(shop: Option<&Shop>) -> Self {
        let Some(shop) = shop else {
            return Self::default();
        };
        let open: Vec<(i64, i64)> = (-1..=2)
            .flat_map(|week| {
                shop.open.iter().map(move |h| {
                    let day = week * WEEK_MIN + (i64::from(h.weekday) - 1) * DAY_MIN;
                    (day + i64::from(h.from_min), day + i64::from(h.until_min))
                })
            })
            .collect();
        let breaks: Vec<(i64, i64, i64)> = shop
            .breaks
            .iter()
            .map(|b| {
                (
                    i64::from(b.weekday) - 1,
                    i64::from(b.from_min),
                    i64::from(b.until_min),
                )
            })
            .filter(|(_, from, until)| from < until)
            .collect();
        Self {
            open: crate::timeline::merged(&open),
            shortest_break_min: breaks.iter().map(|(_, a, b)| b - a).min().unwrap_or(0),
            breaks,
        }
    }

    pub(crate) fn shop_day(&self, zone: &TimeZone, at: Micros) -> ShopDay {
        self.in_calendar(zone, at).unwrap_or_else(|| {
            // Beyond the calendar's years: a day is 24 hours.
            let end = Micros(at.0.saturating_add(24 * HOUR_US));
            ShopDay {
                closing: end,
                next_opening: end,
            }
        })
    }

    fn in_calendar(&self, zone: &TimeZone, at: Micros) -> Option<ShopDay> {
        let civil = civil(zone, at)?;
        let weekday = i64::from(civil.weekday().to_monday_zero_offset());
        let monday = civil
            .date()
            .checked_sub(Span::new().try_days(weekday).ok()?)
            .ok()?;
        let minute = weekday * DAY_MIN + i64::from(civil.hour()) * 60 + i64::from(civil.minute());
        let day = self
            .open
            .iter()
            .find(|(from, until)| *from <= minute && minute < *until)
            .map_or(minute, |(from, _)| *from)
            .div_euclid(DAY_MIN);
        let next = self
            .open
            .iter()
            .position(|(from, _)| from.div_euclid(DAY_MIN) > day);
        let found = next.and_then(|next| {
            let (_, closing) = self.open.get(next.checked_sub(1)?)?;
            let (opening, _) = self.open.get(next)?;
            Some((*closing, *opening))
        });
        if let Some((closing, opening)) = found {
            return Some(ShopDay {
                closing: instant(zone, monday, closing)?,
                next_opening: instant(zone, monday, opening)?,
            });
        }
        Some(ShopDay {
            closing: instant(zone, monday, (weekday + 1) * DAY_MIN)?,
            next_opening: Micros(at.0.saturating_add(24 * HOUR_US)),
        })
    }

    /// Breaks that lie wholly inside a stretch.
    pub(crate) fn breaks_within(
        &self,
        zone: &TimeZone,
        from: Micros,
        until: Micros,
    ) -> Vec<(Micros, Micros)> {
        if self.breaks.is_empty()
            || until.0.saturating_sub(from.0) < self.shortest_break_min * MINUTE_US
        {
            return Vec::new();
        }
        self.search_breaks(zone, from, until).unwrap_or_default()
    }

    fn search_breaks(
        &self,
        zone: &TimeZone,
        from: Micros,
        until: Micros,
    ) -> Option<Vec<(Micros, Micros)>> {
        let mut date = civil(zone, from)?.date();
        let last = civil(zone, until)?.date();
        let mut found = Vec::new();
        for _ in 0..BREAK_DAYS_MAX {
            let weekday = i64::from(date.weekday().to_monday_zero_offset());
            for (_, begins, ends) in self.breaks.iter().filter(|(day, ..)| *day == weekday) {
                let begins = instant(zone, date, *begins)?;
                let ends = instant(zone, date, *ends)?;
                if from <= begins && ends <= until && begins < ends {
                    found.push((begins, ends));
                }
            }
            date = date.tomorrow().ok()?;
            if date > last {
                break;
            }
        }
        Some(found)
    }
}

fn civil(zone: &TimeZone, at: Micros) -> Option<DateTime> {
    Some(zone.to_datetime(Timestamp::from_microsecond(at.0).ok()?))
}

/// The instant of a civil time given in minutes after a date's midnight; in a
/// gap of a clock change the later, in a repeated hour the earlier.
fn instant(zone: &TimeZone, date: Date, minutes: i64) -> Option<Micros> {
    let civil = date
        .to_datetime(jiff::civil::Time::midnight())
        .checked_add(Span::new().try_minutes(minutes).ok()?)
        .ok()?;
    let found = zone.to_ambiguous_timestamp(civil).compatible().ok()?;
    Some(Micros(found.as_microsecond()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use baywright_terms::catalogue::{Shop, ShopCosts, UnitSystem};
    use baywright_terms::hours::OpenHours;

    fn shop(open: &[(u8, u16, u16)], breaks: &[(u8, u16, u16)]) -> Shop {
        let hours = |list: &[(u8, u16, u16)]| {
            list.iter()
                .map(|(weekday, from_min, until_min)| OpenHours {
                    weekday: *weekday,
                    from_min: *from_min,
                    until_min: *until_min,
                })
                .collect()
        };
        Shop {
            name: String::new(),
            zone: "America/New_York".into(),
            currency: "USD".into(),
            units: UnitSystem::Metric,
            open: hours(open),
            breaks: hours(breaks),
            soil_grades: vec![],
            defects_grades: vec![],
            intricacy_grades: vec![],
            costs: ShopCosts::default(),
        }
    }

    fn zone() -> TimeZone {
        TimeZone::get("America/New_York").unwrap()
    }

    fn at(text: &str) -> Micros {
        let civil: DateTime = text.parse().unwrap();
        let found = zone().to_ambiguous_timestamp(civil).compatible().unwrap();
        Micros(found.as_microsecond())
    }

    fn day(open: &[(u8, u16, u16)], text: &str) -> (Micros, Micros) {
        let day = Week::new(Some(&shop(open, &[]))).shop_day(&zone(), at(text));
        (day.closing, day.next_opening)
    }

    const SPLIT: [(u8, u16, u16); 4] =
        [(1, 480, 720), (1, 780, 1080), (2, 480, 1080), (5, 480, 960)];

    #[test]
    fn an_opening_after_the_midday_break_is_not_the_next_opening() {
        // 2026-11-23 is a Monday.
        let expected = (at("2026-11-23T18:00"), at("2026-11-24T08:00"));
        for text in [
            "2026-11-23T07:30",
            "2026-11-23T09:00",
            "2026-11-23T12:30",
            "2026-11-23T20:00",
        ] {
            assert_eq!(day(&SPLIT, text), expected, "{text}");
        }
    }

    #[test]
    fn a_closed_day_belongs_to_the_closing_before_it() {
        assert_eq!(
            day(&SPLIT, "2026-11-28T10:00"),
            (at("2026-11-27T16:00"), at("2026-11-30T08:00"))
        );
    }

    #[test]
    fn hours_that_touch_at_midnight_are_one_opening() {
        let night = [(5, 1320, 1440), (6, 0, 360), (6, 1320, 1440)];
        for text in ["2026-11-27T23:00", "2026-11-28T01:00"] {
            assert_eq!(
                day(&night, text),
                (at("2026-11-28T06:00"), at("2026-11-28T22:00")),
                "{text}"
            );
        }
    }

    #[test]
    fn without_hours_or_when_never_closed_a_day_is_believed_and_the_cut_is_at_midnight() {
        let midnight = at("2026-11-24T00:00");
        let a_day_later = at("2026-11-24T09:00");
        let always: Vec<(u8, u16, u16)> = (1..=7).map(|d| (d, 0, 1440)).collect();
        for open in [&[][..], &always] {
            assert_eq!(day(open, "2026-11-23T09:00"), (midnight, a_day_later));
        }
    }

    #[test]
    fn only_a_break_wholly_inside_a_stretch_is_crossed() {
        let week = Week::new(Some(&shop(&SPLIT, &[(1, 720, 780)])));
        let within =
            |from: &str, until: &str| week.breaks_within(&zone(), at(from), at(until)).len();
        assert_eq!(within("2026-11-23T11:00", "2026-11-23T13:00"), 1);
        assert_eq!(within("2026-11-23T11:00", "2026-11-23T12:59"), 0);
        assert_eq!(within("2026-11-23T12:01", "2026-11-23T14:00"), 0);
        assert_eq!(within("2026-11-20T11:00", "2026-11-24T13:00"), 1);
    }

    #[test]
    fn instants_beyond_the_calendar_do_not_panic() {
        let week = Week::new(Some(&shop(&SPLIT, &[(1, 720, 780)])));
        for at in [i64::MIN, i64::MAX] {
            week.shop_day(&zone(), Micros(at));
            week.breaks_within(&zone(), Micros(i64::MIN), Micros(at));
        }
    }
}
