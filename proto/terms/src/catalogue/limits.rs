//! Limits of a well-formed catalogue file, each with its reason.

/// Entries of one table (`[[product]]`, `[[worker]]`, …). A shop has tens; a
/// file with thousands is a mistake, and every bay caches the whole catalogue.
pub const ENTRIES_MAX: usize = 500;

/// Stages or products of one job type: more do not fit a screen or a day.
pub const JOB_TYPE_ROWS_MAX: usize = 60;

/// Panels of one job type. A large boat in half-square-metre pieces stays below.
pub const PANELS_MAX: usize = 120;

/// Characters of a name: it stands in a column of an 80-column terminal.
pub const NAME_CHARS_MAX: usize = 60;

/// Characters of a sentence (a reason, a caution, a grade): a person at the
/// bay reads it before the step, so it must fit three lines.
pub const SENTENCE_CHARS_MAX: usize = 240;

/// Places of one bay: beyond this the bay is a yard, and its figures say nothing.
pub const PLACES_MAX: u32 = 20;

/// Longest cure that a label may give, in days. Published ones end at 30.
pub const CURE_DAYS_MAX: i64 = 90;

/// Longest allowance of one stage, in hours of labour.
pub const ALLOWANCE_HOURS_MAX: i64 = 500;

/// Largest area of one panel, in square centimetres (200 m²).
pub const AREA_CM2_MAX: u32 = 2_000_000;

/// Open hours or breaks of a week: three shifts on each day.
pub const HOURS_MAX: usize = 21;

/// Grades go from 1 to this.
pub const GRADES: usize = 5;

/// Faults that one reading reports. A person mends the first and reads again.
pub const FAULTS_MAX: usize = 100;
