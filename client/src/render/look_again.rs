//! Prices that no longer fit, on strong evidence only.

use baywright_proto::v1::LookAgain;

use super::figure::{counted, whole_percent};
use super::money::money;
use super::text::{clean, paragraph, push, section};

/// The section; empty where every price still fits as far as anyone can tell.
pub(super) fn look_again(prices: &[LookAgain], currency: &str, page: usize) -> String {
    if prices.is_empty() {
        return String::new();
    }
    let mut out = section("Prices to look at again", page);
    for price in prices {
        out.push_str(&paragraph(&sentence(price, currency), page, 2));
        out.push('\n');
    }
    push(
        &mut out,
        "Discounts are no part of it, and no price changes by itself. What it rests on: bay learned TYPE.",
        page,
    );
    out
}

/// A price with how sure it is that it misses the target, and what would meet it.
pub(crate) fn sentence(price: &LookAgain, currency: &str) -> String {
    let direction = if price.above { "above" } else { "below" };
    let sure = if price.price_sure_minor == price.price_minor || price.price_sure_minor == 0 {
        String::new()
    } else {
        format!(
            ", {} with four in five certainty",
            money(price.price_sure_minor, currency)
        )
    };
    format!(
        "{}: {} leaves {} % of a target of {} %, as such a job costs {} on average. With a \
         probability of {} % it is {direction} its target. {} would meet it on average{sure}. \
         From {}.",
        clean(&price.job_type),
        money(price.list_minor, currency),
        signed_percent(price.margin_permille),
        signed_percent(price.target_margin_permille),
        money(price.cost_minor, currency),
        whole_percent(price.probability_permille),
        money(price.price_minor, currency),
        counted(u64::from(price.from_jobs), "job", "jobs"),
    )
}

/// Per mille as whole per cent, with a sign below nothing.
pub(crate) fn signed_percent(permille: i32) -> String {
    let size = whole_percent(permille.unsigned_abs());
    if permille < 0 && size != "0" {
        format!("-{size}")
    } else {
        size
    }
}
