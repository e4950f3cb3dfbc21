//! A product by job, and coated sections by how they came out.

use std::collections::BTreeMap;

use baywright_floor::event::{EventId, JobKey, Seq};
use baywright_floor::fact::LevelResult;
use baywright_floor::row::Row;
use baywright_terms::time::Micros;

use super::{Asked, Why, WhyLine, WhyUnit};
use crate::figures::{ChemicalFigures, Portion, PortionUnit, ReworkGroup};
use crate::materials::{self, Basis, Taken};
use crate::money;
use crate::span::Span;

const FORMULA: &str = "concentrate-equivalent: a use of a mix is its share of what went in; cost = \
    the price of the named lot, else of the last receipt, else of the catalogue, with the share of \
    what was dumped, which is not in the amount";

/// What each job of a type took of a product, or what no job took.
pub(super) fn chemical(asked: &Asked<'_, '_>, of: &ChemicalFigures) -> Why {
    let (lines, whose) = if of.job_type.is_empty() {
        (on_no_job(asked, of), "on no job".to_owned())
    } else {
        let jobs = asked.jobs_of(&of.job_type).into_iter();
        let lines = jobs.flat_map(|job| on_job(asked, of, job.job)).collect();
        (lines, format!("on the {} jobs", of.job_type))
    };
    let title = format!(
        "{} used {whose} of {}, in {}.",
        of.product,
        asked.week.week,
        of.unit.as_str()
    );
    Why::of(title, FORMULA, WhyUnit::Amount(of.unit), lines)
}

fn is_it(of: &ChemicalFigures, taken: &Taken) -> bool {
    taken.product == of.product && taken.amount.unit == of.unit
}

/// One job: what it used by where the amount comes from, and its waste.
fn on_job(asked: &Asked<'_, '_>, of: &ChemicalFigures, job: JobKey) -> Vec<WhyLine> {
    let Some(rows) = asked.index.jobs.get(&job) else {
        return Vec::new();
    };
    let catalogues = asked.input.catalogues;
    let materials = materials::of_job(asked.index, catalogues, rows);
    let money = money::products(asked.index, catalogues, rows)
        .remove(&(of.product.clone(), of.unit))
        .unwrap_or_default();
    let line = |text: &str, money_minor| WhyLine {
        product: of.product.clone(),
        amount: Portion::zero(of.unit),
        money_minor,
        ..WhyLine::of_job(job, asked.index, text)
    };
    let mut used = line("used", money.cost_minor.saturating_sub(money.waste_minor));
    let mut waste = line("", money.waste_minor);
    let mut used_base = 0_i64;
    let mut dumped = Portion::zero(of.unit);
    for taken in materials.taken.iter().filter(|taken| is_it(of, taken)) {
        let (line, sum) = if taken.waste {
            (&mut waste, &mut dumped.base)
        } else {
            let told = match taken.basis {
                Basis::Measured => "used",
                Basis::Apportioned => "its share of refills, by allowance",
                Basis::Allowance => "at its allowance: not metered",
            };
            told.clone_into(&mut used.text);
            (&mut used, &mut used_base)
        };
        *sum = sum.saturating_add(taken.amount.base);
        line.from = Some(line.from.map_or(taken.at, |from| from.min(taken.at)));
        line.seqs.extend_from_slice(&taken.seqs);
    }
    used.amount.base = used_base;
    waste.text = dumped_text(dumped);
    let is_there = |line: &WhyLine| line.from.is_some() || line.money_minor != 0;
    [used, waste].into_iter().filter(is_there).collect()
}

/// Record by record.
fn on_no_job(asked: &Asked<'_, '_>, of: &ChemicalFigures) -> Vec<WhyLine> {
    let catalogues = asked.input.catalogues;
    let span = Span::new(asked.week.from, asked.week.until);
    let loose = materials::loose(asked.index, catalogues, span);
    let taken: Vec<&Taken> = loose.taken.iter().filter(|t| is_it(of, t)).collect();
    let costs = money::shared_costs(asked.index, catalogues, of.cost_minor, &taken);
    let lines = taken.into_iter().zip(costs).map(|(taken, money_minor)| {
        let (text, amount) = if taken.waste {
            (dumped_text(taken.amount), Portion::zero(of.unit))
        } else {
            ("used on no job".to_owned(), taken.amount)
        };
        WhyLine {
            product: of.product.clone(),
            from: Some(taken.at),
            money_minor,
            amount,
            seqs: taken.seqs.clone(),
            ..WhyLine::new(text)
        }
    });
    lines.collect()
}

fn dumped_text(dumped: Portion) -> String {
    let shown = (dumped.value() * 10.0).round() / 10.0;
    format!("share of what was dumped, {shown} {}", dumped.unit.as_str())
}

/// The sections of one product and lot, one by one.
pub(super) fn rework(asked: &Asked<'_, '_>, of: &ReworkGroup) -> Why {
    let span = Span::new(asked.week.from, asked.week.until);
    let one = Portion {
        unit: PortionUnit::Each,
        base: i64::from(PortionUnit::Each.parts()),
    };
    let mut levelled: BTreeMap<EventId, Vec<(Micros, Seq, LevelResult)>> = BTreeMap::new();
    for row in asked.input.rows {
        if let Row::Levelled {
            coated,
            at,
            result,
            seq,
            ..
        } = row
        {
            let words = levelled.entry(*coated).or_default();
            words.push((*at, *seq, *result));
        }
    }
    let mut lines: Vec<WhyLine> = Vec::new();
    for row in asked.input.rows {
        let Row::Coated(coated) = row else { continue };
        let in_group = coated.product == of.product && coated.lot == of.lot;
        if !in_group || !span.holds(coated.at) {
            continue;
        }
        let words = levelled.remove(&coated.event).unwrap_or_default();
        let latest = words.iter().max_by_key(|(at, seq, _)| (*at, *seq));
        let result = match latest.map(|(_, _, result)| result) {
            Some(LevelResult::Clean) => "clean",
            Some(LevelResult::Smeared) => "smeared",
            Some(LevelResult::HighSpot) => "high spot",
            None => "not levelled",
        };
        let (panel, section, layer) = (&coated.panel, coated.section, coated.layer);
        let text = format!("{panel} {section}, layer {layer}: {result}");
        let seqs = words.iter().map(|(_, seq, _)| *seq);
        lines.push(WhyLine {
            product: of.product.clone(),
            from: Some(coated.at),
            amount: one,
            seqs: seqs.chain([coated.seq]).collect(),
            ..WhyLine::of_job(coated.job, asked.index, text)
        });
    }
    lines.sort_by_key(|line| (line.from, line.job));
    let lot = match of.lot.as_str() {
        "" => "without a lot".to_owned(),
        lot => format!("of lot {lot}"),
    };
    let title = format!(
        "Sections coated with {} {lot} in {}, and how they came out.",
        of.product, asked.week.week
    );
    let formula = "one section each; the latest word on a section holds";
    Why::of(title, formula, WhyUnit::Amount(PortionUnit::Each), lines)
}
