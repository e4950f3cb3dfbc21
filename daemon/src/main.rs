//! The daemon's program: everything is in the library.

fn main() {}
