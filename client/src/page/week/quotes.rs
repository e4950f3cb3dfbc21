//! Prices to look at again, quotes won and lost, the two weeks ahead, and how
//! quotes held.

use baywright_proto::v1::{Ahead, Honesty, HonestyOf, HonestyPoint, LookAgain, QuotesOfType};
use maud::{Markup, html};

use super::Sheet;
use crate::page::chart::calibration::{Point, picture};
use crate::page::frame::Section;
use crate::page::phrase::{NONE, minus, permille};
use crate::page::table::{Column, Table, cell};
use crate::render::figure::{divided_rounded, hours_minutes};
use crate::render::text::clean;
use crate::render::{ahead as two_weeks, honesty as held, look_again as prices, won};

pub(super) fn look_again(sheet: &Sheet<'_>) -> Option<Section> {
    let missed = &sheet.week.look_again;
    if missed.is_empty() {
        return None;
    }
    let code = sheet.purse.code();
    let mut table = Table::new(
        "prices-table",
        format!("Prices that miss their target on strong evidence, money in {code}"),
        [
            Column::text("Job type"),
            Column::number("Price now"),
            Column::number("Costs, mean"),
            Column::number("Left"),
            Column::number("Target"),
            Column::number("Probability"),
            Column::number("Would meet it"),
            Column::number("With four in five certainty"),
            Column::number("Jobs"),
        ],
    );
    for price in missed {
        table.row(price_cells(sheet, price));
    }
    let body = html! {
        p {
            "Probability: how sure it is, from the recorded jobs, that the price misses its target. A discount says \
             nothing about time and is no part of it. No price changes by itself."
        }
        (table.render())
    };
    Some(Section::new("prices", "Prices to look at again", body))
}

fn price_cells(sheet: &Sheet<'_>, price: &LookAgain) -> [Markup; 9] {
    let percent = |permille: i32| minus(&format!("{}\u{a0}%", prices::signed_percent(permille)));
    [
        html! {
            (clean(&price.job_type))
            @if price.above { small { "asks more than its target" } }
        },
        cell(sheet.purse.number(price.list_minor)),
        cell(sheet.purse.number(price.cost_minor)),
        cell(percent(price.margin_permille)),
        cell(percent(price.target_margin_permille)),
        cell(permille(price.probability_permille)),
        cell(sheet.purse.number(price.price_minor)),
        cell(sheet.purse.number(price.price_sure_minor)),
        cell(price.from_jobs.to_string()),
    ]
}

pub(super) fn won_and_lost(sheet: &Sheet<'_>) -> Option<Section> {
    let quotes = &sheet.week.quotes;
    let any = |of: &&QuotesOfType| of.won + of.lost + of.open + of.run_out > 0;
    if !quotes.iter().any(|of| any(&of)) {
        return None;
    }
    let code = sheet.purse.code();
    let mut table = Table::new(
        "won-table",
        format!("Quotes by job type and how they ended, mean prices in {code}"),
        [
            Column::text("Job type"),
            Column::number("Won"),
            Column::number("Lost"),
            Column::number("Open"),
            Column::number("Run out"),
            Column::number("Won at"),
            Column::number("Lost at"),
            Column::number("Agreed of printed"),
            Column::wide("Lost for"),
        ],
    );
    for of in quotes.iter().filter(any) {
        table.row(won_cells(sheet, of));
    }
    let body = html! {
        p { (won::words(quotes)) }
        (table.render())
    };
    Some(Section::new("quotes", "Quotes won and lost", body))
}

fn won_cells(sheet: &Sheet<'_>, of: &QuotesOfType) -> [Markup; 9] {
    let mean = |count: u32, minor: i64| match count {
        0 => cell(NONE),
        _ => cell(sheet.purse.number(minor)),
    };
    let why: Vec<String> = of.lost_why.iter().map(|why| clean(why)).collect();
    [
        cell(clean(&of.job_type)),
        cell(of.won.to_string()),
        cell(of.lost.to_string()),
        cell(of.open.to_string()),
        cell(of.run_out.to_string()),
        mean(of.won, of.won_price_mean_minor),
        mean(of.lost, of.lost_price_mean_minor),
        if of.won > 0 && of.agreed_milli > 0 {
            cell(format!("{}\u{a0}%", divided_rounded(of.agreed_milli, 10)))
        } else {
            cell(NONE)
        },
        cell(if why.is_empty() {
            NONE.to_owned()
        } else {
            why.join("; ")
        }),
    ]
}

pub(super) fn ahead(sheet: &Sheet<'_>) -> Option<Section> {
    let ahead = sheet.week.ahead.as_ref()?;
    if two_weeks::is_nothing(ahead) {
        return None;
    }
    let mut table = Table::new(
        "ahead-table",
        "Promised labour and bay time against what is open, hours:minutes",
        [
            Column::text("Week"),
            Column::number("Labour open"),
            Column::number("Promised, half"),
            Column::number("Four in five"),
            Column::number("Bays open"),
            Column::number("Promised, half"),
            Column::number("Four in five"),
        ],
    );
    for week in &ahead.weeks {
        let mut cells = vec![cell(clean(&week.week))];
        let figures = [
            week.worker_open_us,
            week.promised_half_us,
            week.promised_p80_us,
            week.bay_open_us,
            week.promised_bay_half_us,
            week.promised_bay_p80_us,
        ];
        cells.extend(figures.map(|us| cell(hours_minutes(us))));
        table.row(cells);
    }
    let body = html! {
        @for said in two_weeks::sentences(ahead) { p { (said) } }
        @if !table.is_empty() { (table.render()) }
        @if !ahead.jobs.is_empty() { (promised(ahead)) }
    };
    Some(Section::new("ahead", "The two weeks ahead", body))
}

/// The jobs that the promised hours are of.
fn promised(ahead: &Ahead) -> Markup {
    let mut table = Table::new(
        "promised-table",
        "Jobs that are promised, labour in hours:minutes",
        [
            Column::text("Job"),
            Column::text("Type"),
            Column::wide("Vehicle"),
            Column::short("Day"),
            Column::number("Done"),
            Column::number("Left, half"),
            Column::number("Four in five"),
        ],
    );
    for job in &ahead.jobs {
        table.row([
            cell(job.job_number.to_string()),
            cell(clean(&job.job_type)),
            cell(clean(&job.vehicle)),
            cell(if job.planned_date.is_empty() {
                "none yet".to_owned()
            } else {
                clean(&job.planned_date)
            }),
            cell(hours_minutes(job.done_us)),
            cell(hours_minutes(job.left_half_us)),
            cell(hours_minutes(job.left_p80_us)),
        ]);
    }
    table.render()
}

pub(super) fn honesty(sheet: &Sheet<'_>) -> Option<Section> {
    let honesty = sheet.week.honesty.as_ref()?;
    // Before the first quote there is no promise to look at.
    if honesty.jobs == 0 && sheet.week.quotes.is_empty() {
        return None;
    }
    let body = if honesty.jobs == 0 {
        html! {
            p { "No job with a quote was released yet. From the first on, this shows how often quotes held." }
        }
    } else {
        html! {
            p { (held::sentences(honesty).join(" ")) }
            @if honesty.calibration.is_empty() {
                p.small { "Too few jobs for a picture of it." }
            } @else {
                (calibration(honesty))
            }
            (compared(honesty))
        }
    };
    Some(Section::new("honesty", "How quotes held", body))
}

fn calibration(honesty: &Honesty) -> Markup {
    let share = |permille: u32| f64::from(permille.min(1_000)) / 1_000.0;
    let points: Vec<Point> = honesty
        .calibration
        .iter()
        .map(|point| Point {
            promised: share(point.promised_permille),
            held: share(point.held_permille),
            low: share(point.held_low_permille),
            high: share(point.held_high_permille),
        })
        .collect();
    let says = sentence(&honesty.calibration);
    picture(
        "honesty-chart",
        "Share of quotes that held, against the share that was promised",
        &says,
        &points,
    )
    .render()
}

/// The picture in words: every point, and whether its range holds the promise.
fn sentence(points: &[HonestyPoint]) -> String {
    let said: Vec<String> = points
        .iter()
        .map(|point| {
            format!(
                "{} promised, {} held",
                permille(point.promised_permille),
                permille(point.held_permille)
            )
        })
        .collect();
    let outside = points
        .iter()
        .filter(|p| !(p.held_low_permille..=p.held_high_permille).contains(&p.promised_permille))
        .count();
    let sure = match outside {
        0 => "No promise lies outside the range of what held".to_owned(),
        1 => "One promise lies outside the range of what held".to_owned(),
        n => format!("{n} promises lie outside the range of what held"),
    };
    format!("{}. {sure}.", said.join("; "))
}

fn compared(honesty: &Honesty) -> Markup {
    let mut table = Table::new(
        "honesty-table",
        format!(
            "Over {} with a quote; losses in hours of labour, lower is better",
            crate::page::phrase::jobs(honesty.jobs)
        ),
        [
            Column::text("Said by the"),
            Column::number("Jobs"),
            Column::number("Off, median"),
            Column::number("Half held"),
            Column::number("Four in five held"),
            Column::number("Range"),
            Column::number("Loss at half"),
            Column::number("Loss at four in five"),
            Column::number("CRPS"),
        ],
    );
    for of in honesty.of.iter().filter(|of| of.of > 0) {
        table.row(compared_cells(of));
    }
    if table.is_empty() {
        return Markup::default();
    }
    html! {
        (table.render())
        p.small {
            "Range: where the share that held four in five lies, with 95 % certainty (Clopper-Pearson). Loss: pinball \
             loss. CRPS: the same over the whole distribution."
        }
    }
}

fn compared_cells(of: &HonestyOf) -> [Markup; 9] {
    let off = held::off(of.bias_milli);
    [
        cell(clean(&of.what)),
        cell(of.of.to_string()),
        cell(if off.is_empty() {
            NONE.to_owned()
        } else {
            format!("{}\u{a0}%", minus(&off))
        }),
        cell(of.half_held.to_string()),
        cell(of.p80_held.to_string()),
        cell(format!(
            "{} to {}",
            permille(of.p80_low_permille),
            permille(of.p80_high_permille)
        )),
        cell(held::hours(of.pinball_half_h)),
        cell(held::hours(of.pinball_p80_h)),
        cell(held::hours(of.crps_h)),
    ]
}
