//! Opening the facts: as they are where they fit the log, else rebuilt.

use std::path::Path;

use baywright_floor::absorb::Fold;
use rusqlite::Connection;

use super::rebuild::{self, Upto};
use super::schema::{self, About, Care};
use super::{FACTS_FILE, Facts, FactsError, LogSource, PAGE_ENTRIES, Progress, Standing, zones};

/// Fewer missing entries than this are folded as they came, whatever is held.
const BEHIND_FEW: u64 = 1_000;

impl Facts {
    /// Opens `facts.db` in `data_dir`, rebuilding it where it is missing, of
    /// another version, of another log or damaged, and catches up with the
    /// log's head.
    ///
    /// # Errors
    /// If the log cannot be read, or the disk refuses a new database.
    pub fn open(
        data_dir: &Path,
        mut log: Box<dyn LogSource>,
        progress: &mut dyn FnMut(Progress),
    ) -> Result<Self, FactsError> {
        let path = data_dir.join(FACTS_FILE);
        let why = if path.try_exists()? {
            match Self::open_existing(&path, log) {
                Ok(Fit::Good(mut facts)) => match facts.catch_up(progress) {
                    Ok(()) => return Ok(*facts),
                    // What they have is right, and all that can be told.
                    Err(FactsError::Source(error)) => {
                        tracing::error!(error = %error, "the log cannot be read on from where the facts are; they answer for what they have");
                        return Ok(*facts);
                    }
                    Err(error) => {
                        log = facts.log;
                        error.to_string()
                    }
                },
                Ok(Fit::Unfit(given_back, why)) => {
                    log = given_back;
                    why
                }
                Err(error) => return Err(error),
            }
        } else {
            "there is none yet".to_owned()
        };
        tracing::info!(why, "building the facts from the log");
        Self::open_anew(data_dir, log, progress)
    }

    /// Makes `facts.db` anew, whatever is there. Nobody may write to the old one.
    ///
    /// # Errors
    /// As for [`Facts::open`].
    pub fn open_anew(
        data_dir: &Path,
        mut log: Box<dyn LogSource>,
        progress: &mut dyn FnMut(Progress),
    ) -> Result<Self, FactsError> {
        rebuild::build_beside(data_dir, log.as_mut(), progress)?;
        match Self::open_existing(&data_dir.join(FACTS_FILE), log)? {
            Fit::Good(mut facts) => {
                facts.catch_up(progress)?;
                Ok(*facts)
            }
            Fit::Unfit(_, why) => Err(FactsError::Damaged(why)),
        }
    }

    /// Folds the log up to `seq` into a database in memory, for `--as-of`.
    ///
    /// # Errors
    /// If the log cannot be read.
    pub fn in_memory_as_of(log: Box<dyn LogSource>, seq: u64) -> Result<Self, FactsError> {
        Self::as_of(schema::open_in_memory()?, log, seq)
    }

    /// As [`Facts::in_memory_as_of`], on the disk: memory does not grow with
    /// the log.
    ///
    /// # Errors
    /// If the log cannot be read, or the disk has no room.
    pub fn on_disk_as_of(log: Box<dyn LogSource>, seq: u64) -> Result<Self, FactsError> {
        Self::as_of(schema::open_unnamed()?, log, seq)
    }

    fn as_of(conn: Connection, mut log: Box<dyn LogSource>, seq: u64) -> Result<Self, FactsError> {
        let built = rebuild::build(&conn, log.as_mut(), Upto::Seq(seq), &mut |_| {})?;
        Ok(Self {
            committed_seq: built.about.cursor_seq,
            conn,
            log,
            fold: built.fold,
            about: built.about,
            zones: built.zones,
            standing: Standing::Settled,
        })
    }

    /// Opens the file where it fits the log; an error is the log's alone.
    fn open_existing(path: &Path, log: Box<dyn LogSource>) -> Result<Fit, FactsError> {
        let opened = schema::open_writer(path, Care::Live)
            .and_then(|conn| Ok((schema::read_about(&conn)?, conn)));
        let (about, conn) = match opened {
            Ok((Some(about), conn)) => (about, conn),
            Ok((None, _)) => return Ok(Fit::Unfit(log, "it was never finished".to_owned())),
            Err(error) => return Ok(Fit::Unfit(log, reason(&error))),
        };
        let mut facts = Self {
            committed_seq: about.cursor_seq,
            conn,
            log,
            fold: Fold::default(),
            about,
            zones: std::collections::BTreeSet::new(),
            standing: Standing::Settled,
        };
        let why = match facts.misfit() {
            Ok(None) => match facts.read_back() {
                Ok(()) => (facts.about.zones != zones::print_of(&facts.zones))
                    .then(|| "the time-zone rules have changed".to_owned()),
                Err(error) => Some(reason(&error)),
            },
            Ok(Some(why)) => Some(why),
            Err(error @ FactsError::Source(_)) => return Err(error),
            Err(error) => Some(reason(&error)),
        };
        Ok(match why {
            None => Fit::Good(Box::new(facts)),
            Some(why) => Fit::Unfit(facts.log, why),
        })
    }

    /// Why the file does not belong to this build and this log.
    fn misfit(&mut self) -> Result<Option<String>, FactsError> {
        let identity = self.log.identity().map_err(FactsError::Source)?;
        if let Some(why) = differs(&self.about, identity) {
            return Ok(Some(why));
        }
        let cursor = self.about.cursor_seq;
        if cursor == 0 {
            return Ok(None);
        }
        let stored = match self.log.one(cursor) {
            Ok(Some(stored)) => stored,
            Ok(None) => {
                let head = self.log.head().map_err(FactsError::Source)?;
                // The only witness of a lost end: what is left is whole.
                tracing::error!(
                    folded_seq = cursor,
                    head_seq = head,
                    "the log has lost its end: seqs after head_seq were there and are not; bays send again what they still hold"
                );
                return Ok(Some("it is ahead of the log".to_owned()));
            }
            Err(error) => {
                tracing::error!(error = %error, cursor, "the log cannot be read where the facts are; they answer for what they have");
                return Ok(None);
            }
        };
        let held = event_id_at(&self.conn, cursor)?;
        let event = self.ledger().decode(&stored)?;
        // An entry that is no record was left out of the index.
        if event.is_some_and(|event| held != Some(event.id.0)) {
            return Ok(Some("the log holds another event at its cursor".to_owned()));
        }
        Ok(None)
    }

    /// Folds up to the log's head, a page at a time.
    fn catch_up(&mut self, progress: &mut dyn FnMut(Progress)) -> Result<(), FactsError> {
        let head = self.log.head().map_err(FactsError::Source)?;
        let behind = head.saturating_sub(self.committed_seq);
        // Folding in order beats folding as it came where most is missing.
        if behind > self.committed_seq.max(BEHIND_FEW) {
            return Err(FactsError::Damaged(format!("it is {behind} events behind")));
        }
        while self.committed_seq < head {
            let page = self
                .log
                .after(self.committed_seq, PAGE_ENTRIES)
                .map_err(FactsError::Source)?;
            if page.is_empty() {
                break;
            }
            self.absorb(&page)?;
            self.commit()?;
            progress(Progress {
                folded: self.committed_seq,
                of: head,
            });
        }
        Ok(())
    }
}

/// How many records the facts in a folder were made of, as they say; 0 where
/// there are none, or they cannot be asked.
pub fn folded_records(data_dir: &Path) -> u64 {
    let path = data_dir.join(FACTS_FILE);
    if !path.exists() {
        return 0;
    }
    schema::open_writer(&path, Care::Live)
        .and_then(|conn| Ok(schema::read_about(&conn)?))
        .ok()
        .flatten()
        .map_or(0, |about| about.cursor_seq)
}

/// Whether a file fits; if not, the log is given back with the reason.
enum Fit {
    Good(Box<Facts>),
    Unfit(Box<dyn LogSource>, String),
}

fn differs(about: &About, (log_id, epoch): ([u8; 16], u64)) -> Option<String> {
    if about.made_by != schema::made_by() {
        return Some(format!("{} made it", about.made_by));
    }
    if about.layout != schema::layout_print() {
        return Some("its tables have another layout".to_owned());
    }
    if about.log_id != log_id {
        return Some("it belongs to another log".to_owned());
    }
    if about.epoch != epoch {
        return Some("the log was restored from a backup".to_owned());
    }
    None
}

fn event_id_at(conn: &Connection, seq: u64) -> rusqlite::Result<Option<[u8; 16]>> {
    use rusqlite::OptionalExtension as _;
    conn.prepare_cached("SELECT event_id FROM event WHERE seq = ?1")?
        .query_row([schema::signed(seq)], |row| row.get(0))
        .optional()
}

/// An error with what lies behind it, in one line.
fn reason(error: &FactsError) -> String {
    let mut text = error.to_string();
    let mut source = std::error::Error::source(error);
    while let Some(cause) = source {
        text.push_str(": ");
        text.push_str(&cause.to_string());
        source = cause.source();
    }
    text
}
