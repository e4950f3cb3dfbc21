//! The ledger of the fold on SQLite: an index of the events, whose bytes stay
//! in the log; checkpoints; rows in typed tables.

use std::fmt;

use baywright_floor::event::{Event, EventId};
use baywright_floor::fact::{Fact, Settled};
use baywright_floor::ledger::{Entry, Index, Ledger, Mark};
use baywright_floor::row::Emitted;
use baywright_floor::state::State;
use baywright_terms::time::Micros;
use rusqlite::{Connection, OptionalExtension as _};

use super::decode;
use super::numbers::{self, NumbersOf};
use super::schema::{signed, unsigned};
use super::touched::Touched;
use super::{FactsError, LogSource, Stored, rows};

/// A connection to the facts and a reader of the log, as the fold needs them.
pub(crate) struct SqliteLedger<'a> {
    pub(crate) conn: &'a Connection,
    pub(crate) log: &'a mut dyn LogSource,
    /// The seq whose fold changes rows; 0: which jobs it touches is not noted.
    pub(crate) touching: u64,
}

impl fmt::Debug for SqliteLedger<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("SqliteLedger").finish_non_exhaustive()
    }
}

impl SqliteLedger<'_> {
    /// Reads an event of the log again.
    pub(crate) fn event(&mut self, seq: u64) -> Result<Event, FactsError> {
        let stored = self
            .log
            .one(seq)
            .map_err(FactsError::Source)?
            .ok_or_else(|| {
                FactsError::Damaged(format!("it indexes seq {seq}, the log has none"))
            })?;
        self.decode(&stored)?
            .ok_or_else(|| FactsError::Damaged(format!("seq {seq} of the log is not a record")))
    }

    /// Decodes an entry, naming jobs by the numbers known then.
    pub(crate) fn decode(&mut self, stored: &Stored) -> Result<Option<Event>, FactsError> {
        decode::event(stored, &mut NumbersOf(self.conn))
    }

    /// Adds an event to the index. A repeated id or seq is not put again.
    pub(crate) fn put_event(
        &mut self,
        event: &Event,
        struck: bool,
        settled: Option<&str>,
    ) -> Result<(), FactsError> {
        let (overlay, target) = match &event.fact {
            Fact::StruckOut { event, .. } => (true, Some(event.0)),
            Fact::Settled(settled) => (true, Some(settled.event.0)),
            Fact::CatalogueSet { .. } => (true, None),
            _ => (false, None),
        };
        self.conn
            .prepare_cached(
                "INSERT OR IGNORE INTO event VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
            )?
            .execute((
                signed(event.seq.0),
                event.id.0,
                event.position.occurred.0,
                &*event.position.device,
                signed(event.position.device_seq),
                decode::kind_word(&event.fact),
                overlay,
                target,
                struck,
                settled,
            ))?;
        numbers::put(self.conn, event)?;
        // Events come in the order of the log, so the count is its number there.
        if matches!(event.fact, Fact::QuoteDrafted { .. }) {
            self.conn
                .prepare_cached(
                    "INSERT OR IGNORE INTO quote_number
                     SELECT count(*) + 1, ?1, ?2 FROM quote_number",
                )?
                .execute((event.id.0, signed(event.seq.0)))?;
        }
        Ok(())
    }

    /// Writes the mark of an event; gives its seq where it has come.
    pub(crate) fn write_mark(
        &mut self,
        id: EventId,
        mark: Mark<'_>,
    ) -> Result<Option<u64>, FactsError> {
        let settled = settled_text(mark.settled)?;
        let seq: Option<i64> = self
            .conn
            .prepare_cached(
                "UPDATE event SET struck = ?2, settled = ?3 WHERE event_id = ?1 RETURNING seq",
            )?
            .query_row((id.0, mark.struck, settled), |row| row.get(0))
            .optional()?;
        Ok(seq.map(unsigned))
    }

    /// Events that count, after a place in the order, with their settlements.
    pub(crate) fn entries_by(
        &mut self,
        sql: &str,
        params: impl rusqlite::Params,
    ) -> Result<Vec<Entry>, FactsError> {
        let found: Vec<(i64, Option<String>)> = {
            let mut statement = self.conn.prepare_cached(sql)?;
            let rows = statement.query_map(params, |row| Ok((row.get(0)?, row.get(1)?)))?;
            rows.collect::<rusqlite::Result<_>>()?
        };
        found
            .into_iter()
            .map(|(seq, settled)| {
                Ok(Entry {
                    event: self.event(unsigned(seq))?,
                    settled: match settled {
                        Some(settled) => from_json(&settled)?,
                        None => Vec::new(),
                    },
                })
            })
            .collect()
    }
}

impl Ledger for SqliteLedger<'_> {
    type Error = FactsError;

    fn entries(&mut self, from: Micros, until: Option<Micros>) -> Result<Vec<Entry>, FactsError> {
        self.entries_by(
            "SELECT seq, settled FROM event
             WHERE occurred_us >= ?1 AND (?2 IS NULL OR occurred_us < ?2) AND struck = 0
             ORDER BY occurred_us, device, device_seq, seq",
            (from.0, until.map(|until| until.0)),
        )
    }

    fn checkpoint_at_or_before(
        &mut self,
        at: Micros,
    ) -> Result<Option<(Micros, State)>, FactsError> {
        self.checkpoint(
            "SELECT at_us, state FROM checkpoint WHERE at_us <= ?1 ORDER BY at_us DESC LIMIT 1",
            at,
        )
    }

    fn checkpoint_after(&mut self, at: Micros) -> Result<Option<(Micros, State)>, FactsError> {
        self.checkpoint(
            "SELECT at_us, state FROM checkpoint WHERE at_us > ?1 ORDER BY at_us LIMIT 1",
            at,
        )
    }

    fn put_checkpoint(&mut self, at: Micros, state: &State) -> Result<(), FactsError> {
        self.conn
            .prepare_cached("INSERT OR REPLACE INTO checkpoint VALUES (?1, ?2)")?
            .execute((at.0, to_json(state)?))?;
        Ok(())
    }

    fn drop_checkpoints(&mut self, from: Micros, until: Option<Micros>) -> Result<(), FactsError> {
        self.conn
            .prepare_cached(
                "DELETE FROM checkpoint WHERE at_us > ?1 AND (?2 IS NULL OR at_us < ?2)",
            )?
            .execute((from.0, until.map(|until| until.0)))?;
        Ok(())
    }

    fn replace_rows(
        &mut self,
        from: Micros,
        until: Option<Micros>,
        rows: &[Emitted],
    ) -> Result<(), FactsError> {
        rows::delete_span(self.conn, from, until)?.write(self.conn, self.touching)?;
        self.add_rows(rows)
    }

    fn add_rows(&mut self, rows: &[Emitted]) -> Result<(), FactsError> {
        let mut touched = Touched::default();
        for row in rows {
            rows::insert(self.conn, row)?;
            touched.put(row);
        }
        touched.write(self.conn, self.touching)?;
        Ok(())
    }
}

impl Index for SqliteLedger<'_> {
    fn put(&mut self, event: &Event, mark: Mark<'_>) -> Result<(), FactsError> {
        let settled = settled_text(mark.settled)?;
        self.put_event(event, mark.struck, settled.as_deref())
    }

    fn mark(&mut self, id: EventId, mark: Mark<'_>) -> Result<Option<Event>, FactsError> {
        self.write_mark(id, mark)?
            .map(|seq| self.event(seq))
            .transpose()
    }

    fn holds(&mut self, id: EventId) -> Result<bool, FactsError> {
        Ok(self
            .conn
            .prepare_cached("SELECT 1 FROM event WHERE event_id = ?1")?
            .exists([id.0])?)
    }
}

impl SqliteLedger<'_> {
    fn checkpoint(&mut self, sql: &str, at: Micros) -> Result<Option<(Micros, State)>, FactsError> {
        let found: Option<(i64, String)> = self
            .conn
            .prepare_cached(sql)?
            .query_row([at.0], |row| Ok((row.get(0)?, row.get(1)?)))
            .optional()?;
        found
            .map(|(at, state)| Ok((Micros(at), from_json(&state)?)))
            .transpose()
    }
}

/// The settlements that hold as they stand in the event index.
pub(crate) fn settled_text(settled: &[Settled]) -> Result<Option<String>, FactsError> {
    (!settled.is_empty()).then(|| to_json(&settled)).transpose()
}

pub(crate) fn to_json(value: &impl serde::Serialize) -> Result<String, FactsError> {
    serde_json::to_string(value).map_err(|error| FactsError::Damaged(error.to_string()))
}

pub(crate) fn from_json<T: serde::de::DeserializeOwned>(text: &str) -> Result<T, FactsError> {
    serde_json::from_str(text).map_err(|error| FactsError::Damaged(error.to_string()))
}
