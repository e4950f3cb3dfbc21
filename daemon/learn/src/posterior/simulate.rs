//! Predictions for one new unit by seeded simulation.

use faer::linalg::solvers::Llt;
use faer::{Mat, Side};
use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha12Rng;
use rand_distr::{Distribution as _, StandardNormal};
use statrs::distribution::{ContinuousCDF as _, Normal as StandardDistribution, StudentsT};

use super::conditional::Conditional;
use super::fit::Posterior;

/// A level in a prediction.
#[derive(Debug, Clone, PartialEq)]
pub enum Level {
    Known(usize),
    /// Never seen: drawn from the factor's spread, the same for the same key.
    Unseen(usize),
    /// One of several, by share, drawn anew each time. Levels that do not exist and
    /// shares that are not above zero are passed over, here as in `Known`.
    OneOf(Vec<(usize, f64)>),
}

#[derive(Debug, Clone, PartialEq)]
pub struct CellTerm {
    pub factor: usize,
    pub level: Level,
    pub weight: f64,
}

/// What is predicted: a row that has not happened.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Cell {
    pub terms: Vec<CellTerm>,
    pub slopes: Vec<f64>,
}

/// What a prediction takes in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Options {
    /// The effect that the cells of the unit share.
    pub unit: bool,
    /// The normal core of the error.
    pub error: bool,
    /// Multiplies what is drawn for the unit and the errors around the centre.
    pub widen: f64,
    /// Keeps the slope coefficients of each draw, for whoever moves a cell along
    /// them afterwards.
    pub slopes: bool,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            unit: true,
            error: true,
            widen: 1.0,
            slopes: false,
        }
    }
}

/// Joint draws, cell by cell.
#[derive(Debug, Clone, PartialEq)]
pub struct Draws {
    cells: Vec<Vec<f64>>,
    slopes: Vec<Vec<f64>>,
    count: usize,
}

/// A quantile of simulated values with its Monte Carlo standard error.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Quantile {
    pub value: f64,
    pub error: f64,
}

/// A cell with its choices made: share, coefficients, and the variance of levels
/// never seen.
type Expansion = (f64, Vec<(usize, f64)>, f64);

impl Posterior {
    /// Joint draws of `y` for several cells of one new unit.
    ///
    /// The error of a prediction is the *normal core*: the normal that has the
    /// same central 80 % as the fitted Student t. On normal records it is their
    /// normal; forgotten stops and slips, which the tails take up, do not widen
    /// it.
    pub fn simulate(&self, cells: &[Cell], draws: usize, seed: u64, options: Options) -> Draws {
        let mut rng = ChaCha12Rng::seed_from_u64(seed);
        let mut out = Draws {
            cells: vec![Vec::with_capacity(draws); cells.len()],
            slopes: Vec::new(),
            count: draws,
        };
        let core = normal_core(self.model.noise_dof);
        let mut plan = Plan::of(self, cells);
        if options.slopes {
            plan.add_slopes(self.layout().slopes);
            out.slopes = vec![Vec::with_capacity(draws); plan.slopes];
        }
        for ((_, point), count) in self.points.iter().zip(shares(&self.points, draws)) {
            plan.draw(point, core, count, options, &mut rng, &mut out);
        }
        out
    }

    /// Mean and sd of a cell without unit effect and error.
    pub fn linear(&self, cell: &Cell) -> (f64, f64) {
        let (mut mean, mut square) = (0.0, 0.0);
        for (weight, point) in &self.points {
            for (share, x, extra) in self.expansions(cell, point) {
                let (m, v) = point.combination(&x);
                mean += weight * share * m;
                square += weight * share * (v + extra + m * m);
            }
        }
        (mean, (square - mean * mean).max(0.0).sqrt())
    }

    /// A cell by what may be chosen in it: share, coefficients, and the variance
    /// of levels never seen.
    fn expansions(&self, cell: &Cell, point: &Conditional) -> Vec<Expansion> {
        let layout = self.layout();
        let mut out = vec![(1.0, self.fixed(cell))];
        // One unseen level in two terms is one effect: their weights add.
        let mut unseen: Vec<((usize, usize), f64)> = Vec::new();
        for term in cell.terms.iter().filter(|t| t.factor < layout.factors()) {
            let range = layout.levels(term.factor);
            match &term.level {
                Level::Known(level) if *level < range.len() => {
                    for (_, x) in &mut out {
                        x.push((range.start + level, term.weight));
                    }
                }
                Level::Known(_) => {}
                Level::Unseen(key) => {
                    let wanted = (term.factor, *key);
                    match unseen.iter_mut().find(|(have, _)| *have == wanted) {
                        Some((_, weight)) => *weight += term.weight,
                        None => unseen.push((wanted, term.weight)),
                    }
                }
                Level::OneOf(levels) => {
                    let likely = likely(levels, range.len());
                    let sum: f64 = likely.iter().map(|(_, share)| share).sum();
                    if likely.is_empty() {
                        continue;
                    }
                    let chosen = |(share, x): &(f64, Vec<(usize, f64)>)| {
                        let (share, x) = (*share, x.clone());
                        let start = range.start;
                        likely.clone().into_iter().map(move |(level, part)| {
                            let mut x = x.clone();
                            x.push((start + level, term.weight));
                            (share * part / sum, x)
                        })
                    };
                    out = out.iter().flat_map(chosen).collect();
                }
            }
        }
        let of_key = |((factor, _), weight): &((usize, usize), f64)| {
            (weight * point.factor_sds[*factor]).powi(2)
        };
        let extra: f64 = unseen.iter().map(of_key).sum();
        let whole = out.into_iter().map(|(share, x)| (share, x, extra));
        whole.collect()
    }

    /// Weight, mean and sd of the intercept and what a cell adds to it, at each
    /// point of the spreads; levels never seen are left out of it.
    pub fn by_point(&self, cell: &Cell) -> Vec<(f64, f64, f64)> {
        self.each_point(&self.fixed(cell))
    }

    /// The same of a slope; empty for one that is none.
    pub fn slope_by_point(&self, slope: usize) -> Vec<(f64, f64, f64)> {
        if slope >= self.layout().slopes {
            return Vec::new();
        }
        self.each_point(&[(1 + slope, 1.0)])
    }

    /// The same of the effect of a level; empty for one that is none.
    pub fn effect_by_point(&self, factor: usize, level: usize) -> Vec<(f64, f64, f64)> {
        if factor >= self.layout().factors() || level >= self.layout().levels(factor).len() {
            return Vec::new();
        }
        self.each_point(&[(self.layout().starts[factor] + level, 1.0)])
    }

    /// Weight and value of a spread (factors, unit, error) at each point.
    pub fn spread_by_point(&self, spread: usize) -> Vec<(f64, f64)> {
        let factors = self.model.factors.len();
        let of = |point: &Conditional| match spread.checked_sub(factors) {
            None => point.factor_sds[spread],
            Some(0) => point.unit_sd,
            Some(_) => point.noise,
        };
        let points = self.points.iter();
        points.map(|(weight, point)| (*weight, of(point))).collect()
    }

    fn each_point(&self, x: &[(usize, f64)]) -> Vec<(f64, f64, f64)> {
        let points = self.points.iter();
        let at = |(weight, point): &(f64, Conditional)| {
            let (mean, variance) = point.combination(x);
            (*weight, mean, variance.sqrt())
        };
        points.map(at).collect()
    }

    fn fixed(&self, cell: &Cell) -> Vec<(usize, f64)> {
        let slopes = self.layout().slopes;
        let given = cell.slopes.iter().take(slopes).enumerate();
        let mut x = vec![(0, 1.0)];
        x.extend(given.filter(|(_, v)| **v != 0.0).map(|(k, v)| (1 + k, *v)));
        x
    }
}

/// Above so many degrees of freedom the library's search for a quantile of Student's
/// t may not end.
const DOF_SEARCHED: f64 = 1e3;

/// Sd of the normal with the central 80 % of a Student t of scale 1.
pub fn normal_core(dof: f64) -> f64 {
    let normal = StandardDistribution::standard().inverse_cdf(0.9);
    if dof > DOF_SEARCHED {
        // Expansion in 1/ν (Fisher and Cornish); the next term is below 1e-9.
        let z2 = normal * normal;
        let second = (5.0 * z2 * z2 + 16.0 * z2 + 3.0) / (96.0 * dof * dof);
        return 1.0 + (z2 + 1.0) / (4.0 * dof) + second;
    }
    StudentsT::new(0.0, 1.0, dof).map_or(1.0, |t| t.inverse_cdf(0.9) / normal)
}

/// How many of the draws fall to each point: whole parts of their weights, the
/// rest by largest remainder.
fn shares(points: &[(f64, Conditional)], draws: usize) -> Vec<usize> {
    let total = super::conditional::to_f64(draws);
    // Weights are at most 1, so a part is at most the number of draws.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    let mut parts: Vec<usize> = points
        .iter()
        .map(|(weight, _)| (weight * total).floor() as usize)
        .collect();
    let mut by_rest: Vec<usize> = (0..parts.len()).collect();
    by_rest.sort_by(|a, b| {
        let rest = |k: &usize| (points[*k].0 * total).fract();
        rest(b).total_cmp(&rest(a)).then(a.cmp(b))
    });
    let given: usize = parts.iter().sum();
    for k in by_rest.iter().cycle().take(draws.saturating_sub(given)) {
        parts[*k] += 1;
    }
    parts
}

/// What is drawn together: the part of each cell that is certain, and each level
/// that may be chosen.
struct Plan {
    cells: usize,
    /// Coefficients of each column: cells first, then choices, then slopes.
    columns: Vec<Vec<(usize, f64)>>,
    /// Slopes that are kept.
    slopes: usize,
    /// Levels never seen of each cell: place among `keys`, weight.
    unseen: Vec<Vec<(usize, f64)>>,
    /// Factor and key.
    keys: Vec<(usize, usize)>,
    choices: Vec<Vec<Choice>>,
}

/// One of several levels: the column of each with its share, and the weight.
struct Choice {
    of: Vec<(usize, f64)>,
    weight: f64,
}

impl Plan {
    fn of(posterior: &Posterior, cells: &[Cell]) -> Self {
        let layout = posterior.layout();
        let mut plan = Self {
            cells: cells.len(),
            columns: cells.iter().map(|cell| posterior.fixed(cell)).collect(),
            slopes: 0,
            unseen: Vec::with_capacity(cells.len()),
            keys: Vec::new(),
            choices: Vec::with_capacity(cells.len()),
        };
        let mut chosen: Vec<usize> = Vec::new();
        for (cell, of) in cells.iter().enumerate() {
            let (mut unseen, mut choices) = (Vec::new(), Vec::new());
            for term in of.terms.iter().filter(|t| t.factor < layout.factors()) {
                let range = layout.levels(term.factor);
                match &term.level {
                    Level::Known(level) if *level < range.len() => {
                        plan.columns[cell].push((range.start + level, term.weight));
                    }
                    Level::Known(_) => {}
                    Level::Unseen(key) => {
                        let at = place(&mut plan.keys, (term.factor, *key));
                        unseen.push((at, term.weight));
                    }
                    Level::OneOf(levels) => {
                        let likely = likely(levels, range.len()).into_iter();
                        let of = likely
                            .map(|(level, share)| (place(&mut chosen, range.start + level), share));
                        choices.push(Choice {
                            of: of.collect(),
                            weight: term.weight,
                        });
                    }
                }
            }
            plan.unseen.push(unseen);
            plan.choices.push(choices);
        }
        for choice in plan.choices.iter_mut().flatten() {
            for (at, _) in &mut choice.of {
                *at += plan.cells;
            }
        }
        plan.columns
            .extend(chosen.into_iter().map(|at| vec![(at, 1.0)]));
        plan
    }

    fn add_slopes(&mut self, slopes: usize) {
        self.slopes = slopes;
        self.columns.extend((0..slopes).map(|k| vec![(1 + k, 1.0)]));
    }

    fn draw(
        &self,
        point: &Conditional,
        core: f64,
        count: usize,
        options: Options,
        rng: &mut ChaCha12Rng,
        out: &mut Draws,
    ) {
        let (means, lower) = self.joint(point);
        let normal = |rng: &mut ChaCha12Rng| -> f64 { StandardNormal.sample(rng) };
        let when = |wanted: bool, sd: f64| if wanted { options.widen * sd } else { 0.0 };
        let noise = when(options.error, core * point.noise);
        let unit_sd = when(options.unit, point.unit_sd);
        let mut z = vec![0.0; means.len()];
        let mut values = vec![0.0; means.len()];
        let mut fresh = vec![0.0; self.keys.len()];
        for _ in 0..count {
            for z in &mut z {
                *z = normal(rng);
            }
            for (at, value) in values.iter_mut().enumerate() {
                let along: f64 = lower[at].iter().zip(&z).map(|(l, z)| l * z).sum();
                *value = means[at] + along;
            }
            let unit = unit_sd * normal(rng);
            for ((factor, _), fresh) in self.keys.iter().zip(&mut fresh) {
                *fresh = point.factor_sds[*factor] * normal(rng);
            }
            for cell in 0..self.cells {
                let mut y = values[cell] + unit + noise * normal(rng);
                for (at, weight) in &self.unseen[cell] {
                    y += weight * fresh[*at];
                }
                for choice in &self.choices[cell] {
                    if let Some(at) = pick(&choice.of, rng) {
                        y += choice.weight * values[at];
                    }
                }
                out.cells[cell].push(y);
            }
            let slopes = &values[values.len() - self.slopes..];
            for (kept, value) in out.slopes.iter_mut().zip(slopes) {
                kept.push(*value);
            }
        }
    }

    /// Means of the columns and the rows of their covariance's lower factor.
    fn joint(&self, point: &Conditional) -> (Vec<f64>, Vec<Vec<f64>>) {
        let size = self.columns.len();
        let mut columns = Mat::<f64>::zeros(point.mode.len(), size);
        let mut means = vec![0.0; size];
        for (at, x) in self.columns.iter().enumerate() {
            for (column, value) in x {
                columns[(*column, at)] += value;
                means[at] += value * point.mode[*column];
            }
        }
        point.halve(&mut columns);
        let mut cov = columns.transpose() * &columns;
        for k in 0..size {
            // Columns that share everything make it singular.
            cov[(k, k)] += 1e-12;
        }
        let lower = match Llt::new(cov.as_ref(), Side::Lower) {
            Ok(joint) => (0..size)
                .map(|i| (0..=i).map(|j| joint.L()[(i, j)]).collect())
                .collect(),
            Err(_) => vec![Vec::new(); size],
        };
        (means, lower)
    }
}

/// Levels that there are, with a share above zero.
fn likely(levels: &[(usize, f64)], count: usize) -> Vec<(usize, f64)> {
    let is = |(level, share): &&(usize, f64)| *level < count && share.is_finite() && *share > 0.0;
    levels.iter().filter(is).copied().collect()
}

/// Where something stands in a list, put at its end where it does not.
fn place<T: PartialEq>(list: &mut Vec<T>, wanted: T) -> usize {
    if let Some(at) = list.iter().position(|have| *have == wanted) {
        return at;
    }
    list.push(wanted);
    list.len() - 1
}

fn pick(choices: &[(usize, f64)], rng: &mut ChaCha12Rng) -> Option<usize> {
    let sum: f64 = choices.iter().map(|(_, share)| share).sum();
    let mut at = rng.random::<f64>() * sum;
    for (level, share) in choices {
        at -= share;
        if at <= 0.0 {
            return Some(*level);
        }
    }
    choices.last().map(|(level, _)| *level)
}

impl Draws {
    /// Draws of one cell, in the order shared by all cells.
    pub fn cell(&self, cell: usize) -> &[f64] {
        self.cells.get(cell).map_or(&[], Vec::as_slice)
    }

    pub fn cells(&self) -> usize {
        self.cells.len()
    }

    /// Draws of a slope's coefficient, in the same order; empty where they were
    /// not asked for.
    pub fn slope(&self, slope: usize) -> &[f64] {
        self.slopes.get(slope).map_or(&[], Vec::as_slice)
    }

    /// Draws of each cell.
    pub fn count(&self) -> usize {
        self.count
    }

    /// `Σ base · exp(y)` over the cells, draw by draw.
    pub fn total(&self, bases: &[f64]) -> Vec<f64> {
        let mut totals = vec![0.0; self.count];
        for (cell, base) in self.cells.iter().zip(bases) {
            for (total, y) in totals.iter_mut().zip(cell) {
                *total += base * y.exp();
            }
        }
        totals
    }
}

/// Quantile of simulated values, Hyndman-Fan type 8, with its standard error
/// `√(p(1−p)/n) / f`, the density `f` from the values a little to both sides.
pub fn quantile(values: &mut [f64], p: f64) -> Quantile {
    values.sort_by(f64::total_cmp);
    let n = super::conditional::to_f64(values.len());
    let at = |share: f64| -> f64 {
        let place = (n + 1.0 / 3.0) * share + 1.0 / 3.0;
        let low = place.floor().clamp(1.0, n.max(1.0));
        let high = (low + 1.0).min(n.max(1.0));
        let of = |place: f64| {
            // Clamped to 1..=n above.
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
            let index = place as usize;
            values
                .get(index.saturating_sub(1))
                .copied()
                .unwrap_or(f64::NAN)
        };
        let part = (place - low).clamp(0.0, 1.0);
        of(low) + part * (of(high) - of(low))
    };
    let side = (n.powf(-0.4)).min(p.min(1.0 - p) * 0.9);
    let spread = (at(p + side) - at(p - side)) / (2.0 * side);
    Quantile {
        value: at(p),
        error: (p * (1.0 - p) / n).sqrt() * spread,
    }
}
