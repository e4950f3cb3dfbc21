//! What a quote is asked for, made whole: what the question leaves out comes
//! from the catalogue in force and from the job it is likened to.

use std::collections::BTreeSet;

use baywright_floor::notice::Notice;
use baywright_floor::row::{JobOpenedRow, Row};
use baywright_proto::amount::{panel_from_wire, panel_to_wire};
use baywright_proto::v1;
use baywright_terms::catalogue::{Catalogue, JobType, UNSORTED, limits};
use baywright_terms::code::{Code, nearest};
use baywright_terms::surface::{Covered, by_finish, rules_for_vehicle};
use baywright_terms::time::Micros;

use super::quote::QuoteError;
use crate::facts::decode;
use crate::facts::reader::{JobName, View};
use crate::facts::rows::{self, Table};

/// Characters of the vehicle's and the customer's words: they stand on a page.
const WORDS_CHARS_MAX: usize = limits::SENTENCE_CHARS_MAX;

/// Stages and panels of one question: as many as a job type may have.
const STAGES_MAX: usize = limits::JOB_TYPE_ROWS_MAX;
const PANELS_MAX: usize = limits::PANELS_MAX;

/// Instants that can be asked about: the years 2000 to 2200, as in the log.
const ASKED_US: std::ops::Range<i64> = 946_684_800_000_000..7_258_118_400_000_000;

/// A question whose every part is known.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Whole {
    pub(super) asked: v1::QuoteAsked,
    /// A line of its own for a job that is here.
    pub(super) addition: bool,
    pub(super) at: Micros,
    /// What the vehicle must never get.
    pub(super) remarks: Vec<String>,
}

/// Makes a question whole. `now` stands for an instant that it leaves out.
pub(super) fn whole(
    view: &View<'_>,
    request: &v1::SuggestRequest,
    now: Micros,
) -> Result<Whole, QuoteError> {
    let mut asked = request.asked.clone().unwrap_or_default();
    within_limits(&asked)?;
    let at = match request.asked_us {
        0 => now,
        at if ASKED_US.contains(&at) => Micros(at),
        at => {
            return Err(QuoteError::bad(
                "asked_us",
                format!("{at} is not an instant between the years 2000 and 2200"),
                "give Unix microseconds, or 0 for now",
            ));
        }
    };
    let addition = request.addition_to.is_some();
    if let Some(named) = &request.addition_to {
        fill_from_open_job(view, named, &mut asked)?;
    }
    if asked.like_job_number != 0 {
        let opened = job_opened(view, &JobName::Number(asked.like_job_number))?;
        fill_from(&mut asked, &opened);
    }
    let cats = view.catalogues();
    let catalogue = &cats.at(at).catalogue;
    let job_type = job_type(catalogue, &asked)?.clone();
    fill_from_type(&mut asked, &job_type);
    check_stages(catalogue, &job_type, &asked, addition)?;
    let remarks = nevers(view, catalogue, &job_type, &asked, at);
    Ok(Whole {
        asked,
        addition,
        at,
        remarks,
    })
}

fn within_limits(asked: &v1::QuoteAsked) -> Result<(), QuoteError> {
    for (field, text) in [
        ("asked.vehicle", &asked.vehicle),
        ("asked.customer", &asked.customer),
    ] {
        let letters = text.chars().count();
        if letters > WORDS_CHARS_MAX {
            return Err(QuoteError::bad(
                field,
                format!("{letters} letters, the most is {WORDS_CHARS_MAX}"),
                "say it in fewer words",
            ));
        }
    }
    for (field, count, most) in [
        ("asked.with_stages", asked.with_stages.len(), STAGES_MAX),
        (
            "asked.without_stages",
            asked.without_stages.len(),
            STAGES_MAX,
        ),
        ("asked.panels", asked.panels.len(), PANELS_MAX),
    ] {
        if count > most {
            let message = format!("{count} of them, the most is {most}");
            return Err(QuoteError::bad(field, message, "name fewer"));
        }
    }
    let grades = asked.grades.unwrap_or_default();
    for (field, grade) in [
        ("asked.grades.soil", grades.soil),
        ("asked.grades.defects", grades.defects),
        ("asked.grades.intricacy", grades.intricacy),
    ] {
        if grade > 5 {
            let message = format!("{grade} is no grade");
            return Err(QuoteError::bad(
                field,
                message,
                "give 1 to 5, or leave it out",
            ));
        }
    }
    Ok(())
}

/// The job of an addition, which has to be there still; what the question
/// leaves out is the job's.
fn fill_from_open_job(
    view: &View<'_>,
    named: &v1::JobRef,
    asked: &mut v1::QuoteAsked,
) -> Result<(), QuoteError> {
    let name = match &named.job {
        Some(v1::job_ref::Job::Number(number)) => JobName::Number(*number),
        Some(v1::job_ref::Job::OpeningEventId(bytes)) => match decode::id(bytes) {
            Some(id) => JobName::Opening(id),
            None => {
                return Err(QuoteError::NoSuchJob {
                    name: baywright_proto::json::uuid_text(bytes),
                });
            }
        },
        None => return Err(QuoteError::NoJobNamed),
    };
    let opened = job_opened(view, &name)?;
    let released = rows::select_rows(
        view.conn,
        Table::Release,
        "WHERE job = ?1 LIMIT 1",
        [opened.job.0],
    )
    .map_err(crate::facts::FactsError::from)?;
    if !released.is_empty() {
        return Err(QuoteError::JobReleased {
            name: text_of(&name),
        });
    }
    fill_from(asked, &opened);
    if asked.vehicle.is_empty() {
        asked.vehicle.clone_from(&opened.vehicle);
    }
    Ok(())
}

fn job_opened(view: &View<'_>, name: &JobName) -> Result<JobOpenedRow, QuoteError> {
    let none = || QuoteError::NoSuchJob {
        name: text_of(name),
    };
    let job = view.job_named(name)?.ok_or_else(none)?;
    let found = rows::select_rows(view.conn, Table::Job, "WHERE job = ?1", [job.0])
        .map_err(crate::facts::FactsError::from)?;
    let opened = found.into_iter().find_map(|row| match row {
        Row::JobOpened(opened) => Some(opened),
        _ => None,
    });
    opened.ok_or_else(none)
}

fn text_of(name: &JobName) -> String {
    match name {
        JobName::Number(number) => number.to_string(),
        JobName::Handle(handle) => handle.clone(),
        JobName::Opening(id) => id.to_string(),
    }
}

/// Fills what is missing from an earlier job.
fn fill_from(asked: &mut v1::QuoteAsked, opened: &JobOpenedRow) {
    if asked.job_type.trim().is_empty() {
        asked.job_type = opened.job_type.to_string();
    }
    if asked.vehicle_class.trim().is_empty() {
        asked.vehicle_class = opened.vehicle_class.to_string();
    }
    if asked.panels.is_empty() {
        asked.panels = opened.panels.iter().map(panel_to_wire).collect();
    }
    let grades = asked.grades.get_or_insert_default();
    for (grade, of_job) in [
        (&mut grades.soil, opened.grades.soil),
        (&mut grades.defects, opened.grades.defects),
        (&mut grades.intricacy, opened.grades.intricacy),
    ] {
        if *grade == 0 {
            *grade = u32::from(of_job);
        }
    }
}

fn fill_from_type(asked: &mut v1::QuoteAsked, job_type: &JobType) {
    asked.job_type = asked.job_type.trim().to_owned();
    asked.vehicle_class = asked.vehicle_class.trim().to_owned();
    if asked.vehicle_class.is_empty() {
        asked.vehicle_class = job_type.vehicle_class.to_string();
    }
    if asked.panels.is_empty() {
        asked.panels = job_type.panels.iter().map(panel_to_wire).collect();
    }
    asked.grades.get_or_insert_default();
}

fn job_type<'c>(
    catalogue: &'c Catalogue,
    asked: &v1::QuoteAsked,
) -> Result<&'c JobType, QuoteError> {
    let code = asked.job_type.trim();
    if code.is_empty() {
        return Err(QuoteError::NoTypeNamed);
    }
    if code == UNSORTED {
        return Err(QuoteError::Unsorted);
    }
    catalogue.job_types.get(&Code::new(code)).ok_or_else(|| {
        let known = catalogue.job_types.iter().filter(|(_, t)| !t.retired);
        QuoteError::NoSuchType {
            code: code.to_owned(),
            hint: did_you_mean(code, known.map(|(code, _)| code)),
        }
    })
}

fn did_you_mean<'a>(typed: &str, known: impl Iterator<Item = &'a Code>) -> String {
    let nearest = nearest(typed, known.map(Code::as_str));
    if nearest.is_empty() {
        return String::new();
    }
    format!("; did you mean {}?", nearest.join(" or "))
}

/// Stages to leave out are of the type, stages to add of the catalogue; a line
/// of its own has some.
fn check_stages(
    catalogue: &Catalogue,
    job_type: &JobType,
    asked: &v1::QuoteAsked,
    addition: bool,
) -> Result<(), QuoteError> {
    let of_type: BTreeSet<&Code> = job_type.stages.iter().map(|a| &a.stage).collect();
    for stage in &asked.with_stages {
        if !catalogue.stages.contains_key(&Code::new(stage)) {
            return Err(QuoteError::NoSuchStage {
                code: stage.clone(),
                hint: did_you_mean(stage, catalogue.stages.keys()),
            });
        }
    }
    for stage in &asked.without_stages {
        if !of_type.contains(&Code::new(stage)) {
            return Err(QuoteError::StageNotOfType {
                code: stage.clone(),
                job_type: asked.job_type.clone(),
                hint: did_you_mean(stage, of_type.iter().copied()),
            });
        }
    }
    if addition && asked.with_stages.is_empty() {
        return Err(QuoteError::NothingAdded);
    }
    Ok(())
}

/// What this vehicle must never get, a sentence for each finish.
fn nevers(
    view: &View<'_>,
    catalogue: &Catalogue,
    job_type: &JobType,
    asked: &v1::QuoteAsked,
    at: Micros,
) -> Vec<String> {
    let panels: Vec<_> = asked.panels.iter().map(panel_from_wire).collect();
    let rules = rules_for_vehicle(catalogue, Some(job_type), &panels, &Covered::default());
    by_finish(&rules)
        .into_iter()
        .filter(|of_finish| !of_finish.nevers.is_empty())
        .map(|of_finish| {
            let notice = Notice::FinishNevers {
                finish: of_finish.finish,
                panels: of_finish.panels,
                nevers: of_finish.nevers,
                whys: of_finish.whys,
            };
            view.sentence(at, &notice)
        })
        .collect()
}
