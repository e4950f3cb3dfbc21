//! Amounts, ratios and money: exact decimals as typed, integers inside.

mod decimal;
mod money;
mod quantity;
mod ratio;
mod typed;
mod unit;

pub use decimal::Decimal;
pub use money::{Money, cost_minor, minor_digits, share_money};
pub use quantity::{
    Micrograms, MilliEach, Nanolitres, Quantity, format_mass, format_volume, format_volume_in,
};
pub use ratio::Ratio;
pub use typed::{Amount, QUANTITY_MAX};
pub use unit::{Dimension, Unit};

/// Why an amount, a ratio or a price could not be read. Each message says how
/// to write it instead.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum AmountError {
    #[error("`{text}` has no number: write it like 350ml, 0.35 L or 3")]
    NoNumber { text: String },
    #[error("`{text}` is not a number: write it like 350 or 0.35")]
    NotANumber { text: String },
    #[error("`{text}` is below zero: write what was used, and strike out a slip instead")]
    Negative { text: String },
    #[error("`{text}` has more than 12 digits before or 6 after the point")]
    TooManyDigits { text: String },
    #[error(
        "`{text}` can be read in two ways: write {without_comma} or {with_point}, whichever is meant"
    )]
    AmbiguousComma {
        text: String,
        without_comma: String,
        with_point: String,
    },
    #[error(
        "`{unit}` is not a unit known here: use ml, l, us-floz, us-gal, imp-floz, imp-gal, g, kg or each"
    )]
    UnknownUnit { unit: String },
    #[error("`{unit}` can be the US or the imperial one: write us-{unit} or imp-{unit}")]
    WhichSystem { unit: String },
    #[error(
        "`oz` can be a weight or a volume: write us-floz or imp-floz for a volume, g for a weight"
    )]
    WhichOunce,
    #[error("`{text}` is more than can be kept here (a million litres, a thousand tonnes)")]
    TooLarge { text: String },
    #[error("`{text}` is not a ratio: write parts of water to parts of product, like 15:1")]
    NotARatio { text: String },
    #[error("a ratio needs product: the part after the colon must be above zero")]
    NoProduct,
    #[error(
        "`{text}` would be more product than water: the water comes first, so write {turned} if that is meant, or {stronger} for {text}"
    )]
    RatioReversed {
        text: String,
        turned: String,
        stronger: String,
    },
    #[error("`{text}` names no currency: write it like EUR 45.50")]
    NoCurrency { text: String },
    #[error("`{text}` is not a currency code: three capital letters of ISO 4217, like EUR")]
    NotACurrency { text: String },
    #[error("{currency} has {digits} digits after the point, `{text}` has more")]
    TooManyMinorDigits {
        text: String,
        currency: String,
        digits: u8,
    },
}

/// `numerator / denominator`, rounded half to even. The denominator is above 0.
fn divide_half_even(numerator: i128, denominator: i128) -> i128 {
    let floor = numerator.div_euclid(denominator);
    let twice = numerator.rem_euclid(denominator) * 2;
    match twice.cmp(&denominator) {
        std::cmp::Ordering::Less => floor,
        std::cmp::Ordering::Greater => floor + 1,
        std::cmp::Ordering::Equal => floor + (floor & 1),
    }
}

/// Narrows to 64 bits, stopping at the ends.
fn saturate(value: i128) -> i64 {
    i64::try_from(value).unwrap_or(if value < 0 { i64::MIN } else { i64::MAX })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn halves_go_to_the_even_neighbour_on_both_sides_of_zero() {
        for (n, d, want) in [
            (5, 2, 2),
            (7, 2, 4),
            (-5, 2, -2),
            (-7, 2, -4),
            (9, 4, 2),
            (11, 4, 3),
            (-9, 4, -2),
            (0, 3, 0),
        ] {
            assert_eq!(divide_half_even(n, d), want, "{n}/{d}");
        }
    }
}
