//! One job, told by its figures. The lines of the log are the daemon's.

use baywright_floor::event::JobKey;
use baywright_floor::row::Presence;
use baywright_floor::timeline;
use baywright_terms::time::Micros;

use crate::chemicals;
use crate::figures::{JobStory, StoryPlace};
use crate::input::{Index, Input, JobRows};
use crate::labour;
use crate::odd;
use crate::span::Span;
use crate::throughput;

/// The figures of one job up to `as_of`; `None` where its opening is not among
/// the rows.
pub fn story(input: &Input<'_>, job: JobKey) -> Option<JobStory> {
    let index = Index::new(input.rows);
    let figures = labour::job_figures(&index, input.catalogues, input.as_of, job)?;
    let rows = index.jobs.get(&job)?;
    let snapshot = input.catalogues.at(input.as_of);
    let zone = snapshot.catalogue.shop.as_ref();
    Some(JobStory {
        zone: zone.map(|shop| shop.zone.clone()).unwrap_or_default(),
        opened: figures.opened,
        places: places(rows, input),
        uses: chemicals::story_uses(&index, input.catalogues, rows),
        odd: odd::odd_figures(&index, input.catalogues, true)
            .into_iter()
            .filter(|o| o.job == Some(job))
            .collect(),
        as_of_seq: input.as_of_seq,
        job: figures,
    })
}

fn places(rows: &JobRows<'_>, input: &Input<'_>) -> Vec<StoryPlace> {
    let mut places: Vec<StoryPlace> = rows
        .presences
        .iter()
        .map(|stay| place(rows, stay, input.as_of))
        .collect();
    places.sort_by_key(|p| (p.from, p.until.is_none(), p.until));
    places
}

/// One stay with its three clocks.
pub(crate) fn place(rows: &JobRows<'_>, stay: &Presence, as_of: Micros) -> StoryPlace {
    let span = Span::new(stay.from, stay.until.unwrap_or(as_of));
    let (hands_on, waiting) = throughput::clocks(rows, span, as_of);
    let presence = (span.from.0, span.until.0);
    let clocks = timeline::totals(&timeline::partition(presence, &hands_on, &waiting));
    StoryPlace {
        place: stay.place.clone(),
        from: stay.from,
        until: stay.until,
        hands_on_us: clocks.hands_on_us,
        waiting_us: clocks.waiting_us,
        idle_us: clocks.idle_us,
    }
}
