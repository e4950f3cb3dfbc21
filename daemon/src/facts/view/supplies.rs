//! What the amounts and prices of a report need beside the rows of its jobs:
//! mixes with everybody who drew from them, refills with everybody who worked
//! between them, and receipts.
//!
//! Every query goes through an index, so the cost grows with the jobs asked
//! for and with what happened between two refills around them, not with the
//! age of the log. Receipts and containers are looked up by `origin_us`, the
//! instant of the event that emitted the row: it is their `at_us`, and it is
//! the key that an index on the product is ordered by.

use std::collections::{BTreeMap, BTreeSet};

use baywright_floor::event::{EventId, JobKey};
use baywright_floor::row::{ContainerKind, JobOpenedRow, Row};
use baywright_terms::code::Code;
use baywright_terms::time::Micros;
use rusqlite::Params;

use super::{Gathered, View, job_of, mix_of};
use crate::facts::FactsError;
use crate::facts::rows::Table;

/// First and last instant of something, both included.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Reach {
    first: Micros,
    last: Micros,
}

impl Reach {
    fn at(at: Micros) -> Self {
        Self {
            first: at,
            last: at,
        }
    }

    fn with(self, other: Self) -> Self {
        Self {
            first: self.first.min(other.first),
            last: self.last.max(other.last),
        }
    }
}

/// Reaches by what they are of.
fn widen<K: Ord>(reaches: &mut BTreeMap<K, Reach>, of: K, reach: Reach) {
    reaches
        .entry(of)
        .and_modify(|known| *known = known.with(reach))
        .or_insert(reach);
}

impl View<'_> {
    /// Adds what the amounts and prices of `jobs` need to what was found.
    pub(super) fn add_supplies(
        &self,
        found: &mut Gathered,
        jobs: &BTreeSet<JobKey>,
        provisional: &[Row],
    ) -> Result<(), FactsError> {
        self.add_mixes_and_users(found)?;
        let unmetered = self.unmetered_work(found, jobs, provisional);
        self.add_refills(found, jobs, provisional, &unmetered)?;
        self.add_receipts(found, unmetered)
    }

    /// The mixes named, and every use and dump of them: who drew from a mix
    /// shares what was dumped of it.
    fn add_mixes_and_users(&self, found: &mut Gathered) -> Result<(), FactsError> {
        let mixes: BTreeSet<EventId> = found.values().filter_map(mix_of).collect();
        for mix in mixes {
            for table in [Table::MixMade, Table::MixDumped, Table::ProductUse] {
                self.gather(found, table, "WHERE mix = ?1", [mix.0])?;
            }
        }
        Ok(())
    }

    /// For each unmetered product that the jobs are allowed, or that was
    /// refilled: its refills from the one before that work to the one after
    /// it, and the work and measured uses of everybody in between.
    fn add_refills(
        &self,
        found: &mut Gathered,
        jobs: &BTreeSet<JobKey>,
        provisional: &[Row],
        unmetered: &BTreeMap<Code, Reach>,
    ) -> Result<(), FactsError> {
        let mut shared: Option<Reach> = None;
        for (product, worked) in unmetered {
            let Some(refills) = self.add_refills_of(found, product, *worked)? else {
                continue;
            };
            let (first, last) = (refills.first.0, refills.last.0);
            self.gather(
                found,
                Table::ProductUse,
                "WHERE at_us >= ?1 AND at_us < ?2 AND product = ?3",
                (first, last, product.as_str()),
            )?;
            shared = Some(shared.map_or(refills, |known| known.with(refills)));
        }
        let Some(shared) = shared else {
            return Ok(());
        };
        self.gather(
            found,
            Table::HandsOn,
            "WHERE until_us > ?1 AND from_us < ?2",
            (shared.first.0, shared.last.0),
        )?;
        let beside: BTreeSet<JobKey> = found
            .values()
            .chain(provisional)
            .filter(|row| matches!(row, Row::HandsOn(_)))
            .filter_map(job_of)
            .filter(|job| !jobs.contains(job))
            .collect();
        for job in beside {
            for table in [Table::Job, Table::Release, Table::HandsOn] {
                self.gather(found, table, "WHERE job = ?1", [job.0])?;
            }
        }
        Ok(())
    }

    /// When the jobs were worked on, by the unmetered products they are allowed,
    /// and when such products were refilled: also a refill of the span that no
    /// job is behind has its interval.
    fn unmetered_work(
        &self,
        found: &Gathered,
        jobs: &BTreeSet<JobKey>,
        provisional: &[Row],
    ) -> BTreeMap<Code, Reach> {
        let mut worked: BTreeMap<JobKey, Reach> = BTreeMap::new();
        for row in found.values().chain(provisional) {
            if let Row::HandsOn(row) = row {
                let reach = Reach {
                    first: row.from,
                    last: row.until,
                };
                widen(&mut worked, row.job, reach);
            }
        }
        let mut products = BTreeMap::new();
        for row in found.values() {
            if let Row::Container { product, at, .. } = row {
                let known = self.cats.at(*at).catalogue.products.get(product);
                if known.is_some_and(|known| known.unmetered) {
                    widen(&mut products, product.clone(), Reach::at(*at));
                }
            }
            let Row::JobOpened(opened) = row else {
                continue;
            };
            let Some(worked) = worked
                .get(&opened.job)
                .filter(|_| jobs.contains(&opened.job))
            else {
                continue;
            };
            for product in self.unmetered_allowed(opened) {
                widen(&mut products, product, *worked);
            }
        }
        products
    }

    fn unmetered_allowed(&self, opened: &JobOpenedRow) -> Vec<Code> {
        let catalogue = &self.cats.at(opened.opened).catalogue;
        let Some(job_type) = catalogue.job_types.get(&opened.job_type) else {
            return Vec::new();
        };
        let allowed = job_type.products.iter().map(|allowed| &allowed.product);
        allowed
            .filter(|code| catalogue.products.get(*code).is_some_and(|p| p.unmetered))
            .cloned()
            .collect()
    }

    /// The refills of a product around `worked`; from the first to the last
    /// of them, where there are two.
    fn add_refills_of(
        &self,
        found: &mut Gathered,
        product: &Code,
        worked: Reach,
    ) -> Result<Option<Reach>, FactsError> {
        let before = self.instant(
            "SELECT max(origin_us) FROM container
             WHERE product = ?1 AND kind = 'refilled' AND origin_us < ?2",
            (product.as_str(), worked.first.0),
        )?;
        let after = self.instant(
            "SELECT min(origin_us) FROM container
             WHERE product = ?1 AND kind = 'refilled' AND origin_us >= ?2",
            (product.as_str(), worked.last.0),
        )?;
        self.gather(
            found,
            Table::Container,
            "WHERE product = ?1 AND origin_us >= ?2 AND origin_us <= ?3",
            (
                product.as_str(),
                before.unwrap_or(worked.first).0,
                after.unwrap_or(worked.last).0,
            ),
        )?;
        let refills = found.values().filter_map(|row| match row {
            Row::Container {
                product: of,
                kind: ContainerKind::Refilled,
                at,
                ..
            } if of == product => Some(Reach::at(*at)),
            _ => None,
        });
        Ok(refills.reduce(Reach::with).filter(|r| r.first < r.last))
    }

    /// For each product that was drawn, or shared out without a record: the
    /// last priced receipt before that, every one up to the last draw of
    /// anything, and those of the lots named.
    fn add_receipts(
        &self,
        found: &mut Gathered,
        mut drawn: BTreeMap<Code, Reach>,
    ) -> Result<(), FactsError> {
        let mut dumped: Option<Micros> = None;
        let mut lots: BTreeSet<String> = BTreeSet::new();
        for row in found.values() {
            match row {
                Row::Use(row) => {
                    widen(&mut drawn, row.product.clone(), Reach::at(row.at));
                    lots.insert(row.lot.clone());
                }
                Row::MixMade(row) => {
                    let added = row.additions.iter().map(|(code, _)| code);
                    for product in added.chain([&row.product]) {
                        widen(&mut drawn, product.clone(), Reach::at(row.at));
                    }
                }
                Row::Container {
                    product, lot, at, ..
                } => {
                    widen(&mut drawn, product.clone(), Reach::at(*at));
                    lots.insert(lot.clone());
                }
                Row::MixDumped { at, .. } => dumped = dumped.max(Some(*at)),
                Row::Coated(row) => {
                    lots.insert(row.lot.clone());
                }
                _ => {}
            }
        }
        lots.remove("");
        let until = drawn.values().map(|reach| reach.last).max().max(dumped);
        for (product, reach) in drawn {
            let before = self.instant(
                "SELECT max(origin_us) FROM stock WHERE product = ?1
                 AND kind = 'received' AND price_minor IS NOT NULL AND origin_us <= ?2",
                (product.as_str(), reach.first.0),
            )?;
            let from = before.unwrap_or(reach.first);
            self.gather(
                found,
                Table::Stock,
                "WHERE product = ?1 AND kind = 'received' AND origin_us >= ?2 AND origin_us <= ?3",
                (product.as_str(), from.0, until.unwrap_or(reach.last).0),
            )?;
        }
        for lot in lots {
            self.gather(
                found,
                Table::Stock,
                "WHERE lot = ?1 AND kind = 'received'",
                [lot],
            )?;
        }
        Ok(())
    }

    pub(super) fn instant(
        &self,
        sql: &str,
        params: impl Params,
    ) -> Result<Option<Micros>, FactsError> {
        let at: Option<i64> = self
            .conn
            .prepare_cached(sql)?
            .query_row(params, |row| row.get(0))?;
        Ok(at.map(Micros))
    }
}
