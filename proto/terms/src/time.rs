//! Instants, spans, civil times as typed, ISO weeks.

use serde::{Deserialize, Serialize};

/// An instant: Unix microseconds, UTC.
#[derive(
    Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
)]
#[serde(transparent)]
pub struct Micros(pub i64);

/// Microseconds in a second, a minute and an hour.
pub const SECOND_US: i64 = 1_000_000;
pub const MINUTE_US: i64 = 60 * SECOND_US;
pub const HOUR_US: i64 = 60 * MINUTE_US;
