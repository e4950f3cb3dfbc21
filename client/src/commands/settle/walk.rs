//! The records one at a time, each answered with one digit.

use std::collections::BTreeSet;

use baywright_proto::v1;
use baywright_proto::v1::fact::Kind;
use baywright_proto::v1::{OddRecord, OddResponse};
use baywright_terms::time::{self, Micros};
use serde_json::{Value, json};

use super::offer::{self, Offered};
use super::{Desk, Outcome, Target, answer::Typed, odd};
use crate::ask;
use crate::commands::{office, page};
use crate::context::{Context, StandIn};
use crate::error::{Error, Kind as ErrorKind};
use crate::post;
use crate::render::settle::{Detail, record};
use crate::spool::EventId;

/// Which question of which event: what was asked once in a walk is not asked again.
type Asked = (Vec<u8>, String, String);

fn asked(record: &OddRecord) -> Asked {
    (
        record.event_id.clone(),
        record.code.clone(),
        record.of.clone(),
    )
}

/// A walk through the records.
struct Walk<'a> {
    context: &'a Context,
    why: Option<&'a str>,
    /// Only the records of this event.
    only: Option<&'a [u8]>,
    seen: BTreeSet<Asked>,
    /// The records answered with the last key and what was posted for them, to
    /// be taken back.
    last: Option<(Vec<OddRecord>, Vec<EventId>)>,
    settled: usize,
}

enum Next {
    Settled,
    Later,
    /// The last answer was taken back; its record is asked about again.
    Back,
    /// All of the kind that have a likely answer have been answered.
    Kind,
    Stop,
}

/// Asks about each record; an empty answer leaves it for later, `q` stops. What
/// an answer raises, such as the break before an end, is asked next.
pub(super) fn through(
    context: &Context,
    only: Option<&[u8]>,
    why: Option<&str>,
) -> Result<Outcome, Error> {
    let mut walk = Walk {
        context,
        why,
        only,
        seen: BTreeSet::new(),
        last: None,
        settled: 0,
    };
    let mut nothing = true;
    loop {
        // Anew after each answer: one answer can settle or raise others.
        let found = odd(context, false)?;
        let desk = Desk::new(context, &found.zone, why);
        let waiting: Vec<&OddRecord> = found.odd.iter().filter(|r| walk.waits(r)).collect();
        let Some(target) = waiting.first().copied() else {
            return Ok(walk.ended(nothing, &found));
        };
        nothing = false;
        let shown = record(target, &desk.calendar(), Detail::Asked, page::columns());
        let (at, of) = (walk.seen.len() + 1, walk.seen.len() + waiting.len());
        office::say(&format!("\n{at} of {of}: {shown}"));
        match walk.one(&desk, target, &waiting)? {
            Next::Settled | Next::Later => {
                walk.seen.insert(asked(target));
            }
            Next::Kind | Next::Back => {}
            Next::Stop => {
                let found = odd(context, false)?;
                return Ok(walk.ended(false, &found));
            }
        }
    }
}

impl Walk<'_> {
    fn is_meant(&self, record: &OddRecord) -> bool {
        self.only.is_none_or(|only| record.event_id == only)
    }

    fn waits(&self, record: &OddRecord) -> bool {
        self.is_meant(record) && !self.seen.contains(&asked(record))
    }

    fn ended(&self, nothing: bool, found: &OddResponse) -> Outcome {
        if nothing {
            return Outcome::new("Nothing to settle.", json!({ "odd": [] }));
        }
        let left = found.odd.iter().filter(|r| self.is_meant(r)).count();
        let text = format!("\n{} settled, {left} left.", self.settled);
        Outcome::new(text, Value::Null)
    }

    /// Asks about one record until it is answered or left.
    fn one(
        &mut self,
        desk: &Desk<'_>,
        target: &OddRecord,
        rest: &[&OddRecord],
    ) -> Result<Next, Error> {
        let choices = offer::of(target);
        for (index, choice) in choices.iter().enumerate() {
            office::say(&line(index + 1, choice, target));
        }
        let like = like(target, rest);
        office::say(&keys(like.len(), self.last.is_some()));
        loop {
            office::prompt("> ")?;
            let key = ask::key()?;
            office::say("");
            let chosen = match read(key, choices.len()) {
                Read::Later => return Ok(Next::Later),
                Read::Stop => return Ok(Next::Stop),
                Read::All if like.len() > 1 => {
                    if self.all(desk, &like)? {
                        return Ok(Next::Kind);
                    }
                    continue;
                }
                Read::Undo if self.last.is_some() => {
                    self.undo(desk)?;
                    return Ok(Next::Back);
                }
                Read::Chosen(index) => choices.get(index),
                Read::All | Read::Undo | Read::Unclear => None,
            };
            let Some(chosen) = chosen else {
                office::say(&format!("A digit from 1 to {}, please.", choices.len()));
                continue;
            };
            let filled = match chosen.question() {
                None => chosen.clone(),
                Some(question) => match office::ask(question)? {
                    None => return Ok(Next::Stop),
                    Some(value) if value.is_empty() => continue,
                    Some(value) => chosen.filled(&value),
                },
            };
            let asks = chosen.question().is_some();
            match self.carry_out(desk, target, rest, &filled, asks) {
                Ok(true) => return Ok(Next::Settled),
                Ok(false) => {}
                // What cannot be read or is refused is asked again; a daemon
                // that went away ends the walk.
                Err(error) if matches!(error.kind(), ErrorKind::Refused | ErrorKind::Usage) => {
                    office::say(error.message());
                    office::say(error.hint().unwrap_or_default());
                }
                Err(error) => return Err(error),
            }
        }
    }

    /// Posts a chosen answer; false where the person thinks better of it.
    fn carry_out(
        &mut self,
        desk: &Desk<'_>,
        target: &OddRecord,
        rest: &[&OddRecord],
        chosen: &Offered,
        typed_now: bool,
    ) -> Result<bool, Error> {
        if typed_now && !desk.agrees(target, chosen)? {
            return Ok(false);
        }
        let before = self.posts()?;
        let outcome = self.post(desk, target, rest, chosen)?;
        let mut posted = self.posts()?;
        posted.retain(|id| !before.contains(id));
        office::say(&outcome.text);
        self.settled += 1;
        self.last = Some((vec![target.clone()], posted));
        Ok(true)
    }

    fn post(
        &self,
        desk: &Desk<'_>,
        target: &OddRecord,
        rest: &[&OddRecord],
        chosen: &Offered,
    ) -> Result<Outcome, Error> {
        if let Some(typed) = chosen.typed() {
            // An answer that names none of several is to all of the kind.
            let same = |r: &&&OddRecord| r.event_id == target.event_id && r.code == target.code;
            let all: Vec<OddRecord> = rest.iter().filter(same).map(|r| (*r).clone()).collect();
            let which = chosen.which();
            let mut to = Target::of(target);
            if which.is_none() && all.len() > 1 {
                to.records = all;
            }
            return desk.settle_typed(&to, &typed, which.as_deref());
        }
        let unread = || Error::internal("An offered answer could not be read.");
        let cli = chosen.cli().ok_or_else(unread)?;
        let mut common = cli.common;
        common.at = match common.at.as_deref() {
            Some(at) => Some(desk.instant(at, target)?),
            None => None,
        };
        let command = cli.command.ok_or_else(unread)?;
        let inner = self.context.standing_in(common, StandIn::default())?;
        crate::commands::run(&inner, command)
    }

    /// Answers every record of a kind as proposed; false where the person
    /// thinks better of it.
    fn all(&mut self, desk: &Desk<'_>, like: &[(&OddRecord, Offered)]) -> Result<bool, Error> {
        for (record, chosen) in like {
            let effect = effect_of(chosen, record);
            office::say(&format!("  event {}: {}{effect}", record.seq, chosen.words));
        }
        let count = like.len();
        office::prompt(&format!(
            "Enter posts these {count} answers, another key none: "
        ))?;
        let key = ask::key()?;
        office::say("");
        if !matches!(key, Some('\n' | '\r')) {
            return Ok(false);
        }
        let (mut records, mut posts) = (Vec::new(), Vec::new());
        for (record, chosen) in like {
            self.carry_out(desk, record, &[*record], chosen, false)?;
            self.seen.insert(asked(record));
            if let Some((of, posted)) = self.last.take() {
                records.extend(of);
                posts.extend(posted);
            }
        }
        self.last = Some((records, posts));
        Ok(true)
    }

    /// Takes the last answer back: what was posted for it is struck, the latest first.
    fn undo(&mut self, desk: &Desk<'_>) -> Result<(), Error> {
        let Some((records, posted)) = self.last.take() else {
            return Ok(());
        };
        for event_id in posted.iter().rev() {
            let strike = Kind::StruckOut(v1::StruckOut {
                event_id: event_id.to_vec(),
                reason: self.why.unwrap_or("taken back at once").to_owned(),
            });
            post::post(self.context, &desk.paperwork(strike)?)?;
        }
        for record in &records {
            self.seen.remove(&asked(record));
            self.settled = self.settled.saturating_sub(1);
            let back = format!("The answer to event {} is taken back.", record.seq);
            office::say(&back);
        }
        Ok(())
    }

    /// The posts of this device, the oldest first.
    fn posts(&self) -> Result<Vec<EventId>, Error> {
        let mut device = self.context.device()?;
        device.spool_mut().refresh()?;
        let all = device.spool().posts().all();
        Ok(all.iter().map(|entry| entry.event_id).collect())
    }
}

impl Desk<'_> {
    /// Shows what a value that was typed would change, before it is posted.
    fn agrees(&self, target: &OddRecord, chosen: &Offered) -> Result<bool, Error> {
        let Some(typed) = chosen.typed() else {
            return Ok(true);
        };
        if !matches!(typed, Typed::End(_) | Typed::Took(_)) {
            return Ok(true);
        }
        let answer = self.read(&Target::of(target), &typed)?;
        let Some(us) = offer::changes(target, &typed, answer.value_us) else {
            return Ok(true);
        };
        let effect = offer::effect(target, us);
        office::say(&format!("  {}: {effect}", answer.words));
        office::prompt("Enter posts it, another key does not: ")?;
        let key = ask::key()?;
        office::say("");
        Ok(matches!(key, Some('\n' | '\r')))
    }

    /// A time of day in a command of another kind means the last such time
    /// before the record, not before now.
    fn instant(&self, typed: &str, target: &OddRecord) -> Result<String, Error> {
        let at = time::parse_at(typed, &self.zone, Micros(target.occurred_us))
            .map_err(|error| Error::refused(format!("{error}.")))?;
        Ok(at.timestamp().to_string())
    }
}

/// The records of a kind that have a likely answer which needs nothing more.
fn like<'r>(target: &OddRecord, rest: &[&'r OddRecord]) -> Vec<(&'r OddRecord, Offered)> {
    rest.iter()
        .filter(|record| record.code == target.code)
        .filter_map(|record| {
            let likely = offer::of(record).into_iter().find(|o| o.proposed)?;
            // A fact of another kind can answer several records at once.
            let ready = likely.question().is_none() && likely.typed().is_some();
            ready.then_some((*record, likely))
        })
        .collect()
}

fn line(number: usize, choice: &Offered, target: &OddRecord) -> String {
    let likely = if choice.proposed { " (likely)" } else { "" };
    let more = if choice.question().is_some() {
        " ..."
    } else {
        ""
    };
    let effect = effect_of(choice, target);
    format!("  {number}  {}{more}{likely}{effect}", choice.words)
}

fn effect_of(choice: &Offered, target: &OddRecord) -> String {
    choice
        .changes_us
        .map_or_else(String::new, |us| format!(": {}", offer::effect(target, us)))
}

/// The keys beside the digits.
fn keys(like: usize, undo: bool) -> String {
    let mut keys = vec!["A digit".to_owned(), "Enter: later".to_owned()];
    if like > 1 {
        keys.push(format!("a: the likely answer to all {like} of this kind"));
    }
    if undo {
        keys.push("u: take the last answer back".to_owned());
    }
    keys.push("q: stop".to_owned());
    keys.join(", ")
}

#[derive(Debug, PartialEq)]
enum Read {
    Chosen(usize),
    All,
    Undo,
    Later,
    Stop,
    Unclear,
}

fn read(key: Option<char>, choices: usize) -> Read {
    /// Ctrl-D, which a terminal hands over as a key.
    const END_OF_INPUT: char = '\u{4}';
    let Some(key) = key else {
        return Read::Stop;
    };
    match key {
        '\n' | '\r' => Read::Later,
        'a' | 'A' => Read::All,
        'u' | 'U' => Read::Undo,
        'q' | 'Q' | END_OF_INPUT => Read::Stop,
        digit => digit
            .to_digit(10)
            .and_then(|n| usize::try_from(n).ok()?.checked_sub(1))
            .filter(|index| *index < choices)
            .map_or(Read::Unclear, Read::Chosen),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::render::fixture;

    #[test]
    fn a_choice_says_what_it_would_change() {
        let target = fixture::odd(4711, "", "bay settle 4711 --end 17:30");
        let choices = offer::of(&target);
        assert_eq!(
            line(1, &choices[0], &target),
            "  1  as proposed (likely): changes no labour"
        );
        let mut open = fixture::odd(4711, "", "bay settle 4711 --end TIME");
        open.answers[0].changes_us = None;
        open.answers[0].proposed = false;
        assert_eq!(line(2, &offer::of(&open)[0], &open), "  2  as proposed ...");
    }

    #[test]
    fn a_digit_chooses_and_enter_leaves_it_for_later() {
        for (key, expected) in [
            (Some('1'), Read::Chosen(0)),
            (Some('6'), Read::Chosen(5)),
            (Some('\n'), Read::Later),
            (Some('a'), Read::All),
            (Some('u'), Read::Undo),
            (Some('q'), Read::Stop),
            (None, Read::Stop),
            (Some('0'), Read::Unclear),
            (Some('7'), Read::Unclear),
            (Some('-'), Read::Unclear),
        ] {
            assert_eq!(read(key, 6), expected, "{key:?}");
        }
    }

    #[test]
    fn only_records_of_the_same_kind_with_a_likely_answer_are_answered_together() {
        let target = fixture::odd(1, "", "bay settle 1 --end 17:30");
        let other = OddRecord {
            code: "unknown-code".to_owned(),
            ..target.clone()
        };
        let open = fixture::odd(2, "", "bay settle 2 --end TIME");
        let same = fixture::odd(3, "", "bay settle 3 --end 18:00");
        let rest = [&target, &other, &open, &same];
        let seqs: Vec<u64> = like(&target, &rest).iter().map(|(r, _)| r.seq).collect();
        assert_eq!(seqs, [1, 3]);
    }
}
