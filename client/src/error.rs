//! What can go wrong for the person at the bay, and the exit code of each kind.
//!
//! This is the one place that picks exit codes and that reads gRPC statuses.

use std::fmt;
use std::process::ExitCode;

use baywright_proto::REQUEST_HEADER;
use rustls::AlertDescription;
use tonic::{Code, Status};
use tonic_types::StatusExt as _;

/// Reasons that the daemon puts into `ErrorInfo.reason`, as far as the client acts on them.
pub mod reason {
    /// `previous_device_seq` is not what the daemon holds of the device.
    pub const OUT_OF_STEP: &str = "OUT_OF_STEP";
    /// The fact cannot be read at all.
    pub const UNREADABLE: &str = "UNREADABLE";
    /// The two ends speak no common protocol.
    pub const VERSION: &str = "VERSION";
}

/// The kinds of failure; each has an exit code of its own.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Something of this machine failed, for example its disk.
    Internal,
    /// The command line does not say enough, or says too much.
    Usage,
    /// What was asked for was read, and refused with a reason.
    Refused,
    /// No answer from the daemon, where one is needed.
    Unreachable,
    /// The daemon speaks another version of the protocol.
    Version,
    /// The daemon knows who asks, and does not allow it.
    NotPermitted,
}

impl Kind {
    /// The exit code of the process. 0 is a fact done or safely kept.
    pub fn exit_code(self) -> u8 {
        match self {
            Self::Internal => 1,
            Self::Usage => 2,
            Self::Refused => 3,
            Self::Unreachable | Self::Version => 4,
            Self::NotPermitted => 5,
        }
    }

    /// The word used in `--json`.
    pub fn word(self) -> &'static str {
        match self {
            Self::Internal => "internal",
            Self::Usage => "usage",
            Self::Refused => "refused",
            Self::Unreachable => "unreachable",
            Self::Version => "version",
            Self::NotPermitted => "not_permitted",
        }
    }
}

/// How a message begins that takes back what a person believes to be safe.
const NOT_KEPT: &str = "The fact could NOT be kept.";

/// A failure with what is wrong, and how to mend it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Error {
    kind: Kind,
    message: String,
    hint: Option<String>,
}

impl Error {
    pub fn new(kind: Kind, message: impl Into<String>) -> Self {
        Self {
            kind,
            message: message.into(),
            hint: None,
        }
    }

    pub fn usage(message: impl Into<String>) -> Self {
        Self::new(Kind::Usage, message)
    }

    pub fn refused(message: impl Into<String>) -> Self {
        Self::new(Kind::Refused, message)
    }

    pub fn unreachable(message: impl Into<String>) -> Self {
        Self::new(Kind::Unreachable, message)
    }

    pub fn internal(message: impl Into<String>) -> Self {
        Self::new(Kind::Internal, message)
    }

    /// Adds how to mend it.
    #[must_use]
    pub fn with_hint(mut self, hint: impl Into<String>) -> Self {
        let hint = hint.into();
        self.hint = (!hint.is_empty()).then_some(hint);
        self
    }

    pub fn kind(&self) -> Kind {
        self.kind
    }

    pub fn message(&self) -> &str {
        &self.message
    }

    pub fn hint(&self) -> Option<&str> {
        self.hint.as_deref()
    }

    pub fn exit_code(&self) -> ExitCode {
        ExitCode::from(self.kind.exit_code())
    }

    /// Reads a failure of this machine's files, naming what was being done.
    pub fn file(doing: &str, path: &std::path::Path, error: &std::io::Error) -> Self {
        Self::internal(format!("{doing} {} failed: {error}.", path.display()))
    }

    /// A failure of this machine before a fact was safe: whoever said it must
    /// know that it is not. Other failures say so by themselves.
    #[must_use]
    pub fn not_kept(self) -> Self {
        if self.kind != Kind::Internal || self.message.starts_with(NOT_KEPT) {
            return self;
        }
        let because = self.hint.unwrap_or_default();
        let advice = "Write it down, make room on this disk or mend it, and post it again with --at or --ago.";
        Self::internal(format!("{NOT_KEPT} {}", self.message))
            .with_hint(format!("{because} {advice}").trim_start())
    }

    /// Reads the daemon's answer to a call that is not a post.
    ///
    /// `wanted` names what was asked for, as in "the week".
    pub fn from_status(status: &Status, wanted: &str) -> Self {
        let details = status.get_error_details();
        let hint = details.localized_message().map_or_else(
            || {
                details
                    .bad_request()
                    .and_then(|b| b.field_violations.first())
                    .map(|v| v.description.clone())
                    .unwrap_or_default()
            },
            |m| m.message.clone(),
        );
        let message = status.message();
        if details
            .error_info()
            .is_some_and(|i| i.reason == reason::VERSION)
        {
            return Self::new(Kind::Version, stopped(message));
        }
        if let Some(refused) = of_tls(status) {
            return refused;
        }
        match status.code() {
            Code::PermissionDenied | Code::Unauthenticated => Self::new(
                Kind::NotPermitted,
                said_or(message, &format!("{wanted} is not permitted here.")),
            ),
            Code::Unimplemented => Self::new(
                Kind::Version,
                format!("This daemon does not know how to give {wanted}."),
            )
            .with_hint("It is older than this bay: update baywrightd first."),
            Code::Unknown | Code::Internal if broke_off(status) => Self::unreachable(format!(
                "No answer from the daemon for {wanted}: {BROKE_OFF}."
            ))
            .with_hint(
                "Where the shop has certificates, this device joins first: \
                         `bay join HOST CODE`. Otherwise try again.",
            ),
            _ if broke_off(status) => Self::unreachable(format!(
                "No answer from the daemon for {wanted}: {BROKE_OFF}."
            ))
            .with_hint(IS_IT_RUNNING),
            Code::Unavailable | Code::DeadlineExceeded | Code::Cancelled => {
                Self::unreachable(format!(
                    "No answer from the daemon for {wanted}: {}.",
                    quiet(message)
                ))
                .with_hint(IS_IT_RUNNING)
            }
            Code::InvalidArgument
            | Code::NotFound
            | Code::FailedPrecondition
            | Code::AlreadyExists
            | Code::OutOfRange => Self::refused(said_or(message, &format!("{wanted}: refused."))),
            _ => Self::unreachable(format!(
                "The daemon could not give {wanted}: {}.",
                quiet(message)
            )),
        }
        .with_hint_if(hint)
        .with_request(status)
    }

    /// Names the call where the daemon's trace says more than it answered, so
    /// that the owner finds the line.
    fn with_request(self, status: &Status) -> Self {
        let number = status.metadata().get(REQUEST_HEADER);
        let Some(number) = number.and_then(|number| number.to_str().ok()) else {
            return self;
        };
        let is_number = number.len() <= 16 && number.bytes().all(|b| b.is_ascii_alphanumeric());
        if !is_number || !matches!(self.kind, Kind::Unreachable | Kind::NotPermitted) {
            return self;
        }
        self.with_hint(format!("The daemon's trace has it as request {number}."))
    }

    fn with_hint_if(self, hint: String) -> Self {
        if hint.is_empty() || hint == self.message {
            self
        } else {
            self.with_hint(hint)
        }
    }
}

/// What TLS found wrong, where that is why something failed. With TLS 1.3 a
/// device hears only with its first call that its certificate was not taken.
pub(crate) fn of_tls(error: &(dyn std::error::Error + 'static)) -> Option<Error> {
    let mut cause = Some(error);
    while let Some(error) = cause {
        let inner = error
            .downcast_ref::<std::io::Error>()
            .and_then(|error| error.get_ref())
            .and_then(|inner| inner.downcast_ref::<rustls::Error>());
        if let Some(found) = inner.or_else(|| error.downcast_ref::<rustls::Error>()) {
            return in_words(found);
        }
        // The HTTP/2 library keeps an alert's words alone.
        if let Some(alert) = alert_in(&error.to_string()) {
            return in_words(&rustls::Error::AlertReceived(alert));
        }
        cause = error.source();
    }
    None
}

/// The alert that a text is about, if any.
fn alert_in(text: &str) -> Option<AlertDescription> {
    [
        AlertDescription::CertificateRevoked,
        AlertDescription::CertificateExpired,
        AlertDescription::CertificateRequired,
        AlertDescription::BadCertificate,
        AlertDescription::CertificateUnknown,
        AlertDescription::UnknownCA,
        AlertDescription::AccessDenied,
    ]
    .into_iter()
    .find(|alert| text.contains(&rustls::Error::AlertReceived(*alert).to_string()))
}

/// The sentence for a certificate that was not taken.
fn in_words(error: &rustls::Error) -> Option<Error> {
    use AlertDescription as Alert;
    use rustls::Error as Tls;
    let not_permitted =
        |message: &str, hint: &str| Some(Error::new(Kind::NotPermitted, message).with_hint(hint));
    match error {
        Tls::AlertReceived(Alert::CertificateRevoked) => not_permitted(
            "This device was cut off: the daemon lets it in no more.",
            "Facts that wait here stay in its spool. To join again, `baywrightd enrol` prints a new \
             code for `bay join`.",
        ),
        Tls::AlertReceived(Alert::CertificateExpired) => not_permitted(
            "This device's certificate has ended: it was not used for a year, or the server's clock \
             is wrong.",
            "Facts that wait here stay in its spool. To join again, `baywrightd enrol` prints a new \
             code for `bay join`.",
        ),
        Tls::AlertReceived(_) => not_permitted(
            "The daemon did not take this device's certificate.",
            "To join again, `baywrightd enrol` prints a new code for `bay join`.",
        ),
        Tls::InvalidCertificate(_) => Some(
            Error::unreachable(
                "What answers there is not this shop's daemon: its certificate is another's.",
            )
            .with_hint(
                "Is it the right address? After a new `baywrightd init` each device joins again.",
            ),
        ),
        _ => None,
    }
}

/// Tells whether no answer came at all: the status was made on this side, of a
/// fault of the connection whose own words are for whoever builds such.
fn broke_off(status: &Status) -> bool {
    std::error::Error::source(status).is_some()
}

const BROKE_OFF: &str = "the connection broke off";
const IS_IT_RUNNING: &str = "Is baywrightd running? `--server HOST:PORT` names another place.";

fn said_or(said: &str, other: &str) -> String {
    stopped(if said.is_empty() { other } else { said })
}

/// A message as a sentence of its own.
fn stopped(message: &str) -> String {
    if message.ends_with(['.', '?', '!']) {
        message.to_owned()
    } else {
        format!("{message}.")
    }
}

/// A cause without its closing stop, so that it can stand inside a sentence.
fn quiet(message: &str) -> &str {
    message.trim_end_matches(['.', ' '])
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.message)
    }
}

impl std::error::Error for Error {}

#[cfg(test)]
mod tests {
    use super::*;

    fn answered(code: Code, number: &'static str) -> Error {
        let mut status = Status::new(code, "it failed inside the daemon");
        status
            .metadata_mut()
            .insert(REQUEST_HEADER, number.parse().unwrap());
        Error::from_status(&status, "the week")
    }

    #[test]
    fn a_call_that_failed_inside_the_daemon_is_named_by_its_number() {
        for code in [Code::Internal, Code::Unavailable, Code::PermissionDenied] {
            let hint = answered(code, "7f3a2c").hint().map(str::to_owned);
            let expected = "The daemon's trace has it as request 7f3a2c.";
            assert_eq!(hint.as_deref(), Some(expected), "{code:?}");
        }
        // What the person can mend by themselves needs no trace.
        assert_eq!(answered(Code::NotFound, "7f3a2c").hint(), None);
        // A daemon of another make may send anything.
        assert_eq!(answered(Code::Internal, "see http://x").hint(), None);
    }
}
