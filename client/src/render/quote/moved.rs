//! What a revision moved.

use baywright_proto::v1::{QuoteAsked, QuotePrinted};

use crate::render::figure::{difference, hours_minutes};
use crate::render::money::{figure, signed};
use crate::render::table::{Column, Table};
use crate::render::text::{clean, push};

/// A quote as it was printed once.
pub type Print<'a> = (&'a QuoteAsked, &'a QuotePrinted);

/// The figures that moved, before and now; a sentence where none did.
pub(super) fn moved(before: Print<'_>, now: Print<'_>, page: usize) -> String {
    let mut out = String::new();
    let said = asked(before.0, now.0);
    if said.is_empty() {
        push(&mut out, "Asked as before.", page);
    } else {
        push(&mut out, &format!("Changed: {}.", said.join("; ")), page);
    }
    let mut table = Table::new([
        Column::text("what moved"),
        Column::number("before"),
        Column::number("now"),
        Column::number("differs"),
    ]);
    spans(&mut table, before.1, now.1);
    minors(&mut table, before.1, now.1);
    if table.is_empty() {
        push(&mut out, "No figure moved.", page);
        return out;
    }
    out.push('\n');
    out.push_str(&table.render(page));
    out
}

fn spans(table: &mut Table, before: &QuotePrinted, now: &QuotePrinted) {
    let mut row = |what: String, before_us: Option<i64>, now_us: Option<i64>| {
        let shown = |us: Option<i64>| us.map_or_else(|| "none".to_owned(), hours_minutes);
        if shown(before_us) != shown(now_us) {
            let differs = before_us.zip(now_us);
            table.row([
                what,
                shown(before_us),
                shown(now_us),
                differs.map_or_else(String::new, |(before, now)| difference(now, before)),
            ]);
        }
    };
    for (what, before_us, now_us) in [
        (
            "hands-on, half, h:min",
            before.hands_on_half_us,
            now.hands_on_half_us,
        ),
        (
            "hands-on, four in five",
            before.hands_on_p80_us,
            now.hands_on_p80_us,
        ),
        ("bay time, half", before.bay_half_us, now.bay_half_us),
        ("bay time, four in five", before.bay_p80_us, now.bay_p80_us),
    ] {
        row(what.to_owned(), Some(before_us), Some(now_us));
    }
    let of = |printed: &QuotePrinted, code: &str| {
        let mut stages = printed.stages.iter();
        stages
            .find(|stage| stage.stage == code)
            .map(|stage| stage.half_us)
    };
    let gone = before
        .stages
        .iter()
        .filter(|stage| now.stages.iter().all(|s| s.stage != stage.stage));
    for stage in now.stages.iter().chain(gone) {
        let code = stage.stage.as_str();
        row(
            format!("  {}, half", clean(code)),
            of(before, code),
            of(now, code),
        );
    }
}

fn minors(table: &mut Table, before: &QuotePrinted, now: &QuotePrinted) {
    let currency = &now.currency;
    if before.currency != *currency {
        return;
    }
    for (what, before, now) in [
        ("cost on average", before.cost_minor, now.cost_minor),
        ("price", before.price_minor, now.price_minor),
        ("price from", before.price_from_minor, now.price_from_minor),
        ("price to", before.price_to_minor, now.price_to_minor),
    ] {
        if before != now {
            let shown = |minor: i64| match minor {
                0 => "none".to_owned(),
                minor => figure(minor, currency),
            };
            let differs = match (before, now) {
                (0, _) | (_, 0) => String::new(),
                _ => signed(now.saturating_sub(before), currency),
            };
            table.row([
                format!("{what}, {}", clean(currency)),
                shown(before),
                shown(now),
                differs,
            ]);
        }
    }
}

/// What was asked otherwise, in words.
fn asked(before: &QuoteAsked, now: &QuoteAsked) -> Vec<String> {
    let (old, new) = (
        before.grades.unwrap_or_default(),
        now.grades.unwrap_or_default(),
    );
    let mut said = Vec::new();
    let none = |text: &str| match clean(text) {
        text if text.is_empty() => "none".to_owned(),
        text => text,
    };
    for (what, old, new) in [
        ("soil", old.soil, new.soil),
        ("defects", old.defects, new.defects),
        ("intricacy", old.intricacy, new.intricacy),
    ] {
        let grade = |grade: u32| match grade {
            0 => "not graded".to_owned(),
            grade => grade.to_string(),
        };
        if old != new {
            said.push(format!("{what} {} (was {})", grade(new), grade(old)));
        }
    }
    for (what, old, new) in [
        ("type", &before.job_type, &now.job_type),
        ("vehicle", &before.vehicle, &now.vehicle),
        ("class", &before.vehicle_class, &now.vehicle_class),
        ("for", &before.customer, &now.customer),
    ] {
        if old != new {
            said.push(format!("{what} {} (was {})", none(new), none(old)));
        }
    }
    for (what, old, new) in [
        ("without", &before.without_stages, &now.without_stages),
        ("with", &before.with_stages, &now.with_stages),
    ] {
        if old != new {
            said.push(format!("{what} {}", none(&new.join(", "))));
        }
    }
    if before.panels != now.panels {
        said.push("other panels".to_owned());
    }
    if before.like_job_number != now.like_job_number && now.like_job_number > 0 {
        said.push(format!("like job {}", now.like_job_number));
    }
    match (before.unseen, now.unseen) {
        (true, false) => said.push("seen now".to_owned()),
        (false, true) => said.push("not seen".to_owned()),
        _ => {}
    }
    said
}
