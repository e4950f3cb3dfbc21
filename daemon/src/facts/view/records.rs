//! What is learned from: the rows of released jobs, a few jobs at a time, and
//! the jobs from before the log.

use std::collections::{BTreeMap, BTreeSet};

use baywright_floor::event::{EventId, JobKey};
use baywright_floor::quote::PastRow;
use baywright_floor::row::Row;

use super::{Gathered, View, job_of, keys_of};
use crate::facts::FactsError;
use crate::facts::rows::{self, Table};
use crate::facts::touched::{self, Touched};

/// Jobs whose rows are in memory at once while all are read: some ten
/// thousand rows, a few megabytes.
const JOBS_AT_ONCE: usize = 256;

impl View<'_> {
    /// What changed after `seq`.
    ///
    /// # Errors
    /// If the database fails.
    pub fn touched_since(&self, seq: u64) -> Result<Touched, FactsError> {
        Ok(touched::since(self.conn, seq)?)
    }

    /// Every job that was released.
    ///
    /// # Errors
    /// If the database fails.
    pub fn jobs_released(&self) -> Result<BTreeSet<JobKey>, FactsError> {
        let mut statement = self
            .conn
            .prepare_cached("SELECT DISTINCT job FROM release")?;
        let jobs = statement.query_map([], |row| Ok(EventId(row.get(0)?)))?;
        Ok(jobs.collect::<rusqlite::Result<_>>()?)
    }

    /// Gives the rows that the record of each job is made of, in order; a job
    /// that was not released, or is gone, is passed over.
    ///
    /// # Errors
    /// If the database fails.
    pub fn rows_to_learn(
        &self,
        jobs: &BTreeSet<JobKey>,
        mut give: impl FnMut(JobKey, &[Row]),
    ) -> Result<(), FactsError> {
        let jobs: Vec<JobKey> = jobs.iter().copied().collect();
        for some in jobs.chunks(JOBS_AT_ONCE) {
            let some = some.iter().copied().collect();
            for (job, rows) in self.rows_of_some(&some)? {
                give(job, &rows);
            }
        }
        Ok(())
    }

    fn rows_of_some(
        &self,
        jobs: &BTreeSet<JobKey>,
    ) -> Result<BTreeMap<JobKey, Vec<Row>>, FactsError> {
        let keys = keys_of(jobs)?;
        let of_jobs = "WHERE job IN (SELECT unhex(value) FROM json_each(?1))
             AND job IN (SELECT job FROM release)";
        let mut found = Gathered::new();
        for table in Table::ALL {
            if table.learned_from() == Some("job") {
                self.gather(&mut found, table, of_jobs, [&keys])?;
            }
        }
        let mixes = format!("WHERE mix IN (SELECT mix FROM product_use {of_jobs})");
        let made = rows::select_rows(self.conn, Table::MixMade, &mixes, [&keys])?;
        let mut by_job: BTreeMap<JobKey, Vec<Row>> = BTreeMap::new();
        let mut drawn: BTreeMap<EventId, BTreeSet<JobKey>> = BTreeMap::new();
        for row in found.into_values() {
            let Some(job) = job_of(&row) else {
                continue;
            };
            if let Row::Use(used) = &row
                && let Some(mix) = used.mix
            {
                drawn.entry(mix).or_default().insert(job);
            }
            by_job.entry(job).or_default().push(row);
        }
        for row in made {
            let Row::MixMade(mix) = &row else { continue };
            for job in drawn.get(&mix.mix).into_iter().flatten() {
                by_job.entry(*job).or_default().push(row.clone());
            }
        }
        Ok(by_job)
    }

    /// Jobs from before the log, each key once: the first that said it counts.
    ///
    /// # Errors
    /// If the database fails.
    pub fn past_jobs(&self) -> Result<Vec<PastRow>, FactsError> {
        let mut seen = BTreeSet::new();
        let rows = rows::select_rows(self.conn, Table::Past, "ORDER BY seq, ordinal", [])?;
        let past = rows.into_iter().filter_map(|row| match row {
            Row::Past(row) => seen.insert(row.past.key).then_some(row),
            _ => None,
        });
        Ok(past.collect())
    }
}
