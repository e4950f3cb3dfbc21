//! Why a job, a type or a week came out below its quotes, in plain words.

use baywright_proto::v1::Shortfall;

use super::money::{figure, money};
use super::table::{Column, Table};
use super::text::{clean, push, section};

/// What was quoted, what is left, and the word for it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Outcome<'a> {
    pub quoted_minor: i64,
    pub actual_minor: i64,
    pub word: &'a str,
    pub currency: &'a str,
}

impl Outcome<'_> {
    /// Positive: it fell short.
    pub(super) fn short_minor(&self) -> i64 {
        self.quoted_minor.saturating_sub(self.actual_minor)
    }
}

/// A cause in plain words; below nothing it gained.
pub(crate) fn words(cause: &str, amount_minor: i64) -> String {
    let gained = amount_minor < 0;
    match (cause, gained) {
        ("discount-given", false) => "discount given",
        ("discount-given", true) => "agreed above the list price",
        ("took-longer", false) => "took longer",
        ("took-longer", true) => "took less time",
        ("paid-more-per-hour", false) => "paid more per hour",
        ("paid-more-per-hour", true) => "paid less per hour",
        ("used-more", false) => "used more",
        ("used-more", true) => "used less",
        ("paid-more-for-it", false) => "paid more for it",
        ("paid-more-for-it", true) => "paid less for it",
        (other, _) => return clean(other),
    }
    .to_owned()
}

/// The causes as a table whose last line is the difference; they add up to it.
pub(super) fn table(causes: &[Shortfall], outcome: &Outcome<'_>, page: usize) -> String {
    let currency = outcome.currency;
    let heading = |what: &str| format!("{what}\n{}", clean(currency));
    let has_ids = causes.iter().any(|cause| !cause.id.is_empty());
    let mut columns = vec![
        Column::text("why"),
        Column::number(heading("fell short")),
        Column::number(heading("gained")),
    ];
    if has_ids {
        columns.insert(0, Column::text("id"));
    }
    let mut table = Table::of(columns);
    let mut nothing = Vec::new();
    for cause in causes {
        if cause.amount_minor == 0 {
            nothing.push(words(&cause.cause, 0));
            continue;
        }
        let [short, gained] = sides(cause.amount_minor, currency);
        let cells = [words(&cause.cause, cause.amount_minor), short, gained];
        table.row_of(with_id(&cause.id, has_ids, cells));
        if let Some(parts) = parts(cause, currency) {
            let indent = if has_ids { 4 } else { 0 };
            table.note(&format!("{}  {parts}", " ".repeat(indent)));
        }
    }
    if table.is_empty() {
        return String::new();
    }
    let sum = outcome.short_minor();
    let [short, gained] = sides(sum, currency);
    let all = if sum < 0 {
        "gained in all"
    } else {
        "fell short in all"
    };
    let cells = [all.to_owned(), short, gained];
    table.total_of(with_id("", has_ids, cells));
    let mut out = table.render(page);
    let adds = format!(
        "= quoted {} {} - actual {}.",
        outcome.word,
        money(outcome.quoted_minor, currency),
        money(outcome.actual_minor, currency)
    );
    push(&mut out, &adds, page);
    if !nothing.is_empty() {
        push(
            &mut out,
            &format!("Nothing from: {}.", nothing.join(", ")),
            page,
        );
    }
    out
}

fn with_id(id: &str, has_ids: bool, cells: [String; 3]) -> Vec<String> {
    let id = has_ids.then(|| id.to_owned());
    id.into_iter().chain(cells).collect()
}

/// Columns of what fell short and of what was gained.
fn sides(amount_minor: i64, currency: &str) -> [String; 2] {
    if amount_minor < 0 {
        let gained = amount_minor.checked_neg().unwrap_or(i64::MAX);
        [String::new(), figure(gained, currency)]
    } else {
        [figure(amount_minor, currency), String::new()]
    }
}

/// Rework is both labour and materials.
fn parts(cause: &Shortfall, currency: &str) -> Option<String> {
    (cause.labour_minor != 0 && cause.materials_minor != 0).then(|| {
        format!(
            "labour {}, materials {}",
            figure(cause.labour_minor, currency),
            figure(cause.materials_minor, currency)
        )
    })
}

/// `took longer 310.20, rework 115.10`: the largest causes that
/// pull the same way as the sum, `most` at most. Empty where none does.
pub(super) fn mostly(causes: &[Shortfall], outcome: &Outcome<'_>, most: usize) -> String {
    let sum = outcome.short_minor();
    let mut same_way: Vec<&Shortfall> = causes
        .iter()
        .filter(|cause| cause.amount_minor.signum() == sum.signum() && cause.amount_minor != 0)
        .collect();
    same_way.sort_by_key(|cause| std::cmp::Reverse(cause.amount_minor.unsigned_abs()));
    let said: Vec<String> = same_way
        .iter()
        .take(most)
        .map(|cause| {
            let size = i64::try_from(cause.amount_minor.unsigned_abs()).unwrap_or(i64::MAX);
            let words = words(&cause.cause, cause.amount_minor);
            format!("{words} {}", figure(size, outcome.currency))
        })
        .collect();
    said.join(", ")
}

/// The section of a week or a job; empty where nothing was quoted.
pub(super) fn shortfalls(causes: &[Shortfall], outcome: &Outcome<'_>, page: usize) -> String {
    let sum = outcome.short_minor();
    let size = i64::try_from(sum.unsigned_abs()).unwrap_or(i64::MAX);
    let title = match sum.signum() {
        1 => format!(
            "Why it fell short of the quote by {}",
            money(size, outcome.currency)
        ),
        -1 => format!(
            "Why it gained {} on the quote",
            money(size, outcome.currency)
        ),
        _ => "As quoted, and what made up for what".to_owned(),
    };
    let table = table(causes, outcome, page);
    if table.is_empty() {
        return String::new();
    }
    format!("{}{table}", section(&title, page))
}

#[cfg(test)]
mod tests {
    use baywright_proto::v1::Shortfall;

    use super::super::fixture::figures;
    use super::*;

    fn outcome(quoted_minor: i64, actual_minor: i64) -> Outcome<'static> {
        Outcome {
            quoted_minor,
            actual_minor,
            word: "contribution",
            currency: "EUR",
        }
    }

    #[test]
    fn the_printed_causes_add_up_to_the_printed_difference() {
        let causes = figures::shortfalls_of_week();
        let shown = table(&causes, &outcome(56_730, 39_905), 80);
        let minor = |cell: &str| -> i64 { cell.replace(['.', ','], "").parse().unwrap_or(0) };
        let (mut short, mut gained, mut total) = (0, 0, 0);
        for line in shown.lines().filter(|line| line.contains('.')) {
            let figures: Vec<&str> = line
                .split_whitespace()
                .filter(|w| w.contains('.'))
                .collect();
            if line.contains("in all") {
                total = minor(figures[0]);
            } else if line.starts_with('f') && line.contains("took less") {
                gained += minor(figures[0]);
            } else if line.starts_with('f') {
                short += minor(figures[0]);
            }
        }
        assert_eq!((short - gained, total), (16_825, 16_825), "{shown}");
    }

    #[test]
    fn what_came_out_better_is_gained_and_not_fallen_short() {
        let shown = shortfalls(&figures::shortfalls_of_121(), &outcome(9_450, 13_250), 80);
        insta::assert_snapshot!(shown, @"
        Why it gained EUR 38.00 on the quote
                        fell short  gained
        why                    EUR     EUR
        --------------  ----------  ------
        took less time               35.60
        used less                     2.40
        --------------  ----------  ------
        gained in all                38.00
        = quoted contribution EUR 94.50 - actual EUR 132.50.
        Nothing from: discount given, paid more per hour, paid more for it, rework,
        waste.
        ");
        assert!(!shown.contains("fell short in all"), "{shown}");
        let mostly = mostly(&figures::shortfalls_of_121(), &outcome(9_450, 13_250), 1);
        assert_eq!(mostly, "took less time 35.60");
    }

    #[test]
    fn a_cause_that_this_client_does_not_know_is_shown_by_its_word() {
        let newer = [Shortfall {
            cause: "weather".to_owned(),
            amount_minor: 100,
            ..Shortfall::default()
        }];
        assert!(table(&newer, &outcome(100, 0), 80).contains("weather"));
        assert_eq!(shortfalls(&[], &outcome(100, 0), 80), "");
    }
}
