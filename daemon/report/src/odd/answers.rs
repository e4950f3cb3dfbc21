//! The answers that make sense to an odd record, the likeliest first.
//!
//! Each is a command line, so that what a person is offered and what a script
//! can say are the same. What is left to be said stands in capitals.

use std::collections::BTreeMap;

use baywright_floor::catalogues::Catalogues;
use baywright_floor::event::JobKey;
use baywright_floor::notice::{Notice, What};
use baywright_floor::reply;
use baywright_floor::row::NoticeRow;
use baywright_floor::words;
use baywright_terms::catalogue::{Catalogue, HOLDING};
use baywright_terms::code::{self, Code};
use baywright_terms::time::{DAY_US, HOUR_US, MINUTE_US, Micros, SECOND_US};
use jiff::tz::TimeZone;

use super::Labour;
use crate::figures::OddAnswer;
use crate::input::Index;

/// A stage that nothing ended is taken to have been forgotten, and its
/// allowance proposed, where it would otherwise count for more than so many
/// times that (a judgement, from memory; the owner decides).
const FORGOTTEN_TIMES: i64 = 2;

/// Most jobs of an overfull bay that are offered as the one that had left.
const LEFT_MAX: usize = 3;

/// Collects the answers to one record.
struct Offer<'a> {
    row: &'a NoticeRow,
    zone: &'a TimeZone,
    /// Put behind each settlement where the event has several such questions.
    which: String,
    /// Questions of this kind about the event that wait, this one among them.
    same: usize,
    answers: Vec<OddAnswer>,
}

pub(super) fn answers(
    index: &Index<'_>,
    catalogues: &Catalogues,
    row: &NoticeRow,
    labour: &Labour,
) -> Vec<OddAnswer> {
    let snapshot = catalogues.at(row.at);
    let mut offer = Offer {
        row,
        zone: &snapshot.zone,
        which: which(index, row),
        same: same(index, row).filter(|other| !other.settled).count(),
        answers: Vec::new(),
    };
    match &row.notice {
        Notice::Unclosed { cut_at, .. } => offer.unclosed(labour, *cut_at),
        Notice::BreakCrossed { .. } => offer.break_crossed(labour),
        Notice::Undeclared { .. } => offer.undeclared(labour),
        Notice::UnknownCode { what, code } => {
            offer.unknown_code(nearest(&snapshot.catalogue, *what, code), code);
        }
        Notice::NoJobHere { bay } => offer.no_job(job_near(index, bay, row.at)),
        Notice::UnknownJobNumber { .. } => offer.no_job(job_near(index, &row.bay, row.at)),
        Notice::JobNotOpen { .. } => offer.not_open(job_in(index, &row.bay, row.at)),
        Notice::BayOverfull { jobs, .. } => offer.overfull(index, jobs),
        Notice::ClockUnsure { .. } => {
            offer.settle("--as-is", "the time is right", None);
            offer.other_time();
        }
        Notice::InFuture { .. } => {
            offer.other_time();
            offer.settle("--as-is", "the time is right", None);
            offer.strike();
        }
        Notice::SetAside { .. } => {
            offer.settle("--as-is", "seen to: said again, or not needed", None);
        }
        Notice::MixOverdrawn { .. } | Notice::NoMix { .. } | Notice::UnitMismatch { .. } => {
            offer.settle("--as-is", "right as it stands", None);
            offer.settle("--leave-out", "leave it out of every figure", None);
        }
        _ => {
            offer.settle("--as-is", "it happened so", None);
            offer.strike();
        }
    }
    let sure = !matches!(
        row.notice,
        Notice::SetAside { .. } | Notice::InFuture { .. }
    );
    if let Some(first) = offer.answers.first_mut() {
        first.proposed = sure;
    }
    offer.answers
}

/// ` --stage decon` or ` --of ana` where the event has several such questions.
fn which(index: &Index<'_>, row: &NoticeRow) -> String {
    let of = reply::subject(&row.notice);
    if matches!(row.notice, Notice::Undeclared { .. }) {
        return format!(" --stage {of}");
    }
    if of.is_empty() || same(index, row).count() < 2 {
        String::new()
    } else {
        format!(" --of {of}")
    }
}

/// The questions of its kind about the event of a record, itself among them.
fn same<'i>(index: &'i Index<'_>, row: &'i NoticeRow) -> impl Iterator<Item = &'i NoticeRow> {
    let code = words::code(&row.notice);
    let of_event = index
        .notices
        .iter()
        .filter(move |other| other.event == row.event && words::code(&other.notice) == code);
    of_event.copied()
}

impl Offer<'_> {
    fn settle(&mut self, answer: &str, words: &str, changes_us: Option<i64>) {
        let command = format!("bay settle {} {answer}{}", self.row.seq.0, self.which);
        self.command(command, words, changes_us);
    }

    fn command(&mut self, command: String, words: &str, changes_us: Option<i64>) {
        self.answers.push(OddAnswer {
            command,
            words: words.to_owned(),
            changes_us,
            proposed: false,
        });
    }

    fn strike(&mut self) {
        let command = format!("bay strike {}", self.row.seq.0);
        self.command(command, "it never happened: strike it out", None);
    }

    /// What others refer to by its id, an opening, cannot be said anew.
    fn other_time(&mut self) {
        if self.row.job != Some(self.row.event) {
            self.settle("--happened TIME", "it happened at another time", None);
        }
    }

    fn unclosed(&mut self, labour: &Labour, cut_at: Micros) {
        let counted_us = labour.counted_us().unwrap_or(0);
        let end = (
            end_at(self.row.at, cut_at, self.zone),
            format!("it ended at {}, where it was cut", clock(cut_at, self.zone)),
        );
        let took = labour.allowance_us.filter(|us| *us < counted_us);
        let forgotten = took.is_some_and(|us| counted_us > us.saturating_mul(FORGOTTEN_TIMES));
        if !forgotten {
            self.settle(&end.0, &end.1, Some(0));
        }
        if let Some(us) = took {
            let words = format!("it took {}, as its allowance has it", words::length(us));
            let changes_us = us.saturating_sub(counted_us);
            self.settle(&format!("--took {}", span(us)), &words, Some(changes_us));
        }
        if forgotten {
            self.settle(&end.0, &end.1, Some(0));
        }
        self.settle("--end TIME", "it ended at another time", None);
        self.settle("--took SPAN", "it took so long", None);
        let none_us = counted_us.saturating_neg();
        self.settle("--leave-out", "leave it out of every figure", Some(none_us));
    }

    fn break_crossed(&mut self, labour: &Labour) {
        let off_us = labour.hangs_us.saturating_neg();
        self.settle("--break-off", "on the break: it comes off", Some(off_us));
        self.settle("--as-is", "worked through the break", Some(0));
        self.settle("--end TIME", "it ended at another time", None);
        self.settle("--took SPAN", "it took so long in all", None);
    }

    fn undeclared(&mut self, labour: &Labour) {
        let allowance = labour.allowance_us;
        if let Some(us) = allowance {
            let words = format!("done, in about {}, its allowance", words::length(us));
            self.settle(&format!("--took {}", span(us)), &words, Some(us));
        }
        self.settle("--not-done", "not done", Some(0));
        self.settle("--took SPAN", "done, in another time", None);
        self.settle("--as-is", "nobody knows", Some(0));
        if self.same > 1 {
            let command = format!("bay settle {} --not-done", self.row.seq.0);
            let none = format!("none of the {} missing stages was done", self.same);
            self.command(command, &none, Some(0));
        }
    }

    fn unknown_code(&mut self, nearest: Option<&str>, typed: &Code) {
        if let Some(nearest) = nearest {
            let answer = format!("--code {nearest}");
            self.settle(&answer, &format!("{nearest} was meant"), None);
        }
        let keep = format!("{typed} is right; it is not in the catalogue yet");
        self.settle("--as-is", &keep, None);
        self.settle("--code CODE", "another code was meant", None);
        self.strike();
    }

    fn no_job(&mut self, near: Option<u64>) {
        if let Some(number) = near {
            let words = format!("job {number} was meant");
            self.settle(&format!("--job {number}"), &words, None);
        }
        self.settle("--as-is", "it belongs to no job", None);
        self.settle("--job JOB", "another job was meant", None);
        self.strike();
    }

    fn not_open(&mut self, here: Option<u64>) {
        if let Some(number) = here {
            let words = format!("job {number} was meant, which stood there");
            self.settle(&format!("--job {number}"), &words, None);
        }
        self.settle("--as-is", "the job is right, after its release", None);
        self.settle("--job JOB", "another job was meant", None);
        self.strike();
    }

    /// The job that was there first had probably left, and nobody said so.
    fn overfull(&mut self, index: &Index<'_>, jobs: &[JobKey]) {
        let mut others: Vec<(Option<Micros>, u64)> = jobs
            .iter()
            .filter(|job| Some(**job) != self.row.job)
            .filter_map(|job| Some((came(index, *job, self.row), index.number(*job)?)))
            .collect();
        others.sort_unstable();
        let before = Micros(self.row.at.0.saturating_sub(1) / SECOND_US * SECOND_US);
        let at = format!(
            "{}T{}",
            before.civil(self.zone).date(),
            clock(before, self.zone)
        );
        for (_, number) in others.iter().take(LEFT_MAX) {
            let left = format!("bay move {HOLDING} --job {number} --at");
            let words = format!("job {number} had left just before");
            self.command(format!("{left} {at}"), &words, None);
        }
        if let [(_, number)] = others.as_slice() {
            let left = format!("bay move {HOLDING} --job {number} --at TIME");
            self.command(
                left,
                &format!("job {number} had left at another time"),
                None,
            );
        }
        self.settle("--as-is", "they were there together", None);
        self.strike();
    }
}

/// When a job came to the place where it is one too many.
fn came(index: &Index<'_>, job: JobKey, row: &NoticeRow) -> Option<Micros> {
    let stays = &index.jobs.get(&job)?.presences;
    stays
        .iter()
        .filter(|stay| stay.from <= row.at && stay.until.is_none_or(|until| row.at <= until))
        .map(|stay| stay.from)
        .max()
}

/// Where it was cut: a time of day means the first such time after the record.
fn end_at(began: Micros, cut_at: Micros, zone: &TimeZone) -> String {
    let clock = clock(cut_at, zone);
    let within_a_day = began <= cut_at && cut_at.0.saturating_sub(began.0) < DAY_US;
    if within_a_day {
        format!("--end {clock}")
    } else {
        format!("--end {}T{clock}", cut_at.civil(zone).date())
    }
}

/// `17:20`, or with its seconds where it has some.
fn clock(at: Micros, zone: &TimeZone) -> String {
    let civil = at.civil(zone);
    let format = if civil.second() == 0 {
        "%H:%M"
    } else {
        "%H:%M:%S"
    };
    civil.strftime(format).to_string()
}

/// A span as it is typed: `45m`, `1h30m`, `90s`.
fn span(us: i64) -> String {
    let (hours, minutes) = (us / HOUR_US, us % HOUR_US / MINUTE_US);
    let seconds = us % MINUTE_US / SECOND_US;
    let parts = [(hours, "h"), (minutes, "m"), (seconds, "s")];
    let mut said = String::new();
    for (count, unit) in parts.iter().filter(|(count, _)| *count > 0) {
        said.push_str(&count.to_string());
        said.push_str(unit);
    }
    if said.is_empty() {
        "0m".to_owned()
    } else {
        said
    }
}

/// The known code that was probably meant.
fn nearest<'c>(catalogue: &'c Catalogue, what: What, typed: &Code) -> Option<&'c str> {
    fn of<'c, T>(table: &'c BTreeMap<Code, T>, typed: &Code) -> Option<&'c str> {
        let known = table.keys().map(Code::as_str);
        let near = code::nearest(typed.as_str(), known.clone())
            .into_iter()
            .next();
        // One with a word more or less is meant as often as one with a slip.
        near.or_else(|| {
            let begins = |code: &&str| {
                let typed = typed.as_str();
                !code.is_empty() && (typed.starts_with(code) || code.starts_with(typed))
            };
            known.filter(begins).max_by_key(|code| code.len())
        })
    }
    match what {
        What::Bay | What::Place => of(&catalogue.bays, typed),
        What::Worker => of(&catalogue.workers, typed),
        What::Product => of(&catalogue.products, typed),
        What::Stage => of(&catalogue.stages, typed),
        What::JobType => of(&catalogue.job_types, typed),
        What::Panel => None,
    }
}

/// Number of the job that stood in the bay nearest in time, at most a day away.
fn job_near(index: &Index<'_>, bay: &Code, at: Micros) -> Option<u64> {
    let stays = index.jobs.values().flat_map(|rows| &rows.presences);
    let near = stays.filter(|stay| &stay.place == bay).filter_map(|stay| {
        let since = at.0.saturating_sub(stay.until.unwrap_or(at).0);
        let ahead = stay.from.0.saturating_sub(at.0);
        let away_us = since.max(ahead).max(0);
        let number = index.number(stay.job)?;
        (away_us < DAY_US).then_some((away_us, number))
    });
    near.min().map(|(_, number)| number)
}

/// Number of the job that stood in the bay at an instant.
fn job_in(index: &Index<'_>, bay: &Code, at: Micros) -> Option<u64> {
    let stays = index.jobs.values().flat_map(|rows| &rows.presences);
    let there = stays.filter(|stay| {
        &stay.place == bay && stay.from <= at && stay.until.is_none_or(|until| at < until)
    });
    there
        .max_by_key(|stay| stay.from)
        .and_then(|stay| index.number(stay.job))
}
