//! Logs of facts.

use baywright_proto::v1::{self, fact::Kind};
use prost::Message as _;

use super::fact;
use crate::food::{Food, NOW};

/// Records of the log: the catalogue of the example shop first, then facts as
/// the bytes say, each received a little after the one before.
pub fn records(food: &mut Food<'_>, records_max: usize) -> Vec<v1::Record> {
    let mut received_us = NOW.0 - 86_400_000_000;
    let first = v1::Fact {
        kind: Some(Kind::CatalogueSet(v1::CatalogueSet {
            valid_from_us: received_us,
            changed: Some(baywright_proto::catalogue::to_wire(
                &crate::targets::catalogue::example(),
            )),
            learned_up_to_seq: 0,
        })),
        ..v1::Fact::default()
    };
    let mut records = vec![record(
        1,
        received_us,
        received_us,
        &first.encode_to_vec(),
        0,
    )];
    let mut jobs = 0;
    while !food.is_empty() && records.len() < records_max {
        received_us += i64::from(food.byte()) * 60_000_000 + 1;
        let occurred_us = match food.byte() {
            0..=200 => received_us,
            201..=240 => received_us - i64::from(food.byte()) * 600_000_000,
            _ => food.instant().0,
        };
        let seq = u64::try_from(records.len()).unwrap_or(0) + 1;
        let (fact, is_opening) = if food.byte() < 250 {
            let fact = fact(food);
            let is_opening = matches!(fact.kind, Some(Kind::JobOpened(_)));
            (fact.encode_to_vec(), is_opening)
        } else {
            let length = food.below(64);
            (food.bytes(length).to_vec(), false)
        };
        jobs += u64::from(is_opening);
        let number = if is_opening { jobs } else { 0 };
        records.push(record(seq, received_us, occurred_us, &fact, number));
    }
    records
}

fn record(
    seq: u64,
    received_us: i64,
    occurred_us: i64,
    fact: &[u8],
    job_number: u64,
) -> v1::Record {
    let mut event_id = [7_u8; 16];
    event_id[15] = u8::try_from(seq % 250).unwrap_or(0);
    event_id[14] = u8::try_from(seq / 250 % 250).unwrap_or(0);
    v1::Record {
        seq,
        received_us,
        occurred_us,
        time_basis: v1::TimeBasis::Boot.into(),
        device: ["bay-1-aaaaaa", "bay-2-bbbbbb"][usize::from(seq.is_multiple_of(2))].to_owned(),
        event_id: event_id.to_vec(),
        device_seq: seq,
        job_number,
        fact: fact.to_vec(),
        ..v1::Record::default()
    }
}
