//! What an amount of a product costs: at standard and actually.
//!
//! - **Standard price**: the pack price of the catalogue in force when the job
//!   was opened.
//! - **Actual price**: what was paid for the named lot; without that, the last
//!   receipt at or before the use; without that, the catalogue's pack price
//!   when it was used.
//!
//! A price in another currency than the shop's is no price. A pack that is
//! sold by weight prices a volume, and the other way round, where the catalogue
//! gives the density; otherwise it prices only what it is sold in.

use baywright_floor::catalogues::Catalogues;
use baywright_terms::amount::{Money, Quantity};
use baywright_terms::catalogue::Catalogue;
use baywright_terms::code::Code;
use baywright_terms::time::Micros;

use super::fine::Fine;
use crate::figures::{Portion, PortionUnit};
use crate::input::{Index, Receipt};
use crate::span::{clamp, divide_half_even};

/// Micrograms in a gram, and nanolitres in a millilitre.
const PARTS: i128 = 1_000_000;

/// Minor units for so much of a product.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Price {
    minor: i64,
    /// Above zero.
    per: Portion,
}

impl Price {
    /// What `base` parts of the price's unit cost.
    pub(crate) fn cost(self, base: i64) -> Fine {
        Fine::share(self.minor, base, self.per.base)
    }

    /// Of a pack, for amounts in `unit`.
    fn of_pack(
        minor: i64,
        pack: Quantity,
        unit: PortionUnit,
        density: Option<i64>,
    ) -> Option<Self> {
        let per = in_unit(Portion::from(pack), unit, density)?;
        (per.base > 0).then_some(Self { minor, per })
    }
}

/// What a use at `at` cost; `lot` is empty where none was named.
pub(crate) fn actual(
    index: &Index<'_>,
    catalogues: &Catalogues,
    product: &Code,
    lot: &str,
    at: Micros,
    unit: PortionUnit,
) -> Option<Price> {
    let catalogue = &catalogues.at(at).catalogue;
    let density = density(catalogue, product);
    let receipts = index.receipts_of(product);
    let paid = |receipt: &Receipt<'_>| {
        let one = one_pack(receipt.quantity, receipt.packs)?;
        Price::of_pack(receipt.price_minor, one, unit, density)
    };
    // A delivery is often written down after the first of it was used.
    let before = receipts.partition_point(|receipt| receipt.at <= at);
    let (before, after) = receipts.split_at(before);
    let is_lot = |receipt: &&Receipt<'_>| !lot.is_empty() && receipt.lot == lot;
    let of_lot = before.iter().rev().chain(after).filter(is_lot);
    of_lot
        .chain(before.iter().rev())
        .find_map(paid)
        .or_else(|| of_catalogue(catalogue, product, unit))
}

/// A price of the catalogue, where it is in the currency of the shop.
pub(crate) fn in_shop_currency(catalogue: &Catalogue, price: Option<&Money>) -> Option<i64> {
    let price = price?;
    let shop = catalogue.shop.as_ref()?;
    let same = price.currency.is_empty() || price.currency == shop.currency;
    same.then_some(price.minor)
}

/// The price of a catalogue for amounts in `unit`: that at a job's opening is
/// its standard price.
pub(crate) fn of_catalogue(
    catalogue: &Catalogue,
    product: &Code,
    unit: PortionUnit,
) -> Option<Price> {
    let found = catalogue.products.get(product)?;
    let minor = in_shop_currency(catalogue, found.pack_price.as_ref())?;
    let pack = found.pack?.quantity();
    Price::of_pack(minor, pack, unit, density(catalogue, product))
}

/// Millionths of a gram per millilitre.
fn density(catalogue: &Catalogue, product: &Code) -> Option<i64> {
    let density = catalogue.products.get(product)?.density_micro_g_per_ml;
    density.filter(|density| *density > 0)
}

/// A receipt's row holds what all its packs hold together.
fn one_pack(all: Quantity, packs: u32) -> Option<Quantity> {
    let packs = i64::from(packs);
    let one = |all: i64| all.checked_div(packs);
    Some(match all {
        Quantity::Volume(mut all) => {
            all.0 = one(all.0)?;
            Quantity::Volume(all)
        }
        Quantity::Mass(mut all) => {
            all.0 = one(all.0)?;
            Quantity::Mass(all)
        }
        Quantity::Count(mut all) => {
            all.0 = one(all.0)?;
            Quantity::Count(all)
        }
    })
}

/// The same amount in another unit; `None` where nothing says how.
fn in_unit(portion: Portion, unit: PortionUnit, density: Option<i64>) -> Option<Portion> {
    let base = i128::from(portion.base);
    let converted = match (portion.unit, unit) {
        (from, to) if from == to => base,
        (PortionUnit::G, PortionUnit::Ml) => divide_half_even(base * PARTS, i128::from(density?)),
        (PortionUnit::Ml, PortionUnit::G) => divide_half_even(base * i128::from(density?), PARTS),
        _ => return None,
    };
    Some(Portion {
        unit,
        base: clamp(converted),
    })
}
