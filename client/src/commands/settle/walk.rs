//! The records one at a time, each answered with one digit.

use baywright_proto::v1::{OddRecord, OddResponse};
use serde_json::{Value, json};

use super::answer::Typed;
use super::{Desk, Outcome};
use crate::ask;
use crate::commands::{office, page};
use crate::context::Context;
use crate::error::Error;
use crate::render::settle::{Detail, record};

/// One line of the choice: ready to post, or with a question left.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Choice {
    Ready(Typed),
    Ask(Open),
}

/// An answer whose value is still to be typed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Open {
    End,
    Took,
    Code,
    Job,
}

impl Open {
    fn line(self) -> &'static str {
        match self {
            Self::End => "it ended at ...",
            Self::Took => "it took ...",
            Self::Code => "another code was meant",
            Self::Job => "another job was meant",
        }
    }

    fn question(self) -> &'static str {
        match self {
            Self::End => "When did it end? For example 17:20: ",
            Self::Took => "How much labour did it take? For example 45m: ",
            Self::Code => "Which code? ",
            Self::Job => "Which job? ",
        }
    }

    fn with(self, answer: String) -> Typed {
        match self {
            Self::End => Typed::End(answer),
            Self::Took => Typed::Took(answer),
            Self::Code => Typed::Code(answer),
            Self::Job => Typed::Job(answer),
        }
    }
}

/// Every answer there is, for a record without a proposal.
fn plain_choices() -> Vec<Choice> {
    vec![
        Choice::Ready(Typed::AsIs),
        Choice::Ask(Open::End),
        Choice::Ask(Open::Took),
        Choice::Ask(Open::Code),
        Choice::Ask(Open::Job),
        Choice::Ready(Typed::LeaveOut),
    ]
}

/// The proposal first, then every other answer.
fn choices(odd: &OddRecord) -> Vec<Choice> {
    let mut choices = Vec::new();
    if let Some(proposed) = Typed::proposed(odd) {
        choices.push(Choice::Ready(proposed));
    }
    for choice in plain_choices() {
        if !choices.contains(&choice) {
            choices.push(choice);
        }
    }
    choices
}

fn line(choice: &Choice) -> String {
    match choice {
        Choice::Ask(open) => open.line().to_owned(),
        Choice::Ready(typed) => match typed {
            Typed::AsIs => "right as it stands".to_owned(),
            Typed::LeaveOut => "leave it out of every figure".to_owned(),
            Typed::End(end) => format!("it ended at {end}"),
            Typed::Took(took) => format!("it took {took}"),
            Typed::Code(code) => format!("{code} was meant"),
            Typed::Job(job) => format!("job {job} was meant"),
        },
    }
}

enum Next {
    Settled(Outcome),
    Later,
    Stop,
}

/// Asks about each record; an empty answer leaves it for later, `q` stops.
pub(super) fn through(
    context: &Context,
    odd: &OddResponse,
    why: Option<&str>,
) -> Result<Outcome, Error> {
    if odd.odd.is_empty() {
        return Ok(Outcome::new("Nothing to settle.", json!({ "odd": [] })));
    }
    let desk = Desk::new(context, &odd.zone);
    let mut settled = 0_usize;
    for (index, target) in odd.odd.iter().enumerate() {
        let shown = record(target, &desk.calendar(), Detail::Asked, page::columns());
        office::say(&format!("\n{} of {}: {shown}", index + 1, odd.odd.len()));
        match one(&desk, target, why)? {
            Next::Settled(outcome) => {
                settled += 1;
                office::say(&outcome.text);
            }
            Next::Later => {}
            Next::Stop => break,
        }
    }
    let left = odd.odd.len() - settled;
    let text = format!("\n{settled} settled, {left} left.");
    Ok(Outcome::new(text, Value::Null))
}

fn one(desk: &Desk<'_>, target: &OddRecord, why: Option<&str>) -> Result<Next, Error> {
    let choices = choices(target);
    let proposed = Typed::proposed(target).is_some();
    for (index, choice) in choices.iter().enumerate() {
        let mark = if proposed && index == 0 {
            " (proposed)"
        } else {
            ""
        };
        office::say(&format!("  {}  {}{mark}", index + 1, line(choice)));
    }
    loop {
        office::prompt("A digit, Enter for later, q to stop: ")?;
        let key = ask::key()?;
        office::say("");
        let typed = match read(key, &choices) {
            Read::Later => return Ok(Next::Later),
            Read::Stop => return Ok(Next::Stop),
            Read::Unclear => {
                office::say(&format!("A digit from 1 to {}, please.", choices.len()));
                continue;
            }
            Read::Chosen(Choice::Ready(typed)) => typed.clone(),
            Read::Chosen(Choice::Ask(open)) => match office::ask(open.question())? {
                None => return Ok(Next::Stop),
                Some(answer) if answer.is_empty() => continue,
                Some(answer) => open.with(answer),
            },
        };
        // What cannot be read or is refused is asked again; a daemon that went
        // away ends the walk.
        let outcome = desk
            .read(target, &typed)
            .and_then(|answer| desk.settle(target, answer, why));
        match outcome {
            Ok(outcome) => return Ok(Next::Settled(outcome)),
            Err(error) if error.kind() == crate::error::Kind::Refused => {
                office::say(error.message());
                office::say(error.hint().unwrap_or_default());
            }
            Err(error) => return Err(error),
        }
    }
}

#[derive(Debug, PartialEq)]
enum Read<'a> {
    Chosen(&'a Choice),
    Later,
    Stop,
    Unclear,
}

fn read(key: Option<char>, choices: &[Choice]) -> Read<'_> {
    /// Ctrl-D, which a terminal hands over as a key.
    const END_OF_INPUT: char = '\u{4}';
    let Some(key) = key else {
        return Read::Stop;
    };
    match key {
        '\n' | '\r' => Read::Later,
        'q' | 'Q' | END_OF_INPUT => Read::Stop,
        digit => digit
            .to_digit(10)
            .and_then(|n| usize::try_from(n).ok()?.checked_sub(1))
            .and_then(|index| choices.get(index))
            .map_or(Read::Unclear, Read::Chosen),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::render::fixture;

    #[test]
    fn the_proposal_comes_first_and_no_answer_twice() {
        let lines = |settle_with: &str| {
            choices(&fixture::odd(1, "", settle_with))
                .iter()
                .map(line)
                .collect::<Vec<_>>()
        };
        assert_eq!(
            lines("bay settle 4711 --end 17:20")
                .first()
                .map(String::as_str),
            Some("it ended at 17:20")
        );
        assert_eq!(lines("bay settle 4711 --end 17:20").len(), 7);
        assert_eq!(
            lines("bay settle 4711 --leave-out")
                .first()
                .map(String::as_str),
            Some("leave it out of every figure")
        );
        assert_eq!(lines("bay settle 4711 --leave-out").len(), 6);
        assert_eq!(lines("").len(), 6);
        assert!(lines("").len() < 10, "one digit chooses");
    }

    #[test]
    fn a_digit_chooses_and_enter_leaves_it_for_later() {
        let choices = plain_choices();
        assert_eq!(read(Some('1'), &choices), Read::Chosen(&choices[0]));
        assert_eq!(read(Some('\n'), &choices), Read::Later);
        assert_eq!(read(Some('q'), &choices), Read::Stop);
        assert_eq!(read(None, &choices), Read::Stop);
        for unclear in ['0', '7', 'x', '-'] {
            assert_eq!(read(Some(unclear), &choices), Read::Unclear, "{unclear}");
        }
    }
}
