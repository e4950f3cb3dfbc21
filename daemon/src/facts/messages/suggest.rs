//! A quote, worked out: the question made whole, and the answer as a message.

use baywright_floor::fact::Grades;
use baywright_proto::amount::amount_to_wire;
use baywright_proto::v1;
use baywright_report::figures::{Like, Portion, SuggestedProduct, SuggestedStage, Suggestion};
use baywright_report::quote::{Asking, MODEL_VERSION, suggest};
use baywright_terms::code::Code;
use baywright_terms::time::Micros;

use super::quote::QuoteError;
use super::{as_of, asked};
use crate::facts::FactsError;
use crate::facts::reader::{FactsReader, View};
use crate::learner::{self, Known, Learner};

impl FactsReader {
    /// Works a quote out. Posts nothing.
    ///
    /// # Errors
    /// If the question cannot be answered, or the database or the log fails.
    pub fn suggest(
        &self,
        learner: &Learner,
        request: &v1::SuggestRequest,
        now: Micros,
    ) -> Result<v1::SuggestResponse, QuoteError> {
        self.view_as_of(request.as_of_seq, |view| {
            let now = as_of(view, request.as_of_seq, now)?;
            let asked::Whole {
                asked,
                addition,
                at,
                remarks: mut nevers,
            } = asked::whole(view, request, now)?;
            let known = known(view, learner, request.as_of_seq, now)?;
            let asking = asking(&asked, addition, request.seed);
            let cats = view.catalogues();
            let mut suggestion = suggest(&known.learnt, known.records.all(), &cats, &asking, at)?;
            let mut remarks = std::mem::take(&mut suggestion.remarks);
            remarks.append(&mut nevers);
            Ok(v1::SuggestResponse {
                asked: Some(asked),
                printed: Some(printed(&suggestion, &known)),
                remarks,
            })
        })
    }
}

/// What was learned at the head, or in a view of the past.
pub(super) fn known(
    view: &View<'_>,
    learner: &Learner,
    as_of_seq: u64,
    as_of: Micros,
) -> Result<Known, FactsError> {
    match as_of_seq {
        0 => learner.at_head(view, as_of),
        _ => learner::afresh(view, as_of),
    }
}

fn asking(asked: &v1::QuoteAsked, addition: bool, seed: u64) -> Asking {
    let grades = asked.grades.unwrap_or_default();
    let grade = |grade: u32| u8::try_from(grade).unwrap_or(0);
    let codes = |codes: &[String]| codes.iter().map(|code| Code::new(code)).collect();
    Asking {
        job_type: Code::new(&asked.job_type),
        vehicle_class: Code::new(&asked.vehicle_class),
        grades: Grades {
            soil: grade(grades.soil),
            defects: grade(grades.defects),
            intricacy: grade(grades.intricacy),
        },
        without: codes(&asked.without_stages),
        with: codes(&asked.with_stages),
        unseen: asked.unseen,
        addition,
        seed,
    }
}

fn printed(suggested: &Suggestion, known: &Known) -> v1::QuotePrinted {
    let cost = &suggested.cost;
    let (price_from_minor, price_to_minor) = suggested.price_range_minor.unwrap_or_default();
    v1::QuotePrinted {
        currency: suggested.currency.clone(),
        stages: suggested.stages.iter().map(stage).collect(),
        products: suggested.products.iter().map(product).collect(),
        hands_on_half_us: suggested.hands_on_half_us,
        hands_on_p80_us: suggested.hands_on_p80_us,
        hands_on_mean_us: suggested.hands_on_mean_us,
        hands_on_p80_error_us: suggested.hands_on_p80_error_us,
        bay_half_us: suggested.bay_half_us,
        bay_p80_us: suggested.bay_p80_us,
        waiting_half_us: suggested.waiting_half_us,
        labour_minor: cost.labour_minor,
        materials_minor: cost.materials_minor,
        supplies_minor: cost.supplies_minor,
        overhead_minor: cost.overhead_minor,
        cost_minor: cost.sum_minor(),
        cost_half_minor: suggested.cost_half_minor,
        cost_p80_minor: suggested.cost_p80_minor,
        target_margin_permille: i32::try_from(suggested.target_margin_permille).unwrap_or(i32::MAX),
        price_minor: suggested.price_minor,
        price_from_minor,
        price_to_minor,
        margin_p80_permille: suggested.margin_p80_permille,
        list_minor: suggested.list_minor.unwrap_or(0),
        from_jobs: suggested.from_jobs,
        from_jobs_all: suggested.from_jobs_all,
        trade_guess: suggested.trade_guess,
        likes: suggested.likes.iter().map(like).collect(),
        valid_until_us: suggested.valid_until.0,
        learned_up_to_seq: known.cursor_seq,
        seed: suggested.seed,
        draws: suggested.draws,
        model_version: MODEL_VERSION.to_owned(),
        widen_milli: suggested.widen_milli,
        tax_milli_pct: suggested.tax_milli_pct.unwrap_or(0),
        margin: suggested.margin,
    }
}

fn stage(stage: &SuggestedStage) -> v1::QuotedStage {
    v1::QuotedStage {
        stage: stage.stage.to_string(),
        allowance_us: stage.allowance_us,
        half_us: stage.half_us,
        p80_us: stage.p80_us,
        quoted_us: stage.quoted_us,
        n: stage.n,
    }
}

fn product(product: &SuggestedProduct) -> v1::QuotedProduct {
    let unit = product.unit;
    let value = |base| Portion { unit, base }.value();
    v1::QuotedProduct {
        product: product.product.to_string(),
        unit: unit.as_str().to_owned(),
        allowance: value(product.allowance),
        half: value(product.half),
        p80: value(product.p80),
        quoted: Some(amount_to_wire(&product.quoted)),
        cost_minor: product.cost_minor.unwrap_or(0),
        n: product.n,
    }
}

fn like(like: &Like) -> v1::QuotedLike {
    v1::QuotedLike {
        job_number: like.number.unwrap_or(0),
        vehicle: like.vehicle.clone(),
        job_type: like.job_type.to_string(),
        grades: Some(v1::Grades {
            soil: like.grades.soil.into(),
            defects: like.grades.defects.into(),
            intricacy: like.grades.intricacy.into(),
        }),
        hands_on_us: like.hands_on_us,
        released_us: like.released.0,
    }
}
