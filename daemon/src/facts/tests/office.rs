//! What the office of the random shop posts: quotes, answers and past jobs.

use baywright_proto::v1::{self, fact::Kind};

use super::shop::{Dice, MINUTE_US};

/// A fact of the office; `drafts` are events that drafted a quote, and others.
pub(super) fn fact(dice: &mut Dice, now_us: i64, drafts: &[[u8; 16]]) -> Kind {
    let quote_event_id = match drafts.len() {
        0 => vec![9; 16],
        some => drafts[dice.below(some)].to_vec(),
    };
    match dice.below(10) {
        0..4 => Kind::QuoteDrafted(v1::QuoteDrafted {
            asked: Some(asked(dice)),
            printed: Some(printed(dice, now_us)),
            addition: dice.below(4) == 0,
        }),
        4..6 => Kind::QuoteRevised(v1::QuoteRevised {
            quote_event_id,
            asked: Some(asked(dice)),
            printed: Some(printed(dice, now_us)),
            reason: "after intake".to_owned(),
        }),
        6..8 => Kind::QuoteAccepted(v1::QuoteAccepted {
            quote_event_id,
            agreed: Some(euros(40_000)),
            suggested: Some(euros(42_000)),
            planned_date: "2026-03-20".to_owned(),
            ..v1::QuoteAccepted::default()
        }),
        8 => Kind::QuoteDeclined(v1::QuoteDeclined {
            quote_event_id,
            reason: "too dear".to_owned(),
        }),
        _ => Kind::PastRecorded(v1::PastRecorded {
            source: "past.csv".to_owned(),
            jobs: (0..3).map(|_| past_job(dice)).collect(),
        }),
    }
}

fn euros(price_minor: i64) -> v1::Money {
    v1::Money {
        price_minor,
        currency: "EUR".to_owned(),
    }
}

fn asked(dice: &mut Dice) -> v1::QuoteAsked {
    v1::QuoteAsked {
        job_type: "trike-coat".to_owned(),
        vehicle: "green three-wheeler".to_owned(),
        grades: Some(v1::Grades {
            soil: u32::try_from(dice.below(6)).unwrap(),
            defects: 2,
            intricacy: 5,
        }),
        customer: "the man with the hat".to_owned(),
        ..v1::QuoteAsked::default()
    }
}

fn printed(dice: &mut Dice, now_us: i64) -> v1::QuotePrinted {
    let hours = 1 + i64::try_from(dice.below(9)).unwrap();
    v1::QuotePrinted {
        currency: "EUR".to_owned(),
        stages: vec![v1::QuotedStage {
            stage: "prewash".to_owned(),
            allowance_us: 60 * MINUTE_US,
            quoted_us: hours * 60 * MINUTE_US,
            ..v1::QuotedStage::default()
        }],
        hands_on_half_us: hours * 60 * MINUTE_US,
        hands_on_p80_us: hours * 80 * MINUTE_US,
        price_minor: 42_000,
        cost_minor: 30_000,
        valid_until_us: now_us + 14 * 24 * 60 * MINUTE_US,
        ..v1::QuotePrinted::default()
    }
}

fn past_job(dice: &mut Dice) -> v1::PastJob {
    // Few keys, so that the same job comes again.
    let key = u8::try_from(dice.below(12)).unwrap();
    let whole = dice.below(2) == 0;
    let actual_us = (1 + i64::from(key)) * 30 * MINUTE_US;
    v1::PastJob {
        key: vec![key; 16],
        date: "2025-11-03".to_owned(),
        job_type: "trike-coat".to_owned(),
        actual_us: if whole { actual_us } else { 0 },
        stages: if whole {
            Vec::new()
        } else {
            vec![v1::PastStage {
                stage: "decon".to_owned(),
                actual_us,
                worker: "ana".to_owned(),
                ..v1::PastStage::default()
            }]
        },
        price: Some(euros(39_900)),
        ..v1::PastJob::default()
    }
}
