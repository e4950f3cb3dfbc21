//! Joint draws of the hours and amounts of one vehicle.

use baywright_learn::posterior::{Cell, CellTerm, Level, Options, quantile};
use baywright_terms::catalogue::{Catalogue, JobType, StageKind};
use baywright_terms::code::Code;

use super::bases;
use super::learn::{
    Fitted, Learnt, goods_names, goods_slopes, kind_of, mean, pair, slopes, to_f64, whole,
};
use super::model::{CLASS, STAGE, TYPE, TYPE_STAGE, WORKER};
use super::suggest::{Asking, SuggestError};
use super::unseen::Unseen;
use crate::figures::PortionUnit;

/// Draws of hours: the standard error of a quantile is then about a hundredth of
/// its range.
const DRAWS: usize = 20_000;
/// Draws of amounts: they are printed to two figures.
const GOODS_DRAWS: usize = 4_000;

/// What is asked, with what is known.
pub(super) struct Question<'a> {
    pub(super) learnt: &'a Learnt,
    pub(super) catalogue: &'a Catalogue,
    pub(super) asking: &'a Asking,
    pub(super) class: &'a Code,
    pub(super) seed: u64,
}

/// A stage that is quoted.
pub(super) struct Wanted {
    pub(super) stage: Code,
    /// In force, and what records are compared with.
    pub(super) allowance_us: i64,
    pub(super) base_us: i64,
}

/// Draws of the hours: of each stage, and of all together.
pub(super) struct Hours {
    pub(super) stages: Vec<Vec<f64>>,
    pub(super) totals: Vec<f64>,
}

/// One product, in parts of its unit.
pub(super) struct Goods {
    pub(super) product: Code,
    pub(super) unit: PortionUnit,
    pub(super) allowance: i64,
    pub(super) half: i64,
    pub(super) p80: i64,
    pub(super) mean: i64,
}

impl Question<'_> {
    fn unseen(&self) -> Option<Unseen> {
        let came_in = self.learnt.grades_of.get(&self.asking.job_type);
        let unseen = || Unseen::of(self.asking.grades, came_in.copied().unwrap_or_default());
        self.asking.unseen.then(unseen)
    }

    pub(super) fn hours(&self, wanted: &[Wanted]) -> Result<Hours, SuggestError> {
        let fitted = self.learnt.hours.as_ref().ok_or(SuggestError::NotLearned)?;
        let unseen = self.unseen();
        let options = Options {
            widen: self.learnt.widen.factor,
            slopes: unseen.is_some(),
            ..Options::default()
        };
        let cells: Vec<Cell> = wanted.iter().map(|w| self.cell(fitted, w)).collect();
        let drawn = fitted.posterior.simulate(&cells, DRAWS, self.seed, options);
        let moved = unseen.map(|unseen| {
            let slopes = [0, 1, 2].map(|slope| drawn.slope(slope));
            unseen.moved(slopes)
        });
        let mut hours = Hours {
            stages: Vec::with_capacity(wanted.len()),
            totals: vec![0.0; drawn.count()],
        };
        for (at, wanted) in wanted.iter().enumerate() {
            let mut values = drawn.cell(at).to_vec();
            if let Some([soil, defects, intricacy]) = &moved {
                add(&mut values, intricacy);
                match kind_of(self.catalogue, &wanted.stage) {
                    StageKind::Cleaning => add(&mut values, soil),
                    StageKind::Correction => add(&mut values, defects),
                    StageKind::Coating | StageKind::Other => {}
                }
            }
            let base = to_f64(wanted.base_us);
            for (total, value) in hours.totals.iter_mut().zip(&mut values) {
                *value = base * value.exp();
                *total += *value;
            }
            hours.stages.push(values);
        }
        Ok(hours)
    }

    fn cell(&self, fitted: &Fitted, wanted: &Wanted) -> Cell {
        let job_type = &self.asking.job_type;
        let stage = &wanted.stage;
        let named = [
            (STAGE, stage.to_string()),
            (TYPE, job_type.to_string()),
            (TYPE_STAGE, pair(job_type, stage)),
            (CLASS, self.class.to_string()),
        ];
        let mut terms: Vec<CellTerm> = named
            .iter()
            .map(|(factor, name)| term(*factor, fitted.level(*factor, name)))
            .collect();
        terms.push(term(WORKER, self.learnt.worker(stage)));
        Cell {
            terms,
            slopes: slopes(self.asking.grades, kind_of(self.catalogue, stage)),
        }
    }

    pub(super) fn goods(&self, job_type: &JobType) -> Result<Vec<Goods>, SuggestError> {
        if self.asking.addition {
            return Ok(Vec::new());
        }
        let fitted = self.learnt.goods.as_ref().ok_or(SuggestError::NotLearned)?;
        let in_force = bases::products(job_type, self.catalogue);
        let wanted: Vec<((Code, PortionUnit), i64)> = in_force.into_iter().collect();
        let cells: Vec<Cell> = wanted
            .iter()
            .map(|((product, unit), _)| self.goods_cell(fitted, product, *unit))
            .collect();
        let unseen = self.unseen();
        let options = Options {
            slopes: unseen.is_some(),
            ..Options::default()
        };
        // Another stream than that of the hours.
        let seed = self.seed.wrapping_add(1);
        let drawn = fitted
            .posterior
            .simulate(&cells, GOODS_DRAWS, seed, options);
        let moved = unseen.map(|u| u.moved([drawn.slope(0), &[], drawn.slope(1)]));
        let goods = wanted.into_iter().enumerate();
        let goods = goods.map(|(at, ((product, unit), allowance))| {
            let mut values = drawn.cell(at).to_vec();
            if let Some([soil, _, intricacy]) = &moved {
                add(&mut values, soil);
                add(&mut values, intricacy);
            }
            let given = &self.learnt.bases;
            let given = given.amount(&self.asking.job_type, &product, unit);
            let base = to_f64(given.unwrap_or(allowance));
            for value in &mut values {
                *value = base * value.exp();
            }
            Goods {
                product,
                unit,
                allowance,
                mean: whole(mean(&values)),
                half: whole(quantile(&mut values, 0.5).value),
                p80: whole(quantile(&mut values, 0.8).value),
            }
        });
        Ok(goods.collect())
    }

    fn goods_cell(&self, fitted: &Fitted, product: &Code, unit: PortionUnit) -> Cell {
        let names = goods_names(&self.asking.job_type, product, unit, self.class);
        let terms = names.iter().enumerate();
        Cell {
            terms: terms
                .map(|(factor, name)| term(factor, fitted.level(factor, name)))
                .collect(),
            slopes: goods_slopes(self.asking.grades),
        }
    }
}

fn add(values: &mut [f64], moved: &[f64]) {
    for (value, by) in values.iter_mut().zip(moved) {
        *value += by;
    }
}

fn term(factor: usize, level: Level) -> CellTerm {
    CellTerm {
        factor,
        level,
        weight: 1.0,
    }
}
