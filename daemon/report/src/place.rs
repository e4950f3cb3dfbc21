//! Places that are not bays.

use baywright_terms::code::Code;

/// On the premises, not in a bay.
const HOLDING: &str = "holding";
/// Somewhere else.
const AWAY: &str = "away";

/// True for every place but `holding`, `away` and none.
pub(crate) fn is_bay(place: &Code) -> bool {
    !matches!(place.as_str(), HOLDING | AWAY | "")
}
