//! `bay dwell`: a product is left to work, and the worker is free.

use baywright_proto::v1;
use baywright_proto::v1::fact::Kind;
use baywright_terms::time::format_span;
use clap::Args;

use crate::answer::Outcome;
use crate::commands::{Local, post_kind, post_with_line};
use crate::context::Context;
use crate::error::Error;
use crate::resolve;

/// Let a product work: `bay dwell iron-remover`; end it: `bay dwell --end`.
#[derive(Debug, Args)]
pub struct DwellArgs {
    /// The product; left out with --end: every dwell of the job.
    #[arg(value_name = "PRODUCT", required_unless_present = "end")]
    pub product: Option<String>,
    /// Only these panels.
    #[arg(value_name = "PANEL")]
    pub panels: Vec<String>,
    /// It is rinsed off.
    #[arg(long)]
    pub end: bool,
}

pub fn run(context: &Context, args: &DwellArgs) -> Result<Outcome, Error> {
    let typed = args.product.as_deref();
    let product = typed.map_or(Ok(String::new()), |typed| resolve::product(context, typed))?;
    if args.end {
        let kind = Kind::DwellEnded(v1::DwellEnded {
            product,
            panels: args.panels.clone(),
        });
        return post_kind(context, kind, None, &Local::None);
    }
    let times = times(context, &product);
    let kind = Kind::DwellStarted(v1::DwellStarted {
        product: product.clone(),
        panels: args.panels.clone(),
    });
    post_with_line(context, kind, None, &Local::Product(product), times)
}

/// Shortest and longest dwell, where the catalogue gives them.
fn times(context: &Context, product: &str) -> Option<String> {
    let held = context.catalogue()?;
    let entry = held.catalogue.products.get(product)?;
    match (entry.dwell_shortest_us, entry.dwell_longest_us) {
        (Some(from), Some(until)) => Some(format!(
            "Rinse after {} at the earliest, {} at the latest; never let it dry.",
            format_span(from),
            format_span(until)
        )),
        (None, Some(until)) => Some(format!(
            "Rinse after {} at the latest; never let it dry.",
            format_span(until)
        )),
        (Some(from), None) => Some(format!(
            "Rinse after {} at the earliest.",
            format_span(from)
        )),
        (None, None) => None,
    }
}
