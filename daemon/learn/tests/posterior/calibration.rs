//! A bounded simulation-based calibration (Talts, Betancourt, Simpson, Vehtari and
//! Gelman 2018): where the truth of shops drawn from the prior lies in their
//! posteriors is uniform, inside the band of Dvoretzky, Kiefer and Wolfowitz with
//! Massart's constant, shared among all bounds. `examples/calibration` runs more
//! shops, and larger ones.

use crate::own_prior::{Shop, model, quantities};

const SIZES: [usize; 3] = [0, 3, 10];
const SHOPS: usize = 60;
const SEED: u64 = 20_261_125;

/// All bounds together fail a calibrated posterior once in a hundred seeds.
const LEVEL: f64 = 0.01;

fn to_f64(count: usize) -> f64 {
    f64::from(u32::try_from(count).unwrap_or(u32::MAX))
}

/// Largest distance of the empirical distribution from the uniform one.
fn distance(places: &mut [f64]) -> f64 {
    places.sort_by(f64::total_cmp);
    let n = to_f64(places.len());
    let of = |(k, place): (usize, &f64)| {
        let (below, up_to) = (to_f64(k) / n, to_f64(k + 1) / n);
        (place - below).abs().max((place - up_to).abs())
    };
    places.iter().enumerate().map(of).fold(0.0, f64::max)
}

fn band(bounds: usize, shops: usize) -> f64 {
    ((2.0 / (LEVEL / to_f64(bounds))).ln() / (2.0 * to_f64(shops))).sqrt()
}

fn places(size: usize) -> Result<Vec<Vec<f64>>, String> {
    let model = model();
    let of = |shop: usize| {
        let own = SEED.wrapping_add(u64::try_from(shop * 1_000 + size).unwrap_or(0));
        Shop::draw(&model, size, own).places(&model)
    };
    (0..SHOPS).map(of).collect()
}

#[test]
fn the_truth_lies_anywhere_in_the_posterior_equally_often() {
    let names = quantities(&model());
    let bounds = SIZES.len() * names.len();
    let band = band(bounds, SHOPS);
    println!("seed {SEED}, {SHOPS} shops of each size, band {band:.3}");
    let mut outside = Vec::new();
    for size in SIZES {
        let places = places(size).unwrap();
        for (quantity, name) in names.iter().enumerate() {
            let mut of_it: Vec<f64> = places.iter().map(|p| p[quantity]).collect();
            let distance = distance(&mut of_it);
            println!("{size} jobs, {name}: {distance:.3}");
            if distance > band {
                outside.push(format!("{size} jobs, {name}: {distance:.3} of {band:.3}"));
            }
        }
    }
    assert!(outside.is_empty(), "{outside:#?}");
}

/// The band catches places that are not uniform: ranges half as wide as they
/// should be, and a lean by a third.
#[test]
fn the_band_finds_ranges_that_are_too_narrow_or_lean() {
    let band = band(SIZES.len() * quantities(&model()).len(), SHOPS);
    let even = |k: usize| (to_f64(k) + 0.5) / to_f64(SHOPS);
    let of = |warp: &dyn Fn(f64) -> f64| {
        let mut places: Vec<f64> = (0..SHOPS).map(|k| warp(even(k))).collect();
        distance(&mut places)
    };
    assert!(of(&|p| p) < band);
    assert!(of(&|p| p.powi(3)) > band);
    // Places pile up at both ends.
    assert!(of(&|p| if p < 0.5 { 0.0 } else { 1.0 }) > band);
}
