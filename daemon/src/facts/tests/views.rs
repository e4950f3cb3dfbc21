//! The views for a person with SQL, against the rows and the reports.

use std::sync::Arc;

use baywright_floor::row::{MixMadeRow, Row};
use baywright_proto::v1;
use baywright_terms::amount::Quantity;
use baywright_terms::time::Micros;
use rusqlite::Connection;

use super::log::Log;
use super::shop::Shop;
use crate::facts::export::{Mark, Wanted};
use crate::facts::reader::FactsReader;
use crate::facts::rows::{self, Table};
use crate::facts::views::{VIEWS, ddl};
use crate::facts::{Facts, FactsError, schema};

const SEEDS: std::ops::Range<u64> = 60..66;

fn facts(seed: u64) -> Facts {
    let log = Log::of(Shop::new(seed, 15).records(900));
    Facts::in_memory_as_of(log.boxed(), u64::MAX).unwrap()
}

fn stored(conn: &Connection, table: Table) -> Vec<Row> {
    rows::select_rows(conn, table, "", []).unwrap()
}

fn count(conn: &Connection, name: &str) -> usize {
    let sql = format!("SELECT count(*) FROM {name}");
    let count: i64 = conn.query_row(&sql, [], |row| row.get(0)).unwrap();
    usize::try_from(count).unwrap()
}

/// Columns of a view as numbers, in order of seq and then of the first column.
fn numbers(conn: &Connection, sql: &str) -> Vec<Vec<Option<f64>>> {
    let mut statement = conn.prepare(sql).unwrap();
    let columns = statement.column_count();
    let rows = statement.query_map([], |row| (0..columns).map(|at| row.get(at)).collect());
    rows.unwrap().collect::<Result<_, _>>().unwrap()
}

fn assert_near(got: &[Vec<Option<f64>>], want: &[Vec<Option<f64>>], what: &str) {
    assert_eq!(got.len(), want.len(), "{what}");
    for (got, want) in got.iter().zip(want) {
        for (got, want) in got.iter().zip(want) {
            let near = match (got, want) {
                (Some(got), Some(want)) => (got - want).abs() <= 1e-9 * want.abs().max(1.0),
                (got, want) => got.is_none() && want.is_none(),
            };
            assert!(near, "{what}: {got:?} instead of {want:?}");
        }
    }
}

/// Microseconds or nanolitres as their large unit.
#[allow(
    clippy::cast_precision_loss,
    clippy::unnecessary_wraps,
    reason = "compared with a tolerance, beside values that may be missing"
)]
fn over(value: i64, per: f64) -> Option<f64> {
    Some(value as f64 / per)
}

#[test]
fn every_view_has_a_row_for_each_row_and_none_shows_a_blob() {
    let mut seen = std::collections::BTreeSet::new();
    for seed in SEEDS {
        let facts = facts(seed);
        for (view, table) in [
            ("v_job", Table::Job),
            ("v_stage", Table::HandsOn),
            ("v_declared", Table::Declared),
            ("v_wait", Table::Waiting),
            ("v_bay_stay", Table::Presence),
            ("v_use", Table::ProductUse),
            ("v_mix", Table::MixMade),
            ("v_section", Table::Coated),
            ("v_air", Table::Air),
            ("v_flaw", Table::FlawFound),
            ("v_stock", Table::Stock),
            ("v_container", Table::Container),
            ("v_past", Table::Past),
        ] {
            let rows = stored(&facts.conn, table).len();
            assert_eq!(count(&facts.conn, view), rows, "seed {seed}: {view}");
        }
        let odd = count(&facts.conn, "notice WHERE severity = 'odd'");
        assert_eq!(count(&facts.conn, "v_odd"), odd, "seed {seed}");
        for (view, _) in VIEWS {
            let mut statement = facts
                .conn
                .prepare(&format!("SELECT * FROM {view}"))
                .unwrap();
            let names: Vec<String> = statement.column_names().map(str::to_owned).collect();
            let mut rows = statement.query([]).unwrap();
            while let Some(row) = rows.next().unwrap() {
                seen.insert(view);
                for (at, name) in names.iter().enumerate() {
                    let value = row.get_ref(at).unwrap();
                    let kind = value.data_type();
                    assert_ne!(kind, rusqlite::types::Type::Blob, "{view}.{name}");
                    if name.ends_with("_utc") && kind == rusqlite::types::Type::Text {
                        let text = value.as_str().unwrap();
                        assert!(
                            text.parse::<jiff::Timestamp>().is_ok(),
                            "{view}.{name}: {text}"
                        );
                    }
                }
            }
        }
    }
    assert_eq!(seen.len(), VIEWS.len(), "only {seen:?} had rows to look at");
}

#[test]
fn a_job_in_the_view_has_the_figures_of_its_export() {
    let mut quoted = 0;
    for seed in SEEDS {
        let log = Log::of(Shop::new(seed, 15).records(900));
        let folder = tempfile::tempdir().unwrap();
        let facts = Facts::open(folder.path(), log.boxed(), &mut |_| {}).unwrap();
        let reader = FactsReader::open(folder.path(), Arc::new(log)).unwrap();
        // At the first instant nothing runs that would be cut then.
        let wanted = Wanted {
            from: Micros(i64::MIN),
            until: Micros(i64::MAX),
            as_of: Micros(0),
        };
        let (mut mark, mut jobs) = (Mark::Start, Vec::new());
        while mark != Mark::End {
            let page = reader
                .view(|view| view.export_page(&wanted, &mark))
                .map_err(|error: FactsError| error.to_string())
                .unwrap();
            jobs.extend(page.parts.into_iter().filter_map(|part| match part {
                v1::export_jobs_response::Part::Job(job) => Some(job),
                _ => None,
            }));
            mark = page.mark;
        }
        jobs.sort_by_key(|job| job.number);
        let want: Vec<Vec<Option<f64>>> = jobs
            .iter()
            .map(|job| {
                let comeback = (job.comeback_of != 0).then_some(job.comeback_of);
                let quote = (job.quote_number != 0).then_some(job.quote_number);
                quoted += i32::from(quote.is_some());
                vec![
                    over(i64::try_from(job.number).unwrap(), 1.0),
                    over(job.actual_us, 6e7),
                    over(job.declared_us, 6e7),
                    over(job.rework_us, 6e7),
                    (job.released_us != 0)
                        .then(|| over(job.cycle_us, 6e7))
                        .flatten(),
                    comeback.and_then(|of| over(i64::try_from(of).unwrap(), 1.0)),
                    quote.and_then(|of| over(i64::try_from(of).unwrap(), 1.0)),
                ]
            })
            .collect();
        let got = numbers(
            &facts.conn,
            "SELECT job, labour_min, declared_min, rework_min, cycle_min, comeback_of, quote
             FROM v_job ORDER BY job",
        );
        assert_near(&got, &want, &format!("seed {seed}"));
    }
    assert!(quoted > 2, "only {quoted} jobs came of a quote");
}

#[test]
fn minutes_and_millilitres_in_the_views_are_those_of_the_rows() {
    let mut mixed = 0;
    for seed in SEEDS {
        let facts = facts(seed);
        let conn = &facts.conn;
        let mut stages = Vec::new();
        for row in stored(conn, Table::HandsOn) {
            if let Row::HandsOn(row) = row {
                let length_us = (row.until.0 - row.from.0).max(0);
                stages.push((row.from, length_us));
            }
        }
        stages.sort_unstable();
        let want: Vec<_> = stages
            .iter()
            .map(|(from, length_us)| vec![over(from.0, 1.0), over(*length_us, 6e7)])
            .collect();
        let got = numbers(
            conn,
            "SELECT from_us, hands_on_min FROM v_stage ORDER BY from_us, hands_on_min",
        );
        assert_near(&got, &want, &format!("stages of seed {seed}"));

        let mixes: Vec<MixMadeRow> = stored(conn, Table::MixMade)
            .into_iter()
            .filter_map(|row| match row {
                Row::MixMade(row) => Some(row),
                _ => None,
            })
            .collect();
        let mut uses = Vec::new();
        for row in stored(conn, Table::ProductUse) {
            let Row::Use(row) = row else { continue };
            let (ml, g) = match row.quantity {
                Some(Quantity::Volume(volume)) => (over(volume.0, 1e6), None),
                Some(Quantity::Mass(mass)) => (None, over(mass.0, 1e6)),
                _ => (None, None),
            };
            let mix = row
                .mix
                .and_then(|id| mixes.iter().find(|mix| mix.mix == id));
            let concentrate = match (row.mix, mix, ml) {
                (None, _, ml) => ml,
                (Some(_), Some(mix), Some(ml)) => {
                    mixed += 1;
                    let share = over(mix.concentrate.0, 1.0).zip(over(mix.volume.0, 1.0));
                    share.map(|(concentrate, volume)| ml * concentrate / volume)
                }
                _ => None,
            };
            uses.push((row.seq, vec![ml, g, concentrate]));
        }
        uses.sort_by_key(|(seq, _)| *seq);
        let want: Vec<_> = uses.into_iter().map(|(_, row)| row).collect();
        let got = numbers(
            conn,
            "SELECT used_ml, used_g, concentrate_ml FROM v_use ORDER BY seq",
        );
        assert_near(&got, &want, &format!("uses of seed {seed}"));
    }
    assert!(mixed > 0, "no use of a mix was compared");
}

#[test]
fn a_quote_in_the_view_is_the_quote_of_the_list() {
    let mut answered = 0;
    for seed in SEEDS {
        let log = Log::of(Shop::new(seed, 15).records(900));
        let folder = tempfile::tempdir().unwrap();
        let facts = Facts::open(folder.path(), log.boxed(), &mut |_| {}).unwrap();
        let reader = FactsReader::open(folder.path(), Arc::new(log)).unwrap();
        let asked = v1::ListQuotesRequest {
            at_most: 400,
            ..v1::ListQuotesRequest::default()
        };
        let listed = reader.quotes(&asked, Micros(i64::MAX / 2)).unwrap();
        let as_number = |number: u64| over(i64::try_from(number).unwrap(), 1.0);
        let want: Vec<Vec<Option<f64>>> = listed
            .quotes
            .iter()
            .rev()
            .map(|quote| {
                let accepted = quote.state() == v1::QuoteState::Accepted;
                let declined = quote.state() == v1::QuoteState::Declined;
                answered += i32::from(accepted || declined);
                vec![
                    as_number(quote.number),
                    over(quote.hands_on_half_us, 6e7),
                    over(quote.price_minor, 1.0),
                    over(i64::from(accepted), 1.0),
                    over(i64::from(declined), 1.0),
                    (quote.job_number != 0)
                        .then(|| as_number(quote.job_number))
                        .flatten(),
                    over(i64::from(quote.addition), 1.0),
                ]
            })
            .collect();
        let got = numbers(
            &facts.conn,
            "SELECT quote, half_min, price_minor, coalesce(answer = 'accepted', 0),
               coalesce(answer = 'declined', 0), job, is_addition FROM v_quote ORDER BY quote",
        );
        assert_near(&got, &want, &format!("seed {seed}"));
    }
    assert!(answered > 2, "only {answered} quotes were answered");
}

#[test]
fn a_changed_view_is_another_layout() {
    let ddl = ddl();
    assert_eq!(schema::print_with(&ddl), schema::layout_print());
    let changed = ddl.replacen("6e7", "6e6", 1);
    assert_ne!(schema::print_with(&changed), schema::layout_print());
}

#[test]
fn the_questions_in_the_readme_are_answered() {
    let readme = include_str!("../../../../README.md");
    let facts = facts(60);
    let questions: Vec<&str> = readme
        .split("```sql\n")
        .skip(1)
        .map(|rest| rest.split("```").next().unwrap())
        .collect();
    assert_eq!(questions.len(), 3);
    for question in questions {
        let mut statement = facts.conn.prepare(question).unwrap();
        // The shop of the tests answers each of them with something.
        assert!(statement.exists([]).unwrap(), "{question}");
        // Below the question stands what it is answered with.
        let columns: Vec<&str> = statement.column_names().collect();
        let shown = readme.split(question).nth(1).unwrap();
        let head = shown.lines().find(|line| line.starts_with("    ")).unwrap();
        let head: Vec<&str> = head.split_whitespace().collect();
        assert_eq!(head, columns);
    }
}
