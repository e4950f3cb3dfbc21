//! Reading a post: what must hold before it can be kept at all.

use baywright_proto::bounds;
use baywright_proto::v1::{self, fact::Kind};
use prost::Message as _;
use prost::encoding::{DecodeContext, decode_key, skip_field};

use super::refusal::{Refusal, Violation};

pub use baywright_proto::bounds::FACT_BYTES_MAX;

/// Longest name of a device or boot, bytes: they are keys of the log's index.
pub const NAME_BYTES_MAX: usize = 64;

/// First field number of the kinds of fact in `fact.proto`.
const FIRST_KIND: u32 = 20;

/// A post with the device and role it was authenticated as.
#[derive(Debug, Clone, PartialEq)]
pub struct Intake {
    pub post: v1::Post,
    pub device: String,
    pub role: v1::Role,
}

/// What could be read of a post.
#[derive(Debug, Clone, PartialEq)]
pub struct Readable {
    pub event_id: [u8; 16],
    /// `kind` is unset for a kind of a newer release.
    pub fact: v1::Fact,
}

/// Reads a post, or lists everything that is wrong with it.
pub fn read(intake: &Intake) -> Result<Readable, Refusal> {
    let post = &intake.post;
    let mut wrong = Vec::new();
    let event_id = <[u8; 16]>::try_from(post.event_id.as_slice())
        .ok()
        .filter(|id| *id != [0; 16]);
    if event_id.is_none() {
        wrong.push(Violation::new(
            "event_id",
            format!(
                "has {} bytes: give the 16 bytes of a UUID version 7 made for this post alone",
                post.event_id.len()
            ),
        ));
    }
    if intake.device.is_empty() || intake.device.len() > NAME_BYTES_MAX {
        wrong.push(Violation::new(
            "device",
            format!("give the name of the device, 1 to {NAME_BYTES_MAX} bytes"),
        ));
    }
    if post.device_seq == 0 || i64::try_from(post.device_seq).is_err() {
        wrong.push(Violation::new(
            "device_seq",
            "give a number from 1 to 9223372036854775807 that grows with each post of the device",
        ));
    }
    if post
        .delivery_clocks
        .as_ref()
        .is_some_and(|clocks| clocks.boot_id.len() > NAME_BYTES_MAX)
    {
        wrong.push(Violation::new(
            "delivery_clocks.boot_id",
            format!("is longer than {NAME_BYTES_MAX} bytes"),
        ));
    }
    let fact = match read_fact(&post.fact) {
        Ok(fact) => Some(fact),
        Err(violation) => {
            wrong.push(violation);
            None
        }
    };
    match (event_id, fact) {
        (Some(event_id), Some(fact)) if wrong.is_empty() => {
            wrong.extend(wrong_within(&fact));
            if !wrong.is_empty() {
                return Err(Refusal::Unreadable(wrong));
            }
            match owners_alone(&fact) {
                Some(what) if intake.role != v1::Role::Owner => Err(Refusal::NotPermitted { what }),
                _ => Ok(Readable { event_id, fact }),
            }
        }
        _ => Err(Refusal::Unreadable(wrong)),
    }
}

/// What only the owner says, in words: prices, promises, and what a record means.
fn owners_alone(fact: &v1::Fact) -> Option<&'static str> {
    match fact.kind.as_ref()? {
        Kind::CatalogueSet(_) => Some("change the catalogue"),
        Kind::QuoteDrafted(_)
        | Kind::QuoteRevised(_)
        | Kind::QuoteAccepted(_)
        | Kind::QuoteDeclined(_) => Some("make quotes"),
        Kind::Settled(_) => Some("settle odd records"),
        Kind::PastRecorded(_) => Some("bring in jobs from before the log"),
        _ => None,
    }
}

fn read_fact(bytes: &[u8]) -> Result<v1::Fact, Violation> {
    if bytes.len() > FACT_BYTES_MAX {
        return Err(Violation::new(
            "fact",
            format!(
                "has {} bytes, the most is {FACT_BYTES_MAX}: post it in parts",
                bytes.len()
            ),
        ));
    }
    let fact = v1::Fact::decode(bytes).map_err(|error| {
        Violation::new(
            "fact",
            format!("is not a serialised baywright.v1.Fact ({error}): build it from fact.proto"),
        )
    })?;
    if fact.kind.is_none() && !(fact.clocks.is_some() && holds_a_kind(bytes)) {
        return Err(Violation::new(
            "fact.kind",
            "says nothing that happened: set one of the kinds of fact.proto",
        ));
    }
    Ok(fact)
}

/// Tells whether a readable message has a field numbered as kinds are. Where
/// the generated code found no kind, that is a kind of a newer release, and it
/// is kept as it came.
fn holds_a_kind(mut bytes: &[u8]) -> bool {
    while !bytes.is_empty() {
        let Ok((number, wire_type)) = decode_key(&mut bytes) else {
            return false;
        };
        if number >= FIRST_KIND {
            return true;
        }
        if skip_field(wire_type, number, &mut bytes, DecodeContext::default()).is_err() {
            return false;
        }
    }
    false
}

/// Event ids inside a fact that cannot be event ids, and what is over its bound.
fn wrong_within(fact: &v1::Fact) -> Vec<Violation> {
    let mut wrong = Vec::new();
    let mut check = |field: &'static str, id: &[u8], may_be_empty: bool| {
        if id.len() != 16 && !(may_be_empty && id.is_empty()) {
            let expected = "give the 16 bytes of the event's id";
            wrong.push(Violation::new(
                field,
                format!("has {} bytes: {expected}", id.len()),
            ));
        }
    };
    if let Some(v1::job_ref::Job::OpeningEventId(id)) = named(fact.job.as_ref()) {
        check("fact.job.opening_event_id", id, false);
    }
    match &fact.kind {
        Some(Kind::StruckOut(struck)) => check("fact.struck_out.event_id", &struck.event_id, false),
        Some(Kind::Settled(settled)) => check("fact.settled.event_id", &settled.event_id, false),
        Some(Kind::MixDumped(dumped)) => {
            check("fact.mix_dumped.mix_event_id", &dumped.mix_event_id, true);
        }
        Some(Kind::FlawRemedied(remedied)) => check(
            "fact.flaw_remedied.flaw_event_id",
            &remedied.flaw_event_id,
            true,
        ),
        Some(Kind::QuoteRevised(said)) => {
            check(
                "fact.quote_revised.quote_event_id",
                &said.quote_event_id,
                false,
            );
        }
        Some(Kind::QuoteAccepted(said)) => {
            check(
                "fact.quote_accepted.quote_event_id",
                &said.quote_event_id,
                false,
            );
        }
        Some(Kind::QuoteDeclined(said)) => {
            check(
                "fact.quote_declined.quote_event_id",
                &said.quote_event_id,
                false,
            );
        }
        Some(Kind::PastRecorded(said)) => {
            for job in &said.jobs {
                check("fact.past_recorded.jobs.key", &job.key, false);
            }
        }
        Some(Kind::JobOpened(opened)) => {
            check(
                "fact.job_opened.quote_event_id",
                &opened.quote_event_id,
                true,
            );
            if let Some(v1::job_ref::Job::OpeningEventId(id)) = named(opened.comeback_of.as_ref()) {
                check("fact.job_opened.comeback_of.opening_event_id", id, false);
            }
        }
        _ => {}
    }
    // What is longer than anything a person says.
    for over in bounds::over(fact) {
        if wrong.iter().all(|wrong| wrong.field != over.field) {
            wrong.push(Violation::new(over.field, over.mend));
        }
    }
    wrong
}

/// What a job reference says, if anything.
pub(crate) fn named(job: Option<&v1::JobRef>) -> Option<&v1::job_ref::Job> {
    job.and_then(|job| job.job.as_ref())
}
