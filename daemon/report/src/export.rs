//! One job with everything that was recorded on it, for another program.
//!
//! Nothing is summed away: every stretch, wait, use and section is here with
//! the events behind it, beside the figures that `story` gives.

use std::collections::BTreeMap;

use baywright_floor::event::{EventId, JobKey, Seq};
use baywright_floor::fact::{Declaration, LevelResult};
use baywright_floor::row::{CoatedRow, HandsOn, JobOpenedRow, Presence, Row, UseRow, Waiting};
use baywright_terms::code::Code;
use baywright_terms::time::Micros;

use crate::chemicals::{self, parts_of_use};
use crate::figures::{JobFigures, Portion, StoryPlace, StoryUse};
use crate::input::{Index, Input};
use crate::labour;
use crate::materials::Basis;
use crate::money::Account;
use crate::story;

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
    /// In order of time.
    pub waiting: Vec<&'r Waiting>,
    /// In order of stage.
    pub declared: Vec<ExportedDeclared<'r>>,
    /// In order of time.
    pub uses: Vec<ExportedUse<'r>>,
    /// In order of product and unit, with what no use says: shares of what was
    /// dumped and of refills.
    pub materials: Vec<StoryUse>,
    /// In order of time.
    pub sections: Vec<ExportedSection<'r>>,
}

/// One worker on one stage without a break.
#[derive(Debug, Clone, PartialEq)]
pub struct ExportedStretch<'r> {
    pub row: &'r HandsOn,
    pub hands_on_us: i64,
    /// With the declared ones they add up to the job's labour; `None`: no rate
    /// is known.
    pub cost_minor: Option<i64>,
}

/// What was stated for a stage at release.
#[derive(Debug, Clone, PartialEq)]
pub struct ExportedDeclared<'r> {
    pub stage: &'r Code,
    pub declaration: Declaration,
    /// Part of the job's labour; 0 where the stage has a record.
    pub counted_us: i64,
    pub cost_minor: Option<i64>,
}

/// A product used, with the concentrate in it.
#[derive(Debug, Clone, PartialEq)]
pub struct ExportedUse<'r> {
    pub row: &'r UseRow,
    /// Empty: the amount is not known.
    pub parts: Vec<ExportedPart>,
}

/// One product in a use, concentrate-equivalent.
#[derive(Debug, Clone, PartialEq)]
pub struct ExportedPart {
    pub product: Code,
    pub amount: Portion,
    /// `None`: no price is known, or the use is on no job.
    pub cost_minor: Option<i64>,
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
    let account = Account::of(&index, input.catalogues, rows)?;
    let mut costs = account.work_costs().map(|(worked, minor)| {
        let unknown = worked.without_rate_us > 0 && minor == 0;
        (!unknown).then_some(minor)
    });
    let mut stretches: Vec<ExportedStretch<'r>> = rows
        .hands_on
        .iter()
        .map(|row| ExportedStretch {
            row,
            hands_on_us: labour::length_us(row),
            cost_minor: costs.next().flatten(),
        })
        .collect();
    // The declared ones come after the recorded ones, in order of stage.
    let stated: BTreeMap<&Code, (i64, Option<i64>)> = labour::declared(rows)
        .map(|(stage, us)| (stage, (us, costs.next().flatten())))
        .collect();
    stretches.sort_by(|a, b| stretch_order(a.row).cmp(&stretch_order(b.row)));
    let mut waiting = rows.waiting.clone();
    waiting.sort_by_key(|wait| (wait.from, wait.until.is_none(), wait.until, wait.kind));
    let declared = rows.declared.iter().map(|(stage, declaration)| {
        let (counted_us, cost_minor) = stated.get(stage).copied().unwrap_or_default();
        ExportedDeclared {
            stage,
            declaration: *declaration,
            counted_us,
            cost_minor,
        }
    });
    let declared = declared.collect();
    let mut uses = in_order(rows.uses.clone(), &index, input);
    price(&mut uses, &account);
    Some(ExportedJob {
        opened,
        currency: at_opening
            .map(|shop| shop.currency.clone())
            .unwrap_or_default(),
        stays,
        stretches,
        waiting,
        declared,
        uses,
        materials: chemicals::story_uses(&index, input.catalogues, rows),
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

/// Puts what each product in a use cost beside it.
fn price(uses: &mut [ExportedUse<'_>], account: &Account<'_>) {
    let mut costs: BTreeMap<(Seq, &Code), Option<i64>> = BTreeMap::new();
    let goods = account.goods_costs();
    for (costed, minor) in &goods {
        let taken = &costed.taken;
        let [seq] = taken.seqs[..] else { continue };
        if taken.waste || taken.basis != Basis::Measured {
            continue;
        }
        let cost = (!costed.no_price).then_some(*minor);
        let sum = costs.entry((seq, &taken.product)).or_insert(Some(0));
        // A product can be in a mix twice: its first row has the cost of both.
        *sum = sum.zip(cost).map(|(sum, cost)| sum.saturating_add(cost));
    }
    for used in uses {
        for part in &mut used.parts {
            part.cost_minor = costs.remove(&(used.row.seq, &part.product)).flatten();
        }
    }
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
            parts: parts_of_use(index, input.catalogues, row)
                .into_iter()
                .map(|(product, amount)| ExportedPart {
                    product,
                    amount,
                    cost_minor: None,
                })
                .collect(),
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
