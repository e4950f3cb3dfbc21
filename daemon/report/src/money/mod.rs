//! Money of jobs: what they cost, and why they fell short of their quote.

#![allow(dead_code, reason = "the account of a job uses it in the next commit")]

pub(crate) mod fine;
pub(crate) mod price;
