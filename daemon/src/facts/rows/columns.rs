//! How values of the floor stand in columns: written one after the other,
//! read back in the same order.

use baywright_floor::event::EventId;
use baywright_floor::fact::LevelResult;
use baywright_floor::row::{ContainerKind, Ended, StockKind, WaitingKind};
use baywright_terms::amount::{Micrograms, MilliEach, Nanolitres, Quantity};
use baywright_terms::code::Code;
use rusqlite::types::{Type, ValueRef};
use rusqlite::{CachedStatement, Row, ToSql};
use serde::Serialize;
use serde::de::DeserializeOwned;

/// Binds the columns of one row from left to right.
pub(super) struct Put<'s, 'c> {
    pub(super) statement: &'s mut CachedStatement<'c>,
    bound: usize,
}

impl<'s, 'c> Put<'s, 'c> {
    pub(super) fn new(statement: &'s mut CachedStatement<'c>) -> Self {
        Self {
            statement,
            bound: 0,
        }
    }

    pub(super) fn value(&mut self, value: impl ToSql) -> rusqlite::Result<&mut Self> {
        self.bound += 1;
        self.statement.raw_bind_parameter(self.bound, value)?;
        Ok(self)
    }

    /// Counts and seqs; SQLite has signed integers only.
    pub(super) fn number(&mut self, value: u64) -> rusqlite::Result<&mut Self> {
        self.value(i64::try_from(value).unwrap_or(i64::MAX))
    }

    pub(super) fn id(&mut self, id: EventId) -> rusqlite::Result<&mut Self> {
        self.value(id.0)
    }

    pub(super) fn id_or_null(&mut self, id: Option<EventId>) -> rusqlite::Result<&mut Self> {
        self.value(id.map(|id| id.0))
    }

    pub(super) fn code(&mut self, code: &Code) -> rusqlite::Result<&mut Self> {
        self.value(code.as_str())
    }

    /// Three columns: nanolitres, micrograms, thousandths of a piece.
    pub(super) fn quantity(&mut self, quantity: Option<Quantity>) -> rusqlite::Result<&mut Self> {
        let (volume, mass, count) = match quantity {
            Some(Quantity::Volume(v)) => (Some(v.0), None, None),
            Some(Quantity::Mass(m)) => (None, Some(m.0), None),
            Some(Quantity::Count(c)) => (None, None, Some(c.0)),
            None => (None, None, None),
        };
        self.value(volume)?.value(mass)?.value(count)
    }

    pub(super) fn json(&mut self, value: &impl Serialize) -> rusqlite::Result<&mut Self> {
        let text = serde_json::to_string(value)
            .map_err(|error| rusqlite::Error::ToSqlConversionFailure(Box::new(error)))?;
        self.value(text)
    }
}

/// Reads the columns of one row from left to right.
#[derive(Debug)]
pub(super) struct Take<'r> {
    row: &'r Row<'r>,
    taken: usize,
}

impl<'r> Take<'r> {
    pub(super) fn new(row: &'r Row<'r>) -> Self {
        Self { row, taken: 0 }
    }

    pub(super) fn value<T: rusqlite::types::FromSql>(&mut self) -> rusqlite::Result<T> {
        let value = self.row.get(self.taken);
        self.taken += 1;
        value
    }

    /// Reads an integer into a narrower type.
    pub(super) fn number<T: TryFrom<i64>>(&mut self) -> rusqlite::Result<T> {
        let at = self.taken;
        let value: i64 = self.value()?;
        T::try_from(value).map_err(|_| rusqlite::Error::IntegralValueOutOfRange(at, value))
    }

    pub(super) fn number_or_null<T: TryFrom<i64>>(&mut self) -> rusqlite::Result<Option<T>> {
        let at = self.taken;
        let value: Option<i64> = self.value()?;
        value
            .map(|v| T::try_from(v).map_err(|_| rusqlite::Error::IntegralValueOutOfRange(at, v)))
            .transpose()
    }

    pub(super) fn id(&mut self) -> rusqlite::Result<EventId> {
        Ok(EventId(self.value()?))
    }

    pub(super) fn id_or_null(&mut self) -> rusqlite::Result<Option<EventId>> {
        Ok(self.value::<Option<[u8; 16]>>()?.map(EventId))
    }

    pub(super) fn code(&mut self) -> rusqlite::Result<Code> {
        let text = self.text()?;
        Ok(Code::new(text))
    }

    /// Borrows a text column without copying it.
    pub(super) fn text(&mut self) -> rusqlite::Result<&'r str> {
        let at = self.taken;
        self.taken += 1;
        match self.row.get_ref(at)? {
            ValueRef::Text(bytes) => std::str::from_utf8(bytes).map_err(|error| odd(at, error)),
            other => Err(rusqlite::Error::InvalidColumnType(
                at,
                "text".to_owned(),
                other.data_type(),
            )),
        }
    }

    pub(super) fn quantity(&mut self) -> rusqlite::Result<Option<Quantity>> {
        let volume: Option<i64> = self.value()?;
        let mass: Option<i64> = self.value()?;
        let count: Option<i64> = self.value()?;
        Ok(match (volume, mass, count) {
            (Some(v), ..) => Some(Quantity::Volume(Nanolitres(v))),
            (None, Some(m), _) => Some(Quantity::Mass(Micrograms(m))),
            (None, None, Some(c)) => Some(Quantity::Count(MilliEach(c))),
            (None, None, None) => None,
        })
    }

    pub(super) fn json<T: DeserializeOwned>(&mut self) -> rusqlite::Result<T> {
        let at = self.taken;
        let text = self.text()?;
        serde_json::from_str(text).map_err(|error| odd(at, error))
    }

    pub(super) fn word<T: Word>(&mut self) -> rusqlite::Result<T> {
        let at = self.taken;
        let text = self.text()?;
        T::ALL
            .iter()
            .find(|(_, word)| *word == text)
            .map(|(value, _)| *value)
            .ok_or_else(|| odd(at, format!("no such word: {text}")))
    }
}

fn odd(at: usize, error: impl Into<Box<dyn std::error::Error + Send + Sync>>) -> rusqlite::Error {
    rusqlite::Error::FromSqlConversionFailure(at, Type::Text, error.into())
}

/// An enum that stands in a column as a word a person can query.
pub(crate) trait Word: Copy + PartialEq + 'static {
    const ALL: &'static [(Self, &'static str)];

    fn word(self) -> &'static str {
        Self::ALL
            .iter()
            .find(|(value, _)| *value == self)
            .map_or("", |(_, word)| word)
    }
}

impl Word for Ended {
    const ALL: &'static [(Self, &'static str)] = &[
        (Ended::Done, "done"),
        (Ended::Again, "again"),
        (Ended::Paused, "paused"),
        (Ended::Break, "break"),
        (Ended::Dwell, "dwell"),
        (Ended::Elsewhere, "elsewhere"),
        (Ended::Moved, "moved"),
        (Ended::Released, "released"),
        (Ended::Unclosed, "unclosed"),
        (Ended::Settled, "settled"),
        (Ended::Running, "running"),
    ];
}

impl Word for WaitingKind {
    const ALL: &'static [(Self, &'static str)] = &[
        (WaitingKind::Dwell, "dwell"),
        (WaitingKind::Flash, "flash"),
        (WaitingKind::Lamp, "lamp"),
        (WaitingKind::Cure, "cure"),
    ];
}

impl Word for ContainerKind {
    const ALL: &'static [(Self, &'static str)] = &[
        (ContainerKind::Opened, "opened"),
        (ContainerKind::Refilled, "refilled"),
        (ContainerKind::Empty, "empty"),
    ];
}

impl Word for StockKind {
    const ALL: &'static [(Self, &'static str)] = &[
        (StockKind::Received, "received"),
        (StockKind::Counted, "counted"),
    ];
}

impl Word for LevelResult {
    const ALL: &'static [(Self, &'static str)] = &[
        (LevelResult::Clean, "clean"),
        (LevelResult::Smeared, "smeared"),
        (LevelResult::HighSpot, "high-spot"),
    ];
}
