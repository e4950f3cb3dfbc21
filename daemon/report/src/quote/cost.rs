//! What hours and amounts cost at the standards of a catalogue, and the price
//! that leaves a margin.
//!
//! `price = cost / (1 − margin)`: a margin is a share of the price, not of the cost
//! (30 % margin is 43 % on top of the cost).

use std::borrow::Cow;

use baywright_terms::amount::minor_digits;
use baywright_terms::catalogue::{Catalogue, ProductAllowance, StageAllowance};
use baywright_terms::code::Code;

use crate::figures::{PortionUnit, SuggestedCost};
use crate::money::Standard;
use crate::promise::Promise;

/// Target margin of a shop that gave none (common practice: 20 to 40 %).
pub(crate) const TARGET_MARGIN_PERMILLE: u32 = 300;

/// Standards of a catalogue for the stages of one quote.
#[derive(Debug)]
pub(crate) struct Costing<'c> {
    standard: Standard<'c>,
}

impl<'c> Costing<'c> {
    pub(crate) fn of(
        catalogue: &'c Catalogue,
        stages: Vec<StageAllowance>,
        products: Vec<ProductAllowance>,
    ) -> Self {
        let promise = Promise {
            catalogue,
            stages: Some(Cow::Owned(stages)),
            products: Cow::Owned(products),
            list_minor: None,
            agreed_minor: None,
            comeback: false,
        };
        Self {
            standard: Standard::of(promise),
        }
    }

    /// Cost of so much labour and of amounts by product and unit.
    pub(crate) fn cost<'p>(
        &self,
        labour_us: i64,
        amounts: impl Iterator<Item = (&'p Code, PortionUnit, i64)>,
    ) -> SuggestedCost {
        let labour = self.standard.labour(labour_us).unwrap_or_default();
        let materials = amounts
            .filter_map(|(product, unit, base)| self.standard.material(product, unit, base))
            .sum::<crate::money::Fine>();
        SuggestedCost {
            labour_minor: labour.rounded(),
            materials_minor: materials.rounded(),
            supplies_minor: self.standard.supplies_minor(std::iter::empty()),
            overhead_minor: self.standard.overhead_minor(labour_us),
        }
    }

    pub(crate) fn material_minor(
        &self,
        product: &Code,
        unit: PortionUnit,
        base: i64,
    ) -> Option<i64> {
        Some(self.standard.material(product, unit, base)?.rounded())
    }

    /// False: no worker has a rate, so labour costs nothing here.
    pub(crate) fn has_rate(&self) -> bool {
        self.standard.labour(1).is_some()
    }

    pub(crate) fn is_margin(&self) -> bool {
        self.standard.margin()
    }
}

/// The price that leaves so many thousandths of itself, rounded up to a whole
/// unit of the currency.
pub(crate) fn price_minor(cost_minor: i64, margin_permille: u32, currency: &str) -> i64 {
    let left = i128::from(1_000_u32.saturating_sub(margin_permille).max(1));
    let exact = i128::from(cost_minor.max(0)) * 1_000;
    let whole = 10_i128.pow(u32::from(minor_digits(currency)));
    let unit = left * whole;
    let units = (exact + unit - 1) / unit;
    i64::try_from(units * whole).unwrap_or(i64::MAX)
}

/// What a price leaves of itself after a cost, thousandths.
pub(crate) fn margin_permille(price_minor: i64, cost_minor: i64) -> i32 {
    if price_minor <= 0 {
        return 0;
    }
    let left = i128::from(price_minor) - i128::from(cost_minor);
    let permille = left * 1_000 / i128::from(price_minor);
    i32::try_from(permille.clamp(-1_000_000, 1_000)).unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_margin_is_a_share_of_the_price() {
        // 700.00 at 30 % is 1000.00, which is 42.9 % on top (common practice).
        assert_eq!(price_minor(70_000, 300, "EUR"), 100_000);
        assert_eq!(margin_permille(100_000, 70_000), 300);
        assert_eq!(price_minor(70_001, 300, "EUR"), 100_100);
        assert_eq!(price_minor(7_000, 300, "JPY"), 10_000);
        assert_eq!(price_minor(0, 300, "EUR"), 0);
        assert_eq!(margin_permille(0, 5), 0);
        assert!(margin_permille(100, 150) < 0);
    }
}
