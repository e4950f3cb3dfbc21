//! What typed codes and job names stand for, by the catalogue this bay has.

use baywright_proto::v1;
use baywright_proto::v1::job_ref::Job;
use baywright_terms::catalogue::{Catalogue, UNSORTED, is_no_bay};
use baywright_terms::code::{Resolved, resolve};

use crate::context::Context;
use crate::error::Error;
use crate::spool::EventId;

/// Tables of the catalogue that a code can be of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Table {
    Bay,
    Worker,
    Product,
    Stage,
    JobType,
}

impl Table {
    fn noun(self) -> &'static str {
        match self {
            Self::Bay => "bay",
            Self::Worker => "worker",
            Self::Product => "product",
            Self::Stage => "stage",
            Self::JobType => "job type",
        }
    }

    fn codes(self, catalogue: &Catalogue) -> Vec<&str> {
        match self {
            Self::Bay => catalogue.bays.keys().map(AsRef::as_ref).collect(),
            Self::Worker => catalogue.workers.keys().map(AsRef::as_ref).collect(),
            Self::Product => catalogue.products.keys().map(AsRef::as_ref).collect(),
            Self::Stage => catalogue.stages.keys().map(AsRef::as_ref).collect(),
            Self::JobType => {
                let types = catalogue.job_types.keys().map(AsRef::as_ref);
                types.chain([UNSORTED]).collect()
            }
        }
    }

    /// On the first day a table is empty, and any word will do.
    fn is_empty(self, catalogue: &Catalogue) -> bool {
        match self {
            Self::JobType => catalogue.job_types.is_empty(),
            other => other.codes(catalogue).is_empty(),
        }
    }
}

pub fn bay(context: &Context, typed: &str) -> Result<String, Error> {
    code(context, Table::Bay, typed)
}

pub fn worker(context: &Context, typed: &str) -> Result<String, Error> {
    code(context, Table::Worker, typed)
}

pub fn product(context: &Context, typed: &str) -> Result<String, Error> {
    code(context, Table::Product, typed)
}

pub fn stage(context: &Context, typed: &str) -> Result<String, Error> {
    code(context, Table::Stage, typed)
}

pub fn job_type(context: &Context, typed: &str) -> Result<String, Error> {
    code(context, Table::JobType, typed)
}

/// A bay, `holding` or `away`.
pub fn place(context: &Context, typed: &str) -> Result<String, Error> {
    match typed {
        _ if is_no_bay(typed) => Ok(typed.to_owned()),
        _ => bay(context, typed).map_err(|e| {
            let hint = e.hint().unwrap_or_default().to_owned();
            e.with_hint(format!("{hint} Besides bays there are holding and away."))
        }),
    }
}

/// What a typed code stands for. Without a catalogue, or with an empty table,
/// it is taken as typed; an unknown one is refused before anything is kept,
/// unless the person says `--anyway`.
fn code(context: &Context, table: Table, typed: &str) -> Result<String, Error> {
    let typed = typed.trim();
    if typed.is_empty() {
        return Err(Error::usage(format!("Which {}?", table.noun())));
    }
    let Some(held) = context.catalogue_or_ask() else {
        return Ok(typed.to_owned());
    };
    match in_table(&held.catalogue, table, typed) {
        Ok(code) => Ok(code),
        // The bay's copy may be old.
        Err(unknown) => {
            let again = context.refresh_catalogue().then(|| context.catalogue());
            match again.flatten() {
                Some(held) => in_table(&held.catalogue, table, typed),
                None => Err(unknown),
            }
            .or_else(|unknown| {
                if context.common.anyway {
                    Ok(typed.to_owned())
                } else {
                    Err(unknown)
                }
            })
        }
    }
}

fn in_table(catalogue: &Catalogue, table: Table, typed: &str) -> Result<String, Error> {
    if table.is_empty(catalogue) {
        return Ok(typed.to_owned());
    }
    match resolve(typed, table.codes(catalogue).into_iter()) {
        Resolved::Exact(code) | Resolved::Prefix(code) => Ok(code.to_owned()),
        Resolved::Unknown { nearest } => Err(unknown_code(table.noun(), typed, &nearest)),
    }
}

/// The refusal of a code that is not in the catalogue.
pub fn unknown_code(noun: &str, typed: &str, nearest: &[&str]) -> Error {
    let near = match nearest {
        [] => String::new(),
        near => format!("did you mean {}? ", near.join(" or ")),
    };
    Error::refused(format!("no {noun} `{typed}` in the catalogue.")).with_hint(format!(
        "{near}To keep it anyway and settle it later, add --anyway."
    ))
}

/// The job of `--job`; `None` where it is left to the fold.
pub fn job_flag(context: &Context) -> Result<Option<v1::JobRef>, Error> {
    let typed = context.common.job.as_deref();
    typed.map(|typed| job(context, typed)).transpose()
}

/// A job by its number, or by a bay's handle.
pub fn job(context: &Context, typed: &str) -> Result<v1::JobRef, Error> {
    let typed = typed.trim().trim_start_matches('#');
    if let Ok(number) = typed.parse::<u64>()
        && number > 0
    {
        return Ok(v1::JobRef {
            job: Some(Job::Number(number)),
        });
    }
    let opening = opening_of(context, &typed.to_lowercase())?;
    Ok(v1::JobRef {
        job: Some(Job::OpeningEventId(opening.to_vec())),
    })
}

/// The event that opened the job of a handle: from this bay's own spool, the
/// floor as last seen, or the daemon.
fn opening_of(context: &Context, handle: &str) -> Result<EventId, Error> {
    let own = {
        let device = context.device()?;
        let posts = device.spool().posts();
        posts
            .all()
            .iter()
            .rev()
            .find(|e| e.handle == handle)
            .map(|e| e.event_id)
    };
    if let Some(id) = own {
        return Ok(id);
    }
    if let Some(id) = context.cache().now().and_then(|now| in_floor(&now, handle)) {
        return Ok(id);
    }
    let unknown = || {
        Error::refused(format!("no job is known as `{handle}`."))
            .with_hint("A job is named by its number, such as 118, or by the handle its bay gave.")
    };
    match crate::floor::ask(context) {
        Ok(now) => in_floor(&now, handle).ok_or_else(unknown),
        Err(_) => Err(unknown()),
    }
}

fn in_floor(now: &v1::NowResponse, handle: &str) -> Option<EventId> {
    let jobs = now.bays.iter().flat_map(|b| &b.jobs).chain(&now.elsewhere);
    jobs.filter(|j| j.handle == handle)
        .find_map(|j| crate::spool::event_id(&j.opening_event_id))
}
