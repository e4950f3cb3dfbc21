//! The floor as it is, as a message.

use baywright_floor::now::{
    self, NowAir, NowBay, NowDwell, NowJob, NowSection, NowStage, NowWorker,
};
use baywright_proto::v1;
use baywright_terms::code::Code;
use baywright_terms::time::Micros;

use super::us_or_zero;
use crate::facts::FactsError;
use crate::facts::reader::View;

/// `bay` empty: all bays, what is elsewhere and all workers. Else that bay,
/// and the workers on something in it.
pub(super) fn now(
    view: &View<'_>,
    bay: &str,
    as_of: Micros,
) -> Result<v1::NowResponse, FactsError> {
    let shown = |code: &Code| bay.is_empty() || code.as_str() == bay;
    let on = now::now(&view.live()?.state, &view.catalogues(), as_of);
    let workers = on
        .workers
        .iter()
        .filter(|worker| shown(&worker.bay))
        .map(|on| worker(view, on))
        .collect::<Result<_, FactsError>>()?;
    let elsewhere = if bay.is_empty() {
        on.elsewhere.iter().map(job).collect()
    } else {
        Vec::new()
    };
    Ok(v1::NowResponse {
        as_of_us: on.as_of.0,
        head_seq: view.cursor(),
        bays: on
            .bays
            .iter()
            .filter(|bay| shown(&bay.bay))
            .map(one_bay)
            .collect(),
        elsewhere,
        workers,
        odd_open: u32::try_from(view.odd_open()?).unwrap_or(u32::MAX),
        catalogue_revision: view.catalogue_revision(),
    })
}

fn one_bay(bay: &NowBay) -> v1::NowBay {
    v1::NowBay {
        bay: bay.bay.to_string(),
        places: bay.places,
        jobs: bay.jobs.iter().map(job).collect(),
        air: bay.air.as_ref().map(air),
    }
}

fn air(air: &NowAir) -> v1::NowAir {
    v1::NowAir {
        read_us: air.read.0,
        air_milli_c: air.air.0,
        humidity_milli_pct: air.humidity.0,
        surface_milli_c: air.surface.map(|surface| surface.0),
    }
}

fn job(job: &NowJob) -> v1::NowJob {
    v1::NowJob {
        number: job.number.unwrap_or(0),
        handle: job.handle.clone(),
        job_type: job.job_type.to_string(),
        vehicle: job.vehicle.clone(),
        place: job.place.to_string(),
        in_place_since_us: job.in_place_since.0,
        running: job.running.iter().map(stage).collect(),
        paused: job.paused.iter().map(stage).collect(),
        dwells: job.dwells.iter().map(dwell).collect(),
        sections: job.sections.iter().map(section).collect(),
        stages_done: texts(&job.stages_done),
        stages_open: texts(&job.stages_open),
        comeback: job.comeback,
        dry_until_us: us_or_zero(job.dry_until),
        opening_event_id: job.job.0.to_vec(),
    }
}

fn stage(stage: &NowStage) -> v1::NowStage {
    v1::NowStage {
        stage: stage.stage.to_string(),
        worker: stage.worker.to_string(),
        since_us: stage.since.0,
        hands_on_us: stage.hands_on_us,
    }
}

fn dwell(dwell: &NowDwell) -> v1::NowDwell {
    v1::NowDwell {
        product: dwell.product.to_string(),
        panels: texts(&dwell.panels),
        since_us: dwell.since.0,
        shortest_at_us: us_or_zero(dwell.shortest_at),
        longest_at_us: us_or_zero(dwell.longest_at),
    }
}

fn section(section: &NowSection) -> v1::NowSection {
    let (from, until) = section.window.unzip();
    v1::NowSection {
        panel: section.panel.to_string(),
        section: section.section,
        finish: section.finish.to_string(),
        product: section.product.to_string(),
        coated_us: section.coated.0,
        level_from_us: us_or_zero(from),
        level_until_us: us_or_zero(until),
    }
}

fn worker(view: &View<'_>, on: &NowWorker) -> Result<v1::NowWorker, FactsError> {
    let number = match on.job {
        Some(job) => view.title(job)?.map_or(0, |title| title.number),
        None => 0,
    };
    Ok(v1::NowWorker {
        worker: on.worker.to_string(),
        job_number: number,
        stage: on.stage.to_string(),
        bay: on.bay.to_string(),
        since_us: us_or_zero(on.since),
        on_break: on.on_break,
    })
}

fn texts(codes: &[Code]) -> Vec<String> {
    codes.iter().map(ToString::to_string).collect()
}
