//! `bay mix`: a batch of diluted product, made or dumped.

use baywright_proto::amount::{amount_to_wire, ratio_to_wire};
use baywright_proto::v1;
use baywright_proto::v1::fact::Kind;
use baywright_terms::amount::{Amount, Quantity, Ratio, format_volume_in};
use clap::Args;

use crate::answer::Outcome;
use crate::commands::{Local, amount, joined, post_kind, post_with_line, refused};
use crate::context::Context;
use crate::error::Error;
use crate::resolve;

/// Make a mix: `bay mix alkaline-cleaner 15:1 1us-gal`; dump what is left of
/// it: `bay mix alkaline-cleaner --dump`.
#[derive(Debug, Args)]
pub struct MixArgs {
    /// The product.
    #[arg(value_name = "PRODUCT")]
    pub product: String,
    /// Parts of water to parts of product, 15:1, then the volume of the mix.
    /// With --dump: how much, or nothing for all that is left.
    #[arg(value_name = "RATIO VOLUME")]
    pub what: Vec<String>,
    /// Something else in it: foam-booster=2us-floz.
    #[arg(long = "add", value_name = "PRODUCT=AMOUNT")]
    pub additions: Vec<String>,
    /// Pour it away.
    #[arg(long, conflicts_with = "additions")]
    pub dump: bool,
}

pub fn run(context: &Context, args: &MixArgs) -> Result<Outcome, Error> {
    let product = resolve::product(context, &args.product)?;
    if args.dump {
        return dump(context, product, args);
    }
    let (typed, rest) = args.what.split_first().ok_or_else(how)?;
    let ratio = Ratio::parse(typed).map_err(|e| refused(&e))?;
    if rest.is_empty() {
        return Err(how());
    }
    let volume = amount(context, &joined(rest))?;
    let line = parts(context, &ratio, &volume)?;
    let additions = args.additions.iter().map(|typed| addition(context, typed));
    let kind = Kind::MixMade(v1::MixMade {
        product: product.clone(),
        ratio: Some(ratio_to_wire(&ratio)),
        volume: Some(amount_to_wire(&volume)),
        additions: additions.collect::<Result<_, _>>()?,
    });
    post_with_line(context, kind, None, &Local::Product(product), Some(line))
}

fn how() -> Error {
    Error::usage("A mix needs its ratio and its volume.")
        .with_hint("Water comes first: bay mix alkaline-cleaner 15:1 4l.")
}

/// How much of each goes into the bucket.
fn parts(context: &Context, ratio: &Ratio, volume: &Amount) -> Result<String, Error> {
    let Quantity::Volume(total) = volume.quantity() else {
        return Err(Error::refused(format!("{volume} is not a volume."))
            .with_hint("A mix is measured as it stands in the bucket: 4l, or 1us-gal."));
    };
    let show = |part| format_volume_in(part, context.units());
    Ok(format!(
        "{} of product and {} of water: {:.1} %.",
        show(ratio.concentrate_in(total)),
        show(ratio.water_in(total)),
        ratio.percent()
    ))
}

fn addition(context: &Context, typed: &str) -> Result<v1::Addition, Error> {
    let Some((product, much)) = typed.split_once('=') else {
        return Err(Error::refused(format!("`{typed}` is not an addition."))
            .with_hint("Write product and amount: --add foam-booster=60ml."));
    };
    Ok(v1::Addition {
        product: resolve::product(context, product)?,
        amount: Some(amount_to_wire(&amount(context, much)?)),
    })
}

fn dump(context: &Context, product: String, args: &MixArgs) -> Result<Outcome, Error> {
    let much = match args.what.as_slice() {
        [] => None,
        words => Some(amount_to_wire(&amount(context, &joined(words))?)),
    };
    let kind = Kind::MixDumped(v1::MixDumped {
        product,
        mix_event_id: Vec::new(),
        amount: much,
    });
    post_kind(context, kind, None, &Local::None)
}
