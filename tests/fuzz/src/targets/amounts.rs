//! Amounts, decimals, units, ratios and money, typed and from the wire.

use baywright_proto::amount::{amount_from_wire, amount_to_wire, ratio_from_wire, ratio_to_wire};
use baywright_proto::v1;
use baywright_terms::amount::{
    Amount, Decimal, Money, Nanolitres, Quantity, Ratio, Unit, cost_minor, format_mass,
    format_volume, format_volume_in, minor_digits, share_money,
};
use baywright_terms::catalogue::UnitSystem;
use baywright_terms::catalogue::file::text;

use crate::Target;
use crate::food::Food;

const SYSTEMS: [UnitSystem; 3] = [UnitSystem::Metric, UnitSystem::Us, UnitSystem::Imperial];

pub const AMOUNTS: Target = Target {
    name: "amounts",
    run: amounts,
    words: &[
        "350ml",
        "0.35 L",
        "12 us-floz",
        "floz",
        "gal",
        "imp-gal",
        "62.4g",
        "kg",
        "3x",
        "each",
        "0,35",
        "1,000",
        "15:1",
        "neat",
        "0.5:1",
        ":",
        ".",
        ",",
        "-",
        "\u{2212}",
        "000000000000",
        "999999999999.999999",
        "oz",
        "L",
        "millilitres",
    ],
    slower: 1,
    bytes_max: 64 * 1024,
};

pub const MONEY: Target = Target {
    name: "money",
    run: money,
    words: &[
        "1,234.50",
        "1.234,50",
        "EUR",
        "USD",
        "JPY",
        "KWD",
        "1'000",
        "EUR 12",
        "12 EUR",
        ",",
        ".",
        "-",
        "92233720368547758.07",
        "€",
        "12.345",
        "1 234,5",
    ],
    slower: 1,
    bytes_max: 64 * 1024,
};

fn amounts(data: &[u8]) {
    let text = String::from_utf8_lossy(data);
    for system in SYSTEMS {
        if let Ok(amount) = Amount::parse(&text, system) {
            accepted_amount(amount, system);
        }
        let _ = Unit::parse(&text, system);
    }
    if let Ok(decimal) = Decimal::parse(&text) {
        let plain = decimal.to_string();
        assert_eq!(Decimal::parse(&plain).ok(), Some(decimal), "{plain}");
        assert_eq!(Decimal::parse_plain(&plain).ok(), Some(decimal), "{plain}");
        assert!(decimal.digits >= 0 && decimal.scale <= 6, "{decimal:?}");
        assert!(decimal.to_f64().is_finite());
    }
    let wire = v1::Amount {
        decimal: text.clone().into_owned(),
        unit: i32::from(data.first().copied().unwrap_or(0) % 12),
    };
    if let Some(amount) = amount_from_wire(&wire) {
        assert_eq!(amount_from_wire(&amount_to_wire(&amount)), Some(amount));
        printed(amount.quantity());
    }
    if let Ok(ratio) = Ratio::parse(&text) {
        accepted_ratio(&ratio);
        assert_eq!(
            Ratio::parse(&ratio.to_string())
                .map(|read| read.to_string())
                .ok(),
            Some(ratio.to_string())
        );
    }
    let (water, product) = text.split_once(':').unwrap_or((&text, "1"));
    let wire = v1::Ratio {
        water_parts: water.to_owned(),
        product_parts: product.to_owned(),
    };
    if let Some(ratio) = ratio_from_wire(&wire) {
        assert_eq!(ratio_from_wire(&ratio_to_wire(&ratio)), Some(ratio));
        accepted_ratio(&ratio);
    }
    if let Some(density) = text::parse_density(&text) {
        assert!(density > 0, "{density}");
        assert_eq!(text::parse_density(&text::density(density)), Some(density));
    }
}

fn accepted_amount(amount: Amount, system: UnitSystem) {
    let shown = amount.to_string();
    assert_eq!(Amount::parse(&shown, system).ok(), Some(amount), "{shown}");
    let filed = text::amount(&amount);
    let read = Amount::parse(&filed, system).ok();
    assert_eq!(
        read.map(|a| a.quantity()),
        Some(amount.quantity()),
        "{filed}"
    );
    assert_eq!(amount_from_wire(&amount_to_wire(&amount)), Some(amount));
    printed(amount.quantity());
}

fn printed(quantity: Quantity) {
    let shown = match quantity {
        Quantity::Volume(volume) => {
            let _ = SYSTEMS.map(|system| format_volume_in(volume, system));
            format_volume(volume)
        }
        Quantity::Mass(mass) => format_mass(mass),
        Quantity::Count(count) => count.to_string(),
    };
    assert!(shown.len() < 64, "{shown}");
    for density in [None, Some(0), Some(-1), Some(1), Some(i64::MAX)] {
        let _ = quantity.volume(density);
    }
}

fn accepted_ratio(ratio: &Ratio) {
    let percent = ratio.percent();
    assert!((0.0..=100.0).contains(&percent), "{percent}");
    for total in [0, 1, 1_000_000_000, i64::MAX, i64::MIN] {
        let total = Nanolitres(total);
        let (water, product) = (ratio.water_in(total), ratio.concentrate_in(total));
        assert_eq!(water.checked_add(product), Some(total), "{ratio}");
    }
}

fn money(data: &[u8]) {
    let mut food = Food::new(data);
    let currency = food
        .pick(&["EUR", "JPY", "KWD", "USD", "", "eur", "€"])
        .unwrap_or("");
    let numbers: Vec<i64> = (0..food.below(9)).map(|_| food.number()).collect();
    let text = String::from_utf8_lossy(food.rest());
    if let Ok(money) = Money::parse(&text, currency) {
        assert!(money.minor >= 0 && money.currency.len() == 3, "{money:?}");
        let shown = money.to_string();
        assert_eq!(
            Money::parse(&shown, currency).ok().as_ref(),
            Some(&money),
            "{shown}"
        );
        let filed = text::money(&money);
        assert_eq!(
            Money::parse(&filed, currency).ok().as_ref(),
            Some(&money),
            "{filed}"
        );
    }
    assert!(minor_digits(&text) <= 4);
    let odd = Money::new(numbers.first().copied().unwrap_or(0), &text);
    let _ = (odd.to_string(), odd.number());
    if let [total, weights @ ..] = numbers.as_slice() {
        let shares = share_money(*total, weights);
        assert_eq!(shares.len(), weights.len());
        if !shares.is_empty() {
            let sum: i128 = shares.iter().map(|share| i128::from(*share)).sum();
            assert_eq!(sum, i128::from(*total), "{weights:?}");
        }
    }
    if let [price, quantity, per, ..] = numbers.as_slice() {
        assert_eq!(cost_minor(*price, *quantity, *per).is_some(), *per > 0);
    }
}
