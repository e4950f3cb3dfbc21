//! What makes one printed row: the jobs, stages, products and events behind
//! it, which add up to it.

use baywright_proto::v1::{Why, WhyLine};

use super::calendar::Calendar;
use super::figure::{adding_up_all, amounts_adding_up, hours_minutes};
use super::money::figure;
use super::table::{Column, Table};
use super::text::{clean, push};

/// The unit of the total, and with it which column adds up.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Total {
    Time,
    Money,
    Amount,
}

/// The reasons as text of at most `page` columns.
pub fn why(why: &Why, page: usize) -> String {
    let calendar = Calendar::of(&why.zone);
    let mut out = String::new();
    push(&mut out, &title(why), page);
    if why.lines.is_empty() {
        push(
            &mut out,
            "Nothing makes it: no record adds to this row.",
            page,
        );
    } else {
        out.push('\n');
        out.push_str(&lines(why, &calendar, page));
    }
    if !why.formula.is_empty() {
        push(&mut out, &clean(&why.formula), page);
    }
    if let Some(job) = why.lines.iter().map(job_name).find(|name| !name.is_empty()) {
        let hint = format!("The whole story of a job: bay job {job}");
        push(&mut out, &hint, page);
    }
    out
}

fn title(why: &Why) -> String {
    let title = clean(&why.title);
    if why.id.is_empty() {
        title
    } else {
        format!("{}: {title}", clean(&why.id))
    }
}

fn lines(why: &Why, calendar: &Calendar, page: usize) -> String {
    let total = match why.unit.as_str() {
        "minor" => Total::Money,
        "us" => Total::Time,
        _ => Total::Amount,
    };
    let lines = &why.lines;
    let has = |column: Total, is_there: fn(&WhyLine) -> bool| {
        total == column || lines.iter().any(is_there)
    };
    let shown = Columns {
        job: lines.iter().any(|line| !job_name(line).is_empty()),
        from: lines.iter().any(|line| line.from_us != 0),
        time: has(Total::Time, |line| line.time_us != 0),
        money: has(Total::Money, |line| line.money_minor != 0),
        amount: has(Total::Amount, |line| line.amount != 0.0),
        seqs: lines.iter().any(|line| !line.seqs.is_empty()),
    };
    let mut table = Table::of(shown.headings(why));
    let times: Vec<i64> = lines.iter().map(|line| line.time_us).collect();
    let times = adding_up_all(&times);
    let amounts: Vec<f64> = lines.iter().map(|line| line.amount).collect();
    let (amounts, amount_total) = amounts_adding_up(&amounts, why.total_amount);
    for ((line, time), amount) in lines.iter().zip(times).zip(amounts) {
        let from = match line.from_us {
            0 => String::new(),
            at => calendar.short_day_and_time(at),
        };
        table.row_of(shown.cells([
            job_name(line),
            what(line),
            from,
            hours_minutes(time),
            figure(line.money_minor, &why.currency),
            amount,
            seq_ranges(&line.seqs),
        ]));
    }
    let only = |column: Total, value: String| {
        if total == column {
            value
        } else {
            String::new()
        }
    };
    table.total_of(shown.cells([
        if shown.job { "all" } else { "" }.to_owned(),
        if shown.job { "" } else { "all" }.to_owned(),
        String::new(),
        only(Total::Time, hours_minutes(why.total_us)),
        only(Total::Money, figure(why.total_minor, &why.currency)),
        only(Total::Amount, amount_total),
        String::new(),
    ]));
    table.render(page)
}

/// Which columns have anything to say.
#[derive(Debug, Clone, Copy)]
#[expect(clippy::struct_excessive_bools, reason = "one for each column")]
struct Columns {
    job: bool,
    from: bool,
    time: bool,
    money: bool,
    amount: bool,
    seqs: bool,
}

impl Columns {
    fn shown(self) -> [bool; 7] {
        [
            self.job,
            true,
            self.from,
            self.time,
            self.money,
            self.amount,
            self.seqs,
        ]
    }

    fn headings(self, why: &Why) -> Vec<Column> {
        let unit = match why.unit.as_str() {
            "us" | "minor" => "amount".to_owned(),
            unit => clean(unit),
        };
        let headings = [
            Column::text("job"),
            Column::text("what"),
            Column::text("from"),
            Column::number("h:min"),
            Column::number(clean(&why.currency)),
            Column::number(unit),
            Column::whole_text("events"),
        ];
        headings
            .into_iter()
            .zip(self.shown())
            .filter_map(|(column, shown)| shown.then_some(column))
            .collect()
    }

    fn cells(self, cells: [String; 7]) -> Vec<String> {
        cells
            .into_iter()
            .zip(self.shown())
            .filter_map(|(cell, shown)| shown.then_some(cell))
            .collect()
    }
}

fn job_name(line: &WhyLine) -> String {
    if line.job_number == 0 {
        clean(&line.handle)
    } else {
        line.job_number.to_string()
    }
}

/// Stage, product and words, those that are there.
fn what(line: &WhyLine) -> String {
    let parts = [&line.stage, &line.product, &line.text];
    let said: Vec<String> = parts
        .into_iter()
        .filter(|part| !part.is_empty())
        .map(|part| clean(part))
        .collect();
    said.join(", ")
}

/// `4812-4815, 4820`: seqs in order, those that follow each other as a range.
pub(super) fn seq_ranges(seqs: &[u64]) -> String {
    let mut sorted = seqs.to_vec();
    sorted.sort_unstable();
    sorted.dedup();
    let mut ranges: Vec<(u64, u64)> = Vec::new();
    for seq in sorted {
        match ranges.last_mut() {
            Some((_, last)) if last.checked_add(1) == Some(seq) => *last = seq,
            _ => ranges.push((seq, seq)),
        }
    }
    let said: Vec<String> = ranges
        .into_iter()
        .map(|(first, last)| match last - first {
            0 => first.to_string(),
            1 => format!("{first}, {last}"),
            _ => format!("{first}-{last}"),
        })
        .collect();
    said.join(", ")
}

#[cfg(test)]
mod tests {
    use super::super::fixture;
    use super::*;

    #[test]
    fn seqs_that_follow_each_other_are_a_range() {
        assert_eq!(
            seq_ranges(&[4815, 4812, 4813, 4814, 4820]),
            "4812-4815, 4820"
        );
        assert_eq!(seq_ranges(&[7, 8]), "7, 8");
        assert_eq!(seq_ranges(&[7, 7]), "7");
        assert_eq!(seq_ranges(&[]), "");
        assert_eq!(
            seq_ranges(&[u64::MAX, u64::MAX - 1]),
            format!("{}, {}", u64::MAX - 1, u64::MAX)
        );
    }

    #[test]
    fn the_reasons_behind_a_row() {
        insta::assert_snapshot!(why(&fixture::why(), 80), @"
        f2: Took longer: labour of the first pass against its allowance, in 2026-W48.

        job   what                  from              h:min     EUR  events
        ----  --------------------  ----------------  -----  ------  -------------------
        118   polish, 4:50 against  Mon 23 Nov 08:15   0:40   21.60  4530-4533, 4590,
              3:00                                                   4620, 4621
        121   decon, 1:20 against   Mon 23 Nov 08:15  -0:40  -23.60  4540, 4541
              2:00
        b2-7  dry                   Mon 23 Nov 08:15  -0:20  -12.00
        ----  --------------------  ----------------  -----  ------  -------------------
        all                                                  -14.00
        (actual hours - allowed hours) x standard rate, without rework.
        The whole story of a job: bay job 118
        ");
    }

    #[test]
    fn lines_in_rounded_hours_add_up_to_the_total() {
        let line = |us: i64| WhyLine {
            job_number: 1,
            stage: "dry".to_owned(),
            time_us: us,
            ..WhyLine::default()
        };
        let thirds = Why {
            id: "b1".to_owned(),
            title: "Hands-on".to_owned(),
            lines: vec![line(20_000_000); 3],
            total_us: 60_000_000,
            unit: "us".to_owned(),
            ..Why::default()
        };
        let shown = why(&thirds, 80);
        let minutes = shown.matches("0:01").count();
        assert_eq!(minutes, 2, "one line and the total: {shown}");
    }

    #[test]
    fn a_row_that_nothing_makes_says_so() {
        let shown = why(
            &Why {
                title: "Waste".to_owned(),
                unit: "minor".to_owned(),
                ..Why::default()
            },
            80,
        );
        assert_eq!(
            shown,
            "Waste\nNothing makes it: no record adds to this row.\n"
        );
    }
}
