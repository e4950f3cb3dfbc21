//! One job's story: what was promised, what it took, and every event of it.

use std::fmt::Write as _;

use baywright_proto::v1::{
    JobStory, StoryLine, StoryPlace, StoryUse, TimeBasis, WeekJob, WeekStage,
};

use super::calendar::Calendar;
use super::chemicals::without_amount;
use super::figure::{
    adding_up, amount, amount_percent, counted, difference_percent, hours_minutes, span_words,
};
use super::settle::{self, Detail};
use super::table::{Column, Table};
use super::text::{Breaks, clean, pad_left, pad_right, paragraph, width, wrap};
use super::week::{NO_ALLOWANCE, against, job_name, push, section, uncertain};

/// The story as text of at most `page` columns.
pub fn story(story: &JobStory, page: usize) -> String {
    let calendar = Calendar::of(&story.zone);
    let nothing = WeekJob::default();
    let job = story.job.as_ref().unwrap_or(&nothing);
    let mut out = head(story, job, &calendar, page);
    out.push_str(&stages(&job.stages, page));
    out.push_str(&places(&story.places, &calendar, page));
    out.push_str(&uses(&story.uses, page));
    out.push_str(&lines(&story.lines, &calendar, page));
    if !story.odd.is_empty() {
        out.push_str(&section("Odd records", page));
        for record in &story.odd {
            out.push_str(&settle::record(record, &calendar, Detail::Short, page));
        }
    }
    out
}

fn head(story: &JobStory, job: &WeekJob, calendar: &Calendar, page: usize) -> String {
    let mut out = String::new();
    let mut title = format!("Job {}", clean(&job_name(job)));
    if job.number != 0 && !job.handle.is_empty() {
        let _ = write!(title, " (opened as {})", clean(&job.handle));
    }
    if !job.job_type.is_empty() {
        let _ = write!(title, ", {}", clean(&job.job_type));
    }
    if !job.vehicle.is_empty() {
        let _ = write!(title, ": {}", clean(&job.vehicle));
    }
    push(&mut out, &title, page);
    let zone = clean(calendar.zone_name());
    let opened = calendar.day_and_time(story.opened_us);
    push_field(&mut out, "opened", &format!("{opened}, {zone} time"), page);
    if job.released_us == 0 {
        push_field(&mut out, "released", "not yet", page);
    } else {
        let released = calendar.day_and_time(job.released_us);
        let after = span_words(job.cycle_us);
        push_field(
            &mut out,
            "released",
            &format!("{released}, {after} after opening"),
            page,
        );
    }
    push_field(&mut out, "labour", &labour(job), page);
    for line in uncertain(job) {
        push_field(&mut out, "", &line, page);
    }
    if story.as_of_seq != 0 {
        push_field(
            &mut out,
            "as of",
            &format!("event {}", story.as_of_seq),
            page,
        );
    }
    out
}

/// One line of the head: what it is, then its words, hung below each other.
fn push_field(out: &mut String, name: &str, words: &str, page: usize) {
    const NAME_COLUMNS: usize = 10;
    let room = page.saturating_sub(NAME_COLUMNS);
    for (index, line) in wrap(words, room, Breaks::Spaces).iter().enumerate() {
        let name = if index == 0 { name } else { "" };
        out.push_str(&pad_right(name, NAME_COLUMNS));
        out.push_str(line);
        out.push('\n');
    }
}

fn labour(job: &WeekJob) -> String {
    let actual = hours_minutes(job.actual_us);
    if job.no_allowance {
        return format!("{actual} h; the catalogue has no allowance for it");
    }
    let quoted = hours_minutes(job.quoted_us);
    let promised = format!("quoted {quoted} (catalogue allowance), actual {actual}");
    if quoted == actual {
        return promised;
    }
    let off_us = i64::try_from(job.actual_us.abs_diff(job.quoted_us)).unwrap_or(i64::MAX);
    let word = if job.actual_us > job.quoted_us {
        "more"
    } else {
        "less"
    };
    let percent = difference_percent(job.actual_us, job.quoted_us);
    let percent = if percent.is_empty() {
        percent
    } else {
        format!(" ({percent} %)")
    };
    format!("{promised}, {} {word}{percent}", hours_minutes(off_us))
}

fn stages(stages: &[WeekStage], page: usize) -> String {
    if stages.is_empty() {
        return String::new();
    }
    let mut table = Table::new([
        Column::text("stage"),
        Column::number("quoted"),
        Column::number("actual"),
        Column::number("differs"),
        Column::number("%"),
    ]);
    for stage in stages.iter().filter(|stage| stage.jobs > 0) {
        let quoted = (!stage.no_allowance).then_some(stage.quoted_us);
        let head = [stage.stage.clone(), String::new()];
        let [name, _, quoted, actual, differs, percent] =
            against(head, quoted, stage.actual_us, stage.actual_us);
        table.row([name, quoted, actual, differs, percent]);
    }
    let mut out = section("Labour by stage, hours:minutes", page);
    if !table.is_empty() {
        out.push_str(&table.render(page));
    }
    let unrecorded: Vec<String> = stages
        .iter()
        .filter(|stage| stage.jobs == 0)
        .map(|stage| format!("{} {}", clean(&stage.stage), hours_minutes(stage.quoted_us)))
        .collect();
    if !unrecorded.is_empty() {
        let words = format!("No record, though allowed: {}.", unrecorded.join(", "));
        push(&mut out, &words, page);
    }
    out
}

fn places(places: &[StoryPlace], calendar: &Calendar, page: usize) -> String {
    if places.is_empty() {
        return String::new();
    }
    let mut table = Table::new([
        Column::text("place"),
        Column::text("from"),
        Column::text("until"),
        Column::number("hands-on"),
        Column::number("waiting"),
        Column::number("idle"),
    ]);
    for place in places {
        let [hands_on, waiting, idle] =
            adding_up([place.hands_on_us, place.waiting_us, place.idle_us]);
        table.row([
            place.place.clone(),
            calendar.short_day_and_time(place.from_us),
            if place.until_us == 0 {
                "still there".to_owned()
            } else {
                calendar.short_day_and_time(place.until_us)
            },
            hours_minutes(hands_on),
            hours_minutes(waiting),
            hours_minutes(idle),
        ]);
    }
    format!(
        "{}{}",
        section("Where it was, hours:minutes", page),
        table.render(page)
    )
}

fn uses(uses: &[StoryUse], page: usize) -> String {
    if uses.is_empty() {
        return String::new();
    }
    let mut table = Table::new([
        Column::text("product"),
        Column::number("used"),
        Column::number("allowance"),
        Column::text("unit"),
        Column::number("%"),
        Column::text("events"),
    ]);
    for product in uses.iter().filter(|product| is_recorded(product)) {
        let allowed = product.allowance > 0.0;
        let seqs: Vec<String> = product.seqs.iter().map(u64::to_string).collect();
        table.row([
            product.product.clone(),
            amount(product.used),
            if allowed {
                amount(product.allowance)
            } else {
                NO_ALLOWANCE.to_owned()
            },
            product.unit.clone(),
            amount_percent(product.used, product.allowance),
            seqs.join(" "),
        ]);
        if product.uses_without_amount > 0 {
            table.note(&format!(
                "  {}",
                without_amount(product.uses_without_amount)
            ));
        }
    }
    let mut out = section("Products, as concentrate", page);
    if !table.is_empty() {
        out.push_str(&table.render(page));
    }
    let unrecorded: Vec<String> = uses
        .iter()
        .filter(|product| !is_recorded(product))
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

fn is_recorded(product: &StoryUse) -> bool {
    !product.seqs.is_empty() || product.used > 0.0 || product.uses_without_amount > 0
}

/// The events, with the day above those of each day.
fn lines(lines: &[StoryLine], calendar: &Calendar, page: usize) -> String {
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
