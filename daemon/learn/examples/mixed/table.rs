//! The table: read, left out where values are missing, and made into columns.

use std::io::Read;

use baywright_learn::mixed::{Coding, Column, Data, Grouping};

use crate::Unusable;
use crate::words::Words;

/// What stands for a missing value, as the reference implementation reads it,
/// and as other programs write it.
const MISSING: [&str; 8] = ["", "NA", "N/A", "NaN", "nan", "NULL", "null", "."];

/// Rows of words below a header.
struct Table {
    header: Vec<String>,
    /// The line of the file each row begins on.
    lines: Vec<u64>,
    rows: Vec<Vec<String>>,
}

/// Reads the table and makes the model's columns of it.
pub(crate) fn read(asked: &Words) -> Result<Data, Unusable> {
    let mut table = Table::parse(&bytes(&asked.path)?)?;
    let used = used_columns(asked, &table)?;
    table.leave_out_missing(&used)?;
    let response = table.numbers(table.find(&asked.response)?)?;
    let fixed = fixed(asked, &table)?;
    let groupings: Result<Vec<Grouping>, Unusable> = asked
        .groups
        .iter()
        .map(|name| grouping(&table, name))
        .collect();
    Ok(Data {
        response,
        fixed,
        groupings: groupings?,
    })
}

fn bytes(path: &str) -> Result<Vec<u8>, Unusable> {
    let mut read = Vec::new();
    let done = if path == "-" {
        std::io::stdin().read_to_end(&mut read)
    } else {
        std::fs::File::open(path).and_then(|mut file| file.read_to_end(&mut read))
    };
    match done {
        Ok(_) => Ok(read),
        Err(error) => Err(format!("`{path}` cannot be read: {error}")),
    }
}

/// Positions of all columns that the model names.
fn used_columns(asked: &Words, table: &Table) -> Result<Vec<usize>, Unusable> {
    let mut used = vec![table.find(&asked.response)?];
    for fixed in &asked.fixed {
        if fixed.column == asked.response {
            return Err(format!(
                "`{}` is the response, and cannot explain itself",
                fixed.column
            ));
        }
        used.push(table.find(&fixed.column)?);
    }
    for group in &asked.groups {
        used.extend(table.parts(group)?);
    }
    used.sort_unstable();
    used.dedup();
    Ok(used)
}

impl Table {
    fn parse(bytes: &[u8]) -> Result<Self, Unusable> {
        let text = String::from_utf8_lossy(bytes);
        let text = text.trim_start_matches('\u{feff}');
        let mut reader = csv::ReaderBuilder::new()
            .delimiter(delimiter(text))
            .flexible(true)
            .has_headers(false)
            .trim(csv::Trim::All)
            .from_reader(text.as_bytes());
        let mut records = reader.records();
        let mut table = Self {
            header: Vec::new(),
            lines: Vec::new(),
            rows: Vec::new(),
        };
        for record in &mut records {
            let record = record.map_err(|error| format!("the table cannot be read: {error}"))?;
            if record.iter().all(str::is_empty) {
                continue;
            }
            if table.header.is_empty() {
                table.header = record.iter().map(str::to_owned).collect();
                continue;
            }
            let line = record.position().map_or(0, csv::Position::line);
            if record.len() != table.header.len() {
                return Err(format!(
                    "line {line} has {} values, the header names {}: quote values that hold the separator",
                    record.len(),
                    table.header.len()
                ));
            }
            table.lines.push(line);
            table.rows.push(record.iter().map(str::to_owned).collect());
        }
        if table.header.is_empty() {
            return Err("the table is empty".to_owned());
        }
        Ok(table)
    }

    fn find(&self, column: &str) -> Result<usize, Unusable> {
        let exact = self.header.iter().position(|name| name == column);
        exact.ok_or_else(|| {
            let there: Vec<&str> = self.header.iter().map(String::as_str).collect();
            format!(
                "no column `{column}` in the table; there is: {}",
                there.join(", ")
            )
        })
    }

    /// The columns of a grouping: one, or those that `:` joins.
    fn parts(&self, group: &str) -> Result<Vec<usize>, Unusable> {
        match self.find(group) {
            Ok(column) => Ok(vec![column]),
            Err(_) if group.contains(':') => group
                .split(':')
                .map(|part| self.find(part.trim()))
                .collect(),
            Err(why) => Err(why),
        }
    }

    fn leave_out_missing(&mut self, used: &[usize]) -> Result<(), Unusable> {
        let whole = |row: &Vec<String>| used.iter().all(|&at| !MISSING.contains(&row[at].as_str()));
        let keep: Vec<bool> = self.rows.iter().map(whole).collect();
        let missing = keep.iter().filter(|keep| !**keep).count();
        if missing > 0 {
            eprintln!(
                "left out {missing} of {} rows: a value is missing in them",
                keep.len()
            );
        }
        let mut flags = keep.iter();
        self.rows.retain(|_| flags.next() == Some(&true));
        let mut flags = keep.iter();
        self.lines.retain(|_| flags.next() == Some(&true));
        if self.rows.is_empty() {
            return Err("the table has no row with all values that the model needs".to_owned());
        }
        Ok(())
    }

    /// A column that must be numbers.
    fn numbers(&self, column: usize) -> Result<Vec<f64>, Unusable> {
        let mut numbers = Vec::with_capacity(self.rows.len());
        for (row, line) in self.rows.iter().zip(&self.lines) {
            match row[column].parse::<f64>() {
                Ok(number) if number.is_finite() => numbers.push(number),
                _ => {
                    return Err(format!(
                        "line {line}: `{}` in column `{}` is not a number",
                        row[column], self.header[column]
                    ));
                }
            }
        }
        Ok(numbers)
    }

    /// A column as levels. Where all of them are whole numbers, `308.0` is `308`.
    fn levels(&self, column: usize) -> Vec<&str> {
        let whole = |word: &str| match word.split_once('.') {
            None => word.parse::<i64>().is_ok(),
            Some((before, after)) => {
                before.parse::<i64>().is_ok() && after.bytes().all(|digit| digit == b'0')
            }
        };
        let words = self.rows.iter().map(|row| row[column].as_str());
        if words.clone().all(whole) {
            words
                .map(|word| word.split_once('.').map_or(word, |(before, _)| before))
                .collect()
        } else {
            words.collect()
        }
    }
}

/// The separator: what stands in the header outside quotes, comma first.
fn delimiter(text: &str) -> u8 {
    let header = text
        .lines()
        .find(|line| !line.trim().is_empty())
        .unwrap_or("");
    let mut quoted = false;
    let mut seen = String::new();
    for letter in header.chars() {
        quoted ^= letter == '"';
        if !quoted {
            seen.push(letter);
        }
    }
    let separators = [(',', b','), (';', b';'), ('\t', b'\t')];
    let found = separators.iter().find(|(letter, _)| seen.contains(*letter));
    found.map_or(b',', |(_, byte)| *byte)
}

fn fixed(asked: &Words, table: &Table) -> Result<Vec<Column>, Unusable> {
    let mut columns = Vec::new();
    let mut constant = !asked.no_intercept;
    if constant {
        columns.push(Column::intercept(table.rows.len()));
    }
    for fixed in &asked.fixed {
        let at = table.find(&fixed.column)?;
        let numeric = table.rows.iter().all(|row| row[at].parse::<f64>().is_ok());
        if numeric && !fixed.factor {
            columns.push(Column::new(&fixed.column, table.numbers(at)?));
            continue;
        }
        let factor = Grouping::new(&fixed.column, &table.levels(at));
        if factor.levels().len() < 2 {
            return Err(format!(
                "`{}` has one level only, so there is nothing to hold it against: leave it out",
                fixed.column
            ));
        }
        // Without a constant the first factor says where each level lies.
        let coding = if constant {
            Coding::Treatment
        } else {
            Coding::Full
        };
        constant = true;
        columns.extend(Column::of_factor(&factor, coding));
    }
    Ok(columns)
}

fn grouping(table: &Table, name: &str) -> Result<Grouping, Unusable> {
    let parts = table.parts(name)?;
    let parts = parts
        .iter()
        .map(|&at| Grouping::new(&table.header[at], &table.levels(at)));
    let parts: Vec<Grouping> = parts.collect();
    match parts.as_slice() {
        [one] => Ok(one.clone().named(name)),
        several => Ok(Grouping::combined(&several.iter().collect::<Vec<_>>()).named(name)),
    }
}
