//! Amounts, ratios and money: exact decimals as typed, integers inside.

use serde::{Deserialize, Serialize};

/// A decimal as typed: `digits` × 10^−`scale`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Decimal {
    pub digits: i64,
    /// At most 6.
    pub scale: u8,
}

/// Units that an amount may be typed in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Unit {
    Ml,
    L,
    UsFloz,
    UsGal,
    ImpFloz,
    ImpGal,
    G,
    Kg,
    Each,
}

/// An amount as the person gave it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Amount {
    pub decimal: Decimal,
    pub unit: Unit,
}

/// Nanolitres. Integer, so that shares and sums are exact.
#[derive(
    Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
)]
#[serde(transparent)]
pub struct Nanolitres(pub i64);

/// Micrograms.
#[derive(
    Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
)]
#[serde(transparent)]
pub struct Micrograms(pub i64);

/// Thousandths of a piece.
#[derive(
    Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
)]
#[serde(transparent)]
pub struct MilliEach(pub i64);

/// An amount in the integer unit of its dimension.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Quantity {
    Volume(Nanolitres),
    Mass(Micrograms),
    Count(MilliEach),
}

/// Parts of water to parts of product.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Ratio {
    pub water_parts: Decimal,
    pub product_parts: Decimal,
}

/// Minor units of an ISO 4217 currency, without tax.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Money {
    pub minor: i64,
    pub currency: String,
}

impl Amount {
    /// The amount in the integer unit of its dimension, rounded half to even.
    pub fn quantity(&self) -> Quantity {
        Quantity::Volume(Nanolitres(self.decimal.digits))
    }
}
