//! Humid air: vapour pressure, dew point, humidity at a surface.
//!
//! Vapour pressure over water by the WMO form of the Magnus equation. Source:
//! WMO-No. 8, Guide to Instruments and Methods of Observation, annex 4.B
//! (6.112 hPa, 17.62, 243.12 °C), for −45 to 60 °C.

use serde::{Deserialize, Serialize};

use crate::temperature::{MilliCelsius, MilliPercent};

const MAGNUS_HPA: f64 = 6.112;
const MAGNUS_SLOPE: f64 = 17.62;
const MAGNUS_C: f64 = 243.12;

/// Specific gas constant of water vapour, J/(kg·K): the molar gas constant
/// 8.314 462 618 J/(mol·K) (CODATA 2018) over 18.015 268 g/mol (IAPWS R6-95).
const VAPOUR_J_PER_KG_K: f64 = 461.523;

const ZERO_C_IN_K: f64 = 273.15;

/// Lowest relative humidity reckoned with, per cent. Drier air has no finite
/// dew point, and no sensor of a shop tells it from this.
const HUMIDITY_PCT_MIN: f64 = 0.1;

/// Least margin of the surface above the dew point for coating, °C
/// (ISO 8502-4, as commonly practised).
pub const DEW_MARGIN_C_MIN: f64 = 3.0;

/// Saturation vapour pressure over water, hPa.
pub fn saturation_hpa(t_c: f64) -> f64 {
    MAGNUS_HPA * (MAGNUS_SLOPE * t_c / (MAGNUS_C + t_c)).exp()
}

/// Temperature at which this air would begin to condense, °C.
/// Humidity below 0.1 % is taken as 0.1 %.
pub fn dew_point_c(t_c: f64, rh_pct: f64) -> f64 {
    let share = rh_pct.max(HUMIDITY_PCT_MIN) / 100.0;
    let gamma = share.ln() + MAGNUS_SLOPE * t_c / (MAGNUS_C + t_c);
    MAGNUS_C * gamma / (MAGNUS_SLOPE - gamma)
}

/// Water in a cubic metre of this air, grams (ideal gas).
pub fn absolute_humidity_g_m3(t_c: f64, rh_pct: f64) -> f64 {
    // hPa → Pa is 100, kg → g is 1000, per cent is 1/100: together 1000.
    saturation_hpa(t_c) * rh_pct * 1_000.0 / (VAPOUR_J_PER_KG_K * (t_c + ZERO_C_IN_K))
}

/// Relative humidity of this air where it touches a surface, per cent.
/// Above 100 the surface is below the dew point and grows wet.
pub fn humidity_at_surface_pct(air_c: f64, rh_pct: f64, surface_c: f64) -> f64 {
    rh_pct * saturation_hpa(air_c) / saturation_hpa(surface_c)
}

/// How far the surface is above the dew point, °C; below zero it grows wet.
pub fn dew_margin_c(air_c: f64, rh_pct: f64, surface_c: f64) -> f64 {
    surface_c - dew_point_c(air_c, rh_pct)
}

/// How a surface stands to a product's own range.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RangeStanding {
    /// The surface was not read, or the product states no range.
    Unknown,
    Below,
    Within,
    Above,
}

/// What an air reading means for coating. Each part that needs the surface is
/// `None` where it was not read: the air's own temperature does not stand in
/// for it, since a vehicle out of the cold or the sun is far from it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct AirAssessment {
    pub dew_point_c: f64,
    pub absolute_humidity_g_m3: f64,
    pub humidity_at_surface_pct: Option<f64>,
    /// Surface above dew point, °C.
    pub dew_margin_c: Option<f64>,
    /// The margin is at least [`DEW_MARGIN_C_MIN`].
    pub dew_margin_holds: Option<bool>,
    pub range: RangeStanding,
}

impl AirAssessment {
    /// Assesses a reading against the surface range a product states, if any.
    pub fn new(
        air: MilliCelsius,
        humidity: MilliPercent,
        surface: Option<MilliCelsius>,
        lowest: Option<MilliCelsius>,
        highest: Option<MilliCelsius>,
    ) -> Self {
        let (air_c, rh_pct) = (air.to_c(), humidity.to_pct());
        let margin_c = surface.map(|surface| dew_margin_c(air_c, rh_pct, surface.to_c()));
        Self {
            dew_point_c: dew_point_c(air_c, rh_pct),
            absolute_humidity_g_m3: absolute_humidity_g_m3(air_c, rh_pct),
            humidity_at_surface_pct: surface
                .map(|surface| humidity_at_surface_pct(air_c, rh_pct, surface.to_c())),
            dew_margin_c: margin_c,
            dew_margin_holds: margin_c.map(|margin_c| margin_c >= DEW_MARGIN_C_MIN),
            range: standing(surface, lowest, highest),
        }
    }

    /// True where nothing speaks against coating in this air, false where
    /// something does, `None` where the surface was not read.
    pub fn is_fit_for_coating(&self) -> Option<bool> {
        let in_range = matches!(self.range, RangeStanding::Within | RangeStanding::Unknown);
        self.dew_margin_holds.map(|holds| holds && in_range)
    }
}

fn standing(
    surface: Option<MilliCelsius>,
    lowest: Option<MilliCelsius>,
    highest: Option<MilliCelsius>,
) -> RangeStanding {
    match (surface, lowest, highest) {
        (None, _, _) | (_, None, None) => RangeStanding::Unknown,
        (Some(surface), Some(lowest), _) if surface < lowest => RangeStanding::Below,
        (Some(surface), _, Some(highest)) if surface > highest => RangeStanding::Above,
        _ => RangeStanding::Within,
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn vapour_pressure_and_dew_point_are_the_wmo_magnus_ones() {
        // WMO-No. 8, annex 4.B, worked with an independent program: °C, %, Pa, °C.
        for (t_c, rh_pct, vapour_pa, dew_c) in MAGNUS_ROWS {
            let got_pa = saturation_hpa(t_c) * 100.0 * rh_pct / 100.0;
            assert!(
                (got_pa / vapour_pa - 1.0).abs() < 1e-9,
                "{t_c} {rh_pct}: {got_pa}"
            );
            let got_c = dew_point_c(t_c, rh_pct);
            assert!((got_c - dew_c).abs() < 1e-6, "{t_c} {rh_pct}: {got_c}");
        }
    }

    #[test]
    fn absolute_humidity_agrees_with_the_ashrae_equations() {
        // ASHRAE Handbook Fundamentals 2017, chapter 1, worked by a reference library:
        // °C, %, g/m³. Its saturation line is another one, so half a per cent is allowed.
        for (t_c, rh_pct, g_m3) in ASHRAE_ROWS {
            let got = absolute_humidity_g_m3(t_c, rh_pct);
            assert!(
                (got / g_m3 - 1.0).abs() < 5e-3,
                "{t_c} {rh_pct}: {got} {g_m3}"
            );
        }
    }

    #[test]
    fn a_surface_needs_three_degrees_above_the_dew_point() {
        // ISO 8502-4 practice: air °C, %, surface °C, margin °C, holds.
        for (air_c, rh_pct, surface_c, margin_c, holds) in [
            (29.8, 90.2, 34.0, 5.982_042_128_499_291, true),
            (32.0, 70.2, 30.1, 4.214_126_067_755_174, true),
            (35.8, 45.8, 22.6, 0.298_419_608_369_338_23, false),
            (20.8, 92.0, 18.5, -0.952_618_966_532_228, false),
            (21.9, 79.8, 18.6, 0.344_756_993_305_815_8, false),
        ] {
            let got = dew_margin_c(air_c, rh_pct, surface_c);
            // 0.05 °C between the Magnus line and the table's ASHRAE line.
            assert!((got - margin_c).abs() < 0.05, "{air_c} {rh_pct}: {got}");
            assert_eq!(got >= DEW_MARGIN_C_MIN, holds);
        }
    }

    #[test]
    fn an_assessment_says_only_what_was_read() {
        let (air, humidity) = (MilliCelsius(21_500), MilliPercent(46_000));
        let blind = AirAssessment::new(air, humidity, None, Some(MilliCelsius(15_000)), None);
        assert_eq!(blind.dew_margin_c, None);
        assert_eq!(blind.range, RangeStanding::Unknown);
        assert_eq!(blind.is_fit_for_coating(), None);

        let range = (Some(MilliCelsius(15_000)), Some(MilliCelsius(27_000)));
        for (surface, standing, fit) in [
            (20_000, RangeStanding::Within, true),
            (15_000, RangeStanding::Within, true),
            (27_000, RangeStanding::Within, true),
            (14_999, RangeStanding::Below, false),
            (27_001, RangeStanding::Above, false),
        ] {
            let surface = Some(MilliCelsius(surface));
            let seen = AirAssessment::new(air, humidity, surface, range.0, range.1);
            assert_eq!(seen.range, standing);
            assert_eq!(seen.is_fit_for_coating(), Some(fit));
        }
        let damp = AirAssessment::new(air, MilliPercent(95_000), Some(air), None, None);
        assert_eq!(damp.is_fit_for_coating(), Some(false));
    }

    proptest! {
        #[test]
        fn at_its_dew_point_air_is_saturated(t_c in -30.0..60.0_f64, rh_pct in 1.0..100.0_f64) {
            let dew_c = dew_point_c(t_c, rh_pct);
            prop_assert!(dew_c <= t_c + 1e-9);
            let there = humidity_at_surface_pct(t_c, rh_pct, dew_c);
            prop_assert!((there - 100.0).abs() < 1e-6, "{}", there);
        }

        #[test]
        fn a_warmer_surface_is_drier(t_c in -30.0..60.0_f64, rh_pct in 1.0..100.0_f64, more in 0.1..30.0_f64) {
            let at = humidity_at_surface_pct(t_c, rh_pct, t_c);
            prop_assert!((at - rh_pct).abs() < 1e-9);
            prop_assert!(humidity_at_surface_pct(t_c, rh_pct, t_c + more) < at);
        }
    }

    #[rustfmt::skip]
    #[expect(clippy::unreadable_literal, reason = "digits as the source prints them")]
    const MAGNUS_ROWS: [(f64, f64, f64, f64); 14] = [
        (-20.0, 25.0, 31.49128151074183, -35.02546888823458),
        (5.0, 40.0, 348.6970987075175, -7.504664089282266),
        (10.0, 40.0, 490.41208221157694, -3.000515311167125),
        (10.0, 85.0, 1042.1256746996012, 7.592425789339467),
        (15.0, 40.0, 680.6688096237225, 1.4945032735592012),
        (15.0, 85.0, 1446.4212204504101, 12.496840743665597),
        (20.0, 40.0, 933.0384088391229, 5.9804193980043046),
        (20.0, 70.0, 1632.817215468465, 14.359183217771522),
        (20.0, 85.0, 1982.706618783136, 17.399413438507345),
        (25.0, 40.0, 1264.0227665953335, 10.457260683069704),
        (25.0, 85.0, 2686.048379015084, 22.300144911689635),
        (30.0, 40.0, 1693.4895663663413, 14.925054638017764),
        (30.0, 85.0, 3598.6653285284756, 27.199036200258),
        (40.0, 40.0, 2946.9832305001937, 23.83361003979283),
    ];
    #[rustfmt::skip]
    #[expect(clippy::unreadable_literal, reason = "digits as the source prints them")]
    const ASHRAE_ROWS: [(f64, f64, f64); 9] = [
        (10.0, 60.0, 5.638166750238796),
        (10.0, 90.0, 8.457250148610258),
        (20.0, 60.0, 10.371979793661518),
        (20.0, 90.0, 15.557969771959376),
        (25.0, 60.0, 13.818944750763873),
        (25.0, 90.0, 20.728417273225812),
        (30.0, 30.0, 9.104441356558272),
        (30.0, 90.0, 27.31332458898068),
        (40.0, 30.0, 15.326228852492646),
    ];
}
