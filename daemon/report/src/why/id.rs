//! The short id of a printed row. They are made and read here alone.

use std::fmt;
use std::str::FromStr;

/// A row of a week. Numbers count from 1 in the order in which the rows are
/// printed; a job has its own number.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum RowId {
    /// `b1`
    Bay(usize),
    /// `t1`
    Type(usize),
    /// `t1.3`: a stage of a type.
    Stage(usize, usize),
    /// `t1f2`: a shortfall of a type.
    TypeShortfall(usize, usize),
    /// `j118`
    Job(u64),
    /// `f1`: a shortfall of the whole week.
    Shortfall(usize),
    /// `c4`
    Chemical(usize),
    /// `w1`
    Rework(usize),
}

impl fmt::Display for RowId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Bay(n) => write!(f, "b{n}"),
            Self::Type(n) => write!(f, "t{n}"),
            Self::Stage(n, stage) => write!(f, "t{n}.{stage}"),
            Self::TypeShortfall(n, cause) => write!(f, "t{n}f{cause}"),
            Self::Job(number) => write!(f, "j{number}"),
            Self::Shortfall(cause) => write!(f, "f{cause}"),
            Self::Chemical(n) => write!(f, "c{n}"),
            Self::Rework(n) => write!(f, "w{n}"),
        }
    }
}

/// The text is not the id of any row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct NotAnId;

impl FromStr for RowId {
    type Err = NotAnId;

    /// Reads an id as it is printed; capitals and blanks around it do not matter.
    fn from_str(text: &str) -> Result<Self, NotAnId> {
        let text = text.trim().to_ascii_lowercase();
        let kind = text.get(..1).ok_or(NotAnId)?;
        let rest = text.get(1..).ok_or(NotAnId)?;
        Ok(match kind {
            "b" => Self::Bay(number(rest)?),
            "j" => Self::Job(number(rest)?),
            "f" => Self::Shortfall(number(rest)?),
            "c" => Self::Chemical(number(rest)?),
            "w" => Self::Rework(number(rest)?),
            "t" => match (rest.split_once('.'), rest.split_once('f')) {
                (Some((n, stage)), _) => Self::Stage(number(n)?, number(stage)?),
                (None, Some((n, cause))) => Self::TypeShortfall(number(n)?, number(cause)?),
                (None, None) => Self::Type(number(rest)?),
            },
            _ => return Err(NotAnId),
        })
    }
}

/// Digits alone: a sign would read too.
fn number<N: FromStr>(text: &str) -> Result<N, NotAnId> {
    let digits = text.bytes().all(|byte| byte.is_ascii_digit());
    let number = text.parse().ok().filter(|_| digits);
    number.ok_or(NotAnId)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_read_back_as_they_are_printed() {
        for (text, id) in [
            ("b1", RowId::Bay(1)),
            ("t12", RowId::Type(12)),
            ("t1.3", RowId::Stage(1, 3)),
            ("t1f2", RowId::TypeShortfall(1, 2)),
            ("j118", RowId::Job(118)),
            ("f7", RowId::Shortfall(7)),
            ("c4", RowId::Chemical(4)),
            ("w1", RowId::Rework(1)),
        ] {
            assert_eq!(id.to_string(), text);
            assert_eq!(text.parse(), Ok(id));
            assert_eq!(format!(" {} ", text.to_uppercase()).parse(), Ok(id));
        }
    }

    #[test]
    fn anything_else_is_no_id() {
        for text in [
            "",
            "b",
            "x1",
            "1",
            "b+1",
            "t1.",
            "t.1",
            "t1f",
            "t1.2f3",
            "b99999999999999999999",
            "ö1",
        ] {
            assert_eq!(text.parse::<RowId>(), Err(NotAnId), "{text}");
        }
    }
}
