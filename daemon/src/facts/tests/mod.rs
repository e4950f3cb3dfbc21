//! Facts against the model in memory, against a rebuild, and against mishaps.

mod again;
mod catalogue;
mod decode;
mod export;
mod learning;
mod live;
mod log;
mod mishaps;
mod office;
mod reads;
mod shop;
mod speed;
mod touched;
mod views;
mod why;

use baywright_proto::v1;
use prost::Message as _;

use super::Stored;

/// A record of a device of its own.
fn shop_record(seq: u64, event_id: [u8; 16], fact: &v1::Fact, occurred_us: i64) -> Stored {
    let record = v1::Record {
        seq,
        received_us: occurred_us,
        occurred_us,
        time_basis: v1::TimeBasis::Boot.into(),
        device: "counter".to_owned(),
        event_id: event_id.to_vec(),
        device_seq: seq,
        fact: fact.encode_to_vec(),
        ..v1::Record::default()
    };
    Stored {
        seq,
        record: record.encode_to_vec(),
    }
}
