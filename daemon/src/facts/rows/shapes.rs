//! The columns of each row table. Units last in names; ids are 16 bytes.

use super::table::{Shape, When};

const TEXT: &str = "TEXT NOT NULL";
const INT: &str = "INTEGER NOT NULL";
const INT_OR_NULL: &str = "INTEGER";
const ID: &str = "BLOB NOT NULL";
const ID_OR_NULL: &str = "BLOB";

pub(super) const AIR: Shape = Shape {
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

pub(super) const COATED: Shape = Shape {
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
    also_by: &["lot"],
};

pub(super) const CONTAINER: Shape = Shape {
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
    also_by: &["product"],
};

pub(super) const COUNTED: Shape = Shape {
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

pub(super) const COVERED: Shape = Shape {
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

pub(super) const CURED: Shape = Shape {
    name: "cured",
    columns: &[("job", ID), ("panel", TEXT), ("at_us", INT), ("seq", INT)],
    when: When::At("at_us"),
    by_job: true,
    also_by: &[],
};

pub(super) const DECLARED: Shape = Shape {
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

pub(super) const FLAW_FOUND: Shape = Shape {
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

pub(super) const FLAW_REMEDIED: Shape = Shape {
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

pub(super) const HANDS_ON: Shape = Shape {
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
        ("reason", TEXT),
        ("rework", INT),
        ("seq_from", INT),
        ("seq_until", INT_OR_NULL),
    ],
    when: When::Span,
    by_job: true,
    also_by: &[],
};

pub(super) const JOB: Shape = Shape {
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
        ("quote", ID_OR_NULL),
    ],
    when: When::At("opened_us"),
    by_job: true,
    also_by: &["number", "handle", "quote"],
};

pub(super) const QUOTE: Shape = Shape {
    name: "quote",
    columns: &[
        ("quote", ID),
        ("seq", INT),
        ("at_us", INT),
        ("revised", INT),
        ("addition_to", ID_OR_NULL),
        ("asked", TEXT),
        ("printed", TEXT),
    ],
    when: When::At("at_us"),
    by_job: false,
    also_by: &["quote", "addition_to"],
};

pub(super) const QUOTE_DECIDED: Shape = Shape {
    name: "quote_decided",
    columns: &[
        ("quote", ID),
        ("seq", INT),
        ("at_us", INT),
        ("accepted", INT),
        ("addition_to", ID_OR_NULL),
        ("agreed_minor", INT_OR_NULL),
        ("suggested_minor", INT_OR_NULL),
        ("reason", TEXT),
        ("planned_date", TEXT),
    ],
    when: When::At("at_us"),
    by_job: false,
    also_by: &["quote", "addition_to"],
};

pub(super) const PAST: Shape = Shape {
    name: "past",
    columns: &[("seq", INT), ("source", TEXT), ("key", ID), ("past", TEXT)],
    when: When::Untimed,
    by_job: false,
    also_by: &["key"],
};

pub(super) const LAMP: Shape = Shape {
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

pub(super) const LEVELLED: Shape = Shape {
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

pub(super) const MIX_DUMPED: Shape = Shape {
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

pub(super) const MIX_MADE: Shape = Shape {
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

pub(super) const NOTICE: Shape = Shape {
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

pub(super) const PRESENCE: Shape = Shape {
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

pub(super) const PRODUCT_USE: Shape = Shape {
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
        ("rework", INT),
    ],
    when: When::At("at_us"),
    by_job: true,
    also_by: &["mix", "lot", "product"],
};

pub(super) const RELEASE: Shape = Shape {
    name: "release",
    columns: &[("job", ID), ("at_us", INT), ("seq", INT)],
    when: When::At("at_us"),
    by_job: true,
    also_by: &[],
};

pub(super) const STOCK: Shape = Shape {
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
    also_by: &["product", "lot"],
};

pub(super) const WAITING: Shape = Shape {
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
