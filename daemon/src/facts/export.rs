//! The jobs a page at a time, for another program: one page is one read
//! transaction, and one job's rows are in memory at a time, so that neither
//! grows with the log.

mod messages;

use std::collections::BTreeSet;
use std::fmt;

use baywright_floor::event::{EventId, JobKey, Position, Seq};
use baywright_floor::row::{Emitted, Row};
use baywright_floor::step;
use baywright_proto::v1;
use baywright_report::Input;
use baywright_terms::time::Micros;

use super::FactsError;
use super::ledger::SqliteLedger;
use super::reader::View;
use super::rows::{self, Table};
use super::schema::{signed, unsigned};

/// Jobs in a page. A job with all its rows is some ten kilobytes; the state of
/// the floor, which a page reads once, about as much as that of all of them.
const PAGE_JOBS: usize = 16;
/// Uses on no job in a page: each is one small row.
const PAGE_USES: usize = 256;

/// What is asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Wanted {
    /// Opened or released in `from..until`.
    pub from: Micros,
    pub until: Micros,
    /// Where what still runs is cut.
    pub as_of: Micros,
}

/// How far an export has come.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Mark {
    /// Nothing was given yet.
    Start,
    /// All jobs up to the one opened here.
    Jobs(Position),
    /// All jobs, and the uses on none up to this instant and seq.
    Uses(Micros, Seq),
    /// Everything.
    End,
}

/// The next parts of an export.
#[derive(Debug)]
pub struct Page {
    pub parts: Vec<v1::export_jobs_response::Part>,
    pub mark: Mark,
}

impl fmt::Display for Mark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Start => f.write_str("the start"),
            Self::Jobs(position) => write!(f, "the job opened at {} µs", position.occurred.0),
            Self::Uses(at, _) => write!(f, "the use at {} µs", at.0),
            Self::End => f.write_str("the end"),
        }
    }
}

impl View<'_> {
    /// What comes after `mark`.
    ///
    /// # Errors
    /// If the database or the log fails.
    pub fn export_page(&mut self, wanted: &Wanted, mark: &Mark) -> Result<Page, FactsError> {
        match mark {
            Mark::Start => {
                let head = self.export_head(wanted)?;
                let mut page = self.export_jobs(wanted, None)?;
                page.parts
                    .insert(0, v1::export_jobs_response::Part::Head(head));
                Ok(page)
            }
            Mark::Jobs(after) => self.export_jobs(wanted, Some(after)),
            Mark::Uses(at, seq) => self.export_uses(wanted, *at, *seq),
            Mark::End => Ok(Page {
                parts: Vec::new(),
                mark: Mark::End,
            }),
        }
    }

    fn export_head(&self, wanted: &Wanted) -> Result<v1::ExportHead, FactsError> {
        let jobs: i64 = self
            .conn
            .prepare_cached(&format!("SELECT count(*) FROM job WHERE {IN_SPAN}"))?
            .query_row((wanted.from.0, wanted.until.0), |row| row.get(0))?;
        let cats = self.catalogues();
        let shop = cats.at(wanted.as_of).catalogue.shop.clone();
        let shop = shop.as_ref();
        Ok(v1::ExportHead {
            shop: shop.map(|s| s.name.clone()).unwrap_or_default(),
            zone: shop.map(|s| s.zone.clone()).unwrap_or_default(),
            currency: shop.map(|s| s.currency.clone()).unwrap_or_default(),
            as_of_us: wanted.as_of.0,
            as_of_seq: self.cursor(),
            jobs: unsigned(jobs),
        })
    }

    fn export_jobs(
        &mut self,
        wanted: &Wanted,
        after: Option<&Position>,
    ) -> Result<Page, FactsError> {
        let keys = self.job_keys(wanted, after)?;
        let Some((last, _)) = keys.last() else {
            let mark = Mark::Uses(wanted.from, Seq(0));
            return Ok(Page {
                parts: Vec::new(),
                mark,
            });
        };
        let mark = Mark::Jobs(last.clone());
        let cats = self.catalogues();
        let running = step::provisional(&self.live()?.state, &cats, wanted.as_of);
        let mut parts = Vec::new();
        for (_, key) in &keys {
            if let Some(job) = self.exported_job(*key, &running, wanted.as_of)? {
                parts.push(v1::export_jobs_response::Part::Job(job));
            }
        }
        Ok(Page { parts, mark })
    }

    /// Keys of the next jobs, in the order in which they were opened.
    fn job_keys(
        &self,
        wanted: &Wanted,
        after: Option<&Position>,
    ) -> Result<Vec<(Position, JobKey)>, FactsError> {
        let (at, device, device_seq) = after.map_or((i64::MIN, "", -1), |position| {
            (
                position.occurred.0,
                &*position.device,
                signed(position.device_seq),
            )
        });
        let mut statement = self.conn.prepare_cached(&format!(
            "SELECT origin_us, origin_device, origin_seq, job FROM job
             WHERE (origin_us, origin_device, origin_seq) > (?3, ?4, ?5) AND {IN_SPAN}
             ORDER BY origin_us, origin_device, origin_seq LIMIT {PAGE_JOBS}"
        ))?;
        let params = (wanted.from.0, wanted.until.0, at, device, device_seq);
        let keys = statement.query_map(params, |row| {
            let position = Position {
                occurred: Micros(row.get(0)?),
                device: row.get::<_, String>(1)?.into(),
                device_seq: unsigned(row.get(2)?),
            };
            Ok((position, EventId(row.get(3)?)))
        })?;
        Ok(keys.collect::<rusqlite::Result<_>>()?)
    }

    fn exported_job(
        &mut self,
        job: JobKey,
        running: &[Row],
        as_of: Micros,
    ) -> Result<Option<v1::ExportJob>, FactsError> {
        let rows = self.rows_of_one(job, running)?;
        let cats = self.catalogues();
        let input = self.input(&rows, &cats, as_of);
        let Some(exported) = baywright_report::export(&input, job) else {
            return Ok(None);
        };
        let mut message = messages::job(&exported);
        if let Some(quote) = exported.opened.quote {
            message.quote_number = self.number_of_quote(quote)?.unwrap_or(0);
        }
        for (message, used) in message.uses.iter_mut().zip(&exported.uses) {
            self.add_posted(message, used.row.seq)?;
        }
        Ok(Some(message))
    }

    fn export_uses(&mut self, wanted: &Wanted, at: Micros, seq: Seq) -> Result<Page, FactsError> {
        // A use can also name a job whose opening was struck out: it is kept,
        // and comes with those that name none.
        let mut found = rows::select(
            self.conn,
            Table::ProductUse,
            &format!(
                "WHERE NOT EXISTS (SELECT 1 FROM job WHERE job.job = product_use.job)
                 AND (at_us, seq) > (?1, ?2) AND at_us >= ?1 AND at_us < ?3
                 ORDER BY at_us, seq LIMIT {PAGE_USES}"
            ),
            (at.0, signed(seq.0), wanted.until.0),
        )?;
        self.add_mixes(&mut found)?;
        let rows = in_order(found);
        let cats = self.catalogues();
        let input = self.input(&rows, &cats, wanted.as_of);
        let mut mark = Mark::End;
        let mut parts = Vec::new();
        for used in baywright_report::export_uses(&input) {
            let mut message = messages::product_use(&used);
            self.add_posted(&mut message, used.row.seq)?;
            mark = Mark::Uses(used.row.at, used.row.seq);
            parts.push(v1::export_jobs_response::Part::LooseUse(message));
        }
        Ok(Page { parts, mark })
    }

    /// Adds the mixes that uses among the rows were drawn from.
    fn add_mixes(&self, found: &mut Vec<Emitted>) -> Result<(), FactsError> {
        let mixes: BTreeSet<EventId> = found
            .iter()
            .filter_map(|emitted| match &emitted.row {
                Row::Use(row) => row.mix,
                _ => None,
            })
            .collect();
        for mix in mixes {
            found.extend(rows::select(
                self.conn,
                Table::MixMade,
                "WHERE mix = ?1",
                [mix.0],
            )?);
        }
        Ok(())
    }

    /// Adds the amount as the person typed it, which only the log has.
    fn add_posted(&mut self, message: &mut v1::ExportUse, seq: Seq) -> Result<(), FactsError> {
        let event = SqliteLedger {
            conn: self.conn,
            log: &mut *self.log,
            touching: 0,
        }
        .event(seq.0)?;
        messages::put_posted(message, &event.fact);
        Ok(())
    }

    fn input<'r>(
        &self,
        rows: &'r [Row],
        catalogues: &'r baywright_floor::catalogues::Catalogues,
        as_of: Micros,
    ) -> Input<'r> {
        Input {
            rows,
            catalogues,
            as_of,
            as_of_seq: Seq(self.cursor()),
            log_from: None,
            log_until: None,
        }
    }
}

/// A job opened or released in `?1..?2`.
const IN_SPAN: &str = "((opened_us >= ?1 AND opened_us < ?2) OR EXISTS (
  SELECT 1 FROM release WHERE release.job = job.job AND release.at_us >= ?1 AND release.at_us < ?2))";

fn in_order(mut found: Vec<Emitted>) -> Vec<Row> {
    found.sort_by(|a, b| (&a.origin, a.ordinal).cmp(&(&b.origin, b.ordinal)));
    found.into_iter().map(|emitted| emitted.row).collect()
}
