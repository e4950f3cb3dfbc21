//! Labour of a job, stretch by stretch, at standard and actually.

use baywright_floor::catalogues::Catalogues;
use baywright_floor::event::Seq;
use baywright_floor::row::HandsOn;
use baywright_terms::code::Code;
use baywright_terms::time::Micros;

use super::fine::Fine;
use super::standard::{Standard, burden_milli};
use crate::input::JobRows;
use crate::labour;

/// A stretch of work, or minutes declared for a stage.
#[derive(Debug)]
pub(crate) struct Worked<'r> {
    pub(crate) stage: &'r Code,
    /// `None`: declared.
    pub(crate) row: Option<&'r HandsOn>,
    pub(crate) us: i64,
    /// Part of `us` for which no rate was known.
    pub(crate) without_rate_us: i64,
    pub(crate) rework: bool,
    pub(crate) at_standard: Fine,
    pub(crate) actual: Fine,
    pub(crate) seqs: Vec<Seq>,
}

/// Everything worked on a job, in order of record; declared minutes last.
pub(crate) fn of_job<'r>(
    rows: &'r JobRows<'_>,
    catalogues: &Catalogues,
    standard: &Standard<'_>,
) -> Vec<Worked<'r>> {
    let mut worked: Vec<Worked<'r>> = rows
        .hands_on
        .iter()
        .map(|row| stretch(row, catalogues, standard))
        .collect();
    worked.extend(labour::declared(rows).map(|(stage, us)| {
        let cost = standard.labour(us);
        Worked {
            stage,
            row: None,
            us,
            without_rate_us: if cost.is_some() { 0 } else { us },
            rework: standard.comeback,
            at_standard: cost.unwrap_or_default(),
            actual: cost.unwrap_or_default(),
            seqs: rows.declared_seqs.get(stage).copied().into_iter().collect(),
        }
    }));
    worked
}

fn stretch<'r>(row: &'r HandsOn, catalogues: &Catalogues, standard: &Standard<'_>) -> Worked<'r> {
    let us = labour::length_us(row);
    let mut actual = Fine::ZERO;
    let mut without_rate_us: i64 = 0;
    let mut until = row.until;
    while row.from < until {
        let snapshot = catalogues.at(Micros(until.0.saturating_sub(1)));
        let from = snapshot.from.max(row.from);
        let part_us = until.0.saturating_sub(from.0);
        let catalogue = &snapshot.catalogue;
        let worker = catalogue.workers.get(&row.worker);
        actual += if let Some(rate_minor) = worker.and_then(|worker| worker.rate_minor) {
            let costs = catalogue.shop.as_ref().map(|shop| shop.costs);
            let burden = burden_milli(&costs.unwrap_or_default());
            Fine::of_labour(rate_minor, part_us, burden)
        } else {
            without_rate_us = without_rate_us.saturating_add(part_us);
            standard.labour(part_us).unwrap_or_default()
        };
        until = from;
    }
    let mut seqs = vec![row.seq_from];
    seqs.extend(row.seq_until.filter(|seq| *seq != row.seq_from));
    Worked {
        stage: &row.stage,
        row: Some(row),
        us,
        without_rate_us,
        rework: standard.comeback || row.rework,
        at_standard: standard.labour(us).unwrap_or(actual),
        actual,
        seqs,
    }
}
