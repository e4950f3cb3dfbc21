//! Words both ends of Baywright share: amounts, typed times, codes, the
//! catalogue file, air and surfaces. Pure: no I/O, no clock, no gRPC.

pub mod air;
pub mod amount;
pub mod catalogue;
pub mod code;
pub mod hours;
pub mod join_code;
pub mod surface;
pub mod temperature;
pub mod text;
pub mod time;
pub mod window;
