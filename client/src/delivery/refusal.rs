//! What the daemon's refusal of a post means for the spool.

use baywright_proto::v1;
use tonic::{Code, Status};
use tonic_types::StatusExt as _;

use crate::error::{Error, Kind, reason};

/// What to do with a post that was not taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cause {
    /// The daemon was not reached, or cannot take it now: it stays and goes out again.
    Later,
    /// The daemon holds this number of the device.
    OutOfStep {
        /// `None` where the answer did not say it: Hello does.
        held: Option<u64>,
    },
    /// The daemon cannot read it.
    Unreadable,
    /// Read, and refused: an unknown code, or an event id used for another fact.
    Refused,
    /// The daemon does not let this caller post it.
    NotPermitted,
}

/// A post that was not taken.
#[derive(Debug, Clone)]
pub struct Refused {
    pub cause: Cause,
    pub error: Error,
    /// No answer came: a command at which a person stands does not ask again.
    pub is_silence: bool,
    reason: String,
}

impl Refused {
    /// It stays in the spool and goes out later.
    pub fn later(error: Error) -> Self {
        Self {
            cause: Cause::Later,
            error,
            is_silence: false,
            reason: String::new(),
        }
    }

    /// No answer came within the time, or the connection broke off.
    pub fn silence(error: Error) -> Self {
        Self {
            is_silence: true,
            ..Self::later(error)
        }
    }

    /// A call that failed as a whole: the daemon's word, or none at all.
    pub fn of_call(status: &Status, wanted: &str) -> Self {
        Self {
            is_silence: is_silence(status),
            ..Self::later(Error::from_status(status, wanted))
        }
    }

    /// This machine failed; nothing is known of the post.
    pub fn broken(error: Error) -> Self {
        // What is kept stays kept and goes out again.
        Self::later(error)
    }

    /// The daemon's machine reason, or the kind of the error.
    pub fn reason(&self) -> String {
        if self.reason.is_empty() {
            self.error.kind().word().to_uppercase()
        } else {
            self.reason.clone()
        }
    }

    /// Reads the answer to a unary post.
    pub fn from_status(status: &Status) -> Self {
        let details = status.get_error_details();
        let info = details.error_info();
        let reason = info.map_or("", |i| i.reason.as_str());
        let held = info
            .and_then(|i| i.metadata.get("held_device_seq"))
            .and_then(|held| held.parse().ok());
        let error = Error::from_status(status, "the post");
        Self {
            is_silence: is_silence(status),
            ..Self::sorted(status.code(), reason, held, error)
        }
    }

    /// Reads the refusal of one post of many.
    pub fn from_stream(refusal: &v1::Refusal) -> Self {
        let code = Code::from_i32(refusal.grpc_code);
        let status = Status::new(code, refusal.message.clone());
        let error = Error::from_status(&status, "the post");
        Self::sorted(code, &refusal.reason, Some(refusal.held_device_seq), error)
    }

    fn sorted(code: Code, reason: &str, held: Option<u64>, error: Error) -> Self {
        let cause = match (reason, code) {
            (reason::OUT_OF_STEP, _) => Cause::OutOfStep { held },
            (reason::UNREADABLE, _) => Cause::Unreadable,
            (
                _,
                Code::InvalidArgument
                | Code::NotFound
                | Code::AlreadyExists
                | Code::FailedPrecondition
                | Code::OutOfRange,
            ) => Cause::Refused,
            (_, Code::PermissionDenied) => Cause::NotPermitted,
            // A bay that is not let in keeps its facts: Unauthenticated is later too.
            _ => Cause::Later,
        };
        let error = match cause {
            Cause::Later | Cause::NotPermitted => error,
            _ if error.kind() == Kind::Refused => error,
            _ => Error::refused(error.message()).with_hint(error.hint().unwrap_or_default()),
        };
        Self {
            cause,
            error,
            is_silence: false,
            reason: reason.to_owned(),
        }
    }
}

/// A status that was made on this side, since nothing came from the other.
fn is_silence(status: &Status) -> bool {
    std::error::Error::source(status).is_some()
}
