//! One job with everything that was recorded on it, for another program.
//!
//! Nothing is summed away: every stretch, wait, use and section is here with
//! the events behind it, beside the figures that `story` gives.

use std::collections::BTreeMap;

use baywright_floor::catalogues::Catalogues;
use baywright_floor::event::{EventId, JobKey, Seq};
use baywright_floor::fact::{Declaration, LevelResult};
use baywright_floor::row::{CoatedRow, HandsOn, JobOpenedRow, Presence, Row, UseRow, Waiting};
use baywright_terms::amount::cost_minor;
use baywright_terms::code::Code;
use baywright_terms::time::Micros;

use crate::chemicals::parts_of_use;
use crate::figures::{JobFigures, Portion, StoryPlace};
use crate::input::{Index, Input};
use crate::labour;
use crate::story;

/// Microseconds in the hour that a worker's rate is for.
const HOUR_US: i64 = 3_600_000_000;

/// All of one job; borrowed from the rows it was read from.
#[derive(Debug, Clone, PartialEq)]
pub struct ExportedJob<'r> {
    pub opened: &'r JobOpenedRow,
    pub figures: JobFigures,
    /// ISO 4217, in force when the job was opened; empty: none.
    pub currency: String,
    /// In order of time.
    pub stays: Vec<(&'r Presence, StoryPlace)>,
    /// In order of time.
    pub stretches: Vec<ExportedStretch<'r>>,
    /// Sum of what the stretches cost; `None`: none has a cost.
    pub labour_cost_minor: Option<i64>,
    /// In order of time.
    pub waiting: Vec<&'r Waiting>,
    /// In order of stage.
    pub declared: Vec<ExportedDeclared<'r>>,
    /// In order of time.
    pub uses: Vec<ExportedUse<'r>>,
    /// In order of time.
    pub sections: Vec<ExportedSection<'r>>,
}

/// One worker on one stage without a break.
#[derive(Debug, Clone, PartialEq)]
pub struct ExportedStretch<'r> {
    pub row: &'r HandsOn,
    pub hands_on_us: i64,
    /// `None`: the worker has no rate.
    pub cost_minor: Option<i64>,
}

/// What was stated for a stage at release.
#[derive(Debug, Clone, PartialEq)]
pub struct ExportedDeclared<'r> {
    pub stage: &'r Code,
    pub declaration: Declaration,
    /// Part of the job's labour; 0 where the stage has a record.
    pub counted_us: i64,
}

/// A product used, with the concentrate in it.
#[derive(Debug, Clone, PartialEq)]
pub struct ExportedUse<'r> {
    pub row: &'r UseRow,
    /// Empty: the amount is not known.
    pub parts: Vec<(Code, Portion)>,
}

/// A coated section with what became of it.
#[derive(Debug, Clone, PartialEq)]
pub struct ExportedSection<'r> {
    pub row: &'r CoatedRow,
    /// In order of time; later ones amend the first.
    pub levelled: Vec<(Micros, LevelResult, Seq)>,
}

/// Everything about one job up to `as_of`; `None` where its opening is not
/// among the rows.
pub fn export<'r>(input: &Input<'r>, job: JobKey) -> Option<ExportedJob<'r>> {
    let index = Index::new(input.rows);
    let figures = labour::job_figures(&index, input.catalogues, input.as_of, job)?;
    let rows = index.jobs.get(&job)?;
    let opened = rows.opened?;
    let at_opening = input.catalogues.at(opened.opened).catalogue.shop.as_ref();
    let mut stays: Vec<(&Presence, StoryPlace)> = rows
        .presences
        .iter()
        .map(|stay| (*stay, story::place(rows, stay, input.as_of)))
        .collect();
    stays.sort_by_key(|(stay, _)| (stay.from, stay.until.is_none(), stay.until));
    let mut stretches: Vec<ExportedStretch<'r>> = rows
        .hands_on
        .iter()
        .map(|row| ExportedStretch {
            row,
            hands_on_us: labour::length_us(row),
            cost_minor: stretch_cost_minor(input.catalogues, row),
        })
        .collect();
    stretches.sort_by(|a, b| stretch_order(a.row).cmp(&stretch_order(b.row)));
    let mut waiting = rows.waiting.clone();
    waiting.sort_by_key(|wait| (wait.from, wait.until.is_none(), wait.until, wait.kind));
    let declared_us: BTreeMap<&Code, i64> = labour::declared(rows).collect();
    let declared = rows
        .declared
        .iter()
        .map(|(stage, declaration)| ExportedDeclared {
            stage,
            declaration: *declaration,
            counted_us: declared_us.get(stage).copied().unwrap_or(0),
        });
    Some(ExportedJob {
        opened,
        currency: at_opening
            .map(|shop| shop.currency.clone())
            .unwrap_or_default(),
        stays,
        labour_cost_minor: sum_of_known(stretches.iter().map(|s| s.cost_minor)),
        stretches,
        waiting,
        declared: declared.collect(),
        uses: in_order(rows.uses.clone(), &index, input),
        sections: sections(input.rows, job),
        figures,
    })
}

/// The uses among the rows, whatever job they name, in order of time.
pub fn export_uses<'r>(input: &Input<'r>) -> Vec<ExportedUse<'r>> {
    let index = Index::new(input.rows);
    let uses = input.rows.iter().filter_map(|row| match row {
        Row::Use(used) => Some(used),
        _ => None,
    });
    in_order(uses.collect(), &index, input)
}

/// What a stretch costs at the rate that its worker has when it begins,
/// rounded half to even; `None` where nobody was named or there is no rate.
pub fn stretch_cost_minor(catalogues: &Catalogues, row: &HandsOn) -> Option<i64> {
    let catalogue = &catalogues.at(row.from).catalogue;
    let rate_minor = catalogue.workers.get(&row.worker)?.rate_minor?;
    cost_minor(rate_minor, labour::length_us(row), HOUR_US)
}

fn sum_of_known(costs: impl Iterator<Item = Option<i64>>) -> Option<i64> {
    costs.fold(None, |sum, cost| match (sum, cost) {
        (Some(sum), Some(cost)) => Some(i64::saturating_add(sum, cost)),
        (known, None) | (None, known) => known,
    })
}

fn stretch_order(row: &HandsOn) -> (Micros, Micros, Seq, &Code, &Code) {
    (row.from, row.until, row.seq_from, &row.stage, &row.worker)
}

fn in_order<'r>(
    mut uses: Vec<&'r UseRow>,
    index: &Index<'_>,
    input: &Input<'_>,
) -> Vec<ExportedUse<'r>> {
    uses.sort_by_key(|used| (used.at, used.seq));
    uses.into_iter()
        .map(|row| ExportedUse {
            row,
            parts: parts_of_use(index, input.catalogues, row),
        })
        .collect()
}

fn sections(rows: &[Row], job: JobKey) -> Vec<ExportedSection<'_>> {
    let mut levelled: BTreeMap<EventId, Vec<(Micros, LevelResult, Seq)>> = BTreeMap::new();
    for row in rows {
        if let Row::Levelled {
            coated,
            at,
            result,
            seq,
            ..
        } = row
        {
            levelled
                .entry(*coated)
                .or_default()
                .push((*at, *result, *seq));
        }
    }
    let mut sections: Vec<ExportedSection<'_>> = rows
        .iter()
        .filter_map(|row| match row {
            Row::Coated(row) if row.job == job => {
                let mut levelled = levelled.remove(&row.event).unwrap_or_default();
                levelled.sort_by_key(|(at, _, seq)| (*at, *seq));
                Some(ExportedSection { row, levelled })
            }
            _ => None,
        })
        .collect();
    sections.sort_by_key(|section| (section.row.at, section.row.seq));
    sections
}
