//! What the owner's commands share: a question on the terminal, and a post of
//! paperwork (answers, the catalogue) that belongs to no bay's work.

use std::io::{BufRead as _, Write as _};

use baywright_proto::v1;
use baywright_proto::v1::fact::Kind;
use serde_json::{Value, json};

use crate::answer::plain;
use crate::connect::Link;
use crate::context::Context;
use crate::device::{Device, How, Posted};
use crate::error::Error;

/// Longest answer that is read from a terminal or a pipe.
const ANSWER_BYTES_MAX: u64 = 4_096;

/// Asks on standard error and reads a line; `None` at the end of the input.
///
/// Standard error, so that what is printed can still be piped.
pub(super) fn ask(prompt: &str) -> Result<Option<String>, Error> {
    let mut err = anstream::stderr().lock();
    let asked = write!(err, "{prompt}").and_then(|()| err.flush());
    asked.map_err(|e| Error::internal(format!("The question could not be shown: {e}.")))?;
    let mut line = String::new();
    let stdin = std::io::stdin().lock();
    let read = std::io::Read::take(stdin, ANSWER_BYTES_MAX).read_line(&mut line);
    match read {
        Ok(0) => Ok(None),
        Ok(_) => Ok(Some(line.trim().to_owned())),
        Err(error) => Err(Error::internal(format!(
            "The answer could not be read: {error}."
        ))),
    }
}

/// Asks for yes or no; an empty answer and the end of the input are no.
pub(super) fn yes(prompt: &str) -> Result<bool, Error> {
    let answer = ask(&format!("{prompt} [y/N] "))?.unwrap_or_default();
    Ok(matches!(answer.to_lowercase().as_str(), "y" | "yes"))
}

/// Prints lines on standard error, beside the questions.
pub(super) fn say(text: &str) {
    // Nobody reads them where standard error is closed.
    let _ = writeln!(anstream::stderr().lock(), "{}", text.trim_end());
}

/// Posts a fact of the owner's desk.
pub(super) fn post(context: &Context, kind: Kind) -> Result<Posted, Error> {
    let fact = v1::Fact {
        bay: context.common.bay.clone().unwrap_or_default(),
        by: context.common.by.clone(),
        kind: Some(kind),
        ..v1::Fact::default()
    };
    let how = How {
        waiting: true,
        anyway: context.common.anyway,
        handle: String::new(),
    };
    let mut device = Device::open(context.data_dir(), context.clocks.clone())?;
    let mut link = Link::new(context.server().clone());
    context.block_on(device.post(&mut link, fact, &how))?
}

/// What became of it, after what was understood.
pub(super) fn told(understood: &str, posted: &Posted) -> String {
    match posted {
        Posted::Acknowledged(acknowledged) => {
            let mut text = understood.to_owned();
            for notice in &acknowledged.receipt.notices {
                text.push_str("\n! ");
                text.push_str(&plain(&notice.text));
            }
            text
        }
        Posted::Kept { why, .. } => format!(
            "{understood}\nKept on this disk, sent with the next command: {}",
            plain(why.message())
        ),
    }
}

/// The same for `--json`.
pub(super) fn told_json(posted: &Posted) -> Value {
    match posted {
        Posted::Acknowledged(acknowledged) => json!({ "receipt": acknowledged.receipt }),
        Posted::Kept { event_id, why } => json!({ "kept": {
            "event_id": baywright_proto::json::uuid_text(event_id),
            "why": why.message(),
        }}),
    }
}
