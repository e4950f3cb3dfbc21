//! Stored bytes into events of the floor. Total: whatever a bay of another
//! release sent is kept, as an unknown fact at worst.

use std::sync::Arc;

use baywright_floor::event::{Event, EventId, JobKey, JobRef, Position, Seq, TimeBasis};
use baywright_floor::fact::{
    AmbientRead, Answer, ContainerState, Declaration, Fact, Grades, JobOpened, LevelResult,
    ProductUsed, Settled, UseSource, Used,
};
use baywright_proto::amount::{
    amount_from_wire, money_from_wire, panel_from_wire, ratio_from_wire,
};
use baywright_proto::catalogue;
use baywright_proto::v1::{self, fact::Kind};
use baywright_terms::code::Code;
use baywright_terms::temperature::{MilliCelsius, MilliPercent};
use baywright_terms::time::Micros;
use prost::Message as _;

use super::Stored;

mod quotes;

/// Finds the job that had a number when the record was appended.
pub(crate) trait Numbers {
    type Error;

    /// The job that the log gave `number` before `seq`.
    fn job(&mut self, number: u64, seq: Seq) -> Result<Option<JobKey>, Self::Error>;
}

/// Bytes in an event id.
const ID_BYTES: usize = 16;

/// Decodes one entry of the log. `None` only for bytes that are no record at
/// all: the journal encoded them, so its chain is broken there.
pub(crate) fn event<N: Numbers>(
    stored: &Stored,
    numbers: &mut N,
) -> Result<Option<Event>, N::Error> {
    let Ok(record) = v1::Record::decode(stored.record.as_slice()) else {
        return Ok(None);
    };
    let seq = Seq(record.seq);
    let said = v1::Fact::decode(record.fact.as_slice()).unwrap_or_default();
    let job = job_ref(said.job.as_ref(), seq, numbers)?;
    let fact = match said.kind {
        Some(kind) => fact(kind, seq, numbers)?,
        None => Fact::Unknown,
    };
    let wall_us = record.delivery_clocks.as_ref().map(|clocks| clocks.wall_us);
    Ok(Some(Event {
        seq,
        // The journal takes ids of 16 bytes only.
        id: id(&record.event_id).unwrap_or(EventId([0; ID_BYTES])),
        position: Position {
            occurred: Micros(record.occurred_us),
            device: Arc::from(record.device.as_str()),
            device_seq: record.device_seq,
        },
        received: Micros(match record.first_received_us {
            0 => record.received_us,
            first_us => first_us,
        }),
        time_basis: match v1::TimeBasis::try_from(record.time_basis) {
            Ok(v1::TimeBasis::Boot) => TimeBasis::Boot,
            Ok(v1::TimeBasis::EarlierBoot) => TimeBasis::EarlierBoot,
            Ok(v1::TimeBasis::Stated) => TimeBasis::Stated,
            Ok(v1::TimeBasis::FirstReceipt) => TimeBasis::FirstReceipt,
            Ok(v1::TimeBasis::PresentOffset | v1::TimeBasis::Unspecified) | Err(_) => {
                TimeBasis::PresentOffset
            }
        },
        clock_offset_us: wall_us.map_or(0, |wall| wall.saturating_sub(record.received_us)),
        bay: Code::new(&said.bay),
        by: codes(&said.by),
        job,
        job_number: (record.job_number != 0).then_some(record.job_number),
        sent_again: record.first_received_us != 0,
        fact,
    }))
}

/// Decodes an entry of the log whose job numbers the caller knows; `None` for
/// bytes that are no record.
pub fn event_of(stored: &Stored, job: impl FnMut(u64) -> Option<JobKey>) -> Option<Event> {
    struct Known<F>(F);
    impl<F: FnMut(u64) -> Option<JobKey>> Numbers for Known<F> {
        type Error = std::convert::Infallible;

        fn job(&mut self, number: u64, _: Seq) -> Result<Option<JobKey>, Self::Error> {
            Ok((self.0)(number))
        }
    }
    match event(stored, &mut Known(job)) {
        Ok(event) => event,
    }
}

/// The word for a kind of fact in the event index; the names of the contract.
pub(crate) fn kind_word(fact: &Fact) -> &'static str {
    match fact {
        Fact::JobOpened(_) => "job_opened",
        Fact::JobMoved { .. } => "job_moved",
        Fact::JobReleased => "job_released",
        Fact::StageStarted { .. } => "stage_started",
        Fact::StagePaused { .. } => "stage_paused",
        Fact::StageResumed { .. } => "stage_resumed",
        Fact::StageFinished { .. } => "stage_finished",
        Fact::StageDeclared { .. } => "stage_declared",
        Fact::DwellStarted { .. } => "dwell_started",
        Fact::DwellEnded { .. } => "dwell_ended",
        Fact::AmbientRead(_) => "ambient_read",
        Fact::MixMade { .. } => "mix_made",
        Fact::MixDumped { .. } => "mix_dumped",
        Fact::ProductUsed(_) => "product_used",
        Fact::ProductRefilled { .. } => "product_refilled",
        Fact::PanelCoated { .. } => "panel_coated",
        Fact::PanelLevelled { .. } => "panel_levelled",
        Fact::PanelLamp { .. } => "panel_lamp",
        Fact::PanelCured { .. } => "panel_cured",
        Fact::SurfaceCovered { .. } => "surface_covered",
        Fact::FlawFound { .. } => "flaw_found",
        Fact::FlawRemedied { .. } => "flaw_remedied",
        Fact::StockReceived { .. } => "stock_received",
        Fact::StockCounted { .. } => "stock_counted",
        Fact::Noted { .. } | Fact::SetAside { .. } => "noted",
        Fact::StruckOut { .. } => "struck_out",
        Fact::Settled(_) => "settled",
        Fact::CatalogueSet { .. } => "catalogue_set",
        Fact::QuoteDrafted { .. } => "quote_drafted",
        Fact::QuoteRevised { .. } => "quote_revised",
        Fact::QuoteAccepted { .. } => "quote_accepted",
        Fact::QuoteDeclined { .. } => "quote_declined",
        Fact::PastRecorded { .. } => "past_recorded",
        Fact::Unknown => "unknown",
    }
}

fn fact<N: Numbers>(kind: Kind, seq: Seq, numbers: &mut N) -> Result<Fact, N::Error> {
    Ok(match kind {
        Kind::JobOpened(said) => Fact::JobOpened(job_opened(said, seq, numbers)?),
        Kind::Settled(said) => match settled(said, seq, numbers)? {
            Some(settled) => Fact::Settled(settled),
            None => Fact::Unknown,
        },
        Kind::JobMoved(said) => Fact::JobMoved {
            place: Code::new(&said.place),
        },
        Kind::JobReleased(_) => Fact::JobReleased,
        Kind::StruckOut(said) => match id(&said.event_id) {
            Some(event) => Fact::StruckOut {
                event,
                reason: said.reason,
            },
            None => Fact::Unknown,
        },
        Kind::Noted(said) if said.set_aside_event_id.is_empty() => Fact::Noted { text: said.text },
        Kind::Noted(said) => Fact::SetAside { text: said.text },
        Kind::CatalogueSet(said) => Fact::CatalogueSet {
            valid_from: Micros(said.valid_from_us),
            changed: Box::new(catalogue::from_wire(&said.changed.unwrap_or_default())),
            learned_up_to: (said.learned_up_to_seq != 0).then_some(Seq(said.learned_up_to_seq)),
        },
        Kind::QuoteDrafted(_)
        | Kind::QuoteRevised(_)
        | Kind::QuoteAccepted(_)
        | Kind::QuoteDeclined(_)
        | Kind::PastRecorded(_) => quotes::fact(kind),
        Kind::StageStarted(_)
        | Kind::StagePaused(_)
        | Kind::StageResumed(_)
        | Kind::StageFinished(_)
        | Kind::StageDeclared(_)
        | Kind::DwellStarted(_)
        | Kind::DwellEnded(_) => stage_fact(kind),
        Kind::AmbientRead(_)
        | Kind::MixMade(_)
        | Kind::MixDumped(_)
        | Kind::ProductUsed(_)
        | Kind::ProductRefilled(_)
        | Kind::StockReceived(_)
        | Kind::StockCounted(_) => product_fact(kind),
        Kind::PanelCoated(_)
        | Kind::PanelLevelled(_)
        | Kind::PanelLamp(_)
        | Kind::PanelCured(_)
        | Kind::SurfaceCovered(_)
        | Kind::FlawFound(_)
        | Kind::FlawRemedied(_) => panel_fact(kind),
    })
}

fn stage_fact(kind: Kind) -> Fact {
    match kind {
        Kind::StageStarted(said) => Fact::StageStarted {
            stage: Code::new(&said.stage),
            panels: codes(&said.panels),
            rework: said.rework,
        },
        Kind::StagePaused(said) => Fact::StagePaused {
            stage: Code::new(&said.stage),
            person: said.person,
            reason: said.reason,
        },
        Kind::StageResumed(said) => Fact::StageResumed {
            stage: Code::new(&said.stage),
        },
        Kind::StageFinished(said) => Fact::StageFinished {
            stage: Code::new(&said.stage),
            again: said.result() == v1::StageResult::Again,
        },
        Kind::StageDeclared(said) => Fact::StageDeclared {
            stage: Code::new(&said.stage),
            declaration: match said.declaration() {
                v1::Declaration::NotDone => Declaration::NotDone,
                v1::Declaration::DoneAbout => Declaration::DoneAbout {
                    about_us: said.about_us,
                },
                v1::Declaration::Unknown | v1::Declaration::Unspecified => Declaration::Unknown,
            },
        },
        Kind::DwellStarted(said) => Fact::DwellStarted {
            product: Code::new(&said.product),
            panels: codes(&said.panels),
        },
        Kind::DwellEnded(said) => Fact::DwellEnded {
            product: Code::new(&said.product),
            panels: codes(&said.panels),
        },
        _ => Fact::Unknown,
    }
}

fn product_fact(kind: Kind) -> Fact {
    match kind {
        Kind::AmbientRead(said) => Fact::AmbientRead(AmbientRead {
            air: MilliCelsius(said.air_milli_c),
            humidity: MilliPercent(said.humidity_milli_pct),
            surface: said.surface_milli_c.map(MilliCelsius),
            sensor: said.source() == v1::ReadingSource::Sensor,
        }),
        Kind::MixMade(said) => Fact::MixMade {
            product: Code::new(&said.product),
            ratio: said.ratio.as_ref().and_then(ratio_from_wire),
            volume: said.volume.as_ref().and_then(amount_from_wire),
            additions: said
                .additions
                .iter()
                .map(|added| {
                    let amount = added.amount.as_ref().and_then(amount_from_wire);
                    (Code::new(&added.product), amount)
                })
                .collect(),
        },
        Kind::MixDumped(said) => Fact::MixDumped {
            product: Code::new(&said.product),
            mix: id(&said.mix_event_id),
            amount: said.amount.as_ref().and_then(amount_from_wire),
        },
        Kind::ProductUsed(said) => Fact::ProductUsed(product_used(said)),
        Kind::ProductRefilled(said) => Fact::ProductRefilled {
            state: match said.state() {
                v1::ContainerState::Opened => ContainerState::Opened,
                v1::ContainerState::Empty => ContainerState::Empty,
                v1::ContainerState::Refilled | v1::ContainerState::Unspecified => {
                    ContainerState::Refilled
                }
            },
            product: Code::new(&said.product),
            amount: said.amount.as_ref().and_then(amount_from_wire),
            lot: said.lot,
        },
        Kind::StockReceived(said) => Fact::StockReceived {
            product: Code::new(&said.product),
            packs: said.packs,
            pack: said.pack.as_ref().and_then(amount_from_wire),
            price: said.price.as_ref().map(money_from_wire),
            lot: said.lot,
        },
        Kind::StockCounted(said) => Fact::StockCounted {
            product: Code::new(&said.product),
            amount: said.amount.as_ref().and_then(amount_from_wire),
        },
        _ => Fact::Unknown,
    }
}

fn product_used(said: v1::ProductUsed) -> ProductUsed {
    let used = match &said.quantity {
        Some(v1::product_used::Quantity::Amount(amount)) => {
            amount_from_wire(amount).map(Used::Amount)
        }
        Some(v1::product_used::Quantity::Weighing(scale)) => scale
            .before
            .as_ref()
            .and_then(amount_from_wire)
            .zip(scale.after.as_ref().and_then(amount_from_wire))
            .map(|(before, after)| Used::Weighed(before, after)),
        None => None,
    };
    ProductUsed {
        product: Code::new(&said.product),
        used: used.unwrap_or(Used::Unsaid),
        panels: codes(&said.panels),
        source: match said.source() {
            v1::UseSource::Neat => UseSource::Neat,
            v1::UseSource::Mix => UseSource::Mix,
            v1::UseSource::Unspecified => UseSource::Unsaid,
        },
        lot: said.lot,
    }
}

fn panel_fact(kind: Kind) -> Fact {
    match kind {
        Kind::PanelCoated(said) => Fact::PanelCoated {
            panel: Code::new(&said.panel),
            section: said.section,
            product: Code::new(&said.product),
            lot: said.lot,
            layer: said.layer,
        },
        Kind::PanelLevelled(said) => Fact::PanelLevelled {
            panel: Code::new(&said.panel),
            section: said.section,
            result: match said.result() {
                v1::LevelResult::Smeared => LevelResult::Smeared,
                v1::LevelResult::HighSpot => LevelResult::HighSpot,
                v1::LevelResult::Clean | v1::LevelResult::Unspecified => LevelResult::Clean,
            },
            amends: said.amends,
        },
        Kind::PanelLamp(said) => Fact::PanelLamp {
            panel: Code::new(&said.panel),
            duration_us: said.duration_us,
            surface: said.surface_milli_c.map(MilliCelsius),
        },
        Kind::PanelCured(said) => Fact::PanelCured {
            panel: Code::new(&said.panel),
        },
        Kind::SurfaceCovered(said) => Fact::SurfaceCovered {
            finish: Code::new(&said.finish),
            panel: Code::new(&said.panel),
            left_out: said.cover() == v1::CoverKind::LeftOut,
        },
        Kind::FlawFound(said) => Fact::FlawFound {
            panel: Code::new(&said.panel),
            flaw: said.flaw,
            existing: said.existing,
            photo: said.photo,
        },
        Kind::FlawRemedied(said) => Fact::FlawRemedied {
            panel: Code::new(&said.panel),
            flaw: said.flaw,
            found: id(&said.flaw_event_id),
        },
        _ => Fact::Unknown,
    }
}

fn job_opened<N: Numbers>(
    said: v1::JobOpened,
    seq: Seq,
    numbers: &mut N,
) -> Result<JobOpened, N::Error> {
    let comeback_of = match job_ref(said.comeback_of.as_ref(), seq, numbers)? {
        JobRef::Here => None,
        named => Some(named),
    };
    Ok(JobOpened {
        job_type: Code::new(&said.job_type),
        vehicle: said.vehicle,
        vehicle_class: Code::new(&said.vehicle_class),
        grades: grades(said.grades.as_ref()),
        panels: said.panels.iter().map(panel_from_wire).collect(),
        repaint_age_days: said.repaint_age_days,
        comeback_of,
        handle: said.handle,
        agreed: said.agreed.as_ref().map(money_from_wire),
        quote: id(&said.quote_event_id),
    })
}

/// A settlement that names no event, or whose answer is of a newer release, is
/// kept as an unknown fact.
fn settled<N: Numbers>(
    said: v1::Settled,
    seq: Seq,
    numbers: &mut N,
) -> Result<Option<Settled>, N::Error> {
    use v1::settled::Answer as Said;
    let answer = match said.answer {
        Some(Said::AsIs(_)) => Answer::AsIs,
        Some(Said::EndUs(end_us)) => Answer::End(Micros(end_us)),
        Some(Said::Code(code)) => Answer::Code(Code::new(&code)),
        Some(Said::Job(job)) => Answer::Job(job_ref(Some(&job), seq, numbers)?),
        Some(Said::TookUs(took_us)) => Answer::Took { took_us },
        Some(Said::LeaveOut(_)) => Answer::LeaveOut,
        Some(Said::NotDone(_)) => Answer::NotDone,
        Some(Said::BreakOff(_)) => Answer::BreakOff,
        None => return Ok(None),
    };
    Ok(id(&said.event_id).map(|event| Settled {
        event,
        reason: said.reason,
        answer,
        question: said.question,
        of: said.of,
    }))
}

/// A reference that names nothing readable counts as an unknown number, so
/// that its fact is asked about rather than put on whatever job is there.
fn job_ref<N: Numbers>(
    said: Option<&v1::JobRef>,
    seq: Seq,
    numbers: &mut N,
) -> Result<JobRef, N::Error> {
    Ok(match said.and_then(|said| said.job.as_ref()) {
        None => JobRef::Here,
        Some(v1::job_ref::Job::Number(number)) => match numbers.job(*number, seq)? {
            Some(job) => JobRef::Job(job),
            None => JobRef::UnknownNumber(*number),
        },
        Some(v1::job_ref::Job::OpeningEventId(bytes)) => {
            id(bytes).map_or(JobRef::UnknownNumber(0), JobRef::Job)
        }
    })
}

/// An event id, where the bytes are one.
pub(crate) fn id(bytes: &[u8]) -> Option<EventId> {
    <[u8; ID_BYTES]>::try_from(bytes).ok().map(EventId)
}

fn codes(said: &[String]) -> Vec<Code> {
    said.iter().map(|code| Code::new(code)).collect()
}

/// A grade outside 1 to 5 is no grade.
fn grade(said: u32) -> u8 {
    u8::try_from(said)
        .ok()
        .filter(|grade| (1..=5).contains(grade))
        .unwrap_or(0)
}

fn grades(said: Option<&v1::Grades>) -> Grades {
    let said = said.copied().unwrap_or_default();
    Grades {
        soil: grade(said.soil),
        defects: grade(said.defects),
        intricacy: grade(said.intricacy),
    }
}
