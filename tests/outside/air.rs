//! Humid air against the WMO form of Magnus, and the 3 °C surface margin.

use baywright_terms::air;

use crate::{number, table};

#[test]
fn vapour_pressure_and_dew_point_are_those_of_the_wmo_grid() {
    for row in table(include_str!("data/magnus_wmo_grid.csv")) {
        let (t_c, rh_pct) = (number(&row, "t_c"), number(&row, "rh_pct"));
        let pa = air::saturation_hpa(t_c) * 100.0;
        let expected = number(&row, "es_water_pa");
        assert!(
            ((pa - expected) / expected).abs() <= 1e-6,
            "{}: {pa}",
            row["id"]
        );
        let dew_c = air::dew_point_c(t_c, rh_pct);
        assert!(
            (dew_c - number(&row, "dewpoint_over_water_c")).abs() <= 1e-6,
            "{}: {dew_c}",
            row["id"]
        );
    }
}

/// ISO 8502-4 practice: the surface at least 3 °C above the dew point. The
/// table's dew points are by the ASHRAE equations, 0.05 °C from Magnus at most.
#[test]
fn the_three_degree_margin_agrees_with_the_tabled_cases() {
    let mut decided = 0;
    for row in table(include_str!("data/surface_margin_rule.csv")) {
        let dew_c = air::dew_point_c(number(&row, "air_t_c"), number(&row, "rh_pct"));
        let margin_c = number(&row, "surface_t_c") - dew_c;
        assert!(
            (margin_c - number(&row, "margin_c")).abs() <= 0.05,
            "{}: {margin_c}",
            row["id"]
        );
        if (number(&row, "margin_c") - 3.0).abs() > 0.05 {
            assert_eq!(
                (margin_c >= 3.0).to_string(),
                row["margin_at_least_3c"],
                "{}",
                row["id"]
            );
            decided += 1;
        }
    }
    assert!(
        decided >= 20,
        "only {decided} cases lie away from the limit"
    );
}
