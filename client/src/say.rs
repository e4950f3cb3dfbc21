//! The answer at the bay: one or two lines with what was understood.

use anstyle::{AnsiColor, Style};
use baywright_proto::v1;
use baywright_proto::v1::fact::Kind;
use baywright_terms::catalogue::{AWAY, HOLDING};
use baywright_terms::time::{Micros, format_min_sec};
use serde_json::{Map, Value, json};

use crate::answer::{Outcome, plain};
use crate::context::Context;
use crate::delivery::{Delivered, Noticed};
use crate::describe;
use crate::error::{Error, Kind as ErrorKind};
use crate::nearby;
use crate::post::{Said, occurred_at};
use crate::render::text::capital;
use crate::spool::EventId;

/// Colour only where it means something: a caution, and a fact that waits.
const CAUTION: Style = AnsiColor::Red.on_default().bold();
const ODD: Style = AnsiColor::Yellow.on_default();
const WAITS: Style = AnsiColor::Yellow.on_default();

/// What a command adds to the common answer.
#[derive(Debug, Default)]
pub struct Extra {
    /// Cautions worked out here; said first, and only where the daemon did not
    /// answer (it says its own).
    pub cautions: Vec<String>,
    /// Lines below the first.
    pub lines: Vec<String>,
    /// Fields of the JSON object.
    pub json: Map<String, Value>,
    /// Another post of the same command follows and says where they are kept.
    pub more_follows: bool,
}

/// Puts the answer to one post together.
pub fn say(context: &Context, fact: &v1::Fact, said: &Said, extra: Extra) -> Outcome {
    let mut lines = Vec::new();
    match said {
        Said::Dry => {
            lines.extend(local_cautions(&extra.cautions));
            lines.push(format!("Would post: {}", sentence(context, fact, None)));
            lines.extend(extra.lines);
        }
        Said::Kept {
            handle,
            why,
            waiting,
            ..
        } => {
            lines.extend(local_cautions(&extra.cautions));
            lines.push(sentence(context, fact, None));
            lines.extend(extra.lines);
            if !handle.is_empty() {
                lines.push(format!("Its handle, for good: {handle}."));
            }
            if !extra.more_follows {
                lines.push(kept_line(context, why, *waiting));
            }
        }
        Said::Acknowledged { receipt, older } => {
            lines.extend(delivered_line(older));
            let (first, rest): (Vec<_>, Vec<_>) = receipt
                .notices
                .iter()
                .partition(|n| n.severity() == v1::Severity::Caution);
            lines.extend(caution_lines(fact, &first));
            lines.push(sentence(context, fact, Some(receipt)));
            lines.extend(extra.lines);
            lines.extend(rest.into_iter().map(notice_line));
        }
    }
    Outcome::new(lines.join("\n"), object(fact, said, extra.json))
}

/// `--json` of one post.
fn object(fact: &v1::Fact, said: &Said, extra: Map<String, Value>) -> Value {
    let mut object = Map::new();
    object.insert("fact".into(), describe::fact(fact).into());
    let (state, more) = match said {
        Said::Dry => ("dry", Value::Null),
        Said::Acknowledged { receipt, .. } => (
            "acknowledged",
            serde_json::to_value(receipt).unwrap_or(Value::Null),
        ),
        Said::Kept {
            event_id,
            handle,
            why,
            waiting,
        } => {
            object.insert(
                "kept".into(),
                json!({
                    "event_id": id_text(event_id),
                    "handle": (!handle.is_empty()).then_some(handle),
                    "why": why.message(),
                    "waiting": waiting,
                }),
            );
            ("kept", Value::Null)
        }
    };
    object.insert("posted".into(), state.into());
    if !more.is_null() {
        object.insert("receipt".into(), more);
    }
    object.extend(extra);
    Value::Object(object)
}

/// An event id as people see it.
pub fn id_text(id: &EventId) -> String {
    describe::id(id)
}

/// What was understood, as a sentence.
fn sentence(context: &Context, fact: &v1::Fact, receipt: Option<&v1::Receipt>) -> String {
    let at = receipt.map_or_else(|| occurred_at(context, fact), |r| Micros(r.occurred_us));
    let clock = clock_of(context, at);
    let by = match receipt {
        Some(receipt) if !receipt.by.is_empty() => &receipt.by,
        _ => &fact.by,
    };
    let head = receipt
        .filter(|r| r.job_number > 0 || !r.job_title.is_empty())
        .map(job_words);
    // The fact left the stage out; where this bay started it, it can name it.
    let stage = match (&fact.kind, receipt) {
        (Some(Kind::StageFinished(f)), Some(receipt)) if f.stage.is_empty() => {
            nearby::last_started(context, receipt.job_number)
        }
        _ => None,
    };
    let told = Told {
        stage: stage.as_deref().unwrap_or("the stage"),
        by: &by.join(" and "),
        bay: &fact.bay,
        clock: &clock,
    };
    let words = plain(&told.words(fact.kind.as_ref())).into_owned();
    match head {
        // The head says the type and the vehicle already.
        Some(head) if matches!(fact.kind, Some(Kind::JobOpened(_))) => {
            format!("{head}: opened at {clock}.")
        }
        Some(head) => format!("{head}: {words}."),
        None => capital(&format!("{words}.")),
    }
}

/// The time of day in the shop's zone, with the date where it is not today.
fn clock_of(context: &Context, at: Micros) -> String {
    let zone = context.zone();
    if at.civil(&zone).date() == context.now().civil(&zone).date() {
        at.clock(&zone)
    } else {
        at.date_and_clock(&zone)
    }
}

/// `Job 118 trike-coat (red three-wheeler)`.
fn job_words(receipt: &v1::Receipt) -> String {
    let title = plain(&receipt.job_title).into_owned();
    match title.split_once(", ") {
        Some((name, vehicle)) => format!("Job {name} ({vehicle})"),
        None if title.is_empty() => format!("Job {}", receipt.job_number),
        None => format!("Job {title}"),
    }
}

/// The parts of a sentence about a fact.
struct Told<'a> {
    /// What a stage is called that the fact does not name.
    stage: &'a str,
    by: &'a str,
    bay: &'a str,
    clock: &'a str,
}

impl Told<'_> {
    fn words(&self, kind: Option<&Kind>) -> String {
        let Self { clock, .. } = self;
        match kind {
            Some(Kind::JobOpened(f)) => format!("opened at {clock}, {} {}", f.job_type, f.vehicle)
                .trim_end()
                .to_owned(),
            Some(Kind::JobMoved(f)) => match f.place.as_str() {
                HOLDING => format!("in holding since {clock}"),
                AWAY => format!("away since {clock}"),
                bay => format!("in {bay} since {clock}"),
            },
            Some(Kind::JobReleased(_)) => format!("released at {clock}"),
            Some(Kind::StageStarted(f)) => {
                let again = if f.rework { " again" } else { "" };
                let on = on_panels(&f.panels);
                let stage = &f.stage;
                if self.by.is_empty() {
                    format!(
                        "{stage}{again}{on}{} since {clock}, nobody named",
                        self.at()
                    )
                } else {
                    format!(
                        "{} on {stage}{again}{on}{} since {clock}",
                        self.by,
                        self.at()
                    )
                }
            }
            Some(Kind::StagePaused(f)) if f.person => {
                format!("{} on a break since {clock}", self.who("everyone here"))
            }
            Some(Kind::StagePaused(f)) => {
                format!("{} paused at {clock}", or(&f.stage, "work here"))
            }
            Some(Kind::StageResumed(f)) => {
                format!(
                    "{} goes on since {clock}{}",
                    or(&f.stage, "work"),
                    self.with()
                )
            }
            Some(Kind::StageFinished(f)) => match f.result() {
                v1::StageResult::Again => format!(
                    "{} ended at {clock}, to be done again",
                    or(&f.stage, self.stage)
                ),
                _ => format!("{} done at {clock}", or(&f.stage, self.stage)),
            },
            Some(Kind::DwellStarted(f)) => {
                format!("{} dwells{} since {clock}", f.product, on_panels(&f.panels))
            }
            Some(Kind::DwellEnded(f)) => format!("{} dwell ended at {clock}", f.product)
                .trim()
                .to_owned(),
            Some(Kind::StruckOut(f)) if f.reason.is_empty() => format!("struck out at {clock}"),
            Some(Kind::StruckOut(f)) => format!("struck out at {clock} ({})", f.reason),
            Some(Kind::PanelCoated(f)) => {
                let section = if f.section == 0 {
                    String::new()
                } else {
                    format!(", section {}", f.section)
                };
                let with = if f.product.is_empty() {
                    String::new()
                } else {
                    format!(" with {}", f.product)
                };
                format!("{}{section} coated{with} at {clock}", f.panel)
            }
            Some(Kind::PanelLevelled(f)) => {
                let how = match f.result() {
                    v1::LevelResult::Smeared => "smeared",
                    v1::LevelResult::HighSpot => "with a high spot",
                    _ => "clean",
                };
                format!(
                    "{} levelled {how} at {clock}",
                    or(&f.panel, "the longest waiting section")
                )
            }
            Some(kind) => {
                let fact = v1::Fact {
                    kind: Some(kind.clone()),
                    ..v1::Fact::default()
                };
                format!("{}{} at {clock}", describe::fact(&fact), self.with())
            }
            None => format!("a fact of a newer kind at {clock}"),
        }
    }

    fn at(&self) -> String {
        if self.bay.is_empty() {
            String::new()
        } else {
            format!(" at {}", self.bay)
        }
    }

    fn with(&self) -> String {
        if self.by.is_empty() {
            String::new()
        } else {
            format!(" ({})", self.by)
        }
    }

    fn who<'b>(&'b self, nobody: &'b str) -> &'b str {
        or(self.by, nobody)
    }
}

fn or<'a>(text: &'a str, instead: &'a str) -> &'a str {
    if text.is_empty() { instead } else { text }
}

fn on_panels(panels: &[String]) -> String {
    if panels.is_empty() {
        String::new()
    } else {
        format!(" ({})", panels.join(", "))
    }
}

/// Says where a fact is that the daemon does not have yet.
pub fn kept_line(context: &Context, why: &Error, waiting: usize) -> String {
    let place = context.data_dir().join("spool");
    let more = match waiting {
        0 | 1 => String::new(),
        n => format!(" {n} facts wait there."),
    };
    let when = match why.kind() {
        ErrorKind::NotPermitted => "once this device is let in again",
        _ => "with the next command, or with `bay spool send`",
    };
    format!(
        "{WAITS}Kept on this bay{WAITS:#} in {}.{more} {} It goes out {when}.",
        place.display(),
        plain(why.message())
    )
}

/// Says what went out before, in order.
pub fn delivered_line(older: &Delivered) -> Vec<String> {
    let mut lines = Vec::new();
    match older.sent {
        0 => {}
        1 => lines.push("Sent first: 1 fact that waited here.".to_owned()),
        n => lines.push(format!("Sent first: {n} facts that waited here.")),
    }
    lines.extend(set_aside_line(older));
    lines.extend(noticed_line(older));
    lines
}

/// Says what was odd about the daemon's log.
pub fn noticed_line(delivered: &Delivered) -> Option<String> {
    delivered.noticed.map(noticed)
}

/// As [`noticed_line`], of one thing that was noticed.
pub fn noticed(noticed: Noticed) -> String {
    let line = match noticed {
        Noticed::Restored { is_complete: true } => {
            "The daemon was restored from a backup: what it lost of this bay was sent again."
        }
        Noticed::Restored { is_complete: false } => {
            "The daemon was restored from a backup: what is still kept here was sent again, and \
             some older facts of this bay are lost."
        }
        Noticed::RestoredWhole => {
            "The daemon was restored from a backup, which had every fact of this bay."
        }
        Noticed::RestoredUnsent => {
            "The daemon was restored from a backup: what it lost of this bay waits here, and goes \
             out with the next fact."
        }
        Noticed::OtherLog => {
            "This daemon keeps another log than the one this bay posted to before: only what \
             still waited was sent to it."
        }
    };
    format!("{ODD}Note:{ODD:#} {line}")
}

/// Says what the daemon could not read, and what to do about it.
pub fn set_aside_line(delivered: &Delivered) -> Option<String> {
    let facts = match delivered.set_aside {
        0 => return None,
        1 => "1 fact".to_owned(),
        n => format!("{n} facts"),
    };
    Some(format!(
        "{ODD}Set aside{ODD:#}: {facts} the daemon could not read. `bay spool list` shows what, \
         `bay spool mend` mends it."
    ))
}

/// A sentence of the daemon.
pub fn notice_line(notice: &v1::Notice) -> String {
    let text = plain(&notice.text);
    match notice.severity() {
        v1::Severity::Caution => caution(&text),
        v1::Severity::Odd => format!("{ODD}To settle:{ODD:#} {text}"),
        _ => text.into_owned(),
    }
}

/// The daemon's cautions: those that say the same of one finish in one line.
///
/// An opening says none of the nevers: they are said when the vehicle comes in,
/// before anything touches it.
fn caution_lines(fact: &v1::Fact, cautions: &[&v1::Notice]) -> Vec<String> {
    let opens = matches!(fact.kind, Some(Kind::JobOpened(_)));
    let texts = cautions.iter().map(|n| n.text.as_str());
    gathered(texts.filter(|text| !opens || !text.starts_with("Never ")))
        .iter()
        .map(|text| caution(text))
        .collect()
}

fn local_cautions(cautions: &[String]) -> Vec<String> {
    let texts = cautions.iter().map(String::as_str);
    gathered(texts).iter().map(|text| caution(text)).collect()
}

/// Gathers `Never decon on leather: why` and `Never wash on leather: why` into
/// `Never on leather: decon, wash. Why`. Other texts stay as they are.
fn gathered<'a>(texts: impl Iterator<Item = &'a str>) -> Vec<String> {
    let mut groups: Vec<(&str, &str, Vec<&str>)> = Vec::new();
    for text in texts {
        let split = ["Never ", "Care with "].into_iter().find_map(|word| {
            let (what, rest) = text.strip_prefix(word)?.split_once(" on ")?;
            (!what.contains(' ')).then_some((word, what, rest))
        });
        let (word, what, rest) = split.unwrap_or(("", "", text));
        let same = groups
            .iter_mut()
            .find(|(w, r, _)| !word.is_empty() && *w == word && *r == rest);
        match same {
            // A stage and a product may have one name.
            Some((_, _, all)) if all.contains(&what) => {}
            Some((_, _, all)) => all.push(what),
            None => groups.push((word, rest, vec![what])),
        }
    }
    groups
        .into_iter()
        .map(
            |(word, rest, all)| match (all.as_slice(), rest.split_once(": ")) {
                ([_, _, ..], Some((finish, why))) => {
                    let word = word.trim_end().trim_end_matches(" with");
                    format!("{word} on {finish}: {}. {}", all.join(", "), capital(why))
                }
                ([what], _) if !word.is_empty() => format!("{word}{what} on {rest}"),
                _ => rest.to_owned(),
            },
        )
        .collect()
}

/// A caution, before everything else.
pub fn caution(text: &str) -> String {
    let text = plain(text);
    for word in ["Never", "Care", "Caution"] {
        if let Some(rest) = text.strip_prefix(word) {
            return format!("{CAUTION}{word}{CAUTION:#}{rest}");
        }
    }
    format!("{CAUTION}Caution:{CAUTION:#} {text}")
}

/// A levelling window in words: when to begin, when to be done.
pub fn window_line(context: &Context, spread: Micros, from_us: i64, until_us: i64) -> String {
    let zone = context.zone();
    let since = |at_us: i64| format_min_sec(at_us - spread.0);
    format!(
        "Level from {} to {}: {} to {} after spreading.",
        seconds_clock(Micros(from_us), &zone),
        seconds_clock(Micros(until_us), &zone),
        since(from_us),
        since(until_us)
    )
}

fn seconds_clock(at: Micros, zone: &jiff::tz::TimeZone) -> String {
    at.civil(zone).strftime("%H:%M:%S").to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cautions_that_say_the_same_of_a_finish_are_one_line() {
        let texts = [
            "Never decon on leather: it shrinks.",
            "Never wash on leather: it shrinks.",
            "Never wash on leather: it shrinks.",
            "Never polish on matte: it cannot be put back.",
            "Care with tar on vinyl: edges lift; try a hidden spot.",
            "Care with iron on vinyl: edges lift; try a hidden spot.",
            "Caution with iron: wear gloves on both hands: always.",
        ];
        assert_eq!(
            gathered(texts.into_iter()),
            [
                "Never on leather: decon, wash. It shrinks.",
                "Never polish on matte: it cannot be put back.",
                "Care on vinyl: tar, iron. Edges lift; try a hidden spot.",
                "Caution with iron: wear gloves on both hands: always.",
            ]
        );
    }
}
