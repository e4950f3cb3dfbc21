//! The typed row tables: their names, columns and what they are looked up by.
//!
//! Every table starts with the key (`origin_us`, `origin_device`,
//! `origin_seq`, `ordinal`): the position of the event whose folding emitted
//! the row, which does not depend on the order of arrival.

use super::shapes;

/// One table for each variant of [`baywright_floor::row::Row`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Table {
    Air,
    Coated,
    Container,
    Counted,
    Covered,
    Cured,
    Declared,
    FlawFound,
    FlawRemedied,
    HandsOn,
    Job,
    Lamp,
    Levelled,
    MixDumped,
    MixMade,
    Notice,
    Past,
    Presence,
    ProductUse,
    Quote,
    QuoteDecided,
    Release,
    Stock,
    Waiting,
}

/// When the things of a table happened.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum When {
    /// At an instant, in this column.
    At(&'static str),
    /// Over `from_us..until_us`.
    Span,
    /// It has no time of its own; it belongs to its job or its event.
    Untimed,
}

/// How a table is made and looked up.
#[derive(Debug)]
pub(crate) struct Shape {
    pub(crate) name: &'static str,
    /// Names and types, after the key.
    pub(crate) columns: &'static [(&'static str, &'static str)],
    pub(crate) when: When,
    pub(crate) by_job: bool,
    /// Further columns with an index.
    pub(crate) also_by: &'static [&'static str],
}

/// The key of every row table.
pub(crate) const KEY: &str = "origin_us, origin_device, origin_seq, ordinal";
/// Columns in [`KEY`].
pub(crate) const KEY_COLUMNS: usize = 4;

impl Table {
    /// All tables in the order of their names.
    pub(crate) const ALL: [Table; 24] = [
        Table::Air,
        Table::Coated,
        Table::Container,
        Table::Counted,
        Table::Covered,
        Table::Cured,
        Table::Declared,
        Table::FlawFound,
        Table::FlawRemedied,
        Table::HandsOn,
        Table::Job,
        Table::Lamp,
        Table::Levelled,
        Table::MixDumped,
        Table::MixMade,
        Table::Notice,
        Table::Past,
        Table::Presence,
        Table::ProductUse,
        Table::Quote,
        Table::QuoteDecided,
        Table::Release,
        Table::Stock,
        Table::Waiting,
    ];

    pub(crate) fn shape(self) -> &'static Shape {
        match self {
            Table::Air => &shapes::AIR,
            Table::Coated => &shapes::COATED,
            Table::Container => &shapes::CONTAINER,
            Table::Counted => &shapes::COUNTED,
            Table::Covered => &shapes::COVERED,
            Table::Cured => &shapes::CURED,
            Table::Declared => &shapes::DECLARED,
            Table::FlawFound => &shapes::FLAW_FOUND,
            Table::FlawRemedied => &shapes::FLAW_REMEDIED,
            Table::HandsOn => &shapes::HANDS_ON,
            Table::Job => &shapes::JOB,
            Table::Lamp => &shapes::LAMP,
            Table::Levelled => &shapes::LEVELLED,
            Table::MixDumped => &shapes::MIX_DUMPED,
            Table::MixMade => &shapes::MIX_MADE,
            Table::Notice => &shapes::NOTICE,
            Table::Past => &shapes::PAST,
            Table::Presence => &shapes::PRESENCE,
            Table::ProductUse => &shapes::PRODUCT_USE,
            Table::Quote => &shapes::QUOTE,
            Table::QuoteDecided => &shapes::QUOTE_DECIDED,
            Table::Release => &shapes::RELEASE,
            Table::Stock => &shapes::STOCK,
            Table::Waiting => &shapes::WAITING,
        }
    }

    /// The column that says whose record its rows belong to, where anything is
    /// learned from them; [`super::super::touched`] names the same rows.
    pub(crate) fn learned_from(self) -> Option<&'static str> {
        match self {
            Table::Job
            | Table::HandsOn
            | Table::Waiting
            | Table::Presence
            | Table::ProductUse
            | Table::Release
            | Table::Declared => Some("job"),
            Table::Past => Some("key"),
            _ => None,
        }
    }

    /// Creates the table.
    pub(crate) fn ddl(self) -> String {
        let shape = self.shape();
        let name = shape.name;
        let columns = shape
            .columns
            .iter()
            .fold(String::new(), |sql, (column, kind)| {
                sql + "  " + column + " " + kind + ",\n"
            });
        format!(
            "CREATE TABLE {name} (\n  origin_us INTEGER NOT NULL,\n  origin_device TEXT NOT NULL,\n  \
             origin_seq INTEGER NOT NULL,\n  ordinal INTEGER NOT NULL,\n{columns}  PRIMARY KEY ({KEY})\n) \
             STRICT, WITHOUT ROWID;\n"
        )
    }

    /// Creates the indices of the table.
    pub(crate) fn indices_ddl(self) -> String {
        let shape = self.shape();
        let name = shape.name;
        let by_time = match shape.when {
            When::At(column) => Some(column),
            // Both ends, so that what began too late is passed over in the index.
            When::Span => Some("until_us, from_us"),
            When::Untimed => None,
        };
        let by_job = shape.by_job.then_some("job");
        by_time
            .into_iter()
            .chain(by_job)
            .chain(shape.also_by.iter().copied())
            .fold(String::new(), |sql, column| {
                let by = column.replace(", ", "_and_");
                sql + &format!("CREATE INDEX {name}_by_{by} ON {name} ({column});\n")
            })
    }

    /// Adds one row. A key seen before is replaced, so that a fact whose
    /// position is taken (which the log should not allow) cannot stop the fold.
    pub(crate) fn insert_sql(self) -> String {
        let shape = self.shape();
        let marks = vec!["?"; KEY_COLUMNS + shape.columns.len()].join(", ");
        format!("INSERT OR REPLACE INTO {} VALUES ({marks})", shape.name)
    }

    /// Reads rows, the key first; `rest` starts with WHERE or ORDER BY.
    pub(crate) fn select_sql(self, rest: &str) -> String {
        format!("SELECT * FROM {} {rest}", self.shape().name)
    }
}
