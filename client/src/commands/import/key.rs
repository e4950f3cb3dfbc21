//! The key of a past job: the first 16 bytes of the SHA-256 of what it says.
//!
//! Hashed is UTF-8 text of these lines, each ended by a line feed; a line
//! whose value is empty or nothing is left out. Spans are microseconds,
//! amounts nanolitres, micrograms or thousandths of a piece, money minor units.
//! Lines of stages stand in the order of their text, and so do those of uses.
//!
//! ```text
//! baywright past job 1
//! job 2025-117
//! date 2025-03-24
//! type trike-coat
//! class three-wheeler
//! vehicle red one
//! grades 4 2 5
//! quoted 32400000000
//! actual 38100000000
//! price 48000 EUR
//! stage polish 9000000000 10500000000 ana
//! use iron-remover volume 350000000
//! ```
//!
//! `job` is the shop's own number of the job where the table has one. A
//! stage says quoted, actual and worker, `-` where nobody is named. So the key
//! follows from what the job says and not from the file, its columns or its
//! order; a job that says something else is another job.

use std::fmt::Write as _;

use baywright_proto::amount::amount_from_wire;
use baywright_proto::v1;
use baywright_terms::amount::Quantity;
use sha2::{Digest as _, Sha256};

/// Bytes of the hash that are the key: as many as an event id has.
const KEY_BYTES: usize = 16;

/// The key of a job whose own number is `name`.
pub(super) fn key(name: &str, job: &v1::PastJob) -> Vec<u8> {
    let hash = Sha256::digest(text(name, job).as_bytes());
    hash.iter().copied().take(KEY_BYTES).collect()
}

fn text(name: &str, job: &v1::PastJob) -> String {
    let mut out = String::from("baywright past job 1\n");
    let mut line = |what: &str, value: &str| {
        if !value.is_empty() && value != "0" {
            let _ = writeln!(out, "{what} {value}");
        }
    };
    let grades = job.grades.unwrap_or_default();
    line("job", name);
    line("date", &job.date);
    line("type", &job.job_type);
    line("class", &job.vehicle_class);
    line("vehicle", &job.vehicle);
    if grades != v1::Grades::default() {
        let v1::Grades {
            soil,
            defects,
            intricacy,
        } = grades;
        line("grades", &format!("{soil} {defects} {intricacy}"));
    }
    line("quoted", &job.quoted_us.to_string());
    line("actual", &job.actual_us.to_string());
    if let Some(price) = &job.price {
        line(
            "price",
            &format!("{} {}", price.price_minor, price.currency),
        );
    }
    let mut stages: Vec<String> = job.stages.iter().map(stage).collect();
    stages.sort_unstable();
    let mut uses: Vec<String> = job.uses.iter().map(used).collect();
    uses.sort_unstable();
    for text in stages.iter().chain(&uses) {
        out.push_str(text);
    }
    out
}

fn stage(stage: &v1::PastStage) -> String {
    let worker = if stage.worker.is_empty() {
        "-"
    } else {
        &stage.worker
    };
    format!(
        "stage {} {} {} {worker}\n",
        stage.stage, stage.quoted_us, stage.actual_us
    )
}

fn used(used: &v1::PastUse) -> String {
    let quantity = used.amount.as_ref().and_then(amount_from_wire);
    let (dimension, number) = match quantity.map(|amount| amount.quantity()) {
        Some(Quantity::Volume(volume)) => ("volume", volume.0),
        Some(Quantity::Mass(mass)) => ("mass", mass.0),
        Some(Quantity::Count(count)) => ("count", count.0),
        None => ("none", 0),
    };
    format!("use {} {dimension} {number}\n", used.product)
}

#[cfg(test)]
mod tests {
    use baywright_proto::amount::amount_to_wire;
    use baywright_terms::amount::Amount;
    use baywright_terms::catalogue::UnitSystem;

    use super::*;

    fn job() -> v1::PastJob {
        let used = |product: &str, amount: &str| v1::PastUse {
            product: product.to_owned(),
            amount: Some(amount_to_wire(
                &Amount::parse(amount, UnitSystem::Metric).unwrap(),
            )),
        };
        let stage = |stage: &str, worker: &str| v1::PastStage {
            stage: stage.to_owned(),
            quoted_us: 9_000_000_000,
            actual_us: 10_500_000_000,
            worker: worker.to_owned(),
        };
        v1::PastJob {
            key: Vec::new(),
            date: "2025-03-24".to_owned(),
            job_type: "trike-coat".to_owned(),
            vehicle: "red one".to_owned(),
            vehicle_class: String::new(),
            grades: Some(v1::Grades {
                soil: 4,
                defects: 2,
                intricacy: 5,
            }),
            quoted_us: 0,
            actual_us: 0,
            stages: vec![stage("polish", "ana"), stage("coat", "")],
            uses: vec![used("iron-remover", "0.35 l")],
            price: Some(v1::Money {
                price_minor: 48_000,
                currency: "EUR".to_owned(),
            }),
        }
    }

    #[test]
    fn the_hashed_text_is_that_of_the_recipe() {
        insta::assert_snapshot!(text("2025-117", &job()), @"
        baywright past job 1
        job 2025-117
        date 2025-03-24
        type trike-coat
        vehicle red one
        grades 4 2 5
        price 48000 EUR
        stage coat 9000000000 10500000000 -
        stage polish 9000000000 10500000000 ana
        use iron-remover volume 350000000
        ");
        // The beginning of what `sha256sum` gives for the text above.
        let hex = key("2025-117", &job())
            .iter()
            .fold(String::new(), |hex, byte| hex + &format!("{byte:02x}"));
        assert_eq!(hex, "6f5d3ba54981157c32b1c799f94cbfdc");
    }

    #[test]
    fn the_order_of_rows_and_the_spelling_of_amounts_do_not_matter_and_what_is_said_does() {
        let mut other = job();
        other.stages.reverse();
        other.uses[0].amount = Some(amount_to_wire(
            &Amount::parse("350ml", UnitSystem::Metric).unwrap(),
        ));
        assert_eq!(key("", &job()), key("", &other));
        assert_ne!(key("", &job()), key("7", &job()));
        other.stages[0].actual_us += 1;
        assert_ne!(key("", &job()), key("", &other));
    }
}
