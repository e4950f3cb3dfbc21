//! What is predicted, as the posterior takes it.

use baywright_floor::fact::Grades;
use baywright_learn::posterior::{Cell, CellTerm, Level};
use baywright_terms::catalogue::Catalogue;
use baywright_terms::code::Code;

use super::learn::{Fitted, Learnt, kind_of, pair, slopes};
use super::model::{CLASS, STAGE, TYPE, TYPE_STAGE, WORKER};

/// One stage of one vehicle, done by whoever may do it next.
pub(crate) fn hours_cell(
    learnt: &Learnt,
    fitted: &Fitted,
    catalogue: &Catalogue,
    (job_type, stage, class): (&Code, &Code, &Code),
    grades: Grades,
) -> Cell {
    let mut terms = of_stage(fitted, job_type, stage);
    terms.push(term(CLASS, fitted.level(CLASS, class.as_str()), 1.0));
    terms.push(term(WORKER, learnt.worker(stage), 1.0));
    Cell {
        terms,
        slopes: slopes(grades, kind_of(catalogue, stage)),
    }
}

/// The stage as it is on average over whoever does it and over some classes: what
/// is unsure about it is the average alone.
pub(crate) fn mean_cell(
    learnt: &Learnt,
    fitted: &Fitted,
    (job_type, stage): (&Code, &Code),
    classes: &[(&Code, f64)],
    slopes: Vec<f64>,
) -> Cell {
    let mut terms = of_stage(fitted, job_type, stage);
    for (class, share) in classes {
        terms.push(term(CLASS, fitted.level(CLASS, class.as_str()), *share));
    }
    if let Level::OneOf(workers) = learnt.worker(stage) {
        let sum: f64 = workers.iter().map(|(_, share)| share).sum();
        for (level, share) in workers {
            terms.push(term(
                WORKER,
                Level::Known(level),
                share / sum.max(f64::MIN_POSITIVE),
            ));
        }
    }
    Cell { terms, slopes }
}

fn of_stage(fitted: &Fitted, job_type: &Code, stage: &Code) -> Vec<CellTerm> {
    [
        (STAGE, stage.to_string()),
        (TYPE, job_type.to_string()),
        (TYPE_STAGE, pair(job_type, stage)),
    ]
    .into_iter()
    .map(|(factor, name)| term(factor, fitted.level(factor, &name), 1.0))
    .collect()
}

pub(crate) fn term(factor: usize, level: Level, weight: f64) -> CellTerm {
    CellTerm {
        factor,
        level,
        weight,
    }
}
