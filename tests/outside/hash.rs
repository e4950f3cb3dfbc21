//! SHA-256 against the example values of FIPS 180-4, and the chain rule
//! against the definition written in `log.proto`.

use sha2::{Digest as _, Sha256};

use crate::table;

fn hex(bytes: &[u8]) -> String {
    bytes
        .iter()
        .flat_map(|b| [b >> 4, b & 15])
        .filter_map(|digit| char::from_digit(u32::from(digit), 16))
        .collect()
}

fn unhex(text: &str) -> Vec<u8> {
    (0..text.len())
        .step_by(2)
        .map(|at| u8::from_str_radix(&text[at..at + 2], 16).expect("hex"))
        .collect()
}

#[test]
fn sha_256_gives_the_digests_of_fips_180_4() {
    for row in table(include_str!("data/sha256.csv")) {
        let message = unhex(&row["message_hex"]);
        let repeat: usize = row["repeat"].parse().unwrap_or(1);
        let mut hash = Sha256::new();
        for _ in 0..repeat {
            hash.update(&message);
        }
        assert_eq!(hex(&hash.finalize()), row["sha256"], "{}", row["id"]);
    }
}
