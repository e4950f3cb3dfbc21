//! Where one lot went: for a bad batch, every section it is on.

use std::collections::{BTreeSet, HashMap};

use baywright_floor::event::{EventId, JobKey, Seq};
use baywright_floor::fact::LevelResult;
use baywright_floor::row::{Row, StockKind};
use baywright_terms::time::Micros;

use crate::figures::{LotFigures, LotJob, LotPanel, LotReceipt, LotUse};
use crate::input::{Index, Input};

/// What the records say of `lot`, by its text as it was typed. Rows needed: all
/// receipts, coats and uses that name it, and of the jobs among these the
/// opening, the release and what levelled their sections.
pub fn lot(input: &Input<'_>, lot: &str) -> LotFigures {
    let index = Index::new(input.rows);
    let results = results(input.rows);
    let mut figures = LotFigures::default();
    for row in input.rows {
        match row {
            Row::Stock {
                product,
                kind: StockKind::Received,
                packs,
                lot: of,
                at,
                seq,
                ..
            } if of == lot => figures.receipts.push(LotReceipt {
                product: product.clone(),
                at: *at,
                packs: *packs,
                seq: *seq,
            }),
            Row::Coated(row) if row.lot == lot => figures.panels.push(LotPanel {
                key: row.job,
                job: job(&index, row.job),
                product: row.product.clone(),
                panel: row.panel.clone(),
                section: row.section,
                layer: row.layer,
                coated: row.at,
                result: results.get(&row.event).map(|(_, result)| *result),
                seq: row.seq,
            }),
            Row::Use(row) if row.lot == lot => figures.uses.push(LotUse {
                key: row.job,
                job: row.job.map(|key| job(&index, key)).unwrap_or_default(),
                product: row.product.clone(),
                at: row.at,
                panels: row.panels.clone(),
                seq: row.seq,
            }),
            _ => {}
        }
    }
    figures.receipts.sort_by_key(|row| (row.at, row.seq));
    figures.panels.sort_by_key(|row| (row.coated, row.seq));
    figures.uses.sort_by_key(|row| (row.at, row.seq));
    figures
}

impl LotFigures {
    /// The jobs that it went on.
    pub fn jobs(&self) -> BTreeSet<JobKey> {
        let used = self.uses.iter().filter_map(|row| row.key);
        self.panels.iter().map(|row| row.key).chain(used).collect()
    }
}

/// How each section came out: what was said of it last.
fn results(rows: &[Row]) -> HashMap<EventId, ((Micros, Seq), LevelResult)> {
    let mut results: HashMap<EventId, ((Micros, Seq), LevelResult)> = HashMap::new();
    for row in rows {
        let Row::Levelled {
            coated,
            at,
            result,
            seq,
            ..
        } = row
        else {
            continue;
        };
        let said = ((*at, *seq), *result);
        results
            .entry(*coated)
            .and_modify(|last| {
                if last.0 < said.0 {
                    *last = said;
                }
            })
            .or_insert(said);
    }
    results
}

fn job(index: &Index<'_>, key: JobKey) -> LotJob {
    let rows = index.jobs.get(&key);
    let opened = rows.and_then(|rows| rows.opened);
    LotJob {
        number: opened.and_then(|opened| opened.number),
        handle: opened.map(|o| o.handle.clone()).unwrap_or_default(),
        vehicle: opened.map(|o| o.vehicle.clone()).unwrap_or_default(),
        released: rows.and_then(|rows| rows.released),
    }
}
