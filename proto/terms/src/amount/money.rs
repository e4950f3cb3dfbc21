//! Money: integer minor units and an ISO 4217 code, without tax.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::{AmountError, divide_half_even, saturate};

/// Minor units of an ISO 4217 currency, without tax.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Money {
    pub minor: i64,
    pub currency: String,
}

/// Largest price that can be typed, in minor units.
const TYPED_MINOR_MAX: i64 = 1_000_000_000_000_000;

/// Currencies whose minor unit is not a hundredth; every other active code
/// has two digits.
///
/// Source: ISO 4217, list one (column "minor unit"), compared with the copy
/// of it in a Java 17 runtime (`java.util.Currency`); withdrawn codes are
/// left out. UYW is from memory.
const WITHOUT_MINOR: [&str; 17] = [
    "BIF", "CLP", "DJF", "GNF", "ISK", "JPY", "KMF", "KRW", "PYG", "RWF", "UGX", "UYI", "VND",
    "VUV", "XAF", "XOF", "XPF",
];
const THOUSANDTHS: [&str; 7] = ["BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND"];
const TEN_THOUSANDTHS: [&str; 2] = ["CLF", "UYW"];

/// Digits after the point of a currency.
pub fn minor_digits(currency: &str) -> u8 {
    if WITHOUT_MINOR.contains(&currency) {
        0
    } else if THOUSANDTHS.contains(&currency) {
        3
    } else if TEN_THOUSANDTHS.contains(&currency) {
        4
    } else {
        2
    }
}

/// Minor units in one major unit.
fn minor_per_major(currency: &str) -> u64 {
    10_u64.pow(u32::from(minor_digits(currency)))
}

impl Money {
    /// Minor units of a currency.
    pub fn new(minor: i64, currency: &str) -> Self {
        Self {
            minor,
            currency: currency.to_owned(),
        }
    }

    /// Reads a price: `EUR 1,234.50`, `45.50 EUR`, or `45.50` in the shop's
    /// own `currency`. A comma may be the decimal mark or part thousands,
    /// where only one reading is possible.
    pub fn parse(text: &str, currency: &str) -> Result<Self, AmountError> {
        let text = text.trim();
        let is_code = |word: &str| !word.is_empty() && word.chars().all(char::is_alphabetic);
        let front = text
            .find(|c: char| !c.is_alphabetic())
            .unwrap_or(text.len());
        let back = text.rfind(|c: char| !c.is_alphabetic()).map_or(0, |at| {
            at + text[at..].chars().next().map_or(1, char::len_utf8)
        });
        let (code, number) = if is_code(&text[..front]) {
            (&text[..front], text[front..].trim())
        } else if is_code(&text[back..]) {
            (&text[back..], text[..back].trim())
        } else if currency.is_empty() {
            return Err(AmountError::NoCurrency { text: text.into() });
        } else {
            (currency, text)
        };
        let code = code.to_ascii_uppercase();
        if !is_currency_code(&code) {
            return Err(AmountError::NotACurrency { text: code });
        }
        let minor = parse_minor(number, &code)?;
        Ok(Self {
            minor,
            currency: code,
        })
    }

    /// The number without its currency: `1,234.50`.
    pub fn number(&self) -> String {
        let per_major = minor_per_major(&self.currency);
        let size = self.minor.unsigned_abs();
        let sign = if self.minor < 0 { "-" } else { "" };
        let whole = grouped(size / per_major);
        match usize::from(minor_digits(&self.currency)) {
            0 => format!("{sign}{whole}"),
            digits => format!("{sign}{whole}.{:0>digits$}", size % per_major),
        }
    }
}

/// True for three ASCII capital letters.
fn is_currency_code(code: &str) -> bool {
    code.len() == 3 && code.bytes().all(|b| b.is_ascii_uppercase())
}

/// Reads the number of a price into minor units.
fn parse_minor(text: &str, currency: &str) -> Result<i64, AmountError> {
    let not_a_number = || AmountError::NotANumber { text: text.into() };
    if text.starts_with(['-', '\u{2212}']) {
        return Err(AmountError::Negative { text: text.into() });
    }
    let digits = minor_digits(currency);
    let (whole, fraction) = split_number(text, digits)?;
    if whole.is_empty() && fraction.is_empty() {
        return Err(not_a_number());
    }
    let all_digits = |part: &str| part.bytes().all(|b| b.is_ascii_digit());
    if !all_digits(&whole) || !all_digits(fraction) {
        return Err(not_a_number());
    }
    if fraction.len() > usize::from(digits) {
        return Err(AmountError::TooManyMinorDigits {
            text: text.into(),
            currency: currency.into(),
            digits,
        });
    }
    let padded = format!("{whole}{fraction:0<width$}", width = usize::from(digits));
    match padded.parse::<i64>() {
        Ok(minor) if minor <= TYPED_MINOR_MAX => Ok(minor),
        _ => Err(AmountError::TooManyDigits { text: text.into() }),
    }
}

/// Splits a number at its decimal mark and takes thousands marks out.
fn split_number(text: &str, digits: u8) -> Result<(String, &str), AmountError> {
    let not_a_number = || AmountError::NotANumber { text: text.into() };
    let Some(last) = text.rfind(['.', ',']) else {
        return Ok((text.to_owned(), ""));
    };
    let (mark, other) = if text[last..].starts_with(',') {
        (',', '.')
    } else {
        ('.', ',')
    };
    let (before, after) = (&text[..last], &text[last + 1..]);
    if after.is_empty() {
        return Err(not_a_number());
    }
    let repeated = before.contains(mark);
    let comma_parts_thousands = mark == ',' && after.len() == 3 && !before.contains('.');
    if repeated || (comma_parts_thousands && digits != 3 && is_group_head(before)) {
        // The last mark parts thousands as well: 1,234 or 1,234,567.
        return Ok((without_groups(text, mark).ok_or_else(not_a_number)?, ""));
    }
    if comma_parts_thousands && is_group_head(before) {
        return Err(AmountError::AmbiguousComma {
            text: text.into(),
            without_comma: format!("{before}{after}"),
            with_point: format!("{before}.{after}"),
        });
    }
    if before.contains(other) {
        let whole = without_groups(before, other).ok_or_else(not_a_number)?;
        return Ok((whole, after));
    }
    Ok((before.to_owned(), after))
}

/// True for one to three digits without a leading zero.
fn is_group_head(text: &str) -> bool {
    (1..=3).contains(&text.len())
        && !text.starts_with('0')
        && text.bytes().all(|b| b.is_ascii_digit())
}

/// Joins groups of thousands; `None` where they are not groups of three.
fn without_groups(text: &str, mark: char) -> Option<String> {
    let mut groups = text.split(mark);
    let head = groups.next()?;
    let mut joined = head.to_owned();
    if !is_group_head(head) {
        return None;
    }
    for group in groups {
        if group.len() != 3 || !group.bytes().all(|b| b.is_ascii_digit()) {
            return None;
        }
        joined.push_str(group);
    }
    Some(joined)
}

/// Digits with a comma before each group of three.
fn grouped(value: u64) -> String {
    let digits = value.to_string();
    let mut shown = String::with_capacity(digits.len() + digits.len() / 3);
    for (index, digit) in digits.chars().enumerate() {
        if index > 0 && (digits.len() - index).is_multiple_of(3) {
            shown.push(',');
        }
        shown.push(digit);
    }
    shown
}

impl fmt::Display for Money {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.currency.is_empty() {
            return f.pad(&self.number());
        }
        f.pad(&format!("{} {}", self.currency, self.number()))
    }
}

/// Shares a total by weights so that the shares add up to it exactly.
///
/// Largest remainders first; equal remainders in order. Weights below zero
/// count as zero; without any weight the total is shared evenly.
pub fn share_money(total_minor: i64, weights: &[i64]) -> Vec<i64> {
    let counted: Vec<i128> = weights.iter().map(|w| i128::from((*w).max(0))).collect();
    let sum: i128 = counted.iter().sum();
    let (counted, sum) = match (sum, i128::try_from(weights.len())) {
        (0, Ok(even)) => (vec![1; weights.len()], even),
        _ => (counted, sum),
    };
    if counted.is_empty() {
        return Vec::new();
    }
    let size = i128::from(total_minor).abs();
    let mut shares: Vec<i128> = counted.iter().map(|w| size * w / sum).collect();
    let mut by_remainder: Vec<usize> = (0..counted.len()).collect();
    by_remainder.sort_by_key(|&i| std::cmp::Reverse(size * counted[i] % sum));
    let missing = size - shares.iter().sum::<i128>();
    // Fewer than one minor unit is missing per share, so this takes a prefix.
    for &index in by_remainder
        .iter()
        .take(usize::try_from(missing).unwrap_or(0))
    {
        shares[index] += 1;
    }
    let sign = if total_minor < 0 { -1 } else { 1 };
    shares.into_iter().map(|s| saturate(s * sign)).collect()
}

/// What `quantity` costs at `price_minor` for `per_quantity`, rounded half to
/// even; `None` where `per_quantity` is not above zero.
pub fn cost_minor(price_minor: i64, quantity: i64, per_quantity: i64) -> Option<i64> {
    (per_quantity > 0).then(|| {
        saturate(divide_half_even(
            i128::from(price_minor) * i128::from(quantity),
            i128::from(per_quantity),
        ))
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn money_is_shown_with_the_digits_of_its_currency() {
        for (minor, currency, shown) in [
            (123_450, "EUR", "EUR 1,234.50"),
            (5, "USD", "USD 0.05"),
            (-98_700, "GBP", "GBP -987.00"),
            (1_234_567, "JPY", "JPY 1,234,567"),
            (1_234, "KWD", "KWD 1.234"),
            (0, "EUR", "EUR 0.00"),
            (4_550, "", "45.50"),
            (i64::MIN, "JPY", "JPY -9,223,372,036,854,775,808"),
        ] {
            assert_eq!(Money::new(minor, currency).to_string(), shown);
        }
    }

    #[test]
    fn prices_are_read_as_people_type_them() {
        for (text, minor, currency) in [
            ("EUR 1,234.50", 123_450, "EUR"),
            ("1234.5 eur", 123_450, "EUR"),
            ("EUR45", 4_500, "EUR"),
            ("45,50", 4_550, "CHF"),
            ("1.234,50", 123_450, "CHF"),
            ("1,234", 123_400, "CHF"),
            ("1,234,567", 123_456_700, "CHF"),
            ("0.05", 5, "CHF"),
            (".5", 50, "CHF"),
            ("JPY 1200", 1_200, "JPY"),
            ("KWD 1.234", 1_234, "KWD"),
        ] {
            let money = Money::parse(text, "CHF").unwrap_or_else(|e| panic!("{text}: {e}"));
            assert_eq!(money, Money::new(minor, currency), "{text}");
        }
    }

    #[test]
    fn an_unreadable_price_says_how_to_write_it() {
        for (text, currency, part) in [
            ("45", "", "EUR 45.50"),
            ("EURO 45", "EUR", "ISO 4217"),
            ("€ 45", "EUR", "not a number"),
            ("-5", "EUR", "below zero"),
            ("1.234", "EUR", "2 digits"),
            ("JPY 1.5", "EUR", "0 digits"),
            ("KWD 1,234", "EUR", "two ways"),
            ("12,34,56", "EUR", "not a number"),
            ("EUR", "EUR", "not a number"),
            ("99999999999999999999", "EUR", "digits"),
        ] {
            let error = Money::parse(text, currency).unwrap_err();
            assert!(error.to_string().contains(part), "{text}: {error}");
        }
    }

    #[test]
    fn shares_go_to_the_largest_remainders_first() {
        assert_eq!(share_money(100, &[1, 1, 1]), [34, 33, 33]);
        assert_eq!(share_money(-100, &[1, 1, 1]), [-34, -33, -33]);
        assert_eq!(share_money(10, &[0, 3, -5, 1]), [0, 8, 0, 2]);
        assert_eq!(share_money(5, &[0, 0]), [3, 2]);
        assert!(share_money(5, &[]).is_empty());
    }

    #[test]
    fn a_cost_is_rounded_once() {
        // 350 ml of a pack of 5 l at 61.25.
        assert_eq!(cost_minor(6_125, 350_000_000, 5_000_000_000), Some(429));
        assert_eq!(cost_minor(6_125, 1, 0), None);
    }

    proptest! {
        #[test]
        fn shares_add_up_exactly(
            total in any::<i64>(), weights in proptest::collection::vec(any::<i64>(), 1..20),
        ) {
            let shares = share_money(total, &weights);
            prop_assert_eq!(shares.len(), weights.len());
            prop_assert_eq!(shares.iter().map(|s| i128::from(*s)).sum::<i128>(), i128::from(total));
        }

        #[test]
        fn what_is_shown_reads_back(minor in 0..TYPED_MINOR_MAX, which in 0..3_usize) {
            let money = Money::new(minor, ["EUR", "JPY", "KWD"][which]);
            prop_assert_eq!(Money::parse(&money.to_string(), ""), Ok(money));
        }

        #[test]
        fn no_text_panics(text in "\\PC*") {
            let _ = Money::parse(&text, "EUR");
        }
    }
}
