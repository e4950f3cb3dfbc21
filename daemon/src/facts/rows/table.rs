//! The typed row tables: their names, columns and what they are looked up by.
//!
//! Every table starts with the key (`origin_us`, `origin_device`,
//! `origin_seq`, `ordinal`): the position of the event whose folding emitted
//! the row, which does not depend on the order of arrival.

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
    Presence,
    ProductUse,
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

const TEXT: &str = "TEXT NOT NULL";
const INT: &str = "INTEGER NOT NULL";
const INT_OR_NULL: &str = "INTEGER";
const ID: &str = "BLOB NOT NULL";
const ID_OR_NULL: &str = "BLOB";

impl Table {
    /// All tables in the order of their names.
    pub(crate) const ALL: [Table; 21] = [
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
        Table::Presence,
        Table::ProductUse,
        Table::Release,
        Table::Stock,
        Table::Waiting,
    ];

    pub(crate) fn shape(self) -> &'static Shape {
        match self {
            Table::Air => &AIR,
            Table::Coated => &COATED,
            Table::Container => &CONTAINER,
            Table::Counted => &COUNTED,
            Table::Covered => &COVERED,
            Table::Cured => &CURED,
            Table::Declared => &DECLARED,
            Table::FlawFound => &FLAW_FOUND,
            Table::FlawRemedied => &FLAW_REMEDIED,
            Table::HandsOn => &HANDS_ON,
            Table::Job => &JOB,
            Table::Lamp => &LAMP,
            Table::Levelled => &LEVELLED,
            Table::MixDumped => &MIX_DUMPED,
            Table::MixMade => &MIX_MADE,
            Table::Notice => &NOTICE,
            Table::Presence => &PRESENCE,
            Table::ProductUse => &PRODUCT_USE,
            Table::Release => &RELEASE,
            Table::Stock => &STOCK,
            Table::Waiting => &WAITING,
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
            When::Span => Some("until_us"),
            When::Untimed => None,
        };
        let by_job = shape.by_job.then_some("job");
        by_time
            .into_iter()
            .chain(by_job)
            .chain(shape.also_by.iter().copied())
            .fold(String::new(), |sql, column| {
                sql + &format!("CREATE INDEX {name}_by_{column} ON {name} ({column});\n")
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

const AIR: Shape = Shape {
    name: "air",
    columns: &[
        ("bay", TEXT),
        ("at_us", INT),
        ("air_milli_c", INT),
        ("humidity_milli_pct", INT),
        ("surface_milli_c", INT_OR_NULL),
        ("sensor", INT),
        ("seq", INT),
    ],
    when: When::At("at_us"),
    by_job: false,
    also_by: &[],
};

const COATED: Shape = Shape {
    name: "coated",
    columns: &[
        ("event", ID),
        ("job", ID),
        ("panel", TEXT),
        ("section", INT),
        ("finish", TEXT),
        ("product", TEXT),
        ("lot", TEXT),
        ("layer", INT),
        ("at_us", INT),
        ("air_milli_c", INT_OR_NULL),
        ("humidity_milli_pct", INT_OR_NULL),
        ("surface_milli_c", INT_OR_NULL),
        ("seq", INT),
    ],
    when: When::At("at_us"),
    by_job: true,
    also_by: &[],
};

const CONTAINER: Shape = Shape {
    name: "container",
    columns: &[
        ("product", TEXT),
        ("bay", TEXT),
        ("kind", TEXT),
        ("amount_nl", INT_OR_NULL),
        ("amount_ug", INT_OR_NULL),
        ("amount_milli_each", INT_OR_NULL),
        ("lot", TEXT),
        ("at_us", INT),
        ("seq", INT),
    ],
    when: When::At("at_us"),
    by_job: false,
    also_by: &[],
};

const COUNTED: Shape = Shape {
    name: "counted",
    columns: &[
        ("event", ID),
        ("job", ID_OR_NULL),
        ("by", TEXT),
        ("seq", INT),
    ],
    when: When::Untimed,
    by_job: true,
    also_by: &["seq"],
};

const COVERED: Shape = Shape {
    name: "covered",
    columns: &[
        ("job", ID),
        ("finish", TEXT),
        ("panel", TEXT),
        ("left_out", INT),
        ("seq", INT),
    ],
    when: When::Untimed,
    by_job: true,
    also_by: &[],
};

const CURED: Shape = Shape {
    name: "cured",
    columns: &[("job", ID), ("panel", TEXT), ("at_us", INT), ("seq", INT)],
    when: When::At("at_us"),
    by_job: true,
    also_by: &[],
};

const DECLARED: Shape = Shape {
    name: "declared",
    columns: &[
        ("job", ID),
        ("stage", TEXT),
        ("declaration", TEXT),
        ("about_us", INT_OR_NULL),
        ("seq", INT),
    ],
    when: When::Untimed,
    by_job: true,
    also_by: &[],
};

const FLAW_FOUND: Shape = Shape {
    name: "flaw_found",
    columns: &[
        ("event", ID),
        ("job", ID),
        ("panel", TEXT),
        ("flaw", TEXT),
        ("existing", INT),
        ("photo", TEXT),
        ("at_us", INT),
        ("seq", INT),
    ],
    when: When::At("at_us"),
    by_job: true,
    also_by: &[],
};

const FLAW_REMEDIED: Shape = Shape {
    name: "flaw_remedied",
    columns: &[
        ("found", ID_OR_NULL),
        ("job", ID),
        ("panel", TEXT),
        ("at_us", INT),
        ("seq", INT),
    ],
    when: When::At("at_us"),
    by_job: true,
    also_by: &[],
};

const HANDS_ON: Shape = Shape {
    name: "hands_on",
    columns: &[
        ("job", ID),
        ("stage", TEXT),
        ("run", ID),
        ("worker", TEXT),
        ("bay", TEXT),
        ("from_us", INT),
        ("until_us", INT),
        ("ended", TEXT),
        ("rework", INT),
        ("seq_from", INT),
        ("seq_until", INT_OR_NULL),
    ],
    when: When::Span,
    by_job: true,
    also_by: &[],
};

const JOB: Shape = Shape {
    name: "job",
    columns: &[
        ("job", ID),
        ("seq", INT),
        ("number", INT_OR_NULL),
        ("handle", TEXT),
        ("opened_us", INT),
        ("job_type", TEXT),
        ("vehicle", TEXT),
        ("vehicle_class", TEXT),
        ("grade_soil", INT),
        ("grade_defects", INT),
        ("grade_intricacy", INT),
        ("panels", TEXT),
        ("comeback_of", ID_OR_NULL),
        ("agreed_minor", INT_OR_NULL),
    ],
    when: When::At("opened_us"),
    by_job: true,
    also_by: &["number", "handle"],
};

const LAMP: Shape = Shape {
    name: "lamp",
    columns: &[
        ("job", ID),
        ("panel", TEXT),
        ("from_us", INT),
        ("until_us", INT),
        ("surface_milli_c", INT_OR_NULL),
        ("seq", INT),
    ],
    when: When::Span,
    by_job: true,
    also_by: &[],
};

const LEVELLED: Shape = Shape {
    name: "levelled",
    columns: &[
        ("coated", ID),
        ("job", ID),
        ("at_us", INT),
        ("result", TEXT),
        ("seq", INT),
    ],
    when: When::At("at_us"),
    by_job: true,
    also_by: &[],
};

const MIX_DUMPED: Shape = Shape {
    name: "mix_dumped",
    columns: &[
        ("mix", ID),
        ("volume_nl", INT),
        ("at_us", INT),
        ("seq", INT),
    ],
    when: When::At("at_us"),
    by_job: false,
    also_by: &["mix"],
};

const MIX_MADE: Shape = Shape {
    name: "mix_made",
    columns: &[
        ("mix", ID),
        ("seq", INT),
        ("at_us", INT),
        ("bay", TEXT),
        ("product", TEXT),
        ("volume_nl", INT),
        ("concentrate_nl", INT),
        ("additions", TEXT),
    ],
    when: When::At("at_us"),
    by_job: false,
    also_by: &["mix"],
};

const NOTICE: Shape = Shape {
    name: "notice",
    columns: &[
        ("event", ID),
        ("seq", INT),
        ("at_us", INT),
        ("bay", TEXT),
        ("job", ID_OR_NULL),
        ("code", TEXT),
        ("severity", TEXT),
        ("notice", TEXT),
        ("settled", INT),
    ],
    when: When::At("at_us"),
    by_job: true,
    also_by: &["seq"],
};

const PRESENCE: Shape = Shape {
    name: "presence",
    columns: &[
        ("job", ID),
        ("place", TEXT),
        ("from_us", INT),
        ("until_us", INT_OR_NULL),
        ("seq_from", INT),
        ("seq_until", INT_OR_NULL),
    ],
    when: When::Span,
    by_job: true,
    also_by: &[],
};

const PRODUCT_USE: Shape = Shape {
    name: "product_use",
    columns: &[
        ("event", ID),
        ("seq", INT),
        ("at_us", INT),
        ("job", ID_OR_NULL),
        ("stage", TEXT),
        ("bay", TEXT),
        ("product", TEXT),
        ("used_nl", INT_OR_NULL),
        ("used_ug", INT_OR_NULL),
        ("used_milli_each", INT_OR_NULL),
        ("mix", ID_OR_NULL),
        ("lot", TEXT),
        ("panels", TEXT),
    ],
    when: When::At("at_us"),
    by_job: true,
    also_by: &["mix"],
};

const RELEASE: Shape = Shape {
    name: "release",
    columns: &[("job", ID), ("at_us", INT), ("seq", INT)],
    when: When::At("at_us"),
    by_job: true,
    also_by: &[],
};

const STOCK: Shape = Shape {
    name: "stock",
    columns: &[
        ("product", TEXT),
        ("kind", TEXT),
        ("amount_nl", INT_OR_NULL),
        ("amount_ug", INT_OR_NULL),
        ("amount_milli_each", INT_OR_NULL),
        ("packs", INT),
        ("price_minor", INT_OR_NULL),
        ("lot", TEXT),
        ("at_us", INT),
        ("seq", INT),
    ],
    when: When::At("at_us"),
    by_job: false,
    also_by: &[],
};

const WAITING: Shape = Shape {
    name: "waiting",
    columns: &[
        ("job", ID),
        ("kind", TEXT),
        ("product", TEXT),
        ("panel", TEXT),
        ("from_us", INT),
        ("until_us", INT_OR_NULL),
        ("seq_from", INT),
        ("seq_until", INT_OR_NULL),
    ],
    when: When::Span,
    by_job: true,
    also_by: &[],
};
