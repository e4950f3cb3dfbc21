//! The story of a job as a message: its figures, and the lines of the log.

use baywright_floor::event::{JobKey, TimeBasis};
use baywright_floor::words;
use baywright_proto::v1;
use baywright_report::figures::{JobStory, StoryPlace, StoryUse};

use super::{figures, us_or_zero};
use crate::facts::FactsError;
use crate::facts::reader::{Told, View};

pub(super) fn story(
    view: &mut View<'_>,
    story: &JobStory,
    job: JobKey,
) -> Result<v1::JobStory, FactsError> {
    let told = view.events_of_job(job)?;
    let lines = told
        .iter()
        .map(|told| line(view, told))
        .collect::<Result<_, FactsError>>()?;
    Ok(v1::JobStory {
        job: Some(figures::job(&story.job)),
        zone: story.zone.clone(),
        opened_us: story.opened.0,
        lines,
        places: story.places.iter().map(place).collect(),
        uses: story.uses.iter().map(product_use).collect(),
        odd: figures::odd(view, &story.odd),
        as_of_seq: story.as_of_seq.0,
        ..v1::JobStory::default()
    })
}

fn line(view: &View<'_>, told: &Told) -> Result<v1::StoryLine, FactsError> {
    let event = &told.event;
    let at = event.position.occurred;
    let cats = view.catalogues();
    let text = words::story_line(
        event,
        &words::Context {
            job_title: &|job| view.title(job).ok().flatten().map(|title| title.text),
            zone: &cats.at(at).zone,
        },
    );
    let basis = match event.time_basis {
        TimeBasis::Boot => v1::TimeBasis::Boot,
        TimeBasis::EarlierBoot => v1::TimeBasis::EarlierBoot,
        TimeBasis::PresentOffset => v1::TimeBasis::PresentOffset,
        TimeBasis::Stated => v1::TimeBasis::Stated,
    };
    let (notices, cautions) = view.notices_of(event)?;
    Ok(v1::StoryLine {
        seq: event.seq.0,
        occurred_us: at.0,
        device: event.position.device.to_string(),
        bay: event.bay.to_string(),
        by: told.by.iter().map(ToString::to_string).collect(),
        text,
        struck: told.struck,
        notices,
        cautions,
        event_id: event.id.0.to_vec(),
        time_basis: basis.into(),
    })
}

fn place(stay: &StoryPlace) -> v1::StoryPlace {
    v1::StoryPlace {
        place: stay.place.to_string(),
        from_us: stay.from.0,
        until_us: us_or_zero(stay.until),
        hands_on_us: stay.hands_on_us,
        waiting_us: stay.waiting_us,
        idle_us: stay.idle_us,
    }
}

pub(in crate::facts) fn product_use(used: &StoryUse) -> v1::StoryUse {
    v1::StoryUse {
        product: used.product.to_string(),
        unit: used.unit.as_str().to_owned(),
        used: used.used.value(),
        allowance: used.allowance.value(),
        seqs: used.seqs.iter().map(|seq| seq.0).collect(),
        uses_without_amount: used.uses_without_amount,
        cost_minor: used.cost_minor,
        allowance_cost_minor: used.allowance_cost_minor,
        apportioned: used.apportioned,
        at_allowance: used.at_allowance,
        no_price: used.no_price,
        waste_minor: used.waste_minor,
    }
}
