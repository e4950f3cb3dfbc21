//! Rows that the stock and one lot are worked out of.

use std::collections::BTreeSet;

use baywright_floor::event::JobKey;
use baywright_floor::row::Row;
use baywright_terms::time::Micros;

use super::{Gathered, View};
use crate::facts::FactsError;
use crate::facts::rows::Table;

impl View<'_> {
    /// What the stock of one product, or of all, is worked out of: every
    /// count, receipt and container; uses and mixes since its last count and
    /// since `recent`, whichever came first.
    ///
    /// # Errors
    /// If the database fails.
    pub fn rows_for_stock(
        &self,
        product: Option<&str>,
        recent: Micros,
        as_of: Micros,
    ) -> Result<Vec<Row>, FactsError> {
        let products: BTreeSet<String> = match product {
            Some(product) => BTreeSet::from([product.to_owned()]),
            None => self.products(as_of)?,
        };
        let mut found = Gathered::new();
        let mut mixes_from = recent;
        for product in products {
            let product = product.as_str();
            for table in [Table::Stock, Table::Container] {
                self.gather(&mut found, table, "WHERE product = ?1", [product])?;
            }
            let from = recent.min(self.last_count(product)?);
            mixes_from = mixes_from.min(from);
            self.gather(
                &mut found,
                Table::ProductUse,
                "WHERE product = ?1 AND origin_us >= ?2 AND mix IS NULL",
                (product, from.0),
            )?;
        }
        // What was added to a mix is not a column: all mixes are read.
        let since = "WHERE at_us >= ?1";
        self.gather(&mut found, Table::MixMade, since, [mixes_from.0])?;
        Ok(found.into_values().collect())
    }

    /// Everything that names a lot, and of the jobs it went on the openings,
    /// the releases and how their sections came out.
    ///
    /// # Errors
    /// If the database fails.
    pub fn rows_for_lot(&self, lot: &str) -> Result<Vec<Row>, FactsError> {
        let mut found = Gathered::new();
        for table in [Table::Stock, Table::Coated, Table::ProductUse] {
            self.gather(&mut found, table, "WHERE lot = ?1", [lot])?;
        }
        let jobs: BTreeSet<JobKey> = found.values().filter_map(super::job_of).collect();
        for job in jobs {
            for table in [Table::Job, Table::Release, Table::Levelled] {
                self.gather(&mut found, table, "WHERE job = ?1", [job.0])?;
            }
        }
        Ok(found.into_values().collect())
    }

    /// Codes of the catalogue, and of what was received or put into a bottle.
    fn products(&self, as_of: Micros) -> Result<BTreeSet<String>, FactsError> {
        let catalogue = &self.cats.at(as_of).catalogue;
        let mut products: BTreeSet<String> =
            catalogue.products.keys().map(ToString::to_string).collect();
        let mut statement = self.conn.prepare_cached(
            "SELECT DISTINCT product FROM stock UNION SELECT DISTINCT product FROM container",
        )?;
        let known = statement.query_map([], |row| row.get::<_, String>(0))?;
        for product in known {
            products.insert(product?);
        }
        Ok(products)
    }

    /// When a product was last counted; the beginning of time where it never was,
    /// and the end where it was never received either: nobody knows what is left
    /// of it, so that only the rate needs its past.
    fn last_count(&self, product: &str) -> Result<Micros, FactsError> {
        let counted = self.instant(
            "SELECT max(origin_us) FROM stock WHERE product = ?1 AND kind = 'counted'
             AND coalesce(amount_nl, amount_ug, amount_milli_each) IS NOT NULL",
            [product],
        )?;
        if let Some(counted) = counted {
            return Ok(counted);
        }
        let received = "SELECT max(origin_us) FROM stock WHERE product = ?1";
        let received = self.instant(received, [product])?;
        Ok(received.map_or(Micros(i64::MAX), |_| Micros(i64::MIN)))
    }
}
