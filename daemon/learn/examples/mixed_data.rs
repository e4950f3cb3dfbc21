//! Writes a seeded table with three crossed groupings, for the comparison of speed.
//!
//! ```text
//! cargo run --release -p baywright-learn --example mixed_data -- SEED > data.csv
//! ```
//!
//! Unbalanced on purpose: some levels have ten times the rows of others, and
//! which levels meet is left to chance. Columns y, x, s, d, g; the true standard
//! deviations are 0.32 (s), 0.51 (d), 0.08 (g) and 1.18 (residual).

use std::io::{BufWriter, Write};

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal, StandardNormal, Uniform};

const ROWS: usize = 73_000;
const LEVELS: [usize; 3] = [3_000, 1_100, 28];
const SDS: [f64; 3] = [0.32, 0.51, 0.08];
const RESIDUAL_SD: f64 = 1.18;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let seed = std::env::args()
        .nth(1)
        .map_or(Ok(20_261_125), |word| word.parse())?;
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let mut effects = Vec::new();
    let mut cumulated = Vec::new();
    for (&levels, &sd) in LEVELS.iter().zip(&SDS) {
        let normal = Normal::new(0.0, sd)?;
        effects.push(
            (0..levels)
                .map(|_| normal.sample(&mut random))
                .collect::<Vec<f64>>(),
        );
        // Log-normal weights: how often each level is met.
        let mut sum = 0.0;
        let weights = (0..levels).map(|_| {
            let drawn: f64 = StandardNormal.sample(&mut random);
            sum += (0.8 * drawn).exp();
            sum
        });
        cumulated.push(weights.collect::<Vec<f64>>());
    }
    let unit = Uniform::new(0.0, 1.0)?;
    let mut out = BufWriter::new(std::io::stdout().lock());
    writeln!(out, "y,x,s,d,g")?;
    for row in 0..ROWS {
        let level = |of: usize, random: &mut ChaCha8Rng| {
            // Each level occurs at least once.
            if row < LEVELS[of] {
                return row;
            }
            let weights = &cumulated[of];
            let drawn = unit.sample(random) * weights.last().copied().unwrap_or(0.0);
            weights
                .partition_point(|sum| *sum < drawn)
                .min(LEVELS[of] - 1)
        };
        let met = [0, 1, 2].map(|of| level(of, &mut random));
        let x: f64 = StandardNormal.sample(&mut random);
        let noise: f64 = StandardNormal.sample(&mut random);
        let effect: f64 = (0..3).map(|of| effects[of][met[of]]).sum();
        let y = 3.2 + 0.1 * x + effect + RESIDUAL_SD * noise;
        writeln!(out, "{y},{x},s{},d{},g{}", met[0], met[1], met[2])?;
    }
    out.flush()?;
    Ok(())
}
