//! What must hold of the log, of the facts behind it and of every bay's
//! spool, whatever happened.

use std::collections::{BTreeMap, BTreeSet};

use baywright_client::spool::Standing;
use baywright_daemon::facts::model::{all_rows, events};
use baywright_daemon::facts::{FACTS_FILE, Facts, dump_hash};
use baywright_daemon::journal::LogReader;
use baywright_daemon::journal::verify::verify;
use baywright_floor::event::{Event, Seq};
use baywright_floor::memory::Book;
use baywright_floor::row::Emitted;
use baywright_proto::v1::{self, TimeBasis, fact::Kind, fact::Occurred};
use prost::Message as _;
use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha12Rng;
use rusqlite::{Connection, OpenFlags};
use serde_json::Value;

use crate::bay::{Bay, Said, Told};
use crate::daemon::{Daemon, Id, failed};

/// What the daemon may add to its clock so that each post has an instant of
/// its own (`TIE_US_MAX` of the journal, and the microsecond after it).
const TIES_US: i64 = 10_001;

/// Outside of this an instant is of a clock that was never set, and the moment
/// of delivery stands in for it: the years 2000 and 2200.
const BELIEVED_US: std::ops::RangeInclusive<i64> = 946_684_800_000_000..=7_258_118_400_000_000;

/// A record of the log with who said it.
struct Entry<'a> {
    record: v1::Record,
    fact: v1::Fact,
    bay: &'a Bay,
    /// Its place among what the bay said.
    place: usize,
}

impl Entry<'_> {
    fn said(&self) -> &Said {
        &self.bay.said[self.place]
    }
}

/// Checks the log, and the facts where the daemon is up.
pub(crate) fn log_and_facts(daemon: &Daemon, bays: &[Bay], seed: u64) -> Result<(), String> {
    if !daemon.is_up() {
        return Ok(());
    }
    let reader = LogReader::open(&daemon.data).map_err(|e| failed("reading the log", &e))?;
    let entries = entries(&reader, bays)?;
    chained(&reader, &entries)?;
    in_the_order_of_each_bay(&entries)?;
    times(&entries, daemon)?;
    daemon.keeps_its_promises()?;
    facts(daemon, seed)
}

/// Checks that what every bay kept is where it says, once nothing waits.
pub(crate) fn delivered(daemon: &Daemon, bays: &[Bay]) -> Result<(), String> {
    let reader = LogReader::open(&daemon.data).map_err(|e| failed("reading the log", &e))?;
    let entries = entries(&reader, bays)?;
    let mut at: BTreeMap<Id, &Entry<'_>> = BTreeMap::new();
    let mut stands_in: BTreeSet<Vec<u8>> = BTreeSet::new();
    for entry in &entries {
        at.insert(entry.said().id, entry);
        if let Some(Kind::Noted(noted)) = &entry.fact.kind {
            stands_in.insert(noted.set_aside_event_id.clone());
        }
    }
    for bay in bays {
        let spool = bay.spool()?;
        let dropped = spool.posts().dropped_device_seq > 0;
        for (place, said) in bay.said.iter().enumerate() {
            let entry = at.get(&said.id).copied();
            let standing = Bay::standing(&spool, &said.id);
            let restored = daemon.restores > 0;
            let leave = Leave {
                may_be_dropped: dropped && restored,
                may_name_an_old_place: restored && (bay.put_back || daemon.restores > 1),
            };
            is_where_it_should_be(said, standing.as_ref(), entry, leave)
                .map_err(|why| format!("{} fact {}: {why}", bay.name, place + 1))?;
            if matches!(standing, Some(Standing::SetAside { .. }))
                && !bay.put_back
                && !stands_in.contains(said.id.as_slice())
            {
                return Err(format!(
                    "{} fact {} was set aside, and no note in the log says so",
                    bay.name,
                    place + 1
                ));
            }
        }
        if bay.damaged() {
            return Err(format!("{}: the spool was found damaged", bay.name));
        }
    }
    Ok(())
}

/// What a restore allows.
#[derive(Debug, Clone, Copy)]
struct Leave {
    /// The bay no longer kept what the restored log lost.
    may_be_dropped: bool,
    /// The bay's folder is of a time before the restore; or the log was restored
    /// again, to a copy that is of before the first, and the bay has the same
    /// facts at other places.
    may_name_an_old_place: bool,
}

fn is_where_it_should_be(
    said: &Said,
    standing: Option<&Standing>,
    entry: Option<&Entry<'_>>,
    leave: Leave,
) -> Result<(), String> {
    let unreadable = said.speech.as_ref().is_some_and(|s| s.unreadable);
    if said.torn {
        // It was never kept; that it is in no log is checked for every record.
        return match standing {
            None => Ok(()),
            Some(standing) => Err(format!("its write was cut off, and it is {standing:?}")),
        };
    }
    if said.told == Told::Acknowledged && unreadable {
        return Err("it cannot be read and was acknowledged".to_owned());
    }
    match (standing, entry) {
        (
            Some(Standing::Acknowledged {
                seq, occurred_us, ..
            }),
            Some(entry),
        ) => {
            let record = &entry.record;
            let here = (*seq, *occurred_us) == (record.seq, record.occurred_us);
            if here || leave.may_name_an_old_place {
                Ok(())
            } else {
                Err(format!(
                    "the bay has it at seq {seq} and {occurred_us}, the log at {} and {}",
                    record.seq, record.occurred_us
                ))
            }
        }
        (Some(Standing::Acknowledged { seq, .. }), None) => Err(format!(
            "the bay believes it is at seq {seq}, and the log does not have it"
        )),
        // A copy of the request may have come in after the refusal.
        (Some(Standing::Withdrawn { .. }), _) if said.told != Told::Acknowledged => Ok(()),
        (Some(Standing::SetAside { .. }), None) if unreadable => Ok(()),
        // Dropped by compaction after the daemon had it.
        (None, Some(_)) => Ok(()),
        (None, None) if said.put_back || leave.may_be_dropped => Ok(()),
        (standing, entry) => Err(format!(
            "it is {standing:?}, seq {:?}, told {:?}",
            entry.map(|e| e.record.seq),
            said.told
        )),
    }
}

/// All records, each with the bay that said it.
fn entries<'a>(reader: &LogReader, bays: &'a [Bay]) -> Result<Vec<Entry<'a>>, String> {
    let places: BTreeMap<Id, (&Bay, usize)> = bays
        .iter()
        .flat_map(|bay| {
            bay.said
                .iter()
                .enumerate()
                .map(move |(at, s)| (s.id, (bay, at)))
        })
        .collect();
    let mut found: Vec<Entry<'a>> = Vec::new();
    loop {
        let after = found.last().map_or(0, |e| e.record.seq);
        let page = reader
            .records_after(after, 1_000)
            .map_err(|e| failed("reading the log", &e))?;
        if page.is_empty() {
            return Ok(found);
        }
        for entry in page {
            let record = entry.decode().map_err(|e| failed("decoding", &e))?;
            let seq = record.seq;
            let fact = v1::Fact::decode(&*record.fact).map_err(|e| failed("decoding", &e))?;
            let id = Id::try_from(record.event_id.as_slice());
            let (bay, place) = id
                .ok()
                .and_then(|id| places.get(&id).copied())
                .ok_or_else(|| format!("seq {seq} is in the log, and no bay said it"))?;
            let said = &bay.said[place];
            let as_said = v1::Fact {
                clocks: None,
                ..fact.clone()
            };
            if bay.name != record.device
                || said.torn
                || said.speech.as_ref().is_some_and(|s| s.fact != as_said)
            {
                return Err(format!("seq {seq} is not what {} said", bay.name));
            }
            found.push(Entry {
                record,
                fact,
                bay,
                place,
            });
        }
    }
}

fn chained(reader: &LogReader, entries: &[Entry<'_>]) -> Result<(), String> {
    let whole = verify(reader, |_, _| true).map_err(|e| failed("the chain", &e))?;
    if whole.records != entries.len() as u64 {
        return Err(format!(
            "{} of {} in the chain",
            whole.records,
            entries.len()
        ));
    }
    let mut ids = BTreeSet::new();
    let mut received_us = i64::MIN;
    for (entry, seq) in entries.iter().zip(1..) {
        let record = &entry.record;
        if record.seq != seq {
            return Err(format!("seq {} follows {}", record.seq, seq - 1));
        }
        if record.received_us < received_us {
            return Err(format!("seq {seq} was received before the one before it"));
        }
        received_us = record.received_us;
        if !ids.insert(&record.event_id) {
            return Err(format!("seq {seq} is in the log twice"));
        }
    }
    Ok(())
}

fn in_the_order_of_each_bay(entries: &[Entry<'_>]) -> Result<(), String> {
    let mut last: BTreeMap<&str, (u64, usize)> = BTreeMap::new();
    for entry in entries {
        let record = &entry.record;
        let here = (record.device_seq, entry.place);
        if let Some(before) = last.insert(&entry.bay.name, here) {
            // What comes out of an old copy of a folder comes late.
            let in_order = before.1 < here.1 || entry.bay.put_back;
            if before.0 >= here.0 || !in_order {
                return Err(format!(
                    "seq {} of {} is out of its order: {before:?}, {here:?}",
                    record.seq, entry.bay.name
                ));
            }
        }
    }
    Ok(())
}

/// When each fact happened, against true time: by the way of finding out that
/// the contract prescribes, and off by no more than what the network held the
/// post back and the daemon's own clock was wrong.
fn times(entries: &[Entry<'_>], daemon: &Daemon) -> Result<(), String> {
    // The last delivery of each boot: its reading of the boot clock, and the
    // daemon's moment, at the least.
    let mut deliveries: BTreeMap<(&str, String), (i64, i64)> = BTreeMap::new();
    for entry in entries {
        let record = &entry.record;
        let wrong = |what: String| format!("seq {}: {what}", record.seq);
        let handled = daemon
            .handled
            .get(&record.seq)
            .ok_or_else(|| wrong("nobody appended it".to_owned()))?;
        let moment_us = handled.at_us + handled.clock_error_us;
        let said = entry.fact.clocks.as_ref();
        let said = said.ok_or_else(|| wrong("it has no clocks".to_owned()))?;
        let sent = record.delivery_clocks.as_ref();
        let sent = sent.ok_or_else(|| wrong("it has no delivery clocks".to_owned()))?;
        let bay = &entry.bay.clocks;
        let (Some(said_us), Some(sent_us)) = (
            bay.true_us(&said.boot_id, said.boot_us),
            bay.true_us(&sent.boot_id, sent.boot_us),
        ) else {
            return Err(wrong("a boot that never was".to_owned()));
        };
        if said_us != entry.said().at_us {
            return Err(wrong("its clocks are not of when it was said".to_owned()));
        }
        let seen = deliveries.get(&(entry.bay.name.as_str(), said.boot_id.clone()));
        let (posted_us, basis) = if said.boot_id == sent.boot_id {
            // Right but for the way, and the daemon's clock.
            let late_us = handled.at_us - sent_us;
            (said_us + late_us + handled.clock_error_us, TimeBasis::Boot)
        } else if let Some((boot_us, at_us)) = seen {
            (at_us + said.boot_us - boot_us, TimeBasis::EarlierBoot)
        } else {
            // Flagged: right only as far as the wall clock's error stood still.
            let by_wall_us = said.wall_us + moment_us - sent.wall_us;
            let believed_us = if BELIEVED_US.contains(&by_wall_us) {
                by_wall_us
            } else {
                moment_us
            };
            (believed_us, TimeBasis::PresentOffset)
        };
        let (expected_us, basis) = match entry.fact.occurred {
            Some(Occurred::AtUs(at_us)) => (at_us, TimeBasis::Stated),
            Some(Occurred::AgoUs(ago_us)) => (posted_us - ago_us, basis),
            None => (posted_us, basis),
        };
        // A restored log says again what a receipt said before.
        let (expected_us, basis) = if record.time_basis == i32::from(TimeBasis::FirstReceipt)
            && basis != TimeBasis::Stated
            && daemon.restores > 0
            && daemon
                .ever_said
                .contains(&(entry.said().id, record.occurred_us))
        {
            (record.occurred_us, TimeBasis::FirstReceipt)
        } else {
            (expected_us, basis)
        };
        let off_us = record.occurred_us - expected_us;
        // An instant from an earlier boot carries the ties of its sample.
        let most_us = if basis == TimeBasis::Stated {
            0
        } else {
            TIES_US
        };
        if record.time_basis != i32::from(basis) || !(0..=most_us).contains(&off_us) {
            return Err(wrong(format!(
                "happened by {basis:?} at {expected_us}, found by {} off by {off_us} us",
                record.time_basis
            )));
        }
        deliveries.insert(
            (entry.bay.name.as_str(), sent.boot_id.clone()),
            (sent.boot_us, moment_us),
        );
    }
    Ok(())
}

/// The rows of the live database, of a rebuilt one and of the pure fold are the
/// same; and the figures do not depend on which bay delivered first.
fn facts(daemon: &Daemon, seed: u64) -> Result<(), String> {
    let path = daemon.data.join(FACTS_FILE);
    let conn = Connection::open_with_flags(&path, OpenFlags::SQLITE_OPEN_READ_ONLY)
        .map_err(|e| failed("opening the facts", &e))?;
    let live = all_rows(&conn).map_err(|e| failed("reading the facts", &e))?;
    let live_hash = dump_hash(&conn).map_err(|e| failed("reading the facts", &e))?;
    let log = || LogReader::open(&daemon.data).map_err(|e| failed("reading the log", &e));
    let events = events(&mut log()?).map_err(|e| failed("reading the log", &e))?;
    let model = Book::from_start(&events);
    let folded = rows(&model);
    same(&live, &folded, "the live facts and the pure fold")?;
    let rebuilt = Facts::in_memory_as_of(Box::new(log()?), u64::MAX)
        .and_then(|facts| facts.hash())
        .map_err(|e| failed("rebuilding the facts", &e))?;
    if rebuilt != live_hash {
        return Err("the live facts and rebuilt ones differ".to_owned());
    }
    let mut other = Book::default();
    for event in in_another_order(&events, seed) {
        other.absorb(&event);
    }
    same(
        &blanked(&folded),
        &blanked(&rows(&other)),
        "figures for another order of delivery",
    )
}

fn rows(book: &Book) -> Vec<Emitted> {
    book.ledger
        .rows()
        .map(|(origin, ordinal, row)| Emitted {
            origin: origin.clone(),
            ordinal,
            row: row.clone(),
        })
        .collect()
}

fn same<T: PartialEq + std::fmt::Debug>(left: &[T], right: &[T], what: &str) -> Result<(), String> {
    if let Some((left, right)) = left.iter().zip(right).find(|(left, right)| left != right) {
        return Err(format!("{what} differ: {left:?} and {right:?}"));
    }
    if left.len() != right.len() {
        return Err(format!(
            "{what} differ: {} rows and {}",
            left.len(),
            right.len()
        ));
    }
    Ok(())
}

/// The same events as if the bays had delivered them in another order, each
/// its own in its own.
fn in_another_order(events: &[Event], seed: u64) -> Vec<Event> {
    let mut dice = ChaCha12Rng::seed_from_u64(seed);
    let mut queues: BTreeMap<&str, Vec<&Event>> = BTreeMap::new();
    for event in events.iter().rev() {
        queues
            .entry(&event.position.device)
            .or_default()
            .push(event);
    }
    let mut out = Vec::with_capacity(events.len());
    let mut number = 0;
    while !queues.is_empty() {
        let at = dice.random_range(0..queues.len());
        let Some(device) = queues.keys().nth(at).copied() else {
            break;
        };
        if let Some(event) = queues.get_mut(device).and_then(Vec::pop) {
            let mut event = event.clone();
            event.seq = Seq(out.len() as u64 + 1);
            if event.job_number.is_some() {
                number += 1;
                event.job_number = Some(number);
            }
            out.push(event);
        } else {
            queues.remove(device);
        }
    }
    out
}

/// Rows without what depends on the order of delivery by its meaning.
fn blanked(rows: &[Emitted]) -> Vec<Value> {
    fn blank(value: &mut Value) {
        match value {
            Value::Object(map) => {
                for (key, inner) in map.iter_mut() {
                    if key.starts_with("seq") || key == "number" {
                        *inner = Value::Null;
                    }
                    blank(inner);
                }
            }
            Value::Array(list) => list.iter_mut().for_each(blank),
            _ => {}
        }
    }
    rows.iter()
        .map(|row| {
            let mut value = serde_json::json!([row.origin.occurred, row.ordinal, row.row]);
            blank(&mut value);
            value
        })
        .collect()
}
