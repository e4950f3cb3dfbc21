//! How coatings came out: rework by product and lot, air that did not fit,
//! and what still cures.

use baywright_proto::v1::{AirOut, CureUnderWay, ReworkGroup, Week};

use super::calendar::Calendar;
use super::figure::{counted, degrees};
use super::table::{Column, Table};
use super::text::{clean, paragraph, section};

/// Sections coated in unfit air that are listed one by one.
const AIR_SHOWN_MAX: usize = 8;

/// The three sections, each empty where there is nothing.
pub(super) fn coating(week: &Week, calendar: &Calendar, page: usize) -> String {
    let mut out = rework(&week.rework, page);
    out.push_str(&air_out(&week.air_out, calendar, page));
    out.push_str(&cures(&week.cures, calendar, page));
    out
}

fn rework(groups: &[ReworkGroup], page: usize) -> String {
    if groups.is_empty() {
        return String::new();
    }
    let mut table = Table::new([
        Column::text("id"),
        Column::text("product"),
        Column::text("lot"),
        Column::number("sections"),
        Column::number("smeared"),
        Column::number("high\nspots"),
        Column::number("coldest\n\u{b0}C"),
        Column::number("warmest\n\u{b0}C"),
    ]);
    for group in groups {
        let lot = if group.lot.is_empty() {
            "not given"
        } else {
            &group.lot
        };
        table.row([
            group.id.clone(),
            group.product.clone(),
            lot.to_owned(),
            group.sections.to_string(),
            group.smeared.to_string(),
            group.high_spots.to_string(),
            group.lowest_milli_c.map_or_else(String::new, degrees),
            group.highest_milli_c.map_or_else(String::new, degrees),
        ]);
    }
    let title = "Sections coated, and how they came out (surface, else air)";
    format!("{}{}", section(title, page), table.render(page))
}

fn air_out(sections: &[AirOut], calendar: &Calendar, page: usize) -> String {
    if sections.is_empty() {
        return String::new();
    }
    let count = u64::try_from(sections.len()).unwrap_or(u64::MAX);
    let title = format!(
        "{} coated in air that did not fit",
        counted(count, "section", "sections")
    );
    let mut out = section(&title, page);
    for one in sections.iter().take(AIR_SHOWN_MAX) {
        let at = calendar.short_day_and_time(one.coated_us);
        let line = format!(
            "job {}, {}, {}, {at}, {}: {} (event {})",
            one.job_number,
            clean(&one.panel),
            clean(&one.product),
            clean(&one.bay),
            clean(&one.why),
            one.seq
        );
        out.push_str(&paragraph(&line, page, 2));
        out.push('\n');
    }
    if let Some(more) = sections.len().checked_sub(AIR_SHOWN_MAX).filter(|n| *n > 0) {
        out.push_str(&paragraph(&format!("and {more} more"), page, 0));
        out.push('\n');
    }
    out
}

fn cures(cures: &[CureUnderWay], calendar: &Calendar, page: usize) -> String {
    if cures.is_empty() {
        return String::new();
    }
    let mut table = Table::new([
        Column::text("job"),
        Column::text("vehicle"),
        Column::number("panels"),
        Column::text("keep dry until"),
        Column::text("full cure"),
    ]);
    for cure in cures {
        let name = if cure.job_number == 0 {
            cure.handle.clone()
        } else {
            cure.job_number.to_string()
        };
        let at = |us: i64, none: &str| {
            if us == 0 {
                none.to_owned()
            } else {
                calendar.short_day_and_time(us)
            }
        };
        table.row([
            name,
            cure.vehicle.clone(),
            cure.panels.to_string(),
            at(cure.water_safe_us, "reached or not known"),
            at(cure.full_cure_us, "not known"),
        ]);
    }
    format!("{}{}", section("Cures under way", page), table.render(page))
}
