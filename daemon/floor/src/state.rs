//! What the fold carries from one event to the next.

use serde::{Deserialize, Serialize};

/// To come.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct State {}
