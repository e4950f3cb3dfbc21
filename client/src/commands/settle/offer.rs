//! The answers that the daemon offers to an odd record: what each would change,
//! and which question of the record a typed answer is to. Pure.

use baywright_proto::v1::{OddAnswer, OddRecord};
use clap::Parser as _;

use super::answer::Typed;
use crate::args::{Cli, Command};
use crate::error::Error;
use crate::render::figure;

/// What stands in a command for a value that is still to be said, with the
/// question for it.
const OPEN: [(&str, &str); 4] = [
    ("TIME", "When? For example 17:20, or 2026-11-24 17:20: "),
    ("SPAN", "How much labour? For example 45m or 1h30m: "),
    ("CODE", "Which code? "),
    ("JOB", "Which job? "),
];

/// One way to settle a record, ready to be carried out.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Offered {
    pub(super) words: String,
    pub(super) changes_us: Option<i64>,
    pub(super) proposed: bool,
    /// The command line, word by word, without `bay`.
    command: Vec<String>,
}

impl Offered {
    fn of(answer: &OddAnswer) -> Option<Self> {
        let mut command = answer.command.split_whitespace().map(str::to_owned);
        (command.next()? == "bay").then(|| Self {
            words: answer.words.clone(),
            changes_us: answer.changes_us,
            proposed: answer.proposed,
            command: command.collect(),
        })
    }

    /// As it is typed.
    pub(super) fn command_line(&self) -> String {
        format!("bay {}", self.command.join(" "))
    }

    /// What is to be asked before it can be carried out.
    pub(super) fn question(&self) -> Option<&'static str> {
        let asked = |(name, question): &(&str, &'static str)| {
            self.command.iter().any(|w| w == name).then_some(*question)
        };
        OPEN.iter().find_map(asked)
    }

    /// The same with the value that was left to be said.
    pub(super) fn filled(&self, value: &str) -> Self {
        let fill = |word: &String| {
            if OPEN.iter().any(|(name, _)| word == name) {
                value.to_owned()
            } else {
                word.clone()
            }
        };
        Self {
            command: self.command.iter().map(fill).collect(),
            ..self.clone()
        }
    }

    /// The command line as the program reads it.
    pub(super) fn cli(&self) -> Option<Cli> {
        let words = ["bay".to_owned()].into_iter();
        Cli::try_parse_from(words.chain(self.command.iter().cloned())).ok()
    }

    /// Which of several questions its command names.
    pub(super) fn which(&self) -> Option<String> {
        match self.cli()?.command? {
            Command::Settle(args) => args.of.or(args.stage),
            _ => None,
        }
    }

    /// The settlement that it is; `None` where it is another command.
    pub(super) fn typed(&self) -> Option<Typed> {
        let cli = self.cli()?;
        match cli.command? {
            Command::Settle(args) => Typed::of(&args.answer, cli.common.job.as_deref()).ok()?,
            _ => None,
        }
    }
}

/// The answers that a record offers; those of a newer daemon that this program
/// cannot read are left out.
pub(super) fn of(record: &OddRecord) -> Vec<Offered> {
    record
        .answers
        .iter()
        .filter_map(Offered::of)
        .filter(|offered| offered.cli().is_some())
        .collect()
}

/// True where an answer makes sense for a record. That it is right as it stands,
/// or happened at another time, can be said of any; a daemon that offers nothing leaves it to the owner.
fn takes(record: &OddRecord, typed: &Typed) -> bool {
    record.answers.is_empty()
        || matches!(typed, Typed::AsIs | Typed::Happened(_))
        || of(record)
            .iter()
            .filter_map(Offered::typed)
            .any(|offered| offered.is_like(typed))
}

/// Which question of an event an answer is to.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Aim {
    /// Empty: whatever the answer fits.
    pub(super) question: String,
    /// Empty: all of that question.
    pub(super) of: String,
}

/// The questions of an event that a typed answer is to, with the records that
/// ask them.
///
/// # Errors
/// Where no question takes the answer, or one has to be named.
pub(super) fn aims<'r>(
    records: &[&'r OddRecord],
    typed: &Typed,
    which: Option<&str>,
) -> Result<Vec<(Aim, Vec<&'r OddRecord>)>, Error> {
    if records.is_empty() {
        return Ok(vec![(aim_of_none(typed, which), Vec::new())]);
    }
    let fits: Vec<&OddRecord> = records
        .iter()
        .copied()
        .filter(|r| which.is_none_or(|which| r.of == which) && takes(r, typed))
        .collect();
    // What waits comes before what has been answered already.
    let open: Vec<&OddRecord> = fits.iter().copied().filter(|r| !r.settled).collect();
    let fits = if open.is_empty() { fits } else { open };
    let Some(first) = fits.first() else {
        return Err(no_fit(records, which));
    };
    if matches!(typed, Typed::Code(_)) {
        return Ok(vec![(aim(first), vec![first])]);
    }
    if fits.len() > 1 && matches!(typed, Typed::Took(_)) && first.code == "undeclared" {
        return Err(which_stage(&fits));
    }
    // An end is that of all who worked, and labour is shared by them. What else
    // is answered at once is answered one by one, so that what was answered
    // before stays.
    let shared = matches!(typed, Typed::End(_) | Typed::Took(_));
    let mut aims: Vec<(Aim, Vec<&OddRecord>)> = Vec::new();
    for record in &fits {
        let same = |(aim, _): &&mut (Aim, Vec<&OddRecord>)| shared && aim.question == record.code;
        match aims.iter_mut().find(same) {
            Some((aim, records)) => {
                aim.of.clear();
                records.push(record);
            }
            None => aims.push((aim(record), vec![record])),
        }
    }
    Ok(aims)
}

/// The question of an event that asks none: it was answered before in a way
/// that left nothing to ask, or a script knows better.
fn aim_of_none(typed: &Typed, which: Option<&str>) -> Aim {
    let question = match typed {
        Typed::NotDone => "undeclared",
        Typed::BreakOff => "break-crossed",
        Typed::Code(_) => "unknown-code",
        Typed::Job(_) => "no-job-here",
        Typed::End(_) | Typed::Took(_) => "unclosed",
        Typed::AsIs | Typed::LeaveOut | Typed::Happened(_) => "",
    };
    Aim {
        question: question.to_owned(),
        of: which.unwrap_or_default().to_owned(),
    }
}

/// The question that a record asks.
fn aim(record: &OddRecord) -> Aim {
    Aim {
        question: record.code.clone(),
        of: record.of.clone(),
    }
}

fn no_fit(records: &[&OddRecord], which: Option<&str>) -> Error {
    let seq = records.first().map_or(0, |r| r.seq);
    let named = which.filter(|which| records.iter().all(|r| r.of != *which));
    if let Some(which) = named {
        let known: Vec<&str> = records.iter().map(|r| r.of.as_str()).collect();
        return Error::refused(format!("Event {seq} asks nothing about `{which}`."))
            .with_hint(format!("It asks about: {}.", known.join(", ")));
    }
    let mut said: Vec<String> = Vec::new();
    for record in records {
        said.push(record.text.clone());
        said.extend(record.answers.iter().map(|a| format!("{}.", a.command)));
    }
    Error::refused(format!("That is no answer to event {seq}.")).with_hint(said.join(" "))
}

fn which_stage(records: &[&OddRecord]) -> Error {
    let stages: Vec<&str> = records.iter().map(|r| r.of.as_str()).collect();
    Error::usage("Which stage took that long?").with_hint(format!(
        "Say it for each, with --stage: {}.",
        stages.join(", ")
    ))
}

/// What a typed answer adds to the labour that is counted now; `None` where
/// that is not known, or where it is not about labour.
///
/// `end_us` is the end that was typed, `took_us` the labour.
pub(super) fn changes(record: &OddRecord, typed: &Typed, value_us: Option<i64>) -> Option<i64> {
    let counted = (record.counted_until_us != 0).then(|| {
        record
            .counted_until_us
            .saturating_sub(record.counted_from_us)
    });
    // What another record ended can only have ended earlier.
    let at_most = |us: i64| match record.code.as_str() {
        "break-crossed" => us.min(0),
        _ => us,
    };
    match (typed, value_us) {
        (Typed::End(_), Some(end_us)) if counted.is_some() => {
            Some(at_most(end_us.saturating_sub(record.counted_until_us)))
        }
        (Typed::Took(_), Some(took_us)) if record.code == "undeclared" => Some(took_us),
        (Typed::Took(_), Some(took_us)) => Some(at_most(took_us.saturating_sub(counted?))),
        (typed, _) => {
            let offers = of(record);
            let same = offers.iter().find(|o| o.typed().as_ref() == Some(typed));
            same.and_then(|offered| offered.changes_us)
        }
    }
}

/// What a change does to the figures, in words: `adds 1:20 to decon of job 118`.
pub(super) fn effect(record: &OddRecord, changes_us: i64) -> String {
    let mut what = crate::answer::plain(&record.stage).into_owned();
    if record.job_number != 0 {
        what = format!("{what} of job {}", record.job_number);
    }
    let size = figure::hours_minutes(changes_us.saturating_abs());
    match changes_us {
        0 => "changes no labour".to_owned(),
        1.. => format!("adds {size} to {what}"),
        _ => format!("takes {size} off {what}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::render::fixture::{self, MIN};

    fn asked(code: &str, of: &str, commands: &[&str]) -> OddRecord {
        OddRecord {
            code: code.to_owned(),
            of: of.to_owned(),
            answers: commands
                .iter()
                .map(|command| OddAnswer {
                    command: (*command).to_owned(),
                    ..OddAnswer::default()
                })
                .collect(),
            ..fixture::odd(4711, "Something.", "")
        }
    }

    fn unclosed(of: &str) -> OddRecord {
        asked(
            "unclosed",
            of,
            &["bay settle 4711 --end TIME", "bay settle 4711 --took SPAN"],
        )
    }

    fn undeclared(stage: &str) -> OddRecord {
        asked(
            "undeclared",
            stage,
            &["bay settle 4711 --not-done", "bay settle 4711 --took SPAN"],
        )
    }

    fn unknown(code: &str) -> OddRecord {
        asked("unknown-code", code, &["bay settle 4711 --code CODE"])
    }

    fn aimed(
        records: &[OddRecord],
        typed: &Typed,
        which: Option<&str>,
    ) -> Result<Vec<(String, String)>, Error> {
        let records: Vec<&OddRecord> = records.iter().collect();
        let found = aims(&records, typed, which)?;
        Ok(found.into_iter().map(|(a, _)| (a.question, a.of)).collect())
    }

    fn pairs(of: &[(&str, &str)]) -> Vec<(String, String)> {
        of.iter()
            .map(|(q, of)| ((*q).to_owned(), (*of).to_owned()))
            .collect()
    }

    #[test]
    fn an_answer_goes_to_the_question_that_takes_it() {
        let all = [unclosed("ana"), unclosed("ben"), unknown("polsh")];
        let end = Typed::End("17:20".to_owned());
        let code = Typed::Code("polish".to_owned());
        let took = Typed::Took("45m".to_owned());
        for (typed, which, expected) in [
            (&code, None, pairs(&[("unknown-code", "polsh")])),
            (&end, None, pairs(&[("unclosed", "")])),
            (&end, Some("ben"), pairs(&[("unclosed", "ben")])),
            (&took, None, pairs(&[("unclosed", "")])),
            (
                &Typed::AsIs,
                None,
                pairs(&[
                    ("unclosed", "ana"),
                    ("unclosed", "ben"),
                    ("unknown-code", "polsh"),
                ]),
            ),
        ] {
            assert_eq!(aimed(&all, typed, which).unwrap(), expected, "{typed:?}");
        }
    }

    #[test]
    fn an_answer_that_no_question_takes_is_refused_with_those_that_would_do() {
        let error = aimed(&[unclosed("ana")], &Typed::NotDone, None).unwrap_err();
        assert_eq!(error.kind(), crate::error::Kind::Refused);
        assert!(error.hint().unwrap().contains("--end TIME"), "{error:?}");
        let error = aimed(&[unclosed("ana")], &Typed::AsIs, Some("zed")).unwrap_err();
        assert!(error.message().contains("`zed`"), "{error:?}");
    }

    #[test]
    fn of_several_missing_stages_the_one_that_took_so_long_is_named() {
        let all = [undeclared("decon"), undeclared("dry")];
        let took = Typed::Took("45m".to_owned());
        let error = aimed(&all, &took, None).unwrap_err();
        assert!(error.hint().unwrap().contains("decon, dry"), "{error:?}");
        assert_eq!(
            aimed(&all, &took, Some("dry")).unwrap(),
            pairs(&[("undeclared", "dry")])
        );
        assert_eq!(
            aimed(&all, &Typed::NotDone, None).unwrap(),
            pairs(&[("undeclared", "decon"), ("undeclared", "dry")])
        );
    }

    #[test]
    fn what_was_answered_before_is_answered_again_only_where_nothing_waits() {
        let answered = OddRecord {
            settled: true,
            ..unclosed("ana")
        };
        let end = Typed::End("17:20".to_owned());
        let both = [answered.clone(), unclosed("ben")];
        assert_eq!(
            aimed(&both, &end, None).unwrap(),
            pairs(&[("unclosed", "ben")])
        );
        assert_eq!(
            aimed(&[answered], &end, None).unwrap(),
            pairs(&[("unclosed", "ana")])
        );
    }

    #[test]
    fn a_change_is_told_in_the_words_of_the_figures() {
        let record = unclosed("ana");
        let until = record.counted_until_us;
        for (typed, value_us, expected) in [
            (
                Typed::End(String::new()),
                until + 80 * MIN,
                "adds 1:20 to polish of job 118",
            ),
            (
                Typed::End(String::new()),
                until - 10 * MIN,
                "takes 0:10 off polish of job 118",
            ),
            (Typed::Took(String::new()), 40 * MIN, "changes no labour"),
        ] {
            let changes_us = changes(&record, &typed, Some(value_us)).unwrap();
            assert_eq!(effect(&record, changes_us), expected);
        }
        // What a later record ended did not end later.
        let crossed = OddRecord {
            code: "break-crossed".to_owned(),
            ..record
        };
        assert_eq!(
            changes(&crossed, &Typed::End(String::new()), Some(until + 80 * MIN)),
            Some(0)
        );
    }

    #[test]
    fn a_value_is_asked_for_and_put_where_it_was_left_out() {
        let offered = of(&asked(
            "bay-overfull",
            "",
            &[
                "bay move holding --job 117 --at TIME",
                "bay settle 4711 --as-is",
            ],
        ));
        assert!(
            offered[0]
                .question()
                .is_some_and(|q| q.starts_with("When?"))
        );
        let filled = offered[0].filled("2026-11-24 14:00");
        assert_eq!(filled.question(), None);
        let cli = filled.cli().unwrap();
        assert_eq!(cli.common.at.as_deref(), Some("2026-11-24 14:00"));
        assert_eq!(cli.common.job.as_deref(), Some("117"));
        assert_eq!(filled.typed(), None, "a move is no settlement");
        assert_eq!(offered[1].typed(), Some(Typed::AsIs));
    }
}
