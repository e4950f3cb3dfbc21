//! The time of bays: tables, then a model that looks at every quarter of an hour.

use std::collections::BTreeMap;

use baywright_floor::row::Ended;
use baywright_report::figures::WeekBay;
use baywright_terms::catalogue::Catalogue;
use baywright_terms::time::Micros;
use proptest::prelude::*;

use crate::made::{Made, at, bay, code, hours, minutes, opening, shop, week_of, zone};

fn shop_of(bays: &[(&str, u32)]) -> Catalogue {
    let mut catalogue = shop();
    for (bay_code, places) in bays {
        catalogue.bays.insert(code(bay_code), bay(*places));
    }
    catalogue
}

fn only(bays: &[WeekBay]) -> &WeekBay {
    assert_eq!(bays.len(), 1, "{bays:?}");
    &bays[0]
}

fn assert_adds_up(bay: &WeekBay) {
    assert_eq!(
        bay.hands_on_us + bay.waiting_us + bay.idle_us + bay.empty_us,
        bay.open_us + bay.occupied_outside_open_us,
        "{bay:?}"
    );
    assert_eq!(
        bay.hands_on_us + bay.waiting_us + bay.idle_us,
        bay.occupied_us,
        "{bay:?}"
    );
}

#[test]
fn a_day_in_a_bay_is_hands_on_waiting_idle_and_empty() {
    let mut made = Made::new(shop_of(&[("bay-1", 1)]));
    made.open(1, "trike-coat", "2026-11-23T08:00");
    // 9:00 to 19:00, two hours of it after closing; two people for an hour, a dwell that overlaps them.
    made.stay(
        1,
        "bay-1",
        at("2026-11-23T09:00"),
        Some(at("2026-11-23T19:00")),
    );
    made.work(1, "decon", at("2026-11-23T10:00"), hours(1));
    made.work_as(
        1,
        "decon",
        "ben",
        "bay-1",
        at("2026-11-23T10:00"),
        hours(1),
        Ended::Done,
        false,
    );
    made.wait(1, at("2026-11-23T10:30"), Some(at("2026-11-23T11:30")));
    made.release(1, "2026-11-23T19:00");
    let week = made.week("2026-11-23");
    let bay = only(&week.bays);
    assert_adds_up(bay);
    assert_eq!(bay.places, 1);
    assert_eq!(bay.jobs_released, 1);
    assert_eq!(bay.open_us, hours(5 * 9 + 4));
    assert_eq!(bay.hands_on_us, hours(1));
    assert_eq!(bay.waiting_us, minutes(30));
    assert_eq!(bay.idle_us, hours(8) + minutes(30));
    assert_eq!(bay.occupied_us, hours(10));
    assert_eq!(bay.occupied_outside_open_us, hours(2));
    assert_eq!(bay.empty_us, hours(49 - 8));
    assert_eq!(bay.labour_us, hours(2));
    // 8 of 49 hours.
    assert_eq!(bay.utilisation_permille, Some(163));
}

#[test]
fn open_hours_follow_the_clock_changes_of_the_zone() {
    // On Sunday the shop is open from one to five: four hours by the clock on the
    // wall, three where 2:00 becomes 3:00 and five where 3:00 becomes 2:00 (EU rules).
    for (monday, sunday_hours) in [("2026-03-16", 4), ("2026-03-23", 3), ("2026-10-19", 5)] {
        let made = Made::new(shop_of(&[("bay-1", 1)]));
        let week = made.week(monday);
        assert_eq!(
            only(&week.bays).open_us,
            hours(45 + sunday_hours),
            "{monday}"
        );
    }
}

#[test]
fn a_bay_of_two_places_has_twice_its_open_hours() {
    let mut made = Made::new(shop_of(&[("bay-1", 2)]));
    made.stay(
        1,
        "bay-1",
        at("2026-11-23T08:00"),
        Some(at("2026-11-23T17:00")),
    );
    let week = made.week("2026-11-23");
    let bay = only(&week.bays);
    assert_adds_up(bay);
    assert_eq!(bay.open_us, hours(98));
    assert_eq!(bay.empty_us, hours(98 - 9));
}

#[test]
fn jobs_beyond_the_places_lose_no_time_and_leave_nothing_empty() {
    let mut made = Made::new(shop_of(&[("bay-1", 1)]));
    for n in [1, 2, 3] {
        made.stay(
            n,
            "bay-1",
            at("2026-11-23T08:00"),
            Some(at("2026-11-23T17:00")),
        );
    }
    let week = made.week("2026-11-23");
    let bay = only(&week.bays);
    assert_adds_up(bay);
    assert_eq!(bay.occupied_us, hours(27));
    assert_eq!(bay.occupied_outside_open_us, hours(18));
    assert_eq!(bay.empty_us, hours(40));
}

#[test]
fn the_week_that_runs_is_cut_at_as_of() {
    let mut made = Made::new(shop_of(&[("bay-1", 1)]));
    made.as_of = at("2026-11-24T12:00");
    made.stay(1, "bay-1", at("2026-11-24T08:00"), None);
    made.wait(1, at("2026-11-24T11:00"), None);
    let week = made.week("2026-11-23");
    let bay = only(&week.bays);
    assert_adds_up(bay);
    assert_eq!(week.counted_until, made.as_of);
    assert_eq!(bay.open_us, hours(13));
    assert_eq!(bay.occupied_us, hours(4));
    assert_eq!(bay.waiting_us, hours(1));
    assert_eq!(bay.empty_us, hours(9));
}

#[test]
fn a_week_that_has_not_begun_is_open_for_nothing() {
    let mut made = Made::new(shop_of(&[("bay-1", 1)]));
    made.as_of = at("2026-11-20T12:00");
    let week = made.week("2026-11-23");
    assert_eq!(only(&week.bays).open_us, 0);
    assert_eq!(week.counted_until, week.from);
    assert_eq!(week.remark, "2026-11-23 has not begun.");
}

#[test]
fn a_bay_that_only_facts_know_is_listed_without_places() {
    let mut made = Made::new(shop_of(&[("bay-1", 1)]));
    made.stay(
        1,
        "bay-9",
        at("2026-11-23T08:00"),
        Some(at("2026-11-23T10:00")),
    );
    made.stay(
        1,
        "holding",
        at("2026-11-23T10:00"),
        Some(at("2026-11-23T12:00")),
    );
    made.stay(
        1,
        "away",
        at("2026-11-23T12:00"),
        Some(at("2026-11-23T13:00")),
    );
    let week = made.week("2026-11-23");
    let bays: Vec<&str> = week.bays.iter().map(|b| b.bay.as_str()).collect();
    assert_eq!(bays, ["bay-1", "bay-9"]);
    let unknown = &week.bays[1];
    assert_adds_up(unknown);
    assert_eq!((unknown.places, unknown.open_us), (0, 0));
    assert_eq!(unknown.occupied_outside_open_us, hours(2));
    assert_eq!(unknown.utilisation_permille, None);
}

#[test]
fn a_retired_bay_is_listed_only_where_it_was_used() {
    let mut catalogue = shop_of(&[("bay-1", 1), ("bay-2", 1), ("bay-3", 1)]);
    for old in ["bay-2", "bay-3"] {
        catalogue.bays.get_mut(&code(old)).unwrap().retired = true;
    }
    let mut made = Made::new(catalogue);
    made.stay(
        1,
        "bay-3",
        at("2026-11-23T08:00"),
        Some(at("2026-11-23T10:00")),
    );
    let week = made.week("2026-11-23");
    let bays: Vec<&str> = week.bays.iter().map(|b| b.bay.as_str()).collect();
    assert_eq!(bays, ["bay-1", "bay-3"]);
}

#[test]
fn places_count_from_when_the_catalogue_has_them() {
    let mut made = Made::new(shop_of(&[("bay-1", 1)]));
    // From Wednesday midnight on: two places for three weekdays and Sunday.
    made.set(at("2026-11-25T00:00"), {
        let mut changed = Catalogue::default();
        changed.bays.insert(code("bay-1"), bay(2));
        changed
    });
    let week = made.week("2026-11-23");
    let bay = only(&week.bays);
    assert_eq!(bay.places, 2);
    assert_eq!(bay.open_us, hours(18 + 2 * 27 + 2 * 4));
}

#[test]
fn a_job_over_weeks_counts_bay_time_where_it_happened() {
    let mut made = Made::new(shop_of(&[("bay-1", 1)]));
    made.open(1, "trike-coat", "2026-11-19T08:00");
    made.stay(
        1,
        "bay-1",
        at("2026-11-20T08:00"),
        Some(at("2026-11-24T08:00")),
    );
    made.work(1, "polish", at("2026-11-20T08:00"), hours(3));
    made.work(1, "coat", at("2026-11-23T08:00"), hours(2));
    made.release(1, "2026-11-24T08:00");
    let (first, second) = (made.week("2026-11-16"), made.week("2026-11-23"));
    assert_eq!(only(&first.bays).labour_us, hours(3));
    assert_eq!(only(&second.bays).labour_us, hours(2));
    assert_eq!(only(&first.bays).occupied_us, hours(16 + 48));
    assert_eq!(only(&second.bays).occupied_us, hours(24 + 8));
    assert!(first.jobs.is_empty());
    assert_eq!(second.jobs[0].actual_us, hours(5));
    assert_eq!(second.jobs[0].cycle_us, Some(hours(5 * 24)));
}

#[test]
fn instants_at_the_ends_of_time_break_nothing() {
    let mut made = Made::new(shop_of(&[("bay-1", 1)]));
    made.open(1, "trike-coat", "2026-11-23T08:00");
    made.stay(1, "bay-1", Micros(i64::MIN), Some(Micros(i64::MAX)));
    made.stay(2, "bay-1", Micros(i64::MAX), Some(Micros(i64::MIN)));
    made.wait(1, Micros(i64::MIN), Some(Micros(i64::MAX)));
    let week = made.week("2026-11-23");
    assert_adds_up(only(&week.bays));
    assert_eq!(only(&week.bays).waiting_us, hours(168));
    let story = baywright_report::story(&made.input(), crate::made::job(1)).unwrap();
    assert_eq!(story.places[0].waiting_us, i64::MAX);
}

// The model: a week seen every quarter of an hour. All instants lie on quarters.

const SLOT_MIN: i64 = 15;
const PLACES: [&str; 4] = ["bay-1", "bay-2", "bay-9", "holding"];
/// Usual, spring and autumn weeks, as Mondays.
const MONDAYS: [&str; 3] = ["2026-11-23", "2026-03-23", "2026-10-19"];

/// Slot numbers from the beginning of the week; before and after it too.
#[derive(Debug, Clone)]
struct Story {
    stays: Vec<(usize, i64, i64)>,
    hands_on: Vec<(i64, i64)>,
    waiting: Vec<(i64, Option<i64>)>,
}

fn stories() -> impl Strategy<Value = Vec<Story>> {
    let slot = || -100_i64..800;
    let stay = (0..PLACES.len(), 0_i64..60, 0_i64..200);
    let story = (
        slot(),
        prop::collection::vec(stay, 0..5),
        prop::collection::vec((slot(), 0_i64..40), 0..6),
        prop::collection::vec((slot(), prop::option::of(0_i64..60)), 0..4),
    );
    let story = story.prop_map(|(begin, stays, hands_on, waiting)| {
        let mut at = begin;
        let stays = stays.into_iter().map(|(place, gap, length)| {
            let from = at + gap;
            at = from + length;
            (place, from, at)
        });
        Story {
            stays: stays.collect(),
            hands_on: hands_on.into_iter().map(|(a, n)| (a, a + n)).collect(),
            waiting: waiting
                .into_iter()
                .map(|(a, n)| (a, n.map(|n| a + n)))
                .collect(),
        }
    });
    prop::collection::vec(story, 0..8)
}

fn is_open(at: Micros) -> bool {
    let civil = zone().to_datetime(jiff::Timestamp::from_microsecond(at.0).unwrap());
    let minute = u16::try_from(civil.hour()).unwrap() * 60 + u16::try_from(civil.minute()).unwrap();
    let weekday = u8::try_from(civil.date().weekday().to_monday_one_offset()).unwrap();
    opening()
        .iter()
        .any(|h| h.weekday == weekday && h.from_min <= minute && minute < h.until_min)
}

/// Slots of one bay: open, hands-on, waiting, idle, empty, outside open.
type Counts = [i64; 6];

fn model(
    stories: &[Story],
    until: i64,
    as_of: i64,
    week_from: Micros,
    places: impl Fn(usize, i64) -> i64,
) -> BTreeMap<usize, Counts> {
    let mut counts: BTreeMap<usize, Counts> = BTreeMap::new();
    for slot in 0..until.min(as_of).max(0) {
        let open = is_open(Micros(week_from.0 + minutes(SLOT_MIN) * slot));
        for place in 0..3 {
            let count = counts.entry(place).or_default();
            let mut jobs = 0;
            for story in stories {
                let on = |from: i64, until: i64| from <= slot && slot < until;
                if !story
                    .stays
                    .iter()
                    .any(|(p, a, b)| *p == place && on(*a, *b))
                {
                    continue;
                }
                jobs += 1;
                let clock = if story.hands_on.iter().any(|(a, b)| on(*a, *b)) {
                    1
                } else if story
                    .waiting
                    .iter()
                    .any(|(a, b)| on(*a, b.unwrap_or(as_of)))
                {
                    2
                } else {
                    3
                };
                count[clock] += 1;
            }
            let places = if open { places(place, slot) } else { 0 };
            count[0] += places;
            count[4] += (places - jobs).max(0);
            count[5] += (jobs - places).max(0);
        }
    }
    counts
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn bay_time_is_what_a_look_at_every_quarter_of_an_hour_gives(
        stories in stories(),
        monday in 0..MONDAYS.len(),
        as_of in -20_i64..900,
        first_places in 1_u32..4,
        grown_at in 0_i64..700,
        grown_places in 0_u32..4,
    ) {
        let (from, until) = week_of(MONDAYS[monday]);
        let instant = |slot: i64| Micros(from.0 + slot * minutes(SLOT_MIN));
        let mut made = Made::new(shop_of(&[("bay-1", first_places), ("bay-2", 1)]));
        // Grown to no places at all stands for retired.
        made.set(instant(grown_at), {
            let mut changed = Catalogue::default();
            let mut grown = bay(grown_places.max(1));
            grown.retired = grown_places == 0;
            changed.bays.insert(code("bay-1"), grown);
            changed
        });
        made.as_of = instant(as_of);
        for (n, story) in (1_u8..).zip(&stories) {
            for (place, a, b) in &story.stays {
                // What still runs at `as_of` has no end yet.
                let end = (*b <= as_of).then(|| instant(*b));
                if *a <= as_of {
                    made.stay(n, PLACES[*place], instant(*a), end);
                }
            }
            for (a, b) in &story.hands_on {
                made.work(n, "polish", instant(*a), instant(*b).0 - instant(*a).0);
            }
            for (a, b) in &story.waiting {
                made.wait(n, instant(*a), b.map(instant));
            }
        }
        let week_slots = (until.0 - from.0) / minutes(SLOT_MIN);
        let places = |place: usize, slot: i64| match place {
            0 if slot < grown_at => i64::from(first_places),
            0 => i64::from(grown_places),
            1 => 1,
            _ => 0,
        };
        let model = model(&stories, week_slots, as_of, from, places);
        let week = made.week(MONDAYS[monday]);
        for bay in &week.bays {
            prop_assert_eq!(
                bay.hands_on_us + bay.waiting_us + bay.idle_us + bay.empty_us,
                bay.open_us + bay.occupied_outside_open_us
            );
        }
        for (place, counts) in model {
            let Some(bay) = week.bays.iter().find(|b| b.bay.as_str() == PLACES[place]) else {
                prop_assert!(counts.iter().all(|c| *c == 0), "no row for {}", PLACES[place]);
                continue;
            };
            let got = [
                bay.open_us,
                bay.hands_on_us,
                bay.waiting_us,
                bay.idle_us,
                bay.empty_us,
                bay.occupied_outside_open_us,
            ];
            prop_assert_eq!(got.map(|us| us / minutes(SLOT_MIN)), counts, "{}", PLACES[place]);
            prop_assert!(got.iter().all(|us| us % minutes(SLOT_MIN) == 0));
        }
    }

    /// Little's law over a span in which every stay begins and ends: jobs in the
    /// bay on average × span = sum of their times in it (J. D. C. Little, A proof
    /// for the queuing formula L = λW, Operations Research 9 (3), 1961).
    #[test]
    fn average_jobs_in_a_bay_times_the_span_is_the_sum_of_their_stays(
        stays in prop::collection::vec((0_i64..600_000_000_000, 0_i64..4_000_000_000), 1..30),
    ) {
        let (from, until) = week_of("2026-11-23");
        let mut made = Made::new(shop_of(&[("bay-1", 1)]));
        let mut steps: Vec<(i64, i128)> = Vec::new();
        let mut total_stay = 0_i64;
        for (n, (begin, length)) in (1_u8..).zip(&stays) {
            let (a, b) = (from.0 + begin, from.0 + begin + length);
            made.stay(n, "bay-1", Micros(a), Some(Micros(b)));
            steps.extend([(a, 1), (b, -1)]);
            total_stay += length;
        }
        steps.sort_unstable();
        let (mut jobs, mut area, mut last) = (0_i128, 0_i128, from.0);
        for (at, by) in steps {
            area += jobs * i128::from(at - last);
            jobs += by;
            last = at;
        }
        prop_assert!(last <= until.0);
        let week = made.week("2026-11-23");
        let bay = only(&week.bays);
        prop_assert_eq!(i128::from(bay.occupied_us), area);
        prop_assert_eq!(bay.occupied_us, total_stay);
    }
}
