//! The one-time code with which a device joins: 26 base32 characters.
//!
//! The first 16 are 80 bits of the SHA-256 fingerprint of the shop's authority,
//! by which the device knows the daemon; the last 10 are 50 bits of secret, by
//! which the daemon knows the device. The alphabet is that of RFC 4648, section
//! 6, in lower case.

use std::fmt;
use std::str::FromStr;

/// Bytes of the authority's fingerprint in a code.
pub const FINGERPRINT_BYTES: usize = 10;

/// Characters of the secret.
pub const SECRET_CHARS: usize = 10;

/// Bits of the secret: five for each character.
pub const SECRET_BITS: u32 = 50;

/// Characters of a code.
pub const CODE_CHARS: usize = FINGERPRINT_CHARS + SECRET_CHARS;

const FINGERPRINT_CHARS: usize = FINGERPRINT_BYTES * 8 / 5;

const ALPHABET: &[u8; 32] = b"abcdefghijklmnopqrstuvwxyz234567";

/// Groups in which a code is printed, characters: short enough to read aloud.
const GROUPS: [usize; 6] = [4, 4, 4, 4, 5, 5];

/// A one-time code.
#[derive(Clone, PartialEq, Eq)]
pub struct JoinCode {
    /// The first bytes of the SHA-256 of the authority's certificate (DER).
    pub authority: [u8; FINGERPRINT_BYTES],
    secret: String,
}

/// A code that cannot be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum CodeFault {
    #[error("the code has {0} characters, not {CODE_CHARS}")]
    Length(usize),
    #[error("`{0}` is in no code: it has the letters a to z and the digits 2 to 7")]
    Character(char),
}

impl JoinCode {
    /// Makes a code of a fingerprint and [`SECRET_BITS`] random bits, the lowest
    /// of the number given.
    pub fn new(authority: [u8; FINGERPRINT_BYTES], random: u64) -> Self {
        let bits = (0..SECRET_CHARS).rev();
        let secret = bits
            .map(|at| letter(usize::try_from((random >> (at * 5)) & 31).unwrap_or(0)))
            .collect();
        Self { authority, secret }
    }

    /// The secret as it goes to the daemon.
    pub fn secret(&self) -> &str {
        &self.secret
    }
}

/// The first bytes of a fingerprint in the letters of a code, to compare by eye.
pub fn fingerprint_words(authority: [u8; FINGERPRINT_BYTES]) -> String {
    grouped(&letters(authority))
}

fn letter(value: usize) -> char {
    char::from(ALPHABET.get(value).copied().unwrap_or(b'a'))
}

fn letters(authority: [u8; FINGERPRINT_BYTES]) -> String {
    let mut number = authority
        .iter()
        .fold(0_u128, |number, byte| (number << 8) | u128::from(*byte));
    let mut letters = Vec::with_capacity(FINGERPRINT_CHARS);
    for _ in 0..FINGERPRINT_CHARS {
        letters.push(letter(usize::try_from(number & 31).unwrap_or(0)));
        number >>= 5;
    }
    letters.iter().rev().collect()
}

fn grouped(text: &str) -> String {
    let mut rest = text;
    let mut groups = Vec::new();
    for group in GROUPS {
        if rest.is_empty() {
            break;
        }
        let (first, after) = rest.split_at(group.min(rest.len()));
        groups.push(first);
        rest = after;
    }
    groups.join("-")
}

/// What a letter stands for. Digits that are in no code are what they look like.
fn value(letter: char) -> Option<u8> {
    let letter = match letter.to_ascii_lowercase() {
        '0' => 'o',
        '1' => 'l',
        '8' => 'b',
        letter => letter,
    };
    let at = ALPHABET
        .iter()
        .position(|known| char::from(*known) == letter)?;
    u8::try_from(at).ok()
}

impl FromStr for JoinCode {
    type Err = CodeFault;

    /// Reads a code as it is typed: capitals, hyphens and spaces do not matter.
    fn from_str(typed: &str) -> Result<Self, CodeFault> {
        let mut values = Vec::with_capacity(CODE_CHARS);
        let mut count = 0_usize;
        for letter in typed.chars().filter(|c| !c.is_whitespace() && *c != '-') {
            count += 1;
            let value = value(letter).ok_or(CodeFault::Character(letter))?;
            if values.len() < CODE_CHARS {
                values.push(value);
            }
        }
        if count != CODE_CHARS {
            return Err(CodeFault::Length(count));
        }
        let (first, last) = values.split_at(FINGERPRINT_CHARS);
        let number = first
            .iter()
            .fold(0_u128, |number, value| (number << 5) | u128::from(*value));
        let mut authority = [0; FINGERPRINT_BYTES];
        for (to, from) in authority
            .iter_mut()
            .zip(number.to_be_bytes().iter().skip(16 - FINGERPRINT_BYTES))
        {
            *to = *from;
        }
        Ok(Self {
            authority,
            secret: last
                .iter()
                .map(|value| letter(usize::from(*value)))
                .collect(),
        })
    }
}

impl fmt::Display for JoinCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&grouped(&format!(
            "{}{}",
            letters(self.authority),
            self.secret
        )))
    }
}

/// A secret is not written into a trace.
impl fmt::Debug for JoinCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("JoinCode")
            .field("authority", &fingerprint_words(self.authority))
            .finish_non_exhaustive()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 4648, section 10: BASE32("foobar") = MZXW6YTBOI====== ; ten bytes
    /// "foobarfoob" come without padding (made with Python's base64.b32encode).
    #[test]
    fn the_letters_are_those_of_rfc_4648() {
        let code = JoinCode::new(*b"foobarfoob", 0);
        assert_eq!(code.to_string(), "mzxw-6ytb-ojtg-633c-aaaaa-aaaaa");
        let last = JoinCode::new([0xff; 10], u64::MAX);
        assert_eq!(last.to_string(), "7777-7777-7777-7777-77777-77777");
    }

    #[test]
    fn a_code_is_read_as_people_type_it() {
        let code = JoinCode::new(*b"0123456789", 0x2_5a5a_1234_5678);
        let text = code.to_string();
        assert_eq!(text.len(), CODE_CHARS + GROUPS.len() - 1);
        let bare = text.replace('-', "");
        let spaced = text.replace('-', " ").to_uppercase();
        for typed in [text.as_str(), &bare, &spaced, &format!("  {text}\n")] {
            assert_eq!(typed.parse::<JoinCode>().as_ref(), Ok(&code), "{typed}");
        }
        let looks = "O1B8".parse::<JoinCode>();
        assert_eq!(looks, Err(CodeFault::Length(4)));
        assert_eq!("mz9w".parse::<JoinCode>(), Err(CodeFault::Character('9')));
        assert_eq!("mü".parse::<JoinCode>(), Err(CodeFault::Character('ü')));
        let long = "a".repeat(10_000);
        assert_eq!(long.parse::<JoinCode>(), Err(CodeFault::Length(10_000)));
        assert!(!format!("{code:?}").contains(code.secret()));
    }
}
