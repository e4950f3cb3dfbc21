//! What is fitted: a response, numeric columns of fixed effects, groupings.

use std::collections::BTreeMap;

use thiserror::Error;

/// Most rows of one fit; level codes are 32-bit, and so are counts.
pub const ROWS_MAX: usize = u32::MAX as usize / 2;

/// Largest order of the dense remainder.
///
/// Five matrices of this order are alive at once (cross-products, working
/// copy, factor, inverse and its workspace): 4 GB at 10,000.
pub const REMAINDER_MAX: usize = 10_000;

/// Why data cannot be fitted. Each says which column and how to mend it.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum DataError {
    #[error("there are no rows to fit")]
    NoRows,
    #[error("{rows} rows are more than one fit takes ({ROWS_MAX})")]
    TooManyRows { rows: usize },
    #[error(
        "`{column}` has {found} values, the response has {rows}: give every column one value for each row"
    )]
    Length {
        column: String,
        found: usize,
        rows: usize,
    },
    #[error(
        "`{column}` has no finite number in row {row} (rows count from 1): leave the row out, or mend the value"
    )]
    NotFinite { column: String, row: usize },
    #[error("`{name}` is given twice: name every column and grouping once")]
    Twice { name: String },
    #[error(
        "grouping `{grouping}` has one level only, so its variance cannot be told: leave it out"
    )]
    OneLevel { grouping: String },
    #[error(
        "grouping `{grouping}` has as many levels as there are rows ({rows}), so its variance and the residual one cannot be told apart: leave it out"
    )]
    LevelForEachRow { grouping: String, rows: usize },
    #[error(
        "grouping `{grouping}` has a level code {code} in row {row} (rows count from 1), but {levels} levels"
    )]
    LevelCode {
        grouping: String,
        row: usize,
        code: u32,
        levels: usize,
    },
    #[error(
        "{rows} rows cannot carry {columns} fixed effects and a residual variance: give more rows or fewer fixed effects"
    )]
    TooFewRows { rows: usize, columns: usize },
    #[error(
        "the fixed effects explain the response entirely (is it constant?): no variance is left to share out"
    )]
    NothingLeft,
    #[error(
        "the groupings beside the largest have {order} levels and fixed effects together, more than the {REMAINDER_MAX} that are solved densely: leave one out, or merge levels"
    )]
    RemainderTooLarge { order: usize },
    #[error(
        "the model cannot be evaluated at these relative variances: a column or grouping is out of all proportion to the others"
    )]
    Singular,
}

/// A named column of the fixed effects.
#[derive(Debug, Clone, PartialEq)]
pub struct Column {
    pub name: String,
    pub values: Vec<f64>,
}

impl Column {
    /// A column with its values, one for each row.
    pub fn new(name: impl Into<String>, values: Vec<f64>) -> Self {
        Self {
            name: name.into(),
            values,
        }
    }

    /// The constant column, named `intercept`.
    pub fn intercept(rows: usize) -> Self {
        Self::new("intercept", vec![1.0; rows])
    }

    /// The indicator columns of a factor, named by column and level.
    ///
    /// [`Coding::Treatment`] leaves the first level out, as the base that the
    /// others are held against; [`Coding::Full`] keeps it, for a model without
    /// an intercept.
    pub fn of_factor(factor: &Grouping, coding: Coding) -> Vec<Self> {
        let skipped = match coding {
            Coding::Treatment => 1,
            Coding::Full => 0,
        };
        (0u32..)
            .zip(&factor.levels)
            .skip(skipped)
            .map(|(code, level)| {
                let values = factor
                    .of_row
                    .iter()
                    .map(|&of_row| if of_row == code { 1.0 } else { 0.0 });
                Self::new(format!("{}{level}", factor.name), values.collect())
            })
            .collect()
    }
}

/// How the levels of a factor become columns.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Coding {
    /// One column for each level but the first.
    Treatment,
    /// One column for each level.
    Full,
}

/// A grouping of the rows, whose levels get a random intercept each.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Grouping {
    name: String,
    levels: Vec<String>,
    of_row: Vec<u32>,
}

impl Grouping {
    /// A grouping by the words in a column.
    ///
    /// Levels are those that occur, in sorted order: by number where all of
    /// them are numbers, else by their characters.
    pub fn new<T: AsRef<str>>(name: impl Into<String>, values: &[T]) -> Self {
        let mut codes: BTreeMap<&str, u32> = BTreeMap::new();
        for value in values {
            codes.insert(value.as_ref(), 0);
        }
        let mut levels: Vec<&str> = codes.keys().copied().collect();
        let numbers: Option<Vec<f64>> = levels.iter().map(|level| level.parse().ok()).collect();
        if let Some(numbers) = numbers {
            let mut paired: Vec<(f64, &str)> = numbers.into_iter().zip(levels).collect();
            paired.sort_by(|a, b| a.0.total_cmp(&b.0));
            levels = paired.into_iter().map(|(_, level)| level).collect();
        }
        for (code, level) in (0u32..).zip(&levels) {
            codes.insert(level, code);
        }
        Self {
            name: name.into(),
            of_row: values.iter().map(|value| codes[value.as_ref()]).collect(),
            levels: levels.into_iter().map(str::to_owned).collect(),
        }
    }

    /// A grouping whose levels are coded already; `of_row` counts from zero.
    ///
    /// # Errors
    /// [`DataError::LevelCode`] where a code has no level. Levels that no row
    /// has are left out.
    pub fn from_codes(
        name: impl Into<String>,
        levels: Vec<String>,
        mut of_row: Vec<u32>,
    ) -> Result<Self, DataError> {
        let name = name.into();
        let mut seen = vec![false; levels.len()];
        for (row, &code) in of_row.iter().enumerate() {
            let Some(seen) = usize::try_from(code).ok().and_then(|at| seen.get_mut(at)) else {
                return Err(DataError::LevelCode {
                    grouping: name,
                    row: row + 1,
                    code,
                    levels: levels.len(),
                });
            };
            *seen = true;
        }
        let mut new_code = Vec::with_capacity(levels.len());
        let mut next = 0u32;
        for &seen in &seen {
            new_code.push(next);
            next += u32::from(seen);
        }
        for code in &mut of_row {
            *code = new_code[index(*code)];
        }
        let levels = levels.into_iter().zip(&seen);
        Ok(Self {
            name,
            levels: levels
                .filter(|(_, seen)| **seen)
                .map(|(level, _)| level)
                .collect(),
            of_row,
        })
    }

    /// The combinations of several groupings that occur, as in *b within a*.
    ///
    /// Its name and its levels are those of the parts, joined by `:`. Parts of
    /// unequal length give the rows of the shortest.
    pub fn combined(parts: &[&Self]) -> Self {
        let rows = parts
            .iter()
            .map(|part| part.of_row.len())
            .min()
            .unwrap_or(0);
        let names: Vec<&str> = parts.iter().map(|part| part.name.as_str()).collect();
        let key = |row: usize| -> Vec<u32> { parts.iter().map(|part| part.of_row[row]).collect() };
        let mut codes: BTreeMap<Vec<u32>, u32> = (0..rows).map(|row| (key(row), 0)).collect();
        let mut levels = Vec::with_capacity(codes.len());
        for (next, (key, code)) in (0u32..).zip(codes.iter_mut()) {
            *code = next;
            let words = key
                .iter()
                .zip(parts)
                .map(|(&code, part)| part.levels[index(code)].as_str());
            levels.push(words.collect::<Vec<_>>().join(":"));
        }
        Self {
            name: names.join(":"),
            of_row: (0..rows).map(|row| codes[&key(row)]).collect(),
            levels,
        }
    }

    /// The same grouping under another name.
    #[must_use]
    pub fn named(mut self, name: impl Into<String>) -> Self {
        self.name = name.into();
        self
    }

    pub fn name(&self) -> &str {
        &self.name
    }

    /// The names of the levels, in the order of their codes.
    pub fn levels(&self) -> &[String] {
        &self.levels
    }

    /// The code of each row's level, from zero.
    pub fn of_row(&self) -> &[u32] {
        &self.of_row
    }
}

/// Rows of a response with their fixed-effect columns and groupings.
///
/// An intercept is a column like any other ([`Column::intercept`]). No grouping
/// at all is an ordinary regression, no column a model of effects around zero.
#[derive(Debug, Clone, PartialEq)]
pub struct Data {
    pub response: Vec<f64>,
    pub fixed: Vec<Column>,
    pub groupings: Vec<Grouping>,
}

impl Data {
    /// Says what keeps these rows from being fitted, before anything is worked out.
    pub(super) fn check(&self) -> Result<(), DataError> {
        let rows = self.response.len();
        if rows == 0 {
            return Err(DataError::NoRows);
        }
        if rows > ROWS_MAX {
            return Err(DataError::TooManyRows { rows });
        }
        finite("response", &self.response)?;
        for (at, column) in self.fixed.iter().enumerate() {
            length(&column.name, column.values.len(), rows)?;
            finite(&column.name, &column.values)?;
            if self.fixed[..at]
                .iter()
                .any(|other| other.name == column.name)
            {
                return Err(DataError::Twice {
                    name: column.name.clone(),
                });
            }
        }
        for (at, grouping) in self.groupings.iter().enumerate() {
            length(&grouping.name, grouping.of_row.len(), rows)?;
            if self.groupings[..at]
                .iter()
                .any(|other| other.name == grouping.name)
            {
                return Err(DataError::Twice {
                    name: grouping.name.clone(),
                });
            }
            if grouping.levels.len() >= rows {
                return Err(DataError::LevelForEachRow {
                    grouping: grouping.name.clone(),
                    rows,
                });
            }
            if grouping.levels.len() < 2 {
                return Err(DataError::OneLevel {
                    grouping: grouping.name.clone(),
                });
            }
        }
        Ok(())
    }
}

fn length(column: &str, found: usize, rows: usize) -> Result<(), DataError> {
    if found == rows {
        return Ok(());
    }
    Err(DataError::Length {
        column: column.to_owned(),
        found,
        rows,
    })
}

fn finite(column: &str, values: &[f64]) -> Result<(), DataError> {
    match values.iter().position(|value| !value.is_finite()) {
        None => Ok(()),
        Some(at) => Err(DataError::NotFinite {
            column: column.to_owned(),
            row: at + 1,
        }),
    }
}

/// A level code as an index; 32 bits fit in every address this is built for.
pub(super) fn index(code: u32) -> usize {
    usize::try_from(code).unwrap_or(usize::MAX)
}

/// A count as a real number; counts stay below [`ROWS_MAX`].
pub(super) fn real(count: usize) -> f64 {
    f64::from(u32::try_from(count).unwrap_or(u32::MAX))
}
