//! Quotes in a list.

use baywright_proto::v1::{ListQuotesResponse, QuoteLine, QuoteState};

use super::compare;
use crate::render::calendar::Calendar;
use crate::render::figure::{counted, hours_minutes};
use crate::render::money::figure;
use crate::render::table::{Column, Table};
use crate::render::text::{clean, push};

/// Which quotes were asked for.
#[derive(Debug, Clone, Copy, Default)]
pub struct Which<'a> {
    /// Their state in a word, as in "open"; empty: all.
    pub state: &'a str,
    /// As many as there can be.
    pub all: bool,
}

/// The quotes as text of at most `page` columns.
pub fn list(response: &ListQuotesResponse, asked: Which<'_>, page: usize) -> String {
    let calendar = Calendar::of(&response.zone);
    let which = if asked.state.is_empty() {
        String::new()
    } else {
        format!("{} ", asked.state)
    };
    if response.quotes.is_empty() {
        return format!("No {which}quotes. `bay quote new TYPE` makes one.\n");
    }
    let currency = clean(&response.currency);
    let mut table = Table::new([
        Column::number("no."),
        Column::text("made"),
        Column::text("state"),
        Column::whole_text("what"),
        Column::number("half\nh:min"),
        Column::number("4 in 5\nh:min"),
        Column::number(format!("price\n{currency}")),
        Column::number(format!("agreed\n{currency}")),
        Column::number("job"),
    ]);
    for line in &response.quotes {
        table.row([
            line.number.to_string(),
            calendar.day_and_month(line.drafted_us),
            state_word(line).to_owned(),
            what(line),
            hours_minutes(line.hands_on_half_us),
            hours_minutes(line.hands_on_p80_us),
            match line.price_minor {
                0 => "none".to_owned(),
                minor => figure(minor, &response.currency),
            },
            match line.agreed_minor {
                0 => String::new(),
                minor => figure(minor, &response.currency),
            },
            match line.job_number {
                0 => String::new(),
                number => number.to_string(),
            },
        ]);
        if let Some(note) = note(line) {
            table.note(&format!("     {note}"));
        }
    }
    let count = u64::try_from(response.quotes.len()).unwrap_or(u64::MAX);
    let mut out = format!(
        "{}, latest first.\n\n",
        counted(count, &format!("{which}quote"), &format!("{which}quotes"))
    );
    out.push_str(&table.render(page));
    if response.left_off > 0 {
        let more = if asked.all {
            "--type or a state narrows the list"
        } else {
            "--all shows them"
        };
        let words = format!(
            "{} not shown: {more}.",
            counted(
                u64::from(response.left_off),
                "older one is",
                "older ones are"
            )
        );
        push(&mut out, &words, page);
    }
    out
}

/// The state in a word.
pub(super) fn state_word(line: &QuoteLine) -> &'static str {
    match line.state() {
        QuoteState::Accepted if line.released => "done",
        QuoteState::Accepted => "accepted",
        QuoteState::Declined => "declined",
        QuoteState::RunOut => "run out",
        QuoteState::Open | QuoteState::Unspecified => "open",
    }
}

fn what(line: &QuoteLine) -> String {
    let parts = [&line.job_type, &line.vehicle, &line.customer];
    let parts: Vec<String> = parts
        .iter()
        .map(|part| clean(part))
        .filter(|part| !part.is_empty())
        .collect();
    parts.join(", ")
}

/// What is worth a line below a quote.
fn note(line: &QuoteLine) -> Option<String> {
    let why = clean(&line.why);
    if line.state() == QuoteState::Declined && !why.is_empty() {
        return Some(why);
    }
    // Of an addition the actual is that of its whole job.
    if line.actual_hands_on_us > 0 && !line.addition {
        let took = hours_minutes(line.actual_hands_on_us);
        let verdict = compare::verdict(
            line.actual_hands_on_us,
            line.hands_on_half_us,
            line.hands_on_p80_us,
        );
        let held = compare::said(verdict, line.released);
        return Some(match (line.released, held.is_empty()) {
            (true, _) => format!("took {took}: {held}"),
            (false, true) => format!("{took} so far"),
            (false, false) => format!("{took} so far: {held}"),
        });
    }
    line.trade_guess
        .then(|| "trade guess, not your shop".to_owned())
}
