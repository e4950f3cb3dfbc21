//! Quotes side by side, and a quote beside what its job took.

use baywright_proto::v1::{Quote, QuotePrinted};

use super::list::state_word;
use super::title;
use crate::render::figure::{amount, hours_minutes};
use crate::render::money::figure;
use crate::render::table::{Column, Table};
use crate::render::text::{clean, push, section};

const WITHIN_HALF: &str = "within half";
const WITHIN_P80: &str = "within four in five";
const OVER: &str = "over four in five";

/// Where an actual lies against what was said before.
pub(super) fn verdict(actual_us: i64, half_us: i64, p80_us: i64) -> &'static str {
    if actual_us <= half_us {
        WITHIN_HALF
    } else if actual_us <= p80_us {
        WITHIN_P80
    } else {
        OVER
    }
}

/// The same for amounts; amounts that print alike are alike.
fn verdict_of_amount(actual: f64, half: f64, p80: f64) -> &'static str {
    let at_most = |limit: f64| actual <= limit || amount(actual) == amount(limit);
    if at_most(half) {
        WITHIN_HALF
    } else if at_most(p80) {
        WITHIN_P80
    } else {
        OVER
    }
}

/// Of a job that still runs only what is gone for good can be said.
pub(super) fn said(verdict: &'static str, released: bool) -> String {
    let running = match verdict {
        WITHIN_P80 => "past half",
        OVER => OVER,
        _ => "",
    };
    if released { verdict } else { running }.to_owned()
}

/// Quoted, and nothing of it is on record.
fn no_record(released: bool) -> String {
    if released { "no record" } else { "" }.to_owned()
}

/// Several quotes beside each other; below them what their jobs took.
pub fn compare(quotes: &[Quote], page: usize) -> String {
    let mut out = String::new();
    for quote in quotes {
        let asked = quote.asked.clone().unwrap_or_default();
        let line = quote.line.clone().unwrap_or_default();
        let words = format!("{}: {}.", title(quote, &asked), state_word(&line));
        push(&mut out, &words, page);
    }
    if quotes.len() > 1 {
        out.push('\n');
        out.push_str(&side_by_side(quotes).render(page));
    }
    let mut any = false;
    for quote in quotes {
        let said = against(quote, page);
        any |= !said.is_empty();
        out.push_str(&said);
    }
    if !any {
        let words = if quotes.len() > 1 {
            "None of them has a job that was worked on, so there is no actual to set beside them."
        } else {
            "No work is on record for it yet, so there is no actual to set beside it."
        };
        out.push('\n');
        push(&mut out, words, page);
    }
    out
}

fn side_by_side(quotes: &[Quote]) -> Table {
    let headings = quotes.iter().map(|quote| {
        let line = quote.line.clone().unwrap_or_default();
        Column::number(format!("quote {}", line.number))
    });
    let columns = std::iter::once(Column::text("what")).chain(headings);
    // The shop has one currency; where it changed it, figures stand without.
    let mut currencies: Vec<String> = quotes.iter().map(|q| clean(&q.currency)).collect();
    currencies.dedup();
    let money = |what: &str| match currencies.as_slice() {
        [one] if !one.is_empty() => format!("{what}, {one}"),
        _ => what.to_owned(),
    };
    let mut table = Table::of(columns.collect());
    let nothing = QuotePrinted::default();
    let mut row = |what: &str, cell: &dyn Fn(&Quote, &QuotePrinted) -> String| {
        let cells: Vec<String> = quotes
            .iter()
            .map(|quote| cell(quote, quote.printed.as_ref().unwrap_or(&nothing)))
            .collect();
        if cells.iter().any(|cell| !cell.is_empty()) {
            let first = std::iter::once(what.to_owned());
            table.row_of(first.chain(cells).collect());
        }
    };
    let grade = |grade: Option<u32>| match grade {
        None | Some(0) => "-".to_owned(),
        Some(grade) => grade.to_string(),
    };
    let of = |quote: &Quote, field: fn(&baywright_proto::v1::Grades) -> u32| {
        let grades = quote.asked.as_ref().and_then(|asked| asked.grades.as_ref());
        grade(grades.map(field))
    };
    row("type", &|quote, _| {
        clean(&quote.asked.clone().unwrap_or_default().job_type)
    });
    row("soil", &|quote, _| of(quote, |g| g.soil));
    row("defects", &|quote, _| of(quote, |g| g.defects));
    row("intricacy", &|quote, _| of(quote, |g| g.intricacy));
    row("hands-on, half, h:min", &|_, p| {
        some_hours(p.hands_on_half_us)
    });
    row("  four in five", &|_, p| some_hours(p.hands_on_p80_us));
    row("bay time, half", &|_, p| some_hours(p.bay_half_us));
    row("  four in five", &|_, p| some_hours(p.bay_p80_us));
    row("learned from jobs", &|_, p| {
        if p.trade_guess {
            "guess".to_owned()
        } else {
            p.from_jobs.to_string()
        }
    });
    row(&money("cost on average"), &|_, p| {
        some_money(p.cost_minor, &p.currency)
    });
    row(&money("price"), &|_, p| {
        some_money(p.price_minor, &p.currency)
    });
    row(&money("agreed"), &|quote, p| {
        let line = quote.line.clone().unwrap_or_default();
        some_money(line.agreed_minor, &p.currency)
    });
    let mut stages: Vec<&str> = Vec::new();
    for stage in quotes
        .iter()
        .filter_map(|q| q.printed.as_ref())
        .flat_map(|p| &p.stages)
    {
        if !stages.contains(&stage.stage.as_str()) {
            stages.push(&stage.stage);
        }
    }
    for code in stages {
        row(&format!("{}, half", clean(code)), &|_, printed| {
            let stage = printed.stages.iter().find(|stage| stage.stage == code);
            stage.map_or_else(String::new, |stage| hours_minutes(stage.half_us))
        });
    }
    table
}

fn some_hours(us: i64) -> String {
    if us > 0 {
        hours_minutes(us)
    } else {
        String::new()
    }
}

fn some_money(minor: i64, currency: &str) -> String {
    if minor == 0 {
        String::new()
    } else {
        figure(minor, currency)
    }
}

/// What the job of a quote took, beside half and four in five; empty before
/// any work.
pub(super) fn against(quote: &Quote, page: usize) -> String {
    let nothing = QuotePrinted::default();
    let printed = quote.printed.as_ref().unwrap_or(&nothing);
    let line = quote.line.clone().unwrap_or_default();
    if hands_on(quote) <= 0 && quote.actual_stages.is_empty() && quote.actual_products.is_empty() {
        return String::new();
    }
    let so_far = if line.released { "" } else { " so far" };
    let title = format!(
        "Quote {} against job {}{so_far}, hours:minutes",
        line.number, line.job_number
    );
    let mut out = section(&title, page);
    out.push_str(&hours(quote, printed).render(page));
    let products = amounts(quote, printed);
    if !products.is_empty() {
        out.push_str(&section(
            "Chemicals against the quote, as concentrate",
            page,
        ));
        out.push_str(&products.render(page));
    }
    out
}

/// Labour that the quote is held against: of an addition its own stages, else
/// all of the job.
fn hands_on(quote: &Quote) -> i64 {
    match &quote.line {
        Some(line) if !line.addition => line.actual_hands_on_us,
        _ => {
            let stages = quote.actual_stages.iter();
            stages
                .map(|stage| stage.hands_on_us)
                .fold(0, i64::saturating_add)
        }
    }
}

fn is_released(quote: &Quote) -> bool {
    quote.line.as_ref().is_some_and(|line| line.released)
}

fn hours(quote: &Quote, printed: &QuotePrinted) -> Table {
    let released = is_released(quote);
    let held = |actual: i64, half: i64, p80: i64| said(verdict(actual, half, p80), released);
    let mut table = Table::new([
        Column::text("stage"),
        Column::number("half"),
        Column::number("four\nin five"),
        Column::number("actual"),
        Column::text("held"),
    ]);
    for stage in &printed.stages {
        let actual = quote.actual_stages.iter().find(|a| a.stage == stage.stage);
        let (actual, how) = match actual {
            Some(actual) => (
                hours_minutes(actual.hands_on_us),
                held(actual.hands_on_us, stage.half_us, stage.p80_us),
            ),
            None => ("-".to_owned(), no_record(released)),
        };
        table.row([
            stage.stage.clone(),
            hours_minutes(stage.half_us),
            hours_minutes(stage.p80_us),
            actual,
            how,
        ]);
    }
    for actual in &quote.actual_stages {
        if printed
            .stages
            .iter()
            .all(|stage| stage.stage != actual.stage)
        {
            table.row([
                actual.stage.clone(),
                "-".to_owned(),
                "-".to_owned(),
                hours_minutes(actual.hands_on_us),
                "not quoted".to_owned(),
            ]);
        }
    }
    let total = |us: i64| hours_minutes(us);
    let actual_us = hands_on(quote);
    table.total([
        "hands-on".to_owned(),
        total(printed.hands_on_half_us),
        total(printed.hands_on_p80_us),
        total(actual_us),
        held(actual_us, printed.hands_on_half_us, printed.hands_on_p80_us),
    ]);
    if quote.actual_bay_us > 0 && printed.bay_half_us > 0 {
        table.row([
            "bay time".to_owned(),
            total(printed.bay_half_us),
            total(printed.bay_p80_us),
            total(quote.actual_bay_us),
            held(quote.actual_bay_us, printed.bay_half_us, printed.bay_p80_us),
        ]);
    }
    if quote.actual_cost_minor > 0 && printed.cost_half_minor > 0 {
        let money = |minor: i64| figure(minor, &quote.currency);
        table.row([
            format!("cost, {}", clean(&quote.currency)),
            money(printed.cost_half_minor),
            money(printed.cost_p80_minor),
            money(quote.actual_cost_minor),
            held(
                quote.actual_cost_minor,
                printed.cost_half_minor,
                printed.cost_p80_minor,
            ),
        ]);
    }
    table
}

fn amounts(quote: &Quote, printed: &QuotePrinted) -> Table {
    let released = is_released(quote);
    let mut table = Table::new([
        Column::text("product"),
        Column::text("unit"),
        Column::number("half"),
        Column::number("four\nin five"),
        Column::number("actual"),
        Column::text("held"),
    ]);
    for product in &printed.products {
        let same = |a: &&baywright_proto::v1::QuoteActualProduct| {
            a.product == product.product && a.unit == product.unit
        };
        let (used, held) = match quote.actual_products.iter().find(same) {
            Some(actual) => (
                amount(actual.used),
                said(
                    verdict_of_amount(actual.used, product.half, product.p80),
                    released,
                ),
            ),
            None => ("-".to_owned(), no_record(released)),
        };
        table.row([
            product.product.clone(),
            product.unit.clone(),
            amount(product.half),
            amount(product.p80),
            used,
            held,
        ]);
    }
    for actual in &quote.actual_products {
        let quoted = printed
            .products
            .iter()
            .any(|product| product.product == actual.product && product.unit == actual.unit);
        if !quoted {
            table.row([
                actual.product.clone(),
                actual.unit.clone(),
                "-".to_owned(),
                "-".to_owned(),
                amount(actual.used),
                "not quoted".to_owned(),
            ]);
        }
    }
    table
}
