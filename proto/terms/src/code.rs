//! Catalogue codes, and the nearest known code to a mistyped one.

use std::fmt;
use std::sync::Arc;

use serde::{Deserialize, Serialize};

/// A catalogue code: `iron-remover`, `bay-1`, `ana`.
///
/// Facts of the floor are kept even when a code is unknown or odd, so this
/// type holds any text; [`is_well_formed`] tells whether the catalogue would
/// accept it. Cheap to clone.
#[derive(Clone, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Code(Arc<str>);

impl Code {
    /// Wraps a text as it came.
    pub fn new(text: &str) -> Self {
        Self(Arc::from(text))
    }

    /// The text of the code.
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// True where the fact left the code out.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
}

impl fmt::Debug for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:?}", &*self.0)
    }
}

impl fmt::Display for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl From<&str> for Code {
    fn from(text: &str) -> Self {
        Self::new(text)
    }
}
