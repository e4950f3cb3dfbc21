//! That nothing of a fact is without a bound, found by walking the contract.

use std::collections::BTreeMap;

use prost::Message as _;
use prost::encoding::{WireType, encode_key, encode_varint};

use super::*;
use crate::DESCRIPTORS;

/// As much of `google/protobuf/descriptor.proto` as the walk needs.
#[derive(Clone, PartialEq, prost::Message)]
struct FileSet {
    #[prost(message, repeated, tag = "1")]
    files: Vec<File>,
}

#[derive(Clone, PartialEq, prost::Message)]
struct File {
    #[prost(string, tag = "2")]
    package: String,
    #[prost(message, repeated, tag = "4")]
    messages: Vec<Described>,
}

#[derive(Clone, PartialEq, prost::Message)]
struct Described {
    #[prost(string, tag = "1")]
    name: String,
    #[prost(message, repeated, tag = "2")]
    fields: Vec<Field>,
}

#[derive(Clone, PartialEq, prost::Message)]
struct Field {
    #[prost(string, tag = "1")]
    name: String,
    #[prost(uint32, tag = "3")]
    number: u32,
    #[prost(int32, tag = "4")]
    label: i32,
    #[prost(int32, tag = "5")]
    kind: i32,
    #[prost(string, tag = "6")]
    type_name: String,
}

const REPEATED: i32 = 3;
const DOUBLE: i32 = 1;
const INT64: i32 = 3;
const STRING: i32 = 9;
const MESSAGE: i32 = 11;
const BYTES: i32 = 12;

/// A way from the fact to a field: the field numbers, and the field.
type Way = (Vec<u32>, Field);

fn ways() -> Vec<Way> {
    let set = FileSet::decode(DESCRIPTORS).unwrap();
    let messages: BTreeMap<String, Vec<Field>> = set
        .files
        .iter()
        .flat_map(|file| {
            file.messages.iter().map(|message| {
                let name = format!(".{}.{}", file.package, message.name);
                (name, message.fields.clone())
            })
        })
        .collect();
    let mut ways = Vec::new();
    walk(&messages, ".baywright.v1.Fact", &[], &mut ways);
    ways
}

fn walk(messages: &BTreeMap<String, Vec<Field>>, name: &str, to: &[u32], ways: &mut Vec<Way>) {
    for field in &messages[name] {
        let mut way = to.to_vec();
        way.push(field.number);
        ways.push((way.clone(), field.clone()));
        if field.kind == MESSAGE {
            walk(messages, &field.type_name, &way, ways);
        }
    }
}

/// A message with one value at the end of a way.
fn at(way: &[u32], value: &dyn Fn(u32) -> Vec<u8>) -> Vec<u8> {
    match way {
        [last] => value(*last),
        [first, rest @ ..] => delimited(*first, &at(rest, value)),
        [] => Vec::new(),
    }
}

fn delimited(number: u32, bytes: &[u8]) -> Vec<u8> {
    let mut out = Vec::new();
    encode_key(number, WireType::LengthDelimited, &mut out);
    encode_varint(bytes.len() as u64, &mut out);
    out.extend(bytes);
    out
}

fn varint(number: u32, value: u64) -> Vec<u8> {
    let mut out = Vec::new();
    encode_key(number, WireType::Varint, &mut out);
    encode_varint(value, &mut out);
    out
}

/// What is wrong with a fact that has one value at the end of a way.
fn found(way: &[u32], value: &dyn Fn(u32) -> Vec<u8>) -> Vec<Over> {
    over(&v1::Fact::decode(at(way, value).as_slice()).unwrap())
}

/// Instants that another rule looks at, or that are no instants of the fold:
/// the clocks of a device may be set to anything, and are corrected.
const ELSEWHERE: [&str; 3] = ["at_us", "wall_us", "boot_us"];

#[test]
fn every_text_list_and_figure_of_a_fact_is_bounded() {
    let ways = ways();
    assert!(ways.len() > 200, "the walk sees the contract");
    let mut unbounded = Vec::new();
    for (way, field) in &ways {
        let long = vec![b'x'; NOTE_BYTES_MAX + 1];
        let mut must = |what: &str, found: Vec<Over>| {
            if found.is_empty() {
                unbounded.push(format!("{what} of {} at {way:?}", field.name));
            }
        };
        if field.kind == STRING || field.kind == BYTES {
            must("length", found(way, &|number| delimited(number, &long)));
        }
        if field.label == REPEATED {
            let many = |number| delimited(number, b"").repeat(PAST_JOBS_MAX + 1);
            must("count", found(way, &many));
        }
        let is_figure = field.name.ends_with("_us") || field.name.ends_with("_minor");
        if field.kind == INT64 && is_figure && !ELSEWHERE.contains(&field.name.as_str()) {
            for figure in [i64::MAX, i64::MIN] {
                let value = |number| varint(number, figure.cast_unsigned());
                must("range", found(way, &value));
            }
        }
        if field.kind == DOUBLE {
            let value = |number| {
                let mut out = Vec::new();
                encode_key(number, WireType::SixtyFourBit, &mut out);
                out.extend(f64::NAN.to_le_bytes());
                out
            };
            must("range", found(way, &value));
        }
    }
    assert!(unbounded.is_empty(), "{unbounded:#?}");
}

#[test]
fn short_values_anywhere_are_within_their_bounds() {
    for (way, field) in ways() {
        let word = b"a-code-of-40-letters-at-most-and-this-is";
        let value: Box<dyn Fn(u32) -> Vec<u8>> = match field.kind {
            STRING if field.name == "decimal" || field.name.ends_with("_parts") => {
                Box::new(|number| delimited(number, b"999999999999.999999"))
            }
            STRING if field.name == "currency" => Box::new(|number| delimited(number, b"EUR")),
            STRING if field.name == "density_g_per_ml" => {
                Box::new(|number| delimited(number, b"1.05"))
            }
            STRING => Box::new(|number| delimited(number, word)),
            BYTES => Box::new(|number| delimited(number, &[7; 16])),
            INT64 => Box::new(|number| varint(number, 1_000_000_000_000_000)),
            _ => continue,
        };
        // 2001-09-09 as an instant; as a duration thirty years are too long.
        if field.kind == INT64 && !found(&way, &value).is_empty() {
            let value = |number| varint(number, 24 * 3_600_000_000);
            assert_eq!(found(&way, &value), [], "{} at {way:?}", field.name);
            continue;
        }
        assert_eq!(found(&way, &value), [], "{} at {way:?}", field.name);
    }
}

#[test]
fn what_is_over_says_where_and_how_to_mend_it() {
    let fact = v1::Fact {
        by: vec!["w".repeat(300), "x".repeat(300)],
        kind: Some(Kind::Noted(v1::Noted {
            text: "n".repeat(NOTE_BYTES_MAX + 1),
            ..v1::Noted::default()
        })),
        ..v1::Fact::default()
    };
    let said: Vec<String> = over(&fact)
        .iter()
        .map(|over| format!("{} {}", over.field, over.mend))
        .collect();
    assert_eq!(
        said,
        [
            "fact.by has 300 bytes, the most is 256: say it shorter",
            "fact.noted.text has 65537 bytes, the most is 65536: say it shorter",
        ]
    );
    let whole = v1::Fact {
        kind: Some(Kind::Noted(v1::Noted {
            text: "n".repeat(NOTE_BYTES_MAX),
            ..v1::Noted::default()
        })),
        ..v1::Fact::default()
    };
    assert_eq!(over(&whole), []);
}
