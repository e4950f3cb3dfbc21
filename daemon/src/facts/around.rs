//! Rows that a report needs beside those of its span or job.

use std::collections::{BTreeMap, BTreeSet};

use baywright_floor::event::JobKey;
use baywright_floor::row::{Emitted, Row};
use baywright_floor::step::{self, AIR_FRESH_US};
use baywright_terms::catalogue::is_no_bay;
use baywright_terms::code::Code;
use baywright_terms::time::Micros;

use super::FactsError;
use super::reader::View;
use super::rows::{self, Table};
use super::view::job_of;

impl View<'_> {
    /// Adds what was coated so lately that it may still cure at `as_of`, with
    /// the openings of those jobs, whatever span the rows are of.
    ///
    /// # Errors
    /// If the database fails.
    pub fn add_curing(&self, rows: &mut Vec<Row>, as_of: Micros) -> Result<(), FactsError> {
        let mut coated = BTreeSet::new();
        let mut opened = BTreeSet::new();
        for row in rows.iter() {
            match row {
                Row::Coated(row) => _ = coated.insert(row.event),
                Row::JobOpened(row) => _ = opened.insert(row.job),
                _ => {}
            }
        }
        // Labels change rarely; the longest of any time is early enough.
        let since = as_of.saturating_sub(self.longest_cure_us());
        let mut lately = rows::select_rows(
            self.conn,
            Table::Coated,
            "WHERE at_us > ?1 AND at_us <= ?2",
            (since.0, as_of.0),
        )?;
        // A job is read whole or not at all: one of its sections tells for all.
        lately.retain(|row| !matches!(row, Row::Coated(row) if coated.contains(&row.event)));
        let jobs: BTreeSet<JobKey> = lately.iter().filter_map(job_of).collect();
        rows.append(&mut lately);
        for job in jobs {
            let mut tables = vec![Table::Cured];
            if !opened.contains(&job) {
                tables.extend([Table::Job, Table::Release]);
            }
            for table in tables {
                let of_job = rows::select_rows(self.conn, table, "WHERE job = ?1", [job.0])?;
                rows.extend(of_job);
            }
        }
        Ok(())
    }

    fn longest_cure_us(&self) -> i64 {
        let cats = self.catalogues();
        let products = cats
            .all()
            .flat_map(|snapshot| snapshot.catalogue.products.values());
        products
            .flat_map(|product| [product.water_safe_us, product.full_cure_us])
            .flatten()
            .max()
            .unwrap_or(0)
    }

    /// Adds the readings in the bays of the job whose rows these are, from as
    /// long before it came as a reading holds until it left.
    ///
    /// # Errors
    /// If the database fails.
    pub fn add_air(&self, rows: &mut Vec<Row>, as_of: Micros) -> Result<(), FactsError> {
        let mut found = BTreeMap::new();
        for row in rows.iter() {
            let Row::Presence(stay) = row else { continue };
            if is_no_bay(stay.place.as_str()) {
                continue;
            }
            let from = stay.from.saturating_sub(AIR_FRESH_US);
            let until = stay.until.unwrap_or(as_of);
            let air = rows::select(
                self.conn,
                Table::Air,
                "WHERE at_us >= ?1 AND at_us < ?2 AND bay = ?3",
                (from.0, until.0, stay.place.as_str()),
            )?;
            for Emitted {
                origin,
                ordinal,
                row,
            } in air
            {
                found.insert((origin, ordinal), row);
            }
        }
        rows.extend(found.into_values());
        Ok(())
    }

    /// Hands-on time of one worker that touches a span, running or not.
    ///
    /// # Errors
    /// If the database fails.
    pub fn rows_of_worker(
        &self,
        worker: &Code,
        from: Micros,
        until: Micros,
        as_of: Micros,
    ) -> Result<Vec<Row>, FactsError> {
        let mut rows = rows::select_rows(
            self.conn,
            Table::HandsOn,
            "WHERE until_us > ?1 AND from_us < ?2 AND worker = ?3",
            (from.0, until.0, worker.as_str()),
        )?;
        let running = step::provisional(&self.live()?.state, &self.cats, as_of);
        rows.extend(
            running
                .into_iter()
                .filter(|row| matches!(row, Row::HandsOn(hands_on) if hands_on.worker == *worker)),
        );
        Ok(rows)
    }
}
