//! What the fold made of the log, kept in `facts.db` beside it.
//!
//! Everything here can be dropped and rebuilt from the log to the same rows.
//! The writer thread owns [`Facts`]; reads go through [`reader::FactsReader`],
//! which has connections of its own, so a read sees rows and state of one
//! cursor and never waits for the writer.

mod answer;
mod around;
mod decode;
mod dump;
pub mod export;
mod ledger;
mod messages;
pub mod model;
mod numbers;
mod open;
pub mod reader;
mod rebuild;
mod rows;
mod schema;
mod source;
mod touched;
mod view;
mod views;
mod zones;

#[cfg(test)]
mod tests;

use std::collections::BTreeSet;
use std::fmt;

use baywright_floor::absorb::{Absorbed, Fold};
use baywright_floor::catalogues::Catalogues;
use baywright_floor::event::{Event, EventId};
use baywright_floor::fact::Fact;
use baywright_proto::v1;
use baywright_terms::catalogue::Catalogue;
use baywright_terms::time::Micros;
use rusqlite::{Connection, OptionalExtension as _};

pub use answer::Title;
pub use decode::event_of;
pub use dump::{dump, dump_hash};
pub use messages::{KEYS_MAX, QuoteError, ReportError};
pub use open::folded_records;
pub use rebuild::rebuild;
pub use source::{LogSource, LogSources, SourceError, Stored};
pub use touched::Touched;

use ledger::SqliteLedger;
use schema::{About, unsigned};

/// Name of the facts database in the data directory.
pub const FACTS_FILE: &str = "facts.db";

/// Entries of the log taken in one transaction while catching up: some
/// hundred milliseconds of folding, and a few megabytes of memory.
const PAGE_ENTRIES: usize = 1_000;

/// Why facts could not be moved on. The log is not touched by any of these.
#[derive(Debug, thiserror::Error)]
pub enum FactsError {
    #[error("the facts database failed")]
    Database(#[from] rusqlite::Error),
    #[error("the log could not be read")]
    Source(#[source] SourceError),
    #[error("a file of the facts database could not be moved or removed")]
    File(#[from] std::io::Error),
    #[error("the facts database is damaged: {0}")]
    Damaged(String),
}

/// What the fold has to say about one post, for its receipt.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Answer {
    pub seq: u64,
    /// 0: it counts for no job.
    pub job_number: u64,
    /// For example "118 trike-coat, red three-wheeler"; empty without a job.
    pub job_title: String,
    /// Workers it counts for, after the fold has filled them in.
    pub by: Vec<String>,
    pub notices: Vec<v1::Notice>,
    /// Unix microseconds; 0 where no window is known.
    pub level_from_us: i64,
    pub level_until_us: i64,
}

/// How far a catch-up or a rebuild has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Progress {
    pub folded: u64,
    pub of: u64,
}

/// Whether the open transaction and the fold in memory still belong together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Standing {
    /// Nothing is open; memory is what the file holds.
    Settled,
    /// Entries were absorbed and not committed.
    Open,
    /// A batch failed: memory has to be read back from the file.
    Broken,
}

/// The facts, as the writer thread moves them on.
pub struct Facts {
    conn: Connection,
    log: Box<dyn LogSource>,
    fold: Fold,
    about: About,
    /// Zones that any catalogue named, for the print of their rules.
    zones: BTreeSet<String>,
    standing: Standing,
    committed_seq: u64,
}

impl fmt::Debug for Facts {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Facts")
            .field("committed_seq", &self.committed_seq)
            .field("standing", &self.standing)
            .finish_non_exhaustive()
    }
}

impl Facts {
    /// Folds entries that the log has just committed, and answers for each.
    /// The facts transaction stays open until [`Facts::commit`], so receipts
    /// can go first. Entries already folded are answered again; a gap before
    /// the first is filled from the log, with no entries up to its head.
    ///
    /// # Errors
    /// If the database or the log fails. The cursor then stays where the last
    /// commit left it and the next call catches up: the caller still sends its
    /// receipts, without notices.
    pub fn absorb(&mut self, stored: &[Stored]) -> Result<Vec<Answer>, FactsError> {
        self.in_transaction(|facts| {
            let next = if let Some(first) = stored.first() {
                first.seq
            } else {
                let head = facts.log.head().map_err(FactsError::Source)?;
                head.saturating_add(1)
            };
            facts.fill_gap(next)?;
            stored
                .iter()
                .map(|stored| facts.absorb_one(stored))
                .collect()
        })
    }

    /// Makes what was absorbed visible to readers. Returns the cursor.
    ///
    /// # Errors
    /// As for [`Facts::absorb`].
    pub fn commit(&mut self) -> Result<u64, FactsError> {
        if self.standing != Standing::Open {
            return Ok(self.committed_seq);
        }
        self.in_transaction(|facts| {
            facts.about.live = ledger::to_json(&facts.fold.live)?;
            schema::write_about(&facts.conn, &facts.about)?;
            facts.conn.prepare_cached("COMMIT")?.execute([])?;
            Ok(())
        })?;
        self.standing = Standing::Settled;
        self.committed_seq = self.about.cursor_seq;
        Ok(self.committed_seq)
    }

    /// The answer to a post that was folded before, for a repeated post.
    ///
    /// # Errors
    /// If the database or the log fails.
    pub fn answer_for(&mut self, event: EventId) -> Result<Option<Answer>, FactsError> {
        let seq: Option<i64> = self
            .conn
            .prepare_cached("SELECT seq FROM event WHERE event_id = ?1")?
            .query_row([event.0], |row| row.get(0))
            .optional()?;
        seq.map(|seq| self.answer_again(unsigned(seq))).transpose()
    }

    /// The last seq folded and committed.
    pub fn cursor(&self) -> u64 {
        self.committed_seq
    }

    /// The catalogue in force at an instant.
    pub fn catalogue(&self, at: Micros) -> &Catalogue {
        &self.fold.cats.at(at).catalogue
    }

    /// The history of the catalogue.
    pub fn catalogues(&self) -> &Catalogues {
        &self.fold.cats
    }

    /// The seq of the latest catalogue_set folded; 0 where there is none.
    pub fn catalogue_revision(&self) -> u64 {
        self.about.catalogue_seq
    }

    /// Hash of all rows: equal for this log however it was folded.
    ///
    /// # Errors
    /// If the database fails.
    pub fn hash(&self) -> Result<[u8; 32], FactsError> {
        dump_hash(&self.conn)
    }

    /// Runs a part of a batch; if it fails, nothing of the batch is kept.
    fn in_transaction<T>(
        &mut self,
        part: impl FnOnce(&mut Self) -> Result<T, FactsError>,
    ) -> Result<T, FactsError> {
        if self.standing == Standing::Broken {
            self.read_back()?;
        }
        if self.standing == Standing::Settled {
            self.conn.prepare_cached("BEGIN IMMEDIATE")?.execute([])?;
            self.standing = Standing::Open;
        }
        let done = part(self);
        if done.is_err() {
            self.standing = Standing::Broken;
            // It may have been rolled back already, as on a full disk.
            if !self.conn.is_autocommit() {
                let _ = self.conn.execute_batch("ROLLBACK");
            }
        }
        done
    }

    /// Takes memory back to what the file holds.
    fn read_back(&mut self) -> Result<(), FactsError> {
        let about = schema::read_about(&self.conn)?
            .ok_or_else(|| FactsError::Damaged("it does not say what it holds".to_owned()))?;
        self.fold = Fold {
            live: ledger::from_json(&about.live)?,
            ..Fold::default()
        };
        self.committed_seq = about.cursor_seq;
        self.about = about;
        self.recall()?;
        self.standing = Standing::Settled;
        Ok(())
    }

    /// Fills the parts of the fold that are kept in memory only.
    fn recall(&mut self) -> Result<(), FactsError> {
        let seqs: Vec<i64> = self
            .conn
            .prepare_cached("SELECT seq FROM event WHERE overlay = 1 ORDER BY seq")?
            .query_map([], |row| row.get(0))?
            .collect::<rusqlite::Result<_>>()?;
        self.zones.clear();
        for seq in seqs {
            let event = self.ledger().event(unsigned(seq))?;
            self.fold.recall(&event);
            note_zone(&mut self.zones, &event);
        }
        self.fold.recalled();
        Ok(())
    }

    fn ledger(&mut self) -> SqliteLedger<'_> {
        SqliteLedger {
            conn: &self.conn,
            log: self.log.as_mut(),
            touching: 0,
        }
    }

    /// Folds what lies between the cursor and `seq`, as after a failed batch.
    fn fill_gap(&mut self, seq: u64) -> Result<(), FactsError> {
        while self.about.cursor_seq.saturating_add(1) < seq {
            let cursor = self.about.cursor_seq;
            let page = self
                .log
                .after(cursor, PAGE_ENTRIES)
                .map_err(FactsError::Source)?;
            for stored in page.iter().take_while(|stored| stored.seq < seq) {
                self.absorb_one(stored)?;
            }
            if self.about.cursor_seq == cursor {
                let missing = cursor.saturating_add(1);
                return Err(FactsError::Source(
                    format!("seq {missing} is not in the log").into(),
                ));
            }
        }
        Ok(())
    }

    fn absorb_one(&mut self, stored: &Stored) -> Result<Answer, FactsError> {
        if stored.seq <= self.about.cursor_seq {
            return self.answer_again(stored.seq);
        }
        let mut ledger = SqliteLedger {
            conn: &self.conn,
            log: self.log.as_mut(),
            touching: stored.seq,
        };
        let Some(event) = ledger.decode(stored)? else {
            tracing::error!(
                seq = stored.seq,
                "an entry of the log is no record; left out"
            );
            self.about.cursor_seq = stored.seq;
            return Ok(Answer {
                seq: stored.seq,
                ..Answer::default()
            });
        };
        let told = self.fold.absorb(&mut ledger, &event)?;
        let named = numbers::named_in_vain(ledger.conn, &event)?;
        if !named.is_empty() {
            numbers::fold_again(&mut ledger, &mut self.fold, &named)?;
        }
        if matches!(event.fact, Fact::CatalogueSet { .. }) {
            self.about.catalogue_seq = event.seq.0;
            if note_zone(&mut self.zones, &event) {
                self.about.zones = zones::print_of(&self.zones).to_vec();
            }
        }
        self.about.cursor_seq = stored.seq;
        answer::answer(&self.conn, &self.fold.cats, &event, &told)
    }

    /// The answer to an event folded before, from its rows.
    fn answer_again(&mut self, seq: u64) -> Result<Answer, FactsError> {
        let event = self.ledger().event(seq)?;
        let told: Absorbed = answer::told_before(&self.conn, &event)?;
        answer::answer(&self.conn, &self.fold.cats, &event, &told)
    }
}

/// Notes the zone that a catalogue change names; true where it is a new one.
fn note_zone(zones: &mut BTreeSet<String>, event: &Event) -> bool {
    match &event.fact {
        Fact::CatalogueSet { changed, .. } => changed
            .shop
            .as_ref()
            .is_some_and(|shop| zones.insert(shop.zone.clone())),
        _ => false,
    }
}
