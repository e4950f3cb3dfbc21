//! What recorded jobs say about the next one.
//!
//! [`records`] takes out of each released job what can be learned from it,
//! [`model`] states what is believed before any record, [`learn`] fits, and
//! [`suggest`] works a quote out. Statistics are `baywright_learn`'s, which knows
//! no word of the shop.

mod bases;
mod bay_time;
mod book;
mod cost;
mod drawn;
mod learn;
mod likes;
mod model;
mod records;
mod remarks;
mod suggest;
mod unseen;
mod won;

pub use book::{BookedQuote, QuoteBook, QuoteStanding};
pub use learn::{Learnt, MODEL_VERSION};
pub use records::{JobRecord, ProductRecord, StageRecord, of_job, of_past};
pub use suggest::{Asking, SuggestError, suggest};
pub use won::week_quotes;
