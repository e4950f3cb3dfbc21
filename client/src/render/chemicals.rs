//! Chemicals of the week against their allowance, per job type.

use baywright_proto::v1::{Week, WeekChemical};

use super::figure::{NO_ALLOWANCE, amount, amount_percent, counted};
use super::money::{figure, money};
use super::table::{Column, Table};
use super::text::{clean, push, section};

/// Before an amount that was shared out between refills.
pub(super) const APPORTIONED: &str = "~";
/// Before an amount that is the allowance itself.
pub(super) const AT_ALLOWANCE: &str = "=";

/// The section of the week; empty where nothing was recorded or dumped.
pub(super) fn chemicals(week: &Week, page: usize) -> String {
    let chemicals = &week.chemicals;
    let priced = chemicals.iter().any(|row| row.cost_minor != 0);
    let mut table = Table::of(columns(priced, &clean(&week.currency)));
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
        chemicals_of_type(&mut table, group, &week.currency);
    }
    let mut out = String::new();
    if !table.is_empty() {
        out.push_str(&section(
            "Chemicals for a released job against the allowance, as concentrate",
            page,
        ));
        out.push_str(&table.render(page));
        push(&mut out, &legend(chemicals), page);
    }
    let currency = clean(&week.currency);
    let on_no_job = sums(chemicals, &currency, |row| {
        if row.job_type.is_empty() {
            (row.used, row.cost_minor)
        } else {
            (0.0, 0)
        }
    });
    let dumped = sums(chemicals, &currency, |row| {
        (row.dumped, row.dumped_cost_minor)
    });
    for (title, sums) in [("On no job", on_no_job), ("Mixed and dumped", dumped)] {
        if !sums.is_empty() {
            if out.is_empty() {
                out.push_str(&section("Chemicals, as concentrate", page));
            }
            push(&mut out, &format!("{title}: {}.", sums.join(", ")), page);
        }
    }
    out
}

fn columns(priced: bool, currency: &str) -> Vec<Column> {
    let mut columns = vec![
        Column::text("id"),
        Column::text("product"),
        Column::text("jobs"),
        Column::number("mean"),
        Column::number("half"),
        Column::number("4 in 5"),
        Column::number("allowed"),
        Column::text("unit"),
        Column::number("%"),
    ];
    if priced {
        columns.push(Column::number(format!("cost\n{currency}")));
        columns.push(Column::number(format!("allowed\n{currency}")));
    }
    columns
}

/// The products with a record, and below them those without: what nobody
/// wrote down is not what nobody used.
fn chemicals_of_type(table: &mut Table, rows: &[&WeekChemical], currency: &str) {
    let Some(first) = rows.first() else {
        return;
    };
    let jobs = counted(u64::from(first.jobs), "job", "jobs");
    table.note(&format!("{}, {jobs}", clean(&first.job_type)));
    let (recorded, unrecorded): (Vec<&WeekChemical>, Vec<&WeekChemical>) = rows
        .iter()
        .copied()
        .partition(|row| row.jobs_with_use > 0 || row.n > 0);
    for row in recorded {
        chemical_row(table, row, currency);
    }
    if !unrecorded.is_empty() {
        let names: Vec<String> = unrecorded.iter().map(|row| clean(&row.product)).collect();
        table.note(&format!("    no record of: {}", names.join(", ")));
    }
}

fn chemical_row(table: &mut Table, row: &WeekChemical, currency: &str) {
    let allowed_jobs = row.jobs_allowed.max(1);
    let allowance = row.allowance / f64::from(allowed_jobs);
    let mark = mark(row.apportioned, row.at_allowance);
    let known = row.n > 0;
    let if_known = |value: String| if known { value } else { String::new() };
    table.row_of(vec![
        row.id.clone(),
        row.product.clone(),
        if row.n == row.jobs {
            row.jobs.to_string()
        } else {
            format!("{} of {}", row.n, row.jobs)
        },
        if_known(format!("{mark}{}", amount(row.mean))),
        if_known(amount(row.median)),
        if_known(amount(row.p80)),
        if row.allowance > 0.0 {
            amount(allowance)
        } else {
            NO_ALLOWANCE.to_owned()
        },
        row.unit.clone(),
        if_known(amount_percent(row.mean, allowance)),
        if row.no_price {
            "no price".to_owned()
        } else {
            if_known(figure(row.cost_mean_minor, currency))
        },
        match row.allowance_cost_minor {
            0 => String::new(),
            minor => figure(minor / i64::from(allowed_jobs), currency),
        },
    ]);
    if row.uses_without_amount > 0 {
        table.note(&format!("    {}", without_amount(row.uses_without_amount)));
    }
    if row.mixed_units {
        table
            .note("    also recorded in another unit; the catalogue has no density to add them up");
    }
}

/// What stands before an amount that nobody measured.
pub(super) fn mark(apportioned: bool, at_allowance: bool) -> &'static str {
    match (apportioned, at_allowance) {
        (true, _) => APPORTIONED,
        (false, true) => AT_ALLOWANCE,
        (false, false) => "",
    }
}

fn legend(chemicals: &[WeekChemical]) -> String {
    let mut said = vec![
        "For one job with a record: half of them used at most so much, 4 in 5 at most so much; \
         the cost is the mean."
            .to_owned(),
    ];
    said.extend(marks(
        chemicals.iter().any(|row| row.apportioned),
        chemicals.iter().any(|row| row.at_allowance),
    ));
    said.join(" ")
}

/// What the marks mean, for those that are there.
pub(super) fn marks(apportioned: bool, at_allowance: bool) -> Vec<String> {
    let mut said = Vec::new();
    if apportioned {
        said.push(format!(
            "{APPORTIONED} nobody meters it: what the refills took, shared out by allowance."
        ));
    }
    if at_allowance {
        said.push(format!(
            "{AT_ALLOWANCE} standard, not measured: the allowance stands in until the next refill."
        ));
    }
    said
}

/// Said below a sum that misses records.
pub(super) fn without_amount(records: u32) -> String {
    let records = counted(u64::from(records), "record", "records");
    format!("and {records} without a usable amount")
}

/// `iron-remover 350 ml (EUR 0.98)`, one for each product where the amount is
/// above nothing.
pub(crate) fn sums(
    chemicals: &[WeekChemical],
    currency: &str,
    of: impl Fn(&WeekChemical) -> (f64, i64),
) -> Vec<String> {
    let mut sums: Vec<(&WeekChemical, f64, i64)> = Vec::new();
    for row in chemicals {
        let (used, cost_minor) = of(row);
        let same = |sum: &&mut (&WeekChemical, f64, i64)| {
            sum.0.product == row.product && sum.0.unit == row.unit
        };
        match sums.iter_mut().find(same) {
            Some(sum) => {
                sum.1 += used;
                sum.2 = sum.2.saturating_add(cost_minor);
            }
            None => sums.push((row, used, cost_minor)),
        }
    }
    sums.into_iter()
        .filter(|(_, used, _)| *used > 0.0)
        .map(|(row, used, cost_minor)| {
            let (product, unit) = (clean(&row.product), clean(&row.unit));
            let cost = match cost_minor {
                0 => String::new(),
                minor => format!(" ({})", money(minor, currency)),
            };
            format!("{product} {} {unit}{cost}", amount(used))
        })
        .collect()
}
