//! Rows of the fold in typed tables that a person can query.

mod columns;
mod put;
mod shapes;
mod table;
mod take;

use std::sync::{Arc, LazyLock};

use baywright_floor::event::{EventId, Position};
use baywright_floor::notice::Severity;
use baywright_floor::row::{Emitted, Row};
use baywright_terms::time::Micros;
use rusqlite::{Connection, Params};

use super::touched::Touched;
use columns::{Put, Take};
pub(crate) use table::{KEY, Table, When};

/// Built once: the fold inserts some hundred thousand rows at a rebuild.
static INSERTS: LazyLock<Vec<String>> =
    LazyLock::new(|| Table::ALL.iter().map(|table| table.insert_sql()).collect());

/// As [`INSERTS`], for the rows whose origin lies in `?1..?2`.
static DELETES: LazyLock<Vec<String>> = LazyLock::new(|| {
    Table::ALL
        .iter()
        .map(|table| {
            let name = table.shape().name;
            let told = table
                .learned_from()
                .map_or_else(String::new, |column| format!(" RETURNING {column}"));
            format!("DELETE FROM {name} WHERE origin_us >= ?1 AND origin_us < ?2{told}")
        })
        .collect()
});

/// Adds a row to its table.
pub(crate) fn insert(conn: &Connection, emitted: &Emitted) -> rusqlite::Result<()> {
    let table = put::table_of(&emitted.row);
    let Some(sql) = INSERTS.get(table as usize) else {
        return Ok(());
    };
    let mut statement = conn.prepare_cached(sql)?;
    let mut to = Put::new(&mut statement);
    let origin = &emitted.origin;
    to.value(origin.occurred.0)?.value(&*origin.device)?;
    to.number(origin.device_seq)?.value(emitted.ordinal)?;
    put::put(&emitted.row, &mut to)?;
    statement.raw_execute()?;
    Ok(())
}

/// Takes out the rows whose origin lies in `from..until`. Gives the jobs that
/// lost rows.
pub(crate) fn delete_span(
    conn: &Connection,
    from: Micros,
    until: Option<Micros>,
) -> rusqlite::Result<Touched> {
    let until = until.map_or(i64::MAX, |until| until.0);
    let mut touched = Touched::default();
    for (table, sql) in Table::ALL.into_iter().zip(DELETES.iter()) {
        let mut statement = conn.prepare_cached(sql)?;
        if table.learned_from().is_none() {
            statement.execute((from.0, until))?;
            continue;
        }
        let mut deleted = statement.query((from.0, until))?;
        while let Some(row) = deleted.next()? {
            if table == Table::Past {
                touched.past = true;
            } else {
                let job: Option<[u8; 16]> = row.get(0)?;
                touched.jobs.extend(job.map(EventId));
            }
        }
    }
    Ok(touched)
}

/// Reads rows of a table with the event behind each; `rest` follows the table's name.
pub(crate) fn select(
    conn: &Connection,
    table: Table,
    rest: &str,
    params: impl Params,
) -> rusqlite::Result<Vec<Emitted>> {
    let mut statement = conn.prepare_cached(&table.select_sql(rest))?;
    let mut rows = statement.query(params)?;
    let mut found = Vec::new();
    while let Some(row) = rows.next()? {
        let mut from = Take::new(row);
        let origin = Position {
            occurred: Micros(from.value()?),
            device: Arc::from(from.text()?),
            device_seq: from.number()?,
        };
        let ordinal = from.number()?;
        found.push(Emitted {
            origin,
            ordinal,
            row: take::take(table, &mut from)?,
        });
    }
    Ok(found)
}

/// Rows of a table alone.
pub(crate) fn select_rows(
    conn: &Connection,
    table: Table,
    rest: &str,
    params: impl Params,
) -> rusqlite::Result<Vec<Row>> {
    let found = select(conn, table, rest, params)?;
    Ok(found.into_iter().map(|emitted| emitted.row).collect())
}

/// Makes all row tables.
pub(crate) fn tables_ddl() -> String {
    Table::ALL.iter().map(|table| table.ddl()).collect()
}

/// Makes the indices of all row tables.
pub(crate) fn indices_ddl() -> String {
    Table::ALL.iter().map(|table| table.indices_ddl()).collect()
}

/// The word that a value stands as in a column.
pub(crate) fn word<T: columns::Word>(value: T) -> &'static str {
    value.word()
}

/// A severity as it stands in the notice table.
fn severity_word(severity: Severity) -> &'static str {
    match severity {
        Severity::Say => "say",
        Severity::Caution => "caution",
        Severity::Odd => "odd",
    }
}
