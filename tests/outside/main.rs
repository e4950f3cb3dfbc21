//! Checks against the world that need nothing but the clone: small published
//! tables in `data`; each file or row names its source and tolerance.
//!
//! The checks that need other tools (the buf linter, a client in another
//! language, larger event logs) are run by `tests/outside/run`.

#![allow(
    clippy::expect_used,
    clippy::panic,
    reason = "clippy's exception for tests does not reach the functions that tests share"
)]

mod air;
mod hash;
mod money;
mod time;
mod units;
mod xes;

/// Rows of a table in `data` as maps from column to text.
fn table(text: &str) -> Vec<std::collections::BTreeMap<String, String>> {
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let names = reader.headers().expect("a header line").clone();
    let rows: Vec<_> = reader
        .records()
        .map(|record| {
            let record = record.expect("a readable row");
            names
                .iter()
                .map(str::to_owned)
                .zip(record.iter().map(str::to_owned))
                .collect()
        })
        .collect();
    assert!(!rows.is_empty(), "the table has rows");
    rows
}

fn number(row: &std::collections::BTreeMap<String, String>, column: &str) -> f64 {
    row[column]
        .parse()
        .unwrap_or_else(|_| panic!("column {column} of {row:?} is a number"))
}
