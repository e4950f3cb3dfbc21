//! The tables of a quote: stages, chemicals, money, and jobs like it.

use baywright_proto::v1::{QuotePrinted, QuotedLike};

use super::{Sheet, is_priced, share};
use crate::render::calendar::Calendar;
use crate::render::figure::{NO_ALLOWANCE, adding_up_all, amount, hours_minutes};
use crate::render::money::{figure, left_word};
use crate::render::table::{Column, Table};
use crate::render::text::{clean, push, section};

/// Jobs that are shown beside a quote.
const LIKES_MAX: usize = 3;

pub(super) fn stages(printed: &QuotePrinted, page: usize) -> String {
    if printed.stages.is_empty() {
        return String::new();
    }
    let mut table = Table::new([
        Column::text("stage"),
        Column::number("allowance"),
        Column::number("half"),
        Column::number("four\nin five"),
        Column::number("quoted"),
        Column::number("records"),
    ]);
    let quoted: Vec<i64> = printed.stages.iter().map(|s| s.quoted_us).collect();
    for (stage, quoted_us) in printed.stages.iter().zip(adding_up_all(&quoted)) {
        table.row([
            stage.stage.clone(),
            allowance(stage.allowance_us),
            hours_minutes(stage.half_us),
            hours_minutes(stage.p80_us),
            hours_minutes(quoted_us),
            stage.n.to_string(),
        ]);
    }
    let sum = |field: fn(&baywright_proto::v1::QuotedStage) -> i64| {
        printed
            .stages
            .iter()
            .map(field)
            .fold(0, i64::saturating_add)
    };
    let is_one = printed.stages.len() == 1;
    if !is_one {
        table.total([
            "all".to_owned(),
            allowance(sum(|s| s.allowance_us)),
            hours_minutes(printed.hands_on_half_us),
            hours_minutes(printed.hands_on_p80_us),
            hours_minutes(sum(|s| s.quoted_us)),
            String::new(),
        ]);
    }
    let mut out = section("Labour by stage, hours:minutes", page);
    out.push_str(&table.render(page));
    if !is_one {
        push(
            &mut out,
            "Quoted is what the job is held against. It adds up to the half of the whole, as the \
             half and four in five of single stages do not.",
            page,
        );
    }
    out
}

fn allowance(us: i64) -> String {
    if us <= 0 {
        NO_ALLOWANCE.to_owned()
    } else {
        hours_minutes(us)
    }
}

pub(super) fn products(printed: &QuotePrinted, page: usize) -> String {
    if printed.products.is_empty() {
        return String::new();
    }
    let currency = clean(&printed.currency);
    let mut table = Table::new([
        Column::text("product"),
        Column::text("unit"),
        Column::number("allowance"),
        Column::number("half"),
        Column::number("four\nin five"),
        Column::number(format!("cost\n{currency}")),
        Column::number("records"),
    ]);
    let mut without_price = Vec::new();
    for product in &printed.products {
        let cost = if product.cost_minor == 0 {
            without_price.push(clean(&product.product));
            "-".to_owned()
        } else {
            figure(product.cost_minor, &printed.currency)
        };
        table.row([
            product.product.clone(),
            product.unit.clone(),
            if product.allowance > 0.0 {
                amount(product.allowance)
            } else {
                NO_ALLOWANCE.to_owned()
            },
            amount(product.half),
            amount(product.p80),
            cost,
            product.n.to_string(),
        ]);
    }
    let mut out = section("Chemicals, as concentrate", page);
    out.push_str(&table.render(page));
    if !without_price.is_empty() {
        let names = without_price.join(", ");
        let words = format!("No price in the catalogue, so no cost here: {names}.");
        push(&mut out, &words, page);
    }
    out
}

pub(super) fn money(printed: &QuotePrinted, page: usize) -> String {
    if printed.cost_minor <= 0 {
        return String::new();
    }
    let currency = &printed.currency;
    let price = if is_priced(printed) {
        printed.price_minor
    } else {
        0
    };
    let columns = [
        Column::text("what"),
        Column::number(clean(currency)),
        Column::number("% of\nprice"),
    ];
    let mut table = Table::of(
        columns
            .into_iter()
            .take(if price > 0 { 3 } else { 2 })
            .collect(),
    );
    let cells = |what: &str, minor: i64| {
        let mut cells = vec![what.to_owned(), figure(minor, currency)];
        if price > 0 {
            cells.push(share(minor, price));
        }
        cells
    };
    for (what, minor) in [
        ("labour", printed.labour_minor),
        ("materials", printed.materials_minor),
        ("supplies (standard)", printed.supplies_minor),
        ("overhead", printed.overhead_minor),
    ] {
        if minor != 0 {
            table.row_of(cells(what, minor));
        }
    }
    table.total_of(cells("cost", printed.cost_minor));
    if price > 0 {
        let left = price.saturating_sub(printed.cost_minor);
        table.row_of(cells(left_word(printed.margin), left));
        table.total_of(cells("price", price));
    }
    let mut out = section("Money of such a job on average, without tax", page);
    out.push_str(&table.render(page));
    if !printed.margin {
        push(
            &mut out,
            "Wage burden or overhead is not in the catalogue: what is left is a contribution, not \
             a margin.",
            page,
        );
    }
    out
}

pub(super) fn likes(sheet: &Sheet<'_>, page: usize) -> String {
    let likes = &sheet.printed.likes;
    if likes.is_empty() {
        return String::new();
    }
    let calendar = Calendar::of(sheet.zone);
    let shown = likes.iter().take(LIKES_MAX);
    // The type is worth a column only where it is another.
    let with_type = shown
        .clone()
        .any(|like| like.job_type != sheet.asked.job_type);
    let mut columns = vec![
        Column::number("job"),
        Column::text("vehicle"),
        Column::number("soil"),
        Column::number("de-\nfects"),
        Column::number("intri-\ncacy"),
        Column::number("hands-on\nh:min"),
        Column::text("released"),
    ];
    if with_type {
        columns.insert(1, Column::text("type"));
    }
    let mut table = Table::of(columns);
    for like in shown {
        let grades = like.grades.unwrap_or_default();
        let mut cells = vec![
            job(like),
            like.vehicle.clone(),
            grade(grades.soil),
            grade(grades.defects),
            grade(grades.intricacy),
            hours_minutes(like.hands_on_us),
            released(like, &calendar),
        ];
        if with_type {
            cells.insert(1, like.job_type.clone());
        }
        table.row_of(cells);
    }
    let mut out = section("Earlier jobs most like it", page);
    out.push_str(&table.render(page));
    out
}

fn job(like: &QuotedLike) -> String {
    if like.job_number == 0 {
        "import".to_owned()
    } else {
        like.job_number.to_string()
    }
}

fn grade(grade: u32) -> String {
    if grade == 0 {
        "-".to_owned()
    } else {
        grade.to_string()
    }
}

fn released(like: &QuotedLike, calendar: &Calendar) -> String {
    match calendar.civil(like.released_us) {
        Some(at) if like.released_us != 0 => at.date().to_string(),
        _ => "-".to_owned(),
    }
}
