//! The week: all its figures at once.

use baywright_floor::event::JobKey;
use baywright_terms::time::Micros;
use jiff::tz::TimeZone;

use crate::chemicals;
use crate::figures::{Flow, JobFigures, Week, WeekMoney};
use crate::input::{Index, Input};
use crate::labour;
use crate::money;
use crate::odd::odd_figures;
use crate::span::Span;
use crate::throughput;

/// The figures of a week called `name`, for example `2026-W48`, that runs from
/// `from` to `until` in the shop's zone. The span may be any other one.
pub fn week(input: &Input<'_>, name: &str, from: Micros, until: Micros) -> Week {
    let index = Index::new(input.rows);
    let whole = Span::new(from, until);
    let counted = Span::new(from, until.min(input.as_of));
    let jobs = released_in(&index, input, whole);
    let last = input.catalogues.at(counted.until);
    let latest = input.catalogues.at(input.as_of);
    // A week before the first catalogue is counted in the zone of the shop as
    // it became, so it is headed so too.
    let of_shop = if last.catalogue.shop.is_some() {
        &last
    } else {
        &latest
    };
    let shop = of_shop.catalogue.shop.as_ref();
    let mut bays = throughput::bay_figures(&index, input.catalogues, counted, input.as_of, &jobs);
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
    Week {
        week: name.to_owned(),
        shop: shop.map(|s| s.name.clone()).unwrap_or_default(),
        zone: shop.map(|s| s.zone.clone()).unwrap_or_default(),
        currency: shop.map(|s| s.currency.clone()).unwrap_or_default(),
        from: whole.from,
        until: whole.until,
        counted_until: counted.until,
        as_of_seq: input.as_of_seq,
        as_of: input.as_of,
        bays,
        types: labour::type_figures(&jobs),
        chemicals: chemicals::chemical_figures(&index, input.catalogues, whole, &jobs),
        odd: odd_figures(&index, input.catalogues, false),
        log_span: input.log_from.zip(input.log_until),
        remark: remark(input, name, whole, &of_shop.zone),
        money,
        shortfalls,
        flow: Flow::default(),
        history: Vec::new(),
        days: Vec::new(),
        air_out: Vec::new(),
        cures: Vec::new(),
        rework: Vec::new(),
        jobs,
    }
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

fn remark(input: &Input<'_>, name: &str, week: Span, zone: &TimeZone) -> String {
    let Some((first, latest)) = input.log_from.zip(input.log_until) else {
        return "The log is empty: nothing has been posted yet.".to_owned();
    };
    if input.as_of < week.from {
        return format!("{name} has not begun.");
    }
    if latest < week.from || week.until <= first {
        let (first, latest) = (first.civil(zone).date(), latest.civil(zone).date());
        return format!("Nothing was posted in {name}; the log runs from {first} to {latest}.");
    }
    String::new()
}
