//! Every shape of fact that was ever written, as bytes that stay.
//!
//! `tests/data/shapes.txt` holds one fact for each kind, and more where a part
//! of it can be said in several ways, with every field set. A log that was
//! written with them must read the same for ever: a field that is renumbered,
//! retyped, renamed or taken away fails here. Lines are never changed; after a
//! field or kind was added, `BAYWRIGHT_SHAPES=append` writes those that miss.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::path::PathBuf;

use baywright_proto::{DESCRIPTORS, v1};
use prost::Message as _;
use prost::encoding::{
    DecodeContext, WireType, decode_key, decode_varint, encode_key, encode_varint, skip_field,
};
use prost_types::field_descriptor_proto::{Label, Type};
use prost_types::{DescriptorProto, EnumDescriptorProto, FieldDescriptorProto, FileDescriptorSet};

const FACT: &str = ".baywright.v1.Fact";
/// A message within itself is written so deep.
const DEPTH_MAX: usize = 8;

/// The messages and enums of the contract, by full name.
pub(super) struct Contract {
    messages: BTreeMap<String, DescriptorProto>,
    enums: BTreeMap<String, EnumDescriptorProto>,
}

/// A field of a message: its full name.
type Seen = BTreeSet<String>;

impl Contract {
    pub(super) fn present() -> Self {
        let set = FileDescriptorSet::decode(DESCRIPTORS).expect("our own descriptors");
        let (mut messages, mut enums) = (BTreeMap::new(), BTreeMap::new());
        for file in set.file {
            let package = file.package().to_owned();
            for message in file.message_type {
                assert!(message.nested_type.is_empty(), "no nested messages here");
                messages.insert(format!(".{package}.{}", message.name()), message);
            }
            for one in file.enum_type {
                enums.insert(format!(".{package}.{}", one.name()), one);
            }
        }
        Self { messages, enums }
    }

    fn fields(&self, message: &str) -> Vec<&FieldDescriptorProto> {
        let mut fields: Vec<_> = self.messages[message].field.iter().collect();
        fields.sort_by_key(|field| field.number());
        fields
    }

    /// Every field that a fact can hold, by full name.
    fn reachable(&self) -> Seen {
        let (mut seen, mut next) = (Seen::new(), vec![FACT.to_owned()]);
        let mut visited = BTreeSet::new();
        while let Some(message) = next.pop() {
            if !visited.insert(message.clone()) {
                continue;
            }
            for field in self.fields(&message) {
                seen.insert(format!("{message}.{}", field.name()));
                if field.r#type() == Type::Message {
                    next.push(field.type_name().to_owned());
                }
            }
        }
        seen
    }

    /// The bytes of a message with every field set; of several ways to say a
    /// part, the one of this turn.
    fn write(&self, message: &str, turn: usize, only: Option<&str>, depth: usize) -> Vec<u8> {
        let mut bytes = Vec::new();
        if depth > DEPTH_MAX {
            return bytes;
        }
        let fields = self.fields(message);
        for field in &fields {
            let real_oneof = field.oneof_index.filter(|_| !field.proto3_optional());
            if let Some(oneof) = real_oneof {
                let ways: Vec<_> = fields
                    .iter()
                    .filter(|f| f.oneof_index == Some(oneof) && !f.proto3_optional())
                    .collect();
                let is_kind = only.is_some()
                    && self.messages[message].oneof_decl[usize::try_from(oneof).expect("an index")]
                        .name()
                        == "kind";
                let chosen = if is_kind {
                    only == Some(field.name())
                } else {
                    ways[turn % ways.len()].number() == field.number()
                };
                if !chosen {
                    continue;
                }
            }
            self.write_field(field, turn, depth, &mut bytes);
        }
        bytes
    }

    fn write_field(
        &self,
        field: &FieldDescriptorProto,
        turn: usize,
        depth: usize,
        bytes: &mut Vec<u8>,
    ) {
        let number = u32::try_from(field.number()).expect("a field number");
        let varint = |value: u64, bytes: &mut Vec<u8>| {
            encode_key(number, WireType::Varint, bytes);
            encode_varint(value, bytes);
        };
        let delimited = |value: &[u8], bytes: &mut Vec<u8>| {
            encode_key(number, WireType::LengthDelimited, bytes);
            encode_varint(value.len() as u64, bytes);
            bytes.extend_from_slice(value);
        };
        // One that says which field it is, and fits the smallest type; an instant
        // must be one.
        let value = match field.name() {
            "at_us" | "wall_us" | "end_us" | "valid_from_us" | "valid_until_us" | "released_us" => {
                1_795_424_400_000_000
            }
            _ => 0,
        } + u64::from(number) * 3
            + 1;
        let is_list = field.label() == Label::Repeated;
        match field.r#type() {
            Type::Message => {
                let inner = self.write(field.type_name(), turn, None, depth + 1);
                for _ in 0..if is_list { 2 } else { 1 } {
                    delimited(&inner, bytes);
                }
            }
            Type::String => {
                for _ in 0..if is_list { 2 } else { 1 } {
                    delimited(format!("{}-{number}", field.name()).as_bytes(), bytes);
                }
            }
            Type::Bytes => {
                assert!(!is_list, "no lists of bytes here");
                delimited(&[u8::try_from(number).expect("a small number"); 16], bytes);
            }
            Type::Enum => {
                let values = &self.enums[field.type_name()].value;
                // Never the unspecified one, which is not written.
                let chosen = &values[1 + turn % (values.len() - 1)];
                varint(
                    u64::try_from(chosen.number()).expect("a positive number"),
                    bytes,
                );
            }
            Type::Bool => varint(1, bytes),
            Type::Double => {
                encode_key(number, WireType::SixtyFourBit, bytes);
                let value = f64::from(number) + 0.5;
                bytes.extend_from_slice(&value.to_le_bytes());
            }
            Type::Int32 | Type::Int64 | Type::Uint32 | Type::Uint64 if is_list => {
                let mut packed = Vec::new();
                encode_varint(value, &mut packed);
                encode_varint(value + 1, &mut packed);
                delimited(&packed, bytes);
            }
            Type::Int32 | Type::Int64 | Type::Uint32 | Type::Uint64 => varint(value, bytes),
            other => panic!("write a {other:?} here as well"),
        }
    }

    /// Reads bytes by the present contract: a line for each field, by name.
    pub(super) fn tell(
        &self,
        message: &str,
        mut bytes: &[u8],
        at: &str,
        lines: &mut Vec<String>,
        seen: &mut Seen,
    ) {
        while !bytes.is_empty() {
            let (number, wire) = decode_key(&mut bytes).expect("a key");
            let fields = self.fields(message);
            let Some(field) = fields.iter().find(|f| f.number().unsigned_abs() == number) else {
                lines.push(format!("{at}{number}: nobody knows this field"));
                skip_field(wire, number, &mut bytes, DecodeContext::default()).expect("a field");
                continue;
            };
            let name = format!("{at}{}", field.name());
            seen.insert(format!("{message}.{}", field.name()));
            let kind = field.r#type();
            match wire {
                WireType::Varint => {
                    let value = decode_varint(&mut bytes).expect("a number");
                    let told = match kind {
                        Type::Enum => {
                            let values = &self.enums[field.type_name()].value;
                            let found = values
                                .iter()
                                .find(|v| i64::from(v.number()) == value.cast_signed());
                            found.map_or("?", |v| v.name()).to_owned()
                        }
                        Type::Bool => (value == 1).to_string(),
                        Type::Int32 | Type::Int64 | Type::Uint32 | Type::Uint64 => {
                            value.to_string()
                        }
                        other => format!("a number where {other:?} is expected"),
                    };
                    lines.push(format!("{name} = {told}"));
                }
                WireType::SixtyFourBit => {
                    let (value, rest) = bytes.split_at(8);
                    bytes = rest;
                    let value = f64::from_le_bytes(value.try_into().expect("8 bytes"));
                    lines.push(format!("{name} = {value:?} {kind:?}"));
                }
                WireType::LengthDelimited => {
                    let length = decode_varint(&mut bytes).expect("a length");
                    let (value, rest) = bytes.split_at(usize::try_from(length).expect("a length"));
                    bytes = rest;
                    match kind {
                        Type::Message => {
                            lines.push(format!("{name}:"));
                            self.tell(field.type_name(), value, &format!("{name}."), lines, seen);
                        }
                        Type::String => {
                            lines.push(format!("{name} = {:?}", String::from_utf8_lossy(value)));
                        }
                        other => lines.push(format!("{name} = {} {other:?}", hex(value))),
                    }
                }
                other => panic!("{name}: {other:?} is not used here"),
            }
        }
    }
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}

fn unhex(text: &str) -> Vec<u8> {
    let digits: Vec<char> = text.chars().collect();
    digits
        .chunks(2)
        .map(|pair| u8::from_str_radix(&pair.iter().collect::<String>(), 16).expect("hex"))
        .collect()
}

/// A fact of the fixture.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Shape {
    pub(super) name: String,
    pub(super) bytes: Vec<u8>,
    /// What it said when it was written.
    pub(super) lines: Vec<String>,
}

fn path() -> PathBuf {
    PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/data/shapes.txt"))
}

pub(super) fn shapes() -> Vec<Shape> {
    let text = std::fs::read_to_string(path()).unwrap_or_default();
    let mut shapes: Vec<Shape> = Vec::new();
    for line in text.lines().filter(|line| !line.starts_with('#')) {
        if let Some(name) = line.strip_prefix("fact ") {
            shapes.push(Shape {
                name: name.to_owned(),
                bytes: Vec::new(),
                lines: Vec::new(),
            });
        } else if let Some(shape) = shapes.last_mut() {
            match line.strip_prefix("bytes ") {
                Some(digits) => shape.bytes = unhex(digits),
                None if line.is_empty() => {}
                None => shape.lines.push(line.trim_start().to_owned()),
            }
        }
    }
    shapes
}

/// A fact of a kind with everything set, as it would be written today.
fn shape(contract: &Contract, kind: &str, turn: usize) -> Shape {
    let bytes = contract.write(FACT, turn, Some(kind), 0);
    let (mut lines, mut seen) = (Vec::new(), Seen::new());
    contract.tell(FACT, &bytes, "", &mut lines, &mut seen);
    Shape {
        name: format!("{kind} {turn}"),
        bytes,
        lines,
    }
}

/// Ways to say a part of one message, at most: turns that are tried.
const TURNS: usize = 12;

/// What the fixture misses, as facts of today.
fn missing(contract: &Contract, shapes: &[Shape]) -> Vec<Shape> {
    let mut seen = Seen::new();
    for shape in shapes {
        contract.tell(FACT, &shape.bytes, "", &mut Vec::new(), &mut seen);
    }
    let mut more = Vec::new();
    let fields = contract.fields(FACT);
    for field in fields.iter().filter(|f| f.number() >= 20) {
        for turn in 0..TURNS {
            let shape = shape(contract, field.name(), turn);
            let before = seen.len();
            contract.tell(FACT, &shape.bytes, "", &mut Vec::new(), &mut seen);
            if seen.len() > before {
                more.push(shape);
            }
        }
    }
    let never: Vec<_> = contract.reachable().difference(&seen).cloned().collect();
    assert_eq!(never, [""; 0], "no shape has these: write them by hand");
    more
}

fn append(shapes: &[Shape]) {
    let mut text = std::fs::read_to_string(path()).unwrap_or_default();
    for shape in shapes {
        let _ = writeln!(text, "\nfact {}\nbytes {}", shape.name, hex(&shape.bytes));
        for line in &shape.lines {
            let _ = writeln!(text, "  {line}");
        }
    }
    std::fs::write(path(), text).expect("the fixture is written");
}

#[test]
fn every_shape_ever_written_reads_as_it_did() {
    let contract = Contract::present();
    let more = missing(&contract, &shapes());
    if std::env::var("BAYWRIGHT_SHAPES").as_deref() == Ok("append") {
        append(&more);
    }
    let shapes = shapes();
    let names: Vec<_> = missing(&contract, &shapes)
        .into_iter()
        .map(|s| s.name)
        .collect();
    assert_eq!(
        names, [""; 0],
        "new shapes: BAYWRIGHT_SHAPES=append writes them"
    );
    for shape in &shapes {
        let (mut lines, mut seen) = (Vec::new(), Seen::new());
        contract.tell(FACT, &shape.bytes, "", &mut lines, &mut seen);
        assert_eq!(
            lines, shape.lines,
            "{} means something else now",
            shape.name
        );
        let fact = v1::Fact::decode(&*shape.bytes).expect("a fact");
        assert!(fact.kind.is_some(), "{} has lost its kind", shape.name);
        assert_eq!(
            hex(&fact.encode_to_vec()),
            hex(&shape.bytes),
            "the generated code reads {} otherwise",
            shape.name
        );
    }
    println!("{} shapes", shapes.len());
}
