//! Money and shortfalls as messages.

use baywright_proto::v1;
use baywright_report::RowId;
use baywright_report::figures::{JobMoney, Shortfall, WeekMoney};

pub(in crate::facts) fn job(money: &JobMoney) -> v1::JobMoney {
    let quoted = money.quoted.unwrap_or_default();
    v1::JobMoney {
        revenue_minor: money.revenue_minor.unwrap_or(0),
        revenue_known: money.revenue_minor.is_some(),
        revenue_assumed: money.revenue_assumed,
        list_minor: money.list_minor.unwrap_or(0),
        labour_minor: money.labour_minor,
        materials_minor: money.materials_minor,
        supplies_minor: money.supplies_minor,
        overhead_minor: money.overhead_minor,
        contribution_minor: money.contribution_minor,
        quoted: money.quoted.is_some(),
        quoted_labour_minor: quoted.labour_minor,
        quoted_materials_minor: quoted.materials_minor,
        quoted_contribution_minor: quoted.contribution_minor,
        effective_hour_minor: money.effective_hour_minor.unwrap_or(0),
        labour_without_rate_us: money.labour_without_rate_us,
        uses_without_price: money.uses_without_price,
        materials_unmeasured_minor: money.materials_unmeasured_minor,
        margin: money.margin,
    }
}

pub(super) fn week(money: &WeekMoney) -> v1::WeekMoney {
    v1::WeekMoney {
        jobs: money.jobs,
        jobs_priced: money.jobs_priced,
        jobs_assumed: money.jobs_assumed,
        revenue_minor: money.revenue_minor,
        labour_minor: money.labour_minor,
        materials_minor: money.materials_minor,
        supplies_minor: money.supplies_minor,
        overhead_minor: money.overhead_minor,
        contribution_minor: money.contribution_minor,
        jobs_quoted: money.jobs_quoted,
        quoted_contribution_minor: money.quoted_contribution_minor,
        contribution_of_quoted_minor: money.contribution_of_quoted_minor,
        effective_hour_minor: money.effective_hour_minor.unwrap_or(0),
        loose_materials_minor: money.loose_materials_minor,
        margin: money.margin,
        labour_without_rate_us: money.labour_without_rate_us,
        uses_without_price: money.uses_without_price,
        materials_unmeasured_minor: money.materials_unmeasured_minor,
    }
}

/// `id` names the row of each cause; `None`: it does not open.
pub(in crate::facts) fn shortfalls(
    shortfalls: &[Shortfall],
    id: impl Fn(usize) -> Option<RowId>,
) -> Vec<v1::Shortfall> {
    (1..)
        .zip(shortfalls)
        .map(|(number, shortfall)| v1::Shortfall {
            id: id(number).map_or(String::new(), |id| id.to_string()),
            cause: shortfall.cause.as_str().to_owned(),
            amount_minor: shortfall.amount_minor,
            labour_minor: shortfall.labour_minor,
            materials_minor: shortfall.materials_minor,
        })
        .collect()
}
