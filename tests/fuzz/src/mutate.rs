//! Mutations: bit flips, edges, cut and doubled pieces, splices of kept inputs,
//! words of the grammar, extreme lengths.

use rand::seq::IndexedRandom as _;
use rand::{Rng, RngExt as _};

/// Characters that parsers and terminals trip over.
const ODD: [&str; 24] = [
    "\0",
    "\u{1b}[2J",
    "\u{9b}31m",
    "\u{202e}",
    "\u{2066}",
    "\u{feff}",
    "\u{200b}",
    "\u{85}",
    "\r\n",
    "\u{2028}",
    "\"",
    "\"\"",
    "'",
    "=",
    ",",
    ";",
    "\t",
    "-",
    "\u{2212}",
    "\u{a0}",
    "\u{661}",
    "e\u{301}",
    "𝟙",
    "İ",
];

/// Numbers as text at which arithmetic breaks.
const NUMBERS: [&str; 14] = [
    "0",
    "-0",
    "1e9",
    "00000000000000000001",
    "0.0000000001",
    "2147483648",
    "4294967296",
    "9223372036854775807",
    "9223372036854775808",
    "18446744073709551616",
    "-9223372036854775808",
    "1,234.5",
    "1.234,5",
    "999999999999999999999999999999999999999999",
];

/// A new input out of kept ones.
pub fn mutated<R: Rng>(rng: &mut R, kept: &[Vec<u8>], words: &[&str], bytes_max: usize) -> Vec<u8> {
    let mut input = match kept.choose(rng) {
        Some(kept) if !rng.random_ratio(1, 16) => kept.clone(),
        _ => fresh(rng, words),
    };
    // One change most often: two at once hide each other.
    let changes = 1 + rng.random_range(0..6_u32) * rng.random_range(0..2_u32);
    for _ in 0..changes {
        change(rng, &mut input, kept, words);
    }
    input.truncate(bytes_max);
    input
}

fn fresh<R: Rng>(rng: &mut R, words: &[&str]) -> Vec<u8> {
    let mut input = Vec::new();
    for _ in 0..rng.random_range(1..8_u32) {
        match words.choose(rng) {
            Some(word) if rng.random_ratio(3, 4) => input.extend_from_slice(word.as_bytes()),
            _ => input.extend((0..rng.random_range(0..16_u32)).map(|_| rng.random::<u8>())),
        }
        if rng.random() {
            input.push(b' ');
        }
    }
    input
}

fn change<R: Rng>(rng: &mut R, input: &mut Vec<u8>, kept: &[Vec<u8>], words: &[&str]) {
    let at = rng.random_range(0..=input.len());
    match rng.random_range(0..11_u32) {
        0 => {
            if let Some(byte) = input.get_mut(at) {
                *byte ^= 1 << rng.random_range(0..8_u32);
            }
        }
        1 => {
            if let Some(byte) = input.get_mut(at) {
                *byte = *[0, 1, 0x7f, 0x80, 0xff, b'0', b'9', rng.random()]
                    .choose(rng)
                    .unwrap_or(&0);
            }
        }
        2 => insert(input, at, &[rng.random()]),
        3 => {
            let piece = piece(rng, input);
            insert(input, at, &piece);
        }
        4 => {
            let end = at + rng.random_range(0..=(input.len() - at).min(16));
            input.drain(at..end);
        }
        5 => {
            if let Some(other) = kept.choose(rng) {
                let piece = piece(rng, other);
                insert(input, at, &piece);
            }
        }
        6 => {
            // The head of this and the tail of another.
            if let Some(other) = kept.choose(rng) {
                input.truncate(at);
                let from = rng.random_range(0..=other.len());
                input.extend_from_slice(other.get(from..).unwrap_or_default());
            }
        }
        7 | 8 => {
            if let Some(word) = words.choose(rng) {
                insert(input, at, word.as_bytes());
            }
        }
        9 => {
            let odd = if rng.random() {
                ODD.choose(rng)
            } else {
                NUMBERS.choose(rng)
            };
            insert(input, at, odd.copied().unwrap_or_default().as_bytes());
        }
        _ => length(rng, input, at),
    }
}

/// Extremes of length: nothing, or a piece many times over.
fn length<R: Rng>(rng: &mut R, input: &mut Vec<u8>, at: usize) {
    if rng.random_ratio(1, 4) {
        input.truncate(at);
        return;
    }
    let piece = piece(rng, input);
    let times = *[2, 16, 64, 400].choose(rng).unwrap_or(&2);
    let long: Vec<u8> = piece
        .iter()
        .copied()
        .cycle()
        .take(piece.len() * times)
        .collect();
    insert(input, at, &long);
}

/// Up to 32 bytes of an input.
fn piece<R: Rng>(rng: &mut R, of: &[u8]) -> Vec<u8> {
    let from = rng.random_range(0..=of.len());
    let length = rng.random_range(0..=(of.len() - from).min(32));
    of.get(from..from + length).unwrap_or_default().to_vec()
}

fn insert(input: &mut Vec<u8>, at: usize, piece: &[u8]) {
    let at = at.min(input.len());
    input.splice(at..at, piece.iter().copied());
}
