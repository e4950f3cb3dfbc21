//! Flow, history and the panels of a week as messages.

use baywright_proto::v1;
use baywright_report::RowId;
use baywright_report::figures::{
    AirOut, CureUnderWay, Flow, IdleReason, Own, ReworkGroup, Spread, WeekDay, WeekPoint,
};

use super::us_or_zero;

pub(super) fn spread(spread: &Spread) -> v1::Spread {
    v1::Spread {
        n: spread.n,
        mean_us: spread.mean_us,
        half_us: spread.half_us,
        p80_us: spread.p80_us,
        p90_us: spread.p90_us,
    }
}

pub(super) fn flow(flow: &Flow) -> v1::Flow {
    v1::Flow {
        opened: flow.opened,
        released: flow.released,
        in_progress_us: flow.in_progress_us,
        window_us: flow.window_us,
        in_progress_mean: mean(flow.in_progress_us, flow.window_us),
        cycle: Some(spread(&flow.cycle)),
        flow_permille: flow.flow_permille.unwrap_or(0),
        reworked: flow.reworked,
        rework_permille: flow.rework_permille.unwrap_or(0),
    }
}

/// The one division of a time average.
#[allow(
    clippy::cast_precision_loss,
    reason = "microseconds of centuries fit a double; five digits are shown"
)]
pub(super) fn mean(sum_us: i64, window_us: i64) -> f64 {
    if window_us <= 0 {
        return 0.0;
    }
    sum_us as f64 / window_us as f64
}

pub(super) fn idle(idle: &IdleReason) -> v1::IdleReason {
    v1::IdleReason {
        reason: idle.reason.clone(),
        idle_us: idle.idle_us,
    }
}

pub(super) fn day(day: &WeekDay) -> v1::WeekDay {
    v1::WeekDay {
        date: day.date.to_string(),
        bay: day.bay.to_string(),
        open_us: day.open_us,
        hands_on_us: day.hands_on_us,
        waiting_us: day.waiting_us,
        idle_us: day.idle_us,
        empty_us: day.empty_us,
        occupied_outside_open_us: day.occupied_outside_open_us,
    }
}

pub(super) fn point(point: &WeekPoint) -> v1::WeekPoint {
    let ratio = point.ratio_permille;
    v1::WeekPoint {
        week: point.week.clone(),
        from_us: point.from.0,
        jobs: point.jobs,
        quoted_us: point.quoted_us,
        actual_us: point.actual_us,
        ratio_p20_permille: ratio.map_or(0, |r| r.p20),
        ratio_half_permille: ratio.map_or(0, |r| r.half),
        ratio_p80_permille: ratio.map_or(0, |r| r.p80),
        revenue_minor: point.revenue_minor,
        contribution_minor: point.contribution_minor,
        effective_hour_minor: point.effective_hour_minor.unwrap_or(0),
        utilisation_permille: point.utilisation_permille.unwrap_or(0),
        rework_us: point.rework_us,
    }
}

pub(super) fn air_out(air: &AirOut) -> v1::AirOut {
    v1::AirOut {
        job_number: air.job_number.unwrap_or(0),
        panel: air.panel.to_string(),
        product: air.product.to_string(),
        coated_us: air.coated.0,
        bay: air.bay.to_string(),
        why: baywright_floor::words::air(&air.product, air.why),
        seq: air.seq.0,
    }
}

pub(super) fn cure(cure: &CureUnderWay) -> v1::CureUnderWay {
    v1::CureUnderWay {
        job_number: cure.job_number.unwrap_or(0),
        handle: cure.handle.clone(),
        vehicle: cure.vehicle.clone(),
        water_safe_us: us_or_zero(cure.water_safe),
        full_cure_us: us_or_zero(cure.full_cure),
        panels: cure.panels,
    }
}

pub(super) fn rework((number, group): (usize, &ReworkGroup)) -> v1::ReworkGroup {
    v1::ReworkGroup {
        id: RowId::Rework(number).to_string(),
        product: group.product.to_string(),
        lot: group.lot.clone(),
        sections: group.sections,
        smeared: group.smeared,
        high_spots: group.high_spots,
        lowest_milli_c: group.lowest.map(|t| t.0),
        highest_milli_c: group.highest.map(|t| t.0),
    }
}

pub(super) fn own(own: &Own, week: &str, zone: String) -> v1::OwnResponse {
    let stages = own.stages.iter().map(|stage| v1::OwnStage {
        stage: stage.stage.to_string(),
        jobs: stage.jobs,
        hands_on_us: stage.hands_on_us,
    });
    v1::OwnResponse {
        worker: own.worker.to_string(),
        name: own.name.clone(),
        jobs: own.jobs,
        jobs_needed: own.jobs_needed,
        stages: stages.collect(),
        hands_on_us: own.hands_on_us,
        week: week.to_owned(),
        zone,
    }
}
