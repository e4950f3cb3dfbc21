//! All rows as text in the order of their keys, and the hash of that: equal
//! for a live database and a rebuilt one.

use std::fmt::Write as _;

use rusqlite::Connection;
use rusqlite::types::ValueRef;
use sha2::{Digest as _, Sha256};

use super::FactsError;
use super::rows::{KEY, Table};

/// Gives each row of each table to `line`, as `table|value|value...`.
///
/// Values carry their type, so that `1`, `"1"` and a blob differ; texts are
/// quoted, so that no value can look like two.
///
/// # Errors
/// If the database fails.
pub fn dump(conn: &Connection, line: &mut dyn FnMut(&str)) -> Result<(), FactsError> {
    let mut text = String::new();
    for table in Table::ALL {
        let sql = table.select_sql(&format!("ORDER BY {KEY}"));
        let mut statement = conn.prepare(&sql)?;
        let columns = statement.column_count();
        let mut rows = statement.query([])?;
        while let Some(row) = rows.next()? {
            text.clear();
            text.push_str(table.shape().name);
            for column in 0..columns {
                text.push('|');
                push_value(&mut text, row.get_ref(column)?);
            }
            line(&text);
        }
    }
    Ok(())
}

fn push_value(text: &mut String, value: ValueRef<'_>) {
    // Writing into a String cannot fail.
    let _ = match value {
        ValueRef::Null => write!(text, "-"),
        ValueRef::Integer(number) => write!(text, "{number}"),
        ValueRef::Real(number) => write!(text, "{number:?}f"),
        ValueRef::Text(bytes) => write!(text, "{:?}", String::from_utf8_lossy(bytes)),
        ValueRef::Blob(bytes) => {
            text.push_str("x'");
            for byte in bytes {
                let _ = write!(text, "{byte:02x}");
            }
            write!(text, "'")
        }
    };
}

/// SHA-256 over the lines of [`dump`], each ended by a line feed.
///
/// # Errors
/// If the database fails.
pub fn dump_hash(conn: &Connection) -> Result<[u8; 32], FactsError> {
    let mut hash = Sha256::new();
    dump(conn, &mut |line| {
        hash.update(line);
        hash.update("\n");
    })?;
    Ok(hash.finalize().into())
}
