//! How good past predictions were.
