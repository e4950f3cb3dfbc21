//! A quote as the owner reads it: what to say on the phone first, what it
//! rests on below.

mod compare;
mod fate;
mod fields;
mod list;
mod moved;
mod tables;

use baywright_proto::v1::{Grades, Quote, QuoteAsked, QuotePrinted};

pub use self::compare::compare;
pub use self::fate::{accepted, fate, next_steps};
pub use self::list::{Which, list};
pub use self::moved::Print;
use self::moved::moved;

use super::calendar::Calendar;
use super::figure::{counted, whole_percent};
use super::text::{clean, push, section};
use crate::describe::milli;

/// Starts the sentence of a finish that something must never touch.
const NEVER: &str = "Never ";
/// Such finishes named with a quote: a vehicle of mixed finishes has a dozen.
const NEVERS_MAX: usize = 5;

/// What is printed of a quote, first and again.
#[derive(Debug, Clone, Copy)]
pub struct Sheet<'a> {
    pub asked: &'a QuoteAsked,
    pub printed: &'a QuotePrinted,
    pub zone: &'a str,
    /// The job that it is a line of its own for.
    pub addition_to: Option<&'a str>,
    /// What limits it, and what this vehicle must not get; sentences.
    pub remarks: &'a [String],
}

/// The figures as text of at most `page` columns.
pub fn figures(sheet: &Sheet<'_>, page: usize) -> String {
    let mut out = String::new();
    push(&mut out, &phone(sheet), page);
    out.push('\n');
    out.push_str(&fields::fields(sheet, page));
    out.push_str(&tables::stages(sheet.printed, page));
    out.push_str(&tables::products(sheet.printed, page));
    out.push_str(&tables::money(sheet.printed, page));
    out.push_str(&tables::likes(sheet, page));
    out.push_str(&remarks(sheet.remarks, page));
    out
}

/// What limits the quote, and what this vehicle must not get.
fn remarks(remarks: &[String], page: usize) -> String {
    if remarks.is_empty() {
        return String::new();
    }
    let is_never = |remark: &&String| remark.starts_with(NEVER);
    let nevers: Vec<&String> = remarks.iter().filter(is_never).collect();
    let others = remarks.iter().filter(|remark| !is_never(remark));
    let mut lines: Vec<String> = others.map(|remark| clean(remark)).collect();
    lines.extend(nevers.iter().take(NEVERS_MAX).map(|never| clean(never)));
    let more = nevers.len().saturating_sub(NEVERS_MAX);
    if more > 0 {
        let more = u64::try_from(more).unwrap_or(u64::MAX);
        lines.push(format!(
            "{}, said when the vehicle comes in.",
            counted(
                more,
                "more finish with a never",
                "more finishes with a never"
            )
        ));
    }
    let mut out = section("Before you promise", page);
    for line in lines {
        out.push_str(&super::text::paragraph(&format!("! {line}"), page, 2));
        out.push('\n');
    }
    out
}

/// A quote that was printed again: what to say now, and what moved.
pub fn revised(number: u64, before: Print<'_>, now: &Sheet<'_>, page: usize) -> String {
    let mut out = String::new();
    push(
        &mut out,
        &format!("Quote {number} again, {}", subject(now.asked)),
        page,
    );
    push(&mut out, &phone(now), page);
    out.push('\n');
    out.push_str(&moved(before, (now.asked, now.printed), page));
    out
}

/// A quote with its number, its figures and what became of it.
pub fn quote(quote: &Quote, remarks: &[String], page: usize) -> String {
    let nothing = (QuoteAsked::default(), QuotePrinted::default());
    let asked = quote.asked.as_ref().unwrap_or(&nothing.0);
    let printed = quote.printed.as_ref().unwrap_or(&nothing.1);
    let mut out = String::new();
    push(&mut out, &title(quote, asked), page);
    out.push_str(&fate(quote, page));
    out.push('\n');
    let line = quote.line.clone().unwrap_or_default();
    let job = line.job_number.to_string();
    let sheet = Sheet {
        asked,
        printed,
        zone: &quote.zone,
        addition_to: line.addition.then_some(job.as_str()),
        remarks,
    };
    out.push_str(&figures(&sheet, page));
    out.push_str(&compare::against(quote, page));
    out
}

/// `Quote 12, trike-coat: red three-wheeler, for M. Oliveira`.
fn title(quote: &Quote, asked: &QuoteAsked) -> String {
    let line = quote.line.clone().unwrap_or_default();
    let addition = if line.addition {
        format!(", on top of job {}", line.job_number)
    } else {
        String::new()
    };
    format!("Quote {}{addition}, {}", line.number, subject(asked))
}

/// `trike-coat: red three-wheeler, for M. Oliveira`.
fn subject(asked: &QuoteAsked) -> String {
    let mut said = clean(&asked.job_type);
    let vehicle = clean(&asked.vehicle);
    if !vehicle.is_empty() {
        if !said.is_empty() {
            said.push_str(": ");
        }
        said.push_str(&vehicle);
    }
    let customer = clean(&asked.customer);
    if !customer.is_empty() {
        said.push_str(", for ");
        said.push_str(&customer);
    }
    if said.is_empty() {
        said.push_str("nothing named");
    }
    said
}

/// What the owner can say on the phone, in one breath.
fn phone(sheet: &Sheet<'_>) -> String {
    let printed = sheet.printed;
    let calendar = Calendar::of(sheet.zone);
    let currency = &printed.currency;
    if !is_priced(printed) {
        return no_price(printed);
    }
    let start = match sheet.addition_to {
        Some(job) => format!("On top of job {} that will be", clean(job)),
        None => "That will be".to_owned(),
    };
    let money = |minor: i64| super::money::money(minor, currency);
    let price = if is_range(printed) {
        let (from, to) = (printed.price_from_minor, printed.price_to_minor);
        let taxed = with_tax(from, printed).zip(with_tax(to, printed));
        let taxed = taxed.map_or_else(
            || "without tax".to_owned(),
            |((from, percent), (to, _))| {
                format!("({} and {} with {percent} % tax)", money(from), money(to))
            },
        );
        format!("between {} and {} {taxed}", money(from), money(to))
    } else {
        let net = money(printed.price_minor);
        match with_tax(printed.price_minor, printed) {
            Some((sum, percent)) => format!("{} with {percent} % tax, {net} without", money(sum)),
            None => format!("{net} without tax"),
        }
    };
    let mut said = vec![format!("{start} {price}")];
    if sheet.asked.unseen {
        said.push("subject to inspection".to_owned());
    }
    if printed.valid_until_us != 0 {
        said.push(format!(
            "and holds until {}",
            calendar.day(printed.valid_until_us)
        ));
    }
    format!("{}.", said.join(", "))
}

/// Why there is no price, and what there is instead.
fn no_price(printed: &QuotePrinted) -> String {
    let why = if printed.labour_minor <= 0 {
        "No price: the catalogue has no rates, so nobody knows what the hours cost"
    } else {
        "No price can be worked out from the catalogue"
    };
    if printed.list_minor > 0 {
        let list = super::money::money(printed.list_minor, &printed.currency);
        format!("{why}. Its list price is {list} without tax.")
    } else {
        format!("{why}.")
    }
}

/// True where there is a price to name: one without labour in it is none.
pub(crate) fn is_priced(printed: &QuotePrinted) -> bool {
    printed.price_minor > 0 && (printed.labour_minor > 0 || printed.hands_on_half_us <= 0)
}

/// True where a price is from and to.
pub(crate) fn is_range(printed: &QuotePrinted) -> bool {
    printed.price_from_minor > 0 && printed.price_to_minor > printed.price_from_minor
}

/// The price with the tax added, and the tax in per cent; `None` where no tax
/// is given.
pub(crate) fn with_tax(minor: i64, printed: &QuotePrinted) -> Option<(i64, String)> {
    let tax_minor = tax(minor, printed)?;
    let percent = milli(i64::from(printed.tax_milli_pct));
    Some((minor.saturating_add(tax_minor), percent))
}

/// The tax on a price, rounded half up to the minor unit.
pub(crate) fn tax(minor: i64, printed: &QuotePrinted) -> Option<i64> {
    /// Thousandths of a per cent in the whole.
    const WHOLE: i128 = 100_000;
    if printed.tax_milli_pct == 0 {
        return None;
    }
    let exact = i128::from(minor) * i128::from(printed.tax_milli_pct);
    i64::try_from((exact + WHOLE / 2).div_euclid(WHOLE)).ok()
}

/// `48`, `-3`: per mille as whole per cent.
fn percent(permille: i32) -> String {
    let size = whole_percent(permille.unsigned_abs());
    if permille < 0 && size != "0" {
        format!("-{size}")
    } else {
        size
    }
}

/// `25`: a part of a whole in per cent; empty where there is no whole.
fn share(part: i64, whole: i64) -> String {
    if whole <= 0 {
        return String::new();
    }
    let permille = i128::from(part) * 1_000 / i128::from(whole);
    i32::try_from(permille).map_or_else(|_| String::new(), percent)
}

/// `soil 4, intricacy 5; defects not graded, taken as 3`.
fn grades(grades: Option<&Grades>) -> String {
    let grades = grades.copied().unwrap_or_default();
    let all = [
        ("soil", grades.soil),
        ("defects", grades.defects),
        ("intricacy", grades.intricacy),
    ];
    let given: Vec<String> = all
        .iter()
        .filter(|(_, grade)| *grade > 0)
        .map(|(what, grade)| format!("{what} {grade}"))
        .collect();
    let missing: Vec<&str> = all
        .iter()
        .filter(|(_, grade)| *grade == 0)
        .map(|(what, _)| *what)
        .collect();
    match (given.is_empty(), missing.is_empty()) {
        (true, _) => "nothing graded: soil, defects and intricacy taken as 3".to_owned(),
        (false, true) => given.join(", "),
        (false, false) => format!(
            "{}; {} not graded, taken as 3",
            given.join(", "),
            missing.join(" and ")
        ),
    }
}

#[cfg(test)]
mod tests;
