//! Deciding on a batch of posts and appending it: one transaction, one flush.
//!
//! Synchronous, on the caller's thread, with the time given by the caller: the
//! whole of what must be right at a power cut is in [`append_batch`].

use std::path::Path;

use baywright_proto::v1::{self, fact::Kind};
use baywright_terms::catalogue::Catalogue;
use baywright_terms::time::Micros;
use prost::Message as _;
use rusqlite::{Connection, OptionalExtension as _, Transaction, TransactionBehavior};

use super::chain::Hash;
use super::codes::{InLog, unknown_codes};
use super::post::{Intake, Readable, read};
use super::reader::{self, LogEntry};
use super::refusal::{Refusal, Violation};
use super::restored::{self, First, Restored};
use super::time::{Sample, earlier_boot, occurred};
use super::verify::Broken;
use super::{JournalError, Meta, from_sql, schema, to_sql};

/// A last record this little ahead of the clock is of the same moment: a batch,
/// or a few after each other, each a microsecond later than the one before.
const TIE_US_MAX: i64 = 10_000;

/// The end of the log.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Head {
    /// 0: empty.
    pub seq: u64,
    pub hash: Hash,
    /// When the last record was received; 0 in an empty log.
    pub received: Micros,
    /// The last number given to a job.
    pub job_number: u64,
}

/// A post that is in the log.
#[derive(Debug, Clone, PartialEq)]
pub struct Kept {
    pub seq: u64,
    pub event_id: [u8; 16],
    pub received: Micros,
    pub occurred: Micros,
    /// The number given to a job that this opened; 0 otherwise.
    pub job_number: u64,
    /// The stored bytes.
    pub record: Vec<u8>,
    /// It had been acknowledged before.
    pub repeated: bool,
    /// The last number held of the posting device, this post included.
    pub held_device_seq: u64,
}

/// What became of a post.
pub type Outcome = Result<Kept, Refusal>;

/// A place in [`append_batch`] at which a test may stop it: by an error, by a
/// panic, or by taking a copy of the folder as a kill would leave it. Posts
/// are counted from 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Step {
    /// Nothing is open yet.
    BeforeBegin,
    /// The transaction is open.
    Begun,
    /// It is known what becomes of this post.
    Decided(usize),
    /// This post is about to be written.
    BeforeInsert(usize),
    /// This post is in the transaction.
    Inserted(usize),
    /// Everything is in the transaction.
    BeforeCommit,
    /// The batch is on disk; the head in memory is still the old one.
    Committed,
    /// The head has moved; nobody has been answered.
    HeadMoved,
}

/// The log as the one writer holds it.
#[derive(Debug)]
pub struct Journal {
    conn: Connection,
    meta: Meta,
    head: Head,
    /// A batch ended before it said how: whether it is on disk is asked of the
    /// file before the next one, not assumed.
    head_in_doubt: bool,
    damage: Option<Broken>,
    /// `None`: the log never was restored.
    restored: Option<Restored>,
}

impl Journal {
    /// Opens the log of a data directory, making it where there is none.
    /// Reads only the end of it, whatever its length.
    ///
    /// # Errors
    /// If the file is no log, of another layout, or cannot be read.
    pub fn open(data_dir: &Path) -> Result<Self, JournalError> {
        let path = data_dir.join(schema::LOG_FILE);
        // A log that is damaged is no reason to answer nothing.
        let mut damage = None;
        let conn = schema::open_writer(&path).or_else(|error| {
            if !is_damage(&error) {
                return Err(error);
            }
            let conn = schema::open_reader(&path).map_err(|_| JournalError::Damaged)?;
            damage = Some(super::follow::chain(&error));
            Ok(conn)
        })?;
        let meta = schema::read_meta(&conn)?;
        let restored = match restored::read(&conn) {
            Ok(restored) => restored,
            Err(error) => {
                damage = Some(super::follow::chain(&error));
                None
            }
        };
        let head = match read_head(&conn, &meta, restored.as_ref()) {
            Ok(head) => head,
            Err(error) => {
                damage = Some(super::follow::chain(&error));
                last_readable(&conn, &meta)?
            }
        };
        Ok(Self {
            conn,
            meta,
            head,
            head_in_doubt: false,
            damage: damage.map(|why| Broken {
                seq: head.seq + 1,
                why,
            }),
            restored,
        })
    }

    pub fn meta(&self) -> Meta {
        self.meta
    }

    pub fn head(&self) -> Head {
        self.head
    }

    /// What keeps this log from being appended to: its database is damaged, and
    /// was opened for what can still be read.
    pub fn damage(&self) -> Option<&Broken> {
        self.damage.as_ref()
    }

    /// Moves what is in the write-ahead log into the file, so that the next
    /// start finds one file and nothing to replay.
    ///
    /// # Errors
    /// If the disk fails. Nothing is lost: the next start replays.
    pub fn checkpoint(&self) -> Result<(), JournalError> {
        self.conn
            .query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(()))?;
        Ok(())
    }

    /// Finds out what became of a batch that ended by an error or a panic.
    fn settle_doubt(&mut self) -> Result<(), JournalError> {
        // Its transaction rolled back as it was dropped. Where even that
        // failed, a connection of its own has no part in it.
        if !self.conn.is_autocommit() {
            let path = self.conn.path().map(std::path::PathBuf::from);
            self.conn = schema::open_writer(&path.ok_or(JournalError::NotALog)?)?;
        }
        self.head = read_head(&self.conn, &self.meta, self.restored.as_ref())?;
        Ok(())
    }

    /// The connection, for tests that break it.
    #[cfg(test)]
    pub(crate) fn connection(&mut self) -> &mut Connection {
        &mut self.conn
    }
}

fn read_head(
    conn: &Connection,
    meta: &Meta,
    restored: Option<&Restored>,
) -> Result<Head, JournalError> {
    let last = conn
        .query_row(
            "SELECT seq, record, hash, event_id, device, device_seq, coalesce(job_number, 0) FROM record ORDER BY seq DESC LIMIT 1",
            [],
            reader::entry,
        )
        .optional()?;
    let job_number: i64 = conn.query_row(
        "SELECT coalesce(max(job_number), 0) FROM record WHERE job_number IS NOT NULL",
        [],
        |row| row.get(0),
    )?;
    // Numbers that a restore left free are given only to who had them.
    let left_free = restored.map_or(0, |restored| restored.first_job_number.saturating_sub(1));
    let job_number = from_sql(job_number).max(left_free);
    Ok(match last {
        None => Head {
            seq: 0,
            hash: Hash::genesis(&meta.log_id),
            received: Micros(0),
            job_number,
        },
        Some(entry) => Head {
            seq: entry.seq,
            hash: entry.hash,
            // A record that cannot be decoded is found by the check of the
            // chain, which then makes the log read-only.
            received: entry
                .decode()
                .map_or(Micros(0), |record| Micros(record.received_us)),
            job_number,
        },
    })
}

fn is_damage(error: &JournalError) -> bool {
    use rusqlite::ErrorCode;
    matches!(
        error,
        JournalError::Database(error)
            if matches!(error.sqlite_error_code(), Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase))
    )
}

/// Where the log can be read up to, from its beginning.
fn last_readable(conn: &Connection, meta: &Meta) -> Result<Head, JournalError> {
    let mut head = Head {
        seq: 0,
        hash: Hash::genesis(&meta.log_id),
        received: Micros(0),
        job_number: 0,
    };
    let mut statement = conn.prepare("SELECT seq, hash FROM record ORDER BY seq")?;
    let mut rows = statement.query([])?;
    while let Ok(Some(row)) = rows.next() {
        let (Ok(seq), Ok(hash)) = (row.get(0), row.get(1)) else {
            break;
        };
        head.seq = from_sql(seq);
        head.hash = Hash(hash);
    }
    Ok(head)
}

/// Decides on each post and appends those that can be kept; when it returns,
/// every [`Kept`] is on disk. Each post is decided on its own: one that cannot
/// be kept never fails its neighbours. Where the commit fails, nothing was
/// kept and the head is what it was.
///
/// `catalogue` is what codes are checked against while a person waits.
pub fn append_batch(
    journal: &mut Journal,
    catalogue: &Catalogue,
    intakes: &[Intake],
    now: Micros,
) -> Vec<Outcome> {
    append_batch_by_steps(journal, catalogue, intakes, now, &mut |_| Ok(()))
}

/// As [`append_batch`], which has no steps to call and pays nothing for them.
/// What `at_step` returns as an error is taken as the database's.
pub fn append_batch_by_steps(
    journal: &mut Journal,
    catalogue: &Catalogue,
    intakes: &[Intake],
    now: Micros,
    at_step: &mut impl FnMut(Step) -> Result<(), JournalError>,
) -> Vec<Outcome> {
    match append_together(journal, catalogue, intakes, now, at_step) {
        Ok(outcomes) => outcomes,
        Err(error) if intakes.len() == 1 => vec![Err(not_written(&error))],
        Err(error) => {
            // Something about one of them may be what the database does not
            // take; alone, it fails alone.
            tracing::warn!(error = %error, posts = intakes.len(), "a batch was not written; trying its posts one by one");
            intakes
                .iter()
                .map(|intake| {
                    append_together(
                        journal,
                        catalogue,
                        std::slice::from_ref(intake),
                        now,
                        at_step,
                    )
                    .map_or_else(
                        |error| Err(not_written(&error)),
                        |mut outcomes| {
                            outcomes.pop().unwrap_or(Err(Refusal::NotWritten {
                                why: "no outcome".to_owned(),
                            }))
                        },
                    )
                })
                .collect()
        }
    }
}

fn not_written(error: &JournalError) -> Refusal {
    let mut why = error.to_string();
    let mut source = std::error::Error::source(error);
    while let Some(cause) = source {
        why.push_str(": ");
        why.push_str(&cause.to_string());
        source = cause.source();
    }
    Refusal::NotWritten { why }
}

fn append_together(
    journal: &mut Journal,
    catalogue: &Catalogue,
    intakes: &[Intake],
    now: Micros,
    at_step: &mut impl FnMut(Step) -> Result<(), JournalError>,
) -> Result<Vec<Outcome>, JournalError> {
    at_step(Step::BeforeBegin)?;
    if journal.head_in_doubt {
        journal.settle_doubt()?;
    }
    // Until the end of this function is reached, by an error or a panic it may not be.
    journal.head_in_doubt = true;
    // The journal's own head moves only after the commit.
    let mut moving = journal.head;
    let tx = journal
        .conn
        .transaction_with_behavior(TransactionBehavior::Immediate)?;
    at_step(Step::Begun)?;
    let mut outcomes = Vec::with_capacity(intakes.len());
    for (at, intake) in intakes.iter().enumerate() {
        let moment = moment(now, moving.received);
        let first = First::of(&intake.post, journal.restored.as_ref(), moment);
        let decision = decide(&tx, catalogue, intake, &moving, moment, &first)?;
        at_step(Step::Decided(at))?;
        outcomes.push(match decision {
            Decision::Append(record) => {
                at_step(Step::BeforeInsert(at))?;
                let kept = insert(&tx, &mut moving, &record)?;
                at_step(Step::Inserted(at))?;
                Ok(kept)
            }
            Decision::Repeat(kept) => Ok(kept),
            Decision::Refuse(refusal) => Err(refusal),
        });
    }
    at_step(Step::BeforeCommit)?;
    if moving.seq == journal.head.seq {
        // Nothing to keep: no flush for a batch of refusals.
        tx.rollback()?;
    } else {
        tx.commit()?;
    }
    at_step(Step::Committed)?;
    journal.head = moving;
    journal.head_in_doubt = false;
    at_step(Step::HeadMoved)?;
    Ok(outcomes)
}

/// The instant of one post. Posts of a batch share `now`; each gets a
/// microsecond of its own after the one before, so that posts of several bays
/// are folded in the order in which the log has them, and not again for a tie.
/// A clock that was set back is believed.
fn moment(now: Micros, last: Micros) -> Micros {
    let ahead_us = last.0.saturating_sub(now.0);
    if (0..=TIE_US_MAX).contains(&ahead_us) {
        Micros(last.0.saturating_add(1))
    } else {
        now
    }
}

enum Decision {
    Append(v1::Record),
    Repeat(Kept),
    Refuse(Refusal),
}

/// Decides on one post by what the transaction sees, so by its neighbours before it too.
fn decide(
    tx: &Transaction<'_>,
    catalogue: &Catalogue,
    intake: &Intake,
    head: &Head,
    now: Micros,
    first: &First,
) -> Result<Decision, JournalError> {
    let Readable { event_id, fact } = match read(intake) {
        Ok(readable) => readable,
        Err(refusal) => return Ok(Decision::Refuse(refusal)),
    };
    let post = &intake.post;
    if let Some(first) = entry_of(tx, &event_id)? {
        return repeat(&first, post, reader::held_device_seq(tx, &intake.device)?);
    }
    let held = reader::held_device_seq(tx, &intake.device)?;
    if post.previous_device_seq != held || post.device_seq <= held {
        return Ok(Decision::Refuse(Refusal::OutOfStep { held }));
    }
    if post.waiting && !post.anyway {
        let unknown = unknown_codes(&fact, catalogue, |named| known(tx, named))?;
        if !unknown.is_empty() {
            return Ok(Decision::Refuse(Refusal::UnknownCode(unknown)));
        }
    }
    let delivery = post.delivery_clocks.as_ref();
    let earlier = match earlier_boot(&fact, delivery) {
        Some(boot_id) => sample(tx, &intake.device, boot_id)?,
        None => None,
    };
    let (occurred, basis) = match occurred(&fact, delivery, now, earlier) {
        Ok(found) => found,
        Err(wrong) => {
            let violation = Violation::new(
                wrong.field,
                "is not an instant between the years 2000 and 2200: give Unix microseconds",
            );
            return Ok(Decision::Refuse(Refusal::Unreadable(vec![violation])));
        }
    };
    if let Some(delivery) = delivery.filter(|clocks| !clocks.boot_id.is_empty()) {
        put_sample(tx, &intake.device, delivery, now)?;
    }
    let (occurred, basis) = first.occurred(occurred, basis);
    let opens = matches!(fact.kind, Some(Kind::JobOpened(_)));
    let job_number = match (opens, first.job_number) {
        (false, _) => 0,
        (true, Some(had)) if !known(tx, InLog::Job(had))? => had,
        (true, _) => head.job_number + 1,
    };
    Ok(Decision::Append(v1::Record {
        seq: head.seq + 1,
        // The clock may be set back; the log's order is not.
        received_us: now.max(head.received).0,
        occurred_us: occurred.0,
        time_basis: basis.into(),
        device: intake.device.clone(),
        role: intake.role.into(),
        event_id: event_id.to_vec(),
        device_seq: post.device_seq,
        delivery_clocks: post.delivery_clocks.clone(),
        job_number,
        fact: post.fact.clone(),
        first_received_us: first.received_us,
    }))
}

/// Answers a post whose event id is in the log already.
fn repeat(first: &LogEntry, post: &v1::Post, held: u64) -> Result<Decision, JournalError> {
    let record = first.decode()?;
    if record.fact != post.fact {
        return Ok(Decision::Refuse(Refusal::IdReused { seq: first.seq }));
    }
    Ok(Decision::Repeat(Kept {
        repeated: true,
        held_device_seq: held,
        ..kept(&record, first.record.clone())
    }))
}

fn kept(record: &v1::Record, bytes: Vec<u8>) -> Kept {
    let mut event_id = [0; 16];
    for (to, from) in event_id.iter_mut().zip(&record.event_id) {
        *to = *from;
    }
    Kept {
        seq: record.seq,
        event_id,
        received: Micros(record.received_us),
        occurred: Micros(record.occurred_us),
        job_number: record.job_number,
        record: bytes,
        repeated: false,
        held_device_seq: record.device_seq,
    }
}

/// Writes a record and moves `head` to it. Encoded here, once and for all.
fn insert(
    tx: &Transaction<'_>,
    head: &mut Head,
    record: &v1::Record,
) -> Result<Kept, JournalError> {
    let bytes = record.encode_to_vec();
    let hash = head.hash.then(&bytes);
    let job_number = (record.job_number > 0).then(|| to_sql(record.job_number));
    let mut statement = tx.prepare_cached(
        "INSERT INTO record (seq, event_id, device, device_seq, job_number, record, hash)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
    )?;
    statement.execute((
        to_sql(record.seq),
        &record.event_id,
        &record.device,
        to_sql(record.device_seq),
        job_number,
        &bytes,
        hash.0,
    ))?;
    *head = Head {
        seq: record.seq,
        hash,
        received: Micros(record.received_us),
        job_number: head.job_number.max(record.job_number),
    };
    Ok(kept(record, bytes))
}

fn entry_of(tx: &Transaction<'_>, event_id: &[u8]) -> Result<Option<LogEntry>, JournalError> {
    let mut statement =
        tx.prepare_cached("SELECT seq, record, hash, event_id, device, device_seq, coalesce(job_number, 0) FROM record WHERE event_id = ?1")?;
    Ok(statement.query_row([event_id], reader::entry).optional()?)
}

/// Whether the log has what a fact names, the posts before it in its batch included.
fn known(tx: &Transaction<'_>, named: InLog<'_>) -> Result<bool, JournalError> {
    match named {
        InLog::Job(number) => {
            let mut statement = tx.prepare_cached("SELECT 1 FROM record WHERE job_number = ?1")?;
            Ok(statement.exists([to_sql(number)])?)
        }
        InLog::Quote(id) => {
            let Some(entry) = entry_of(tx, id)? else {
                return Ok(false);
            };
            let fact = v1::Fact::decode(entry.decode()?.fact.as_slice()).unwrap_or_default();
            Ok(matches!(fact.kind, Some(Kind::QuoteDrafted(_))))
        }
    }
}

fn sample(
    tx: &Transaction<'_>,
    device: &str,
    boot_id: &str,
) -> Result<Option<Sample>, JournalError> {
    let mut statement = tx.prepare_cached(
        "SELECT boot_us, true_us FROM boot_clock WHERE device = ?1 AND boot_id = ?2",
    )?;
    Ok(statement
        .query_row((device, boot_id), |row| {
            Ok(Sample {
                boot_us: row.get(0)?,
                at: Micros(row.get(1)?),
            })
        })
        .optional()?)
}

fn put_sample(
    tx: &Transaction<'_>,
    device: &str,
    clocks: &v1::Clocks,
    now: Micros,
) -> Result<(), JournalError> {
    let mut statement = tx.prepare_cached(
        "INSERT INTO boot_clock (device, boot_id, boot_us, true_us) VALUES (?1, ?2, ?3, ?4)
         ON CONFLICT (device, boot_id) DO UPDATE SET boot_us = excluded.boot_us, true_us = excluded.true_us",
    )?;
    statement.execute((device, &clocks.boot_id, clocks.boot_us, now.0))?;
    Ok(())
}
