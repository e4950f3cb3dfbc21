//! When a section may be levelled: label times, else the trade prior.
