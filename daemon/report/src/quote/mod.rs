//! What recorded jobs say about the next one.
//!
//! [`records`] takes out of each released job what can be learned from it,
//! [`model`] states what is believed before any record, [`learn`] fits, and
//! [`suggest`] works a quote out. Statistics are `baywright_learn`'s, which knows
//! no word of the shop.

mod ahead;
mod bases;
mod bay_time;
mod book;
mod cells;
mod cost;
mod drawn;
mod hash;
mod honesty;
mod learn;
mod learned;
mod likes;
mod look_again;
mod model;
mod promised;
mod records;
mod remarks;
mod residuals;
mod suggest;
mod unseen;
mod usual;
mod won;

pub use ahead::ahead;
pub use book::{BookedQuote, QuoteBook, QuoteStanding};
pub use honesty::{honesty, retrace};
pub use learn::{Learnt, MODEL_VERSION};
pub use learned::{applied, learned};
pub use look_again::look_again;
pub use records::{JobRecord, ProductRecord, StageRecord, of_job, of_past};
pub use suggest::{Asking, SuggestError, suggest};
pub use won::week_quotes;
