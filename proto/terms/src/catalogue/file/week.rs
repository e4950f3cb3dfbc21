//! Hours of the week as people write them: `mon-fri 08:00-17:30`.

use crate::hours::OpenHours;

/// ISO order: Monday is 1.
const DAYS: [&str; 7] = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"];

const DAY_MIN: u16 = 24 * 60;

/// Reads one line of hours; a range of days may run over Sunday (`sat-mon`).
///
/// # Errors
/// What is wrong, as a clause.
pub(crate) fn parse(text: &str) -> Result<Vec<OpenHours>, String> {
    let text = text.trim().to_lowercase();
    let (days, times) = text
        .split_once(char::is_whitespace)
        .ok_or("it needs days, a space, then times")?;
    let (from, until) = times
        .trim()
        .split_once(['-', '–'])
        .ok_or("the times are two, with a hyphen between them")?;
    let (from_min, until_min) = (clock(from)?, clock(until)?);
    if from_min >= until_min {
        return Err("it ends before it begins; split hours that pass midnight at 24:00".to_owned());
    }
    let mut hours = Vec::new();
    for part in days.split(',') {
        let (first, last) = part.split_once(['-', '–']).unwrap_or((part, part));
        let (first, last) = (weekday(first)?, weekday(last)?);
        let mut day = first;
        loop {
            hours.push(OpenHours {
                weekday: day,
                from_min,
                until_min,
            });
            if day == last {
                break;
            }
            day = day % 7 + 1;
        }
    }
    Ok(hours)
}

fn weekday(text: &str) -> Result<u8, String> {
    DAYS.iter()
        .zip(1_u8..)
        .find(|(day, _)| **day == text.trim())
        .map(|(_, number)| number)
        .ok_or_else(|| format!("`{}` is no day; days are {}", text.trim(), DAYS.join(", ")))
}

fn clock(text: &str) -> Result<u16, String> {
    let wrong = || {
        format!(
            "`{}` is no time of day between 00:00 and 24:00",
            text.trim()
        )
    };
    let (hour, minute) = text.trim().split_once(':').ok_or_else(wrong)?;
    let digits = |t: &str| t.len() == 2 && t.bytes().all(|b| b.is_ascii_digit());
    if !(digits(hour) && digits(minute)) {
        return Err(wrong());
    }
    let hour: u16 = hour.parse().map_err(|_| wrong())?;
    let minute: u16 = minute.parse().map_err(|_| wrong())?;
    let all = hour * 60 + minute;
    if minute < 60 && all <= DAY_MIN {
        Ok(all)
    } else {
        Err(wrong())
    }
}

/// Two hours of the week that overlap, if any; `hours` in order.
pub(crate) fn overlap(hours: &[OpenHours]) -> Option<(OpenHours, OpenHours)> {
    hours
        .windows(2)
        .find(|pair| pair[0].weekday == pair[1].weekday && pair[1].from_min < pair[0].until_min)
        .map(|pair| (pair[0], pair[1]))
}

/// Puts hours into the order of the week.
pub(crate) fn sort(hours: &mut [OpenHours]) {
    hours.sort_by_key(|h| (h.weekday, h.from_min, h.until_min));
}

/// Writes hours as lines, days with the same times together.
pub(crate) fn write(hours: &[OpenHours]) -> Vec<String> {
    let mut left: Vec<OpenHours> = hours.to_vec();
    sort(&mut left);
    let mut lines = Vec::new();
    while let Some(first) = left.first().copied() {
        let same = |h: &OpenHours| h.from_min == first.from_min && h.until_min == first.until_min;
        let mut last = first.weekday;
        while left.iter().any(|h| same(h) && h.weekday == last + 1) {
            last += 1;
        }
        let taken = first.weekday..=last;
        left.retain(|h| !(same(h) && taken.contains(&h.weekday)));
        let days = if last == first.weekday {
            day_name(first.weekday).to_owned()
        } else {
            format!("{}-{}", day_name(first.weekday), day_name(last))
        };
        lines.push(format!(
            "{days} {}-{}",
            clock_text(first.from_min),
            clock_text(first.until_min)
        ));
    }
    lines
}

/// The short name of an ISO weekday.
pub(crate) fn day_name(weekday: u8) -> &'static str {
    DAYS.get(usize::from(weekday.saturating_sub(1)))
        .copied()
        .unwrap_or("mon")
}

/// `08:00`.
pub(crate) fn clock_text(minutes: u16) -> String {
    format!("{:02}:{:02}", minutes / 60, minutes % 60)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hours_are_read_as_people_write_them() {
        let read = parse("mon-wed 08:00-17:30").unwrap();
        assert_eq!(read.len(), 3);
        assert_eq!(
            (read[2].weekday, read[2].from_min, read[2].until_min),
            (3, 480, 1050)
        );
        assert_eq!(parse("Sat,sun 09:00 – 24:00").unwrap()[1].until_min, 1440);
        let over_sunday: Vec<u8> = parse("sat-mon 09:00-10:00")
            .unwrap()
            .iter()
            .map(|h| h.weekday)
            .collect();
        assert_eq!(over_sunday, [6, 7, 1]);
    }

    #[test]
    fn odd_hours_say_what_is_wrong() {
        for (text, part) in [
            ("mon-fri", "a space"),
            ("mon 8:00-17:00", "no time of day"),
            ("mon 08:00-24:01", "no time of day"),
            ("mon 08:60-09:00", "no time of day"),
            ("mon 17:00-08:00", "ends before"),
            ("mo 08:00-17:00", "no day"),
            ("mon 08:00", "hyphen"),
        ] {
            let why = parse(text).unwrap_err();
            assert!(why.contains(part), "{text}: {why}");
        }
    }

    #[test]
    fn the_same_times_are_written_together() {
        let mut hours = parse("mon-fri 08:00-12:00").unwrap();
        hours.extend(parse("mon-fri 13:00-17:00").unwrap());
        hours.extend(parse("sun 08:00-12:00").unwrap());
        assert_eq!(
            write(&hours),
            [
                "mon-fri 08:00-12:00",
                "mon-fri 13:00-17:00",
                "sun 08:00-12:00"
            ]
        );
    }
}
