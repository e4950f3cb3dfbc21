//! The week: all its figures at once.

use baywright_floor::event::JobKey;
use baywright_terms::time::Micros;
use jiff::tz::TimeZone;

use crate::chemicals;
use crate::days::BayTimes;
use crate::figures::{JobFigures, Week, WeekBay, WeekMoney, WeekPoint};
use crate::flow::{self, panels};
use crate::history;
use crate::input::{Index, Input};
use crate::labour;
use crate::money;
use crate::odd::odd_figures;
use crate::span::Span;
use crate::throughput;
use crate::window::Window;

/// The figures of a week called `name`, for example `2026-W48`, that runs from
/// `from` to `until` in the shop's zone. The span may be any other one.
pub fn week(input: &Input<'_>, name: &str, from: Micros, until: Micros) -> Week {
    let window = Window {
        name: name.to_owned(),
        from,
        until,
        history: Vec::new(),
    };
    week_in(input, &window)
}

/// The figures of a span and its history. The rows must be those of
/// [`Window::reach`].
pub fn week_in(input: &Input<'_>, window: &Window) -> Week {
    let index = Index::new(input.rows);
    let whole = Span::new(window.from, window.until);
    let counted = Span::new(whole.from, whole.until.min(input.as_of));
    let (reach_from, reach_until) = window.reach();
    let reach = Span::new(reach_from, reach_until);
    let released = released_in(&index, input, reach);
    let (jobs, others) = released
        .into_iter()
        .partition::<Vec<_>, _>(|job| job.released.is_some_and(|at| whole.holds(at)));
    let last = input.catalogues.at(counted.until);
    let latest = input.catalogues.at(input.as_of);
    // A week before the first catalogue is counted in the zone of the shop as
    // it became, so it is headed so too.
    let of_shop = if last.catalogue.shop.is_some() {
        last
    } else {
        latest
    };
    let shop = of_shop.catalogue.shop.as_ref();
    let times = BayTimes::new(
        &index,
        input.catalogues,
        Span::new(reach.from, reach.until.min(input.as_of)),
        &latest.zone,
        &edges(window, counted),
        input.as_of,
    );
    let listed = throughput::bays(&index, input.catalogues, &times, counted, &jobs);
    let days = times.days(&listed, counted);
    let mut bays =
        throughput::bay_figures(&index, input.catalogues, &times, &listed, counted, &jobs);
    let mut per_hour = money::contribution_per_hour_minor(&index, input.as_of, &jobs);
    for bay in &mut bays {
        bay.contribution_per_hour_minor = per_hour.remove(&bay.bay);
    }
    let all: Vec<&JobFigures> = jobs.iter().collect();
    let money = WeekMoney {
        loose_materials_minor: money::loose_materials_minor(&index, input.catalogues, whole),
        ..money::sum(&all)
    };
    let shortfalls = money::shortfalls_over(&all);
    let flow = flow::flow(&index, counted, input.as_of, &jobs);
    let chemicals = chemicals::chemical_figures(&index, input.catalogues, whole, &jobs);
    let is_empty = chemicals.is_empty() && flow.is_empty() && bays.iter().all(WeekBay::is_empty);
    Week {
        week: window.name.clone(),
        shop: shop.map(|s| s.name.clone()).unwrap_or_default(),
        zone: shop.map(|s| s.zone.clone()).unwrap_or_default(),
        currency: shop.map(|s| s.currency.clone()).unwrap_or_default(),
        from: whole.from,
        until: whole.until,
        counted_until: counted.until,
        as_of_seq: input.as_of_seq,
        as_of: input.as_of,
        types: labour::type_figures(&jobs),
        odd: odd_figures(&index, input.catalogues, false),
        log_span: input.log_from.zip(input.log_until),
        remark: remark(input, window, &of_shop.zone, is_empty),
        money,
        shortfalls,
        flow,
        history: history(window, &jobs, &others, &times, input.as_of),
        days,
        air_out: panels::air_out(&index, input.catalogues, whole),
        cures: panels::cures(&index, input.catalogues, input.as_of),
        rework: panels::rework_groups(&index, whole),
        bays,
        chemicals,
        jobs,
    }
}

/// Where sums of bay time begin and end.
fn edges(window: &Window, counted: Span) -> Vec<Micros> {
    let weeks = window.history.iter();
    weeks
        .flat_map(|week| [week.from, week.until])
        .chain([counted.from, counted.until])
        .collect()
}

fn history(
    window: &Window,
    jobs: &[JobFigures],
    others: &[JobFigures],
    times: &BayTimes<'_>,
    as_of: Micros,
) -> Vec<WeekPoint> {
    let mut all: Vec<&JobFigures> = jobs.iter().chain(others).collect();
    all.sort_by_key(|job| (job.released, job.opened, job.job));
    history::points(&window.history, &all, times, as_of)
}

/// Jobs released in the span, in order of release.
fn released_in(index: &Index<'_>, input: &Input<'_>, span: Span) -> Vec<JobFigures> {
    let in_span = |job: &JobKey| {
        let released = index.jobs.get(job).and_then(|rows| rows.released);
        released.is_some_and(|at| span.holds(at))
    };
    let mut jobs: Vec<JobFigures> = index
        .jobs
        .keys()
        .filter(|job| in_span(job))
        .filter_map(|job| labour::job_figures(index, input.catalogues, input.as_of, *job))
        .collect();
    jobs.sort_by_key(|job| (job.released, job.opened, job.job));
    jobs
}

/// A sentence where there is nothing to show. `is_empty`: no job was here and
/// nothing was used.
fn remark(input: &Input<'_>, window: &Window, zone: &TimeZone, is_empty: bool) -> String {
    let name = &window.name;
    let Some((first, latest)) = input.log_from.zip(input.log_until) else {
        return "The log is empty: nothing has been posted yet.".to_owned();
    };
    if input.as_of < window.from {
        return format!("{name} has not begun.");
    }
    let outside = latest < window.from || window.until <= first;
    if !outside && !is_empty {
        return String::new();
    }
    let (first, latest) = (first.civil(zone).date(), latest.civil(zone).date());
    if outside {
        return format!("Nothing was posted in {name}; the log runs from {first} to {latest}.");
    }
    format!("No job was here in {name}; the log runs from {first} to {latest}.")
}
