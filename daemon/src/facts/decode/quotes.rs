//! Quotes and past jobs off the wire.

use baywright_floor::fact::Fact;
use baywright_floor::quote::{Asked, PastJob, PastStage, Printed, PrintedProduct, PrintedStage};
use baywright_proto::amount::{amount_from_wire, money_from_wire};
use baywright_proto::v1::{self, fact::Kind};
use baywright_terms::code::Code;
use baywright_terms::time::Micros;

use super::{grades, id};

/// A decision or revision that names no quote is kept as an unknown fact.
pub(super) fn fact(kind: Kind) -> Fact {
    match kind {
        Kind::QuoteDrafted(said) => Fact::QuoteDrafted {
            asked: asked(&said.asked.unwrap_or_default()),
            printed: printed(&said.printed.unwrap_or_default()),
            addition: said.addition,
        },
        Kind::QuoteRevised(said) => match id(&said.quote_event_id) {
            Some(quote) => Fact::QuoteRevised {
                quote,
                asked: asked(&said.asked.unwrap_or_default()),
                printed: printed(&said.printed.unwrap_or_default()),
                reason: said.reason,
            },
            None => Fact::Unknown,
        },
        Kind::QuoteAccepted(said) => match id(&said.quote_event_id) {
            Some(quote) => Fact::QuoteAccepted {
                quote,
                agreed: said.agreed.as_ref().map(money_from_wire),
                suggested: said.suggested.as_ref().map(money_from_wire),
                reason: said.reason,
                planned_date: said.planned_date,
            },
            None => Fact::Unknown,
        },
        Kind::QuoteDeclined(said) => match id(&said.quote_event_id) {
            Some(quote) => Fact::QuoteDeclined {
                quote,
                reason: said.reason,
            },
            None => Fact::Unknown,
        },
        Kind::PastRecorded(said) => Fact::PastRecorded {
            source: said.source,
            jobs: said.jobs.iter().filter_map(past_job).collect(),
        },
        _ => Fact::Unknown,
    }
}

fn asked(said: &v1::QuoteAsked) -> Asked {
    Asked {
        job_type: Code::new(&said.job_type),
        vehicle: said.vehicle.clone(),
        vehicle_class: Code::new(&said.vehicle_class),
        grades: grades(said.grades.as_ref()),
        unseen: said.unseen,
        customer: said.customer.clone(),
    }
}

fn printed(said: &v1::QuotePrinted) -> Printed {
    Printed {
        stages: said
            .stages
            .iter()
            .map(|stage| PrintedStage {
                stage: Code::new(&stage.stage),
                allowance_us: stage.allowance_us,
                quoted_us: stage.quoted_us,
            })
            .collect(),
        products: said
            .products
            .iter()
            .map(|product| PrintedProduct {
                product: Code::new(&product.product),
                quoted: product.quoted.as_ref().and_then(amount_from_wire),
            })
            .collect(),
        hands_on_half_us: said.hands_on_half_us,
        hands_on_p80_us: said.hands_on_p80_us,
        bay_half_us: said.bay_half_us,
        bay_p80_us: said.bay_p80_us,
        price_minor: said.price_minor,
        cost_minor: said.cost_minor,
        valid_until: Micros(said.valid_until_us),
        trade_guess: said.trade_guess,
    }
}

/// `None` without a key: such a job could come in twice.
fn past_job(said: &v1::PastJob) -> Option<PastJob> {
    let stage = |stage: &v1::PastStage| PastStage {
        stage: Code::new(&stage.stage),
        quoted_us: stage.quoted_us,
        actual_us: stage.actual_us,
        worker: Code::new(&stage.worker),
    };
    let used = |used: &v1::PastUse| {
        let amount = amount_from_wire(used.amount.as_ref()?)?;
        Some((Code::new(&used.product), amount))
    };
    Some(PastJob {
        key: id(&said.key)?,
        date: said.date.clone(),
        job_type: Code::new(&said.job_type),
        vehicle: said.vehicle.clone(),
        vehicle_class: Code::new(&said.vehicle_class),
        grades: grades(said.grades.as_ref()),
        quoted_us: said.quoted_us,
        actual_us: said.actual_us,
        stages: said.stages.iter().map(stage).collect(),
        uses: said.uses.iter().filter_map(used).collect(),
        price_minor: said.price.as_ref().map(|price| price.price_minor),
    })
}
