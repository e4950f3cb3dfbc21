//! One read of the facts: everything it gives is of one cursor.

pub(in crate::facts) mod quotes;
pub(in crate::facts) mod records;
mod stock;
mod supplies;

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::sync::Arc;

use baywright_floor::catalogues::Catalogues;
use baywright_floor::event::{Event, EventId, JobKey, JobRef, Position, Seq};
use baywright_floor::notice::Notice;
use baywright_floor::refold::Live;
use baywright_floor::row::{Emitted, Presence, Row};
use baywright_floor::step;
use baywright_terms::code::Code;
use baywright_terms::time::{DAY_US, Micros};
use rusqlite::{Connection, OptionalExtension as _, Params};

use super::answer::{self, Title};
use super::ledger::{SqliteLedger, from_json, to_json};
use super::rows::{self, Table, When};
use super::schema::{self, About, signed, unsigned};
use super::{FactsError, LogSource};

/// How a caller names a job.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum JobName {
    Number(u64),
    Handle(String),
    Opening(EventId),
}

/// Job number and struck flag of an event, for watchers.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Counted {
    /// 0: none.
    pub job_number: u64,
    pub struck: bool,
}

/// An event in the story of a job.
#[derive(Debug, Clone, PartialEq)]
pub struct Told {
    pub event: Event,
    pub struck: bool,
    /// Workers it counts for; as posted where it counts for nothing.
    pub by: Vec<Code>,
}

/// One read transaction.
pub struct View<'a> {
    pub(super) conn: &'a Connection,
    pub(super) log: &'a mut dyn LogSource,
    pub(super) cats: Arc<Catalogues>,
    pub(super) about: About,
}

impl fmt::Debug for View<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("View")
            .field("cursor", &self.about.cursor_seq)
            .finish_non_exhaustive()
    }
}

/// Rows by key, so that none comes twice.
type Gathered = BTreeMap<(Position, u32), Row>;

impl View<'_> {
    /// The last seq folded in what this view shows.
    pub fn cursor(&self) -> u64 {
        self.about.cursor_seq
    }

    /// The seq of the latest catalogue_set; 0: none.
    pub fn catalogue_revision(&self) -> u64 {
        self.about.catalogue_seq
    }

    /// The history of the catalogue.
    pub fn catalogues(&self) -> Arc<Catalogues> {
        Arc::clone(&self.cats)
    }

    /// The state after the last event.
    ///
    /// # Errors
    /// If what is stored cannot be read back.
    pub fn live(&self) -> Result<Live, FactsError> {
        from_json(&self.about.live)
    }

    /// First and latest instant of the events; `None`: there are none.
    ///
    /// # Errors
    /// If the database fails.
    pub fn span(&self) -> Result<Option<(Micros, Micros)>, FactsError> {
        let ends: (Option<i64>, Option<i64>) = self
            .conn
            .prepare_cached(
                "SELECT (SELECT min(occurred_us) FROM event), (SELECT max(occurred_us) FROM event)",
            )?
            .query_row([], |row| Ok((row.get(0)?, row.get(1)?)))?;
        Ok(ends.0.zip(ends.1).map(|(a, b)| (Micros(a), Micros(b))))
    }

    /// When the last event shown was received; `None`: there are none.
    ///
    /// # Errors
    /// If the log cannot be read.
    pub fn received(&mut self) -> Result<Option<Micros>, FactsError> {
        match self.cursor() {
            0 => Ok(None),
            cursor => Ok(Some(self.ledger().event(cursor)?.received)),
        }
    }

    /// Every row that touches `from..until`, every row of each job that was in
    /// a place or released in it, what their amounts and prices need (the
    /// list is at `baywright_report::Input::rows`), all odd records that
    /// wait, and what still runs at `as_of`. Ordered by (origin, ordinal),
    /// provisional rows last; none comes twice.
    ///
    /// # Errors
    /// If the database fails.
    pub fn rows_for_span(
        &self,
        from: Micros,
        until: Micros,
        as_of: Micros,
    ) -> Result<Vec<Row>, FactsError> {
        let mut found = Gathered::new();
        // Of notices a report shows the odd ones alone, and those come with
        // their jobs or because they wait; cautions are many.
        for table in Table::ALL.into_iter().filter(|t| *t != Table::Notice) {
            let rest = match table.shape().when {
                When::At(column) => format!("WHERE {column} >= ?1 AND {column} < ?2"),
                When::Span => "WHERE until_us > ?1 AND from_us < ?2".to_owned(),
                When::Untimed => continue,
            };
            self.gather(&mut found, table, &rest, (from.0, until.0))?;
        }
        let provisional = step::provisional(&self.live()?.state, &self.cats, as_of);
        let mut jobs: BTreeSet<JobKey> = found.values().filter_map(job_of).collect();
        jobs.extend(provisional.iter().filter_map(job_of));
        self.finish(found, &jobs, provisional)
    }

    /// Every row of one job, what its amounts and prices need, and what still
    /// runs on it.
    ///
    /// # Errors
    /// If the database fails.
    pub fn rows_for_job(&self, job: JobKey, as_of: Micros) -> Result<Vec<Row>, FactsError> {
        let mut provisional = step::provisional(&self.live()?.state, &self.cats, as_of);
        // Work of others that still runs takes its share between two refills.
        provisional.retain(|row| job_of(row) == Some(job) || matches!(row, Row::HandsOn(_)));
        self.finish(Gathered::new(), &BTreeSet::from([job]), provisional)
    }

    /// As [`View::rows_for_job`], for reading one job after the other: without
    /// the odd records of others, and with `running` worked out before.
    ///
    /// # Errors
    /// If the database fails.
    pub(super) fn rows_of_one(&self, job: JobKey, running: &[Row]) -> Result<Vec<Row>, FactsError> {
        let mut found = Gathered::new();
        for table in Table::ALL.into_iter().filter(|table| table.shape().by_job) {
            self.gather(&mut found, table, "WHERE job = ?1", [job.0])?;
        }
        let provisional: Vec<Row> = running
            .iter()
            .filter(|row| job_of(row) == Some(job) || matches!(row, Row::HandsOn(_)))
            .cloned()
            .collect();
        let one = BTreeSet::from([job]);
        self.add_quotes(&mut found, &keys_of(&one)?)?;
        self.add_supplies(&mut found, &one, &provisional)?;
        let named: BTreeSet<JobKey> = found.values().filter_map(named_by).collect();
        for job in named {
            self.gather(&mut found, Table::Job, "WHERE job = ?1", [job.0])?;
        }
        Ok(found.into_values().chain(provisional).collect())
    }

    /// Odd records, the settled ones too where `all`, with what their answers
    /// are proposed from: openings, stays and work of their jobs, and the stays
    /// of the day around those that found no job.
    ///
    /// # Errors
    /// If the database fails.
    pub fn rows_of_odd(&self, all: bool, as_of: Micros) -> Result<Vec<Row>, FactsError> {
        let mut found = Gathered::new();
        let rest = if all {
            "WHERE severity = 'odd'"
        } else {
            "WHERE severity = 'odd' AND settled = 0"
        };
        self.gather(&mut found, Table::Notice, rest, [])?;
        let mut around: Vec<Micros> = Vec::new();
        let mut jobs: BTreeSet<JobKey> = BTreeSet::new();
        for row in found.values() {
            let Row::Notice(said) = row else { continue };
            jobs.extend(said.job);
            match &said.notice {
                Notice::BayOverfull { jobs: there, .. } => jobs.extend(there),
                Notice::NoJobHere { .. }
                | Notice::UnknownJobNumber { .. }
                | Notice::JobNotOpen { .. } => around.push(said.at),
                _ => {}
            }
        }
        for at in around {
            let day = (at.0.saturating_sub(DAY_US), at.0.saturating_add(DAY_US));
            let rest = "WHERE until_us > ?1 AND from_us < ?2";
            self.gather(&mut found, Table::Presence, rest, day)?;
        }
        let provisional = step::provisional(&self.live()?.state, &self.cats, as_of);
        let stays: Vec<Row> = provisional
            .into_iter()
            .filter(|row| matches!(row, Row::Presence(_)))
            .collect();
        jobs.extend(found.values().chain(&stays).filter_map(job_of));
        for job in jobs {
            for table in [Table::Job, Table::Presence, Table::HandsOn] {
                self.gather(&mut found, table, "WHERE job = ?1", [job.0])?;
            }
        }
        Ok(found.into_values().chain(stays).collect())
    }

    /// How many odd records wait for the owner.
    ///
    /// # Errors
    /// If the database fails.
    pub fn odd_open(&self) -> Result<u64, FactsError> {
        let count: i64 = self
            .conn
            .prepare_cached("SELECT count(*) FROM notice WHERE severity = 'odd' AND settled = 0")?
            .query_row([], |row| row.get(0))?;
        Ok(unsigned(count))
    }

    /// The job that a caller names; `None` where no such job is folded.
    ///
    /// # Errors
    /// If the database fails.
    pub fn job_named(&self, name: &JobName) -> Result<Option<JobKey>, FactsError> {
        let found = match name {
            JobName::Number(number) => self.first_id(
                "SELECT job FROM job_number WHERE number = ?1",
                [signed(*number)],
            )?,
            // A handle may be given again after years: the latest counts.
            JobName::Handle(handle) => self.first_id(
                "SELECT job FROM job WHERE handle = ?1 ORDER BY opened_us DESC LIMIT 1",
                [handle],
            )?,
            JobName::Opening(id) => {
                self.first_id("SELECT job FROM job WHERE job = ?1 LIMIT 1", [id.0])?
            }
        };
        Ok(found.map(EventId))
    }

    /// What a person calls a job.
    ///
    /// # Errors
    /// If the database fails.
    pub fn title(&self, job: JobKey) -> Result<Option<Title>, FactsError> {
        Ok(answer::title(self.conn, job)?)
    }

    /// Job number and struck flag for each seq asked for.
    ///
    /// # Errors
    /// If the database fails.
    pub fn counted(&self, seqs: &[u64]) -> Result<Vec<Counted>, FactsError> {
        let mut statement = self.conn.prepare_cached(
            "SELECT event.struck, job.number FROM event
             LEFT JOIN counted ON counted.seq = event.seq
             LEFT JOIN job ON job.job = counted.job
             WHERE event.seq = ?1",
        )?;
        seqs.iter()
            .map(|seq| {
                let found = statement
                    .query_row([signed(*seq)], |row| {
                        Ok(Counted {
                            struck: row.get(0)?,
                            job_number: row.get::<_, Option<i64>>(1)?.map_or(0, unsigned),
                        })
                    })
                    .optional()?;
                Ok(found.unwrap_or_default())
            })
            .collect()
    }

    /// The events of a job in the order in which they happened: those that
    /// count for it, and the struck ones that would.
    ///
    /// # Errors
    /// If the database or the log fails.
    pub fn events_of_job(&mut self, job: JobKey) -> Result<Vec<Told>, FactsError> {
        let mut seqs = self.seqs("SELECT seq FROM counted WHERE job = ?1", [job.0])?;
        seqs.extend(self.struck_seqs(job)?);
        let mut told: BTreeMap<(Position, Seq), Told> = BTreeMap::new();
        let mut next: Vec<u64> = seqs.into_iter().collect();
        while let Some(seq) = next.pop() {
            let event = self.ledger().event(seq)?;
            let key = (event.position.clone(), event.seq);
            if told.contains_key(&key) {
                continue;
            }
            // What takes an event of the job back, or answers it, is part of its story.
            let about = "SELECT seq FROM event WHERE target = ?1";
            next.extend(self.seqs(about, [event.id.0])?);
            let before = answer::told_before(self.conn, &event)?;
            let by = if before.by.is_empty() {
                event.by.clone()
            } else {
                before.by
            };
            let struck = before.struck;
            told.insert(key, Told { event, struck, by });
        }
        Ok(told.into_values().collect())
    }

    /// What was said about an event, as sentences, and how many standing
    /// cautions were shown with it. Those follow from the catalogue alone and
    /// would bury the story: a vehicle full of finishes has dozens.
    ///
    /// # Errors
    /// If the database fails.
    pub fn notices_of(&self, event: &Event) -> Result<(Vec<String>, u32), FactsError> {
        let said = rows::select_rows(
            self.conn,
            Table::Notice,
            "WHERE seq = ?1",
            [signed(event.seq.0)],
        )?;
        let mut sentences = Vec::new();
        let mut cautions = 0_u32;
        for row in said {
            match row {
                Row::Notice(row) if is_standing(&row.notice) => {
                    cautions = cautions.saturating_add(1);
                }
                Row::Notice(row) => {
                    sentences.push(answer::sentence(self.conn, &self.cats, row.at, &row.notice));
                }
                _ => {}
            }
        }
        Ok((sentences, cautions))
    }

    /// A notice as a sentence.
    pub fn sentence(&self, at: Micros, notice: &Notice) -> String {
        answer::sentence(self.conn, &self.cats, at, notice)
    }

    fn ledger(&mut self) -> SqliteLedger<'_> {
        SqliteLedger {
            conn: self.conn,
            log: &mut *self.log,
            touching: 0,
        }
    }

    fn gather(
        &self,
        found: &mut Gathered,
        table: Table,
        rest: &str,
        params: impl Params,
    ) -> Result<(), FactsError> {
        for Emitted {
            origin,
            ordinal,
            row,
        } in rows::select(self.conn, table, rest, params)?
        {
            found.insert((origin, ordinal), row);
        }
        Ok(())
    }

    /// Adds what the rows found refer to, and orders everything.
    fn finish(
        &self,
        mut found: Gathered,
        jobs: &BTreeSet<JobKey>,
        provisional: Vec<Row>,
    ) -> Result<Vec<Row>, FactsError> {
        let keys = keys_of(jobs)?;
        for table in Table::ALL {
            // Which events count for a job is the story's to ask; no figure does.
            if table.shape().by_job && table != Table::Counted {
                // One query for all jobs: a quarter has thousands of them.
                let mut rest = "WHERE job IN (SELECT unhex(value) FROM json_each(?1))".to_owned();
                if table == Table::Notice {
                    rest.push_str(" AND severity = 'odd'");
                }
                self.gather(&mut found, table, &rest, [&keys])?;
            }
        }
        self.gather(
            &mut found,
            Table::Notice,
            "WHERE severity = 'odd' AND settled = 0",
            [],
        )?;
        self.add_quotes(&mut found, &keys)?;
        self.add_supplies(&mut found, jobs, &provisional)?;
        // A comeback and an odd record name other jobs by their number. The
        // release goes with the opening, or such a job would be in progress.
        let named: BTreeSet<JobKey> = found.values().filter_map(named_by).collect();
        for job in named.difference(jobs) {
            for table in [Table::Job, Table::Release] {
                self.gather(&mut found, table, "WHERE job = ?1", [job.0])?;
            }
        }
        Ok(found.into_values().chain(provisional).collect())
    }

    /// Quotes that the jobs were accepted with or that were added to them.
    fn add_quotes(&self, found: &mut Gathered, keys: &str) -> Result<(), FactsError> {
        for table in [Table::Quote, Table::QuoteDecided] {
            let rest = "WHERE quote IN
                (SELECT quote FROM job WHERE job IN (SELECT unhex(value) FROM json_each(?1)))
              OR quote IN
                (SELECT quote FROM quote WHERE addition_to IN
                  (SELECT unhex(value) FROM json_each(?1)))";
            self.gather(found, table, rest, [keys])?;
        }
        Ok(())
    }

    fn first_id(&self, sql: &str, params: impl Params) -> Result<Option<[u8; 16]>, FactsError> {
        Ok(self
            .conn
            .prepare_cached(sql)?
            .query_row(params, |row| row.get(0))
            .optional()?)
    }

    fn seqs(&self, sql: &str, params: impl Params) -> Result<BTreeSet<u64>, FactsError> {
        let mut statement = self.conn.prepare_cached(sql)?;
        let seqs = statement.query_map(params, |row| row.get::<_, i64>(0))?;
        Ok(seqs
            .map(|seq| seq.map(unsigned))
            .collect::<rusqlite::Result<_>>()?)
    }

    /// Struck events that name the job, or were posted in a bay while it was there.
    fn struck_seqs(&mut self, job: JobKey) -> Result<BTreeSet<u64>, FactsError> {
        let stays: Vec<Presence> =
            rows::select_rows(self.conn, Table::Presence, "WHERE job = ?1", [job.0])?
                .into_iter()
                .filter_map(|row| match row {
                    Row::Presence(stay) => Some(stay),
                    _ => None,
                })
                .collect();
        let opened: Option<i64> = self
            .conn
            .prepare_cached("SELECT opened_us FROM job WHERE job = ?1 LIMIT 1")?
            .query_row([job.0], |row| row.get(0))
            .optional()?;
        let struck = self.seqs(
            "SELECT seq FROM event WHERE struck = 1 AND occurred_us >= ?1",
            [opened.unwrap_or(i64::MAX)],
        )?;
        let mut of_job = BTreeSet::new();
        for seq in struck {
            let event = self.ledger().event(seq)?;
            let is_its = match event.job {
                JobRef::Job(named) => named == job,
                JobRef::UnknownNumber(_) => false,
                JobRef::Here => stays.iter().any(|stay| {
                    let at = event.position.occurred;
                    stay.place == event.bay
                        && stay.from <= at
                        && stay.until.is_none_or(|until| at < until)
                }),
            };
            if is_its {
                of_job.insert(seq);
            }
        }
        Ok(of_job)
    }
}

/// What a database says about itself, for a view.
pub(super) fn about(conn: &Connection) -> Result<About, FactsError> {
    schema::read_about(conn)?
        .ok_or_else(|| FactsError::Damaged("it does not say what it holds".to_owned()))
}

/// Jobs as a list that SQL can join: a JSON array of their keys in hexadecimal.
fn keys_of(jobs: &BTreeSet<JobKey>) -> Result<String, FactsError> {
    let keys = jobs
        .iter()
        .map(|job| format!("{:032x}", u128::from_be_bytes(job.0)));
    to_json(&keys.collect::<Vec<_>>())
}

/// The job that a row belongs to.
pub(super) fn job_of(row: &Row) -> Option<JobKey> {
    match row {
        Row::JobOpened(row) => Some(row.job),
        Row::Presence(row) => Some(row.job),
        Row::HandsOn(row) => Some(row.job),
        Row::Waiting(row) => Some(row.job),
        Row::Coated(row) => Some(row.job),
        Row::Use(row) => row.job,
        Row::Notice(row) => row.job,
        Row::Counted { job, .. } => *job,
        Row::JobReleased { job, .. }
        | Row::Declared { job, .. }
        | Row::Levelled { job, .. }
        | Row::Lamp { job, .. }
        | Row::Cured { job, .. }
        | Row::Covered { job, .. }
        | Row::FlawFound { job, .. }
        | Row::FlawRemedied { job, .. } => Some(*job),
        Row::MixMade(_)
        | Row::MixDumped { .. }
        | Row::Container { .. }
        | Row::Stock { .. }
        | Row::Quote(_)
        | Row::QuoteDecided(_)
        | Row::Past(_)
        | Row::Air { .. } => None,
    }
}

/// The mix that a row draws from or pours away.
fn mix_of(row: &Row) -> Option<EventId> {
    match row {
        Row::Use(row) => row.mix,
        Row::MixDumped { mix, .. } => Some(*mix),
        _ => None,
    }
}

/// Another job that a row needs the opening of.
fn named_by(row: &Row) -> Option<JobKey> {
    match row {
        Row::JobOpened(row) => row.comeback_of,
        Row::Notice(row) => row.job,
        _ => None,
    }
}

/// A caution that the catalogue gives for the vehicle or the step, whatever
/// happened.
fn is_standing(notice: &Notice) -> bool {
    matches!(
        notice,
        Notice::FinishNevers { .. }
            | Notice::SurfaceNever { .. }
            | Notice::SurfaceCare { .. }
            | Notice::Caution { .. }
    )
}
