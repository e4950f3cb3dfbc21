//! When a section may be levelled: label times, else the trade prior.
//!
//! The trade prior is common practice put into numbers (design, section 10):
//! on gloss at 20 °C and 50 % at the panel the median panel stops smearing
//! after 2 minutes and keeps a high spot after 8, with a spread between
//! panels of 0.25 in logs; both halve for each 10 °C warmer. The window runs
//! from where one panel in twenty still smears to where one in twenty keeps a
//! high spot: about 3:00 to 5:20.

use serde::{Deserialize, Serialize};

use crate::time::MINUTE_US;

/// Surfaces between which the prior speaks, °C. Outside of them the trade has
/// no figures, so neither has this.
pub const SURFACE_C_LOWEST: f64 = 8.0;
pub const SURFACE_C_HIGHEST: f64 = 33.0;

/// Surface and humidity at which the prior's medians are stated.
const REFERENCE_C: f64 = 20.0;
const REFERENCE_HUMIDITY_PCT: f64 = 50.0;

/// A window halves for so many degrees warmer (common practice).
const HALVING_C: f64 = 10.0;

/// Share of the gloss window that matte and satin have (common practice).
const MATTE_SHARE: f64 = 0.6;

/// Spread of a window in logs per per cent of humidity away from 50 %.
///
/// Makers and shops disagree whether humid air shortens or lengthens a
/// window, so humidity moves no median; not knowing its sign makes the panel
/// less certain, and the window narrower (common practice, low confidence).
const HUMIDITY_SD_PER_PCT: f64 = 0.010;

/// The 95th percentile of the standard normal distribution.
const Z_95: f64 = 1.644_853_626_951_472_2;

/// Share of panels allowed to smear before the window opens, and to keep a
/// high spot after it closes, per cent.
pub const RISK_PCT: u8 = 5;

/// Medians and spread of the times at which a panel can be levelled.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct LevellingPrior {
    /// Median time at which a panel stops smearing, microseconds.
    pub opens_median_us: i64,
    /// Median time after which a panel keeps a high spot, microseconds.
    pub closes_median_us: i64,
    /// Spread between panels, in logs of time.
    pub panel_sd_log: f64,
}

/// Common practice: gloss at 20 °C and 50 % at the panel.
pub const TRADE_PRIOR: LevellingPrior = LevellingPrior {
    opens_median_us: 2 * MINUTE_US,
    closes_median_us: 8 * MINUTE_US,
    panel_sd_log: 0.25,
};

/// From and until when a section may be levelled, microseconds since it was spread.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Limits {
    pub from_us: i64,
    pub until_us: i64,
}

/// What a window rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Basis {
    /// The product's label, as printed: neither finish nor air moves it.
    Label,
    /// Common practice, not this shop's panels and not this product.
    /// `humidity_read` is false where the 50 % figure had to stand in.
    TradePrior { humidity_read: bool },
}

/// Why there is no advice on a window. Each is answered with: check by touch
/// and do a test section.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum WhyUnknown {
    /// No label and no reading of the surface. `at_20c` is what common
    /// practice gives at 20 °C and 50 %, to be shown as just that.
    SurfaceNotRead { at_20c: Limits },
    /// The surface is outside 8 to 33 °C.
    SurfaceOutside,
    /// No label, and the trade has figures for gloss, satin and matte only.
    NoFiguresForFinish,
}

/// When a section may be levelled.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Window {
    Known {
        limits: Limits,
        basis: Basis,
    },
    /// The limits cross: levelling is too early until it is too late.
    NoSafeWindow {
        basis: Basis,
    },
    Unknown {
        why: WhyUnknown,
    },
}

impl Window {
    /// The limits where they are known.
    pub fn limits(&self) -> Option<Limits> {
        match self {
            Self::Known { limits, .. } => Some(*limits),
            Self::NoSafeWindow { .. } | Self::Unknown { .. } => None,
        }
    }
}

/// When a section of this finish may be levelled, in this air.
///
/// `label` is what the product states, from and until in microseconds; it
/// replaces the prior as printed, and holds where the surface was not read.
/// `humidity_at_surface_pct` is the air's humidity at the panel, not in the room.
pub fn levelling_window(
    finish: &str,
    surface_c: Option<f64>,
    humidity_at_surface_pct: Option<f64>,
    label: Option<(i64, i64)>,
) -> Window {
    if surface_c.is_some_and(|c| !(SURFACE_C_LOWEST..=SURFACE_C_HIGHEST).contains(&c)) {
        return Window::Unknown {
            why: WhyUnknown::SurfaceOutside,
        };
    }
    if let Some((from_us, until_us)) = label {
        let limits = Limits { from_us, until_us };
        return in_order(limits, Basis::Label);
    }
    let Some(share) = finish_share(finish) else {
        return Window::Unknown {
            why: WhyUnknown::NoFiguresForFinish,
        };
    };
    let Some(surface_c) = surface_c else {
        let at_20c = TRADE_PRIOR.limits(share, TRADE_PRIOR.panel_sd_log);
        return Window::Unknown {
            why: WhyUnknown::SurfaceNotRead { at_20c },
        };
    };
    let humidity_pct = humidity_at_surface_pct.unwrap_or(REFERENCE_HUMIDITY_PCT);
    let humidity_sd = HUMIDITY_SD_PER_PCT * (humidity_pct - REFERENCE_HUMIDITY_PCT);
    let sd_log = TRADE_PRIOR.panel_sd_log.hypot(humidity_sd);
    let warmth = ((REFERENCE_C - surface_c) / HALVING_C).exp2();
    let basis = Basis::TradePrior {
        humidity_read: humidity_at_surface_pct.is_some(),
    };
    in_order(TRADE_PRIOR.limits(share * warmth, sd_log), basis)
}

/// Share of the gloss window that a finish has; `None` where the trade has no figures.
fn finish_share(finish: &str) -> Option<f64> {
    match finish {
        "gloss" => Some(1.0),
        "satin" | "matte" => Some(MATTE_SHARE),
        _ => None,
    }
}

/// Never a reversed range: limits that cross leave no safe window.
fn in_order(limits: Limits, basis: Basis) -> Window {
    if 0 <= limits.from_us && limits.from_us < limits.until_us {
        Window::Known { limits, basis }
    } else {
        Window::NoSafeWindow { basis }
    }
}

impl LevellingPrior {
    /// Where the risk of a smear falls to, and the risk of a high spot rises
    /// to, [`RISK_PCT`]; all times multiplied by `factor`. May be reversed.
    fn limits(&self, factor: f64, sd_log: f64) -> Limits {
        let spread = (Z_95 * sd_log).exp();
        Limits {
            from_us: scaled_us(self.opens_median_us, factor * spread),
            until_us: scaled_us(self.closes_median_us, factor / spread),
        }
    }
}

/// Multiplies a time; what is no number, or beyond a day, stops at its ends.
fn scaled_us(us: i64, factor: f64) -> i64 {
    #[expect(
        clippy::cast_precision_loss,
        clippy::cast_possible_truncation,
        reason = "minutes in microseconds, bounded to a day just before"
    )]
    let scaled = (us as f64 * factor).clamp(0.0, crate::time::DAY_US as f64) as i64;
    scaled
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::time::{SECOND_US, format_min_sec};

    fn known(finish: &str, surface_c: f64, humidity_pct: f64) -> Limits {
        levelling_window(finish, Some(surface_c), Some(humidity_pct), None)
            .limits()
            .unwrap()
    }

    #[test]
    fn gloss_at_20_degrees_may_be_levelled_from_about_3_00_to_5_20() {
        // Common practice, from the issue: about five minutes in a mild climate.
        let limits = known("gloss", 20.0, 50.0);
        assert!(
            (limits.from_us - 180 * SECOND_US).abs() <= 2 * SECOND_US,
            "{limits:?}"
        );
        assert!(
            (limits.until_us - 320 * SECOND_US).abs() <= 2 * SECOND_US,
            "{limits:?}"
        );
        assert_eq!(format_min_sec(limits.from_us), "3:01");
    }

    #[test]
    fn ten_degrees_warmer_is_half_the_time_and_matte_six_tenths() {
        let gloss = known("gloss", 20.0, 50.0);
        let half = |us: i64| us / 2;
        let warm = known("gloss", 30.0, 50.0);
        assert!((warm.from_us - half(gloss.from_us)).abs() <= 1);
        assert!((warm.until_us - half(gloss.until_us)).abs() <= 1);
        for finish in ["matte", "satin"] {
            let matte = known(finish, 20.0, 50.0);
            assert!((matte.from_us * 10 - gloss.from_us * 6).abs() <= 20);
            assert!((matte.until_us * 10 - gloss.until_us * 6).abs() <= 20);
        }
    }

    #[test]
    fn humidity_of_unknown_sign_narrows_the_window_and_may_close_it() {
        let mild = known("gloss", 20.0, 50.0);
        for humidity_pct in [30.0, 70.0] {
            let other = known("gloss", 20.0, humidity_pct);
            assert!(other.from_us > mild.from_us && other.until_us < mild.until_us);
        }
        let damp = levelling_window("gloss", Some(20.0), Some(95.0), None);
        assert!(matches!(damp, Window::NoSafeWindow { .. }), "{damp:?}");
    }

    #[test]
    fn without_a_reading_the_20_degree_figure_is_only_a_reference() {
        let got = levelling_window("gloss", None, None, None);
        let at_20c = known("gloss", 20.0, 50.0);
        let why = WhyUnknown::SurfaceNotRead { at_20c };
        assert_eq!(got, Window::Unknown { why });
        assert_eq!(got.limits(), None);

        let no_humidity = levelling_window("gloss", Some(20.0), None, None);
        let basis = Basis::TradePrior {
            humidity_read: false,
        };
        assert_eq!(
            no_humidity,
            Window::Known {
                limits: at_20c,
                basis
            }
        );
    }

    #[test]
    fn a_label_replaces_the_prior_and_a_reversed_one_is_no_window() {
        let label = Some((MINUTE_US, 4 * MINUTE_US));
        let limits = Limits {
            from_us: MINUTE_US,
            until_us: 4 * MINUTE_US,
        };
        for (finish, surface_c) in [
            ("gloss", Some(20.0)),
            ("glass", None),
            ("matte", Some(30.0)),
        ] {
            let got = levelling_window(finish, surface_c, None, label);
            assert_eq!(
                got,
                Window::Known {
                    limits,
                    basis: Basis::Label
                }
            );
        }
        for label in [(4 * MINUTE_US, MINUTE_US), (0, 0), (-1, MINUTE_US)] {
            let got = levelling_window("gloss", Some(20.0), None, Some(label));
            assert_eq!(
                got,
                Window::NoSafeWindow {
                    basis: Basis::Label
                }
            );
        }
    }

    #[test]
    fn outside_8_to_33_degrees_there_is_no_advice() {
        let outside = Window::Unknown {
            why: WhyUnknown::SurfaceOutside,
        };
        for surface_c in [7.9, 33.1, -10.0, f64::NAN] {
            for label in [None, Some((MINUTE_US, 4 * MINUTE_US))] {
                assert_eq!(
                    levelling_window("gloss", Some(surface_c), None, label),
                    outside
                );
            }
        }
        for surface_c in [8.0, 33.0] {
            assert!(
                levelling_window("gloss", Some(surface_c), None, None)
                    .limits()
                    .is_some()
            );
        }
        let other = levelling_window("textured-plastic", Some(20.0), None, None);
        assert_eq!(
            other,
            Window::Unknown {
                why: WhyUnknown::NoFiguresForFinish
            }
        );
    }

    proptest! {
        #[test]
        fn no_window_is_ever_reversed(
            finish in "gloss|satin|matte|glass", surface_c in proptest::option::of(any::<f64>()),
            humidity in proptest::option::of(any::<f64>()),
            label in proptest::option::of((any::<i64>(), any::<i64>())),
        ) {
            if let Some(limits) = levelling_window(&finish, surface_c, humidity, label).limits() {
                prop_assert!(0 <= limits.from_us && limits.from_us < limits.until_us);
            }
        }

        #[test]
        fn warmer_is_always_sooner(a in 8.0..33.0_f64, b in 8.0..33.0_f64, humidity in 30.0..70.0_f64) {
            prop_assume!(a + 0.01 < b);
            let (cooler, warmer) = (known("gloss", a, humidity), known("gloss", b, humidity));
            prop_assert!(warmer.from_us < cooler.from_us && warmer.until_us < cooler.until_us);
        }
    }
}
