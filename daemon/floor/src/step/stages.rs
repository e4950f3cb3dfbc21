//! Stages: who is hands-on on what. A worker is on one at a time.

use baywright_terms::code::Code;
use baywright_terms::time::Micros;

use crate::catalogues::Catalogues;
use crate::event::{EventId, JobKey, Seq};
use crate::fact::{Answer, Fact};
use crate::notice::Notice;
use crate::reply;
use crate::row::{Ended, HandsOn, Row};
use crate::state::{Aside, Hand, OnBreak, Run, State, Stretch};

use super::folding::{Folding, notice_about};
use super::{dwell, surfaces};

/// Hands-on begins on a stage; every worker named leaves what they were on.
pub(crate) fn started(f: &mut Folding<'_>, stage: &Code, panels: &[Code], rework: bool) {
    let Some((key, job)) = f.open_job() else {
        // The workers are on something else now, even if nobody knows on what.
        for hand in f.hands_or_unnamed(&f.event.bay) {
            leave_for(f, &hand, None);
        }
        return;
    };
    let comeback = job.comeback;
    let event = f.event.id;
    let record = job_stage(f, key, stage);
    let (run, reworked) = match record {
        None => return,
        Some(record) => {
            let again = record.finished && record.again;
            let run = record.run.get_or_insert_with(|| Run {
                id: event,
                rework: rework || again || comeback,
                hands: std::collections::BTreeMap::new(),
            });
            (run.id, run.rework || rework)
        }
    };
    let bay = f.work_bay(key);
    for (index, hand) in f.hands_or_unnamed(&bay).into_iter().enumerate() {
        begin(f, &hand, (key, stage, run, reworked), index);
    }
    surfaces::of_stage(f, key, stage, panels);
}

fn job_stage<'s>(
    f: &'s mut Folding<'_>,
    key: JobKey,
    stage: &Code,
) -> Option<&'s mut crate::state::StageRecord> {
    let job = f.state.jobs.get_mut(&key)?;
    Some(job.stages.entry(stage.clone()).or_default())
}

/// Puts a worker on a run. `share` is the worker's index among those who begin
/// by this event, for an end in labour that the owner gave.
pub(crate) fn begin(
    f: &mut Folding<'_>,
    hand: &Hand,
    (key, stage, run, rework): (JobKey, &Code, EventId, bool),
    share: usize,
) {
    let bay = f.work_bay(key);
    let unnamed = Hand::unnamed(&bay);
    // The unnamed worker is that of the bay where the job is now.
    let left = hand;
    let hand = if hand.worker.is_empty() {
        &unnamed
    } else {
        hand
    };
    f.state.breaks.remove(left);
    f.state.breaks.remove(hand);
    let on_it_already = f
        .state
        .hands
        .get(hand)
        .is_some_and(|s| s.job == key && s.stage == *stage && s.bay == bay);
    let fixed_end = reply::end_of(&f.entry.settled, &hand.worker, f.at, (share, f.by.len()));
    if on_it_already && fixed_end.is_none() {
        return;
    }
    leave_for(f, hand, Some((key, stage)));
    for job in f.state.jobs.values_mut() {
        for dwell in &mut job.dwells {
            dwell.freed.retain(|freed| freed != hand && freed != left);
        }
    }
    let run_of_stage = f
        .state
        .jobs
        .get_mut(&key)
        .and_then(|job| job.stages.get_mut(stage))
        .and_then(|record| record.run.as_mut());
    if let Some(run) = run_of_stage {
        if let Some(on_run) = run.hands.get_mut(left) {
            on_run.aside = None;
        }
        run.hands.entry(hand.clone()).or_default().aside = None;
    }
    let day = f.snapshot.shop_day(f.at);
    let stretch = Stretch {
        job: key,
        stage: stage.clone(),
        run,
        rework,
        bay,
        begun: f.begun(),
        last_post: f.at,
        closing: day.closing,
        next_opening: day.next_opening,
        fixed_end,
    };
    f.state.hands.insert(hand.clone(), stretch);
}

/// Ends what a worker was on because they start something else, and says so.
fn leave_for(f: &mut Folding<'_>, hand: &Hand, to: Option<(JobKey, &Code)>) {
    let Some(left) = end(f, hand, Ended::Elsewhere) else {
        return;
    };
    if to != Some((left.job, &left.stage)) {
        f.notice(Notice::EndedElsewhere {
            worker: hand.worker.clone(),
            worked_us: f.at.0.saturating_sub(left.begun.at.0),
            stage: left.stage,
            job: left.job,
            bay: left.bay,
        });
    }
}

/// Ends a worker's stretch now.
pub(crate) fn end(f: &mut Folding<'_>, hand: &Hand, ended: Ended) -> Option<Stretch> {
    let seq = Some(f.event.seq);
    let reason = match &f.event.fact {
        Fact::StagePaused { reason, .. } => reason.as_str(),
        _ => "",
    };
    let end = End {
        until: f.at,
        ended,
        seq,
        reason,
    };
    end_at(f.state, f.cats, hand, end, f.out)
}

/// How a stretch ends.
#[derive(Debug, Clone, Copy)]
pub(crate) struct End<'a> {
    pub(crate) until: Micros,
    pub(crate) ended: Ended,
    /// The event that ends it; `None` where time alone does.
    pub(crate) seq: Option<Seq>,
    /// Words given with a pause or break.
    pub(crate) reason: &'a str,
}

impl End<'_> {
    /// An end by time alone.
    pub(crate) fn in_time(until: Micros, ended: Ended) -> Self {
        Self {
            until,
            ended,
            seq: None,
            reason: "",
        }
    }
}

/// Ends a worker's stretch at an instant; emits its row, and asks about breaks
/// that it crossed.
pub(crate) fn end_at(
    state: &mut State,
    cats: &Catalogues,
    hand: &Hand,
    end: End<'_>,
    out: &mut Vec<Row>,
) -> Option<Stretch> {
    let stretch = state.hands.remove(hand)?;
    let ended = end.ended;
    let until = end.until.max(stretch.begun.at);
    let crossed = breaks_crossed(cats, hand, &stretch, until, ended);
    let off: Vec<(Micros, Micros)> = crossed
        .iter()
        .filter(|(notice, ..)| {
            let answer = reply::to(&stretch.begun.settled, notice);
            matches!(answer, Some(Answer::BreakOff))
        })
        .map(|(_, from, until)| (*from, *until))
        .collect();
    let rows = hands_on(hand, &stretch, End { until, ..end }, &off);
    let run = state
        .jobs
        .get_mut(&stretch.job)
        .and_then(|job| job.stages.get_mut(&stretch.stage))
        .and_then(|record| record.run.as_mut())
        .filter(|run| run.id == stretch.run);
    if let Some(run) = run {
        let on_run = run.hands.entry(hand.clone()).or_default();
        for row in &rows {
            let length = row.until.0.saturating_sub(row.from.0);
            on_run.worked_us = on_run.worked_us.saturating_add(length);
        }
        let is_aside = !matches!(ended, Ended::Done | Ended::Again);
        on_run.aside = is_aside.then_some(Aside {
            at: until,
            why: ended,
        });
    }
    if !rows.is_empty() {
        out.extend(rows.into_iter().map(Row::HandsOn));
        let about = |notice| notice_about(&stretch.begun, Some(stretch.job), notice);
        out.extend(crossed.into_iter().map(|(notice, ..)| about(notice)));
    }
    Some(stretch)
}

/// The breaks that a stretch ran across, each with the notice that asks about it.
///
/// One that was cut is asked about anyway, and one whose labour the owner gave
/// has no break in it.
fn breaks_crossed(
    cats: &Catalogues,
    hand: &Hand,
    stretch: &Stretch,
    until: Micros,
    ended: Ended,
) -> Vec<(Notice, Micros, Micros)> {
    let settled = &stretch.begun.settled;
    let asks = match ended {
        Ended::Unclosed => false,
        // Only where it is an instant that was given does nobody know.
        Ended::Settled => stretch.fixed_end.is_some() && !reply::is_labour(settled, &hand.worker),
        _ => true,
    };
    if !asks {
        return Vec::new();
    }
    let breaks = cats
        .at(stretch.begun.at)
        .breaks_within(stretch.begun.at, until);
    let asked = |(from, until)| {
        let notice = Notice::BreakCrossed {
            stage: stretch.stage.clone(),
            worker: hand.worker.clone(),
            from,
            until,
        };
        (notice, from, until)
    };
    breaks.into_iter().map(asked).collect()
}

/// The rows of a stretch, one for each piece between the breaks that come off;
/// none where it is left out.
pub(crate) fn hands_on(
    hand: &Hand,
    stretch: &Stretch,
    end: End<'_>,
    off: &[(Micros, Micros)],
) -> Vec<HandsOn> {
    if stretch.begun.is_left_out_for(&hand.worker) {
        return Vec::new();
    }
    let piece = |from: Micros, end: End<'_>| HandsOn {
        job: stretch.job,
        stage: stretch.stage.clone(),
        run: stretch.run,
        worker: hand.worker.clone(),
        bay: stretch.bay.clone(),
        from,
        until: end.until,
        ended: end.ended,
        reason: end.reason.to_owned(),
        rework: stretch.rework,
        seq_from: stretch.begun.seq,
        seq_until: end.seq,
    };
    let mut from = stretch.begun.at;
    let mut rows = Vec::with_capacity(off.len() + 1);
    for (begins, ends) in off {
        // Breaks of a catalogue may touch the beginning, or each other.
        if *begins > from {
            rows.push(piece(from, End::in_time(*begins, Ended::Break)));
        }
        from = from.max(*ends);
    }
    rows.push(piece(from, end));
    rows
}

/// Ends all hands-on of a job, and gives the stages that ran.
pub(crate) fn end_all_of_job(f: &mut Folding<'_>, key: JobKey, ended: Ended) -> Vec<Code> {
    let hands = hands_on_job(f.state, key, &Code::new(""));
    let mut stages: Vec<Code> = hands
        .iter()
        .filter_map(|hand| end(f, hand, ended))
        .map(|stretch| stretch.stage)
        .collect();
    f.fill_by(&hands);
    stages.sort_unstable();
    stages.dedup();
    stages
}

/// Who is hands-on on a job, and on a stage of it where one is given.
pub(crate) fn hands_on_job(state: &State, key: JobKey, stage: &Code) -> Vec<Hand> {
    state
        .hands
        .iter()
        .filter(|(_, s)| s.job == key && (stage.is_empty() || s.stage == *stage))
        .map(|(hand, _)| hand.clone())
        .collect()
}

/// The hands an event means: those named who are on the stage of this job (or,
/// where no stage is named, on anything in this job or bay), else everyone on it.
fn meant(f: &Folding<'_>, key: JobKey, stage: &Code) -> Vec<Hand> {
    if f.by.is_empty() {
        return hands_on_job(f.state, key, stage);
    }
    let in_bay = stage.is_empty() && super::codes::leaves_job_to_fold(f.event);
    let is_on = |hand: &Hand| {
        f.state.hands.get(hand).is_some_and(|s| {
            (s.job == key && (stage.is_empty() || s.stage == *stage))
                || (in_bay && s.bay == f.event.bay)
        })
    };
    let named: Vec<Hand> = f.by.iter().map(Hand::named).filter(&is_on).collect();
    if named.is_empty() {
        // Who began without a name may end with one.
        let unnamed = Hand::unnamed(&f.work_bay(key));
        return is_on(&unnamed).then_some(unnamed).into_iter().collect();
    }
    named
}

/// A stage is done, for those named or for all on it.
pub(crate) fn finished(f: &mut Folding<'_>, stage: &Code, again: bool) {
    let Some((key, _)) = f.open_job() else {
        return;
    };
    let ended = if again { Ended::Again } else { Ended::Done };
    let hands = meant(f, key, stage);
    let mut runs: Vec<(JobKey, Code)> = hands
        .iter()
        .filter_map(|hand| end(f, hand, ended))
        .map(|stretch| (stretch.job, stretch.stage))
        .collect();
    f.fill_by(&hands);
    if runs.is_empty() {
        runs.extend(in_progress(f, key, stage).map(|stage| (key, stage)));
    }
    if runs.is_empty() {
        f.notice(Notice::NothingToEnd {
            stage: stage.clone(),
        });
    }
    runs.sort_unstable();
    runs.dedup();
    for (key, stage) in runs {
        close_run(f, key, &stage, again);
    }
}

/// A stage of the job in progress with nobody on it: the one named, else the
/// one laid aside last, by those named where somebody is named.
fn in_progress(f: &Folding<'_>, key: JobKey, stage: &Code) -> Option<Code> {
    let job = f.state.jobs.get(&key)?;
    let hands: Vec<Hand> = f.by.iter().map(Hand::named).collect();
    job.stages
        .iter()
        .filter(|(code, record)| {
            record.run.is_some()
                && (stage.is_empty() || *code == stage)
                && hands_on_job(f.state, key, code).is_empty()
        })
        .filter_map(|(code, record)| {
            let run = record.run.as_ref()?;
            let asides = run
                .hands
                .iter()
                .filter(|(hand, _)| !stage.is_empty() || hands.is_empty() || hands.contains(hand));
            let last = asides
                .filter_map(|(_, on_run)| on_run.aside.as_ref())
                .map(|aside| aside.at)
                .max()?;
            Some((last, code.clone()))
        })
        .max()
        .map(|(_, code)| code)
}

/// Ends a run once nobody is on it any more, and the dwells that began in it.
fn close_run(f: &mut Folding<'_>, key: JobKey, stage: &Code, again: bool) {
    if !hands_on_job(f.state, key, stage).is_empty() {
        return;
    }
    if let Some(record) = job_stage(f, key, stage) {
        record.finished = true;
        record.again = again;
        record.run = None;
    }
    dwell::end_of_stage(f, key, stage);
}

/// A stage is laid aside, or people go on a break.
pub(crate) fn paused(f: &mut Folding<'_>, stage: &Code, person: bool) {
    let key = f.open_job().map(|(key, _)| key);
    let hands = match (person, key) {
        (true, _) if !f.by.is_empty() => f.by.iter().map(Hand::named).collect(),
        (true, None) => Vec::new(),
        (_, Some(key)) => meant(f, key, if person { &EMPTY } else { stage }),
        // That no job is here has been said.
        (false, None) => return,
    };
    if hands.is_empty() {
        f.notice(Notice::NothingToEnd {
            stage: stage.clone(),
        });
    }
    f.fill_by(&hands);
    for hand in hands {
        if !person {
            end(f, &hand, Ended::Paused);
            continue;
        }
        end(f, &hand, Ended::Break);
        let on_break = OnBreak {
            since: f.at,
            until: f.snapshot.shop_day(f.at).next_opening,
        };
        f.state.breaks.insert(hand, on_break);
    }
}

/// What was laid aside goes on.
pub(crate) fn resumed(f: &mut Folding<'_>, stage: &Code) {
    let Some((key, _)) = f.open_job() else {
        return;
    };
    let picked: Vec<(Hand, JobKey, Code)> = if f.by.is_empty() {
        last_aside_of_job(f, key, stage)
    } else {
        // What was laid aside without a name may go on with one.
        let unnamed = Hand::unnamed(&f.work_bay(key));
        let by = f.by.iter().map(Hand::named);
        by.filter_map(|hand| {
            let (key, stage) = aside_of_hand(f.state, &hand, key, stage)
                .or_else(|| aside_of_hand(f.state, &unnamed, key, stage))?;
            Some((hand, key, stage))
        })
        .collect()
    };
    let waits =
        f.by.iter()
            .any(|w| f.state.breaks.contains_key(&Hand::named(w)));
    if picked.is_empty() && !stage.is_empty() {
        // Nobody had laid it aside: whoever resumes a stage is on it from now.
        started(f, stage, &[], false);
        return;
    }
    if picked.is_empty() && !waits {
        f.notice(Notice::NothingToResume {
            stage: stage.clone(),
        });
    }
    let by: Vec<Hand> = f.by.iter().map(Hand::named).collect();
    for hand in &by {
        f.state.breaks.remove(hand);
    }
    let hands: Vec<Hand> = picked.iter().map(|(hand, ..)| hand.clone()).collect();
    f.fill_by(&hands);
    for (index, (hand, key, stage)) in picked.into_iter().enumerate() {
        if let Some((run, rework)) = run_of(f.state, key, &stage) {
            begin(f, &hand, (key, &stage, run, rework), index);
        }
    }
}

pub(crate) fn run_of(state: &State, key: JobKey, stage: &Code) -> Option<(EventId, bool)> {
    let run = state.jobs.get(&key)?.stages.get(stage)?.run.as_ref()?;
    Some((run.id, run.rework))
}

/// What a worker laid aside last: the stage named on this job, else on this
/// job, else on any.
fn aside_of_hand(state: &State, hand: &Hand, key: JobKey, stage: &Code) -> Option<(JobKey, Code)> {
    let asides = || {
        state
            .jobs
            .iter()
            .filter(|(_, job)| job.is_open())
            .flat_map(|(key, job)| {
                job.stages
                    .iter()
                    .map(move |(code, record)| (key, code, record))
            })
            .filter_map(|(key, code, record)| {
                let aside = record.run.as_ref()?.hands.get(hand)?.aside.as_ref()?;
                Some((aside.at, *key, code.clone()))
            })
    };
    let here = asides().filter(|(_, on, code)| *on == key && (stage.is_empty() || code == stage));
    let found = here.max();
    let found = match found {
        None if stage.is_empty() => asides().max(),
        found => found,
    };
    found.map(|(_, key, code)| (key, code))
}

/// Those who laid a stage of the job aside last, together.
fn last_aside_of_job(f: &Folding<'_>, key: JobKey, stage: &Code) -> Vec<(Hand, JobKey, Code)> {
    let Some(job) = f.state.jobs.get(&key) else {
        return Vec::new();
    };
    let asides: Vec<(Micros, &Code, &Hand)> = job
        .stages
        .iter()
        .filter(|(code, _)| stage.is_empty() || *code == stage)
        .filter_map(|(code, record)| Some((code, record.run.as_ref()?)))
        .flat_map(|(code, run)| run.hands.iter().map(move |(hand, on)| (code, hand, on)))
        .filter(|(_, hand, _)| !f.state.hands.contains_key(*hand))
        .filter_map(|(code, hand, on)| Some((on.aside.as_ref()?.at, code, hand)))
        .collect();
    let Some((at, code)) = asides.iter().map(|(at, code, _)| (*at, *code)).max() else {
        return Vec::new();
    };
    asides
        .into_iter()
        .filter(|(when, of, _)| *when == at && *of == code)
        .map(|(_, code, hand)| (hand.clone(), key, code.clone()))
        .collect()
}

static EMPTY: std::sync::LazyLock<Code> = std::sync::LazyLock::new(|| Code::new(""));
