//! The week and odd records as messages.

use baywright_floor::words;
use baywright_proto::v1;
use baywright_report::RowId;
use baywright_report::figures::{
    ChemicalFigures, JobFigures, OddFigures, Portion, StageFigures, TypeFigures, Week, WeekBay,
};

use super::{flow, money, us_or_zero};
use crate::facts::reader::View;

pub(super) fn week(view: &View<'_>, week: &Week) -> v1::Week {
    let (history, days) = (&week.history, &week.days);
    v1::Week {
        quotes: Vec::new(),
        ahead: None,
        look_again: Vec::new(),
        honesty: None,
        week: week.week.clone(),
        shop: week.shop.clone(),
        zone: week.zone.clone(),
        currency: week.currency.clone(),
        from_us: week.from.0,
        until_us: week.until.0,
        counted_until_us: week.counted_until.0,
        as_of_seq: week.as_of_seq.0,
        as_of_us: week.as_of.0,
        bays: (1..)
            .zip(&week.bays)
            .map(|(number, figures)| bay(number, figures, week.flow.window_us))
            .collect(),
        jobs: week.jobs.iter().map(job).collect(),
        types: (1..).zip(&week.types).map(job_type).collect(),
        chemicals: (1..).zip(&week.chemicals).map(chemical).collect(),
        odd: odd(view, &week.odd),
        log_from_us: us_or_zero(week.log_span.map(|(from, _)| from)),
        log_until_us: us_or_zero(week.log_span.map(|(_, until)| until)),
        remark: week.remark.clone(),
        money: Some(money::week(&week.money)),
        shortfalls: money::shortfalls(&week.shortfalls, |cause| Some(RowId::Shortfall(cause))),
        flow: Some(flow::flow(&week.flow)),
        history: history.iter().map(flow::point).collect(),
        days: days.iter().map(flow::day).collect(),
        air_out: week.air_out.iter().map(flow::air_out).collect(),
        cures: week.cures.iter().map(flow::cure).collect(),
        rework: (1..).zip(&week.rework).map(flow::rework).collect(),
        quantiles: baywright_report::QUANTILES.to_owned(),
    }
}

fn bay(number: usize, bay: &WeekBay, window_us: i64) -> v1::WeekBay {
    let longest = bay.longest_stage.as_ref();
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
        id: RowId::Bay(number).to_string(),
        idle: bay.idle.iter().map(flow::idle).collect(),
        flow_permille: bay.flow_permille.unwrap_or(0),
        cycle: Some(flow::spread(&bay.cycle)),
        longest_stage: longest.map_or(String::new(), |(stage, _)| stage.to_string()),
        longest_stage_us: longest.map_or(0, |(_, us)| *us),
        contribution_per_hour_minor: bay.contribution_per_hour_minor,
        jobs_here_mean: flow::mean(bay.jobs_here_us, window_us),
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
        stages: job.stages.iter().map(|s| stage(s, String::new())).collect(),
        comeback_of: job.comeback_of_number.unwrap_or(0),
        no_allowance: job.quoted_us.is_none(),
        id: job
            .number
            .map_or(String::new(), |number| RowId::Job(number).to_string()),
        money: Some(money::job(&job.money)),
        shortfalls: money::shortfalls(&job.shortfalls, |_| None),
        first_pass_us: job.first_pass_us,
        occupied_us: job.occupied_us,
        flow_permille: job.flow_permille.unwrap_or(0),
    }
}

fn stage(stage: &StageFigures, id: String) -> v1::WeekStage {
    v1::WeekStage {
        stage: stage.stage.to_string(),
        jobs: stage.jobs,
        quoted_us: stage.quoted_us,
        actual_us: stage.actual_us,
        no_allowance: !stage.allowed,
        id,
        rework_us: stage.rework_us,
        unclosed_us: stage.unclosed_us,
        declared_us: stage.declared_us,
    }
}

fn job_type((number, figures): (usize, &TypeFigures)) -> v1::WeekType {
    let stages = (1..).zip(&figures.stages);
    v1::WeekType {
        job_type: figures.job_type.to_string(),
        jobs: figures.jobs,
        quoted_us: figures.quoted_us,
        actual_us: figures.actual_us,
        stages: stages
            .map(|(of, figures)| stage(figures, RowId::Stage(number, of).to_string()))
            .collect(),
        jobs_quoted: figures.jobs_quoted,
        actual_unquoted_us: figures.actual_unquoted_us,
        id: RowId::Type(number).to_string(),
        money: Some(money::week(&figures.money)),
        shortfalls: money::shortfalls(&figures.shortfalls, |cause| {
            Some(RowId::TypeShortfall(number, cause))
        }),
        rework_us: figures.rework_us,
        unclosed_us: figures.unclosed_us,
        declared_us: figures.declared_us,
    }
}

fn chemical((number, figures): (usize, &ChemicalFigures)) -> v1::WeekChemical {
    let per_job = &figures.per_job;
    let amount = |base| {
        Portion {
            base,
            ..figures.used
        }
        .value()
    };
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
        id: RowId::Chemical(number).to_string(),
        cost_minor: figures.cost_minor,
        allowance_cost_minor: figures.allowance_cost_minor,
        n: per_job.n,
        mean: amount(per_job.mean_base),
        median: amount(per_job.median_base),
        p80: amount(per_job.p80_base),
        cost_mean_minor: per_job.cost_mean_minor,
        cost_median_minor: per_job.cost_median_minor,
        cost_p80_minor: per_job.cost_p80_minor,
        apportioned: figures.apportioned,
        at_allowance: figures.at_allowance,
        dumped_cost_minor: figures.dumped_cost_minor,
        no_price: figures.no_price,
        jobs_allowed: figures.jobs_allowed,
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
            of: record.of.clone(),
            changes_us: record.changes_us,
            answers: record
                .answers
                .iter()
                .map(|answer| v1::OddAnswer {
                    command: answer.command.clone(),
                    words: answer.words.clone(),
                    changes_us: answer.changes_us,
                    proposed: answer.proposed,
                })
                .collect(),
            stage: record.stage.to_string(),
            worker: record.worker.to_string(),
            counted_from_us: record.counted.map_or(0, |(from, _)| from.0),
            counted_until_us: record.counted.map_or(0, |(_, until)| until.0),
        })
        .collect()
}
