//! What the rows are held against: the events of a log as the floor takes
//! them, and all rows of a database as the floor emitted them.

use std::collections::BTreeMap;
use std::convert::Infallible;

use baywright_floor::event::{Event, JobKey, Seq};
use baywright_floor::row::Emitted;
use rusqlite::Connection;

use super::rows::{self, KEY, Table};
use super::{FactsError, LogSource, PAGE_ENTRIES, Stored, decode};

/// Jobs by the numbers that the log gave them, each with the seq after which the
/// number means it.
#[derive(Debug, Default)]
struct Given(BTreeMap<u64, (JobKey, u64)>);

impl decode::Numbers for Given {
    type Error = Infallible;

    fn job(&mut self, number: u64, seq: Seq) -> Result<Option<JobKey>, Infallible> {
        let given = self.0.get(&number);
        Ok(given
            .filter(|(_, since)| *since < seq.0)
            .map(|(job, _)| *job))
    }
}

/// The whole log as events, in its order.
///
/// # Errors
/// If the log cannot be read, or an entry of it is no record.
pub fn events(log: &mut dyn LogSource) -> Result<Vec<Event>, FactsError> {
    let mut stored: Vec<Stored> = Vec::new();
    loop {
        let after = stored.last().map_or(0, |entry| entry.seq);
        let page = log.after(after, PAGE_ENTRIES).map_err(FactsError::Source)?;
        if page.is_empty() {
            break;
        }
        stored.extend(page);
    }
    let mut given = Given::default();
    for entry in &stored {
        let event = event(entry, &mut Given::default())?;
        if let Some(number) = event.job_number {
            // A job sent again had its number before anything that the log has now.
            let since = if event.sent_again { 0 } else { event.seq.0 };
            given.0.entry(number).or_insert((event.id, since));
        }
    }
    stored
        .iter()
        .map(|entry| event(entry, &mut given))
        .collect()
}

fn event(stored: &Stored, given: &mut Given) -> Result<Event, FactsError> {
    let Ok(event) = decode::event(stored, given);
    let seq = stored.seq;
    event.ok_or_else(|| FactsError::Source(format!("seq {seq} holds no record").into()))
}

/// All rows of a facts database in the order of their keys.
///
/// # Errors
/// If the database fails.
pub fn all_rows(conn: &Connection) -> Result<Vec<Emitted>, FactsError> {
    let mut found = Vec::new();
    for table in Table::ALL {
        found.extend(rows::select(conn, table, &format!("ORDER BY {KEY}"), [])?);
    }
    found.sort_by(|a, b| (&a.origin, a.ordinal).cmp(&(&b.origin, b.ordinal)));
    Ok(found)
}
