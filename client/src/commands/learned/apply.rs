//! `bay learned apply`: what was learned of a type becomes its allowances.

use std::fmt::Write as _;

use baywright_proto::v1::{LearnedProduct, LearnedType};
use baywright_terms::amount::{Amount, Decimal, Dimension, Unit};
use baywright_terms::catalogue::{Catalogue, JobType, ProductAllowance, Source};
use baywright_terms::code::Code;
use clap::Args;
use serde_json::{Value, json};

use crate::answer::{Outcome, plain};
use crate::commands::catalogue::apply::{daemon_now, post_change};
use crate::commands::catalogue::in_force;
use crate::commands::office;
use crate::context::Context;
use crate::error::Error;
use crate::render::figure::{amount, hours_minutes};
use crate::resolve;

const MINUTE_US: i64 = 60_000_000;
/// Digits that an amount is given to: more would say more than is known.
const AMOUNT_DIGITS: u32 = 3;

/// Put the learned halves of one type into the catalogue as its allowances.
///
/// Only where the records are sure that the allowance is off. Shows each
/// figure before and after, and asks. It is one change of the catalogue, marked
/// with what it was learned from, so that the next quote does not count those
/// records twice. Jobs that are open keep what they were quoted.
#[derive(Debug, Default, Args)]
#[command(after_help = "\
Examples:
  bay learned apply trike-coat
  bay learned apply trike-coat --dry")]
pub(super) struct ApplyArgs {
    /// The job type.
    #[arg(value_name = "TYPE")]
    job_type: String,
    /// Do not ask.
    #[arg(long)]
    yes: bool,
}

/// One allowance before and after.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Change {
    /// A stage, or a product.
    of: String,
    words: String,
}

pub(super) fn run(context: &Context, args: &ApplyArgs) -> Result<Outcome, Error> {
    let code = resolve::job_type(context, &args.job_type)?;
    let learned = super::ask(context, &code, 0)?;
    let before = in_force(context, 0)?;
    let Some(entry) = before.catalogue.job_types.get(&Code::new(&code)) else {
        return Err(Error::refused(format!(
            "There is no job type `{}` in the catalogue.",
            plain(&code)
        )));
    };
    let of = learned.types.iter().find(|of| of.job_type == code);
    let (entry, changes) = of.map_or_else(|| (entry.clone(), Vec::new()), |of| after(entry, of));
    if changes.is_empty() {
        let text = format!(
            "Nothing to apply: no allowance of {} is off by what the records say for sure.",
            plain(&code)
        );
        return Ok(Outcome::new(text, json!({ "apply": { "changes": [] } })));
    }
    let told = told(&code, &changes, learned.learned_up_to_seq);
    if !args.yes && !context.common.dry {
        if !context.can_ask() {
            return Err(Error::usage("Nobody can be asked here.")
                .with_hint("Add --yes to apply it, or --dry to see what it changes."));
        }
        office::say(&told);
        if !office::yes("Apply it?")? {
            let json = json!({ "apply": { "changes": [] } });
            return Ok(Outcome::new("Nothing was posted.", json));
        }
    }
    let mut changed = Catalogue::default();
    changed.job_types.insert(Code::new(&code), entry);
    let from = daemon_now(context)?;
    let said = post_change(context, &changed, from, learned.learned_up_to_seq)?;
    let done = said.receipt().map(|receipt| {
        format!(
            "Applied as event {}. Quotes still learn from the allowances that a person gave, so these \
             records are not counted twice.",
            receipt.seq
        )
    });
    let understood = match done {
        // Who was asked has read it already.
        Some(done) if !args.yes => done,
        Some(done) => format!("{told}\n{done}"),
        None => told,
    };
    let lines: Vec<Value> = changes
        .iter()
        .map(|change| json!({ "of": change.of, "words": change.words }))
        .collect();
    let json = json!({ "apply": {
        "job_type": code,
        "changes": lines,
        "learned_up_to_seq": learned.learned_up_to_seq,
        "posted": office::told_json(&said),
    }});
    Ok(Outcome::new(office::told(&understood, &said), json))
}

fn told(code: &str, changes: &[Change], learned_up_to_seq: u64) -> String {
    let mut text = format!(
        "Allowances of {}, learned up to event {learned_up_to_seq}:",
        plain(code)
    );
    for change in changes {
        let _ = write!(text, "\n  {}: {}", plain(&change.of), plain(&change.words));
    }
    text
}

/// The entry with the halves that are worth applying, and what differs.
fn after(entry: &JobType, learned: &LearnedType) -> (JobType, Vec<Change>) {
    let mut after = entry.clone();
    let mut changes = Vec::new();
    for stage in &mut after.stages {
        let found = learned
            .stages
            .iter()
            .find(|l| l.suggest && stage.stage.as_str() == l.stage);
        let Some(found) = found else {
            continue;
        };
        let half_us = whole_minutes(found.half_us);
        if half_us == stage.allowance_us {
            continue;
        }
        changes.push(Change {
            of: stage.stage.to_string(),
            words: format!(
                "{} -> {}, from {} (half between {} and {})",
                hours_minutes(stage.allowance_us),
                hours_minutes(half_us),
                records(found.n),
                hours_minutes(found.half_low_us),
                hours_minutes(found.half_high_us),
            ),
        });
        stage.allowance_us = half_us;
        stage.source = Source::Shop;
    }
    for product in &mut after.products {
        let found = learned
            .products
            .iter()
            .find(|l| l.suggest && product.product.as_str() == l.product);
        if let Some(found) = found {
            changes.extend(product_after(product, found));
        }
    }
    (after, changes)
}

fn records(n: u32) -> String {
    crate::render::figure::counted(u64::from(n), "record", "records")
}

fn product_after(product: &mut ProductAllowance, learned: &LearnedProduct) -> Option<Change> {
    let unit = match learned.unit.as_str() {
        "ml" => Unit::Ml,
        "g" => Unit::G,
        "each" => Unit::Each,
        _ => return None,
    };
    // An allowance keeps its unit where it is of the same kind.
    let of = product.amount.unit;
    let same = of.dimension() == unit.dimension();
    let unit_after = if same { of } else { unit };
    let value = unit.convert(learned.half, unit_after)?;
    let half = Amount {
        decimal: rounded(value)?,
        unit: unit_after,
    };
    if half.quantity() == product.amount.quantity() {
        return None;
    }
    let change = Change {
        of: product.product.to_string(),
        words: format!(
            "{} -> {half}, from {} (half between {} and {} {})",
            product.amount,
            records(learned.n),
            amount(learned.half_low),
            amount(learned.half_high),
            match unit.dimension() {
                Dimension::Volume => "mL",
                Dimension::Mass => "g",
                Dimension::Count => "each",
            },
        ),
    };
    product.amount = half;
    product.source = Source::Shop;
    Some(change)
}

/// To the minute, and never to none.
fn whole_minutes(span_us: i64) -> i64 {
    let minutes = span_us.saturating_add(MINUTE_US / 2) / MINUTE_US;
    minutes.max(1).saturating_mul(MINUTE_US)
}

/// To three digits; `None` where it is no amount.
fn rounded(value: f64) -> Option<Decimal> {
    if !(value.is_finite() && value > 0.0) {
        return None;
    }
    let mut decimals: usize = 0;
    let mut size = value;
    let least = f64::from(10_u32.pow(AMOUNT_DIGITS - 1));
    while size < least && decimals < 6 {
        size *= 10.0;
        decimals += 1;
    }
    let text = format!("{value:.decimals$}");
    let decimal = Decimal::parse_plain(&text).ok()?.normalised();
    (decimal.digits > 0).then_some(decimal)
}

#[cfg(test)]
mod tests {
    use baywright_proto::v1::LearnedStage;
    use baywright_terms::catalogue::StageAllowance;
    use baywright_terms::catalogue::UnitSystem;

    use super::*;

    fn entry() -> JobType {
        let stage = |code: &str, minutes: i64| StageAllowance {
            stage: Code::new(code),
            allowance_us: minutes * MINUTE_US,
            source: Source::Trade,
        };
        let product = |code: &str, typed: &str| ProductAllowance {
            product: Code::new(code),
            amount: Amount::parse(typed, UnitSystem::Metric).unwrap(),
            source: Source::Guess,
        };
        JobType {
            name: "Three-wheeler".to_owned(),
            vehicle_class: Code::new("trike"),
            stages: vec![stage("decon", 60), stage("polish", 150), stage("coat", 45)],
            products: vec![product("iron-remover", "0.5 L"), product("clay", "1")],
            panels: Vec::new(),
            price: None,
            retired: false,
        }
    }

    fn stage(code: &str, minutes: i64, suggest: bool) -> LearnedStage {
        LearnedStage {
            stage: code.to_owned(),
            half_us: minutes * MINUTE_US + 7_000_000,
            half_low_us: (minutes - 5) * MINUTE_US,
            half_high_us: (minutes + 6) * MINUTE_US,
            n: 12,
            suggest,
            ..LearnedStage::default()
        }
    }

    #[test]
    fn only_what_is_worth_applying_changes_and_everything_else_stays() {
        let learned = LearnedType {
            stages: vec![
                stage("decon", 75, true),
                stage("polish", 170, false),
                stage("coat", 45, true),
                stage("wash", 20, true),
            ],
            products: vec![
                LearnedProduct {
                    product: "iron-remover".to_owned(),
                    unit: "ml".to_owned(),
                    half: 643.7,
                    half_low: 610.0,
                    half_high: 680.0,
                    n: 9,
                    suggest: true,
                    ..LearnedProduct::default()
                },
                LearnedProduct {
                    product: "clay".to_owned(),
                    unit: "each".to_owned(),
                    half: f64::NAN,
                    suggest: true,
                    ..LearnedProduct::default()
                },
            ],
            ..LearnedType::default()
        };
        let (after, changes) = after(&entry(), &learned);
        insta::assert_snapshot!(told("trike-coat", &changes, 4812), @"
        Allowances of trike-coat, learned up to event 4812:
          decon: 1:00 -> 1:15, from 12 records (half between 1:10 and 1:21)
          iron-remover: 0.5 L -> 0.644 L, from 9 records (half between 610 and 680 mL)
        ");
        assert_eq!(after.stages[0].source, Source::Shop);
        assert_eq!(after.stages[0].allowance_us, 75 * MINUTE_US);
        assert_eq!(after.stages[1], entry().stages[1]);
        assert_eq!(after.stages[2], entry().stages[2], "the same to the minute");
        assert_eq!(after.stages.len(), 3);
        assert_eq!(after.products[1], entry().products[1]);
    }

    #[test]
    fn an_amount_has_three_digits_and_an_allowance_is_never_nothing() {
        let shown = |value| rounded(value).map(|d| d.to_string());
        for (value, text) in [
            (643.7, "644"),
            (12_345.6, "12346"),
            (0.6437, "0.644"),
            (3.0, "3"),
            (0.5, "0.5"),
        ] {
            assert_eq!(shown(value).as_deref(), Some(text));
        }
        for value in [0.0, -3.0, f64::NAN, f64::INFINITY, 1e-9] {
            assert_eq!(shown(value), None, "{value}");
        }
        assert_eq!(whole_minutes(3_000_000), MINUTE_US);
    }
}
