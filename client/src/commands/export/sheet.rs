//! Jobs, their stages and their uses as rows for a spreadsheet.

use std::io::Write;

use baywright_proto::json::uuid_text;
use baywright_proto::v1;
use baywright_terms::catalogue::is_no_bay;
use jiff::tz::TimeZone;

use super::at::local;
use super::cell::Cell;
use super::jobs::Form;
use super::out::Failure;
use super::row::{amount_text, minutes};
use super::xes::major;
use crate::context::zone_named;

/// Name and meaning of each column, in order; the help prints them.
type Columns = &'static [(&'static str, &'static str)];

pub(super) const JOB_COLUMNS: Columns = &[
    ("job", "number of the job"),
    ("handle", "the bay's own name of a job opened offline"),
    ("job_type", "code"),
    ("vehicle", "in words"),
    ("vehicle_class", "code"),
    ("soil", "grade 1 to 5"),
    ("defects", "grade 1 to 5"),
    ("intricacy", "grade 1 to 5"),
    ("bay", "where it spent most of its time"),
    ("opened_local", "in the shop's zone"),
    ("opened_us", "the same, exact"),
    ("released_local", "empty: not released"),
    ("released_us", "the same, exact"),
    ("cycle_min", "opening to release"),
    ("quoted_min", "labour that the catalogue allowed at opening"),
    ("actual_min", "labour of all workers, recorded and stated"),
    ("actual_us", "the same, exact"),
    (
        "rework_min",
        "part of it: done again, and all of a comeback",
    ),
    (
        "unclosed_min",
        "part of it: nothing ended it, cut at closing",
    ),
    ("declared_min", "part of it: stated at release"),
    ("bay_hands_on_min", "time in bays with somebody at it"),
    ("bay_waiting_min", "time in bays that it had to wait"),
    ("bay_idle_min", "time in bays otherwise"),
    ("currency", "ISO 4217, of the figures after it; without tax"),
    (
        "revenue",
        "agreed, or the list price; empty: neither is known",
    ),
    ("list_price", "of the type at opening"),
    ("labour_cost", "of all workers, recorded and stated"),
    ("materials_cost", "chemicals, with the waste of its mixes"),
    ("supplies_cost", "standard, not measured"),
    (
        "overhead_cost",
        "for the sold hours, where the catalogue gives it",
    ),
    ("contribution", "revenue less all these costs"),
    ("quoted_contribution", "as the catalogue at opening had it"),
    ("discount_given", "part of what it fell short by"),
    ("took_longer", "part of it"),
    ("paid_more_per_hour", "part of it"),
    ("used_more", "part of it"),
    ("paid_more_for_it", "part of it"),
    ("rework_cost", "part of it"),
    ("waste_cost", "part of it"),
    ("comeback_of", "number of the job it puts right"),
    ("opening_event_id", "what the log knows it by"),
];

pub(super) const STAGE_COLUMNS: Columns = &[
    ("job", "number of the job"),
    ("job_type", "code"),
    ("vehicle_class", "code"),
    ("stage", "code"),
    (
        "run_event_id",
        "the start that it belongs to; shared after a pause",
    ),
    ("worker", "code; empty: nobody was named"),
    ("bay", "code"),
    ("from_local", "in the shop's zone"),
    ("until_local", "in the shop's zone"),
    ("from_us", "the same, exact"),
    ("until_us", "the same, exact"),
    ("hands_on_min", "of this worker, without a break"),
    ("hands_on_us", "the same, exact"),
    (
        "ended",
        "done, again, break, ...; declared: stated at release",
    ),
    ("rework", "yes where it was done again"),
    ("currency", "ISO 4217"),
    ("labour_cost", "of this stretch; empty: no rate is known"),
    ("seq_from", "number in the log of the event that began it"),
    ("seq_until", "of the event that ended it"),
];

pub(super) const USE_COLUMNS: Columns = &[
    ("job", "number of the job; empty: on none"),
    ("job_type", "code"),
    ("at_local", "in the shop's zone"),
    ("at_us", "the same, exact"),
    ("stage", "code of the stage that ran"),
    ("bay", "code"),
    ("product", "code, as posted"),
    ("posted", "as typed"),
    ("posted_unit", "of it: ml, us-floz, each, ..."),
    ("weighed", "before and after, as typed"),
    ("lot", "as typed"),
    ("panels", "panel codes, with semicolons"),
    ("source", "neat, or mix"),
    ("mix_event_id", "the mix that it was drawn from"),
    ("used_ml", "as used: of the mix where there is one"),
    ("used_g", "the same, where it was weighed"),
    ("used_each", "the same, where it was counted"),
    ("concentrate", "code of a product in it"),
    ("concentrate_ml", "of that product, undiluted"),
    ("concentrate_g", "the same, where it has no density"),
    ("concentrate_each", "the same, where it is counted"),
    ("currency", "ISO 4217"),
    ("cost", "of that product; empty: no price, or on no job"),
    ("seq", "number in the log"),
];

/// Causes of a shortfall in the order of their columns.
const CAUSES: [&str; 7] = [
    "discount-given",
    "took-longer",
    "paid-more-per-hour",
    "used-more",
    "paid-more-for-it",
    "rework",
    "waste",
];

/// One of the sheets.
#[derive(Debug, Clone, Copy)]
pub(super) struct Kind {
    columns: Columns,
    rows: fn(&v1::ExportJob, &TimeZone) -> Vec<Vec<Cell>>,
    has_loose_uses: bool,
}

pub(super) const JOBS: Kind = Kind {
    columns: JOB_COLUMNS,
    rows: |job, zone| vec![job_row(job, zone)],
    has_loose_uses: false,
};

pub(super) const STAGES: Kind = Kind {
    columns: STAGE_COLUMNS,
    rows: stage_rows,
    has_loose_uses: false,
};

pub(super) const USES: Kind = Kind {
    columns: USE_COLUMNS,
    rows: |job, zone| {
        let uses = job.uses.iter();
        uses.flat_map(|used| use_rows(Some(job), used, zone))
            .collect()
    },
    has_loose_uses: true,
};

/// The writer of a sheet.
pub(super) struct Sheet<W: Write> {
    csv: csv::Writer<W>,
    kind: Kind,
    zone: TimeZone,
}

impl<W: Write> Sheet<W> {
    pub(super) fn new(out: W, kind: Kind) -> Self {
        Self {
            csv: csv::WriterBuilder::new()
                .terminator(csv::Terminator::CRLF)
                .from_writer(out),
            kind,
            zone: TimeZone::UTC,
        }
    }

    fn put(&mut self, rows: &[Vec<Cell>]) -> Result<u64, Failure> {
        let mut count = 0;
        for row in rows {
            self.csv
                .write_record(row.iter().map(|cell| cell.written().into_owned()))?;
            count += 1;
        }
        Ok(count)
    }
}

impl<W: Write> Form for Sheet<W> {
    fn head(&mut self, head: &v1::ExportHead) -> Result<(), Failure> {
        self.zone = zone_named(&head.zone);
        self.csv
            .write_record(self.kind.columns.iter().map(|(name, _)| name))?;
        Ok(())
    }

    fn job(&mut self, job: &v1::ExportJob) -> Result<u64, Failure> {
        self.put(&(self.kind.rows)(job, &self.zone))
    }

    fn loose_use(&mut self, used: &v1::ExportUse) -> Result<Option<u64>, Failure> {
        if !self.kind.has_loose_uses {
            return Ok(None);
        }
        self.put(&use_rows(None, used, &self.zone)).map(Some)
    }

    fn end(&mut self) -> Result<(), Failure> {
        Ok(self.csv.flush()?)
    }
}

fn job_row(job: &v1::ExportJob, zone: &TimeZone) -> Vec<Cell> {
    let grades = job.grades.unwrap_or_default();
    let in_bays = |time: fn(&v1::ExportStay) -> i64| {
        let bays = job.stays.iter().filter(|stay| !is_no_bay(&stay.place));
        span(bays.map(time).fold(0, i64::saturating_add))
    };
    let mut row = vec![
        number(job.number),
        word(&job.handle),
        word(&job.job_type),
        word(&job.vehicle),
        word(&job.vehicle_class),
        number(grades.soil.into()),
        number(grades.defects.into()),
        number(grades.intricacy.into()),
        word(&job.bay),
        when(job.opened_us, zone),
        figure(job.opened_us),
        when(job.released_us, zone),
        instant(job.released_us),
        if job.released_us == 0 {
            blank()
        } else {
            span(job.cycle_us)
        },
        job.quoted_us.map_or_else(blank, span),
        span(job.actual_us),
        figure(job.actual_us),
        span(job.rework_us),
        span(job.unclosed_us),
        span(job.declared_us),
        in_bays(|stay| stay.hands_on_us),
        in_bays(|stay| stay.waiting_us),
        in_bays(|stay| stay.idle_us),
        word(&job.currency),
    ];
    row.extend(money_cells(job));
    row.push(number(job.comeback_of));
    row.push(own(uuid_text(&job.opening_event_id)));
    row
}

fn money_cells(job: &v1::ExportJob) -> Vec<Cell> {
    let figures = job.money.unwrap_or_default();
    let cell = |minor: i64| money(Some(minor), &job.currency);
    let where_known = |known: bool, minor: i64| if known { cell(minor) } else { blank() };
    let mut cells = vec![
        where_known(figures.revenue_known, figures.revenue_minor),
        where_known(figures.list_minor != 0, figures.list_minor),
        cell(figures.labour_minor),
        cell(figures.materials_minor),
        cell(figures.supplies_minor),
        cell(figures.overhead_minor),
        where_known(figures.revenue_known, figures.contribution_minor),
        where_known(figures.quoted, figures.quoted_contribution_minor),
    ];
    cells.extend(CAUSES.map(|cause| {
        let shortfall = job.shortfalls.iter().find(|short| short.cause == cause);
        shortfall.map_or_else(blank, |short| cell(short.amount_minor))
    }));
    cells
}

fn stage_rows(job: &v1::ExportJob, zone: &TimeZone) -> Vec<Vec<Cell>> {
    let recorded = job.hands_on.iter().map(|stretch| {
        vec![
            number(job.number),
            word(&job.job_type),
            word(&job.vehicle_class),
            word(&stretch.stage),
            own(uuid_text(&stretch.run_event_id)),
            word(&stretch.worker),
            word(&stretch.bay),
            when(stretch.from_us, zone),
            when(stretch.until_us, zone),
            figure(stretch.from_us),
            figure(stretch.until_us),
            span(stretch.hands_on_us),
            figure(stretch.hands_on_us),
            own(stretch.ended.clone()),
            own(yes(stretch.rework)),
            word(&job.currency),
            money(stretch.cost_minor, &job.currency),
            number(stretch.seq_from),
            number(stretch.seq_until),
        ]
    });
    let counted = job.declared.iter().filter(|stated| stated.counted_us != 0);
    let stated = counted.map(|stated| {
        let mut row = vec![
            number(job.number),
            word(&job.job_type),
            word(&job.vehicle_class),
            word(&stated.stage),
        ];
        row.resize_with(11, blank);
        row.extend([
            span(stated.counted_us),
            figure(stated.counted_us),
            own("declared".to_owned()),
            blank(),
            word(&job.currency),
            money(stated.cost_minor, &job.currency),
        ]);
        row.resize_with(STAGE_COLUMNS.len(), blank);
        row
    });
    recorded.chain(stated).collect()
}

/// One row for each product in a use, and one row for a use without an amount.
fn use_rows(job: Option<&v1::ExportJob>, used: &v1::ExportUse, zone: &TimeZone) -> Vec<Vec<Cell>> {
    let none = v1::ExportJob::default();
    let job = job.unwrap_or(&none);
    let shared = |first: bool| {
        let of_use = |unit: &str| {
            if first && used.unit == unit {
                amount(used.used)
            } else {
                blank()
            }
        };
        let posted = used.posted.as_ref().filter(|_| first);
        let (typed, unit) = posted.map(amount_text).unwrap_or_default();
        let weighed = used
            .weighed_before
            .as_ref()
            .zip(used.weighed_after.as_ref());
        let weighed = weighed.filter(|_| first).map(|(before, after)| {
            let (before, after) = (amount_text(before), amount_text(after));
            format!("{} {} then {} {}", before.0, before.1, after.0, after.1)
        });
        vec![
            number(job.number),
            word(&job.job_type),
            when(used.at_us, zone),
            figure(used.at_us),
            word(&used.stage),
            word(&used.bay),
            word(&used.product),
            own(typed),
            own(unit),
            own(weighed.unwrap_or_default()),
            word(&used.lot),
            word(&used.panels.join(";")),
            own(if used.mix_event_id.is_empty() {
                "neat".to_owned()
            } else {
                "mix".to_owned()
            }),
            own(uuid_text(&used.mix_event_id)),
            of_use("ml"),
            of_use("g"),
            of_use("each"),
        ]
    };
    let in_it = |part: &v1::ExportPart| {
        let of_part = |unit: &str| {
            if part.unit == unit {
                amount(part.used)
            } else {
                blank()
            }
        };
        [
            word(&part.product),
            of_part("ml"),
            of_part("g"),
            of_part("each"),
        ]
    };
    let seq = || number(used.seq);
    if used.parts.is_empty() {
        let mut row = shared(true);
        row.resize_with(USE_COLUMNS.len() - 1, blank);
        row.push(seq());
        return vec![row];
    }
    let rows = used.parts.iter().enumerate().map(|(at, part)| {
        let mut row = shared(at == 0);
        row.extend(in_it(part));
        row.push(word(&job.currency));
        row.push(money(part.cost_minor, &job.currency));
        row.push(seq());
        row
    });
    rows.collect()
}

fn blank() -> Cell {
    own(String::new())
}

fn own(text: String) -> Cell {
    Cell::Own(text)
}

fn word(text: &str) -> Cell {
    Cell::Text(text.to_owned())
}

fn figure(value: i64) -> Cell {
    own(value.to_string())
}

/// Times and numbers of which there may be none.
fn instant(value: i64) -> Cell {
    if value == 0 { blank() } else { figure(value) }
}

fn number(value: u64) -> Cell {
    if value == 0 {
        blank()
    } else {
        own(value.to_string())
    }
}

fn when(at_us: i64, zone: &TimeZone) -> Cell {
    if at_us == 0 {
        blank()
    } else {
        own(local(at_us, zone))
    }
}

/// Minutes; here nothing is a figure too.
fn span(span_us: i64) -> Cell {
    own(minutes(span_us))
}

fn amount(value: f64) -> Cell {
    own(value.to_string())
}

fn money(minor: Option<i64>, currency: &str) -> Cell {
    minor.map_or_else(blank, |minor| own(major(minor, currency)))
}

fn yes(flag: bool) -> String {
    if flag { "yes" } else { "" }.to_owned()
}
