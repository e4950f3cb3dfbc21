//! The week and odd records as messages.

use baywright_floor::words;
use baywright_proto::v1;
use baywright_report::figures::{
    ChemicalFigures, JobFigures, OddFigures, StageFigures, TypeFigures, Week, WeekBay,
};

use super::us_or_zero;
use crate::facts::reader::View;

pub(super) fn week(view: &View<'_>, week: &Week) -> v1::Week {
    v1::Week {
        week: week.week.clone(),
        shop: week.shop.clone(),
        zone: week.zone.clone(),
        currency: week.currency.clone(),
        from_us: week.from.0,
        until_us: week.until.0,
        counted_until_us: week.counted_until.0,
        as_of_seq: week.as_of_seq.0,
        as_of_us: week.as_of.0,
        bays: week.bays.iter().map(bay).collect(),
        jobs: week.jobs.iter().map(job).collect(),
        types: week.types.iter().map(job_type).collect(),
        chemicals: week.chemicals.iter().map(chemical).collect(),
        odd: odd(view, &week.odd),
        log_from_us: us_or_zero(week.log_span.map(|(from, _)| from)),
        log_until_us: us_or_zero(week.log_span.map(|(_, until)| until)),
        remark: week.remark.clone(),
    }
}

fn bay(bay: &WeekBay) -> v1::WeekBay {
    v1::WeekBay {
        bay: bay.bay.to_string(),
        places: bay.places,
        jobs_released: bay.jobs_released,
        open_us: bay.open_us,
        occupied_us: bay.occupied_us,
        occupied_outside_open_us: bay.occupied_outside_open_us,
        hands_on_us: bay.hands_on_us,
        waiting_us: bay.waiting_us,
        idle_us: bay.idle_us,
        empty_us: bay.empty_us,
        labour_us: bay.labour_us,
        utilisation_permille: bay.utilisation_permille.unwrap_or(0),
    }
}

pub(super) fn job(job: &JobFigures) -> v1::WeekJob {
    v1::WeekJob {
        number: job.number.unwrap_or(0),
        handle: job.handle.clone(),
        job_type: job.job_type.to_string(),
        vehicle: job.vehicle.clone(),
        bay: job.bay.to_string(),
        released_us: us_or_zero(job.released),
        quoted_us: job.quoted_us.unwrap_or(0),
        actual_us: job.actual_us,
        rework_us: job.rework_us,
        unclosed_us: job.unclosed_us,
        declared_us: job.declared_us,
        cycle_us: job.cycle_us.unwrap_or(0),
        stages: job.stages.iter().map(stage).collect(),
        comeback_of: job.comeback_of_number.unwrap_or(0),
        no_allowance: job.quoted_us.is_none(),
    }
}

fn stage(stage: &StageFigures) -> v1::WeekStage {
    v1::WeekStage {
        stage: stage.stage.to_string(),
        jobs: stage.jobs,
        quoted_us: stage.quoted_us,
        actual_us: stage.actual_us,
        no_allowance: !stage.allowed,
    }
}

fn job_type(figures: &TypeFigures) -> v1::WeekType {
    v1::WeekType {
        job_type: figures.job_type.to_string(),
        jobs: figures.jobs,
        quoted_us: figures.quoted_us,
        actual_us: figures.actual_us,
        stages: figures.stages.iter().map(stage).collect(),
        jobs_quoted: figures.jobs_quoted,
        actual_unquoted_us: figures.actual_unquoted_us,
    }
}

fn chemical(figures: &ChemicalFigures) -> v1::WeekChemical {
    v1::WeekChemical {
        job_type: figures.job_type.to_string(),
        product: figures.product.to_string(),
        jobs: figures.jobs,
        jobs_with_use: figures.jobs_with_use,
        unit: figures.unit.as_str().to_owned(),
        used: figures.used.value(),
        allowance: figures.allowance.value(),
        dumped: figures.dumped.value(),
        uses_without_amount: figures.uses_without_amount,
        mixed_units: figures.mixed_units,
    }
}

pub(super) fn odd(view: &View<'_>, odd: &[OddFigures]) -> Vec<v1::OddRecord> {
    odd.iter()
        .map(|record| v1::OddRecord {
            event_id: record.event.0.to_vec(),
            seq: record.seq.0,
            code: words::code(&record.notice).to_owned(),
            text: view.sentence(record.occurred, &record.notice),
            job_number: record.job_number.unwrap_or(0),
            occurred_us: record.occurred.0,
            bay: record.bay.to_string(),
            settle_with: record.settle_with.clone(),
            settled: record.settled,
        })
        .collect()
}
