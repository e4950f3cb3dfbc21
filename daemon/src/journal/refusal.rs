//! Why a post was not kept. What is refused changes nothing in the log.

use std::fmt;

/// A field of a post that is wrong, and how to mend it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Violation {
    /// Path of the field, as in the `.proto` files.
    pub field: String,
    /// A clause that follows the field's name.
    pub mend: String,
}

impl Violation {
    pub fn new(field: &str, mend: impl Into<String>) -> Self {
        Self {
            field: field.to_owned(),
            mend: mend.into(),
        }
    }
}

/// Kinds of code that a waiting person may have mistyped.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Named {
    Bay,
    Worker,
    Product,
    Stage,
    JobType,
    Job,
    /// By the event that drafted it.
    Quote,
}

impl fmt::Display for Named {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Named::Bay => "bay",
            Named::Worker => "worker",
            Named::Product => "product",
            Named::Stage => "stage",
            Named::JobType => "job type",
            Named::Job => "job",
            Named::Quote => "quote",
        })
    }
}

/// A code that the catalogue does not have.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UnknownCode {
    /// Path of the field, as in the `.proto` files.
    pub field: String,
    pub what: Named,
    pub code: String,
    /// Known codes close to it, closest first.
    pub nearest: Vec<String>,
}

impl fmt::Display for UnknownCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { what, code, .. } = self;
        if *what == Named::Job {
            return write!(f, "no job has the number {code}");
        }
        if *what == Named::Quote {
            return write!(f, "no quote was drafted as {code}");
        }
        write!(f, "no {what} `{code}` in the catalogue")
    }
}

/// Why a post was not kept.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Refusal {
    #[error("the post cannot be read: {}", sentence(.0))]
    Unreadable(Vec<Violation>),
    #[error(
        "this event id was acknowledged before with another fact: make a new event id for a new fact"
    )]
    IdReused { seq: u64 },
    #[error(
        "the post is out of step: the daemon holds device_seq {held} of this device; send what follows it, with previous_device_seq {held}"
    )]
    OutOfStep { held: u64 },
    #[error("{}", unknown(.0))]
    UnknownCode(Vec<UnknownCode>),
    #[error("a bay does not {what}: that is posted from an owner's device")]
    NotPermitted { what: &'static str },
    #[error("the daemon has more posts waiting than it takes: send it again in a moment")]
    QueueFull,
    #[error("the daemon is stopping: send it again when it is back")]
    Stopping,
    #[error(
        "the log is read-only: {why}. The post is not lost on the bay; mend the log, then send it again"
    )]
    ReadOnly { why: String },
    #[error("the log could not be written ({why}): nothing was kept of this post; send it again")]
    NotWritten { why: String },
}

fn sentence(violations: &[Violation]) -> String {
    let clauses: Vec<String> = violations
        .iter()
        .map(|violation| format!("{} {}", violation.field, violation.mend))
        .collect();
    clauses.join("; ")
}

fn unknown(codes: &[UnknownCode]) -> String {
    let clauses: Vec<String> = codes.iter().map(ToString::to_string).collect();
    clauses.join("; ")
}

impl UnknownCode {
    /// How to mend it, as a sentence for the person who waits.
    pub fn hint(&self) -> String {
        let mut hint = String::new();
        if self.what == Named::Quote {
            hint.push_str("`bay quote list` shows the quotes there are. ");
        }
        if !self.nearest.is_empty() {
            hint.push_str("did you mean ");
            hint.push_str(&self.nearest.join(" or "));
            hint.push_str("? ");
        }
        hint.push_str("To keep it anyway and settle it later, add --anyway.");
        hint
    }
}

impl Refusal {
    /// How to mend it, where the sentence itself does not say so.
    pub fn hint(&self) -> Option<String> {
        match self {
            Self::UnknownCode(codes) => codes.first().map(UnknownCode::hint),
            _ => None,
        }
    }
}
