//! Amounts, money, ratios, panels and enum words to and from the wire.
//!
//! From the wire nothing panics: what cannot be read is `None`, and the caller
//! decides whether that is a refusal (a person waits) or an odd record.

use baywright_terms::amount::{Amount, Money, Ratio, Unit};
use baywright_terms::catalogue::Panel;
use baywright_terms::code::Code;

use crate::v1;

/// The unit as the wire numbers it.
pub fn unit_to_wire(unit: Unit) -> v1::Unit {
    match unit {
        Unit::Ml => v1::Unit::Ml,
        Unit::L => v1::Unit::L,
        Unit::UsFloz => v1::Unit::UsFloz,
        Unit::UsGal => v1::Unit::UsGal,
        Unit::ImpFloz => v1::Unit::ImpFloz,
        Unit::ImpGal => v1::Unit::ImpGal,
        Unit::G => v1::Unit::G,
        Unit::Kg => v1::Unit::Kg,
        Unit::Each => v1::Unit::Each,
    }
}

/// The unit of a wire number; `None` for one this build does not know.
pub fn unit_from_wire(unit: i32) -> Option<Unit> {
    match v1::Unit::try_from(unit).ok()? {
        v1::Unit::Unspecified => None,
        v1::Unit::Ml => Some(Unit::Ml),
        v1::Unit::L => Some(Unit::L),
        v1::Unit::UsFloz => Some(Unit::UsFloz),
        v1::Unit::UsGal => Some(Unit::UsGal),
        v1::Unit::ImpFloz => Some(Unit::ImpFloz),
        v1::Unit::ImpGal => Some(Unit::ImpGal),
        v1::Unit::G => Some(Unit::G),
        v1::Unit::Kg => Some(Unit::Kg),
        v1::Unit::Each => Some(Unit::Each),
    }
}

/// The decimal keeps its spelling: `1.50` travels as `1.50`.
pub fn amount_to_wire(amount: &Amount) -> v1::Amount {
    v1::Amount {
        decimal: amount.decimal.to_string(),
        unit: unit_to_wire(amount.unit).into(),
    }
}

/// `None` where the decimal or the unit cannot be read.
pub fn amount_from_wire(amount: &v1::Amount) -> Option<Amount> {
    Amount::parts(&amount.decimal, unit_from_wire(amount.unit)?).ok()
}

/// Money as it is; nothing can go wrong on this way.
pub fn money_to_wire(money: &Money) -> v1::Money {
    v1::Money {
        price_minor: money.minor,
        currency: money.currency.clone(),
    }
}

/// Any money of the wire; an odd currency is kept as it came.
pub fn money_from_wire(money: &v1::Money) -> Money {
    Money::new(money.price_minor, &money.currency)
}

/// Parts of water to parts of product.
pub fn ratio_to_wire(ratio: &Ratio) -> v1::Ratio {
    v1::Ratio {
        water_parts: ratio.water_parts.to_string(),
        product_parts: ratio.product_parts.to_string(),
    }
}

/// `None` where a part is no plain decimal or there is no product in it.
pub fn ratio_from_wire(ratio: &v1::Ratio) -> Option<Ratio> {
    Ratio::from_parts(&ratio.water_parts, &ratio.product_parts).ok()
}

/// A panel; 0 stands for an area not measured.
pub fn panel_to_wire(panel: &Panel) -> v1::Panel {
    v1::Panel {
        code: panel.code.to_string(),
        finish: panel.finish.to_string(),
        area_cm2: panel.area_cm2.unwrap_or(0),
    }
}

/// Any panel of the wire, odd codes kept as they came.
pub fn panel_from_wire(panel: &v1::Panel) -> Panel {
    Panel {
        code: Code::new(&panel.code),
        finish: Code::new(&panel.finish),
        area_cm2: Some(panel.area_cm2).filter(|area| *area > 0),
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use baywright_terms::amount::Decimal;

    use super::*;

    proptest! {
        #[test]
        fn amounts_keep_their_spelling(digits in 0..=999_999_999_999_i64, scale in 0..=6_u8, unit in 0..9_usize) {
            let amount = Amount { decimal: Decimal { digits, scale }, unit: Unit::ALL[unit] };
            prop_assert_eq!(amount_from_wire(&amount_to_wire(&amount)), Some(amount));
        }

        #[test]
        fn ratios_and_money_come_back(water in 0..=9_999_i64, product in 1..=99_i64, minor in any::<i64>()) {
            let ratio = Ratio { water_parts: Decimal::whole(water), product_parts: Decimal::whole(product) };
            prop_assert_eq!(ratio_from_wire(&ratio_to_wire(&ratio)), Some(ratio));
            let money = Money::new(minor, "EUR");
            prop_assert_eq!(money_from_wire(&money_to_wire(&money)), money);
        }

        #[test]
        fn any_amount_of_the_wire_gets_an_answer(decimal in ".{0,20}", unit in any::<i32>()) {
            let _ = amount_from_wire(&v1::Amount { decimal, unit });
        }
    }

    #[test]
    fn a_unit_that_nobody_named_is_none() {
        assert_eq!(unit_from_wire(0), None);
        assert_eq!(unit_from_wire(99), None);
        for unit in Unit::ALL {
            assert_eq!(unit_from_wire(unit_to_wire(unit).into()), Some(unit));
        }
    }
}
