//! The words of the command line.

use crate::Unusable;

pub(crate) const HELP: &str = "\
Fits a linear mixed model with random intercepts by REML.

Usage: mixed DATA.csv --response COLUMN [--fixed COLUMN]... [--group COLUMN]...

  --response COLUMN   what is explained; numbers
  --fixed COLUMN      a fixed effect: numbers as they are, words as contrasts
                      with the first level in sorted order; repeatable
  --factor COLUMN     a fixed effect whose numbers are levels
  --group COLUMN      a random intercept for each level; repeatable. A:B stands
                      for the combinations of two columns, as in B within A
  --no-intercept      no constant; the first factor then keeps all its levels
  --timings           seconds and steps on standard error

Rows without a value in a column that is used are left out. The table is comma
separated, with a header; semicolons and tabs are understood as well.
DATA.csv may be - for standard input.";

/// What was asked for.
#[derive(Debug, PartialEq)]
pub(crate) enum Asked {
    Help,
    Fit(Words),
}

#[derive(Debug, Default, PartialEq)]
pub(crate) struct Words {
    pub(crate) path: String,
    pub(crate) response: String,
    pub(crate) fixed: Vec<Fixed>,
    pub(crate) groups: Vec<String>,
    pub(crate) no_intercept: bool,
    pub(crate) timings: bool,
}

/// A fixed effect's column.
#[derive(Debug, PartialEq)]
pub(crate) struct Fixed {
    pub(crate) column: String,
    /// Its numbers are levels.
    pub(crate) factor: bool,
}

/// Reads the words in any order; `--name value` and `--name=value` mean the same.
pub(crate) fn read(words: impl Iterator<Item = String>) -> Result<Asked, Unusable> {
    let mut words = words.peekable();
    let mut asked = Words::default();
    let (mut path, mut response) = (None, None);
    while let Some(word) = words.next() {
        let (name, attached) = match word.split_once('=') {
            Some((name, value)) if name.starts_with("--") => (name, Some(value.to_owned())),
            _ => (word.as_str(), None),
        };
        let mut value = || {
            let value = attached.clone().or_else(|| words.next());
            value.ok_or_else(|| format!("`{name}` needs the name of a column behind it"))
        };
        match name {
            "-h" | "--help" => return Ok(Asked::Help),
            "--response" => set(&mut response, value()?, "--response")?,
            "--fixed" => {
                let column = value()?;
                add_fixed(&mut asked, column, false);
            }
            "--factor" => {
                let column = value()?;
                add_fixed(&mut asked, column, true);
            }
            "--group" | "--random" => {
                let group = value()?;
                if asked.groups.contains(&group) {
                    eprintln!("grouping `{group}` is named twice, and taken once");
                } else {
                    asked.groups.push(group);
                }
            }
            "--no-intercept" => asked.no_intercept = true,
            "--timings" => asked.timings = true,
            _ if name.starts_with("--") => {
                return Err(format!("no option `{name}`: --help lists what there is"));
            }
            _ => set(&mut path, word, "the table")?,
        }
    }
    asked.path = path.ok_or("name the table: mixed DATA.csv --response COLUMN")?;
    asked.response = response.ok_or("name the response: --response COLUMN")?;
    Ok(Asked::Fit(asked))
}

fn set(place: &mut Option<String>, value: String, what: &str) -> Result<(), Unusable> {
    match place.replace(value) {
        None => Ok(()),
        Some(before) => Err(format!("{what} is given twice; the first is `{before}`")),
    }
}

/// Adds a column, or what `1` and `0` stand for in formulas.
fn add_fixed(asked: &mut Words, column: String, factor: bool) {
    let known = asked.fixed.iter_mut().find(|fixed| fixed.column == column);
    match (known, column.as_str()) {
        (Some(known), _) => {
            known.factor |= factor;
            if !factor {
                eprintln!("fixed effect `{column}` is named twice, and taken once");
            }
        }
        (None, "1" | "intercept" | "(Intercept)") => {}
        (None, "0") => asked.no_intercept = true,
        (None, _) => asked.fixed.push(Fixed { column, factor }),
    }
}
