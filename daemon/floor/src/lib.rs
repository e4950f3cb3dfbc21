//! The fold: a pure function from the log's facts to what happened on the
//! floor. No I/O, no clock, no gRPC.
//!
//! Events are folded in the order of their [`event::Position`]. [`step::step`]
//! moves a [`state::State`] over one event and emits [`row::Row`]s; it cannot
//! fail, because a stored event is a fact. [`refold::refold`] keeps the rows of a
//! [`ledger::Ledger`] equal to what folding everything from the start would
//! give, whatever order events arrive in.

pub mod absorb;
pub mod catalogues;
pub mod event;
pub mod fact;
pub mod ledger;
pub mod memory;
pub mod notice;
pub mod now;
pub mod overlay;
mod pairs;
pub mod quote;
pub mod refold;
pub mod reply;
pub mod row;
pub mod shop_day;
pub mod state;
pub mod step;
pub mod timeline;
pub mod words;
