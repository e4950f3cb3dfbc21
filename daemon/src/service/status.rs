//! The one place that picks gRPC codes and stable machine reasons.

use std::collections::HashMap;
use std::time::Duration;

use baywright_proto::v1;
use tonic::{Code, Status};
use tonic_types::{ErrorDetails, FieldViolation, StatusExt as _};

use super::limits::{Bound, Over};
use crate::access::authority::AuthorityError;
use crate::access::devices::RoleWord;
use crate::access::gate::Rule;
use crate::access::joining::EnrolError;
use crate::access::{AccessError, Caller, Via};
use crate::journal::Refusal;
use crate::journal::follow::chain;

/// Whose reasons these are, in `google.rpc.ErrorInfo`.
pub const DOMAIN: &str = "baywright";

/// When a post that found the queue full is best sent again, milliseconds:
/// the writer empties a full queue in about that time on a usual disk.
const RETRY_AFTER_MS: u64 = 250;

/// Stable reasons, in `google.rpc.ErrorInfo.reason` and in `v1.Refusal.reason`.
pub mod reason {
    pub const UNREADABLE: &str = "UNREADABLE";
    pub const ID_REUSED: &str = "ID_REUSED";
    pub const OUT_OF_STEP: &str = "OUT_OF_STEP";
    pub const UNKNOWN_CODE: &str = "UNKNOWN_CODE";
    pub const QUEUE_FULL: &str = "QUEUE_FULL";
    pub const STOPPING: &str = "STOPPING";
    pub const READ_ONLY: &str = "READ_ONLY";
    pub const NOT_WRITTEN: &str = "NOT_WRITTEN";
    pub const FACTS_BEHIND: &str = "FACTS_BEHIND";
    pub const NO_SUCH_JOB: &str = "NO_SUCH_JOB";
    pub const NO_SUCH_QUOTE: &str = "NO_SUCH_QUOTE";
    pub const NO_SUCH_JOB_TYPE: &str = "NO_SUCH_JOB_TYPE";
    pub const NO_SUCH_STAGE: &str = "NO_SUCH_STAGE";
    pub const NOTHING_TO_QUOTE: &str = "NOTHING_TO_QUOTE";
    pub const JOB_NOT_OPEN: &str = "JOB_NOT_OPEN";
    pub const BAD_REQUEST: &str = "BAD_REQUEST";
    pub const TOO_MANY_EXPORTS: &str = "TOO_MANY_EXPORTS";
    pub const VERSION: &str = "VERSION";
    pub const TOO_SLOW: &str = "TOO_SLOW";
    pub const INTERNAL: &str = "INTERNAL";
    pub const NOT_PERMITTED: &str = "NOT_PERMITTED";
    pub const NOT_LET_IN: &str = "NOT_LET_IN";
    pub const NOT_INITIALISED: &str = "NOT_INITIALISED";
    pub const WRONG_CODE: &str = "WRONG_CODE";
    pub const NO_SUCH_DEVICE: &str = "NO_SUCH_DEVICE";
    pub const NAME_TAKEN: &str = "NAME_TAKEN";
    pub const NO_SUCH_METHOD: &str = "NO_SUCH_METHOD";
    pub const TOO_MANY_CODES: &str = "TOO_MANY_CODES";
    pub const TOO_MANY_CALLS: &str = "TOO_MANY_CALLS";
    pub const TOO_MANY_STREAMS: &str = "TOO_MANY_STREAMS";
    pub const TOO_BUSY: &str = "TOO_BUSY";
    pub const TOO_LARGE: &str = "TOO_LARGE";
}

/// The reasons for which a post is not kept.
pub const POST_REASONS: [&str; 9] = [
    reason::UNREADABLE,
    reason::ID_REUSED,
    reason::OUT_OF_STEP,
    reason::UNKNOWN_CODE,
    reason::QUEUE_FULL,
    reason::STOPPING,
    reason::READ_ONLY,
    reason::NOT_WRITTEN,
    reason::NOT_PERMITTED,
];

/// The stable reason of a refused post.
pub fn reason_of(refusal: &Refusal) -> &'static str {
    code_of(refusal).1
}

/// Code and reason of a refused post.
fn code_of(refusal: &Refusal) -> (Code, &'static str) {
    match refusal {
        Refusal::Unreadable(_) => (Code::InvalidArgument, reason::UNREADABLE),
        Refusal::IdReused { .. } => (Code::AlreadyExists, reason::ID_REUSED),
        Refusal::OutOfStep { .. } => (Code::FailedPrecondition, reason::OUT_OF_STEP),
        Refusal::UnknownCode(_) => (Code::InvalidArgument, reason::UNKNOWN_CODE),
        Refusal::NotPermitted { .. } => (Code::PermissionDenied, reason::NOT_PERMITTED),
        Refusal::QueueFull => (Code::ResourceExhausted, reason::QUEUE_FULL),
        // The bay keeps the post and sends it again: nothing is wrong with it.
        Refusal::Stopping => (Code::Unavailable, reason::STOPPING),
        Refusal::ReadOnly { .. } => (Code::Unavailable, reason::READ_ONLY),
        Refusal::NotWritten { .. } => (Code::Unavailable, reason::NOT_WRITTEN),
    }
}

/// The status of a refused post.
pub fn of_refusal(refusal: &Refusal) -> Status {
    let (code, reason) = code_of(refusal);
    let mut details = ErrorDetails::new();
    details.set_error_info(reason, DOMAIN, metadata(refusal));
    match refusal {
        Refusal::Unreadable(violations) => {
            let violations: Vec<FieldViolation> = violations
                .iter()
                .map(|violation| FieldViolation::new(&violation.field, &violation.mend))
                .collect();
            details.set_bad_request(violations);
        }
        Refusal::UnknownCode(codes) => {
            let violations: Vec<FieldViolation> = codes
                .iter()
                .map(|code| FieldViolation::new(&code.field, code.hint()))
                .collect();
            details.set_bad_request(violations);
        }
        Refusal::OutOfStep { held } => {
            details.add_precondition_failure_violation(
                reason,
                "previous_device_seq",
                format!("the daemon holds {held}"),
            );
        }
        Refusal::QueueFull | Refusal::NotWritten { .. } => {
            details.set_retry_info(Some(Duration::from_millis(RETRY_AFTER_MS)));
        }
        Refusal::IdReused { .. }
        | Refusal::NotPermitted { .. }
        | Refusal::Stopping
        | Refusal::ReadOnly { .. } => {}
    }
    Status::with_error_details(code, refusal.to_string(), details)
}

fn metadata(refusal: &Refusal) -> HashMap<String, String> {
    let mut metadata = HashMap::new();
    let mut put = |key: &str, value: String| {
        metadata.insert(key.to_owned(), value);
    };
    match refusal {
        Refusal::OutOfStep { held } => put("held_device_seq", held.to_string()),
        Refusal::IdReused { seq } => put("seq", seq.to_string()),
        Refusal::UnknownCode(codes) => {
            if let Some(first) = codes.first() {
                put("field", first.field.clone());
                put("what", first.what.to_string());
                put("code", first.code.clone());
                put("nearest", first.nearest.join(","));
            }
        }
        _ => {}
    }
    metadata
}

/// A refusal inside a stream of posts, which goes on.
pub fn refusal_message(event_id: Vec<u8>, refusal: &Refusal) -> v1::Refusal {
    let (code, reason) = code_of(refusal);
    let mut message = refusal.to_string();
    if let Some(hint) = refusal.hint() {
        message.push_str("; ");
        message.push_str(&hint);
    }
    v1::Refusal {
        event_id,
        grpc_code: code.into(),
        reason: reason.to_owned(),
        message,
        held_device_seq: match refusal {
            Refusal::OutOfStep { held } => *held,
            _ => 0,
        },
    }
}

/// A status of a call that is no post.
pub fn of(code: Code, reason: &str, message: impl Into<String>) -> Status {
    let details = ErrorDetails::with_error_info(reason, DOMAIN, HashMap::new());
    Status::with_error_details(code, message, details)
}

/// A field of a request that cannot be used.
pub fn bad_field(field: &str, message: impl Into<String>, mend: &str) -> Status {
    let mut details = ErrorDetails::with_error_info(reason::BAD_REQUEST, DOMAIN, HashMap::new());
    details.add_bad_request_violation(field, mend);
    Status::with_error_details(Code::InvalidArgument, message, details)
}

/// The daemon is going away; the caller can go on later where it was.
pub fn stopping() -> Status {
    of(
        Code::Unavailable,
        reason::STOPPING,
        "the daemon is stopping; ask again after the last seq that came",
    )
}

/// An export of the past keeps a fold of the log on the disk; another one waits.
pub fn past_exports_full() -> Status {
    of(
        Code::ResourceExhausted,
        reason::TOO_MANY_EXPORTS,
        "another export of the past is being written; ask again when it is done",
    )
}

/// When a call that was over a bound is best made again, milliseconds: by then
/// a device over its rate has some hundred calls again.
const OVER_RETRY_MS: u64 = 1_000;

/// More than there may be. Nothing is lost by it: a bay keeps what it posts.
pub fn over_bound(over: &Over) -> Status {
    let of = if over.in_all {
        "all devices together"
    } else {
        "one device"
    };
    let max = over.max;
    let (reason, message) = match over.bound {
        Bound::CallRate => (
            reason::TOO_MANY_CALLS,
            format!(
                "more than {max} calls in a second from {of}: make fewer, and send many posts in one stream"
            ),
        ),
        Bound::CallsOpen => (
            reason::TOO_MANY_CALLS,
            format!(
                "{max} calls of {of} are being answered, the most there may be: wait for some of them"
            ),
        ),
        Bound::PostStreams => (
            reason::TOO_MANY_STREAMS,
            format!(
                "{max} streams of posts of {of} are open, the most there may be: end one, the posts are kept meanwhile"
            ),
        ),
        Bound::Watches => (
            reason::TOO_MANY_STREAMS,
            format!("{max} watches of {of} are open, the most there may be: end one first"),
        ),
        Bound::Exports => (
            reason::TOO_MANY_STREAMS,
            format!(
                "{max} exports of {of} are being written, the most there may be: ask again when one is done"
            ),
        ),
        Bound::ReadsWaiting => (
            reason::TOO_BUSY,
            format!(
                "{max} questions wait for their turn, the most there may be: ask again in a moment"
            ),
        ),
        _ => (
            reason::TOO_MANY_CALLS,
            format!("over a bound of {max} for {of}: try again in a moment"),
        ),
    };
    let mut details = ErrorDetails::with_error_info(reason, DOMAIN, HashMap::new());
    details.set_retry_info(Some(Duration::from_millis(OVER_RETRY_MS)));
    Status::with_error_details(Code::ResourceExhausted, message, details)
}

/// A call that did not arrive whole, or could not be answered, in time.
pub fn call_too_slow() -> Status {
    of(
        Code::DeadlineExceeded,
        reason::TOO_SLOW,
        "the call took too long to arrive or to be answered: ask for less, or again",
    )
}

/// A stream on which nothing came for long.
pub fn stream_idle() -> Status {
    of(
        Code::DeadlineExceeded,
        reason::TOO_SLOW,
        "nothing came on this stream for long: send the posts that have no receipt again, each is kept once",
    )
}

/// Gives a status that the library made a reason and a way to mend it; one that
/// has a reason is left as it is.
pub fn with_reason(status: Status) -> Status {
    if status.get_error_details().error_info().is_some() {
        return status;
    }
    match status.code() {
        Code::OutOfRange => of(
            Code::OutOfRange,
            reason::TOO_LARGE,
            format!("{}: post it in parts, or ask for less", status.message()),
        ),
        Code::Unimplemented => of(
            Code::Unimplemented,
            reason::NO_SUCH_METHOD,
            "this daemon does not know that call: it is older than the caller",
        ),
        _ => status,
    }
}

/// Facts cannot answer yet, or not any more.
pub fn facts_behind(why: &str) -> Status {
    of(
        Code::Unavailable,
        reason::FACTS_BEHIND,
        format!("the figures are not as far as the log ({why}); posts are kept all the same"),
    )
}

/// A caller whose role does not go that far.
pub fn not_permitted(caller: &Caller, rule: Rule) -> Status {
    let who = match (&caller.via, caller.role) {
        (Via::Certificate { device, .. }, role) => format!("{device} is {}", role_words(role)),
        (_, role) => format!("you are let in as {}", role_words(role)),
    };
    let needed = match rule {
        Rule::OwnerHere => "only the owner at the server itself may do this",
        Rule::Owner => "only an owner's device may do this",
        Rule::Figures => "figures and prices are for an owner's or a viewer's device",
        Rule::Posting => "facts come from a bay's or an owner's device",
        Rule::Device | Rule::Anyone => "only a device with a certificate may do this",
    };
    of(
        Code::PermissionDenied,
        reason::NOT_PERMITTED,
        format!("{who}; {needed}"),
    )
}

fn role_words(role: v1::Role) -> &'static str {
    RoleWord::of(role).map_or("a stranger", RoleWord::with_article)
}

/// A user of the daemon's computer whom nobody let in.
pub fn not_let_in(user_id: u32) -> Status {
    of(
        Code::PermissionDenied,
        reason::NOT_LET_IN,
        format!(
            "user {user_id} of this computer was not let in: the owner does so with `baywrightd enrol NAME --role bay --user {user_id}`"
        ),
    )
}

/// A call that came past the doors of the daemon, which none does.
pub fn no_caller() -> Status {
    of(
        Code::Unauthenticated,
        reason::NOT_LET_IN,
        "nobody is known at the other end of this connection",
    )
}

/// A method that nobody decided on.
pub fn no_such_method(path: &str) -> Status {
    of(
        Code::Unimplemented,
        reason::NO_SUCH_METHOD,
        format!("this daemon has no method {path}"),
    )
}

/// Nobody can be let in before there is an authority.
pub fn not_initialised() -> Status {
    of(
        Code::FailedPrecondition,
        reason::NOT_INITIALISED,
        "there are no certificates yet: run `baywrightd init`, then start the daemon again",
    )
}

/// A one-time code that does not live, or never did.
pub fn wrong_code() -> Status {
    of(
        Code::PermissionDenied,
        reason::WRONG_CODE,
        "the code is not one that lives: it is good once, for 15 minutes and five tries; `baywrightd enrol` prints a new one",
    )
}

/// A signing request that cannot be signed.
pub fn bad_signing_request(error: &AuthorityError) -> Status {
    let cause = chain(error);
    if matches!(error, AuthorityError::Clock(_)) {
        return of(Code::FailedPrecondition, reason::INTERNAL, cause);
    }
    bad_field(
        "signing_request",
        format!("the signing request cannot be used: {cause}"),
        "send a PKCS #10 request in DER, signed with its own key",
    )
}

/// Something about the list of devices.
pub fn of_access(error: &AccessError) -> Status {
    let (code, reason) = match error {
        AccessError::NameTaken(_) => (Code::AlreadyExists, reason::NAME_TAKEN),
        AccessError::BadName(_) => (Code::InvalidArgument, reason::BAD_REQUEST),
        AccessError::NoSuchDevice(_) => (Code::NotFound, reason::NO_SUCH_DEVICE),
        _ => return internal("changing who is let in", error),
    };
    of(code, reason, error.to_string())
}

/// A code that could not be given out.
pub fn of_enrol(error: &EnrolError) -> Status {
    match error {
        EnrolError::NotInitialised => not_initialised(),
        EnrolError::Access(error) => of_access(error),
        EnrolError::TooMany => of(
            Code::ResourceExhausted,
            reason::TOO_MANY_CODES,
            error.to_string(),
        ),
        EnrolError::Port(..) => of(Code::Unavailable, reason::INTERNAL, chain(error)),
    }
}

/// A fault of ours: the trace has the cause, the caller a sentence.
pub fn internal(doing: &str, error: &dyn std::error::Error) -> Status {
    tracing::error!(error = %chain(error), doing, "a call failed");
    of(
        Code::Internal,
        reason::INTERNAL,
        format!("{doing} failed inside the daemon; its trace names the cause"),
    )
}
