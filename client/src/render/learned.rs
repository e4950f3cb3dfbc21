//! What records say about allowances and prices.

use std::fmt::Write as _;

use baywright_proto::v1::{
    LearnedGrade, LearnedProduct, LearnedResponse, LearnedSpread, LearnedStage, LearnedType,
    LookAgain,
};

use super::figure::{amount, counted, divided_rounded, factor, hours_minutes};
use super::look_again::look_again;
use super::money::figure;
use super::table::{Column, Table};
use super::text::{clean, paragraph, push, section};

/// What stands where no record bears a figure out.
const GUESS: &str = "trade guess";

/// One type in full, or all of them in short.
pub fn learned(learned: &LearnedResponse, of_type: Option<&str>, page: usize) -> String {
    let mut out = String::new();
    push(&mut out, &head(learned), page);
    if let Some(code) = of_type {
        match learned.types.iter().find(|t| t.job_type == code) {
            Some(of) => out.push_str(&one(of, &learned.currency, page)),
            None => push(
                &mut out,
                &format!("Nothing is known of {}.", clean(code)),
                page,
            ),
        }
    } else {
        out.push_str(&all(learned, page));
    }
    let prices: Vec<LookAgain> = learned
        .look_again
        .iter()
        .filter(|price| of_type.is_none_or(|code| price.job_type == code))
        .cloned()
        .collect();
    out.push_str(&look_again(&prices, &learned.currency, page));
    out.push_str(&grades(&learned.grades, page));
    out.push_str(&spreads(learned, page));
    if !learned.remarks.is_empty() {
        out.push_str(&section("What to know of it", page));
        for remark in &learned.remarks {
            push(&mut out, &clean(remark), page);
        }
    }
    out.push_str(&foot(learned, of_type, page));
    out
}

fn head(learned: &LearnedResponse) -> String {
    if learned.jobs == 0 {
        return "Nothing is recorded yet: every figure is a trade guess, not your shop.".to_owned();
    }
    let imported = match learned.jobs_imported {
        0 => String::new(),
        n => format!(", {n} of them imported"),
    };
    format!(
        "Learned from {}{imported}, up to event {}.",
        counted(u64::from(learned.jobs), "job", "jobs"),
        learned.learned_up_to_seq
    )
}

/// A line for each type, and the allowances that records no longer bear out.
fn all(learned: &LearnedResponse, page: usize) -> String {
    if learned.types.is_empty() {
        return String::new();
    }
    let code = clean(&learned.currency);
    let mut table = Table::new([
        Column::text("job type"),
        Column::number("jobs"),
        Column::number("half"),
        Column::number("4 in 5"),
        Column::number(format!("costs\n{code}")),
        Column::number(format!("list\n{code}")),
        Column::text("says"),
    ]);
    for of in &learned.types {
        table.row([
            of.job_type.clone(),
            of.jobs.to_string(),
            hours_minutes(of.hands_on_half_us),
            hours_minutes(of.hands_on_p80_us),
            some_money(of.cost_minor, &learned.currency),
            some_money(of.list_minor, &learned.currency),
            says(of),
        ]);
    }
    let mut out = section(
        "Labour of a job as it usually comes in, hours:minutes",
        page,
    );
    out.push_str(&table.render(page));
    push(
        &mut out,
        "Half of such jobs take no more than the first time, four in five no more than the second.",
        page,
    );
    out.push_str(&suggested(learned, page));
    out
}

fn says(of: &LearnedType) -> String {
    if of.trade_guess {
        return GUESS.to_owned();
    }
    match suggestions(of) {
        0 => String::new(),
        n => counted(n, "allowance off", "allowances off"),
    }
}

/// Allowances of a type that the records no longer bear out.
pub(crate) fn suggestions(of: &LearnedType) -> u64 {
    let stages = of.stages.iter().filter(|stage| stage.suggest).count();
    let products = of.products.iter().filter(|product| product.suggest).count();
    u64::try_from(stages + products).unwrap_or(u64::MAX)
}

fn suggested(learned: &LearnedResponse, page: usize) -> String {
    let mut table = Table::new([
        Column::text("job type"),
        Column::text("stage"),
        Column::number("allow-\nance"),
        Column::number("half"),
        Column::number("range"),
        Column::number("from"),
        Column::text("drift"),
    ]);
    for of in &learned.types {
        for stage in of.stages.iter().filter(|s| s.suggest || s.drifting) {
            table.row([
                of.job_type.clone(),
                stage.stage.clone(),
                hours_minutes(stage.allowance_us),
                hours_minutes(stage.half_us),
                range(stage),
                stage.n.to_string(),
                drift(stage),
            ]);
        }
    }
    if table.is_empty() {
        return String::new();
    }
    let mut out = section("Allowances that the records no longer bear out", page);
    out.push_str(&table.render(page));
    out
}

/// Every stage and product of one type.
fn one(of: &LearnedType, currency: &str, page: usize) -> String {
    let name = clean(&of.name);
    let name = if name.is_empty() {
        String::new()
    } else {
        format!(", {name}")
    };
    let mut out = section(&format!("{}{name}", clean(&of.job_type)), page);
    push(&mut out, &of_type(of, currency), page);
    out.push_str(&stages(&of.stages, page));
    out.push_str(&products(&of.products, page));
    out
}

/// What a job of the type takes and costs, in a paragraph.
pub(crate) fn of_type(of: &LearnedType, currency: &str) -> String {
    let mut said = if of.trade_guess {
        "No job of it was closed: this is a trade guess, not your shop. ".to_owned()
    } else {
        format!("From {}. ", counted(u64::from(of.jobs), "job", "jobs"))
    };
    let _ = write!(
        said,
        "Half of such jobs take no more than {}, four in five no more than {}.",
        hours_minutes(of.hands_on_half_us),
        hours_minutes(of.hands_on_p80_us)
    );
    if of.cost_minor != 0 {
        let _ = write!(
            said,
            " One costs {} on average",
            super::money::money(of.cost_minor, currency)
        );
        if of.list_minor != 0 {
            let _ = write!(
                said,
                "; its list price is {}",
                super::money::money(of.list_minor, currency)
            );
        }
        said.push('.');
    }
    said
}

fn stages(stages: &[LearnedStage], page: usize) -> String {
    if stages.is_empty() {
        return String::new();
    }
    let given = stages
        .iter()
        .any(|stage| stage.given_us != stage.allowance_us);
    let mut columns = vec![Column::text("stage"), Column::number("allow-\nance")];
    if given {
        columns.push(Column::number("given by\na person"));
    }
    columns.extend([
        Column::number("half"),
        Column::number("range"),
        Column::number("from"),
        Column::text("drift"),
        Column::text("says"),
    ]);
    let mut table = Table::of(columns);
    for stage in stages {
        let mut cells = vec![stage.stage.clone(), hours_minutes(stage.allowance_us)];
        if given {
            cells.push(hours_minutes(stage.given_us));
        }
        cells.extend([
            hours_minutes(stage.half_us),
            range(stage),
            stage.n.to_string(),
            drift(stage),
            said_of(stage.suggest, stage.trade_guess),
        ]);
        table.row_of(cells);
    }
    let mut out = section("Stages of a vehicle of grade 3, hours:minutes", page);
    out.push_str(&table.render(page));
    let legend =
        "Range: four in five such ranges hold the half. From: records of the stage on this type.";
    push(&mut out, legend, page);
    out
}

fn products(products: &[LearnedProduct], page: usize) -> String {
    if products.is_empty() {
        return String::new();
    }
    let given = products
        .iter()
        .any(|product| amount(product.given) != amount(product.allowance));
    let mut columns = vec![
        Column::text("product"),
        Column::text("unit"),
        Column::number("allow-\nance"),
    ];
    if given {
        columns.push(Column::number("given by\na person"));
    }
    columns.extend([
        Column::number("half"),
        Column::number("range"),
        Column::number("from"),
        Column::text("says"),
    ]);
    let mut table = Table::of(columns);
    for product in products {
        let mut cells = vec![
            product.product.clone(),
            product.unit.clone(),
            amount(product.allowance),
        ];
        if given {
            cells.push(amount(product.given));
        }
        cells.extend([
            amount(product.half),
            format!(
                "{} - {}",
                amount(product.half_low),
                amount(product.half_high)
            ),
            product.n.to_string(),
            said_of(product.suggest, product.trade_guess),
        ]);
        table.row_of(cells);
    }
    let mut out = section("Products, of concentrate", page);
    out.push_str(&table.render(page));
    out
}

fn said_of(suggest: bool, trade_guess: bool) -> String {
    match (suggest, trade_guess) {
        (true, _) => "worth applying",
        (false, true) => GUESS,
        (false, false) => "",
    }
    .to_owned()
}

fn range(stage: &LearnedStage) -> String {
    format!(
        "{} - {}",
        hours_minutes(stage.half_low_us),
        hours_minutes(stage.half_high_us)
    )
}

/// `+12 % (+3 to +22)` of the last records against those before.
pub(crate) fn drift(stage: &LearnedStage) -> String {
    if stage.drift_milli == 0 {
        return String::new();
    }
    if !stage.drifting {
        return "steady".to_owned();
    }
    let percent = super::honesty::off;
    format!(
        "{} % ({} to {})",
        percent(stage.drift_milli),
        percent(stage.drift_low_milli),
        percent(stage.drift_high_milli)
    )
}

fn some_money(minor: i64, currency: &str) -> String {
    if minor == 0 {
        String::new()
    } else {
        figure(minor, currency)
    }
}

fn grades(grades: &[LearnedGrade], page: usize) -> String {
    if grades.is_empty() {
        return String::new();
    }
    let mut table = Table::new([
        Column::text("one grade more of"),
        Column::text("acts on"),
        Column::number("times"),
        Column::number("range"),
        Column::number("trade\nguess"),
    ]);
    for grade in grades {
        table.row([
            grade.grade.clone(),
            grade.acts_on.clone(),
            factor(grade.factor_milli),
            format!(
                "{} - {}",
                factor(grade.factor_low_milli),
                factor(grade.factor_high_milli)
            ),
            factor(grade.trade_milli),
        ]);
    }
    let mut out = section("What a grade does to the time", page);
    out.push_str(&table.render(page));
    out
}

/// How far jobs and stages lie apart, a sentence each.
fn spreads(learned: &LearnedResponse, page: usize) -> String {
    if learned.spreads.is_empty() {
        return String::new();
    }
    let mut out = section("How far apart they lie, two in three", page);
    for spread in &learned.spreads {
        out.push_str(&paragraph(&format!("{}.", words(spread)), page, 2));
        out.push('\n');
    }
    if learned.widened {
        let percent = divided_rounded(learned.widen_milli.abs_diff(1_000), 10);
        let how = if learned.widen_milli < 1_000 {
            "narrowed"
        } else {
            "widened"
        };
        let said = format!(
            "Left out one at a time, jobs did not fall where they were promised: ranges are {how} by {percent} %."
        );
        push(&mut out, &said, page);
    }
    out
}

/// `From one vehicle to the next: 13 % less to 15 % more`.
pub(crate) fn words(spread: &LearnedSpread) -> String {
    let what = match spread.what.as_str() {
        "job" => "From one vehicle to the next",
        "stage" => "Stages, against their allowances",
        "type" => "Job types, against their allowances",
        "type and stage" => "A stage from one job type to the next",
        "class" => "From one vehicle class to the next",
        "worker" => "From one person to the next",
        "record" => "One record to the next, all else alike",
        other => return format!("{}: {}", clean(other), between(spread)),
    };
    format!("{what}: {}", between(spread))
}

fn between(spread: &LearnedSpread) -> String {
    // Divided by and times the factor.
    let factor = u64::from(spread.factor_milli.max(1_000));
    let less = 100_u64.saturating_sub((100_000 + factor / 2) / factor);
    let more = (factor - 1_000 + 5) / 10;
    if more == 0 {
        return "no difference that could be told".to_owned();
    }
    format!("{less} % less to {more} % more")
}

fn foot(learned: &LearnedResponse, of_type: Option<&str>, page: usize) -> String {
    let mut out = String::from("\n");
    let hint = match of_type {
        Some(code) => {
            let off = learned
                .types
                .iter()
                .any(|of| of.job_type == code && suggestions(of) > 0);
            let apply = if off {
                format!(
                    "bay learned apply {} puts them into the catalogue; ",
                    clean(code)
                )
            } else {
                String::new()
            };
            format!("{apply}bay type {} is the type on one screen.", clean(code))
        }
        None => "bay learned TYPE shows every stage and product of a type; bay learned --honesty \
                 how quotes held."
            .to_owned(),
    };
    push(&mut out, &hint, page);
    out
}
