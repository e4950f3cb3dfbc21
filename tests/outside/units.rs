//! Units against NIST SP 811 and Handbook 44, dilution against common practice.

use baywright_terms::amount::{Amount, Quantity, Ratio, Unit};
use baywright_terms::catalogue::UnitSystem;
use baywright_terms::temperature::MilliCelsius;

use crate::{number, table};

fn relative(got: f64, expected: f64) -> f64 {
    ((got - expected) / expected).abs()
}

#[test]
fn volume_factors_are_those_of_nist_sp_811() {
    let known = [
        ("us_gal", Unit::UsGal, Unit::L),
        ("us_floz", Unit::UsFloz, Unit::Ml),
        ("imp_gal", Unit::ImpGal, Unit::L),
        ("imp_floz", Unit::ImpFloz, Unit::Ml),
    ];
    let mut checked = 0;
    for row in table(include_str!("data/factors.csv")) {
        let Some((_, from, to)) = known.iter().find(|(id, _, _)| *id == row["id"]) else {
            continue;
        };
        let got = from.convert(1.0, *to).expect("two volumes");
        assert!(
            relative(got, number(&row, "factor")) <= number(&row, "tol_rel"),
            "{}: {got}",
            row["id"]
        );
        checked += 1;
    }
    assert_eq!(checked, known.len());
}

#[test]
fn chains_of_conversions_agree() {
    let mut checked = 0;
    for row in table(include_str!("data/chains.csv")) {
        let value = number(&row, "value");
        let got = match row["id"].as_str() {
            "5impgal_usgal" => Unit::ImpGal.convert(value, Unit::UsGal),
            "750ml_us_floz" => Unit::Ml.convert(value, Unit::UsFloz),
            "750ml_imp_floz" => Unit::Ml.convert(value, Unit::ImpFloz),
            _ => continue,
        }
        .expect("two volumes");
        assert!(
            relative(got, number(&row, "expected")) <= number(&row, "tol_rel"),
            "{}: {got}",
            row["id"]
        );
        checked += 1;
    }
    assert_eq!(checked, 3);
}

/// Source: chains.csv, 1:4 and 1:10 as parts; here in integer nanolitres, so to half of one.
#[test]
fn dilutions_give_the_tabled_concentrate() {
    let cases = [
        ("1to10_500ml_conc", "10:1", "500 mL"),
        ("1to4_1usgal_conc_ml", "4:1", "1 us-gal"),
    ];
    let rows = table(include_str!("data/chains.csv"));
    for (id, ratio, total) in cases {
        let row = rows
            .iter()
            .find(|r| r["id"] == id)
            .expect("a row of the table");
        let Quantity::Volume(total) = Amount::parse(total, UnitSystem::Us)
            .expect("an amount")
            .quantity()
        else {
            panic!("a volume")
        };
        let got = Ratio::parse(ratio).expect("a ratio").concentrate_in(total);
        assert!(
            (got.to_ml() - number(row, "expected")).abs() <= 1e-6,
            "{id}: {got:?}"
        );
    }
}

/// Common practice: an alkaline pre-clean at 15:1 takes 8 US fl oz of product for one US gallon.
#[test]
fn one_us_gallon_at_fifteen_to_one_takes_eight_us_fluid_ounces() {
    let volume = |text: &str| match Amount::parse(text, UnitSystem::Us)
        .expect("an amount")
        .quantity()
    {
        Quantity::Volume(volume) => volume,
        other => panic!("{other:?} is no volume"),
    };
    let took = Ratio::parse("15:1")
        .expect("a ratio")
        .concentrate_in(volume("1 gal"));
    // 236.5882365 mL, exact by NIST SP 811 (231 cubic inches in the gallon), to a nanolitre.
    assert!((took.0 - volume("8 floz").0).abs() <= 1, "{took:?}");
}

#[test]
fn fahrenheit_reads_as_celsius() {
    let mut checked = 0;
    for row in table(include_str!("data/fahrenheit.csv")) {
        let Ok(got) = MilliCelsius::parse(&format!("{}F", row["t_f"])) else {
            continue;
        };
        // Temperatures are held in thousandths of a degree.
        assert!(
            (got.to_c() - number(&row, "t_c")).abs() <= 0.000_5 + 1e-9,
            "{}: {got:?}",
            row["id"]
        );
        checked += 1;
    }
    assert!(
        checked >= 6,
        "only {checked} rows lie in the range that can be typed"
    );
}

#[test]
fn handbook_44_rounds_to_the_same_gallons() {
    let rows = table(include_str!("data/handbook44_rounded.csv"));
    let row = rows
        .iter()
        .find(|r| r["id"] == "hb44_dal_gal")
        .expect("a row of the table");
    let got = Unit::L.convert(10.0, Unit::UsGal).expect("two volumes");
    assert!(
        (got - number(row, "expected")).abs() <= number(row, "tol_abs"),
        "{got}"
    );
}
