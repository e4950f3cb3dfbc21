//! Folding the whole log into an empty database: first an index of all
//! events, then one walk over them in the order in which they happened, so
//! nothing is ever folded twice.

use std::collections::BTreeSet;
use std::fs::{self, File};
use std::path::{Path, PathBuf};

use baywright_floor::absorb::Fold;
use baywright_floor::event::{EventId, Position};
use baywright_floor::fact::Fact;
use baywright_floor::ledger::Mark;
use baywright_floor::refold::go_on;
use baywright_terms::time::Micros;
use rusqlite::Connection;

use super::ledger::{SqliteLedger, to_json};
use super::schema::{self, About, Care, signed};
use super::{
    FACTS_FILE, FactsError, LogSource, PAGE_ENTRIES, Progress, dump_hash, note_zone, numbers,
    touched, zones,
};

/// Name of the file that a rebuild writes before it takes the old one's place.
const BUILDING_FILE: &str = "facts.db.new";

/// How much of the log to fold.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Upto {
    Head,
    Seq(u64),
}

/// What a build leaves beside the rows.
#[derive(Debug)]
pub(crate) struct Built {
    pub(crate) fold: Fold,
    pub(crate) about: About,
    pub(crate) zones: BTreeSet<String>,
}

/// Folds the whole log into a new `facts.db` beside the old one, then renames
/// it over. Returns the hash of the rows. Nobody may have the old one open.
///
/// # Errors
/// If the log cannot be read, or the disk refuses the new database.
pub fn rebuild(
    data_dir: &Path,
    mut log: Box<dyn LogSource>,
    progress: &mut dyn FnMut(Progress),
) -> Result<[u8; 32], FactsError> {
    build_beside(data_dir, log.as_mut(), progress)
}

/// As [`rebuild`].
pub(crate) fn build_beside(
    data_dir: &Path,
    log: &mut dyn LogSource,
    progress: &mut dyn FnMut(Progress),
) -> Result<[u8; 32], FactsError> {
    let building = data_dir.join(BUILDING_FILE);
    let live = data_dir.join(FACTS_FILE);
    remove_database(&building)?;
    let hash = build_file(&building, log, progress).inspect_err(|_| {
        // On a full disk the log needs the room more.
        let _ = remove_database(&building);
    })?;
    // The old write-ahead file must be gone first: it would be taken for the
    // new database's. A stop in between leaves no database, which is rebuilt.
    remove_database(&live)?;
    fs::rename(&building, &live)?;
    File::open(data_dir)?.sync_all()?;
    Ok(hash)
}

/// Builds a database in a file of its own, flushed. Returns the hash of its rows.
fn build_file(
    path: &Path,
    log: &mut dyn LogSource,
    progress: &mut dyn FnMut(Progress),
) -> Result<[u8; 32], FactsError> {
    let conn = schema::open_writer(path, Care::Building)?;
    build(&conn, log, Upto::Head, progress)?;
    let hash = dump_hash(&conn)?;
    conn.close().map_err(|(_, error)| error)?;
    File::open(path)?.sync_all()?;
    Ok(hash)
}

/// Removes a database with the files SQLite keeps beside it.
fn remove_database(path: &Path) -> Result<(), FactsError> {
    for suffix in ["-wal", "-shm", "-journal", ""] {
        let mut name = path.as_os_str().to_owned();
        name.push(suffix);
        match fs::remove_file(PathBuf::from(name)) {
            Err(error) if error.kind() != std::io::ErrorKind::NotFound => {
                return Err(error.into());
            }
            _ => {}
        }
    }
    Ok(())
}

/// Fills an empty database.
pub(crate) fn build(
    conn: &Connection,
    log: &mut dyn LogSource,
    upto: Upto,
    progress: &mut dyn FnMut(Progress),
) -> Result<Built, FactsError> {
    let (log_id, epoch) = log.identity().map_err(FactsError::Source)?;
    let head = log.head().map_err(FactsError::Source)?;
    let head = match upto {
        Upto::Head => head,
        Upto::Seq(seq) => head.min(seq),
    };
    schema::create(conn)?;
    conn.execute_batch("BEGIN IMMEDIATE")?;
    let mut ledger = SqliteLedger {
        conn,
        log,
        touching: 0,
    };
    let mut indexed = index(&mut ledger, head)?;
    walk(&mut ledger, &mut indexed.fold, head, progress)?;
    schema::index_rows(conn)?;
    touched::all(conn, indexed.last_seq)?;
    let about = About {
        made_by: schema::made_by(),
        layout: schema::layout_print().to_vec(),
        zones: zones::print_of(&indexed.zones).to_vec(),
        log_id: log_id.to_vec(),
        epoch,
        cursor_seq: indexed.last_seq,
        catalogue_seq: indexed.catalogue_seq,
        live: to_json(&indexed.fold.live)?,
    };
    schema::write_about(conn, &about)?;
    conn.execute_batch("COMMIT")?;
    Ok(Built {
        fold: indexed.fold,
        about,
        zones: indexed.zones,
    })
}

/// What the first pass learnt.
#[derive(Debug, Default)]
struct Indexed {
    fold: Fold,
    zones: BTreeSet<String>,
    last_seq: u64,
    catalogue_seq: u64,
}

/// First pass, in the order of the log: the event index, and what strikes,
/// settlements and catalogue changes amount to in the end.
fn index(ledger: &mut SqliteLedger<'_>, head: u64) -> Result<Indexed, FactsError> {
    let mut done = Indexed::default();
    let mut targets: BTreeSet<EventId> = BTreeSet::new();
    // A settlement read before the job it names is read again.
    let mut found_late = false;
    while done.last_seq < head {
        let page = ledger
            .log
            .after(done.last_seq, PAGE_ENTRIES)
            .map_err(FactsError::Source)?;
        if page.is_empty() {
            break;
        }
        for stored in page.iter().take_while(|stored| stored.seq <= head) {
            done.last_seq = stored.seq;
            let Some(event) = ledger.decode(stored)? else {
                tracing::error!(
                    seq = stored.seq,
                    "an entry of the log is no record; left out"
                );
                continue;
            };
            ledger.put_event(&event, false, None)?;
            found_late |= !numbers::named_in_vain(ledger.conn, &event)?.is_empty();
            match &event.fact {
                Fact::StruckOut { event: target, .. } => {
                    targets.insert(*target);
                }
                Fact::Settled(settled) => {
                    targets.insert(settled.event);
                }
                Fact::CatalogueSet { .. } => done.catalogue_seq = event.seq.0,
                _ => continue,
            }
            note_zone(&mut done.zones, &event);
            done.fold.recall(&event);
        }
        if page.last().is_some_and(|stored| stored.seq > head) {
            break;
        }
    }
    if found_late {
        numbers::recall(ledger, &mut done.fold)?;
    } else {
        done.fold.recalled();
    }
    for target in targets {
        let overlay = &done.fold.overlay;
        let settled = overlay.settled(target);
        let mark = Mark {
            struck: overlay.is_struck(target),
            settled: &settled,
        };
        ledger.write_mark(target, mark)?;
    }
    Ok(done)
}

/// Second pass, in the order in which things happened.
fn walk(
    ledger: &mut SqliteLedger<'_>,
    fold: &mut Fold,
    head: u64,
    progress: &mut dyn FnMut(Progress),
) -> Result<(), FactsError> {
    let mut after = Position {
        occurred: Micros(i64::MIN),
        device: "".into(),
        device_seq: 0,
    };
    let mut after_seq = 0;
    let page_length = i64::try_from(PAGE_ENTRIES).unwrap_or(i64::MAX);
    let mut folded = 0_u64;
    loop {
        let page = ledger.entries_by(
            "SELECT seq, settled FROM event
             WHERE (occurred_us, device, device_seq, seq) > (?1, ?2, ?3, ?4) AND struck = 0
             ORDER BY occurred_us, device, device_seq, seq LIMIT ?5",
            (
                after.occurred.0,
                &*after.device,
                signed(after.device_seq),
                signed(after_seq),
                page_length,
            ),
        )?;
        let Some(last) = page.last() else {
            return Ok(());
        };
        after = last.event.position.clone();
        after_seq = last.event.seq.0;
        for entry in &page {
            go_on(ledger, &fold.cats, &mut fold.live, entry)?;
            folded = folded.saturating_add(1);
        }
        progress(Progress { folded, of: head });
    }
}
