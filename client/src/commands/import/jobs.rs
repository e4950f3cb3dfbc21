//! From rows to jobs: each row read, rows of one job put together, and every
//! fault told with its line.

use std::collections::{BTreeMap, BTreeSet};

use baywright_proto::amount::{amount_to_wire, money_to_wire};
use baywright_proto::v1;
use baywright_terms::amount::{Amount, Money, Unit};
use baywright_terms::catalogue::{Catalogue, UNSORTED, UnitSystem};
use jiff::civil::Date;

use super::cell::{self, DateOrder, Odd, TimeUnit};
use super::columns::{Columns, Field, amount_unit};
use super::key::key;
use super::sheet::{Fault, Row, Sheet, squeezed};
use super::words::{Words, how_to_name};

/// How cells are to be read.
#[derive(Debug, Clone)]
pub(super) struct Reading<'a> {
    pub(super) sheet: &'a Sheet,
    pub(super) columns: &'a Columns,
    pub(super) words: &'a Words,
    /// Empty: nothing is checked against it.
    pub(super) catalogue: &'a Catalogue,
    pub(super) units: UnitSystem,
    pub(super) dates: Option<DateOrder>,
    pub(super) times: Option<TimeUnit>,
    pub(super) amounts: Option<Unit>,
    /// No job was done after it.
    pub(super) today: Date,
    /// Lines that have a fault already.
    pub(super) bad_lines: BTreeSet<u64>,
    /// An unknown code is kept as it is.
    pub(super) anyway: bool,
}

/// A job with where it stands in the file.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Read {
    /// Of its first row.
    pub(super) line: u64,
    pub(super) past: v1::PastJob,
}

/// What a file comes to.
#[derive(Debug, Clone, Default)]
pub(super) struct Found {
    /// In the order of the file.
    pub(super) jobs: Vec<Read>,
    /// In the order of their lines.
    pub(super) faults: Vec<Fault>,
    /// Jobs with a fault in one of their rows.
    pub(super) left_out: u64,
    /// Jobs whose time as a whole is not the sum of their stages'; the stages
    /// were taken.
    pub(super) other_sums: u64,
}

/// What one row says.
#[derive(Debug, Clone, Default, PartialEq)]
struct Said {
    line: u64,
    job: String,
    date: String,
    job_type: String,
    class: String,
    vehicle: String,
    grades: [u32; 3],
    price: Option<Money>,
    /// Of the row's stage, or of the whole job where it names none.
    quoted_us: i64,
    actual_us: i64,
    stage: String,
    worker: String,
    /// Of columns for one stage each.
    stage_times: Vec<(String, i64)>,
    uses: Vec<(String, Amount)>,
}

/// Reads every row and puts the jobs together.
pub(super) fn read(reading: &Reading<'_>) -> Found {
    let mut reader = Reader::new(reading);
    let mut groups: Vec<Group> = Vec::new();
    let mut of_name: BTreeMap<String, usize> = BTreeMap::new();
    let has_job = reading.columns.of.contains_key(&Field::Job);
    for row in &reading.sheet.rows {
        let faults_before = reader.faults.len();
        let said = reader.row(row);
        let is_bad = reader.faults.len() > faults_before || reading.bad_lines.contains(&row.line);
        let known = of_name
            .get(&said.job)
            .copied()
            .filter(|_| !said.job.is_empty());
        let index = known.unwrap_or(groups.len());
        if known.is_none() {
            if has_job && !said.job.is_empty() {
                of_name.insert(said.job.clone(), index);
            }
            groups.push(Group::default());
        }
        if let Some(group) = groups.get_mut(index) {
            group.is_bad |= is_bad;
            group.rows.push(said);
        }
    }
    finish(reader, groups)
}

fn finish(mut reader: Reader<'_>, groups: Vec<Group>) -> Found {
    let mut found = Found::default();
    let mut seen: BTreeMap<Vec<u8>, u64> = BTreeMap::new();
    for group in groups {
        let line = group.rows.first().map_or(0, |said| said.line);
        let faults_before = reader.faults.len();
        let (job, sums_differ) = reader.job(&group);
        let is_bad = group.is_bad || reader.faults.len() > faults_before;
        let Some(past) = job.filter(|_| !is_bad) else {
            found.left_out += 1;
            continue;
        };
        if let Some(first) = seen.get(&past.key) {
            let what = format!("says the same as line {first}.");
            let hint = "Two jobs are told apart by their numbers: --map job=COLUMN. If it is one job, take a line out.";
            reader.faults.push(Fault::new(line, what, hint));
            found.left_out += 1;
            continue;
        }
        seen.insert(past.key.clone(), line);
        found.other_sums += u64::from(sums_differ);
        found.jobs.push(Read { line, past });
    }
    found.faults = reader.faults;
    // The columns of a row are read in an order of their own.
    found.faults.sort_by_key(|fault| fault.line);
    found
}

/// The rows of one job.
#[derive(Debug, Default)]
struct Group {
    rows: Vec<Said>,
    is_bad: bool,
}

struct Reader<'a> {
    with: &'a Reading<'a>,
    dates: Option<DateOrder>,
    stage_columns: Vec<(String, Field)>,
    product_columns: Vec<(String, Field)>,
    faults: Vec<Fault>,
}

impl<'a> Reader<'a> {
    fn new(with: &'a Reading<'a>) -> Self {
        let dates = with.dates.or_else(|| {
            let cells = with.sheet.rows.iter();
            cell::order_shown(cells.map(|row| with.columns.text(&Field::Date, &row.cells)))
        });
        let mut reader = Self {
            with,
            dates,
            stage_columns: Vec::new(),
            product_columns: Vec::new(),
            faults: Vec::new(),
        };
        // The codes in the names of the fields are checked once.
        for field in with.columns.of.keys() {
            match field {
                Field::StageTime(typed) => {
                    let code = reader.stage(0, typed);
                    reader.stage_columns.push((code, field.clone()));
                }
                Field::ProductAmount(typed) => {
                    let code = reader.product(0, typed);
                    reader.product_columns.push((code, field.clone()));
                }
                _ => {}
            }
        }
        reader
    }

    fn fault(&mut self, line: u64, odd: Odd) {
        self.faults.push(Fault::new(line, odd.what, odd.hint));
    }

    /// What `read` gives, or nothing and a fault of the line.
    fn or_fault<T>(&mut self, line: u64, read: Result<T, Odd>) -> Option<T> {
        match read {
            Ok(value) => Some(value),
            Err(odd) => {
                self.fault(line, odd);
                None
            }
        }
    }

    fn row(&mut self, row: &Row) -> Said {
        let columns = self.with.columns;
        let text = |field: Field| columns.text(&field, &row.cells);
        let line = row.line;
        let mut said = Said {
            line,
            job: squeezed(text(Field::Job)),
            vehicle: squeezed(text(Field::Vehicle)),
            class: self.with.words.class(text(Field::Class)),
            ..Said::default()
        };
        if said.job.is_empty() && columns.of.contains_key(&Field::Job) {
            let hint = "Every row needs the number of its job.";
            self.faults.push(Fault::new(line, "has no job.", hint));
        }
        said.date = self.date(line, text(Field::Date));
        let typed = text(Field::Type);
        if !typed.is_empty() {
            said.job_type = self.job_type(line, typed);
        }
        let typed = text(Field::Stage);
        if !typed.is_empty() {
            said.stage = self.stage(line, typed);
            let typed = text(Field::Worker);
            if !typed.is_empty() {
                said.worker = self.worker(line, typed);
            }
        }
        said.quoted_us = self.span(line, &Field::Quoted, &row.cells);
        said.actual_us = self.span(line, &Field::Actual, &row.cells);
        let grades = [Field::Soil, Field::Defects, Field::Intricacy];
        for (grade, field) in said.grades.iter_mut().zip(grades) {
            let typed = columns.text(&field, &row.cells);
            if !typed.is_empty() {
                *grade = self.or_fault(line, cell::grade(typed)).unwrap_or(0);
            }
        }
        let typed = text(Field::Price);
        if !typed.is_empty() {
            let shop = self.with.catalogue.shop.as_ref();
            let currency = shop.map_or("", |shop| shop.currency.as_str());
            said.price = self.or_fault(line, cell::price(typed, currency));
        }
        said.stage_times = self.stage_times(row);
        said.uses = self.uses(row);
        said
    }

    fn date(&mut self, line: u64, typed: &str) -> String {
        if typed.is_empty() {
            return String::new();
        }
        let Some(date) = self.or_fault(line, cell::date(typed, self.dates)) else {
            return String::new();
        };
        if date > self.with.today {
            let what = format!("`{typed}` is still to come.");
            self.faults.push(Fault::new(line, what, ""));
        }
        date.to_string()
    }

    fn span(&mut self, line: u64, field: &Field, cells: &[String]) -> i64 {
        let typed = self.with.columns.text(field, cells);
        if typed.is_empty() {
            return 0;
        }
        let heading = self.with.columns.time_unit(field, self.with.sheet);
        let unit = self.with.times.or(heading);
        self.or_fault(line, cell::span(typed, unit)).unwrap_or(0)
    }

    fn stage_times(&mut self, row: &Row) -> Vec<(String, i64)> {
        let columns = self.stage_columns.clone();
        let times = columns.into_iter().map(|(code, field)| {
            let span_us = self.span(row.line, &field, &row.cells);
            (code, span_us)
        });
        times.filter(|(_, span_us)| *span_us > 0).collect()
    }

    fn uses(&mut self, row: &Row) -> Vec<(String, Amount)> {
        let mut uses = Vec::new();
        let mut columns = self.product_columns.clone();
        let named = self.with.columns.text(&Field::Product, &row.cells);
        let has_amount = !self
            .with
            .columns
            .text(&Field::Amount, &row.cells)
            .is_empty();
        if !named.is_empty() && has_amount {
            let code = self.product(row.line, named);
            columns.push((code, Field::Amount));
        } else if has_amount {
            let what = "has an amount of no product.";
            self.faults.push(Fault::new(row.line, what, ""));
        }
        for (code, field) in columns {
            let typed = self.with.columns.text(&field, &row.cells);
            if typed.is_empty() {
                continue;
            }
            let with = self.with;
            let heading = amount_unit(with.columns, &field, with.sheet, with.units);
            let unit = heading.or(with.amounts);
            let amount = self.or_fault(row.line, cell::amount(typed, unit, with.units));
            uses.extend(
                amount
                    .filter(|amount| amount.decimal.digits > 0)
                    .map(|amount| (code, amount)),
            );
        }
        uses
    }

    fn job_type(&mut self, line: u64, typed: &str) -> String {
        let with = self.with;
        let known = with.words.job_type(with.catalogue, typed);
        let codes = with.catalogue.job_types.keys().map(AsRef::as_ref);
        self.code(line, "job type", typed, known, codes.chain([UNSORTED]))
    }

    fn stage(&mut self, line: u64, typed: &str) -> String {
        let with = self.with;
        let known = with.words.stage(with.catalogue, typed);
        let codes = with.catalogue.stages.keys().map(AsRef::as_ref);
        self.code(line, "stage", typed, known, codes)
    }

    fn product(&mut self, line: u64, typed: &str) -> String {
        let with = self.with;
        let known = with.words.product(with.catalogue, typed);
        let codes = with.catalogue.products.keys().map(AsRef::as_ref);
        self.code(line, "product", typed, known, codes)
    }

    fn worker(&mut self, line: u64, typed: &str) -> String {
        let with = self.with;
        let known = with.words.worker(with.catalogue, typed);
        let codes = with.catalogue.workers.keys().map(AsRef::as_ref);
        self.code(line, "worker", typed, known, codes)
    }

    fn code<'c>(
        &mut self,
        line: u64,
        noun: &str,
        typed: &str,
        known: Option<String>,
        codes: impl Iterator<Item = &'c str> + Clone,
    ) -> String {
        if let Some(code) = known {
            return code;
        }
        // On the first day a table is empty, and any word will do.
        let any_will_do = codes.clone().all(|code| code == UNSORTED);
        if !self.with.anyway && !any_will_do {
            let typed = squeezed(typed);
            let what = format!("no {noun} `{typed}` in the catalogue.");
            let hint = how_to_name(&typed, codes);
            self.faults.push(Fault::new(line, what, hint));
        }
        self.with.words.class(typed)
    }

    /// One job of its rows; `None` after a fault. And whether its time as a
    /// whole is another than that of its stages.
    fn job(&mut self, group: &Group) -> (Option<v1::PastJob>, bool) {
        let Some(first) = group.rows.first() else {
            return (None, false);
        };
        let line = first.line;
        self.repeated(group);
        let date = self.agreed(group, "date", |said| said.date.clone());
        let job_type = self.agreed(group, "type", |said| said.job_type.clone());
        let class = self.agreed(group, "class", |said| said.class.clone());
        let vehicle = self.agreed(group, "vehicle", |said| said.vehicle.clone());
        let price = self.agreed(group, "price", |said| said.price.clone());
        let [soil, defects, intricacy] = [0, 1, 2].map(|index| {
            let noun = ["soil grade", "defects grade", "intricacy grade"];
            let noun = noun.get(index).copied().unwrap_or_default();
            self.agreed(group, noun, |said| {
                said.grades.get(index).copied().unwrap_or(0)
            })
        });
        let [quoted_us, actual_us] = [
            ("quoted time", (|said| said.quoted_us) as fn(&Said) -> i64),
            ("time", |said| said.actual_us),
        ]
        .map(|(noun, span)| {
            self.agreed(group, noun, |said| {
                if said.stage.is_empty() { span(said) } else { 0 }
            })
        });
        let stages = stages(&group.rows);
        let uses = self.summed(group);
        let mut needs = |empty: bool, what: &str, hint: &str| {
            // What could not be read has its own fault already.
            if empty && !group.is_bad {
                self.faults.push(Fault::new(line, what, hint));
            }
        };
        needs(date.is_empty(), "has no date.", "");
        needs(job_type.is_empty(), "has no job type.", "");
        needs(
            actual_us == 0 && stages.iter().all(|s| s.actual_us == 0) && uses.is_empty(),
            "says neither a time nor an amount.",
            "There is nothing to learn from it: take it out, or add --skip-bad.",
        );
        let staged = stages.iter().any(|stage| stage.actual_us > 0);
        let sum_us = stages.iter().map(|stage| stage.actual_us).sum::<i64>();
        let sums_differ = staged && actual_us != 0 && actual_us != sum_us;
        let grades = v1::Grades {
            soil,
            defects,
            intricacy,
        };
        let quoted_by_stage = stages.iter().any(|stage| stage.quoted_us > 0);
        let mut past = v1::PastJob {
            key: Vec::new(),
            date,
            job_type,
            vehicle,
            vehicle_class: class,
            grades: (grades != v1::Grades::default()).then_some(grades),
            quoted_us: if quoted_by_stage { 0 } else { quoted_us },
            actual_us: if staged { 0 } else { actual_us },
            stages,
            uses,
            price: price.as_ref().map(money_to_wire),
        };
        // Shown where a quote names it as one much like it.
        if past.vehicle.is_empty() && !first.job.is_empty() {
            past.vehicle = format!("job {}", first.job);
        }
        past.key = key(&first.job, &past);
        (Some(past), sums_differ)
    }

    /// Two equal rows of one job are a slip, and never one of the two.
    fn repeated(&mut self, group: &Group) {
        let mut seen: Vec<&Said> = Vec::new();
        for said in &group.rows {
            let same = |before: &&&Said| {
                let line = before.line;
                Said {
                    line,
                    ..said.clone()
                } == ***before
            };
            if let Some(before) = seen.iter().find(same) {
                let what = format!("says the same as line {}.", before.line);
                let hint = "If both are right, put their sum on one line.";
                self.faults.push(Fault::new(said.line, what, hint));
            }
            seen.push(said);
        }
    }

    /// The one thing that all rows of a job say that say it at all.
    fn agreed<T: Default + PartialEq>(
        &mut self,
        group: &Group,
        noun: &str,
        of: impl Fn(&Said) -> T,
    ) -> T {
        let mut agreed: Option<(u64, T)> = None;
        for said in &group.rows {
            let value = of(said);
            if value == T::default() {
                continue;
            }
            match &agreed {
                None => agreed = Some((said.line, value)),
                Some((_, before)) if *before == value => {}
                Some((before, _)) => {
                    let what = format!(
                        "gives job `{}` another {noun} than line {before}.",
                        said.job
                    );
                    self.faults.push(Fault::new(said.line, what, ""));
                }
            }
        }
        agreed.map(|(_, value)| value).unwrap_or_default()
    }

    /// Uses of one product are added up where they are in one unit.
    fn summed(&mut self, group: &Group) -> Vec<v1::PastUse> {
        let mut uses: Vec<(String, Amount)> = Vec::new();
        for said in &group.rows {
            for (product, amount) in &said.uses {
                let Some((_, sum)) = uses.iter_mut().find(|(code, _)| code == product) else {
                    uses.push((product.clone(), *amount));
                    continue;
                };
                if let Some(both) = added(*sum, *amount) {
                    *sum = both;
                } else {
                    let what = format!("gives {product} in another unit than before.");
                    let hint = "Write all amounts of it in one unit.";
                    self.faults.push(Fault::new(said.line, what, hint));
                }
            }
        }
        uses.into_iter()
            .map(|(product, amount)| v1::PastUse {
                product,
                amount: Some(amount_to_wire(&amount)),
            })
            .collect()
    }
}

/// The sum, in the unit of the first; `None` where the units differ.
fn added(sum: Amount, amount: Amount) -> Option<Amount> {
    if sum.unit != amount.unit {
        return None;
    }
    let scale = sum.decimal.scale.max(amount.decimal.scale);
    let at_scale = |of: Amount| -> Option<i64> {
        let power = 10_i64.checked_pow(u32::from(scale - of.decimal.scale))?;
        of.decimal.digits.checked_mul(power)
    };
    let mut both = sum;
    both.decimal.digits = at_scale(sum)?.checked_add(at_scale(amount)?)?;
    both.decimal.scale = scale;
    Some(both)
}

/// Stages in the order in which they first appear, their times added up. A
/// worker is named where all of it was theirs.
fn stages(rows: &[Said]) -> Vec<v1::PastStage> {
    let mut stages: Vec<v1::PastStage> = Vec::new();
    let mut several: BTreeSet<String> = BTreeSet::new();
    let mut add = |stage: &str, quoted_us: i64, actual_us: i64, worker: &str| match stages
        .iter_mut()
        .find(|s| s.stage == stage)
    {
        None => stages.push(v1::PastStage {
            stage: stage.to_owned(),
            quoted_us,
            actual_us,
            worker: worker.to_owned(),
        }),
        Some(s) => {
            s.quoted_us = s.quoted_us.saturating_add(quoted_us);
            s.actual_us = s.actual_us.saturating_add(actual_us);
            if s.worker != worker {
                several.insert(stage.to_owned());
            }
        }
    };
    for said in rows {
        if !said.stage.is_empty() && (said.actual_us > 0 || said.quoted_us > 0) {
            add(&said.stage, said.quoted_us, said.actual_us, &said.worker);
        }
        for (stage, actual_us) in &said.stage_times {
            add(stage, 0, *actual_us, "");
        }
    }
    for stage in &mut stages {
        if several.contains(&stage.stage) {
            stage.worker.clear();
        }
    }
    stages
}
