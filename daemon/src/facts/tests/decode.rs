//! Decoding is total, and names every kind of the contract.

use std::convert::Infallible;

use baywright_floor::event::{Event, EventId, JobKey, JobRef, Seq, TimeBasis};
use baywright_floor::fact::Fact;
use baywright_proto::v1::{self, fact::Kind};
use proptest::prelude::*;
use prost::Message as _;

use crate::facts::{Stored, decode};

/// Job 118, opened at seq 50.
struct Known;

const JOB_118: EventId = EventId([8; 16]);

impl decode::Numbers for Known {
    type Error = Infallible;

    fn job(&mut self, number: u64, seq: Seq) -> Result<Option<JobKey>, Infallible> {
        Ok((number == 118 && seq > Seq(50)).then_some(JOB_118))
    }
}

fn decoded(record: &v1::Record) -> Event {
    let stored = Stored {
        seq: record.seq,
        record: record.encode_to_vec(),
    };
    let Ok(event) = decode::event(&stored, &mut Known);
    event.expect("a record")
}

fn record(fact: &v1::Fact) -> v1::Record {
    v1::Record {
        seq: 60,
        received_us: 2_000,
        occurred_us: 1_000,
        time_basis: v1::TimeBasis::EarlierBoot.into(),
        device: "bay-1".to_owned(),
        event_id: vec![9; 16],
        device_seq: 4,
        delivery_clocks: Some(v1::Clocks {
            wall_us: 5_000,
            ..v1::Clocks::default()
        }),
        job_number: 7,
        fact: fact.encode_to_vec(),
        ..v1::Record::default()
    }
}

#[test]
fn the_record_around_a_fact_is_taken_over() {
    let event = decoded(&record(&v1::Fact {
        bay: "bay-2".to_owned(),
        by: vec!["ana".to_owned()],
        ..v1::Fact::default()
    }));
    assert_eq!(event.seq, Seq(60));
    assert_eq!(event.id, EventId([9; 16]));
    assert_eq!(event.position.occurred.0, 1_000);
    assert_eq!(&*event.position.device, "bay-1");
    assert_eq!(event.position.device_seq, 4);
    assert_eq!(event.time_basis, TimeBasis::EarlierBoot);
    assert_eq!(event.clock_offset_us, 3_000);
    assert_eq!(event.job_number, Some(7));
    assert_eq!(event.bay.as_str(), "bay-2");
    assert_eq!(event.fact, Fact::Unknown);
}

#[test]
fn a_job_is_named_by_the_numbers_known_then() {
    use v1::job_ref::Job::{Number, OpeningEventId};

    let named = |job: Option<v1::job_ref::Job>, seq| {
        let mut record = record(&v1::Fact {
            job: Some(v1::JobRef { job }),
            ..v1::Fact::default()
        });
        record.seq = seq;
        decoded(&record).job
    };
    assert_eq!(named(Some(Number(118)), 60), JobRef::Job(JOB_118));
    assert_eq!(named(Some(Number(118)), 50), JobRef::UnknownNumber(118));
    assert_eq!(named(Some(Number(119)), 60), JobRef::UnknownNumber(119));
    assert_eq!(named(None, 60), JobRef::Here);
    let id = OpeningEventId(vec![3; 16]);
    assert_eq!(named(Some(id), 60), JobRef::Job(EventId([3; 16])));
    let odd = OpeningEventId(vec![3; 5]);
    assert_eq!(named(Some(odd), 60), JobRef::UnknownNumber(0));
}

#[test]
fn every_kind_is_known_by_its_word() {
    let id = vec![1; 16];
    let kinds: Vec<(Kind, &str)> = vec![
        (Kind::JobOpened(v1::JobOpened::default()), "job_opened"),
        (Kind::JobMoved(v1::JobMoved::default()), "job_moved"),
        (
            Kind::JobReleased(v1::JobReleased::default()),
            "job_released",
        ),
        (
            Kind::StageStarted(v1::StageStarted::default()),
            "stage_started",
        ),
        (
            Kind::StagePaused(v1::StagePaused::default()),
            "stage_paused",
        ),
        (
            Kind::StageResumed(v1::StageResumed::default()),
            "stage_resumed",
        ),
        (
            Kind::StageFinished(v1::StageFinished::default()),
            "stage_finished",
        ),
        (
            Kind::StageDeclared(v1::StageDeclared::default()),
            "stage_declared",
        ),
        (
            Kind::DwellStarted(v1::DwellStarted::default()),
            "dwell_started",
        ),
        (Kind::DwellEnded(v1::DwellEnded::default()), "dwell_ended"),
        (
            Kind::AmbientRead(v1::AmbientRead::default()),
            "ambient_read",
        ),
        (Kind::MixMade(v1::MixMade::default()), "mix_made"),
        (Kind::MixDumped(v1::MixDumped::default()), "mix_dumped"),
        (
            Kind::ProductUsed(v1::ProductUsed::default()),
            "product_used",
        ),
        (
            Kind::ProductRefilled(v1::ProductRefilled::default()),
            "product_refilled",
        ),
        (
            Kind::PanelCoated(v1::PanelCoated::default()),
            "panel_coated",
        ),
        (
            Kind::PanelLevelled(v1::PanelLevelled::default()),
            "panel_levelled",
        ),
        (Kind::PanelLamp(v1::PanelLamp::default()), "panel_lamp"),
        (Kind::PanelCured(v1::PanelCured::default()), "panel_cured"),
        (
            Kind::SurfaceCovered(v1::SurfaceCovered::default()),
            "surface_covered",
        ),
        (Kind::FlawFound(v1::FlawFound::default()), "flaw_found"),
        (
            Kind::FlawRemedied(v1::FlawRemedied::default()),
            "flaw_remedied",
        ),
        (
            Kind::StockReceived(v1::StockReceived::default()),
            "stock_received",
        ),
        (
            Kind::StockCounted(v1::StockCounted::default()),
            "stock_counted",
        ),
        (Kind::Noted(v1::Noted::default()), "noted"),
        (
            Kind::StruckOut(v1::StruckOut {
                event_id: id.clone(),
                ..v1::StruckOut::default()
            }),
            "struck_out",
        ),
        (
            Kind::Settled(v1::Settled {
                event_id: id,
                answer: Some(v1::settled::Answer::AsIs(true)),
                ..v1::Settled::default()
            }),
            "settled",
        ),
        (
            Kind::CatalogueSet(v1::CatalogueSet::default()),
            "catalogue_set",
        ),
    ];
    for (kind, word) in kinds {
        let event = decoded(&record(&v1::Fact {
            kind: Some(kind),
            ..v1::Fact::default()
        }));
        assert_eq!(decode::kind_word(&event.fact), word);
    }
}

#[test]
fn a_strike_or_settlement_of_nothing_is_kept_as_unknown() {
    for kind in [
        Kind::StruckOut(v1::StruckOut::default()),
        Kind::Settled(v1::Settled::default()),
        Kind::Settled(v1::Settled {
            event_id: vec![1; 16],
            ..v1::Settled::default()
        }),
    ] {
        let event = decoded(&record(&v1::Fact {
            kind: Some(kind),
            ..v1::Fact::default()
        }));
        assert_eq!(event.fact, Fact::Unknown);
    }
}

proptest! {
    #[test]
    fn any_bytes_are_a_fact(bytes in proptest::collection::vec(any::<u8>(), 0..200)) {
        let mut record = record(&v1::Fact::default());
        record.fact = bytes;
        let event = decoded(&record);
        prop_assert_eq!(event.seq, Seq(60));
    }

    #[test]
    fn a_field_of_a_newer_release_does_not_hide_the_fact(value in any::<u32>()) {
        let mut record = record(&v1::Fact {
            kind: Some(Kind::Noted(v1::Noted { text: "kept".to_owned(), ..v1::Noted::default() })),
            ..v1::Fact::default()
        });
        // Field 3000 as a varint, which this build does not know.
        prost::encoding::uint32::encode(3_000, &value, &mut record.fact);
        prop_assert_eq!(decoded(&record).fact, Fact::Noted { text: "kept".to_owned() });
    }
}
