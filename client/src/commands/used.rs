//! `bay used` and `bay refill`: what went on the vehicle, and into the bottle.

use baywright_proto::amount::amount_to_wire;
use baywright_proto::v1;
use baywright_proto::v1::fact::Kind;
use baywright_proto::v1::product_used::Quantity;
use clap::Args;

use crate::answer::Outcome;
use crate::commands::{Local, amount, joined, post_kind};
use crate::context::Context;
use crate::error::Error;
use crate::resolve;

/// Say what was used: `bay used iron-remover 350ml`, or weigh the bottle:
/// `bay used ceramic-two --from 62.4g --to 51.9g`.
#[derive(Debug, Args)]
pub struct UsedArgs {
    /// The product.
    #[arg(value_name = "PRODUCT")]
    pub product: String,
    /// How much: 350ml, 0.35 L, 12 us-floz, 3.
    #[arg(value_name = "AMOUNT", conflicts_with_all = ["from", "to"])]
    pub amount: Vec<String>,
    /// Weight before.
    #[arg(long, value_name = "WEIGHT", requires = "to")]
    pub from: Option<String>,
    /// Weight after.
    #[arg(long, value_name = "WEIGHT", requires = "from")]
    pub to: Option<String>,
    /// The lot on the bottle.
    #[arg(long, value_name = "LOT")]
    pub lot: Option<String>,
    /// On this panel only; can be said again.
    #[arg(long = "panel", value_name = "PANEL")]
    pub panels: Vec<String>,
    /// As it comes, though a mix of it stands here.
    #[arg(long)]
    pub neat: bool,
    /// Out of the mix that stands here.
    #[arg(long, conflicts_with = "neat")]
    pub mix: bool,
}

/// Note a bottle: `bay refill shampoo 5l`, `bay refill shampoo --empty`.
#[derive(Debug, Args)]
pub struct RefillArgs {
    /// The product.
    #[arg(value_name = "PRODUCT")]
    pub product: String,
    /// What went in; with --opened: the size.
    #[arg(value_name = "AMOUNT")]
    pub amount: Vec<String>,
    /// A new bottle was opened.
    #[arg(long)]
    pub opened: bool,
    /// The bottle is empty.
    #[arg(long, conflicts_with = "opened")]
    pub empty: bool,
    /// The lot on the bottle.
    #[arg(long, value_name = "LOT")]
    pub lot: Option<String>,
}

pub fn used(context: &Context, args: &UsedArgs) -> Result<Outcome, Error> {
    let product = resolve::product(context, &args.product)?;
    let quantity = match (&args.from, &args.to) {
        (Some(from), Some(to)) => Quantity::Weighing(weighing(context, from, to)?),
        _ if args.amount.is_empty() => {
            return Err(Error::usage(format!("How much {product} was used?"))
                .with_hint(format!("bay used {product} 350ml, or --from 62g --to 51g.")));
        }
        _ => Quantity::Amount(amount_to_wire(&amount(context, &joined(&args.amount))?)),
    };
    let source = match (args.neat, args.mix) {
        (true, _) => v1::UseSource::Neat,
        (_, true) => v1::UseSource::Mix,
        _ => v1::UseSource::Unspecified,
    };
    let kind = Kind::ProductUsed(v1::ProductUsed {
        product: product.clone(),
        quantity: Some(quantity),
        lot: args.lot.clone().unwrap_or_default(),
        panels: args.panels.clone(),
        source: source.into(),
    });
    post_kind(context, kind, None, &Local::Product(product))
}

fn weighing(context: &Context, from: &str, to: &str) -> Result<v1::Weighing, Error> {
    let (before, after) = (amount(context, from)?, amount(context, to)?);
    let (dimension, other) = (before.unit.dimension(), after.unit.dimension());
    if dimension != other {
        return Err(Error::refused(format!(
            "{before} and {after} cannot be taken from each other."
        ))
        .with_hint("Weigh the bottle before and after, both in g or both in kg."));
    }
    Ok(v1::Weighing {
        before: Some(amount_to_wire(&before)),
        after: Some(amount_to_wire(&after)),
    })
}

pub fn refill(context: &Context, args: &RefillArgs) -> Result<Outcome, Error> {
    let product = resolve::product(context, &args.product)?;
    let state = match (args.opened, args.empty) {
        (true, _) => v1::ContainerState::Opened,
        (_, true) => v1::ContainerState::Empty,
        _ => v1::ContainerState::Refilled,
    };
    let much = match args.amount.as_slice() {
        [] => None,
        words => Some(amount_to_wire(&amount(context, &joined(words))?)),
    };
    let kind = Kind::ProductRefilled(v1::ProductRefilled {
        product,
        state: state.into(),
        amount: much,
        lot: args.lot.clone().unwrap_or_default(),
    });
    post_kind(context, kind, None, &Local::None)
}
