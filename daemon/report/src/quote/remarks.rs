//! Sentences that go with a quote: what it stands on, and what limits it.

use baywright_floor::fact::Grades;
use baywright_terms::catalogue::JobType;
use baywright_terms::code::Code;

use super::cost::Costing;
use super::drawn::{Question, Wanted};
use crate::figures::Suggestion;

/// A product or stage that the type does not allow is worth a word from so many
/// jobs on, and where at least half of the jobs had it.
const OFTEN_JOBS: u32 = 3;

impl Question<'_> {
    pub(super) fn remark(
        &self,
        out: &mut Suggestion,
        wanted: &[Wanted],
        job_type: &JobType,
        costing: &Costing<'_>,
    ) {
        let all = [
            self.unfitted(),
            no_rate(costing),
            not_a_margin(costing),
            no_price(out),
            guessed_target(out),
            unseen_range(out),
            self.ungraded(),
            self.borrowed(wanted, job_type),
            self.class(),
            self.not_allowed(job_type),
            self.widened(),
            self.addition(),
        ];
        out.remarks.extend(all.into_iter().flatten());
    }

    fn unfitted(&self) -> Option<String> {
        let said =
            "What is on record could not be worked out together: the trade guess stands alone.";
        self.learnt.unfitted.then(|| said.to_owned())
    }

    fn ungraded(&self) -> Option<String> {
        let Grades {
            soil,
            defects,
            intricacy,
        } = self.asking.grades;
        let grades = [
            ("soil", soil),
            ("defects", defects),
            ("intricacy", intricacy),
        ];
        let ungraded: Vec<&str> = grades
            .into_iter()
            .filter_map(|(name, grade)| (grade == 0).then_some(name))
            .collect();
        let said = !ungraded.is_empty() && !self.asking.unseen && !self.asking.addition;
        said.then(|| {
            format!(
                "Not graded: {}. It is quoted as grade 3, as usual for its kind.",
                ungraded.join(", ")
            )
        })
    }

    fn borrowed(&self, wanted: &[Wanted], job_type: &JobType) -> Option<String> {
        let own = |w: &&Wanted| job_type.stages.iter().all(|a| a.stage != w.stage);
        let borrowed: Vec<&str> = wanted
            .iter()
            .filter(own)
            .map(|w| w.stage.as_str())
            .collect();
        (!borrowed.is_empty()).then(|| {
            format!(
                "{} is not among the stages of {}: its time is the middle one of the types that have it.",
                borrowed.join(", "),
                self.asking.job_type
            )
        })
    }

    fn class(&self) -> Option<String> {
        let unknown = self.learnt.jobs_of_class(self.class) == 0 && self.learnt.jobs > 0;
        unknown.then(|| {
            format!(
                "No job of the class {} is on record: the range is as wide as classes differ.",
                self.class
            )
        })
    }

    /// What such jobs had and the type does not allow: it is in no figure here.
    fn not_allowed(&self, job_type: &JobType) -> Option<String> {
        if self.asking.addition {
            return None;
        }
        let of = &self.asking.job_type;
        let jobs = self.learnt.jobs_of_type(of);
        let often = |n: u32| n >= OFTEN_JOBS && n.saturating_mul(2) >= jobs;
        let asked = |code: &Code| self.asking.with.contains(code);
        let stages = self.learnt.stage_rows.iter();
        let stages = stages.filter(|((job_type_of, stage), n)| {
            let allowed = job_type.stages.iter().any(|a| a.stage == *stage);
            job_type_of == of && often(**n) && !allowed && !asked(stage)
        });
        let products = self.learnt.product_rows.iter();
        let products = products.filter(|((job_type_of, product), n)| {
            let allowed = job_type.products.iter().any(|a| a.product == *product);
            job_type_of == of && often(**n) && !allowed
        });
        let named: Vec<String> = stages
            .chain(products)
            .map(|((_, code), n)| format!("{code} ({n} of {jobs} jobs)"))
            .collect();
        (!named.is_empty()).then(|| {
            format!(
                "Often part of {of} but not allowed in the catalogue, so not in these figures: {}.",
                named.join(", ")
            )
        })
    }

    fn widened(&self) -> Option<String> {
        let widen = &self.learnt.widen;
        widen.is_worth_saying().then(|| {
            let (done, often) = if widen.factor > 1.0 {
                ("widened", "more")
            } else {
                ("narrowed", "less")
            };
            format!(
                "The chance part of the ranges of hours is {done} by a factor of {:.2}: {} jobs on record missed what the \
                 others said of them {often} than they should.",
                widen.factor, widen.units
            )
        })
    }

    fn addition(&self) -> Option<String> {
        let said = "Chemicals of a line of its own are not quoted; what it takes counts with the job. \
                    Neither is waiting that it may add.";
        self.asking.addition.then(|| said.to_owned())
    }
}

fn unseen_range(out: &Suggestion) -> Option<String> {
    out.price_range_minor?;
    Some(
        "Nobody has seen it: a grade that was told may be one off, one that was not is taken as such \
         vehicles came in. The price goes from what fits one in five of such jobs to what fits nine in ten."
            .to_owned(),
    )
}

fn no_rate(costing: &Costing<'_>) -> Option<String> {
    let said = "No worker has a rate in the catalogue: labour costs nothing here, and the price is too low.";
    (!costing.has_rate()).then(|| said.to_owned())
}

fn not_a_margin(costing: &Costing<'_>) -> Option<String> {
    let said = "Wage burden and overhead per sold hour are not both given under [shop]: what the price leaves is a \
                contribution, not a margin.";
    (costing.has_rate() && !costing.is_margin()).then(|| said.to_owned())
}

fn no_price(out: &Suggestion) -> Option<String> {
    let without = out.products.iter().filter(|p| p.cost_minor.is_none());
    let without: Vec<&str> = without.map(|p| p.product.as_str()).collect();
    (!without.is_empty()).then(|| {
        format!(
            "No price in the catalogue: {}. Its cost is not in the price.",
            without.join(", ")
        )
    })
}

fn guessed_target(out: &Suggestion) -> Option<String> {
    out.target_is_guess.then(|| {
        format!(
            "The catalogue gives no target margin: {} % stand in, a trade guess. Set target-margin under [shop].",
            out.target_margin_permille / 10
        )
    })
}
