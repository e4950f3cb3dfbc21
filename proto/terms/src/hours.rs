//! Open hours and breaks: civil times of the week in the shop's zone.

use serde::{Deserialize, Serialize};

/// Civil time of a weekday, in minutes after midnight.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct OpenHours {
    /// ISO weekday: 1 is Monday.
    pub weekday: u8,
    pub from_min: u16,
    /// At most 1440.
    pub until_min: u16,
}
