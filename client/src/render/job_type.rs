//! One job type on one screen: what was quoted, what it took, what was learned.

use std::fmt::Write as _;

use baywright_proto::v1::{
    LearnedStage, LearnedType, QuotesOfType, Week, WeekChemical, WeekJob, WeekType,
};

use super::calendar::Calendar;
use super::figure::{amount, counted, hours_minutes};
use super::learned::{of_type, suggestions};
use super::money::{left_word, money};
use super::table::{Column, Table};
use super::text::{clean, push, section};
use super::won;

/// What one type's screen is made of.
#[derive(Debug, Clone, Copy)]
pub struct Sheet<'a> {
    pub code: &'a str,
    pub week: &'a Week,
    /// `None`: the daemon knows nothing of it yet.
    pub learned: Option<&'a LearnedType>,
}

impl Sheet<'_> {
    fn of_week(&self) -> Option<&WeekType> {
        self.week.types.iter().find(|t| t.job_type == self.code)
    }

    fn quotes(&self) -> Option<&QuotesOfType> {
        self.week.quotes.iter().find(|q| q.job_type == self.code)
    }

    /// Released jobs of the type that put nothing right.
    fn jobs(&self) -> impl Iterator<Item = &WeekJob> {
        self.week
            .jobs
            .iter()
            .filter(|job| job.released_us != 0 && job.job_type == self.code && job.comeback_of == 0)
    }

    /// Its name, where it says more than the code.
    fn title(&self) -> String {
        let name = self.learned.map(|l| clean(&l.name)).unwrap_or_default();
        if name.is_empty() {
            clean(self.code)
        } else {
            format!("{}, {name}", clean(self.code))
        }
    }
}

/// The screen.
pub fn job_type(sheet: &Sheet<'_>, page: usize) -> String {
    let mut out = String::new();
    push(&mut out, &head(sheet), page);
    push(&mut out, &released(sheet), page);
    if let Some(learned) = sheet.learned {
        let said = format!("Learned: {}", of_type(learned, &sheet.week.currency));
        push(&mut out, &said, page);
    }
    if let Some(quotes) = sheet.quotes() {
        push(&mut out, &won::words(std::slice::from_ref(quotes)), page);
        if !quotes.lost_why.is_empty() {
            push(&mut out, &won::why(quotes), page);
        }
    }
    out.push_str(&labour(sheet, page));
    out.push_str(&chemicals(sheet, page));
    out.push_str(&foot(sheet, page));
    out
}

fn head(sheet: &Sheet<'_>) -> String {
    let calendar = Calendar::of(&sheet.week.zone);
    format!(
        "{}; {} to {}",
        sheet.title(),
        calendar.day(sheet.week.from_us),
        calendar.day(sheet.week.until_us.saturating_sub(1)),
    )
}

/// Jobs, price and what was left.
fn released(sheet: &Sheet<'_>) -> String {
    let Some(of) = sheet.of_week() else {
        return "No job of it was released in this time.".to_owned();
    };
    let currency = &sheet.week.currency;
    let mut said = format!(
        "{} released: {} of labour quoted, {} worked",
        counted(u64::from(of.jobs), "job", "jobs"),
        hours_minutes(of.quoted_us),
        hours_minutes(of.actual_us),
    );
    if of.rework_us > 0 {
        let _ = write!(said, ", {} of it rework", hours_minutes(of.rework_us));
    }
    said.push('.');
    if let Some(of_money) = of.money.filter(|of_money| of_money.jobs_priced > 0) {
        let jobs = i64::from(of_money.jobs_priced);
        let _ = write!(
            said,
            " For each, {} came in and {} of {} was left",
            money(divided(of_money.revenue_minor, jobs), currency),
            money(divided(of_money.contribution_minor, jobs), currency),
            left_word(of_money.margin),
        );
        if of_money.effective_hour_minor != 0 {
            let _ = write!(
                said,
                "; an hour brought {}",
                money(of_money.effective_hour_minor, currency)
            );
        }
        said.push('.');
    }
    said
}

/// Rounded half away from nothing.
fn divided(sum: i64, by: i64) -> i64 {
    let by = by.max(1);
    let half = by / 2;
    (if sum < 0 {
        sum.saturating_sub(half)
    } else {
        sum.saturating_add(half)
    }) / by
}

fn labour(sheet: &Sheet<'_>, page: usize) -> String {
    let mut stages: Vec<&str> = Vec::new();
    let learned = sheet.learned.map_or(&[][..], |l| l.stages.as_slice());
    let of_week = sheet.of_week().map_or(&[][..], |w| w.stages.as_slice());
    for stage in learned
        .iter()
        .map(|stage| stage.stage.as_str())
        .chain(of_week.iter().map(|stage| stage.stage.as_str()))
    {
        if !stages.contains(&stage) {
            stages.push(stage);
        }
    }
    if stages.is_empty() {
        return String::new();
    }
    let mut table = Table::new([
        Column::text("stage"),
        Column::number("jobs"),
        Column::number("quoted\nmean"),
        Column::number("actual\nmean"),
        Column::number("half"),
        Column::number("4 in 5"),
        Column::number("learned\nhalf"),
        Column::text("says"),
    ]);
    for stage in stages {
        let learned = learned.iter().find(|l| l.stage == stage);
        table.row_of(stage_cells(sheet, stage, learned));
    }
    let mut all: Vec<i64> = sheet.jobs().map(|job| job.actual_us).collect();
    let quoted: Vec<i64> = sheet.jobs().map(|job| job.quoted_us).collect();
    let half = sheet.learned.map_or(0, |l| l.hands_on_half_us);
    let mut cells = vec!["all".to_owned(), all.len().to_string(), mean(&quoted)];
    cells.extend(figures(&mut all));
    cells.push(some(half));
    table.total_of(cells);
    let mut out = section("Labour, hours:minutes", page);
    out.push_str(&table.render(page));
    push(
        &mut out,
        "Half and four in five of the jobs released in this time, comebacks left out (Hyndman-Fan \
         type 8). Learned half: of a vehicle of grade 3, from all records.",
        page,
    );
    out
}

fn stage_cells(sheet: &Sheet<'_>, stage: &str, learned: Option<&LearnedStage>) -> Vec<String> {
    let (mut actual, mut quoted) = (Vec::new(), Vec::new());
    for job in sheet.jobs() {
        if let Some(of) = job.stages.iter().find(|s| s.stage == stage) {
            if of.jobs > 0 || of.actual_us > 0 {
                actual.push(of.actual_us);
            }
            if !of.no_allowance {
                quoted.push(of.quoted_us);
            }
        }
    }
    let says = match learned {
        Some(l) if l.suggest => format!("allowance {}", hours_minutes(l.allowance_us)),
        Some(l) if l.trade_guess => "trade guess".to_owned(),
        _ => String::new(),
    };
    let mut cells = vec![stage.to_owned(), actual.len().to_string(), mean(&quoted)];
    cells.extend(figures(&mut actual));
    cells.push(learned.map_or_else(String::new, |l| some(l.half_us)));
    cells.push(says);
    cells
}

/// Mean, half and four in five; empty cells of nothing.
fn figures(values: &mut [i64]) -> [String; 3] {
    values.sort_unstable();
    let at = |share: f64| quantile(values, share).map_or_else(String::new, hours_minutes);
    [mean(values), at(0.5), at(0.8)]
}

fn mean(values: &[i64]) -> String {
    let Ok(count) = i64::try_from(values.len()) else {
        return String::new();
    };
    if count == 0 {
        return String::new();
    }
    let sum = values.iter().copied().fold(0, i64::saturating_add);
    hours_minutes(divided(sum, count))
}

fn some(span_us: i64) -> String {
    if span_us == 0 {
        String::new()
    } else {
        hours_minutes(span_us)
    }
}

/// A quantile of sorted values as the daemon takes them: Hyndman and Fan 1996,
/// definition 8, position `(n + 1/3) p + 1/3`.
#[expect(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    reason = "shown to the minute"
)]
fn quantile(sorted: &[i64], share: f64) -> Option<i64> {
    let count = f64::from(u32::try_from(sorted.len()).ok()?);
    let position = ((count + 1.0 / 3.0) * share + 1.0 / 3.0).clamp(1.0, count.max(1.0));
    let mut below = 0_usize;
    let mut place = 1.0;
    while place + 1.0 <= position {
        place += 1.0;
        below += 1;
    }
    let low = *sorted.get(below)?;
    let high = sorted.get(below + 1).copied().unwrap_or(low);
    let between = (position - place) * (high.saturating_sub(low) as f64);
    Some(low.saturating_add(between.round() as i64))
}

fn chemicals(sheet: &Sheet<'_>, page: usize) -> String {
    let rows: Vec<&WeekChemical> = sheet
        .week
        .chemicals
        .iter()
        .filter(|row| row.job_type == sheet.code)
        .collect();
    if rows.is_empty() {
        return String::new();
    }
    let mut table = Table::new([
        Column::text("product"),
        Column::text("unit"),
        Column::number("jobs"),
        Column::number("allowed"),
        Column::number("mean"),
        Column::number("half"),
        Column::number("4 in 5"),
        Column::number("learned\nhalf"),
    ]);
    for row in rows {
        let learned = sheet
            .learned
            .and_then(|l| l.products.iter().find(|p| p.product == row.product));
        let allowed = if row.jobs_allowed == 0 {
            String::new()
        } else {
            amount(row.allowance / f64::from(row.jobs_allowed))
        };
        let known = |value: f64| {
            if row.n == 0 {
                String::new()
            } else {
                amount(value)
            }
        };
        table.row([
            row.product.clone(),
            row.unit.clone(),
            row.n.to_string(),
            allowed,
            known(row.mean),
            known(row.median),
            known(row.p80),
            learned.map_or_else(String::new, |l| amount(l.half)),
        ]);
    }
    let mut out = section("Chemicals for each job, of concentrate", page);
    out.push_str(&table.render(page));
    out
}

fn foot(sheet: &Sheet<'_>, page: usize) -> String {
    let code = clean(sheet.code);
    let mut hints = vec![format!("bay learned {code} says how sure it is.")];
    if sheet.learned.is_some_and(|l| suggestions(l) > 0) {
        hints.push(format!(
            "bay learned apply {code} puts the learned halves into the catalogue."
        ));
    }
    let mut out = String::from("\n");
    push(&mut out, &hints.join(" "), page);
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantiles_are_those_of_hyndman_and_fan_type_8() {
        // Positions 3 and 4.6 of five values, by the definition.
        let values = [60, 120, 240, 480, 960];
        assert_eq!(quantile(&values, 0.5), Some(240));
        assert_eq!(quantile(&values, 0.8), Some(768));
        assert_eq!(quantile(&[7], 0.8), Some(7));
        assert_eq!(quantile(&[], 0.8), None);
    }
}
