//! Quotes: every print of them, the customer's answers, and the jobs that came
//! of them. The whole of a print is read back from the log.

use std::collections::{BTreeMap, BTreeSet};

use baywright_floor::event::{EventId, JobKey, Seq};
use baywright_floor::row::{HandsOn, Row};
use baywright_proto::v1::{self, fact::Kind};
use baywright_terms::time::Micros;
use prost::Message as _;
use rusqlite::OptionalExtension as _;

use super::{View, keys_of};
use crate::facts::FactsError;
use crate::facts::rows::{self, Table};
use crate::facts::schema::{signed, unsigned};

/// How a caller names a quote.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum QuoteName {
    Number(u64),
    Drafted(EventId),
}

/// Labour of a job so far.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Worked {
    pub labour_us: i64,
    pub released: bool,
}

impl View<'_> {
    /// Every print of one quote, every answer to it, and the jobs it belongs to.
    ///
    /// # Errors
    /// If the database fails.
    pub fn rows_of_quote(&self, quote: EventId) -> Result<Vec<Row>, FactsError> {
        let mut found = super::Gathered::new();
        for table in [Table::Quote, Table::QuoteDecided] {
            self.gather(&mut found, table, "WHERE quote = ?1", [quote.0])?;
        }
        let of_quote = "WHERE quote = ?1
             OR job IN (SELECT addition_to FROM quote WHERE quote = ?1)";
        self.gather(&mut found, Table::Job, of_quote, [quote.0])?;
        Ok(found.into_values().collect())
    }

    /// The draft of a quote that a caller names, struck out or not.
    ///
    /// # Errors
    /// If the database fails.
    pub fn quote_named(&self, name: QuoteName) -> Result<Option<EventId>, FactsError> {
        match name {
            QuoteName::Number(number) => {
                let sql = "SELECT quote FROM quote_number WHERE number = ?1";
                Ok(self.first_id(sql, [signed(number)])?.map(EventId))
            }
            QuoteName::Drafted(id) => {
                let sql = "SELECT quote FROM quote_number WHERE quote = ?1";
                Ok(self.first_id(sql, [id.0])?.map(EventId))
            }
        }
    }

    /// Rows that quotes are counted from: every print and answer, and the
    /// openings and releases of the jobs they belong to.
    ///
    /// # Errors
    /// If the database fails.
    pub fn rows_of_quotes(&self) -> Result<Vec<Row>, FactsError> {
        let mut found = super::Gathered::new();
        for table in [Table::Quote, Table::QuoteDecided] {
            self.gather(&mut found, table, "", [])?;
        }
        let of_quote = "WHERE quote IS NOT NULL
             OR job IN (SELECT addition_to FROM quote WHERE addition_to IS NOT NULL)";
        self.gather(&mut found, Table::Job, of_quote, [])?;
        let released = format!("WHERE job IN (SELECT job FROM job {of_quote})");
        self.gather(&mut found, Table::Release, &released, [])?;
        Ok(found.into_values().collect())
    }

    /// Rows that the time ahead is counted from: those of
    /// [`View::rows_of_quotes`], and of each job that was not released its
    /// opening, its work and what was declared, with what still runs at `as_of`.
    ///
    /// # Errors
    /// If the database fails.
    pub fn rows_ahead(&self, as_of: Micros) -> Result<Vec<Row>, FactsError> {
        let mut rows = self.rows_of_quotes()?;
        let known: BTreeSet<JobKey> = rows
            .iter()
            .filter(|row| matches!(row, Row::JobOpened(_)))
            .filter_map(super::job_of)
            .collect();
        let here = "WHERE job NOT IN (SELECT job FROM release)";
        let opened = rows::select_rows(self.conn, Table::Job, here, [])?;
        rows.extend(
            opened
                .into_iter()
                .filter(|row| super::job_of(row).is_some_and(|job| !known.contains(&job))),
        );
        for table in [Table::HandsOn, Table::Declared] {
            rows.extend(rows::select_rows(self.conn, table, here, [])?);
        }
        let running = baywright_floor::step::provisional(&self.live()?.state, &self.cats, as_of);
        rows.extend(
            running
                .into_iter()
                .filter(|row| matches!(row, Row::HandsOn(_))),
        );
        Ok(rows)
    }

    /// Adds to the rows of a report every quote that is not among them, with
    /// the jobs they belong to: which were won is asked of all of them.
    ///
    /// # Errors
    /// If the database fails.
    pub fn add_office(&self, rows: &mut Vec<Row>) -> Result<(), FactsError> {
        let key = |row: &Row| match row {
            Row::Quote(row) => Some((0, row.quote, row.seq)),
            Row::QuoteDecided(row) => Some((1, row.quote, row.seq)),
            Row::JobOpened(row) => Some((2, row.job, row.seq)),
            Row::JobReleased { job, seq, .. } => Some((3, *job, *seq)),
            _ => None,
        };
        let known: BTreeSet<_> = rows.iter().filter_map(key).collect();
        let more = self.rows_of_quotes()?;
        rows.extend(
            more.into_iter()
                .filter(|row| key(row).is_none_or(|key| !known.contains(&key))),
        );
        Ok(())
    }

    /// Numbers of all quotes, struck ones too.
    ///
    /// # Errors
    /// If the database fails.
    pub fn quote_numbers(&self) -> Result<BTreeMap<EventId, u64>, FactsError> {
        let mut statement = self
            .conn
            .prepare_cached("SELECT quote, number FROM quote_number")?;
        let numbers =
            statement.query_map([], |row| Ok((EventId(row.get(0)?), unsigned(row.get(1)?))))?;
        Ok(numbers.collect::<rusqlite::Result<_>>()?)
    }

    /// Number of a quote, struck out or not.
    pub(in crate::facts) fn number_of_quote(
        &self,
        quote: EventId,
    ) -> Result<Option<u64>, FactsError> {
        let number: Option<i64> = self
            .conn
            .prepare_cached("SELECT number FROM quote_number WHERE quote = ?1")?
            .query_row([quote.0], |row| row.get(0))
            .optional()?;
        Ok(number.map(unsigned))
    }

    /// Labour so far of some jobs, with what still runs at `as_of`.
    ///
    /// # Errors
    /// If the database fails.
    pub fn worked(
        &self,
        jobs: &BTreeSet<JobKey>,
        as_of: Micros,
    ) -> Result<BTreeMap<JobKey, Worked>, FactsError> {
        let keys = keys_of(jobs)?;
        // Minutes of the view are exact to far less than a microsecond.
        let mut statement = self.conn.prepare_cached(
            "SELECT j.job, CAST(round(v.labour_min * 6e7) AS INTEGER), v.released_us IS NOT NULL
             FROM job j JOIN v_job v ON v.seq = j.seq
             WHERE j.job IN (SELECT unhex(value) FROM json_each(?1))",
        )?;
        let found = statement.query_map([keys], |row| {
            let worked = Worked {
                labour_us: row.get(1)?,
                released: row.get(2)?,
            };
            Ok((EventId(row.get(0)?), worked))
        })?;
        let mut worked: BTreeMap<JobKey, Worked> = found.collect::<rusqlite::Result<_>>()?;
        let running = baywright_floor::step::provisional(&self.live()?.state, &self.cats, as_of);
        for row in running {
            if let Row::HandsOn(HandsOn {
                job, from, until, ..
            }) = row
                && let Some(worked) = worked.get_mut(&job)
            {
                let more_us = until.0.saturating_sub(from.0).max(0);
                worked.labour_us = worked.labour_us.saturating_add(more_us);
            }
        }
        Ok(worked)
    }

    /// What the post that printed a quote says: the asked, the whole print,
    /// and why it was printed again.
    ///
    /// # Errors
    /// If the log cannot be read.
    pub fn print_at(
        &mut self,
        seq: Seq,
    ) -> Result<(v1::QuoteAsked, v1::QuotePrinted, String), FactsError> {
        let stored = self.log.one(seq.0).map_err(FactsError::Source)?;
        let fact = stored.map(|stored| {
            let record = v1::Record::decode(stored.record.as_slice()).unwrap_or_default();
            v1::Fact::decode(record.fact.as_slice()).unwrap_or_default()
        });
        let (asked, printed, why) = match fact.and_then(|fact| fact.kind) {
            Some(Kind::QuoteDrafted(said)) => (said.asked, said.printed, String::new()),
            Some(Kind::QuoteRevised(said)) => (said.asked, said.printed, said.reason),
            _ => {
                let why = format!("its quote at seq {} is no quote of the log", seq.0);
                return Err(FactsError::Damaged(why));
            }
        };
        Ok((asked.unwrap_or_default(), printed.unwrap_or_default(), why))
    }

    /// Which of some past jobs are known, by their keys.
    ///
    /// # Errors
    /// If the database fails.
    pub fn past_known(&self, keys: &[EventId]) -> Result<Vec<EventId>, FactsError> {
        let mut statement = self
            .conn
            .prepare_cached("SELECT 1 FROM past WHERE key = ?1 LIMIT 1")?;
        let mut known = Vec::new();
        for key in keys {
            if statement.exists([key.0])? {
                known.push(*key);
            }
        }
        Ok(known)
    }
}
