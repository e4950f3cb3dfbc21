//! An event log by IEEE 1849 (XES), written job by job.
//!
//! One trace for each job, and a `start` and a `complete` event for each
//! stretch of one worker on one stage without a break. The lifecycle has no
//! suspend and resume, because a library that pairs start and complete would
//! count the pause as service time; with a pair for each stretch its service
//! times are our hands-on times.

use std::borrow::Cow;
use std::io::Write;

use baywright_proto::json::uuid_text;
use baywright_proto::v1;
use baywright_terms::amount::minor_digits;
use jiff::tz::TimeZone;
use quick_xml::Writer;
use quick_xml::escape::escape;
use quick_xml::events::attributes::Attribute;
use quick_xml::events::{BytesDecl, BytesEnd, BytesStart, BytesText, Event};
use quick_xml::name::QName;

use super::at;
use super::jobs::Form;
use super::out::Failure;
use crate::context::zone_named;

/// Extensions by name and prefix. The standard gives each this address.
const EXTENSIONS: [(&str, &str); 5] = [
    ("Concept", "concept"),
    ("Time", "time"),
    ("Lifecycle", "lifecycle"),
    ("Organizational", "org"),
    ("Cost", "cost"),
];

/// An attribute of a log, trace or event: its element, key and value.
type Attr<'a> = (&'static str, &'static str, Cow<'a, str>);

/// The writer; it keeps the zone of the shop and nothing of a job.
pub(super) struct Xes<W: Write> {
    xml: Writer<W>,
    zone: TimeZone,
}

impl<W: Write> Xes<W> {
    pub(super) fn new(out: W) -> Self {
        Self {
            xml: Writer::new_with_indent(out, b' ', 1),
            zone: TimeZone::UTC,
        }
    }

    fn open(&mut self, name: &str, attributes: &[(&str, &str)]) -> std::io::Result<()> {
        let start = element(name, attributes);
        self.xml.write_event(Event::Start(start))
    }

    fn empty(&mut self, name: &str, attributes: &[(&str, &str)]) -> std::io::Result<()> {
        let start = element(name, attributes);
        self.xml.write_event(Event::Empty(start))
    }

    fn close(&mut self, name: &str) -> std::io::Result<()> {
        self.xml.write_event(Event::End(BytesEnd::new(name)))
    }

    fn attr(&mut self, (kind, key, value): &Attr<'_>) -> std::io::Result<()> {
        self.empty(kind, &[("key", key), ("value", value)])
    }

    fn attrs(&mut self, attrs: &[Attr<'_>]) -> std::io::Result<()> {
        attrs.iter().try_for_each(|attr| self.attr(attr))
    }

    fn log(&mut self, head: &v1::ExportHead) -> std::io::Result<()> {
        let declaration = BytesDecl::new("1.0", Some("UTF-8"), None);
        self.xml.write_event(Event::Decl(declaration))?;
        // Without a namespace: the schema of the standard has none.
        self.open("log", &[("xes.version", "1849.2016")])?;
        for (name, prefix) in EXTENSIONS {
            let uri = format!("http://www.xes-standard.org/{prefix}.xesext");
            self.empty(
                "extension",
                &[("name", name), ("prefix", prefix), ("uri", &uri)],
            )?;
        }
        self.open("global", &[("scope", "trace")])?;
        self.attr(&text("concept:name", "UNKNOWN"))?;
        self.close("global")?;
        self.open("global", &[("scope", "event")])?;
        self.attrs(&[
            text("concept:name", "UNKNOWN"),
            text("concept:instance", "UNKNOWN"),
            text("lifecycle:transition", "complete"),
            ("date", "time:timestamp", at::xml(0, &TimeZone::UTC).into()),
            text("run", "UNKNOWN"),
            flag("rework", false),
        ])?;
        self.close("global")?;
        self.empty(
            "classifier",
            &[("name", "Activity"), ("keys", "concept:name")],
        )?;
        self.attrs(&[
            text("concept:name", &head.shop),
            text("lifecycle:model", "standard"),
            ("date", "as_of", at::xml(head.as_of_us, &self.zone).into()),
            ("int", "as_of_seq", head.as_of_seq.to_string().into()),
        ])
    }

    fn trace(&mut self, job: &v1::ExportJob) -> std::io::Result<()> {
        self.open("trace", &[])?;
        let opening = uuid_text(&job.opening_event_id);
        let name = match (job.number, job.handle.as_str()) {
            (0, "") => opening.clone(),
            (0, handle) => handle.to_owned(),
            (number, _) => number.to_string(),
        };
        let date = |key, at_us| ("date", key, Cow::Owned(at::xml(at_us, &self.zone)));
        let mut attrs = vec![text("concept:name", &name), text("opening_event", &opening)];
        let words = [
            ("handle", &job.handle),
            ("type", &job.job_type),
            ("class", &job.vehicle_class),
            ("vehicle", &job.vehicle),
        ];
        let given = words.iter().filter(|(_, word)| !word.is_empty());
        attrs.extend(given.map(|(key, word)| text(key, word)));
        attrs.push(date("opened", job.opened_us));
        if job.released_us != 0 {
            attrs.push(date("released", job.released_us));
        }
        if job.comeback_of != 0 {
            attrs.push(("int", "comeback_of", job.comeback_of.to_string().into()));
        }
        self.attrs(&attrs)?;
        for event in events(job) {
            self.event(job, &event)?;
        }
        self.close("trace")
    }

    fn event(&mut self, job: &v1::ExportJob, event: &Marked<'_>) -> std::io::Result<()> {
        let stretch = event.stretch;
        let run = uuid_text(&stretch.run_event_id);
        let transition = match event.edge {
            Edge::Start => "start",
            Edge::Complete | Edge::CompleteAtOnce => "complete",
        };
        let mut attrs = vec![
            text("concept:name", &stretch.stage),
            ("string", "concept:instance", event.instance.as_str().into()),
            text("lifecycle:transition", transition),
            (
                "date",
                "time:timestamp",
                at::xml(event.at_us, &self.zone).into(),
            ),
            text("run", &run),
            flag("rework", stretch.rework),
        ];
        if !stretch.worker.is_empty() {
            attrs.push(text("org:resource", &stretch.worker));
        }
        if !stretch.bay.is_empty() {
            attrs.push(text("bay", &stretch.bay));
        }
        if event.edge != Edge::Start {
            attrs.push(text("ended", &stretch.ended));
            if let Some(cost_minor) = stretch.cost_minor {
                let cost = major(cost_minor, &job.currency);
                attrs.push(("float", "cost:total", cost.into()));
                attrs.push(text("cost:currency", &job.currency));
            }
        }
        self.open("event", &[])?;
        self.attrs(&attrs)?;
        self.close("event")
    }
}

impl<W: Write> Form for Xes<W> {
    fn head(&mut self, head: &v1::ExportHead) -> Result<(), Failure> {
        self.zone = zone_named(&head.zone);
        Ok(self.log(head)?)
    }

    fn job(&mut self, job: &v1::ExportJob) -> Result<u64, Failure> {
        self.trace(job)?;
        Ok(1)
    }

    fn loose_use(&mut self, _: &v1::ExportUse) -> Result<Option<u64>, Failure> {
        Ok(None)
    }

    fn end(&mut self) -> Result<(), Failure> {
        self.close("log")?;
        self.xml.write_event(Event::Text(BytesText::new("\n")))?;
        Ok(self.xml.get_mut().flush()?)
    }
}

/// What of a stretch an event says. In the order of events at one instant: a
/// stretch is completed before the next one starts, except where it took no time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Edge {
    Complete,
    Start,
    CompleteAtOnce,
}

#[derive(Debug)]
struct Marked<'a> {
    at_us: i64,
    edge: Edge,
    /// The run and a count: a name of its own for each stretch, by which its
    /// two events find each other when two people work on one run.
    instance: String,
    stretch: &'a v1::ExportStretch,
}

/// The events of a job in order of time.
fn events(job: &v1::ExportJob) -> Vec<Marked<'_>> {
    let mut events = Vec::with_capacity(job.hands_on.len() * 2);
    for (count, stretch) in job.hands_on.iter().enumerate() {
        let instance = format!("{}.{}", uuid_text(&stretch.run_event_id), count + 1);
        events.push(Marked {
            at_us: stretch.from_us,
            edge: Edge::Start,
            instance: instance.clone(),
            stretch,
        });
        // What still runs has not been completed.
        if stretch.ended == "running" {
            continue;
        }
        let took_time = stretch.until_us > stretch.from_us;
        events.push(Marked {
            at_us: stretch.until_us.max(stretch.from_us),
            edge: if took_time {
                Edge::Complete
            } else {
                Edge::CompleteAtOnce
            },
            instance,
            stretch,
        });
    }
    events.sort_by_key(|event| (event.at_us, event.edge));
    events
}

fn element<'a>(name: &'a str, attributes: &[(&'a str, &str)]) -> BytesStart<'a> {
    let mut start = BytesStart::new(name);
    for (key, value) in attributes {
        let value = attribute_value(value);
        start.push_attribute(Attribute {
            key: QName(key),
            value: Cow::Borrowed(&value),
        });
    }
    start
}

/// Text as the value of an attribute: XML's own signs and white space other
/// than blanks as references, so that they come back as they were, and what XML
/// cannot hold at all (control characters that somebody scanned) replaced.
fn attribute_value(text: &str) -> String {
    let held: String = text
        .chars()
        .map(|c| if is_xml(c) { c } else { '\u{fffd}' })
        .collect();
    escape(held)
        .replace('\t', "&#9;")
        .replace('\n', "&#10;")
        .replace('\r', "&#13;")
}

/// The characters of XML 1.0, production 2; a `char` is never a surrogate.
fn is_xml(c: char) -> bool {
    matches!(c, '\t' | '\n' | '\r' | '\u{20}'..='\u{fffd}' | '\u{10000}'..)
}

fn text<'a>(key: &'static str, value: &'a str) -> Attr<'a> {
    ("string", key, Cow::Borrowed(value))
}

fn flag(key: &'static str, value: bool) -> Attr<'static> {
    let word = if value { "true" } else { "false" };
    ("boolean", key, Cow::Borrowed(word))
}

/// Minor units as a decimal number of the currency.
pub(super) fn major(minor: i64, currency: &str) -> String {
    let digits = usize::from(minor_digits(currency));
    let sign = if minor < 0 { "-" } else { "" };
    if digits == 0 {
        return minor.to_string();
    }
    let padded = format!("{:0>width$}", minor.unsigned_abs(), width = digits + 1);
    let (whole, fraction) = padded.split_at(padded.len() - digits);
    format!("{sign}{whole}.{fraction}")
}
