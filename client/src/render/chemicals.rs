//! Chemicals of the week against their allowance, per job type.

use baywright_proto::v1::WeekChemical;

use super::figure::{amount, amount_percent, counted};
use super::table::{Column, Table};
use super::text::clean;
use super::week::{NO_ALLOWANCE, push, section};

/// The section of the week; empty where nothing was recorded or dumped.
pub(super) fn chemicals(chemicals: &[WeekChemical], page: usize) -> String {
    let mut table = Table::new([
        Column::text("job type"),
        Column::text("product"),
        Column::number("used\nper job"),
        Column::number("allowance\nper job"),
        Column::text("unit"),
        Column::number("%"),
        Column::text("from"),
    ]);
    let on_jobs = chemicals
        .iter()
        .filter(|row| row.jobs > 0 && !row.job_type.is_empty());
    let mut groups: Vec<Vec<&WeekChemical>> = Vec::new();
    for row in on_jobs {
        match groups.last_mut() {
            Some(group) if group.iter().all(|other| other.job_type == row.job_type) => {
                group.push(row);
            }
            _ => groups.push(vec![row]),
        }
    }
    for group in &groups {
        chemicals_of_type(&mut table, group);
    }
    let mut out = String::new();
    if !table.is_empty() {
        out.push_str(&section(
            "Chemicals on released jobs against the allowance, as concentrate",
            page,
        ));
        out.push_str(&table.render(page));
    }
    let aside = [
        (
            "On no job this week",
            sums(chemicals, |row| {
                if row.job_type.is_empty() {
                    row.used
                } else {
                    0.0
                }
            }),
        ),
        (
            "Mixed and dumped this week",
            sums(chemicals, |row| row.dumped),
        ),
    ];
    for (title, sums) in aside {
        if !sums.is_empty() {
            if out.is_empty() {
                out.push_str(&section("Chemicals, as concentrate", page));
            }
            push(&mut out, &format!("{title}: {}.", sums.join(", ")), page);
        }
    }
    out
}

/// The products with a record, and below them those without: what nobody
/// wrote down is not what nobody used.
fn chemicals_of_type(table: &mut Table, rows: &[&WeekChemical]) {
    let recorded = rows.iter().filter(|row| row.jobs_with_use > 0);
    for (index, row) in recorded.enumerate() {
        chemical_row(table, row, index == 0);
    }
    let unrecorded: Vec<String> = rows
        .iter()
        .filter(|row| row.jobs_with_use == 0)
        .map(|row| clean(&row.product))
        .collect();
    if let (Some(first), false) = (rows.first(), unrecorded.is_empty()) {
        let job_type = clean(&first.job_type);
        table.note(&format!(
            "  {job_type}, no record of: {}.",
            unrecorded.join(", ")
        ));
    }
}

fn chemical_row(table: &mut Table, row: &WeekChemical, first_of_type: bool) {
    let jobs = f64::from(row.jobs);
    let (used, allowance) = (row.used / jobs, row.allowance / jobs);
    let allowed = row.allowance > 0.0;
    let from = if row.jobs_with_use == row.jobs {
        counted(u64::from(row.jobs), "job", "jobs")
    } else {
        format!(
            "{} of {}",
            row.jobs_with_use,
            counted(u64::from(row.jobs), "job", "jobs")
        )
    };
    table.row([
        if first_of_type {
            row.job_type.clone()
        } else {
            String::new()
        },
        row.product.clone(),
        amount(used),
        if allowed {
            amount(allowance)
        } else {
            NO_ALLOWANCE.to_owned()
        },
        row.unit.clone(),
        amount_percent(used, allowance),
        from,
    ]);
    if row.uses_without_amount > 0 {
        table.note(&format!("    {}", without_amount(row.uses_without_amount)));
    }
    if row.mixed_units {
        table
            .note("    also recorded in another unit; the catalogue has no density to add them up");
    }
}

/// Said below a sum that misses records.
pub(super) fn without_amount(records: u32) -> String {
    let records = counted(u64::from(records), "record", "records");
    format!("and {records} without a usable amount")
}

/// `iron-remover 350 ml`, one for each row where the figure is above nothing.
fn sums(chemicals: &[WeekChemical], figure: impl Fn(&WeekChemical) -> f64) -> Vec<String> {
    chemicals
        .iter()
        .filter(|row| figure(row) > 0.0)
        .map(|row| {
            format!(
                "{} {} {}",
                clean(&row.product),
                amount(figure(row)),
                clean(&row.unit)
            )
        })
        .collect()
}
