//! The XES export against the structure of IEEE 1849, and against what `bay`
//! says of the same jobs. The verdicts on valid and invalid files come with
//! their source in `data/xes_validity.json`. `tests/outside/run` reads larger
//! exports with a process-mining library and a schema validator.

use std::collections::BTreeMap;
use std::path::Path;

use baywright_tests::harness::{self, Daemon};
use jiff::Timestamp;
use quick_xml::events::{BytesStart, Event};
use serde_json::Value;

/// Elements that are attributes, and what their value has to be.
const ATTRIBUTES: [&str; 7] = ["string", "date", "int", "float", "boolean", "id", "list"];

/// Where the children of an element stand in its order; `None`: not allowed.
fn rank(parent: &str, child: &str) -> Option<usize> {
    let is_attribute = ATTRIBUTES.contains(&child);
    match parent {
        "" => (child == "log").then_some(0),
        "log" if is_attribute => Some(3),
        "log" => ["extension", "global", "classifier", "", "trace", "event"]
            .iter()
            .position(|name| *name == child),
        "trace" if child == "event" => Some(1),
        "trace" | "event" | "global" | "values" => is_attribute.then_some(0),
        "list" if child == "values" => Some(1),
        parent if ATTRIBUTES.contains(&parent) => is_attribute.then_some(0),
        _ => None,
    }
}

/// A name without a colon, as far as the letters of these files go.
fn is_ncname(text: &str) -> bool {
    let mut chars = text.chars();
    let first = chars.next().is_some_and(|c| c.is_alphabetic() || c == '_');
    first && chars.all(|c| c.is_alphanumeric() || matches!(c, '.' | '-' | '_'))
}

fn is_date_time(text: &str) -> bool {
    let with_offset = text.parse::<Timestamp>().is_ok();
    with_offset || (text.contains('T') && text.parse::<jiff::civil::DateTime>().is_ok())
}

type Attributes = BTreeMap<String, String>;

fn attributes(element: &BytesStart<'_>) -> Result<Attributes, String> {
    element
        .attributes()
        .map(|attribute| {
            let attribute = attribute.map_err(|error| error.to_string())?;
            let value =
                quick_xml::escape::unescape(&attribute.value).map_err(|error| error.to_string())?;
            Ok((attribute.key.as_ref().to_owned(), value.into_owned()))
        })
        .collect()
}

fn check_attributes(name: &str, given: &Attributes) -> Result<(), String> {
    let need = |key: &str, holds: &dyn Fn(&str) -> bool| match given.get(key) {
        Some(value) if holds(value) => Ok(()),
        Some(value) => Err(format!("{key} of <{name}> may not be {value:?}")),
        None => Err(format!("<{name}> has no {key}")),
    };
    let any = |_: &str| true;
    if let Some(key) = given.keys().find(|key| key.starts_with("xmlns")) {
        return Err(format!("<{name}> names a namespace in {key}"));
    }
    match name {
        "log" => need("xes.version", &|v| v.parse::<f64>().is_ok()),
        "extension" => need("name", &is_ncname)
            .and_then(|()| need("prefix", &is_ncname))
            .and_then(|()| need("uri", &any)),
        "global" => need("scope", &is_ncname),
        "classifier" => need("name", &is_ncname).and_then(|()| need("keys", &|v| !v.is_empty())),
        "trace" | "event" | "values" => Ok(()),
        kind => {
            need("key", &|v| {
                !v.is_empty() && !v.contains(char::is_whitespace)
            })?;
            match kind {
                "list" => Ok(()),
                "date" => need("value", &is_date_time),
                "int" => need("value", &|v| v.parse::<i64>().is_ok()),
                "float" => need("value", &|v| v.parse::<f64>().is_ok()),
                "boolean" => need("value", &|v| matches!(v, "true" | "false" | "1" | "0")),
                _ => need("value", &any),
            }
        }
    }
}

/// What is wrong with a file, by the structure rules; `Ok`: nothing.
fn check(xes: &str) -> Result<(), String> {
    let odd = |c: char| c.is_control() && !matches!(c, '\n' | '\r' | '\t');
    if let Some(c) = xes
        .chars()
        .find(|c| odd(*c) || matches!(c, '\u{fffe}' | '\u{ffff}'))
    {
        return Err(format!("XML cannot hold {c:?}"));
    }
    let mut reader = quick_xml::Reader::from_str(xes);
    let mut open: Vec<(String, usize)> = vec![(String::new(), 0)];
    loop {
        let event = reader.read_event().map_err(|error| error.to_string())?;
        let (element, is_empty) = match &event {
            Event::Start(element) => (element, false),
            Event::Empty(element) => (element, true),
            Event::End(_) => {
                open.pop();
                continue;
            }
            Event::Eof if open.len() == 1 => return Ok(()),
            Event::Eof => return Err("it ends in the middle".to_owned()),
            _ => continue,
        };
        let name = element.name().as_ref().to_owned();
        let Some((parent, before)) = open.last_mut() else {
            return Err("an element too many is closed".to_owned());
        };
        let Some(rank) = rank(parent, &name) else {
            return Err(format!("<{name}> in <{parent}>"));
        };
        if rank < *before {
            return Err(format!("<{name}> too late in <{parent}>"));
        }
        *before = rank;
        check_attributes(&name, &attributes(element)?)?;
        if !is_empty {
            open.push((name, 0));
        }
    }
}

#[test]
fn the_structure_check_gives_the_published_verdicts() {
    let file: Value =
        serde_json::from_str(include_str!("data/xes_validity.json")).expect("readable cases");
    let cases = file["cases"].as_array().expect("cases");
    assert!(cases.len() >= 9);
    for case in cases {
        let verdict = check(case["xes"].as_str().expect("a file"));
        let valid = case["valid"].as_bool().expect("a verdict");
        assert_eq!(verdict.is_ok(), valid, "{}: {verdict:?}", case["id"]);
    }
}

/// Case, activity, and the events of each as (transition, instant, rework).
type Traces = BTreeMap<String, Vec<Attributes>>;

/// The traces of a file; the name of each is its `concept:name`.
fn traces(xes: &str) -> (Traces, BTreeMap<String, Attributes>) {
    let mut reader = quick_xml::Reader::from_str(xes);
    let (mut found, mut about) = (Traces::new(), BTreeMap::new());
    let (mut trace, mut events, mut event) = (None, Vec::new(), None::<Attributes>);
    loop {
        match reader.read_event().expect("well-formed XML") {
            Event::Start(e) if e.name().as_ref() == "trace" => trace = Some(Attributes::new()),
            Event::End(e) if e.name().as_ref() == "trace" => {
                let trace = trace.take().expect("an open trace");
                found.insert(trace["concept:name"].clone(), std::mem::take(&mut events));
                about.insert(trace["concept:name"].clone(), trace);
            }
            Event::Start(e) if e.name().as_ref() == "event" => event = Some(Attributes::new()),
            Event::End(e) if e.name().as_ref() == "event" => events.extend(event.take()),
            Event::Empty(e) => {
                let given = attributes(&e).expect("attributes");
                if let (Some(into), Some(key)) =
                    (event.as_mut().or(trace.as_mut()), given.get("key"))
                {
                    into.insert(key.clone(), given["value"].clone());
                }
            }
            Event::Eof => return (found, about),
            _ => {}
        }
    }
}

fn instant_us(event: &Attributes) -> i64 {
    let at: Timestamp = event["time:timestamp"].parse().expect("an instant");
    at.as_microsecond()
}

/// Service time by activity: each complete minus the start of its instance.
fn service_us(events: &[Attributes]) -> BTreeMap<String, i64> {
    let mut started: BTreeMap<&str, i64> = BTreeMap::new();
    let mut service: BTreeMap<String, i64> = BTreeMap::new();
    for event in events {
        let (instance, at_us) = (event["concept:instance"].as_str(), instant_us(event));
        if event["lifecycle:transition"] == "start" {
            assert_eq!(started.insert(instance, at_us), None, "started twice");
        } else {
            let start_us = started.remove(instance).expect("a start before");
            *service.entry(event["concept:name"].clone()).or_default() += at_us - start_us;
        }
    }
    assert!(started.is_empty(), "never completed: {started:?}");
    service
}

const VEHICLES: [&str; 3] = [
    "red <b>\"trike\"</b> & 'co' ]]> -->",
    "=cmd|'/c calc'!A0\u{b}\u{1f}\u{fffe}",
    "žluťoučký kůň 🏍\ttab\nline &#0; &amp;",
];

#[test]
fn an_export_of_a_small_shop_is_valid_and_says_what_bay_says() {
    let home = tempfile::tempdir().expect("a folder");
    let binary = Path::new(env!("CARGO_BIN_EXE_baywright-demo"));
    let daemon = Daemon::start(binary, &home.path().join("server")).expect("a daemon");
    let bay = |words: &[&str]| {
        let output = harness::bay(binary, home.path(), &daemon.address, "bay-1", words);
        let output = output.expect("bay runs");
        assert!(output.status.success(), "{words:?}: {output:?}");
        String::from_utf8(output.stdout).expect("text")
    };
    let mut ago = 3_000;
    let mut post = |words: &[&str]| {
        ago -= 7;
        bay(&[words, &["--ago", &format!("{ago}m")]].concat());
    };
    for (index, vehicle) in VEHICLES.iter().enumerate() {
        let number = (index + 1).to_string();
        post(&["open", "unsorted", vehicle]);
        post(&["bring", &number]);
        post(&["start", "polish", "--by", "ana,ben"]);
        post(&["pause", "polish", "--by", "ana"]);
        post(&["resume", "polish", "--by", "ana"]);
        post(&["done", "polish"]);
        post(&["start", "polish", "--by", "ben", "--again"]);
        post(&["start", "wipe-down", "--by", "ben"]);
        post(&["done", "wipe-down"]);
        post(&["move", "holding"]);
    }
    post(&["open", "unsorted", "a vehicle nobody touched"]);

    let xes = bay(&["export", "xes"]);
    assert_eq!(check(&xes), Ok(()));
    let (traces, about) = traces(&xes);
    assert_eq!(traces.len(), VEHICLES.len() + 1);
    assert!(traces["4"].is_empty());
    let lines = bay(&["export", "json"]);
    let jobs: Vec<Value> = lines
        .lines()
        .map(|line| serde_json::from_str(line).expect("a line is JSON"))
        .collect();
    assert_eq!(jobs.len(), traces.len());
    for (job, vehicle) in jobs.iter().zip(VEHICLES) {
        let number = job["number"].to_string();
        let events = &traces[&number];
        // The bay keeps no control characters, and XML can hold no others.
        let clean = |text: &str| text.replace(|c: char| c.is_control() || c == '\u{fffe}', "?");
        let shown = about[&number]["vehicle"].replace('\u{fffd}', "?");
        assert_eq!(clean(&shown), clean(vehicle));
        assert!(events.is_sorted_by_key(instant_us), "{number}");
        let service = service_us(events);
        let story: Value = serde_json::from_str(&bay(&["job", &number, "--json"])).expect("JSON");
        let stages = story["story"]["job"]["stages"].as_array().expect("stages");
        let told: BTreeMap<String, i64> = stages
            .iter()
            .map(|stage| {
                let name = stage["stage"].as_str().expect("a code").to_owned();
                (name, stage["actual_us"].as_i64().expect("a time"))
            })
            .collect();
        assert_eq!(service, told, "job {number}");
        assert!(service.values().all(|us| *us > 0), "{service:?}");
        let again = |stretches: &mut dyn Iterator<Item = bool>| stretches.filter(|r| *r).count();
        let reworked = again(
            &mut events
                .iter()
                .filter(|e| e["lifecycle:transition"] == "complete")
                .map(|e| e["rework"] == "true"),
        );
        let stretches = job["hands_on"].as_array().expect("stretches");
        assert_eq!(
            reworked,
            again(&mut stretches.iter().map(|s| s["rework"] == true))
        );
        assert_eq!(reworked, 1, "job {number}");
    }
    daemon.stop().expect("a clean stop");
}
