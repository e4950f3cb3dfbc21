//! What makes one printed row: the jobs, stages, products and records behind
//! it, in lines that add up to it exactly.

mod bay;
mod chemical;
mod id;
mod labour;
mod shortfall;

pub use id::RowId;

use id::NotAnId;

use baywright_floor::event::{JobKey, Seq};
use baywright_terms::code::Code;
use baywright_terms::time::Micros;

use crate::figures::{JobFigures, Portion, PortionUnit, Week};
use crate::input::{Index, Input};
use crate::span::sum_us;

/// What makes one row of a week.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Why {
    /// As it is printed.
    pub id: String,
    /// A sentence: what the row is.
    pub title: String,
    /// A sentence: how the figure is defined.
    pub formula: String,
    /// Which total is meant.
    pub unit: WhyUnit,
    pub total_us: i64,
    pub total_minor: i64,
    /// 0 where nothing is measured out.
    pub total: Portion,
    /// They add up to each of the totals.
    pub lines: Vec<WhyLine>,
}

/// Which total of a row is the figure that is printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WhyUnit {
    Us,
    Minor,
    Amount(PortionUnit),
}

/// One line behind a row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WhyLine {
    /// `None`: no job.
    pub job: Option<JobKey>,
    pub job_number: Option<u64>,
    pub handle: String,
    /// Empty where it is about none.
    pub stage: Code,
    pub product: Code,
    pub text: String,
    /// `None`: no one instant.
    pub from: Option<Micros>,
    pub time_us: i64,
    pub money_minor: i64,
    /// In the unit of the total.
    pub amount: Portion,
    /// Records behind it, ascending.
    pub seqs: Vec<Seq>,
}

/// There is no such row, and which there are.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{week} has no row {id:?}; its rows are {known}")]
pub struct NoSuchRow {
    pub id: String,
    pub week: String,
    pub known: String,
}

impl WhyUnit {
    /// How the unit is written on the wire.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Us => "us",
            Self::Minor => "minor",
            Self::Amount(unit) => unit.as_str(),
        }
    }
}

/// What the lines of a row are made of.
#[derive(Debug)]
struct Asked<'w, 'r> {
    input: &'w Input<'r>,
    index: &'w Index<'r>,
    week: &'w Week,
}

/// What makes the row `id` of a week, which was made of the same input.
///
/// # Errors
/// If the week has no such row.
pub fn why(input: &Input<'_>, week: &Week, id: &str) -> Result<Why, NoSuchRow> {
    let none = || NoSuchRow {
        id: id.trim().to_owned(),
        week: week.week.clone(),
        known: known(week),
    };
    let row: RowId = id.parse().map_err(|NotAnId| none())?;
    let index = Index::new(input.rows);
    let asked = Asked {
        input,
        index: &index,
        week,
    };
    let mut why = asked.row(row).ok_or_else(none)?;
    why.id = row.to_string();
    Ok(why)
}

impl<'w> Asked<'w, '_> {
    fn row(&self, row: RowId) -> Option<Why> {
        let week = self.week;
        match row {
            RowId::Bay(n) => Some(bay::bay(self, nth(&week.bays, n)?)),
            RowId::Type(n) => Some(labour::job_type(self, nth(&week.types, n)?)),
            RowId::Stage(n, stage) => {
                let of = nth(&week.types, n)?;
                Some(labour::stage(self, &of.job_type, nth(&of.stages, stage)?))
            }
            RowId::TypeShortfall(n, cause) => {
                let of = nth(&week.types, n)?;
                let jobs = self.jobs_of(&of.job_type);
                let shortfall = nth(&of.shortfalls, cause)?;
                let whose = format!("on {}", of.job_type);
                Some(shortfall::shortfall(self, shortfall, &whose, &jobs))
            }
            RowId::Shortfall(cause) => {
                let shortfall = nth(&week.shortfalls, cause)?;
                let jobs: Vec<&JobFigures> = week.jobs.iter().collect();
                Some(shortfall::shortfall(self, shortfall, "on all jobs", &jobs))
            }
            RowId::Job(number) => {
                let job = week.jobs.iter().find(|job| job.number == Some(number))?;
                Some(labour::job(self, job))
            }
            RowId::Chemical(n) => Some(chemical::chemical(self, nth(&week.chemicals, n)?)),
            RowId::Rework(n) => Some(chemical::rework(self, nth(&week.rework, n)?)),
        }
    }

    fn jobs_of(&self, job_type: &Code) -> Vec<&'w JobFigures> {
        let jobs = self.week.jobs.iter();
        jobs.filter(|job| job.job_type == *job_type).collect()
    }
}

/// Numbers count from 1.
fn nth<T>(rows: &[T], number: usize) -> Option<&T> {
    rows.get(number.checked_sub(1)?)
}

impl Why {
    /// Lines that are there for a reason, and their totals.
    fn of(title: String, formula: &str, unit: WhyUnit, mut lines: Vec<WhyLine>) -> Self {
        for line in &mut lines {
            line.seqs.sort_unstable();
            line.seqs.dedup();
        }
        let portion = match unit {
            WhyUnit::Amount(unit) => unit,
            WhyUnit::Us | WhyUnit::Minor => PortionUnit::Each,
        };
        Self {
            id: String::new(),
            title,
            formula: formula.to_owned(),
            unit,
            total_us: sum_us(lines.iter().map(|line| line.time_us)),
            total_minor: sum_us(lines.iter().map(|line| line.money_minor)),
            total: Portion {
                unit: portion,
                base: sum_us(lines.iter().map(|line| line.amount.base)),
            },
            lines,
        }
    }
}

impl WhyLine {
    /// A line of no job with nothing in it.
    fn new(text: impl Into<String>) -> Self {
        Self {
            job: None,
            job_number: None,
            handle: String::new(),
            stage: Code::new(""),
            product: Code::new(""),
            text: text.into(),
            from: None,
            time_us: 0,
            money_minor: 0,
            amount: Portion::zero(PortionUnit::Each),
            seqs: Vec::new(),
        }
    }

    fn of_job(job: JobKey, index: &Index<'_>, text: impl Into<String>) -> Self {
        let opened = index.jobs.get(&job).and_then(|rows| rows.opened);
        Self {
            job: Some(job),
            job_number: opened.and_then(|opened| opened.number),
            handle: opened.map(|o| o.handle.clone()).unwrap_or_default(),
            ..Self::new(text)
        }
    }
}

/// The ids that a week has, as a person would list them.
fn known(week: &Week) -> String {
    let mut known = Vec::new();
    let mut range = |count: usize, id: fn(usize) -> RowId| match count {
        0 => {}
        1 => known.push(id(1).to_string()),
        _ => known.push(format!("{} to {}", id(1), id(count))),
    };
    range(week.bays.len(), RowId::Bay);
    range(week.types.len(), RowId::Type);
    range(week.shortfalls.len(), RowId::Shortfall);
    range(week.chemicals.len(), RowId::Chemical);
    range(week.rework.len(), RowId::Rework);
    for (n, figures) in (1..).zip(&week.types) {
        let stages = figures.stages.len();
        if stages > 0 {
            known.push(format!(
                "{} to {}",
                RowId::Stage(n, 1),
                RowId::Stage(n, stages)
            ));
        }
        let causes = figures.shortfalls.len();
        if causes > 0 {
            let (first, last) = (RowId::TypeShortfall(n, 1), RowId::TypeShortfall(n, causes));
            known.push(format!("{first} to {last}"));
        }
    }
    // A quarter has thousands of jobs: an example says how they are named.
    if let Some(number) = week.jobs.iter().find_map(|job| job.number) {
        let job = RowId::Job(number);
        known.push(format!("{job}, and so on by each released job's number"));
    }
    match known.as_slice() {
        [] => "none: nothing happened in it".to_owned(),
        _ => known.join(", "),
    }
}
