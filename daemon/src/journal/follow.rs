//! The facts behind the log, as the writer moves them on: a failure of theirs
//! is theirs alone. The log goes on, receipts go out, reads say that facts are behind.

use std::panic::{AssertUnwindSafe, catch_unwind};

use baywright_floor::event::EventId;
use baywright_terms::catalogue::Catalogue;
use baywright_terms::time::Micros;

use crate::facts::{Answer, Facts, FactsError, Stored};

/// What follows the log. [`Facts`] in the daemon; something that fails in tests.
pub trait Follower: Send {
    /// As [`Facts::absorb`].
    fn absorb(&mut self, stored: &[Stored]) -> Result<Vec<Answer>, FactsError>;
    /// As [`Facts::commit`].
    fn commit(&mut self) -> Result<u64, FactsError>;
    /// As [`Facts::answer_for`].
    fn answer_for(&mut self, event: EventId) -> Result<Option<Answer>, FactsError>;
    fn cursor(&self) -> u64;
    fn catalogue(&self, at: Micros) -> &Catalogue;
    fn catalogue_revision(&self) -> u64;
}

impl Follower for Facts {
    fn absorb(&mut self, stored: &[Stored]) -> Result<Vec<Answer>, FactsError> {
        Facts::absorb(self, stored)
    }

    fn commit(&mut self) -> Result<u64, FactsError> {
        Facts::commit(self)
    }

    fn answer_for(&mut self, event: EventId) -> Result<Option<Answer>, FactsError> {
        Facts::answer_for(self, event)
    }

    fn cursor(&self) -> u64 {
        Facts::cursor(self)
    }

    fn catalogue(&self, at: Micros) -> &Catalogue {
        Facts::catalogue(self, at)
    }

    fn catalogue_revision(&self) -> u64 {
        Facts::catalogue_revision(self)
    }
}

/// How the facts stand to the log.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Standing {
    /// Being opened, rebuilt or caught up at the start.
    Opening,
    /// Moved on with the log.
    Following,
    /// They failed at the last batch; the next one tries again, and so does the mender.
    Behind,
    /// They could not be opened, or the fold panicked: the mender opens them again.
    Broken,
    /// The file is not what was written to it: the mender makes a new one.
    Damaged,
}

impl Standing {
    /// Nothing moves them on until they are opened again.
    pub fn needs_opening(self) -> bool {
        matches!(self, Self::Broken | Self::Damaged)
    }
}

/// Failures in a row after which a file that can be written, and still does not
/// take what it is given, is held to be damaged. More than one: a lock, or a
/// moment of the disk, passes.
const FAILURES_MAX: u32 = 3;

/// What a failure says about the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Blame {
    /// It is not what was written.
    File,
    /// The file, where it goes on.
    FileInTime,
    /// A full disk, or the log: making the file anew would need the more of either.
    Elsewhere,
}

fn blame(error: &FactsError) -> Blame {
    use rusqlite::ErrorCode;
    match error {
        FactsError::Database(error) => match error.sqlite_error_code() {
            Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase) => Blame::File,
            Some(ErrorCode::DiskFull | ErrorCode::OutOfMemory) => Blame::Elsewhere,
            _ => Blame::FileInTime,
        },
        FactsError::Damaged(_) => Blame::FileInTime,
        FactsError::Source(_) | FactsError::File(_) => Blame::Elsewhere,
    }
}

/// The follower, fenced: every call into it may fail or panic without effect on the log.
pub(crate) struct Fenced {
    follower: Option<Box<dyn Follower>>,
    standing: Standing,
    /// In a row, of those that speak against the file.
    failures: u32,
    /// How often a follower was taken: readers open the file again after each.
    opened: u64,
    /// The last seq that readers can see.
    cursor: u64,
    catalogue_revision: u64,
    /// Every entry known, those that hold only later too: their codes are no slips.
    catalogue: Catalogue,
}

impl std::fmt::Debug for Fenced {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Fenced")
            .field("standing", &self.standing)
            .finish_non_exhaustive()
    }
}

impl Fenced {
    pub(crate) fn opening() -> Self {
        Self {
            follower: None,
            standing: Standing::Opening,
            failures: 0,
            opened: 0,
            cursor: 0,
            catalogue_revision: 0,
            catalogue: Catalogue::default(),
        }
    }

    pub(crate) fn standing(&self) -> Standing {
        self.standing
    }

    pub(crate) fn opened(&self) -> u64 {
        self.opened
    }

    /// Tries again what failed, without waiting for a post.
    pub(crate) fn retry(&mut self) {
        if self.absorb(&[]).is_some() {
            self.commit();
        }
    }

    /// Takes the opened follower, and lets it catch up with what was appended meanwhile.
    pub(crate) fn take(&mut self, opened: Result<Box<dyn Follower>, FactsError>) {
        match opened {
            Ok(follower) => {
                self.follower = Some(follower);
                self.standing = Standing::Following;
                self.opened += 1;
                self.note();
                self.retry();
            }
            Err(error) => {
                tracing::error!(error = %chain(&error), "facts could not be opened; the log goes on without them, reads do not, and it is tried again");
                self.standing = Standing::Broken;
            }
        }
    }

    /// Folds what was just appended. `None`: nothing is known of these posts.
    pub(crate) fn absorb(&mut self, stored: &[Stored]) -> Option<Vec<Answer>> {
        let answers = self.call("fold", |follower| follower.absorb(stored))?;
        self.note();
        Some(answers)
    }

    /// Shows readers what was absorbed.
    pub(crate) fn commit(&mut self) {
        if let Some(cursor) = self.call("commit", |follower| follower.commit()) {
            self.cursor = cursor;
            self.failures = 0;
        }
    }

    pub(crate) fn answer_for(&mut self, event: [u8; 16]) -> Option<Answer> {
        self.call("look up", |follower| follower.answer_for(EventId(event)))
            .flatten()
    }

    pub(crate) fn cursor(&self) -> u64 {
        self.cursor
    }

    pub(crate) fn catalogue_revision(&self) -> u64 {
        self.catalogue_revision
    }

    /// What codes are checked against while a person waits.
    pub(crate) fn catalogue(&self) -> &Catalogue {
        &self.catalogue
    }

    /// Takes over what the follower knows, its catalogue where that has changed.
    fn note(&mut self) {
        let held = self.catalogue_revision;
        let noted = self.call("look up", |follower| {
            let revision = follower.catalogue_revision();
            let catalogue =
                (revision != held).then(|| follower.catalogue(Micros(i64::MAX)).clone());
            Ok((follower.cursor(), revision, catalogue))
        });
        if let Some((cursor, revision, catalogue)) = noted {
            self.cursor = cursor;
            self.catalogue_revision = revision;
            if let Some(catalogue) = catalogue {
                self.catalogue = catalogue;
            }
        }
    }

    fn failed(&mut self, blame: Blame) {
        self.standing = Standing::Behind;
        match blame {
            Blame::File => self.failures = FAILURES_MAX,
            Blame::FileInTime => self.failures += 1,
            Blame::Elsewhere => {}
        }
        if self.failures >= FAILURES_MAX {
            tracing::error!("the facts database is damaged; it is made anew from the log");
            // Closed, so that a new file can take its place.
            self.follower = None;
            self.failures = 0;
            self.standing = Standing::Damaged;
        }
    }

    fn call<T>(
        &mut self,
        doing: &str,
        call: impl FnOnce(&mut dyn Follower) -> Result<T, FactsError>,
    ) -> Option<T> {
        let follower = self.follower.as_mut()?;
        // After a panic the follower is dropped, so nobody sees it half changed.
        match catch_unwind(AssertUnwindSafe(|| call(follower.as_mut()))) {
            Ok(Ok(value)) => {
                self.standing = Standing::Following;
                Some(value)
            }
            Ok(Err(error)) => {
                tracing::error!(error = %chain(&error), doing, "facts are behind the log");
                self.failed(blame(&error));
                None
            }
            Err(_) => {
                tracing::error!(
                    doing,
                    "the fold panicked; the log goes on without facts until they are opened again"
                );
                self.follower = None;
                self.standing = Standing::Broken;
                None
            }
        }
    }
}

/// An error with everything behind it, for the trace.
pub(crate) fn chain(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut source = error.source();
    while let Some(cause) = source {
        text.push_str(": ");
        text.push_str(&cause.to_string());
        source = cause.source();
    }
    text
}
