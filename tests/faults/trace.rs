//! What a process did to its disk, as `disk.c` writes it down, with marks of
//! the test between: what somebody had been promised by then.

use std::fs::OpenOptions;
use std::io::Write as _;
use std::path::Path;

const MAGIC: u32 = 0x6469_7362;
const HEAD_BYTES: usize = 40;
/// An operation that only tests write.
const OP_MARK: u32 = 100;

/// One line of the trace.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Event {
    Create {
        ino: u64,
        path: String,
    },
    Write {
        ino: u64,
        offset: u64,
        data: Vec<u8>,
    },
    Truncate {
        ino: u64,
        length: u64,
    },
    Sync {
        ino: u64,
    },
    SyncFailed {
        ino: u64,
    },
    SyncFolder {
        path: String,
    },
    Rename {
        from: String,
        to: String,
    },
    Unlink {
        path: String,
    },
    Link {
        from: String,
        to: String,
    },
    MakeFolder {
        path: String,
    },
    /// Somebody was told that this is safe.
    Promised {
        what: String,
        number: u64,
    },
}

/// Adds a mark: whatever was written down so far had happened before it.
pub(crate) fn promise(trace: &Path, what: &str, number: u64) {
    let mut line = Vec::new();
    line.extend_from_slice(&MAGIC.to_le_bytes());
    line.extend_from_slice(&OP_MARK.to_le_bytes());
    line.extend_from_slice(&number.to_le_bytes());
    line.extend_from_slice(&[0; 16]);
    let length = u32::try_from(what.len()).expect("a short mark");
    line.extend_from_slice(&length.to_le_bytes());
    line.extend_from_slice(&[0; 4]);
    line.extend_from_slice(what.as_bytes());
    let mut file = OpenOptions::new()
        .append(true)
        .create(true)
        .open(trace)
        .expect("the trace");
    file.write_all(&line).expect("a mark in the trace");
}

/// Reads a trace; paths are given from `root` on.
pub(crate) fn read(trace: &Path, root: &Path) -> Vec<Event> {
    let bytes = std::fs::read(trace).expect("a trace");
    let root = root.to_str().expect("a path in text");
    let mut rest = bytes.as_slice();
    let mut events = Vec::new();
    while !rest.is_empty() {
        let head = take(&mut rest, HEAD_BYTES);
        let word = |at: usize| u32::from_le_bytes(head[at..at + 4].try_into().expect("four bytes"));
        let long =
            |at: usize| u64::from_le_bytes(head[at..at + 8].try_into().expect("eight bytes"));
        assert_eq!(word(0), MAGIC, "a line of the trace begins here");
        let (op, ino, offset, length) = (word(4), long(8), long(16), long(24));
        let path = text(take(&mut rest, word(32) as usize));
        let other = text(take(&mut rest, word(36) as usize));
        let within = |path: &str| {
            let path = path.strip_prefix(root).unwrap_or(path);
            path.trim_start_matches('/').to_owned()
        };
        events.push(match op {
            1 => Event::Create {
                ino,
                path: within(&path),
            },
            2 => {
                let length = usize::try_from(length).expect("a length");
                let data = take(&mut rest, length).to_vec();
                Event::Write { ino, offset, data }
            }
            3 => Event::Truncate {
                ino,
                length: offset,
            },
            4 => Event::Sync { ino },
            5 => Event::SyncFolder {
                path: within(&path),
            },
            6 => Event::Rename {
                from: within(&path),
                to: within(&other),
            },
            7 => Event::Unlink {
                path: within(&path),
            },
            8 => Event::Link {
                from: within(&path),
                to: within(&other),
            },
            9 => Event::MakeFolder {
                path: within(&path),
            },
            10 => Event::SyncFailed { ino },
            OP_MARK => Event::Promised {
                what: path,
                number: ino,
            },
            other => panic!("no operation {other}"),
        });
    }
    events
}

fn take<'a>(rest: &mut &'a [u8], length: usize) -> &'a [u8] {
    let (taken, left) = rest.split_at_checked(length).expect("a whole line");
    *rest = left;
    taken
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).expect("a path in text")
}
