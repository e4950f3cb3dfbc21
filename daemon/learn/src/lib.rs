//! Statistics that quotes stand on: linear mixed models, a posterior with
//! stated priors, predictions by seeded simulation, and scores of past
//! predictions. Pure, and without any word of the shop: rows, factors, levels
//! and units come from whoever asks.

pub mod evidence;
pub mod mixed;
pub mod normal;
pub mod posterior;
pub mod score;
pub mod widen;
