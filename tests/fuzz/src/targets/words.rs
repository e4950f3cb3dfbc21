//! Times, spans, weeks, zones, temperatures, humidity, codes and addresses as
//! people type them.

use baywright_client::connect::Server;
use baywright_terms::air::AirAssessment;
use baywright_terms::code::{Code, NEAREST_MAX, is_well_formed, nearest, resolve};
use baywright_terms::surface;
use baywright_terms::temperature::{MilliCelsius, MilliPercent, Reading};
use baywright_terms::time::{
    FUTURE_SLACK_US, Micros, SPAN_MAX_US, Week, day_range, format_days, format_h_mm,
    format_min_sec, format_span, parse_at, parse_span, shop_day, zone,
};
use baywright_terms::window::levelling_window;

use crate::Target;
use crate::food::{Food, NOW};

/// Zones with odd offsets, repeated and skipped hours, and skipped days.
pub const ZONES: [&str; 8] = [
    "UTC",
    "Europe/Berlin",
    "America/New_York",
    "Australia/Lord_Howe",
    "Pacific/Apia",
    "Asia/Kathmandu",
    "Africa/Monrovia",
    "America/Sao_Paulo",
];

pub const TIMES: Target = Target {
    name: "times",
    run: times,
    words: &[
        "14:05",
        "14:05:30",
        "today",
        "yesterday",
        "monday",
        "fri",
        "2026-11-24",
        "2026-W48",
        "W",
        "10m",
        "1h30",
        "1h30m",
        "90s",
        "2 h",
        "45 min",
        "1.5h",
        "7d",
        "+02:00",
        "Z",
        "T",
        "-9999-01-01",
        "9999-12-31",
        "24:00",
        "23:59:60",
        "02:30",
        "2026-03-29",
        "2026-10-25",
        "Europe/Berlin",
        "-",
        "+14:00",
        "days",
        "400d",
    ],
    slower: 2,
    bytes_max: 16 * 1024,
};

pub const AIR: Target = Target {
    name: "air",
    run: air,
    words: &[
        "21.5C",
        "21,5 °C",
        "70F",
        "-40",
        "99",
        "46%",
        "46.5 %",
        "100%",
        "°",
        "º",
        "celsius",
        "fahrenheit",
        "+",
        "\u{2212}",
    ],
    slower: 1,
    bytes_max: 16 * 1024,
};

pub const CODES: Target = Target {
    name: "codes",
    run: codes,
    words: &[
        "iron-remover",
        "iron",
        "polish",
        "b2-7",
        "ana",
        "-",
        "bay-1",
        "İ",
        "ß",
        "gloss",
        "matte",
    ],
    slower: 2,
    bytes_max: 8 * 1024,
};

pub const SERVERS: Target = Target {
    name: "servers",
    run: servers,
    words: &[
        "127.0.0.1:7421",
        "[::1]:7421",
        "unix:/run/x",
        "./x",
        ":",
        "[",
        "]",
        "%eth0",
        "host",
        "65536",
        "-",
        ".",
        "_",
        "::",
        "@",
        "/",
        "#",
        "?",
    ],
    slower: 1,
    bytes_max: 4 * 1024,
};

fn times(data: &[u8]) {
    let mut food = Food::new(data);
    let Ok(zone_of) = zone(food.pick(&ZONES).unwrap_or("UTC")) else {
        return;
    };
    let now = if food.flag() { NOW } else { food.instant() };
    let number = food.number();
    let text = String::from_utf8_lossy(food.rest());
    if let Ok(at) = parse_at(&text, &zone_of, now) {
        assert!(
            at <= now.saturating_add(FUTURE_SLACK_US),
            "{text} gave {at:?}"
        );
        let again = format!("{}", at.timestamp());
        // The same instant, said exactly, is the same instant.
        if at.0 % 1_000_000 == 0 && again.len() == 20 {
            assert_eq!(parse_at(&again, &zone_of, now).ok(), Some(at), "{again}");
        }
    }
    if let Ok(span) = parse_span(&text) {
        assert!((0..=SPAN_MAX_US).contains(&span), "{text} gave {span}");
        let filed = baywright_terms::catalogue::file::text::span(span);
        if span % 1_000_000 == 0 {
            assert_eq!(parse_span(&filed).ok(), Some(span), "{filed}");
        }
    }
    for of in [number, data.len().try_into().unwrap_or(0)] {
        for shown in [
            format_span(of),
            format_h_mm(of),
            format_min_sec(of),
            format_days(of),
        ] {
            assert!(shown.len() < 40, "{shown}");
        }
    }
    if let Ok(week) = Week::parse(&text) {
        assert_eq!(Week::parse(&week.to_string()), Ok(week));
        let (from, until) = week.range(&zone_of);
        assert!(from < until, "{week}");
        let middle = Micros(from.0 + (until.0 - from.0) / 2);
        if week.year > 0 && week.year < 9_999 {
            assert_eq!(Week::of(middle, &zone_of), week);
            assert_eq!(week.next().previous(), week);
        }
    }
    let _ = zone(&text);
    let at = Micros(number);
    let day = shop_day(at, &zone_of);
    let (from, until) = day_range(day, &zone_of);
    assert!(from <= until, "{day}");
    let _ = (
        at.clock(&zone_of),
        at.date_and_clock(&zone_of),
        at.to_string(),
    );
    let week = Week::of(at, &zone_of);
    let _ = (week.range(&zone_of), week.next(), week.previous());
}

fn air(data: &[u8]) {
    let text = String::from_utf8_lossy(data);
    for reading in [Reading::Any, Reading::Air, Reading::Surface] {
        if let Ok(read) = MilliCelsius::parse_as(&text, reading) {
            assert!(read.is_within(reading), "{read}");
            assert_eq!(MilliCelsius::parse_as(&read.to_string(), reading), Ok(read));
        }
    }
    if let Ok(read) = MilliPercent::parse(&text) {
        assert!(read.0 <= 100_000);
        assert_eq!(MilliPercent::parse(&read.to_string()), Ok(read));
    }
    // Any reading of the wire gets an assessment.
    let mut food = Food::new(data);
    let mut milli = || MilliCelsius(i32::try_from(food.number()).unwrap_or(i32::MIN));
    let (air, surface, lowest, highest) = (milli(), milli(), milli(), milli());
    let humidity = MilliPercent(u32::try_from(food.number()).unwrap_or(u32::MAX));
    let given = AirAssessment::new(air, humidity, Some(surface), Some(lowest), Some(highest));
    let _ = (
        given.is_fit_for_coating(),
        air.to_f(),
        air.to_string(),
        humidity.to_string(),
    );
    let label = food.flag().then(|| (food.number(), food.number()));
    let finish = food.text(&["gloss", "matte", "satin", "glass", ""]);
    let window = levelling_window(
        &finish,
        Some(surface.to_c()),
        Some(humidity.to_pct()),
        label,
    );
    if let Some(limits) = window.limits() {
        let (from, until) = (limits.from_us, limits.until_us);
        assert!(
            from <= until,
            "a window from {from} to {until} is turned round"
        );
    }
}

fn codes(data: &[u8]) {
    let text = String::from_utf8_lossy(data);
    let (typed, known) = text.split_once(' ').unwrap_or((&text, "iron-remover"));
    let known: Vec<&str> = known.split(' ').collect();
    let code = Code::new(typed);
    assert_eq!(code.as_str(), typed);
    let found = resolve(typed, known.iter().copied());
    if let Some(code) = found.code() {
        assert!(known.contains(&code), "{code}");
    }
    let near = nearest(typed, known.iter().copied());
    assert!(near.len() <= NEAREST_MAX && near.iter().all(|code| known.contains(code)));
    if is_well_formed(typed) {
        assert!(typed.is_ascii() && !typed.starts_with('-') && typed.len() <= 40);
    }
    let _ = (
        surface::is_finish(typed),
        surface::finish(typed).map(|f| f.code),
    );
}

fn servers(data: &[u8]) {
    let text = String::from_utf8_lossy(data);
    if let Ok(server) = text.parse::<Server>() {
        let shown = server.to_string();
        assert_eq!(
            shown.parse::<Server>().ok(),
            Some(server),
            "{text} became {shown}"
        );
    }
}
