//! The owner's answers to odd records: which question of an event each one
//! answers, and which of several answers hold.
//!
//! An event can be odd in several ways at once: a start by two people that
//! nothing ended, with a code that nobody knows. So an answer names the
//! question (the code of the notice) and, where the question comes more than
//! once, which of them. One that names none answers whatever it fits.

use baywright_terms::code::Code;
use baywright_terms::time::Micros;

use crate::fact::{Answer, Settled};
use crate::notice::Notice;
use crate::words;

/// Between a worker and the beginning of a break in [`subject`].
const OF_BREAK: char = '@';

/// Which of several questions of one kind a notice is: the code that is not
/// known, the stage without a record, the worker. Empty where there can be one.
pub fn subject(notice: &Notice) -> String {
    match notice {
        Notice::UnknownCode { code, .. } => code.to_string(),
        Notice::Unclosed { worker, .. } => worker.to_string(),
        Notice::BreakCrossed { worker, from, .. } => format!("{worker}{OF_BREAK}{}", from.0),
        Notice::AgainstRule { panel, .. } => panel.to_string(),
        Notice::Undeclared { stages } => match stages.as_slice() {
            [stage] => stage.to_string(),
            _ => String::new(),
        },
        _ => String::new(),
    }
}

/// True where an answer can be one to a notice at all.
pub fn fits(answer: &Answer, notice: &Notice) -> bool {
    match answer {
        Answer::AsIs | Answer::LeaveOut => true,
        Answer::End(_) => matches!(
            notice,
            Notice::Unclosed { .. } | Notice::BreakCrossed { .. }
        ),
        Answer::Took { .. } => matches!(
            notice,
            Notice::Unclosed { .. } | Notice::BreakCrossed { .. } | Notice::Undeclared { .. }
        ),
        Answer::Code(_) => matches!(notice, Notice::UnknownCode { .. }),
        Answer::Job(_) => matches!(
            notice,
            Notice::NoJobHere { .. } | Notice::UnknownJobNumber { .. } | Notice::JobNotOpen { .. }
        ),
        Answer::NotDone => matches!(notice, Notice::Undeclared { .. }),
        Answer::BreakOff => matches!(notice, Notice::BreakCrossed { .. }),
    }
}

/// True where a settlement answers a notice about its event.
pub fn answers(settled: &Settled, notice: &Notice) -> bool {
    // A job that was meant answers every question after the job, also the one
    // that it raises: that the job was not open then.
    let of_job = matches!(settled.answer, Answer::Job(_));
    fits(&settled.answer, notice)
        && (of_job || settled.question.is_empty() || settled.question == words::code(notice))
        && (settled.of.is_empty() || settled.of == subject(notice))
}

/// The latest answer to a notice, of the answers that hold.
pub(crate) fn to<'s>(held: &'s [Settled], notice: &Notice) -> Option<&'s Answer> {
    held.iter()
        .find(|settled| answers(settled, notice))
        .map(|settled| &settled.answer)
}

/// The answers that hold, the latest first, out of all in the order of the log.
///
/// A later answer replaces an earlier one to the same question, and one that
/// names no question replaces all before it. An event that was left out counts
/// again once something about it is answered otherwise.
pub(crate) fn held<'s>(oldest_first: impl DoubleEndedIterator<Item = &'s Settled>) -> Vec<Settled> {
    let mut held: Vec<Settled> = Vec::new();
    for settled in oldest_first.rev() {
        if !held.iter().any(|later| replaces(later, settled)) {
            held.push(settled.clone());
        }
    }
    held
}

fn replaces(later: &Settled, earlier: &Settled) -> bool {
    if later.question.is_empty() {
        return true;
    }
    if earlier.question.is_empty() {
        return matches!(earlier.answer, Answer::LeaveOut);
    }
    later.question == earlier.question && (later.of.is_empty() || later.of == earlier.of)
}

/// True where the event, or what one worker did by it, is left out of every figure.
pub(crate) fn left_out(held: &[Settled], worker: &Code) -> bool {
    held.iter()
        .any(|settled| matches!(settled.answer, Answer::LeaveOut) && is_about(settled, worker))
}

/// True where an answer is about the time of a worker, or about the whole event.
fn is_about(settled: &Settled, worker: &Code) -> bool {
    let of_worker = ["unclosed", "break-crossed"].contains(&settled.question.as_str());
    let of = settled.of.split(OF_BREAK).next().unwrap_or_default();
    !of_worker || settled.of.is_empty() || of == worker.as_str()
}

/// When the owner says that a worker's stretch ended.
///
/// Labour is shared evenly by the `sharers` who began together, unless it was
/// given for one of them; `share` is the index of this worker among them.
pub(crate) fn end_of(
    held: &[Settled],
    worker: &Code,
    began: Micros,
    (share, sharers): (usize, usize),
) -> Option<Micros> {
    held.iter().find_map(|settled| match settled.answer {
        _ if !is_about(settled, worker) => None,
        Answer::End(end) => Some(end.max(began)),
        Answer::Took { took_us } if settled.of.is_empty() => {
            let workers = i64::try_from(sharers.max(1)).unwrap_or(1);
            let extra = i64::try_from(share).is_ok_and(|share| share < took_us % workers);
            let took_us = (took_us / workers).max(0).saturating_add(i64::from(extra));
            Some(Micros(began.0.saturating_add(took_us)))
        }
        Answer::Took { took_us } => Some(Micros(began.0.saturating_add(took_us.max(0)))),
        _ => None,
    })
}

/// True where the end that holds was given as labour, without its breaks.
pub(crate) fn is_labour(held: &[Settled], worker: &Code) -> bool {
    held.iter()
        .filter(|settled| is_about(settled, worker))
        .find_map(|settled| match settled.answer {
            Answer::End(_) => Some(false),
            Answer::Took { .. } => Some(true),
            _ => None,
        })
        .unwrap_or(false)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::event::EventId;

    fn settled(question: &str, of: &str, answer: Answer) -> Settled {
        Settled {
            event: EventId([1; 16]),
            reason: String::new(),
            answer,
            question: question.to_owned(),
            of: of.to_owned(),
        }
    }

    fn held_of(all: &[Settled]) -> Vec<(String, String)> {
        held(all.iter())
            .into_iter()
            .map(|s| (s.question, s.of))
            .collect()
    }

    fn pairs(of: &[(&str, &str)]) -> Vec<(String, String)> {
        of.iter()
            .map(|(q, of)| ((*q).to_owned(), (*of).to_owned()))
            .collect()
    }

    #[test]
    fn answers_to_different_questions_hold_side_by_side_and_a_later_one_replaces_its_own() {
        let ana = settled("unclosed", "ana", Answer::AsIs);
        let ben = settled("unclosed", "ben", Answer::LeaveOut);
        let code = settled("unknown-code", "polsh", Answer::Code("polish".into()));
        let both = settled("unclosed", "", Answer::AsIs);
        let whole = settled("", "", Answer::AsIs);
        for (given, expected) in [
            (
                vec![ana.clone(), ben.clone(), code.clone()],
                pairs(&[
                    ("unknown-code", "polsh"),
                    ("unclosed", "ben"),
                    ("unclosed", "ana"),
                ]),
            ),
            (
                vec![ana.clone(), ana.clone()],
                pairs(&[("unclosed", "ana")]),
            ),
            (
                vec![code.clone(), ana.clone(), ben.clone(), both.clone()],
                pairs(&[("unclosed", ""), ("unknown-code", "polsh")]),
            ),
            (
                vec![code.clone(), ben.clone(), whole.clone()],
                pairs(&[("", "")]),
            ),
            (
                vec![whole.clone(), code],
                pairs(&[("unknown-code", "polsh"), ("", "")]),
            ),
        ] {
            assert_eq!(held_of(&given), expected, "{given:?}");
        }
    }

    #[test]
    fn what_was_left_out_counts_again_once_it_is_answered_otherwise() {
        let out = settled("", "", Answer::LeaveOut);
        let end = settled("unclosed", "ana", Answer::End(Micros(5)));
        assert!(left_out(&held([&out].into_iter()), &"ana".into()));
        assert!(!left_out(&held([&out, &end].into_iter()), &"ana".into()));
    }

    #[test]
    fn one_worker_can_be_left_out_and_the_other_not() {
        let held = [settled("unclosed", "ana", Answer::LeaveOut)];
        assert!(left_out(&held, &"ana".into()));
        assert!(!left_out(&held, &"ben".into()));
    }
}
