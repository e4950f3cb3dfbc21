//! Who gets in: one-time codes, the list of devices, certificates and requests
//! to sign one.

use std::path::Path;
use std::sync::LazyLock;

use baywright_daemon::access::authority::{Authority, enrolment_of};
use baywright_daemon::access::devices;
use baywright_terms::join_code::{CODE_CHARS, JoinCode, SECRET_CHARS};
use uuid::Uuid;

use crate::Target;
use crate::food::NOW;

pub const JOIN_CODE: Target = Target {
    name: "join-code",
    run: join_code,
    words: &[
        "mzxw-6ytb-ojtg-633c-aaaaa-aaaaa",
        "0",
        "1",
        "8",
        "-",
        " ",
        "7777",
        "ſ",
        "K",
    ],
    slower: 1,
    bytes_max: 16 * 1024,
};

pub const DEVICES: Target = Target {
    name: "devices",
    run: devices,
    words: &[
        "{\"devices\":[",
        "]}",
        "\"name\":",
        "\"role\":",
        "\"bay\"",
        "\"owner\"",
        "\"enrolment\":",
        "\"user_id\":",
        "null",
        "\"cut_off_us\":",
        "9223372036854775808",
        "{",
        "}",
        ",",
    ],
    slower: 4,
    bytes_max: 16 * 1024,
};

pub const CERTIFICATE: Target = Target {
    name: "certificate",
    run: certificate,
    words: &[
        "0\u{82}",
        "\u{6}\u{3}U\u{4}\u{3}",
        "urn:uuid:",
        "*\u{86}H",
        "\0",
    ],
    slower: 40,
    bytes_max: 4 * 1024,
};

fn join_code(data: &[u8]) {
    let typed = String::from_utf8_lossy(data);
    match typed.parse::<JoinCode>() {
        Ok(code) => {
            assert_eq!(code.secret().len(), SECRET_CHARS);
            let shown = code.to_string();
            assert!(shown.parse::<JoinCode>().as_ref() == Ok(&code), "{shown}");
            let letters = typed.chars().filter(|c| c.is_alphanumeric());
            assert_eq!(letters.count(), CODE_CHARS, "{typed:?}");
            assert!(
                !format!("{code:?}").contains(code.secret()),
                "a secret in a trace"
            );
        }
        Err(fault) => assert!(fault.to_string().len() < 200),
    }
}

fn devices(data: &[u8]) {
    let text = String::from_utf8_lossy(data);
    if let Ok(read) = devices::read(&text, Path::new("devices.json")) {
        let written = devices::text(&read).unwrap_or_default();
        let again = devices::read(&written, Path::new("devices.json"));
        assert!(again.is_ok_and(|again| again == read), "{written}");
    }
    if devices::is_name(&text) {
        let plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
        assert!(!text.is_empty() && text.len() <= 64 && text.chars().all(plain));
    }
}

static AUTHORITY: LazyLock<Option<Authority>> = LazyLock::new(|| Authority::make().ok());

/// Whatever a request says, what is signed is what the authority says.
fn certificate(data: &[u8]) {
    let _ = enrolment_of(data);
    let Some(authority) = AUTHORITY.as_ref() else {
        return;
    };
    let enrolment = Uuid::from_bytes([9; 16]);
    if let Ok(issued) = authority.sign(data, "bay-2", enrolment, NOW) {
        assert_eq!(enrolment_of(&issued.certificate), Some(enrolment));
        assert!(issued.expires_us > NOW.0, "it ended before it began");
        let holds = |name: &[u8]| {
            let mut windows = issued.certificate.windows(name.len());
            windows.any(|window| window == name)
        };
        assert!(holds(b"bay-2") && !holds(b"hostile-name"));
    }
}
