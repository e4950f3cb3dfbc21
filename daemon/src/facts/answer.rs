//! What the fold has to say about one event, in the shop's words.

use baywright_floor::absorb::Absorbed;
use baywright_floor::catalogues::Catalogues;
use baywright_floor::event::{Event, JobKey};
use baywright_floor::notice::Notice;
use baywright_floor::row::{CoatedRow, Row};
use baywright_floor::step::window_of;
use baywright_floor::words;
use baywright_proto::v1;
use baywright_terms::time::Micros;
use rusqlite::{Connection, OptionalExtension as _};

use super::rows::{self, Table};
use super::schema::{signed, unsigned};
use super::{Answer, FactsError};

/// What a person calls a job.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Title {
    /// 0: the log has given none.
    pub number: u64,
    /// For example "118 trike-coat, red three-wheeler".
    pub text: String,
}

/// Looks a job up by the event that opened it; `None` where it is not folded.
pub(crate) fn title(conn: &Connection, job: JobKey) -> rusqlite::Result<Option<Title>> {
    conn.prepare_cached("SELECT number, handle, job_type, vehicle FROM job WHERE job = ?1")?
        .query_row([job.0], |row| {
            let number = row.get::<_, Option<i64>>(0)?.map_or(0, unsigned);
            let handle: String = row.get(1)?;
            let name = if number == 0 {
                handle
            } else {
                number.to_string()
            };
            Ok(Title {
                number,
                text: title_text(&name, &row.get::<_, String>(2)?, &row.get::<_, String>(3)?),
            })
        })
        .optional()
}

fn title_text(name: &str, job_type: &str, vehicle: &str) -> String {
    let head = [name, job_type]
        .into_iter()
        .filter(|part| !part.is_empty())
        .collect::<Vec<_>>()
        .join(" ");
    if vehicle.is_empty() {
        head
    } else if head.is_empty() {
        vehicle.to_owned()
    } else {
        format!("{head}, {vehicle}")
    }
}

/// A notice as it goes out: its code, how much it matters, and a sentence.
pub(crate) fn notice(
    conn: &Connection,
    cats: &Catalogues,
    at: Micros,
    notice: &Notice,
) -> v1::Notice {
    let severity = match words::severity(notice) {
        baywright_floor::notice::Severity::Say => v1::Severity::Say,
        baywright_floor::notice::Severity::Caution => v1::Severity::Caution,
        baywright_floor::notice::Severity::Odd => v1::Severity::Odd,
    };
    v1::Notice {
        code: words::code(notice).to_owned(),
        severity: severity.into(),
        text: sentence(conn, cats, at, notice),
    }
}

/// A notice as a sentence; a job that cannot be looked up stays unnamed.
pub(crate) fn sentence(
    conn: &Connection,
    cats: &Catalogues,
    at: Micros,
    notice: &Notice,
) -> String {
    words::sentence(
        notice,
        &words::Context {
            job_title: &|job| title(conn, job).ok().flatten().map(|title| title.text),
            zone: &cats.at(at).zone,
        },
    )
}

/// What the fold told about an event when it was folded, from its rows.
pub(crate) fn told_before(conn: &Connection, event: &Event) -> rusqlite::Result<Absorbed> {
    let seq = signed(event.seq.0);
    let mut told = Absorbed {
        struck: conn
            .prepare_cached("SELECT struck FROM event WHERE seq = ?1")?
            .query_row([seq], |row| row.get(0))
            .optional()?
            .unwrap_or(false),
        ..Absorbed::default()
    };
    for row in rows::select_rows(conn, Table::Counted, "WHERE seq = ?1", [seq])? {
        if let Row::Counted { job, by, .. } = row {
            told.job = job;
            told.by = by;
        }
    }
    for row in rows::select_rows(conn, Table::Notice, "WHERE seq = ?1", [seq])? {
        if let Row::Notice(row) = row {
            told.notices.push(row.notice);
        }
    }
    let origin = &event.position;
    let at_origin = "WHERE origin_us = ?1 AND origin_device = ?2 AND origin_seq = ?3";
    let key = (
        origin.occurred.0,
        &*origin.device,
        signed(origin.device_seq),
    );
    for row in rows::select_rows(conn, Table::Coated, at_origin, key)? {
        if let Row::Coated(row) = row {
            told.coated = Some(row);
        }
    }
    Ok(told)
}

/// When a section may be levelled; `None` where no window is known.
fn level_window(cats: &Catalogues, coated: &CoatedRow) -> Option<(Micros, Micros)> {
    let limits = window_of(coated, cats.at(coated.at)).limits()?;
    Some((
        coated.at.saturating_add(limits.from_us),
        coated.at.saturating_add(limits.until_us),
    ))
}

/// The answer to one event, from what the fold told.
pub(crate) fn answer(
    conn: &Connection,
    cats: &Catalogues,
    event: &Event,
    told: &Absorbed,
) -> Result<Answer, FactsError> {
    let title = match told.job {
        Some(job) => title(conn, job)?.unwrap_or_default(),
        None => Title::default(),
    };
    let (level_from, level_until) = match &told.coated {
        Some(coated) => level_window(cats, coated).unwrap_or_default(),
        None => Default::default(),
    };
    Ok(Answer {
        seq: event.seq.0,
        job_number: title.number,
        job_title: title.text,
        by: told.by.iter().map(ToString::to_string).collect(),
        notices: told
            .notices
            .iter()
            .map(|said| notice(conn, cats, event.position.occurred, said))
            .collect(),
        level_from_us: level_from.0,
        level_until_us: level_until.0,
    })
}

#[cfg(test)]
mod tests {
    use super::title_text;

    #[test]
    fn a_title_leaves_out_what_nobody_said() {
        let cases = [
            (
                ["118", "trike-coat", "red trike"],
                "118 trike-coat, red trike",
            ),
            (["118", "trike-coat", ""], "118 trike-coat"),
            (["", "", "red trike"], "red trike"),
            (["b2-7", "unsorted", ""], "b2-7 unsorted"),
            (["", "", ""], ""),
        ];
        for ([name, job_type, vehicle], title) in cases {
            assert_eq!(title_text(name, job_type, vehicle), title);
        }
    }
}
