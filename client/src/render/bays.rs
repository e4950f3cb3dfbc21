//! Bay time, and how work flowed through each bay.

use baywright_proto::v1::{IdleReason, Week, WeekBay};

use super::figure::{adding_up, hours_minutes, mean, span_words, whole_percent};
use super::money::{figure, left_heading};
use super::table::{Column, Table};
use super::text::{clean, push, section};

/// Reasons named for each bay; what is left is summed up.
const REASONS_SAID_MAX: usize = 4;

/// The bays of the week: the four kinds of time, and the flow.
pub(super) fn bays(week: &Week, page: usize) -> String {
    let bays = &week.bays;
    let mut out = section("Bay time, hours:minutes", page);
    if bays
        .iter()
        .all(|bay| bay.open_us == 0 && bay.occupied_us == 0)
    {
        push(&mut out, "No open hours, and no vehicle in a bay.", page);
        return out;
    }
    out.push_str(&time(bays, page));
    let adds = "hands-on + waiting + idle = occupied; occupied + empty = open + outside hours.";
    push(&mut out, adds, page);
    let labour: Vec<String> = bays
        .iter()
        .filter(|bay| bay.labour_us > 0)
        .map(|bay| format!("{} {}", clean(&bay.bay), hours_minutes(bay.labour_us)))
        .collect();
    if !labour.is_empty() {
        let labour = format!("Labour, each person's time: {}.", labour.join(", "));
        push(&mut out, &labour, page);
    }
    for bay in bays {
        if let Some(said) = idle(bay) {
            push(&mut out, &said, page);
        }
    }
    out.push_str(&flow(week, page));
    out
}

fn time(bays: &[WeekBay], page: usize) -> String {
    let mut table = Table::new([
        Column::text("id"),
        Column::text("bay"),
        Column::number("jobs\nout"),
        Column::number("open"),
        Column::number("occupied"),
        Column::number("hands-\non"),
        Column::number("waiting"),
        Column::number("idle"),
        Column::number("empty"),
        Column::number("outside\nhours"),
    ]);
    for bay in bays {
        table.row(time_cells(&bay.bay, bay));
    }
    if bays.len() > 1 {
        table.total(time_cells("all", &sum_of_bays(bays)));
    }
    table.render(page)
}

fn time_cells(name: &str, bay: &WeekBay) -> [String; 10] {
    let parts = [bay.hands_on_us, bay.waiting_us, bay.idle_us, bay.empty_us];
    let [hands_on, waiting, idle, empty] = adding_up(parts);
    let occupied = hands_on.saturating_add(waiting).saturating_add(idle);
    // The printed row balances: what is outside hours is what the rounding of
    // the others leaves of it.
    let [open, outside] = adding_up([bay.open_us, bay.occupied_outside_open_us]);
    [
        bay.id.clone(),
        name.to_owned(),
        bay.jobs_released.to_string(),
        hours_minutes(open),
        hours_minutes(occupied),
        hours_minutes(hands_on),
        hours_minutes(waiting),
        hours_minutes(idle),
        hours_minutes(empty),
        hours_minutes(outside),
    ]
}

fn sum_of_bays(bays: &[WeekBay]) -> WeekBay {
    let sum = |field: fn(&WeekBay) -> i64| bays.iter().map(field).fold(0, i64::saturating_add);
    WeekBay {
        jobs_released: bays
            .iter()
            .map(|b| b.jobs_released)
            .fold(0, u32::saturating_add),
        open_us: sum(|b| b.open_us),
        occupied_us: sum(|b| b.occupied_us),
        occupied_outside_open_us: sum(|b| b.occupied_outside_open_us),
        hands_on_us: sum(|b| b.hands_on_us),
        waiting_us: sum(|b| b.waiting_us),
        idle_us: sum(|b| b.idle_us),
        empty_us: sum(|b| b.empty_us),
        ..WeekBay::default()
    }
}

/// `bay-1 stood idle 5:10: between stages 2:20, closed 1:20.`
fn idle(bay: &WeekBay) -> Option<String> {
    let mut reasons: Vec<&IdleReason> = bay.idle.iter().filter(|r| r.idle_us > 0).collect();
    if reasons.is_empty() {
        return None;
    }
    reasons.sort_by_key(|reason| std::cmp::Reverse(reason.idle_us));
    let mut said: Vec<String> = reasons
        .iter()
        .take(REASONS_SAID_MAX)
        .map(|reason| {
            format!(
                "{} {}",
                clean(&reason.reason),
                hours_minutes(reason.idle_us)
            )
        })
        .collect();
    let others = reasons.iter().skip(REASONS_SAID_MAX).map(|r| r.idle_us);
    let others = others.fold(0, i64::saturating_add);
    if others > 0 {
        said.push(format!("other reasons {}", hours_minutes(others)));
    }
    let (bay, idle) = (clean(&bay.bay), hours_minutes(bay.idle_us));
    Some(format!("{bay} stood idle {idle}: {}.", said.join(", ")))
}

fn flow(week: &Week, page: usize) -> String {
    let used: Vec<&WeekBay> = week.bays.iter().filter(|bay| bay.occupied_us > 0).collect();
    if used.is_empty() {
        return String::new();
    }
    let priced = used
        .iter()
        .any(|bay| bay.contribution_per_hour_minor.is_some());
    let mut columns = vec![
        Column::text("bay"),
        Column::number("in use\n%"),
        Column::number("hands-on\n%"),
        Column::number("jobs\nhere"),
        Column::number("half of jobs\nout within"),
        Column::number("9 in 10\nwithin"),
        Column::text("longest stage"),
    ];
    if priced {
        let margin = week.money.is_some_and(|money| money.margin);
        let below = format!("{}/h", clean(&week.currency));
        columns.push(Column::number(left_heading(margin, &below)));
    }
    let mut table = Table::of(columns);
    for bay in &used {
        table.row_of(flow_cells(bay, &week.currency));
    }
    let mut out = section("Flow through the bays", page);
    out.push_str(&table.render(page));
    let mut legend = "In use: occupied share of the open time. Hands-on: its share of the \
                      occupied time. Jobs here: average over the whole time, nights too."
        .to_owned();
    if priced {
        legend.push_str(" Per hour: over all the bay hours of the jobs released.");
    }
    push(&mut out, &legend, page);
    out
}

fn flow_cells(bay: &WeekBay, currency: &str) -> Vec<String> {
    let share = |permille: u32, whole_us: i64| {
        if whole_us > 0 {
            whole_percent(permille)
        } else {
            String::new()
        }
    };
    let (half, most) = match bay.cycle {
        Some(cycle) if cycle.n > 0 => (span_words(cycle.half_us), span_words(cycle.p90_us)),
        _ => Default::default(),
    };
    let longest = if bay.longest_stage.is_empty() {
        String::new()
    } else {
        let stage = clean(&bay.longest_stage);
        format!("{stage} {}", hours_minutes(bay.longest_stage_us))
    };
    let per_hour = bay.contribution_per_hour_minor;
    vec![
        bay.bay.clone(),
        share(bay.utilisation_permille, bay.open_us),
        share(bay.flow_permille, bay.occupied_us),
        mean(bay.jobs_here_mean),
        half,
        most,
        longest,
        per_hour.map_or_else(String::new, |minor| figure(minor, currency)),
    ]
}
