//! Jobs: which one an event is about, opening, declaring, release.

use baywright_terms::catalogue::{HOLDING, UNSORTED};
use baywright_terms::code::Code;
use baywright_terms::time::Micros;

use crate::event::{JobKey, JobRef};
use crate::fact::{Answer, Declaration, Fact, JobOpened};
use crate::notice::Notice;
use crate::reply;
use crate::row::{Ended, JobOpenedRow, Row};
use crate::state::{Begun, Job, State};

use super::DECLARE_WITHIN_US;
use super::folding::{Folding, notice_about};
use super::{dwell, panels, places, stages, surfaces};

/// How a fact stands to a job.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Needs {
    /// It makes no sense without one.
    OpenJob,
    /// It counts for one where there is one; also after the release.
    Maybe,
    Nothing,
}

fn needs(fact: &Fact) -> Needs {
    match fact {
        Fact::StageDeclared { .. }
        | Fact::Noted { .. }
        | Fact::SetAside { .. }
        | Fact::StagePaused { person: true, .. }
        | Fact::Unknown => Needs::Maybe,
        Fact::JobOpened(_)
        | Fact::AmbientRead(_)
        | Fact::MixMade { .. }
        | Fact::MixDumped { .. }
        | Fact::ProductRefilled { .. }
        | Fact::StockReceived { .. }
        | Fact::StockCounted { .. }
        | Fact::StruckOut { .. }
        | Fact::Settled(_)
        | Fact::CatalogueSet { .. }
        | Fact::QuoteDrafted { .. }
        | Fact::QuoteRevised { .. }
        | Fact::QuoteAccepted { .. }
        | Fact::QuoteDeclined { .. }
        | Fact::PastRecorded { .. } => Needs::Nothing,
        _ => Needs::OpenJob,
    }
}

/// Works out which job the event counts for, and says where there is none.
pub(crate) fn resolve(f: &mut Folding<'_>) {
    let needs = needs(&f.event.fact);
    match f.event.job {
        _ if matches!(f.event.fact, Fact::JobOpened(_)) => f.job = Some(f.event.id),
        JobRef::Job(key) => {
            f.job = Some(key);
            let open = f.state.jobs.get(&key).is_some_and(Job::is_open);
            if !open && needs == Needs::OpenJob {
                f.notice(Notice::JobNotOpen { job: key });
            }
        }
        JobRef::UnknownNumber(number) => f.notice(Notice::UnknownJobNumber { number }),
        JobRef::Here if needs == Needs::Nothing => {}
        JobRef::Here => {
            f.job = places::job_in(f.state, &f.event.bay);
            // What is declared right after a release is about the job that left.
            if f.job.is_none() && matches!(f.event.fact, Fact::StageDeclared { .. }) {
                f.job = just_released(f.state, &f.event.bay);
            }
            if f.job.is_none() && needs == Needs::OpenJob {
                f.notice(Notice::NoJobHere {
                    bay: f.event.bay.clone(),
                });
            }
        }
    }
}

fn just_released(state: &State, bay: &Code) -> Option<JobKey> {
    state
        .jobs
        .iter()
        .filter(|(_, job)| job.place == *bay)
        .filter_map(|(key, job)| Some((job.released.as_ref()?.at, *key)))
        .max()
        .map(|(_, key)| key)
}

/// A vehicle comes in: it is holding until it is brought to a bay.
pub(crate) fn opened(f: &mut Folding<'_>, opened: &JobOpened) {
    let key = f.event.id;
    let job_type = f.snapshot.catalogue.job_types.get(&opened.job_type);
    let of_type = |own: &Code, of_type: Option<&Code>| match of_type {
        Some(code) if own.is_empty() => code.clone(),
        _ => own.clone(),
    };
    let vehicle_class = of_type(&opened.vehicle_class, job_type.map(|t| &t.vehicle_class));
    let panels = match job_type {
        Some(job_type) if opened.panels.is_empty() => job_type.panels.clone(),
        _ => opened.panels.clone(),
    };
    let comeback_of = match opened.comeback_of {
        Some(JobRef::Job(key)) => Some(key),
        Some(JobRef::UnknownNumber(number)) => {
            f.notice(Notice::UnknownJobNumber { number });
            None
        }
        Some(JobRef::Here) | None => None,
    };
    f.out.push(Row::JobOpened(JobOpenedRow {
        job: key,
        seq: f.event.seq,
        number: f.event.job_number,
        handle: opened.handle.clone(),
        opened: f.at,
        job_type: opened.job_type.clone(),
        vehicle: opened.vehicle.clone(),
        vehicle_class,
        grades: opened.grades,
        panels: panels.clone(),
        comeback_of,
        agreed_minor: opened.agreed.as_ref().and_then(|price| f.shop_price(price)),
        quote: opened.quote,
    }));
    let job = Job {
        opened: f.at,
        number: f.event.job_number,
        handle: opened.handle.clone(),
        job_type: opened.job_type.clone(),
        vehicle: opened.vehicle.clone(),
        panels,
        comeback: opened.comeback_of.is_some(),
        place: Code::new(HOLDING),
        placed: f.event.position.clone(),
        placed_seq: f.event.seq,
        released: None,
        stages: std::collections::BTreeMap::new(),
        declared: std::collections::BTreeSet::new(),
        dwells: Vec::new(),
        sections: Vec::new(),
        cures: std::collections::BTreeMap::new(),
        lamps: Vec::new(),
        covered_finishes: std::collections::BTreeSet::new(),
        covered_panels: std::collections::BTreeSet::new(),
        cautioned_stages: std::collections::BTreeSet::new(),
        cautioned_products: std::collections::BTreeSet::new(),
        flaws: Vec::new(),
    };
    f.state.jobs.insert(key, job);
    surfaces::nevers_of_vehicle(f, key);
}

/// Said at release, before or after it, for a stage without a record.
pub(crate) fn declared(f: &mut Folding<'_>, stage: &Code, declaration: Declaration) {
    let Some(key) = f.job else { return };
    if let Some(job) = f.state.jobs.get_mut(&key) {
        job.declared.insert(stage.clone());
    }
    if !f.left_out() {
        f.out.push(Row::Declared {
            job: key,
            stage: stage.clone(),
            declaration,
            seq: f.event.seq,
        });
    }
}

/// The vehicle leaves: everything on it ends.
pub(crate) fn released(f: &mut Folding<'_>) {
    let begun = f.begun();
    let Some((key, job)) = f.open_job() else {
        return;
    };
    let still_wet = job.cures.values().map(|cure| cure.until).max();
    let running = stages::end_all_of_job(f, key, Ended::Released);
    dwell::end_all_of_job(f, key);
    panels::end_all_of_job(f, key);
    places::leave(f, key);
    let (at, seq) = (f.at, f.event.seq);
    f.out.push(Row::JobReleased { job: key, at, seq });
    if !running.is_empty() {
        f.notice(Notice::StillRunning { stages: running });
    }
    if let Some(until) = still_wet.filter(|until| *until > f.at) {
        f.notice(Notice::StillWet { until });
    }
    if let Some(job) = f.state.jobs.get_mut(&key) {
        job.released = Some(begun);
    }
}

/// Drops jobs released [`DECLARE_WITHIN_US`] ago, and lists the stages of the
/// type that have neither record nor declaration.
///
/// Later events can still name such a job by its key: they count for it, with
/// the notice that it is not open.
pub(crate) fn forget_released(
    state: &mut State,
    cats: &crate::catalogues::Catalogues,
    to: Micros,
    out: &mut Vec<Row>,
) {
    let due = |job: &Job| {
        job.released
            .as_ref()
            .is_some_and(|r| r.at.0.saturating_add(DECLARE_WITHIN_US) <= to.0)
    };
    if !state.jobs.values().any(due) {
        return;
    }
    state.jobs.retain(|key, job| {
        if !due(job) {
            return true;
        }
        if let Some(release) = &job.released {
            for stage in undeclared(job, cats.at(release.at)) {
                said_of_missing(*key, release, stage, out);
            }
        }
        false
    });
}

/// That a stage is missing which nobody recorded or declared, and what the
/// owner has said of it since.
fn said_of_missing(key: JobKey, release: &Begun, stage: Code, out: &mut Vec<Row>) {
    let notice = Notice::Undeclared {
        stages: vec![stage.clone()],
    };
    let declaration = match reply::to(&release.settled, &notice) {
        Some(Answer::NotDone) => Some(Declaration::NotDone),
        Some(Answer::Took { took_us }) => Some(Declaration::DoneAbout { about_us: *took_us }),
        _ => None,
    };
    out.push(notice_about(release, Some(key), notice));
    out.extend(declaration.map(|declaration| Row::Declared {
        job: key,
        stage,
        declaration,
        seq: release.seq,
    }));
}

/// Stages of the type that nobody recorded or declared. A comeback has only the
/// stages that put it right, whatever its type, so none is missed.
fn undeclared(job: &Job, snapshot: &crate::catalogues::Snapshot) -> Vec<Code> {
    if job.comeback || job.job_type.as_str() == UNSORTED {
        return Vec::new();
    }
    let job_type = snapshot.catalogue.job_types.get(&job.job_type);
    let stages = job_type.into_iter().flat_map(|t| &t.stages);
    stages
        .map(|allowance| &allowance.stage)
        .filter(|stage| !job.stages.contains_key(*stage) && !job.declared.contains(*stage))
        .cloned()
        .collect()
}
