//! Finishes, and which product or stage may touch which.
