//! What makes a row, as a message.

use baywright_proto::v1;
use baywright_report::figures::Week;
use baywright_report::{Why, WhyLine};

use super::us_or_zero;

pub(super) fn why(why: &Why, week: &Week) -> v1::Why {
    v1::Why {
        id: why.id.clone(),
        title: why.title.clone(),
        lines: why.lines.iter().map(line).collect(),
        total_us: why.total_us,
        total_minor: why.total_minor,
        total_amount: why.total.value(),
        unit: why.unit.as_str().to_owned(),
        currency: week.currency.clone(),
        zone: week.zone.clone(),
        formula: why.formula.clone(),
    }
}

fn line(line: &WhyLine) -> v1::WhyLine {
    v1::WhyLine {
        job_number: line.job_number.unwrap_or(0),
        handle: line.handle.clone(),
        stage: line.stage.to_string(),
        product: line.product.to_string(),
        text: line.text.clone(),
        from_us: us_or_zero(line.from),
        time_us: line.time_us,
        money_minor: line.money_minor,
        amount: line.amount.value(),
        seqs: line.seqs.iter().map(|seq| seq.0).collect(),
    }
}
