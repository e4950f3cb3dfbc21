//! What jobs have told, kept in memory: one record for each released job, read
//! again only where its rows changed.

use std::collections::BTreeMap;

use baywright_floor::catalogues::Catalogues;
use baywright_floor::event::{JobKey, Seq};
use baywright_floor::row::Row;
use baywright_report::Input;
use baywright_report::quote::{JobRecord, of_job, of_past};

use crate::facts::reader::View;
use crate::facts::{FactsError, Touched};

/// Records of released jobs in order of their key, then those of jobs from
/// before the log.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Records {
    all: Vec<JobRecord>,
}

/// What reading again has changed.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Reread {
    pub(super) jobs: usize,
    /// Records that are new, gone, or not what they were.
    pub(super) changed: usize,
}

impl Records {
    /// Reads all of them.
    pub(super) fn read(view: &View<'_>) -> Result<Self, FactsError> {
        let mut records = Self::default();
        let everything = Touched {
            jobs: view.jobs_released()?,
            past: true,
        };
        records.read_again(view, &everything)?;
        Ok(records)
    }

    /// Reads those of what was touched.
    pub(super) fn read_again(
        &mut self,
        view: &View<'_>,
        touched: &Touched,
    ) -> Result<Reread, FactsError> {
        let cats = view.catalogues();
        let mut found: BTreeMap<JobKey, JobRecord> = BTreeMap::new();
        view.rows_to_learn(&touched.jobs, |job, rows| {
            found.extend(record_of(&cats, job, rows).map(|record| (job, record)));
        })?;
        let mut reread = Reread {
            jobs: touched.jobs.len(),
            changed: 0,
        };
        for job in &touched.jobs {
            reread.changed += usize::from(self.put(*job, found.remove(job)));
        }
        if touched.past {
            reread.changed += usize::from(self.put_past(view, &cats)?);
        }
        Ok(reread)
    }

    /// Every record.
    pub fn all(&self) -> &[JobRecord] {
        &self.all
    }

    /// Replaces, adds or takes out the record of a job; true where that is a change.
    fn put(&mut self, job: JobKey, record: Option<JobRecord>) -> bool {
        let place = self.all.binary_search_by(|held| match held.job {
            Some(held) => held.cmp(&job),
            // Jobs from before the log come last.
            None => std::cmp::Ordering::Greater,
        });
        match (place, record) {
            (Ok(at), Some(record)) => {
                let Some(held) = self.all.get_mut(at).filter(|held| **held != record) else {
                    return false;
                };
                *held = record;
            }
            (Ok(at), None) => drop(self.all.remove(at)),
            (Err(at), Some(record)) => self.all.insert(at, record),
            (Err(_), None) => return false,
        }
        true
    }

    fn put_past(&mut self, view: &View<'_>, cats: &Catalogues) -> Result<bool, FactsError> {
        let past = view.past_jobs()?;
        let past: Vec<JobRecord> = past.iter().filter_map(|row| of_past(row, cats)).collect();
        let from = self.all.partition_point(|record| record.job.is_some());
        if self.all.get(from..) == Some(past.as_slice()) {
            return Ok(false);
        }
        self.all.truncate(from);
        self.all.extend(past);
        Ok(true)
    }
}

/// What one job tells. Nothing of it runs any more, so its release stands for now.
fn record_of(cats: &Catalogues, job: JobKey, rows: &[Row]) -> Option<JobRecord> {
    let released = rows.iter().find_map(|row| match row {
        Row::JobReleased { at, .. } => Some(*at),
        _ => None,
    });
    let input = Input {
        rows,
        catalogues: cats,
        as_of: released?,
        as_of_seq: Seq(0),
        log_from: None,
        log_until: None,
    };
    of_job(&input, job)
}
