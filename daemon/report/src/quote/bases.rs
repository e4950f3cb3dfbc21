//! What records are compared with: the allowances that a person gave last.

use std::collections::BTreeMap;

use baywright_floor::catalogues::Catalogues;
use baywright_terms::catalogue::{Catalogue, JobType};
use baywright_terms::code::Code;
use baywright_terms::time::Micros;

use crate::chemicals::in_summing_unit;
use crate::figures::PortionUnit;

/// Given allowances by type.
#[derive(Debug, Clone, Default)]
pub(crate) struct Bases {
    types: BTreeMap<Code, Base>,
}

#[derive(Debug, Clone, Default)]
struct Base {
    stages_us: BTreeMap<Code, i64>,
    products: BTreeMap<(Code, PortionUnit), i64>,
}

impl Bases {
    pub(crate) fn of(catalogues: &Catalogues, at: Micros) -> Self {
        let catalogue = &catalogues.at(at).catalogue;
        let types = catalogues.given_job_types(at);
        let types = types.iter().map(|(code, job_type)| {
            let base = Base {
                stages_us: stages(job_type),
                products: products(job_type, catalogue),
            };
            (code.clone(), base)
        });
        Self {
            types: types.collect(),
        }
    }

    /// Labour that a person allowed for a stage of a type.
    pub(crate) fn stage_us(&self, job_type: &Code, stage: &Code) -> Option<i64> {
        self.types.get(job_type)?.stages_us.get(stage).copied()
    }

    /// All stages that a person allowed for a type.
    pub(crate) fn stages(&self, job_type: &Code) -> Vec<(&Code, i64)> {
        let base = self.types.get(job_type);
        let stages = base.into_iter().flat_map(|base| &base.stages_us);
        stages.map(|(stage, us)| (stage, *us)).collect()
    }

    /// A stage that the type does not have: the middle of the types that do.
    pub(crate) fn borrowed_us(&self, stage: &Code) -> Option<i64> {
        let of = |base: &Base| base.stages_us.get(stage).copied();
        let mut all: Vec<i64> = self.types.values().filter_map(of).collect();
        all.sort_unstable();
        all.get(all.len() / 2).copied()
    }

    /// Amount that a person allowed for a product on a type, in parts of the unit.
    pub(crate) fn amount(&self, job_type: &Code, product: &Code, unit: PortionUnit) -> Option<i64> {
        let key = (product.clone(), unit);
        self.types.get(job_type)?.products.get(&key).copied()
    }
}

/// Allowances of a type by stage; a stage named twice is their sum.
pub(crate) fn stages(job_type: &JobType) -> BTreeMap<Code, i64> {
    let mut sums: BTreeMap<Code, i64> = BTreeMap::new();
    for allowance in &job_type.stages {
        let sum = sums.entry(allowance.stage.clone()).or_default();
        *sum = sum.saturating_add(allowance.allowance_us);
    }
    sums.retain(|_, us| *us > 0);
    sums
}

/// Allowances of a type by product, in the unit that sums are made in.
pub(crate) fn products(
    job_type: &JobType,
    catalogue: &Catalogue,
) -> BTreeMap<(Code, PortionUnit), i64> {
    let mut sums: BTreeMap<(Code, PortionUnit), i64> = BTreeMap::new();
    for allowance in &job_type.products {
        let product = &allowance.product;
        let portion = in_summing_unit(allowance.amount.quantity(), catalogue, product);
        let sum = sums.entry((product.clone(), portion.unit)).or_default();
        *sum = sum.saturating_add(portion.base);
    }
    sums.retain(|_, base| *base > 0);
    sums
}
