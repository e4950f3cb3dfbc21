//! How quotes held: in words first, then against the allowance and the mean
//! of the last five.

use baywright_proto::v1::{Honesty, HonestyOf, HonestyResponse};

use super::figure::{counted, divided_rounded, whole_percent};
use super::table::{Column, Table};
use super::text::{clean, push, section};

/// As the daemon names the three that are compared.
const QUOTE: &str = "quote";

/// All of `bay learned --honesty`.
pub(crate) fn honesty(honesty: &HonestyResponse, page: usize) -> String {
    let mut out = String::new();
    let printed = honesty.printed.as_ref().filter(|printed| printed.jobs > 0);
    let retraced = honesty.retraced.as_ref().filter(|again| again.jobs > 0);
    if printed.is_none() {
        push(
            &mut out,
            "No job with a quote was released yet, so nobody can say how quotes hold.",
            page,
        );
        if retraced.is_none() {
            push(
                &mut out,
                "What would have been quoted for the jobs before: bay learned --honesty --retrace.",
                page,
            );
        }
    }
    if let Some(printed) = printed {
        out.push_str(&part("How quotes held", printed, "quote", page));
    }
    if let Some(retraced) = retraced {
        let title = "Had every job been quoted, each from what was known before it";
        out.push_str(&part(title, retraced, "job", page));
    }
    if printed.is_some() || retraced.is_some() {
        out.push('\n');
        push(&mut out, LEGEND, page);
    }
    out.trim_start_matches('\n').to_owned()
}

const LEGEND: &str = "Off: actual labour against the half, median. Range: where the share that held four in five \
     lies, 95 % (Clopper-Pearson). Losses in hours of labour, lower is better: pinball loss at half \
     and at four in five, and CRPS over the whole distribution.";

/// The section of a week, in words; empty where no quoted job was released.
pub(super) fn of_week(honesty: &Honesty, page: usize) -> String {
    if honesty.jobs == 0 {
        return String::new();
    }
    let mut said = sentences(honesty);
    said.push("Every figure: bay learned --honesty.".to_owned());
    let mut out = section("How quotes held", page);
    push(&mut out, &said.join(" "), page);
    out
}

/// `noun`: what was promised, a quote or, looking back, a job.
fn part(title: &str, honesty: &Honesty, noun: &str, page: usize) -> String {
    let mut out = section(title, page);
    for said in sentences_of(honesty, noun) {
        push(&mut out, &said, page);
    }
    out.push_str(&table(honesty, page));
    out
}

/// `Of 31 quotes, 25 held four in five; 25 would be as promised.` and what else
/// there is to know, a sentence each.
pub(crate) fn sentences(honesty: &Honesty) -> Vec<String> {
    sentences_of(honesty, "quote")
}

fn sentences_of(honesty: &Honesty, noun: &str) -> Vec<String> {
    let mut said = Vec::new();
    if let Some(of) = honesty.of.iter().find(|of| of.what == QUOTE && of.of > 0) {
        said.push(held(of, noun));
        if let Some(off) = bias(of) {
            said.push(off);
        }
    }
    said.extend(better(honesty));
    match honesty.widen_milli {
        0 | 1_000 => {}
        widen if widen > 1_000 => said.push(format!(
            "Ranges came out too narrow, so they are widened by {} % from now on.",
            divided_rounded(widen - 1_000, 10)
        )),
        widen => said.push(format!(
            "Ranges came out too wide, so they are narrowed by {} % from now on.",
            divided_rounded(1_000 - widen, 10)
        )),
    }
    if !honesty.remark.is_empty() {
        said.push(clean(&honesty.remark));
    }
    said
}

/// How many held, and how many would have been as promised.
fn held(of: &HonestyOf, noun: &str) -> String {
    let promised = divided_rounded(of.of.saturating_mul(8), 10);
    let half = divided_rounded(of.of.saturating_mul(5), 10);
    format!(
        "Of {}, {} held four in five; {promised} would be as promised. {} took no more than \
         the half; {half} would be as promised.",
        counted(u64::from(of.of), noun, &format!("{noun}s")),
        of.p80_held,
        of.half_held,
    )
}

fn bias(of: &HonestyOf) -> Option<String> {
    let off = of.bias_milli.abs_diff(1_000);
    let percent = divided_rounded(off, 10);
    match of.bias_milli {
        0 => None,
        _ if percent == 0 => Some("Jobs took what was quoted, by the median.".to_owned()),
        more if more > 1_000 => Some(format!(
            "Jobs took {percent} % more than quoted, by the median."
        )),
        _ => Some(format!(
            "Jobs took {percent} % less than quoted, by the median."
        )),
    }
}

/// Whether quoting was better than the two simple ways.
fn better(honesty: &Honesty) -> Option<String> {
    let quote = honesty.of.iter().find(|of| of.what == QUOTE && of.of > 0)?;
    let others: Vec<String> = honesty
        .of
        .iter()
        .filter(|of| of.what != QUOTE && of.of > 0 && of.pinball_p80_h > 0.0)
        .map(|of| {
            let percent = 100.0 * (1.0 - quote.pinball_p80_h / of.pinball_p80_h);
            let word = if percent < 0.0 { "worse" } else { "better" };
            format!("{:.0} % {word} than the {}", percent.abs(), clean(&of.what))
        })
        .collect();
    (!others.is_empty()).then(|| {
        format!(
            "At four in five that is {} (pinball loss).",
            others.join(" and ")
        )
    })
}

fn table(honesty: &Honesty, page: usize) -> String {
    let mut table = Table::new([
        Column::text("said by the"),
        Column::number("jobs"),
        Column::number("off\n%"),
        Column::number("half\nheld"),
        Column::number("4 in 5\nheld"),
        Column::number("range\n%"),
        Column::number("loss at\nhalf, h"),
        Column::number("loss at\n4 in 5, h"),
        Column::number("CRPS\nh"),
    ]);
    for of in honesty.of.iter().filter(|of| of.of > 0) {
        table.row([
            of.what.clone(),
            of.of.to_string(),
            off(of.bias_milli),
            of.half_held.to_string(),
            of.p80_held.to_string(),
            format!(
                "{} to {}",
                whole_percent(of.p80_low_permille),
                whole_percent(of.p80_high_permille)
            ),
            hours(of.pinball_half_h),
            hours(of.pinball_p80_h),
            hours(of.crps_h),
        ]);
    }
    if table.is_empty() {
        return String::new();
    }
    table.render(page)
}

/// `+10` of 1100 thousandths; empty where it is not known.
pub(crate) fn off(milli: u32) -> String {
    let percent = divided_rounded(milli.abs_diff(1_000), 10);
    match milli {
        0 => String::new(),
        _ if percent == 0 => "0".to_owned(),
        more if more > 1_000 => format!("+{percent}"),
        _ => format!("-{percent}"),
    }
}

/// Hours of a loss.
pub(crate) fn hours(value: f64) -> String {
    if value.is_finite() {
        format!("{value:.2}")
    } else {
        String::new()
    }
}
