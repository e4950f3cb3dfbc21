//! `bay coat`, `level`, `lamp` and `cured`: a panel on its way to hard.

use baywright_proto::v1;
use baywright_proto::v1::fact::Kind;
use baywright_terms::temperature::MilliCelsius;
use baywright_terms::time::{Micros, parse_span};
use clap::Args;
use serde_json::json;

use crate::answer::Outcome;
use crate::commands::{Local, post_kind, post_said, refused};
use crate::context::Context;
use crate::error::Error;
use crate::nearby;
use crate::post::{Said, occurred_at};
use crate::resolve;
use crate::say::{Extra, say, window_line};

/// Spread the coating on a section: `bay coat nose`, `bay coat bonnet/2`.
#[derive(Debug, Args)]
pub struct CoatArgs {
    /// The panel, and its section after a stroke.
    #[arg(value_name = "PANEL")]
    pub panel: String,
    /// The coating; left out: the only one in the catalogue, or the last one used.
    #[arg(long, value_name = "PRODUCT")]
    pub product: Option<String>,
    /// The lot on the bottle.
    #[arg(long, value_name = "LOT")]
    pub lot: Option<String>,
    /// 1 for the first layer; left out: counted.
    #[arg(long, value_name = "N", default_value_t = 0)]
    pub layer: u32,
}

/// Level a section: `bay level`, clean unless said otherwise.
#[derive(Debug, Args)]
pub struct LevelArgs {
    /// The panel; left out: the section that has waited longest.
    #[arg(value_name = "PANEL")]
    pub panel: Option<String>,
    /// Levelled too early: it dragged.
    #[arg(long)]
    pub smeared: bool,
    /// Levelled too late: residue is left.
    #[arg(long, conflicts_with = "smeared")]
    pub high_spot: bool,
    /// A section levelled before turned out so.
    #[arg(long, requires = "panel")]
    pub amend: bool,
}

/// Put the lamp on a panel: `bay lamp bonnet 12m --surface 55C`.
#[derive(Debug, Args)]
pub struct LampArgs {
    #[arg(value_name = "PANEL")]
    pub panel: String,
    /// How long.
    #[arg(value_name = "SPAN")]
    pub span: String,
    /// Temperature of the panel under it.
    #[arg(long, value_name = "TEMPERATURE")]
    pub surface: Option<String>,
}

/// The cure of a panel is over: `bay cured`.
#[derive(Debug, Args)]
pub struct CuredArgs {
    /// Left out: every coated panel of the job.
    #[arg(value_name = "PANEL")]
    pub panel: Option<String>,
}

pub fn coat(context: &Context, args: &CoatArgs) -> Result<Outcome, Error> {
    let (panel, section) = panel_and_section(&args.panel)?;
    let product = coating(context, args.product.as_deref())?;
    let kind = Kind::PanelCoated(v1::PanelCoated {
        panel: panel.clone(),
        section,
        product: product.clone(),
        lot: args.lot.clone().unwrap_or_default(),
        layer: args.layer,
    });
    let local = Local::Product(product.clone());
    let (fact, said) = post_said(context, kind, None)?;
    let mut extra = local.extra(context, &fact, &said);
    window_of(context, &fact, &said, &panel, &product, &mut extra);
    Ok(say(context, &fact, &said, extra))
}

/// The coating that is meant where nobody says it.
fn coating(context: &Context, typed: Option<&str>) -> Result<String, Error> {
    if let Some(typed) = typed {
        return resolve::product(context, typed);
    }
    if let Some(last) = nearby::last_coating(context) {
        return Ok(last);
    }
    let held = context.catalogue_or_ask();
    let coatings: Vec<String> = held
        .iter()
        .flat_map(|h| &h.catalogue.products)
        .filter(|(_, product)| product.kind == "coating" && !product.retired)
        .map(|(code, _)| code.to_string())
        .collect();
    match coatings.as_slice() {
        [only] => Ok(only.clone()),
        // The fold knows the job's last one, or says that it is not known.
        _ => Ok(String::new()),
    }
}

/// Said with every window that no label gives.
const TRADE_FIGURE: &str =
    "A trade figure, not your shop and not this product's label: do a test section.";

/// The window: the daemon's where it answered, else worked out here.
fn window_of(
    context: &Context,
    fact: &v1::Fact,
    said: &Said,
    panel: &str,
    product: &str,
    extra: &mut Extra,
) {
    let spread = said
        .receipt()
        .map_or_else(|| occurred_at(context, fact), |r| Micros(r.occurred_us));
    let known = nearby::job(context, fact.job.as_ref());
    let (window, finish) = nearby::window(context, known.as_ref(), panel, product);
    let limits = match said.receipt() {
        Some(r) if r.level_until_us > 0 => Some((r.level_from_us, r.level_until_us)),
        Some(_) => None,
        None => window
            .limits()
            .map(|l| (spread.0 + l.from_us, spread.0 + l.until_us)),
    };
    if let Some((from_us, until_us)) = limits {
        let line = window_line(context, spread, from_us, until_us);
        let first = match (finish.as_deref(), said.receipt()) {
            (Some("matte"), _) => " Matte first: it cannot be polished afterwards.",
            (None, None) => " This panel is not known here: taken as gloss.",
            _ => "",
        };
        extra.lines.push(format!("{line}{first}"));
        let from_label = context
            .catalogue()
            .and_then(|held| held.catalogue.products.get(product).cloned())
            .is_some_and(|p| p.level_from_us.is_some() && p.level_until_us.is_some());
        if !from_label {
            extra.lines.push(TRADE_FIGURE.to_owned());
        }
    } else if let Some(words) = nearby::no_window_words(&window) {
        extra.lines.push(words);
    } else {
        extra
            .lines
            .push("No levelling window known: check by touch, and do a test section.".to_owned());
    }
    let (from_us, until_us) = limits.unzip();
    extra.json.insert("level_from_us".into(), json!(from_us));
    extra.json.insert("level_until_us".into(), json!(until_us));
}

pub fn level(context: &Context, args: &LevelArgs) -> Result<Outcome, Error> {
    let (panel, section) = match args.panel.as_deref() {
        Some(typed) => panel_and_section(typed)?,
        None => (String::new(), 0),
    };
    let result = match (args.smeared, args.high_spot) {
        (true, _) => v1::LevelResult::Smeared,
        (_, true) => v1::LevelResult::HighSpot,
        _ => v1::LevelResult::Clean,
    };
    let kind = Kind::PanelLevelled(v1::PanelLevelled {
        panel,
        section,
        result: result.into(),
        amends: args.amend,
    });
    post_kind(context, kind, None, &Local::None)
}

pub fn lamp(context: &Context, args: &LampArgs) -> Result<Outcome, Error> {
    let duration_us = parse_span(&args.span).map_err(|e| refused(&e))?;
    let surface = args.surface.as_deref().map(MilliCelsius::parse);
    let surface = surface.transpose().map_err(|e| refused(&e))?;
    let kind = Kind::PanelLamp(v1::PanelLamp {
        panel: args.panel.clone(),
        duration_us,
        surface_milli_c: surface.map(|s| s.0),
    });
    post_kind(context, kind, None, &Local::None)
}

pub fn cured(context: &Context, args: &CuredArgs) -> Result<Outcome, Error> {
    let kind = Kind::PanelCured(v1::PanelCured {
        panel: args.panel.clone().unwrap_or_default(),
    });
    post_kind(context, kind, None, &Local::None)
}

/// `bonnet/2` is the second section of the bonnet.
fn panel_and_section(typed: &str) -> Result<(String, u32), Error> {
    let unreadable = || {
        Error::refused(format!("`{typed}` is not a panel and its section."))
            .with_hint("Write the panel, and the section's number after a stroke: bonnet/2.")
    };
    let (panel, section) = match typed.split_once('/') {
        Some((panel, section)) => {
            let number = section.parse::<u32>().ok().filter(|n| *n > 0);
            (panel, number.ok_or_else(unreadable)?)
        }
        None => (typed, 0),
    };
    if panel.trim().is_empty() {
        return Err(unreadable());
    }
    Ok((panel.trim().to_owned(), section))
}

#[cfg(test)]
mod tests {
    use super::panel_and_section;

    #[test]
    fn a_section_stands_behind_a_stroke() {
        for (typed, panel, section) in [("nose", "nose", 0), ("bonnet/2", "bonnet", 2)] {
            assert_eq!(
                panel_and_section(typed).unwrap(),
                (panel.to_owned(), section)
            );
        }
        for typed in ["bonnet/0", "bonnet/x", "/2", "a/1/2", ""] {
            assert!(panel_and_section(typed).is_err(), "{typed}");
        }
    }
}
