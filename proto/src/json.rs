//! How messages print as JSON where the derived form would not be readable:
//! event ids as UUID text, enums as the words of the contract.

use serde::Serializer;

use crate::v1::{QuoteState, Severity, TimeBasis, Unit};

/// Bytes of a UUID in its 16-byte form.
const UUID_BYTES: usize = 16;

/// Writes an event id as UUID text; an id that is not set is an empty text,
/// and bytes of another length are plain hexadecimal.
pub fn uuid<S: Serializer>(bytes: &[u8], serializer: S) -> Result<S::Ok, S::Error> {
    serializer.serialize_str(&uuid_text(bytes))
}

/// The text of an event id, as [`uuid`] writes it.
pub fn uuid_text(bytes: &[u8]) -> String {
    let grouped = bytes.len() == UUID_BYTES;
    let mut text = String::with_capacity(bytes.len() * 2 + 4);
    for (index, byte) in bytes.iter().enumerate() {
        if grouped && matches!(index, 4 | 6 | 8 | 10) {
            text.push('-');
        }
        text.push(nibble(byte >> 4));
        text.push(nibble(byte & 0x0f));
    }
    text
}

fn nibble(value: u8) -> char {
    char::from_digit(u32::from(value), 16).unwrap_or('0')
}

/// Writes a [`Severity`] as `say`, `odd` or `caution`.
pub fn severity<S: Serializer>(value: &i32, serializer: S) -> Result<S::Ok, S::Error> {
    let name = Severity::try_from(*value).map_or("", |v| v.as_str_name());
    serializer.serialize_str(&word(name, "SEVERITY_"))
}

/// Writes a [`TimeBasis`] as `boot`, `earlier-boot`, `present-offset` or `stated`.
pub fn time_basis<S: Serializer>(value: &i32, serializer: S) -> Result<S::Ok, S::Error> {
    let name = TimeBasis::try_from(*value).map_or("", |v| v.as_str_name());
    serializer.serialize_str(&word(name, "TIME_BASIS_"))
}

/// Writes a [`Unit`] as `ml`, `us-floz`, `each`, ...
pub fn unit<S: Serializer>(value: &i32, serializer: S) -> Result<S::Ok, S::Error> {
    let name = Unit::try_from(*value).map_or("", |v| v.as_str_name());
    serializer.serialize_str(&word(name, "UNIT_"))
}

/// `SEVERITY_ODD` without its prefix, in lower case with hyphens. An enum
/// value that a newer daemon sent and this build does not know is `unknown`.
fn word(name: &str, prefix: &str) -> String {
    match name.strip_prefix(prefix) {
        Some("UNSPECIFIED") => String::new(),
        Some(rest) => rest.to_ascii_lowercase().replace('_', "-"),
        None => "unknown".to_owned(),
    }
}

/// Writes a [`QuoteState`] as `open`, `accepted`, `declined` or `run-out`.
pub fn quote_state<S: Serializer>(value: &i32, serializer: S) -> Result<S::Ok, S::Error> {
    let name = QuoteState::try_from(*value).map_or("", |v| v.as_str_name());
    serializer.serialize_str(&word(name, "QUOTE_STATE_"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::v1::{Amount, Notice, OddRecord, StoryLine};

    #[test]
    fn an_event_id_prints_as_uuid_text() {
        let bytes: Vec<u8> = (0..16).collect();
        assert_eq!(uuid_text(&bytes), "00010203-0405-0607-0809-0a0b0c0d0e0f");
        assert_eq!(uuid_text(&[]), "");
        assert_eq!(uuid_text(&[0xab, 0x0c]), "ab0c");
    }

    #[test]
    fn enums_print_as_words_and_unknown_ones_do_not_fail() {
        let notice = |severity| Notice {
            code: "late".to_owned(),
            severity,
            text: String::new(),
        };
        let json = |severity| serde_json::to_value(notice(severity)).unwrap()["severity"].clone();
        assert_eq!(json(2), "odd");
        assert_eq!(json(0), "");
        assert_eq!(json(99), "unknown");
        let amount = Amount {
            decimal: "12".to_owned(),
            unit: 3,
        };
        assert_eq!(serde_json::to_value(amount).unwrap()["unit"], "us-floz");
        let line = StoryLine {
            time_basis: 2,
            ..StoryLine::default()
        };
        assert_eq!(
            serde_json::to_value(line).unwrap()["time_basis"],
            "earlier-boot"
        );
    }

    #[test]
    fn no_printed_message_shows_bytes_as_a_list_of_numbers() {
        let odd = OddRecord {
            event_id: vec![7; 16],
            ..OddRecord::default()
        };
        let json = serde_json::to_value(odd).unwrap();
        assert_eq!(json["event_id"], "07070707-0707-0707-0707-070707070707");
    }
}
