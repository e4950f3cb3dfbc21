//! A log in memory.

use std::sync::{Arc, Mutex};

use crate::facts::{LogSource, LogSources, SourceError, Stored};

/// A log in memory that several readers share.
#[derive(Debug, Clone, Default)]
pub(super) struct Log {
    pub(super) entries: Arc<Mutex<Vec<Stored>>>,
    pub(super) id: u8,
    pub(super) epoch: u64,
    /// Reads of single entries that fail from now on.
    pub(super) broken: Arc<Mutex<bool>>,
}

impl Log {
    pub(super) fn of(entries: Vec<Stored>) -> Self {
        Self {
            entries: Arc::new(Mutex::new(entries)),
            ..Self::default()
        }
    }

    pub(super) fn push(&self, entries: &[Stored]) {
        self.entries.lock().unwrap().extend_from_slice(entries);
    }

    pub(super) fn boxed(&self) -> Box<dyn LogSource> {
        Box::new(self.clone())
    }

    fn check(&self) -> Result<(), SourceError> {
        if *self.broken.lock().unwrap() {
            return Err("the cable is out".into());
        }
        Ok(())
    }
}

impl LogSource for Log {
    fn identity(&mut self) -> Result<([u8; 16], u64), SourceError> {
        Ok(([self.id; 16], self.epoch))
    }

    fn head(&mut self) -> Result<u64, SourceError> {
        Ok(self.entries.lock().unwrap().len().try_into()?)
    }

    fn after(&mut self, seq: u64, at_most: usize) -> Result<Vec<Stored>, SourceError> {
        self.check()?;
        let from = usize::try_from(seq)?;
        let entries = self.entries.lock().unwrap();
        Ok(entries.iter().skip(from).take(at_most).cloned().collect())
    }

    fn one(&mut self, seq: u64) -> Result<Option<Stored>, SourceError> {
        self.check()?;
        let entries = self.entries.lock().unwrap();
        let at = usize::try_from(seq)?.checked_sub(1);
        Ok(at.and_then(|at| entries.get(at)).cloned())
    }
}

impl LogSources for Log {
    fn open(&self) -> Result<Box<dyn LogSource>, SourceError> {
        Ok(self.boxed())
    }
}
