//! The table of bounds in DEVELOPERS.md is that of the constants.

use baywright_proto::bounds;

use crate::access::devices::CONNECTIONS_PER_DEVICE_MAX;
use crate::access::listen::{CONNECTIONS_MAX, GREETINGS_PER_ADDRESS_MAX, HANDSHAKE_MS_MAX};
use crate::access::patience::{FIRST_CALL_MS_MAX, IDLE_MS_MAX};
use crate::journal::room::{PERSON_BYTES_MAX, STREAM_BYTES_MAX, STREAM_POSTS_MAX};
use crate::journal::writer::QUEUE_POSTS_MAX;
use crate::lifecycle::{
    CALLS_PER_CONNECTION_MAX, HEADER_BYTES_MAX, STREAMS_PER_CONNECTION_MAX, TAKEN_BACK_MAX,
};
use crate::metrics::endpoint;
use crate::service::QUESTION_BYTES_MAX;
use crate::service::calls::CALL_MS_MAX;
use crate::service::intake::STREAM_IDLE_MS_MAX;
use crate::service::limits;
use crate::service::reads::READS_WAITING_MAX;

const KIB: usize = 1024;
const MIB: usize = 1024 * 1024;
const DAY_US: i64 = 24 * 3_600 * 1_000_000;

/// What is bounded, and by how much; what follows in the table is for people.
fn rows() -> Vec<String> {
    let seconds = |ms: u64| format!("{} s", ms / 1_000);
    let header_kib = HEADER_BYTES_MAX / 1024;
    [
        ("a fact", format!("{} MiB", bounds::FACT_BYTES_MAX / MIB)),
        (
            "a code, words, a note",
            format!(
                "{} B, {} KiB, {} KiB",
                bounds::CODE_BYTES_MAX,
                bounds::WORDS_BYTES_MAX / KIB,
                bounds::NOTE_BYTES_MAX / KIB
            ),
        ),
        (
            "names in a fact, entries of a table, past jobs",
            format!(
                "{}, {}, {}",
                bounds::NAMED_MAX,
                bounds::ENTRIES_MAX,
                bounds::PAST_JOBS_MAX
            ),
        ),
        (
            "a duration",
            format!("{} days", bounds::DURATION_US_MAX / DAY_US),
        ),
        ("a question", format!("{} KiB", QUESTION_BYTES_MAX / KIB)),
        ("headers of a call", format!("{header_kib} KiB")),
        ("calls begun and taken back", TAKEN_BACK_MAX.to_string()),
        (
            "calls worked on, streams, of a connection",
            format!("{CALLS_PER_CONNECTION_MAX}, {STREAMS_PER_CONNECTION_MAX}"),
        ),
        (
            "calls of a device: open, a second, at once",
            format!(
                "{}, {}, {}",
                limits::CALLS_PER_DEVICE_MAX,
                limits::CALLS_PER_SECOND_MAX,
                limits::CALLS_BURST_MAX
            ),
        ),
        (
            "streams of posts: a device, all",
            format!(
                "{}, {}",
                limits::POST_STREAMS_PER_DEVICE_MAX,
                limits::POST_STREAMS_MAX
            ),
        ),
        (
            "watches: a device, all",
            format!(
                "{}, {}",
                limits::WATCHES_PER_DEVICE_MAX,
                limits::WATCHES_MAX
            ),
        ),
        (
            "exports: a device, all",
            format!(
                "{}, {}",
                limits::EXPORTS_PER_DEVICE_MAX,
                limits::EXPORTS_MAX
            ),
        ),
        (
            "posts that wait: all, of streams",
            format!("{QUEUE_POSTS_MAX}, {STREAM_POSTS_MAX}"),
        ),
        (
            "bytes that wait: of streams, of people",
            format!(
                "{} MiB, {} MiB",
                STREAM_BYTES_MAX / MIB,
                PERSON_BYTES_MAX / MIB
            ),
        ),
        ("questions that wait", READS_WAITING_MAX.to_string()),
        (
            "connections: a device, a listener",
            format!("{CONNECTIONS_PER_DEVICE_MAX}, {CONNECTIONS_MAX}"),
        ),
        (
            "connections of an address that have not said who they are",
            GREETINGS_PER_ADDRESS_MAX.to_string(),
        ),
        (
            "saying who one is, the first call, idle",
            format!(
                "{}, {}, {}",
                seconds(HANDSHAKE_MS_MAX),
                seconds(FIRST_CALL_MS_MAX),
                seconds(IDLE_MS_MAX)
            ),
        ),
        (
            "a call, a stream on which nothing moves",
            format!("{}, {}", seconds(CALL_MS_MAX), seconds(STREAM_IDLE_MS_MAX)),
        ),
        (
            "readers of the metrics",
            format!(
                "{}, {}",
                endpoint::CONNECTIONS_MAX,
                seconds(endpoint::CONNECTION_MS_MAX)
            ),
        ),
    ]
    .map(|(what, bound)| format!("| {what} | {bound} | "))
    .to_vec()
}

#[test]
fn the_table_in_developers_is_that_of_the_constants() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../DEVELOPERS.md");
    let text = std::fs::read_to_string(path).unwrap();
    let (_, after) = text.split_once("## Bounds").expect("the chapter");
    let chapter = after.split("\n## ").next().unwrap();
    let table: Vec<&str> = chapter
        .lines()
        .filter(|line| line.starts_with("| "))
        .skip(1)
        .collect();
    let rows = rows();
    for row in &rows {
        let found = table.iter().any(|line| line.starts_with(row.as_str()));
        assert!(found, "DEVELOPERS.md has no row that begins `{row}`");
    }
    assert_eq!(table.len(), rows.len());
}
