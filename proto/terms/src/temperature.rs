//! Temperatures and relative humidities as people type them, held as integers.

use serde::{Deserialize, Serialize};

/// Thousandths of a degree Celsius.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct MilliCelsius(pub i32);

/// Thousandths of a per cent of relative humidity.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct MilliPercent(pub u32);
