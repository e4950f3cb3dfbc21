//! The read side: connections of its own, each read in one transaction.

use std::fmt;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use baywright_floor::catalogues::Catalogues;
use baywright_terms::catalogue::Catalogue;
use baywright_terms::time::Micros;
use rusqlite::Connection;

use super::ledger::SqliteLedger;
use super::schema::{self, unsigned};
use super::view;
use super::{FACTS_FILE, Facts, FactsError, LogSource, LogSources};

pub use view::quotes::{QuoteName, Worked};
pub use view::{Counted, JobName, Told, View};

/// Connections kept between reads. More at once are opened and closed again:
/// a report and a few bays asking is the usual load of a shop.
const CONNECTIONS_KEPT: usize = 3;

/// Reads facts. Every call blocks on SQLite: call it from `spawn_blocking`.
/// Cheap to share behind an `Arc`.
pub struct FactsReader {
    path: PathBuf,
    log: Arc<dyn LogSources>,
    idle: Mutex<Vec<Held>>,
    cats: Mutex<Option<Known>>,
    /// One fold of the past at a time: each takes seconds and some memory.
    past: Mutex<()>,
}

/// A connection with its reader of the log.
struct Held {
    conn: Connection,
    log: Box<dyn LogSource>,
}

/// The catalogue history, and the seqs that make it up.
struct Known {
    seqs: Vec<u64>,
    cats: Arc<Catalogues>,
}

/// The facts as they were once.
#[derive(Debug)]
pub struct Past {
    facts: Facts,
    cats: Arc<Catalogues>,
}

impl Past {
    /// When the last event in them was received; `None`: there are none.
    ///
    /// # Errors
    /// If the log cannot be read.
    pub fn received(&mut self) -> Result<Option<Micros>, FactsError> {
        self.now().received()
    }

    /// Runs `read` on them.
    ///
    /// # Errors
    /// If the database or the log fails, or `read` does.
    pub fn view<T, E: From<FactsError>>(
        &mut self,
        read: impl FnOnce(&mut View<'_>) -> Result<T, E>,
    ) -> Result<T, E> {
        read(&mut self.now())
    }

    fn now(&mut self) -> View<'_> {
        View {
            conn: &self.facts.conn,
            log: self.facts.log.as_mut(),
            cats: Arc::clone(&self.cats),
            about: self.facts.about.clone(),
        }
    }
}

impl fmt::Debug for FactsReader {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("FactsReader")
            .field("path", &self.path)
            .finish_non_exhaustive()
    }
}

impl FactsReader {
    /// Reads the facts that [`Facts::open`] has opened in `data_dir`.
    ///
    /// # Errors
    /// If `facts.db` cannot be opened for reading.
    pub fn open(data_dir: &Path, log: Arc<dyn LogSources>) -> Result<Self, FactsError> {
        let reader = Self {
            path: data_dir.join(FACTS_FILE),
            log,
            idle: Mutex::new(Vec::new()),
            cats: Mutex::new(None),
            past: Mutex::new(()),
        };
        let held = reader.take()?;
        reader.give_back(held);
        Ok(reader)
    }

    /// Runs `read` in one read transaction: what it sees is of one cursor.
    ///
    /// # Errors
    /// If the database or the log fails, or `read` does.
    pub fn view<T, E: From<FactsError>>(
        &self,
        read: impl FnOnce(&mut View<'_>) -> Result<T, E>,
    ) -> Result<T, E> {
        let mut held = self.take()?;
        let done = self.view_on(&mut held, read);
        // A connection that failed is not used again.
        if done.is_ok() {
            self.give_back(held);
        }
        done
    }

    /// As [`FactsReader::view`], as the log was after `seq`; 0: as it is.
    ///
    /// # Errors
    /// As for [`FactsReader::view`].
    pub fn view_as_of<T, E: From<FactsError>>(
        &self,
        seq: u64,
        read: impl FnOnce(&mut View<'_>) -> Result<T, E>,
    ) -> Result<T, E> {
        if seq == 0 {
            return self.view(read);
        }
        let _one_at_a_time = self.past.lock().unwrap_or_else(PoisonError::into_inner);
        let log = self.log.open().map_err(FactsError::Source)?;
        let mut facts = Facts::in_memory_as_of(log, seq)?;
        read(&mut View {
            conn: &facts.conn,
            log: facts.log.as_mut(),
            cats: Arc::new(facts.fold.cats.clone()),
            about: facts.about.clone(),
        })
    }

    /// The facts as the log was after `seq`, kept on the disk until dropped,
    /// for a read that goes on for longer than one transaction should.
    ///
    /// # Errors
    /// As for [`FactsReader::view`].
    pub fn past(&self, seq: u64) -> Result<Past, FactsError> {
        let _one_at_a_time = self.past.lock().unwrap_or_else(PoisonError::into_inner);
        let log = self.log.open().map_err(FactsError::Source)?;
        let facts = Facts::on_disk_as_of(log, seq)?;
        let cats = Arc::new(facts.fold.cats.clone());
        Ok(Past { facts, cats })
    }

    /// The last seq that readers can see.
    ///
    /// # Errors
    /// If the database fails.
    pub fn cursor(&self) -> Result<u64, FactsError> {
        self.view(|view| Ok(view.cursor()))
    }

    /// Job number and struck flag as of now for each seq asked for.
    ///
    /// # Errors
    /// If the database fails.
    pub fn counted(&self, seqs: &[u64]) -> Result<Vec<Counted>, FactsError> {
        self.view(|view| view.counted(seqs))
    }

    /// The catalogue in force at an instant, with its revision.
    ///
    /// # Errors
    /// If the database fails.
    pub fn catalogue(&self, at: Micros) -> Result<(u64, Catalogue), FactsError> {
        self.view(|view| {
            let catalogue = view.catalogues().at(at).catalogue.clone();
            Ok((view.catalogue_revision(), catalogue))
        })
    }

    fn view_on<T, E: From<FactsError>>(
        &self,
        held: &mut Held,
        read: impl FnOnce(&mut View<'_>) -> Result<T, E>,
    ) -> Result<T, E> {
        let transaction = held
            .conn
            .unchecked_transaction()
            .map_err(FactsError::Database)?;
        let about = view::about(&transaction)?;
        let cats = self.catalogues(&transaction, held.log.as_mut())?;
        let done = read(&mut View {
            conn: &transaction,
            log: held.log.as_mut(),
            cats,
            about,
        })?;
        transaction.finish().map_err(FactsError::Database)?;
        Ok(done)
    }

    /// The catalogue history of this transaction, from the log where it changed.
    fn catalogues(
        &self,
        conn: &Connection,
        log: &mut dyn LogSource,
    ) -> Result<Arc<Catalogues>, FactsError> {
        let seqs: Vec<u64> = conn
            .prepare_cached(
                "SELECT seq FROM event
                 WHERE overlay = 1 AND kind = 'catalogue_set' AND struck = 0 ORDER BY seq",
            )?
            .query_map([], |row| Ok(unsigned(row.get(0)?)))?
            .collect::<rusqlite::Result<_>>()?;
        let mut known = self.cats.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(known) = known.as_ref().filter(|known| known.seqs == seqs) {
            return Ok(Arc::clone(&known.cats));
        }
        let mut fold = baywright_floor::absorb::Fold::default();
        let mut ledger = SqliteLedger {
            conn,
            log,
            touching: 0,
        };
        for seq in &seqs {
            fold.recall(&ledger.event(*seq)?);
        }
        fold.recalled();
        let cats = Arc::new(fold.cats);
        *known = Some(Known {
            seqs,
            cats: Arc::clone(&cats),
        });
        Ok(cats)
    }

    fn take(&self) -> Result<Held, FactsError> {
        let kept = self
            .idle
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .pop();
        match kept {
            Some(held) => Ok(held),
            None => Ok(Held {
                conn: schema::open_reader(&self.path)?,
                log: self.log.open().map_err(FactsError::Source)?,
            }),
        }
    }

    fn give_back(&self, held: Held) {
        let mut idle = self.idle.lock().unwrap_or_else(PoisonError::into_inner);
        if idle.len() < CONNECTIONS_KEPT {
            idle.push(held);
        }
    }
}
