//! `bay stock`: what is left on the shelf, what came in, what was counted,
//! and where one lot went.

use baywright_proto::amount::{amount_to_wire, money_to_wire};
use baywright_proto::v1;
use baywright_proto::v1::fact::Kind;
use baywright_proto::v1::report_service_client::ReportServiceClient;
use baywright_terms::amount::{Amount, Money};
use clap::{Args, Subcommand};
use serde_json::json;

use super::page;
use crate::answer::Outcome;
use crate::commands::{Local, amount, joined, post_kind, post_with_line, refused};
use crate::connect::REPORT_MS_MAX;
use crate::context::Context;
use crate::error::Error;
use crate::render;
use crate::resolve;

/// What is left on the shelf, for how long, and by when to order.
///
/// Left is the last count, and what came in and went out since. How long it
/// lasts is said for weeks as they are on the whole, and for busy and quiet
/// ones; order by is when a busy shop runs out, less the lead time of the
/// catalogue. Without a word it is about every product.
#[derive(Debug, Args)]
#[command(
    args_conflicts_with_subcommands = true,
    after_help = "\
Examples:
  bay stock                                 every product
  bay stock iron-remover                    one, and what its figures are made of
  bay stock in iron-remover 2 --price 24.50 --lot 2291
  bay stock count iron-remover 3.5l
  bay stock lot 2291                        every panel that it is on"
)]
pub struct StockArgs {
    #[command(subcommand)]
    step: Option<Step>,
    /// One product only.
    #[arg(value_name = "PRODUCT")]
    product: Option<String>,
}

#[derive(Debug, Subcommand)]
enum Step {
    In(InArgs),
    Count(CountArgs),
    Lot(LotArgs),
}

/// Packs came in.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  bay stock in iron-remover 2
  bay stock in iron-remover 2 --pack 5l --price 24.50 --lot 2291")]
struct InArgs {
    /// The product.
    #[arg(value_name = "PRODUCT")]
    product: String,
    /// How many packs.
    #[arg(value_name = "PACKS")]
    packs: String,
    /// What one pack holds; without it, what the catalogue says.
    #[arg(long, value_name = "AMOUNT")]
    pack: Option<String>,
    /// What one pack cost, without tax.
    #[arg(long, value_name = "PRICE")]
    price: Option<String>,
    /// The lot on the packs.
    #[arg(long, value_name = "LOT")]
    lot: Option<String>,
}

/// What is on the shelf was counted.
///
/// All of it, open bottles too. Figures start anew from a count.
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  bay stock count iron-remover 3.5l")]
struct CountArgs {
    /// The product.
    #[arg(value_name = "PRODUCT")]
    product: String,
    /// How much there is: 3.5l, 800ml, 12; 0ml for nothing.
    #[arg(value_name = "AMOUNT", required = true)]
    amount: Vec<String>,
}

/// Where one lot went: every section it is on, every use that named it.
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  bay stock lot 2291")]
struct LotArgs {
    /// The lot, as it was typed.
    #[arg(value_name = "LOT")]
    lot: String,
}

/// Shows the stock, or does one step.
pub fn run(context: &Context, args: &StockArgs) -> Result<Outcome, Error> {
    match &args.step {
        None => stock(context, args.product.as_deref()),
        Some(Step::In(args)) => receive(context, args),
        Some(Step::Count(args)) => count(context, args),
        Some(Step::Lot(args)) => lot(context, args),
    }
}

fn stock(context: &Context, product: Option<&str>) -> Result<Outcome, Error> {
    let product = product.map(|typed| resolve::product(context, typed));
    let request = v1::StockRequest {
        product: product.transpose()?.unwrap_or_default(),
    };
    let stock = context.call_within(REPORT_MS_MAX, "the stock", async |channel| {
        ReportServiceClient::new(channel).stock(request).await
    })?;
    Ok(stock_outcome(&stock, page::columns()))
}

fn stock_outcome(stock: &v1::StockResponse, columns: usize) -> Outcome {
    let text = render::stock::stock(stock, columns);
    Outcome::new(text, json!({ "stock": stock }))
}

fn lot(context: &Context, args: &LotArgs) -> Result<Outcome, Error> {
    let lot = args.lot.trim().to_owned();
    if lot.is_empty() {
        return Err(Error::usage("Which lot?").with_hint("Write what stands on it: 2291."));
    }
    let request = v1::LotRequest { lot };
    let lot = context.call_within(REPORT_MS_MAX, "the lot", async |channel| {
        ReportServiceClient::new(channel).lot(request).await
    })?;
    Ok(lot_outcome(&lot, page::columns()))
}

fn lot_outcome(lot: &v1::LotResponse, columns: usize) -> Outcome {
    Outcome::new(render::stock::lot(lot, columns), json!({ "lot": lot }))
}

fn receive(context: &Context, args: &InArgs) -> Result<Outcome, Error> {
    let product = resolve::product(context, &args.product)?;
    let packs: u32 = args
        .packs
        .trim()
        .parse()
        .ok()
        .filter(|packs| *packs > 0)
        .ok_or_else(|| {
            Error::refused(format!("`{}` is not a number of packs.", args.packs)).with_hint(
                format!("Whole packs, then what one holds: bay stock in {product} 2 --pack 5l"),
            )
        })?;
    let pack = match &args.pack {
        Some(typed) => Some(amount(context, typed)?),
        None => pack_of_catalogue(context, &product),
    };
    let price = args.price.as_deref().map(|typed| price(context, typed));
    let line = match &pack {
        Some(pack) => format!("{packs} x {pack}."),
        None => "What a pack holds is not known, so that nothing is added to the stock: \
                 --pack 5l says it."
            .to_owned(),
    };
    let kind = Kind::StockReceived(v1::StockReceived {
        product,
        packs,
        pack: pack.as_ref().map(amount_to_wire),
        price: price.transpose()?.as_ref().map(money_to_wire),
        lot: args.lot.as_deref().unwrap_or_default().trim().to_owned(),
    });
    post_with_line(context, kind, None, &Local::None, Some(line))
}

fn pack_of_catalogue(context: &Context, product: &str) -> Option<Amount> {
    let held = context.catalogue_or_ask()?;
    held.catalogue.products.get(product)?.pack
}

/// A price in the shop's currency, or in the one that is typed with it.
fn price(context: &Context, typed: &str) -> Result<Money, Error> {
    let held = context.catalogue_or_ask();
    let shop = held.as_ref().and_then(|held| held.catalogue.shop.as_ref());
    let currency = shop.map_or("", |shop| shop.currency.as_str());
    let price = Money::parse(typed, currency).map_err(|error| refused(&error))?;
    if price.minor < 0 {
        return Err(Error::refused("A price is not below nothing."));
    }
    Ok(price)
}

fn count(context: &Context, args: &CountArgs) -> Result<Outcome, Error> {
    let product = resolve::product(context, &args.product)?;
    let counted = amount(context, &joined(&args.amount))?;
    let kind = Kind::StockCounted(v1::StockCounted {
        product,
        amount: Some(amount_to_wire(&counted)),
    });
    post_kind(context, kind, None, &Local::None)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::render::fixture;

    #[test]
    fn the_names_in_the_json_of_the_stock_are_part_of_the_contract() {
        let outcome = stock_outcome(&fixture::stock(), 80);
        let paths = fixture::key_paths(&outcome.json).join("\n");
        insta::assert_snapshot!(paths);
    }

    #[test]
    fn the_names_in_the_json_of_a_lot_are_part_of_the_contract() {
        let outcome = lot_outcome(&fixture::lot(), 80);
        let paths = fixture::key_paths(&outcome.json).join("\n");
        insta::assert_snapshot!(paths);
    }
}
