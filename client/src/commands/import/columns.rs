//! Which column holds what: as it was said, or guessed from the headings.

use std::collections::BTreeMap;

use baywright_terms::catalogue::{Catalogue, UnitSystem};
use baywright_terms::code::nearest;

use super::cell::{TimeUnit, unit_of_heading};
use super::sheet::{Sheet, squeezed};
use super::words::Words;
use crate::error::Error;

/// What a column says of a job.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Field {
    Job,
    Date,
    Type,
    Class,
    Vehicle,
    Stage,
    Worker,
    Product,
    Amount,
    Quoted,
    Actual,
    Soil,
    Defects,
    Intricacy,
    Price,
    /// Actual time of one stage, by its code.
    StageTime(String),
    /// Amount of one product, by its code.
    ProductAmount(String),
}

/// Names of the fields, and headings that they go by.
const NAMED: [(Field, &str, &[&str]); 15] = [
    (
        Field::Job,
        "job",
        &[
            "job no",
            "job number",
            "order",
            "order no",
            "auftrag",
            "auftragsnr",
            "nr",
            "no",
            "id",
        ],
    ),
    (
        Field::Date,
        "date",
        &["day", "datum", "tag", "released", "finished", "fertig"],
    ),
    (
        Field::Type,
        "type",
        &[
            "job type",
            "service",
            "package",
            "leistung",
            "paket",
            "art",
            "auftragsart",
        ],
    ),
    (
        Field::Class,
        "class",
        &["vehicle class", "klasse", "fahrzeugklasse"],
    ),
    (
        Field::Vehicle,
        "vehicle",
        &["car", "model", "fahrzeug", "modell"],
    ),
    (
        Field::Stage,
        "stage",
        &["step", "task", "arbeitsgang", "schritt"],
    ),
    (
        Field::Worker,
        "worker",
        &["by", "who", "wer", "mitarbeiter"],
    ),
    (
        Field::Product,
        "product",
        &["chemical", "produkt", "mittel"],
    ),
    (Field::Amount, "amount", &["used", "menge", "verbrauch"]),
    (
        Field::Quoted,
        "quoted",
        &[
            "estimate",
            "estimated",
            "planned",
            "soll",
            "geplant",
            "quote",
        ],
    ),
    (
        Field::Actual,
        "actual",
        &[
            "time", "hours", "minutes", "labour", "ist", "zeit", "stunden", "minuten", "dauer",
        ],
    ),
    (Field::Soil, "soil", &["dirt", "schmutz"]),
    (Field::Defects, "defects", &["kratzer", "defekte"]),
    (Field::Intricacy, "intricacy", &["aufwand"]),
    (Field::Price, "price", &["net", "preis", "netto", "betrag"]),
];

impl Field {
    /// As it is typed.
    pub(super) fn name(&self) -> String {
        match self {
            Self::StageTime(code) => format!("stage:{code}"),
            Self::ProductAmount(code) => format!("product:{code}"),
            named => NAMED
                .iter()
                .find(|(field, ..)| field == named)
                .map_or_else(String::new, |(_, name, _)| (*name).to_owned()),
        }
    }

    fn parse(typed: &str) -> Option<Self> {
        let typed = typed.trim();
        if let Some((kind, code)) = typed.split_once(':') {
            let code = code.trim().to_owned();
            return match kind.trim() {
                _ if code.is_empty() => None,
                "stage" => Some(Self::StageTime(code)),
                "product" => Some(Self::ProductAmount(code)),
                _ => None,
            };
        }
        NAMED
            .iter()
            .find(|(_, name, _)| *name == typed)
            .map(|(field, ..)| field.clone())
    }
}

/// Names of all fields, for a hint.
pub(super) fn field_names() -> String {
    let names: Vec<&str> = NAMED.iter().map(|(_, name, _)| *name).collect();
    format!("{}, stage:CODE, product:CODE", names.join(", "))
}

/// Where a field's text comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Source {
    Column(usize),
    /// The same on every row.
    Fixed(String),
}

/// The fields of a table.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Columns {
    pub(super) of: BTreeMap<Field, Source>,
}

impl Columns {
    /// Reads `FIELD=COLUMN` and, for what is the same on every row, `FIELD=VALUE`.
    pub(super) fn read(maps: &[String], sets: &[String], sheet: &Sheet) -> Result<Self, Error> {
        let mut columns = Self::default();
        for typed in maps {
            let (field, column) = split(typed, "--map FIELD=COLUMN")?;
            let index = column_named(&column, sheet)?;
            columns.put(field, Source::Column(index))?;
        }
        for typed in sets {
            let (field, value) = split(typed, "--set FIELD=VALUE")?;
            columns.put(field, Source::Fixed(value))?;
        }
        columns.check()?;
        Ok(columns)
    }

    fn put(&mut self, field: Field, source: Source) -> Result<(), Error> {
        let name = field.name();
        if self.of.insert(field, source).is_some() {
            return Err(Error::usage(format!("`{name}` is given twice.")));
        }
        Ok(())
    }

    /// What a job cannot do without, and what needs something else beside it.
    fn check(&self) -> Result<(), Error> {
        let has = |field: &Field| self.of.contains_key(field);
        for needed in [Field::Date, Field::Type] {
            if !has(&needed) {
                let name = needed.name();
                return Err(
                    Error::usage(format!("Which column is the {name}?")).with_hint(format!(
                        "--map {name}=COLUMN, or --set {name}=VALUE where it is the same for every job."
                    )),
                );
            }
        }
        for by_row in [Field::Stage, Field::Product] {
            if has(&by_row) && !has(&Field::Job) {
                return Err(Error::usage(format!(
                    "With a {} on each row, rows of one job must be known by a column.",
                    by_row.name()
                ))
                .with_hint("--map job=COLUMN"));
            }
        }
        for (one, other) in [
            (Field::Product, Field::Amount),
            (Field::Amount, Field::Product),
            (Field::Worker, Field::Stage),
        ] {
            if has(&one) && !has(&other) {
                let (one, other) = (one.name(), other.name());
                return Err(
                    Error::usage(format!("A column `{one}` needs one of `{other}`."))
                        .with_hint(format!("--map {other}=COLUMN, or leave {one} out.")),
                );
            }
        }
        let learns = |field: &Field| {
            matches!(
                field,
                Field::Actual | Field::StageTime(_) | Field::ProductAmount(_) | Field::Amount
            )
        };
        if !self.of.keys().any(learns) {
            return Err(
                Error::usage("Which column is the time that it took?").with_hint(
                    "--map actual=COLUMN, or stage:CODE=COLUMN for the time of one stage.",
                ),
            );
        }
        Ok(())
    }

    /// The text of a field on a row; empty where there is none.
    pub(super) fn text<'a>(&'a self, field: &Field, cells: &'a [String]) -> &'a str {
        match self.of.get(field) {
            Some(Source::Column(index)) => cells.get(*index).map_or("", |cell| cell.trim()),
            Some(Source::Fixed(value)) => value,
            None => "",
        }
    }

    /// What the heading of a field says of its unit of time.
    pub(super) fn time_unit(&self, field: &Field, sheet: &Sheet) -> Option<TimeUnit> {
        self.heading(field, sheet).and_then(TimeUnit::of_heading)
    }

    pub(super) fn heading<'a>(&self, field: &Field, sheet: &'a Sheet) -> Option<&'a str> {
        match self.of.get(field)? {
            Source::Column(index) => sheet.headings.get(*index).map(String::as_str),
            Source::Fixed(_) => None,
        }
    }
}

fn split(typed: &str, how: &str) -> Result<(Field, String), Error> {
    let (field, value) = typed
        .split_once('=')
        .filter(|(_, value)| !value.trim().is_empty())
        .ok_or_else(|| Error::usage(format!("`{typed}` names no column.")).with_hint(how))?;
    let read = Field::parse(field).ok_or_else(|| {
        Error::usage(format!("`{field}` is not a field."))
            .with_hint(format!("Known: {}.", field_names()))
    })?;
    Ok((read, squeezed(value)))
}

fn column_named(column: &str, sheet: &Sheet) -> Result<usize, Error> {
    let same = |exact: bool| -> Vec<usize> {
        let is = |heading: &String| {
            if exact {
                heading == column
            } else {
                heading.to_lowercase() == column.to_lowercase()
            }
        };
        (0..)
            .zip(&sheet.headings)
            .filter(|(_, heading)| is(heading))
            .map(|(index, _)| index)
            .collect()
    };
    let found = match same(true) {
        found if found.is_empty() => same(false),
        found => found,
    };
    match found[..] {
        [one] => Ok(one),
        [] => {
            let known = sheet.headings.iter().map(String::as_str);
            let near = nearest(column, known);
            let near = if near.is_empty() {
                String::new()
            } else {
                format!("Did you mean {}? ", near.join(" or "))
            };
            Err(Error::usage(format!("There is no column `{column}`."))
                .with_hint(format!("{near}Its columns: {}.", sheet.headings.join(", "))))
        }
        _ => Err(
            Error::usage(format!("{} columns are called `{column}`.", found.len()))
                .with_hint("Give one of them another heading."),
        ),
    }
}

/// What each column is likely to be, by its heading; each field once.
pub(super) fn guess(sheet: &Sheet, catalogue: &Catalogue, words: &Words) -> Vec<Option<Field>> {
    let mut taken = Vec::new();
    sheet
        .headings
        .iter()
        .map(|heading| {
            let field = guessed(heading, catalogue, words)?;
            if taken.contains(&field) {
                return None;
            }
            taken.push(field.clone());
            Some(field)
        })
        .collect()
}

fn guessed(heading: &str, catalogue: &Catalogue, words: &Words) -> Option<Field> {
    let bare = heading.split(['(', '[']).next().unwrap_or_default();
    let bare = squeezed(&bare.replace(['_', '.', '#'], " ")).to_lowercase();
    let named = NAMED
        .iter()
        .find(|(_, name, also)| *name == bare || also.contains(&bare.as_str()));
    if let Some((field, ..)) = named {
        return Some(field.clone());
    }
    if let Some(code) = words.product(catalogue, &bare) {
        return Some(Field::ProductAmount(code));
    }
    if let Some(code) = words.stage(catalogue, &bare) {
        return Some(Field::StageTime(code));
    }
    // A first word that says it: `Date of release`, `Quoted hours`.
    let first = bare.split(' ').next().unwrap_or_default();
    let first_says = [
        Field::Date,
        Field::Quoted,
        Field::Actual,
        Field::Price,
        Field::Vehicle,
    ];
    NAMED
        .iter()
        .filter(|(field, ..)| first_says.contains(field))
        .find(|(_, name, also)| *name == first || also.contains(&first))
        .map(|(field, ..)| field.clone())
}

/// Whether the amounts of a column say their unit in the heading.
pub(super) fn amount_unit(
    columns: &Columns,
    field: &Field,
    sheet: &Sheet,
    system: UnitSystem,
) -> Option<baywright_terms::amount::Unit> {
    unit_of_heading(columns.heading(field, sheet)?, system)
}

#[cfg(test)]
mod tests {
    use baywright_terms::catalogue::begin::{Answers, build};

    use super::*;

    fn sheet(headings: &str) -> Sheet {
        Sheet::read(headings.as_bytes(), None).unwrap().0
    }

    fn texts(texts: &[&str]) -> Vec<String> {
        texts.iter().map(|t| (*t).to_owned()).collect()
    }

    #[test]
    fn columns_are_found_by_their_heading_whatever_its_case() {
        let sheet = sheet("Datum;Leistung; Ist  (min);soll");
        let maps = texts(&["date=datum", "actual=Ist (min)", "quoted=Soll"]);
        let columns = Columns::read(&maps, &texts(&["type=trike-coat"]), &sheet).unwrap();
        let cells = texts(&["4.3.2025", "x", " 95 ", ""]);
        assert_eq!(columns.text(&Field::Actual, &cells), "95");
        assert_eq!(columns.text(&Field::Type, &cells), "trike-coat");
        assert_eq!(columns.text(&Field::Soil, &cells), "");
        assert_eq!(
            columns.time_unit(&Field::Actual, &sheet),
            Some(TimeUnit::Min)
        );
        assert_eq!(columns.time_unit(&Field::Quoted, &sheet), None);
    }

    #[test]
    fn a_map_that_cannot_be_right_is_refused_and_says_what_is_missing() {
        let sheet = sheet("Datum,Leistung,Ist,Ist,Arbeitsgang,Wer");
        let base = ["date=Datum", "type=Leistung"];
        let with = |more: &[&str]| {
            let maps = texts(&[&base[..], more].concat());
            let error = Columns::read(&maps, &[], &sheet).unwrap_err();
            format!("{} {}\n", error.message(), error.hint().unwrap_or_default())
        };
        let said = [
            with(&[]),
            with(&["actual=Ist"]),
            with(&["actual=Datun"]),
            with(&["acutal=Ist"]),
            with(&["actual"]),
            with(&["date=Leistung"]),
            with(&["stage=Arbeitsgang", "stage:polish=Wer"]),
            with(&["worker=Wer", "stage:polish=Arbeitsgang"]),
            Columns::read(&texts(&["date=Datum"]), &[], &sheet)
                .unwrap_err()
                .message()
                .to_owned(),
        ];
        insta::assert_snapshot!(said.concat(), @"
        Which column is the time that it took? --map actual=COLUMN, or stage:CODE=COLUMN for the time of one stage.
        2 columns are called `Ist`. Give one of them another heading.
        There is no column `Datun`. Its columns: Datum, Leistung, Ist, Ist, Arbeitsgang, Wer.
        `acutal` is not a field. Known: job, date, type, class, vehicle, stage, worker, product, amount, quoted, actual, soil, defects, intricacy, price, stage:CODE, product:CODE.
        `actual` names no column. --map FIELD=COLUMN
        `date` is given twice. 
        With a stage on each row, rows of one job must be known by a column. --map job=COLUMN
        A column `worker` needs one of `stage`. --map stage=COLUMN, or leave worker out.
        Which column is the type?
        ");
    }

    #[test]
    fn headings_are_guessed_in_two_languages_and_by_the_catalogue() {
        let catalogue = build(&Answers::default());
        let product = catalogue.products.keys().next().unwrap().to_string();
        let stage = catalogue.stages.keys().next().unwrap().to_string();
        let sheet = sheet(&format!(
            "Auftrag;Datum;Leistung;Soll (h);Ist (h);Preis netto;{product} (ml);{stage};Bemerkung;Date"
        ));
        let guesses: Vec<String> = guess(&sheet, &catalogue, &Words::default())
            .iter()
            .map(|field| field.as_ref().map_or_else(String::new, Field::name))
            .collect();
        let product = format!("product:{product}");
        let stage = format!("stage:{stage}");
        assert_eq!(
            guesses,
            [
                "job", "date", "type", "quoted", "actual", "price", &product, &stage, "", ""
            ]
        );
    }
}
