//! Records laid out for fitting: sparse rows over one vector of coefficients,
//! and the sums that do not depend on any spread.

use std::ops::Range;

use super::fit::FitError;
use super::model::{Model, Records};

/// Where a coefficient stands: intercept, slopes, then the levels of each factor.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Layout {
    pub(super) slopes: usize,
    /// First coefficient of each factor, and one past the last of all.
    pub(super) starts: Vec<usize>,
}

impl Layout {
    pub(super) fn of(model: &Model, levels: &[usize]) -> Self {
        let mut starts = vec![1 + model.slopes.len()];
        let mut at = 1 + model.slopes.len();
        for factor in 0..model.factors.len() {
            at += levels.get(factor).copied().unwrap_or(0);
            starts.push(at);
        }
        Self {
            slopes: model.slopes.len(),
            starts,
        }
    }

    pub(super) fn width(&self) -> usize {
        self.starts.last().copied().unwrap_or(1)
    }

    pub(super) fn factors(&self) -> usize {
        self.starts.len() - 1
    }

    pub(super) fn levels(&self, factor: usize) -> Range<usize> {
        self.starts[factor]..self.starts[factor + 1]
    }
}

/// A row as the solver sees it.
#[derive(Debug)]
pub(super) struct Sparse {
    pub(super) y: f64,
    pub(super) unit: usize,
    /// Where its coefficients stand among the entries.
    x: Range<usize>,
    /// Times the scale of the error.
    pub(super) c: f64,
}

/// Sums of one unit, with the error scale taken out.
#[derive(Debug, Default)]
pub(super) struct Unit {
    pub(super) s: f64,
    pub(super) a: Vec<(usize, f64)>,
    pub(super) rows: Vec<usize>,
}

/// Everything about the records that stays while spreads vary.
#[derive(Debug)]
pub(super) struct Prepared {
    pub(super) layout: Layout,
    pub(super) rows: Vec<Sparse>,
    /// Coefficients of all rows and what they are multiplied with, row by row:
    /// every search passes over them many times.
    entries: Vec<(usize, f64)>,
    pub(super) units: Vec<Unit>,
    /// `Σ h/c² x xᵀ`, the lower triangle, row by row.
    pub(super) gram: Vec<f64>,
    /// Fisher information of one error against a normal of the same scale:
    /// `(ν + 1) / (ν + 3)` for Student t.
    pub(super) information: f64,
    pub(super) rows_of_level: Vec<usize>,
}

impl Prepared {
    /// Coefficients of a row and what they are multiplied with.
    pub(super) fn x(&self, row: &Sparse) -> &[(usize, f64)] {
        &self.entries[row.x.clone()]
    }

    pub(super) fn of(model: &Model, records: &Records) -> Result<Self, FitError> {
        check(model, records)?;
        let layout = Layout::of(model, &records.levels);
        let information = (model.noise_dof + 1.0) / (model.noise_dof + 3.0);
        let width = layout.width();
        let mut gram = vec![0.0; width * width];
        let mut entries = Vec::new();
        let mut rows = Vec::with_capacity(records.rows.len());
        let mut units: Vec<Unit> = Vec::new();
        units.resize_with(records.units, Unit::default);
        let mut rows_of_level = vec![0; width];
        let mut dense = vec![0.0; width];
        let mut named = vec![false; width];
        for (at, row) in records.rows.iter().enumerate() {
            let mut x: Vec<(usize, f64)> = vec![(0, 1.0)];
            let slopes = row.slopes.iter().enumerate();
            x.extend(slopes.filter(|(_, v)| **v != 0.0).map(|(k, v)| (1 + k, *v)));
            for term in &row.terms {
                x.push((layout.starts[term.factor] + term.level, term.weight));
            }
            x.sort_by_key(|(column, _)| *column);
            merge(&mut x);
            for (column, _) in &x {
                rows_of_level[*column] += 1;
            }
            let h = information / (row.noise_factor * row.noise_factor);
            for (k, (i, vi)) in x.iter().enumerate() {
                for (j, vj) in &x[..=k] {
                    gram[i * width + j] += h * vi * vj;
                }
            }
            let unit = &mut units[row.unit];
            unit.s += h;
            unit.rows.push(at);
            let from = entries.len();
            entries.extend(x);
            rows.push(Sparse {
                y: row.y,
                unit: row.unit,
                x: from..entries.len(),
                c: row.noise_factor,
            });
        }
        for unit in &mut units {
            for at in &unit.rows {
                let row = &rows[*at];
                let h = information / (row.c * row.c);
                for (column, value) in &entries[row.x.clone()] {
                    // Named by a row, even where its sum comes out as nothing.
                    if !std::mem::replace(&mut named[*column], true) {
                        unit.a.push((*column, 0.0));
                    }
                    dense[*column] += h * value;
                }
            }
            for (column, sum) in &mut unit.a {
                *sum = std::mem::take(&mut dense[*column]);
                named[*column] = false;
            }
            unit.a.sort_by_key(|(column, _)| *column);
        }
        Ok(Self {
            layout,
            rows,
            entries,
            units,
            gram,
            information,
            rows_of_level,
        })
    }
}

/// A level that a row names twice is one column: the weights add. Sorted by column.
fn merge(x: &mut Vec<(usize, f64)>) {
    x.dedup_by(|later, first| {
        let same = later.0 == first.0;
        if same {
            first.1 += later.1;
        }
        same
    });
}

fn check(model: &Model, records: &Records) -> Result<(), FitError> {
    let positive = |value: f64| value.is_finite() && value > 0.0;
    let spreads = model.factors.iter().map(|f| f.spread.scale);
    let sds = model.slopes.iter().map(|(_, prior)| prior.sd);
    let all = spreads.chain(sds).chain([
        model.unit.scale,
        model.intercept.sd,
        model.noise_median,
        model.noise_log_sd,
    ]);
    let mut means = model.slopes.iter().map(|(_, prior)| prior.mean);
    let finite = means.all(f64::is_finite)
        && model.intercept.mean.is_finite()
        && model.noise_dof.is_finite();
    if !all.into_iter().all(positive) || !finite || model.noise_dof < 2.0 {
        return Err(FitError::Model);
    }
    if records.levels.len() != model.factors.len() {
        return Err(FitError::Levels {
            given: records.levels.len(),
            factors: model.factors.len(),
        });
    }
    for (row, of) in records.rows.iter().enumerate() {
        let finite = of.y.is_finite()
            && positive(of.noise_factor)
            && of.slopes.iter().all(|v| v.is_finite())
            && of.terms.iter().all(|t| t.weight.is_finite());
        if !finite {
            return Err(FitError::NotFinite { row });
        }
        names(model, records, row)?;
    }
    Ok(())
}

/// Whether everything that a row names exists.
fn names(model: &Model, records: &Records, row: usize) -> Result<(), FitError> {
    let of = &records.rows[row];
    if of.unit >= records.units {
        return Err(FitError::Unit {
            row,
            unit: of.unit,
            units: records.units,
        });
    }
    if of.slopes.len() != model.slopes.len() {
        return Err(FitError::Slopes {
            row,
            given: of.slopes.len(),
            slopes: model.slopes.len(),
        });
    }
    for term in &of.terms {
        let levels = records.levels.get(term.factor);
        if levels.is_none_or(|levels| term.level >= *levels) {
            return Err(FitError::Level {
                row,
                factor: term.factor,
                level: term.level,
            });
        }
    }
    Ok(())
}
