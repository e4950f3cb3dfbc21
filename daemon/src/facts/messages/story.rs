//! The story of a job as a message: its figures, and the lines of the log.

use baywright_floor::event::{JobKey, TimeBasis};
use baywright_floor::words;
use baywright_proto::v1;
use baywright_report::figures::{
    JobStory, StoryAir, StoryPlace, StorySection, StoryStretch, StoryUse, StretchKind,
};

use super::{figures, us_or_zero};
use crate::facts::FactsError;
use crate::facts::reader::{Told, View};
use crate::facts::rows::word;

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
        currency: story.currency.clone(),
        shop: story.shop.clone(),
        stretches: story.stretches.iter().map(stretch).collect(),
        air: story.air.iter().map(air).collect(),
        sections: story.sections.iter().map(section).collect(),
        as_of_us: story.as_of.0,
    })
}

fn stretch(stretch: &StoryStretch) -> v1::StoryStretch {
    let told = v1::StoryStretch {
        place: stretch.place.to_string(),
        from_us: stretch.from.0,
        until_us: us_or_zero(stretch.until),
        seqs: stretch.seqs.iter().map(|seq| seq.0).collect(),
        ..v1::StoryStretch::default()
    };
    match &stretch.kind {
        StretchKind::HandsOn {
            stage,
            worker,
            rework,
            ended,
            cost_minor,
        } => v1::StoryStretch {
            kind: "hands-on".to_owned(),
            stage: stage.to_string(),
            worker: worker.to_string(),
            rework: *rework,
            ended: word(*ended).to_owned(),
            cost_minor: cost_minor.unwrap_or(0),
            ..told
        },
        StretchKind::Waiting {
            kind,
            product,
            panel,
        } => v1::StoryStretch {
            kind: word(*kind).to_owned(),
            product: product.to_string(),
            panel: panel.to_string(),
            ..told
        },
    }
}

fn air(air: &StoryAir) -> v1::StoryAir {
    v1::StoryAir {
        read_us: air.read.0,
        bay: air.bay.to_string(),
        air_milli_c: air.air.0,
        humidity_milli_pct: air.humidity.0,
        surface_milli_c: air.surface.map(|surface| surface.0),
        seq: air.seq.0,
    }
}

fn section(section: &StorySection) -> v1::StorySection {
    let (levelled, result) = section.levelled.unzip();
    v1::StorySection {
        panel: section.panel.to_string(),
        section: section.section,
        layer: section.layer,
        finish: section.finish.to_string(),
        product: section.product.to_string(),
        lot: section.lot.clone(),
        coated_us: section.coated.0,
        levelled_us: us_or_zero(levelled),
        result: result.map_or(String::new(), |result| word(result).to_owned()),
        seqs: section.seqs.iter().map(|seq| seq.0).collect(),
    }
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
        TimeBasis::FirstReceipt => v1::TimeBasis::FirstReceipt,
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
