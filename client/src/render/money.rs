//! Money as the owner reads it, and the sentences that say what to think of it.

use baywright_terms::amount::Money;

use super::figure::hours_minutes;

/// What is left of the revenue is a margin only where wage burden and overhead
/// were given; else it is a contribution.
pub(super) fn left_word(margin: bool) -> &'static str {
    if margin { "margin" } else { "contribution" }
}

/// The same above a narrow column, with what is counted below it.
pub(super) fn left_heading(margin: bool, below: &str) -> String {
    let word = if margin { "margin" } else { "contri-\nbution" };
    format!("{word}\n{below}")
}

/// `EUR 1,234.50`, for a sentence.
pub(super) fn money(minor: i64, currency: &str) -> String {
    Money::new(minor, currency).to_string()
}

/// `1,234.50`, for a column whose heading names the currency.
pub(super) fn figure(minor: i64, currency: &str) -> String {
    Money::new(minor, currency).number()
}

/// `+12.00`, `-3.50`, `0.00`: the same with its sign.
pub(super) fn signed(minor: i64, currency: &str) -> String {
    let sign = if minor > 0 { "+" } else { "" };
    format!("{sign}{}", figure(minor, currency))
}

/// What a figure of money rests on that is not as sure as it looks. A job's
/// and a week's have the same weak points.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Grounds {
    /// Jobs at the list price, because nothing was agreed.
    pub assumed: u32,
    /// Jobs whose price nobody knows.
    pub unpriced: u32,
    pub without_rate_us: i64,
    pub uses_without_price: u32,
    pub unmeasured_minor: i64,
    pub loose_minor: i64,
}

impl Grounds {
    /// One honest sentence for each that is not nothing.
    pub(super) fn sentences(self, currency: &str) -> Vec<String> {
        let mut said = Vec::new();
        match self.assumed {
            0 => {}
            1 => said.push(
                "For 1 job no price was agreed: its list price stands for the revenue.".to_owned(),
            ),
            n => said.push(format!(
                "For {n} jobs no price was agreed: their list prices stand for the revenue."
            )),
        }
        match self.unpriced {
            0 => {}
            1 => said.push("1 job has no price: only its costs are counted.".to_owned()),
            n => said.push(format!(
                "{n} jobs have no price: only their costs are counted."
            )),
        }
        if self.without_rate_us > 0 {
            said.push(format!(
                "For {} of labour no rate is known: it is costed at the standard rate.",
                hours_minutes(self.without_rate_us)
            ));
        }
        match self.uses_without_price {
            0 => {}
            1 => said.push(
                "1 record is of a product without a price: it costs nothing here.".to_owned(),
            ),
            n => said.push(format!(
                "{n} records are of products without a price: they cost nothing here."
            )),
        }
        if self.unmeasured_minor != 0 {
            said.push(format!(
                "{} of the materials nobody measured: shared out between refills, or taken at the allowance.",
                money(self.unmeasured_minor, currency)
            ));
        }
        if self.loose_minor != 0 {
            said.push(format!(
                "{} of chemicals went on no job, or was dumped: it is in no job's costs.",
                money(self.loose_minor, currency)
            ));
        }
        said
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn money_has_the_digits_of_its_currency_and_a_sign_where_it_differs() {
        assert_eq!(money(123_450, "EUR"), "EUR 1,234.50");
        assert_eq!(figure(-5, "USD"), "-0.05");
        assert_eq!(signed(1_200, "JPY"), "+1,200");
        assert_eq!(signed(-350, "EUR"), "-3.50");
        assert_eq!(signed(0, "EUR"), "0.00");
    }

    #[test]
    fn sure_money_needs_no_sentence_and_each_doubt_has_its_own() {
        assert_eq!(Grounds::default().sentences("EUR"), Vec::<String>::new());
        let doubtful = Grounds {
            assumed: 2,
            unpriced: 1,
            without_rate_us: 50 * 60_000_000,
            uses_without_price: 1,
            unmeasured_minor: 310,
            loose_minor: 385,
        };
        insta::assert_snapshot!(doubtful.sentences("EUR").join("\n"), @"
        For 2 jobs no price was agreed: their list prices stand for the revenue.
        1 job has no price: only its costs are counted.
        For 0:50 of labour no rate is known: it is costed at the standard rate.
        1 record is of a product without a price: it costs nothing here.
        EUR 3.10 of the materials nobody measured: shared out between refills, or taken at the allowance.
        EUR 3.85 of chemicals went on no job, or was dumped: it is in no job's costs.
        ");
    }
}
