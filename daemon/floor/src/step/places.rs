//! Places: a job is in exactly one from its opening until its release.

use baywright_terms::catalogue::is_no_bay;
use baywright_terms::code::Code;

use crate::event::JobKey;
use crate::notice::Notice;
use crate::row::{Ended, Presence, Row};
use crate::state::State;

use super::folding::Folding;
use super::{dwell, panels, stages, surfaces};

/// The job in a bay; of several, the one brought last.
pub(crate) fn job_in(state: &State, bay: &Code) -> Option<JobKey> {
    state
        .jobs
        .iter()
        .filter(|(_, job)| job.is_open() && job.place == *bay)
        .max_by(|(_, a), (_, b)| a.placed.cmp(&b.placed))
        .map(|(key, _)| *key)
}

/// A job goes to another place. What ran on it where it was ends.
pub(crate) fn moved(f: &mut Folding<'_>, place: &Code) {
    let Some((key, job)) = f.open_job() else {
        return;
    };
    if job.place != *place {
        stages::end_all_of_job(f, key, Ended::Moved);
        dwell::end_all_of_job(f, key);
        panels::end_lamps_of_job(f, key);
        leave(f, key);
        let position = f.event.position.clone();
        let seq = f.event.seq;
        if let Some(job) = f.state.jobs.get_mut(&key) {
            job.place = place.clone();
            job.placed = position;
            job.placed_seq = seq;
        }
    }
    if is_no_bay(place.as_str()) {
        return;
    }
    surfaces::nevers_of_vehicle(f, key);
    let jobs: Vec<JobKey> = f
        .state
        .jobs
        .iter()
        .filter(|(_, job)| job.is_open() && job.place == *place)
        .map(|(key, _)| *key)
        .collect();
    let places = usize::try_from(f.snapshot.places(place)).unwrap_or(usize::MAX);
    if jobs.len() > places {
        f.notice(Notice::BayOverfull {
            bay: place.clone(),
            jobs,
        });
    }
}

/// Ends the job's presence where it is.
pub(crate) fn leave(f: &mut Folding<'_>, key: JobKey) {
    if let Some(job) = f.state.jobs.get(&key)
        && job.placed.occurred < f.at
    {
        f.out.push(Row::Presence(Presence {
            job: key,
            place: job.place.clone(),
            from: job.placed.occurred,
            until: Some(f.at),
            seq_from: job.placed_seq,
            seq_until: Some(f.event.seq),
        }));
    }
}
