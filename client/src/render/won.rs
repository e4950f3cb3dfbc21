//! Quotes won and lost, by job type and price.

use baywright_proto::v1::QuotesOfType;

use super::figure::{counted, divided_rounded};
use super::money::figure;
use super::table::{Column, Table};
use super::text::{clean, paragraph, push, section};

/// Reasons named of one type.
const REASONS_MAX: usize = 4;

/// The section; empty where no quote was decided or is open.
pub(super) fn won(quotes: &[QuotesOfType], currency: &str, page: usize) -> String {
    let any = |of: &QuotesOfType| of.won + of.lost + of.open + of.run_out > 0;
    let shown: Vec<&QuotesOfType> = quotes.iter().filter(|of| any(of)).collect();
    if shown.is_empty() {
        return String::new();
    }
    let code = clean(currency);
    let mut table = Table::new([
        Column::text("job type"),
        Column::number("won"),
        Column::number("lost"),
        Column::number("open"),
        Column::number("run\nout"),
        Column::number(format!("won at\n{code}")),
        Column::number(format!("lost at\n{code}")),
        Column::number("agreed, %\nof printed"),
    ]);
    for of in &shown {
        let mean = |count: u32, minor: i64| match count {
            0 => String::new(),
            _ => figure(minor, currency),
        };
        table.row([
            of.job_type.clone(),
            of.won.to_string(),
            of.lost.to_string(),
            of.open.to_string(),
            of.run_out.to_string(),
            mean(of.won, of.won_price_mean_minor),
            mean(of.lost, of.lost_price_mean_minor),
            if of.won > 0 && of.agreed_milli > 0 {
                divided_rounded(of.agreed_milli, 10).to_string()
            } else {
                String::new()
            },
        ]);
    }
    let mut out = section("Quotes won and lost", page);
    push(&mut out, &words(quotes), page);
    out.push_str(&table.render(page));
    for of in shown.iter().filter(|of| !of.lost_why.is_empty()) {
        out.push_str(&paragraph(&why(of), page, 2));
        out.push('\n');
    }
    out
}

/// `Of 9 decided quotes 6 were won; 2 are open and 1 ran out.`
pub(crate) fn words(quotes: &[QuotesOfType]) -> String {
    let sum = |of: fn(&QuotesOfType) -> u32| quotes.iter().map(|q| u64::from(of(q))).sum::<u64>();
    let (won, lost) = (sum(|q| q.won), sum(|q| q.lost));
    let (open, run_out) = (sum(|q| q.open), sum(|q| q.run_out));
    let mut said = match won + lost {
        0 => "No quote was decided".to_owned(),
        1 if won == 1 => "The one quote that was decided was won".to_owned(),
        1 => "The one quote that was decided was lost".to_owned(),
        decided => format!("Of {decided} quotes that were decided {won} were won"),
    };
    let waiting: Vec<String> = [
        (open, format!("{} open", is_are(open))),
        (run_out, format!("{run_out} ran out undecided")),
    ]
    .into_iter()
    .filter(|(count, _)| *count > 0)
    .map(|(_, words)| words)
    .collect();
    if !waiting.is_empty() {
        said.push_str("; ");
        said.push_str(&waiting.join(", "));
    }
    said.push('.');
    said
}

fn is_are(count: u64) -> String {
    counted(count, "is", "are")
}

/// `trike-coat was lost for: too dear; went elsewhere and 2 more.`
pub(crate) fn why(of: &QuotesOfType) -> String {
    let named: Vec<String> = of
        .lost_why
        .iter()
        .map(|why| clean(why))
        .take(REASONS_MAX)
        .collect();
    let more = of.lost_why.len().saturating_sub(named.len());
    let more = match more {
        0 => String::new(),
        more => format!("; and {more} more"),
    };
    format!(
        "{} was lost for: {}{more}.",
        clean(&of.job_type),
        named.join("; ")
    )
}
