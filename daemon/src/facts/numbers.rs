//! Which job a number means, and what happens when that is found out late.
//!
//! A number means the job that the log had given it before the event that names
//! it. After a restore from a backup another bay may name a job whose opening is
//! still on its way; when that comes again with its old number, the number means
//! the job from the beginning of the log, and what named it is folded anew.

use std::collections::BTreeSet;

use baywright_floor::absorb::Fold;
use baywright_floor::event::{Event, EventId, JobKey, JobRef, Seq};
use baywright_floor::fact::{Answer, Fact};
use baywright_floor::ledger::Mark;
use baywright_terms::time::Micros;
use rusqlite::{Connection, OptionalExtension as _};

use super::FactsError;
use super::decode::Numbers;
use super::ledger::SqliteLedger;
use super::schema::{signed, unsigned};

pub(crate) const TABLES: &str = "
CREATE TABLE job_number (
  number INTEGER PRIMARY KEY,
  job BLOB NOT NULL,
  seq INTEGER NOT NULL
) STRICT;
CREATE TABLE unknown_number (
  number INTEGER NOT NULL,
  seq INTEGER NOT NULL,
  PRIMARY KEY (number, seq)
) STRICT, WITHOUT ROWID;
";

/// Job numbers as the facts know them.
#[derive(Debug)]
pub(crate) struct NumbersOf<'a>(pub(crate) &'a Connection);

impl Numbers for NumbersOf<'_> {
    type Error = FactsError;

    fn job(&mut self, number: u64, seq: Seq) -> Result<Option<JobKey>, FactsError> {
        let job: Option<[u8; 16]> = self
            .0
            .prepare_cached("SELECT job FROM job_number WHERE number = ?1 AND seq < ?2")?
            .query_row((signed(number), signed(seq.0)), |row| row.get(0))
            .optional()?;
        Ok(job.map(EventId))
    }
}

/// Notes the number that an event gives to a job, and those it names in vain.
pub(crate) fn put(conn: &Connection, event: &Event) -> Result<(), FactsError> {
    if let Some(number) = event.job_number {
        // A job sent again had its number before anything that the log has now.
        let since = if event.sent_again { 0 } else { event.seq.0 };
        conn.prepare_cached("INSERT OR IGNORE INTO job_number VALUES (?1, ?2, ?3)")?
            .execute((signed(number), event.id.0, signed(since)))?;
    }
    for number in unknown(event) {
        conn.prepare_cached("INSERT OR IGNORE INTO unknown_number VALUES (?1, ?2)")?
            .execute((signed(number), signed(event.seq.0)))?;
    }
    Ok(())
}

/// The numbers in an event that no job had.
fn unknown(event: &Event) -> impl Iterator<Item = u64> {
    let in_fact = match &event.fact {
        Fact::JobOpened(opened) => opened.comeback_of,
        Fact::Settled(settled) => match &settled.answer {
            Answer::Job(job) => Some(*job),
            _ => None,
        },
        _ => None,
    };
    [Some(event.job), in_fact]
        .into_iter()
        .filter_map(|job| match job {
            Some(JobRef::UnknownNumber(number)) if number > 0 => Some(number),
            _ => None,
        })
}

/// The events before `event` that named in vain the number it gives again.
pub(crate) fn named_in_vain(conn: &Connection, event: &Event) -> Result<Vec<u64>, FactsError> {
    let Some(number) = event.job_number.filter(|_| event.sent_again) else {
        return Ok(Vec::new());
    };
    let mut statement = conn.prepare_cached(
        "SELECT seq FROM unknown_number WHERE number = ?1 AND seq < ?2 ORDER BY seq",
    )?;
    let seqs = statement.query_map((signed(number), signed(event.seq.0)), |row| row.get(0))?;
    let seqs: Vec<i64> = seqs.collect::<rusqlite::Result<_>>()?;
    Ok(seqs.into_iter().map(unsigned).collect())
}

/// Learns strikes, settlements and catalogue changes anew from the log: a
/// settlement may name a job by a number that is known only now.
pub(crate) fn recall(ledger: &mut SqliteLedger<'_>, fold: &mut Fold) -> Result<(), FactsError> {
    let seqs: Vec<i64> = ledger
        .conn
        .prepare_cached("SELECT seq FROM event WHERE overlay = 1 ORDER BY seq")?
        .query_map([], |row| row.get(0))?
        .collect::<rusqlite::Result<_>>()?;
    let live = std::mem::take(&mut fold.live);
    *fold = Fold {
        live,
        ..Fold::default()
    };
    for seq in seqs {
        let event = ledger.event(unsigned(seq))?;
        fold.recall(&event);
    }
    fold.recalled();
    Ok(())
}

/// Folds anew what named a number in vain, now that its job has come.
pub(crate) fn fold_again(
    ledger: &mut SqliteLedger<'_>,
    fold: &mut Fold,
    seqs: &[u64],
) -> Result<(), FactsError> {
    let mut from: Option<Micros> = None;
    let mut settled: BTreeSet<EventId> = BTreeSet::new();
    for seq in seqs {
        let event = ledger.event(*seq)?;
        if let Fact::Settled(said) = &event.fact {
            settled.insert(said.event);
        }
        let at = event.position.occurred;
        from = Some(from.map_or(at, |from| from.min(at)));
    }
    if !settled.is_empty() {
        recall(ledger, fold)?;
    }
    for target in settled {
        let answers = fold.overlay.settled(target);
        let mark = Mark {
            struck: fold.overlay.is_struck(target),
            settled: &answers,
        };
        if let Some(seq) = ledger.write_mark(target, mark)? {
            let at = ledger.event(seq)?.position.occurred;
            from = Some(from.map_or(at, |from| from.min(at)));
        }
    }
    match from {
        Some(from) => fold.refold_from(ledger, from),
        None => Ok(()),
    }
}
