//! What the owner's commands share: a question on the terminal, and what is
//! said of a post of paperwork (answers, the catalogue).

use std::io::{BufRead as _, Write as _};

use serde_json::{Value, json};

use super::page;
use crate::answer::plain;
use crate::error::Error;
use crate::post::Said;
use crate::render::text::paragraph;
use crate::screen::neutral;

/// Longest answer that is read from a terminal or a pipe.
const ANSWER_BYTES_MAX: u64 = 4_096;

/// Asks on standard error and reads a line; `None` at the end of the input.
///
/// Standard error, so that what is printed can still be piped.
pub(super) fn ask(prompt: &str) -> Result<Option<String>, Error> {
    self::prompt(prompt)?;
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

/// Shows a question and leaves the cursor behind it.
pub(super) fn prompt(question: &str) -> Result<(), Error> {
    let mut err = anstream::stderr().lock();
    let shown = write!(err, "{}", neutral(question)).and_then(|()| err.flush());
    shown.map_err(|e| Error::internal(format!("The question could not be shown: {e}.")))
}

/// Asks for yes or no; an empty answer and the end of the input are no.
pub(super) fn yes(prompt: &str) -> Result<bool, Error> {
    let answer = ask(&format!("{prompt} [y/N] "))?.unwrap_or_default();
    Ok(matches!(answer.to_lowercase().as_str(), "y" | "yes"))
}

/// Prints lines on standard error, beside the questions, wrapped to the page.
pub(super) fn say(text: &str) {
    let columns = page::columns();
    let mut err = anstream::stderr().lock();
    for line in text.trim_end().split('\n') {
        // Nobody reads them where standard error is closed.
        let _ = writeln!(err, "{}", paragraph(&plain(line), columns, 0));
    }
}

/// What became of a post, after what was understood.
pub(super) fn told(understood: &str, said: &Said) -> String {
    let mut text = understood.to_owned();
    match said {
        Said::Dry => text.push_str("\nNothing was posted (--dry)."),
        Said::Acknowledged { receipt, .. } => {
            for notice in &receipt.notices {
                text.push_str("\n! ");
                text.push_str(&plain(&notice.text));
            }
        }
        Said::Kept { why, .. } => {
            text.push_str("\nKept on this disk, sent with the next command: ");
            text.push_str(&plain(why.message()));
        }
    }
    text
}

/// The same for `--json`.
pub(super) fn told_json(said: &Said) -> Value {
    match said {
        Said::Dry => json!({ "dry": true }),
        Said::Acknowledged { receipt, .. } => json!({ "receipt": receipt }),
        Said::Kept { event_id, why, .. } => json!({ "kept": {
            "event_id": baywright_proto::json::uuid_text(event_id),
            "why": why.message(),
        }}),
    }
}
