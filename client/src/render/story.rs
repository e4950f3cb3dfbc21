//! What happened to a job: its stretches, its coated sections with the air
//! they were coated in, its products, and the events of the log.

use std::fmt::Write as _;

use baywright_proto::v1::{
    JobStory, StoryAir, StoryLine, StorySection, StoryStretch, StoryUse, TimeBasis,
};

use super::calendar::Calendar;
use super::chemicals::{mark, marks, without_amount};
use super::figure::{
    NO_ALLOWANCE, amount, amount_percent, counted, degrees, hours_minutes, minutes_seconds,
    whole_percent,
};
use super::money::{figure, money};
use super::table::{Column, Table};
use super::text::{Breaks, clean, pad_left, paragraph, push, section, width, wrap};
use super::why::seq_ranges;

/// Hands-on time and waits in order of beginning.
pub(super) fn stretches(story: &JobStory, calendar: &Calendar, page: usize) -> String {
    if story.stretches.is_empty() {
        return String::new();
    }
    let priced = story.stretches.iter().any(|s| s.cost_minor != 0);
    let mut columns = vec![
        Column::text("day"),
        Column::text("from"),
        Column::text("until"),
        Column::text("what"),
        Column::text("who"),
        Column::number("h:min"),
    ];
    if priced {
        columns.push(Column::number(format!(
            "labour\n{}",
            clean(&story.currency)
        )));
    }
    columns.push(Column::whole_text("events"));
    let mut table = Table::of(columns);
    let mut day = String::new();
    for stretch in &together(&story.stretches) {
        let this_day = calendar.day_of_month(stretch.from_us);
        let shown_day = if this_day == day {
            String::new()
        } else {
            this_day.clone()
        };
        day = this_day;
        let (until, length) = match stretch.until_us {
            0 => ("on".to_owned(), story.as_of_us),
            until if calendar.day(until) == calendar.day(stretch.from_us) => {
                (calendar.time(until), until)
            }
            // It ended on another day.
            until => (calendar.day_and_time_of_week(until), until),
        };
        let mut cells = vec![
            shown_day,
            calendar.time(stretch.from_us),
            until,
            what(stretch),
            stretch.worker.clone(),
            hours_minutes(length.saturating_sub(stretch.from_us).max(0)),
        ];
        if priced {
            cells.push(match stretch.cost_minor {
                0 => String::new(),
                minor => figure(minor, &story.currency),
            });
        }
        cells.push(seq_ranges(&stretch.seqs));
        table.row_of(cells);
    }
    format!(
        "{}{}",
        section("Stages and waits", page),
        table.render(page)
    )
}

/// The flashing and curing of many sections as one row for each product and
/// place, from the first to the last; the sections have their own table.
fn together(stretches: &[StoryStretch]) -> Vec<StoryStretch> {
    let mut rows: Vec<(StoryStretch, usize)> = Vec::new();
    for stretch in stretches {
        let of_panel = matches!(stretch.kind.as_str(), "flash" | "cure");
        let same = rows.iter_mut().find(|(row, _)| {
            of_panel
                && row.kind == stretch.kind
                && row.product == stretch.product
                && row.place == stretch.place
        });
        let Some((row, count)) = same else {
            rows.push((stretch.clone(), 1));
            continue;
        };
        *count += 1;
        row.until_us = match (row.until_us, stretch.until_us) {
            (0, _) | (_, 0) => 0,
            (one, other) => one.max(other),
        };
        row.seqs.extend(&stretch.seqs);
        row.panel = format!("({count} times)");
    }
    rows.into_iter().map(|(row, _)| row).collect()
}

/// `polish (rework, unclosed)`, `dwell iron-remover`, `cure nose`.
fn what(stretch: &StoryStretch) -> String {
    let said = if stretch.kind == "hands-on" {
        stretch.stage.clone()
    } else {
        let of = [&stretch.kind, &stretch.product, &stretch.panel];
        let words: Vec<&str> = of
            .into_iter()
            .filter(|word| !word.is_empty())
            .map(String::as_str)
            .collect();
        words.join(" ")
    };
    let mut marks = Vec::new();
    if stretch.rework {
        marks.push("rework");
    }
    if stretch.ended == "unclosed" {
        marks.push("unclosed");
    }
    if marks.is_empty() {
        said
    } else {
        format!("{said} ({})", marks.join(", "))
    }
}

/// Each coated section: how long until it was levelled, how it came out, in
/// which air.
pub(super) fn sections(story: &JobStory, calendar: &Calendar, page: usize) -> String {
    if story.sections.is_empty() {
        return String::new();
    }
    let mut table = Table::new([
        Column::text("panel"),
        Column::text("finish"),
        Column::text("product, lot"),
        Column::text("coated"),
        Column::number("levelled\nmin:s"),
        Column::text("came out"),
        Column::text("air, surface"),
        Column::whole_text("events"),
    ]);
    for one in &story.sections {
        let lot = if one.lot.is_empty() {
            String::new()
        } else {
            format!(", {}", one.lot)
        };
        let (after, result) = match one.levelled_us {
            0 => (String::new(), "not levelled".to_owned()),
            at => (
                minutes_seconds(at.saturating_sub(one.coated_us)),
                one.result.clone(),
            ),
        };
        table.row([
            panel(one),
            one.finish.clone(),
            format!("{}{lot}", one.product),
            calendar.short_day_and_time(one.coated_us),
            after,
            result,
            air_at(story, one.coated_us),
            seq_ranges(&one.seqs),
        ]);
    }
    format!(
        "{}{}",
        section("Sections coated, and the air at the time", page),
        table.render(page)
    )
}

/// `nose 2`, and its layer from the second on.
fn panel(one: &StorySection) -> String {
    let layer = if one.layer > 1 {
        format!(" layer {}", one.layer)
    } else {
        String::new()
    };
    match one.section {
        0 => format!("{}{layer}", one.panel),
        number => format!("{} {number}{layer}", one.panel),
    }
}

/// The latest reading before it in the bay where the vehicle stood.
fn air_at(story: &JobStory, at_us: i64) -> String {
    let bay = story
        .places
        .iter()
        .find(|stay| stay.from_us <= at_us && (stay.until_us == 0 || at_us < stay.until_us))
        .map(|stay| stay.place.as_str());
    let read = story
        .air
        .iter()
        .filter(|air| air.read_us <= at_us)
        .filter(|air| bay.is_none_or(|bay| air.bay == bay))
        .max_by_key(|air| air.read_us);
    read.map_or_else(|| "not read".to_owned(), air_words)
}

/// `21.5 C 46 %, 20.0 C`. No sign of degree: a serial console may not have it.
fn air_words(air: &StoryAir) -> String {
    let mut said = format!("{} C", degrees(air.air_milli_c));
    if air.humidity_milli_pct > 0 {
        let permille = air.humidity_milli_pct / 100;
        let _ = write!(said, " {} %", whole_percent(permille));
    }
    if let Some(surface) = air.surface_milli_c {
        let _ = write!(said, ", {} C", degrees(surface));
    }
    said
}

/// The products against their allowance, and what they cost.
pub(super) fn uses(story: &JobStory, page: usize) -> String {
    if story.uses.is_empty() {
        return String::new();
    }
    let priced = story.uses.iter().any(|used| used.cost_minor != 0);
    let mut columns = vec![
        Column::text("product"),
        Column::number("used"),
        Column::number("allowed"),
        Column::text("unit"),
        Column::number("%"),
    ];
    if priced {
        let currency = clean(&story.currency);
        columns.push(Column::number(format!("cost\n{currency}")));
        columns.push(Column::number(format!("allowed\n{currency}")));
    }
    columns.push(Column::whole_text("events"));
    let mut table = Table::of(columns);
    let (recorded, unrecorded): (Vec<&StoryUse>, Vec<&StoryUse>) =
        story.uses.iter().partition(|used| is_recorded(used));
    for used in &recorded {
        use_row(&mut table, used, priced, &story.currency);
    }
    let mut out = section("Products, as concentrate", page);
    if !table.is_empty() {
        out.push_str(&table.render(page));
    }
    let marks = marks(
        recorded.iter().any(|used| used.apportioned),
        recorded.iter().any(|used| used.at_allowance),
    );
    if !marks.is_empty() {
        push(&mut out, &marks.join(" "), page);
    }
    let unrecorded: Vec<String> = unrecorded
        .iter()
        .map(|p| {
            format!(
                "{} {} {}",
                clean(&p.product),
                amount(p.allowance),
                clean(&p.unit)
            )
        })
        .collect();
    if !unrecorded.is_empty() {
        let words = format!("No record, though allowed: {}.", unrecorded.join(", "));
        push(&mut out, &words, page);
    }
    out
}

fn use_row(table: &mut Table, used: &StoryUse, priced: bool, currency: &str) {
    let mark = mark(used.apportioned, used.at_allowance);
    let mut cells = vec![
        used.product.clone(),
        format!("{mark}{}", amount(used.used)),
        if used.allowance > 0.0 {
            amount(used.allowance)
        } else {
            NO_ALLOWANCE.to_owned()
        },
        used.unit.clone(),
        amount_percent(used.used, used.allowance),
    ];
    if priced {
        cells.push(if used.no_price {
            "no price".to_owned()
        } else {
            figure(used.cost_minor, currency)
        });
        cells.push(match used.allowance_cost_minor {
            0 => String::new(),
            minor => figure(minor, currency),
        });
    }
    cells.push(seq_ranges(&used.seqs));
    table.row_of(cells);
    if used.waste_minor > 0 {
        let waste = money(used.waste_minor, currency);
        table.note(&format!(
            "  of the cost {waste} is its share of what was dumped"
        ));
    }
    if used.uses_without_amount > 0 {
        table.note(&format!("  {}", without_amount(used.uses_without_amount)));
    }
}

fn is_recorded(product: &StoryUse) -> bool {
    !product.seqs.is_empty() || product.used > 0.0 || product.uses_without_amount > 0
}

/// The events, with the day above those of each day.
pub(super) fn lines(lines: &[StoryLine], calendar: &Calendar, page: usize) -> String {
    let Some(last) = lines.iter().map(|line| line.seq).max() else {
        return String::new();
    };
    let seq_columns = last.to_string().len().max(3);
    let mut out = section("What happened", page);
    let mut day = String::new();
    let mut bay = "";
    for line in lines {
        let line_day = calendar.day(line.occurred_us);
        if line_day != day {
            day = line_day;
            out.push_str(&day);
            out.push('\n');
        }
        let posted_in = (line.bay != bay && !line.bay.is_empty()).then_some(line.bay.as_str());
        bay = &line.bay;
        out.push_str(&event(line, posted_in, calendar, seq_columns, page));
    }
    if lines.iter().any(|line| line.struck) {
        let legend = "(struck out): taken back by a later event; it counts nowhere.";
        push(&mut out, legend, page);
    }
    if lines.iter().any(is_uncertain) {
        let legend = "~ before a time: the clock of the bay could not be checked then.";
        push(&mut out, legend, page);
    }
    out
}

/// True where the time rests on a clock that was not sampled in that boot.
fn is_uncertain(line: &StoryLine) -> bool {
    matches!(
        TimeBasis::try_from(line.time_basis),
        Ok(TimeBasis::PresentOffset | TimeBasis::EarlierBoot)
    )
}

fn event(
    line: &StoryLine,
    posted_in: Option<&str>,
    calendar: &Calendar,
    seq_columns: usize,
    page: usize,
) -> String {
    let seq = pad_left(&line.seq.to_string(), seq_columns);
    let mark = if is_uncertain(line) { '~' } else { ' ' };
    let time = calendar.time(line.occurred_us);
    let start = format!("  {seq} {mark}{time}  ");
    let mut what = String::new();
    if line.struck {
        what.push_str("(struck out) ");
    }
    what.push_str(&clean(&line.text));
    if let Some(bay) = posted_in {
        let _ = write!(what, " [{}]", clean(bay));
    }
    if line.cautions > 0 {
        let cautions = counted(u64::from(line.cautions), "caution", "cautions");
        let _ = write!(what, " ({cautions})");
    }
    let indent = width(&start);
    let mut out = String::new();
    let room = page.saturating_sub(indent);
    for (index, part) in wrap(&what, room, Breaks::Spaces).iter().enumerate() {
        if index == 0 {
            out.push_str(&start);
        } else {
            out.extend(std::iter::repeat_n(' ', indent));
        }
        out.push_str(part);
        out.push('\n');
    }
    for notice in &line.notices {
        let text = format!("{}! {}", " ".repeat(indent), clean(notice));
        out.push_str(&paragraph(&text, page, 2));
        out.push('\n');
    }
    out
}
