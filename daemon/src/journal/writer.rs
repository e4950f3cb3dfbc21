//! The one thread that writes: it takes what waits, appends it with one flush,
//! moves the facts on, and only then answers.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use baywright_terms::catalogue::Catalogue;
use baywright_terms::time::{Micros, SECOND_US};
use tokio::sync::{mpsc, oneshot, watch};

use super::JournalError;
use super::append::{Journal, Kept, Outcome, Step, append_batch_by_steps};
use super::follow::{Fenced, Follower, Standing, chain};
use super::post::Intake;
use super::refusal::Refusal;
use super::room::{Room, Taken};
use super::verify::Broken;
use crate::clock::Clock;
use crate::facts::{Answer, FactsError, Stored};
use crate::metrics::Metrics;

/// Posts that may wait. Some seconds of work on a slow disk; past that it is
/// better for a bay to hear so and to keep the post in its spool.
pub const QUEUE_POSTS_MAX: usize = 1_024;

/// Posts in one transaction. Bounds how long the first of them waits for the
/// last, and how much one power cut can take back.
pub const BATCH_POSTS_MAX: usize = 256;

/// The clock may be set back this far without a word: time services do so.
const CLOCK_BACK_SILENT_US: i64 = 2 * SECOND_US;

/// Where the log and its facts are. Readers wait on it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Heads {
    /// The last seq on disk.
    pub log_seq: u64,
    /// The last seq that readers of facts see.
    pub facts_seq: u64,
    pub facts: Standing,
    /// How often facts were opened: a reader of an earlier opening may hold a
    /// file that is no longer there.
    pub facts_opened: u64,
    pub catalogue_revision: u64,
    /// Why nothing can be appended, if so.
    pub read_only: Option<String>,
    /// The writer has ended.
    pub closed: bool,
}

/// A kept post with what the fold has to say about it.
#[derive(Debug, Clone, PartialEq)]
pub struct Receipt {
    pub kept: Kept,
    /// `None`: facts are behind.
    pub answer: Option<Answer>,
    pub catalogue_revision: u64,
}

/// Where the answer to a post goes, with the post's place in the queue.
struct Reply {
    answer: oneshot::Sender<Result<Receipt, Refusal>>,
    _taken: Taken,
}

impl Reply {
    /// Whoever went away has the post in the log all the same.
    fn send(self, answer: Result<Receipt, Refusal>) {
        let _ = self.answer.send(answer);
    }
}

enum Task {
    Post(Box<Intake>, Reply),
    Follow(Result<Box<dyn Follower>, FactsError>),
    Retry,
    ReadOnly(Broken),
    Alive(oneshot::Sender<()>),
    Stop,
}

/// Gives posts to the writer. Cheap to clone.
#[derive(Debug, Clone)]
pub struct Writer {
    tasks: mpsc::Sender<Task>,
    heads: watch::Receiver<Heads>,
    metrics: Arc<Metrics>,
    room: Room,
}

impl std::fmt::Debug for Task {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Task::Post(..) => "Post",
            Task::Follow(_) => "Follow",
            Task::Retry => "Retry",
            Task::ReadOnly(_) => "ReadOnly",
            Task::Alive(_) => "Alive",
            Task::Stop => "Stop",
        })
    }
}

/// The answer to a post, when it comes.
#[derive(Debug)]
pub struct Pending(oneshot::Receiver<Result<Receipt, Refusal>>);

impl Pending {
    /// Waits until the post is on disk or refused.
    pub async fn answer(self) -> Result<Receipt, Refusal> {
        // The writer answers everything it took, so this is its end.
        self.0.await.unwrap_or(Err(Refusal::Stopping))
    }
}

impl Writer {
    /// Starts the thread. It ends after [`Writer::stop`].
    ///
    /// # Errors
    /// If the system gives no thread.
    pub fn start(
        journal: Journal,
        clock: Arc<dyn Clock>,
        read_only: Option<Broken>,
    ) -> std::io::Result<(Self, JoinHandle<()>)> {
        Self::start_counting(journal, clock, read_only, Arc::default())
    }

    /// The same, counting what it does.
    ///
    /// # Errors
    /// If the system gives no thread.
    pub fn start_counting(
        journal: Journal,
        clock: Arc<dyn Clock>,
        read_only: Option<Broken>,
        metrics: Arc<Metrics>,
    ) -> std::io::Result<(Self, JoinHandle<()>)> {
        let (tasks, queue) = mpsc::channel(QUEUE_POSTS_MAX);
        let (desk, seen) = Desk::counting(journal, clock, read_only, Arc::clone(&metrics));
        let thread = std::thread::Builder::new()
            .name("log-writer".to_owned())
            .spawn(move || desk.run(queue))?;
        let writer = Self {
            tasks,
            heads: seen,
            metrics,
            room: Room::new(),
        };
        Ok((writer, thread))
    }

    /// Hands over a post; its answer comes when it is on disk.
    ///
    /// # Errors
    /// If too many posts wait, or the daemon is stopping.
    pub fn post(&self, intake: Intake) -> Result<Pending, Refusal> {
        let (answer, pending) = oneshot::channel();
        let handed_over = self.room.for_person(&intake).and_then(|taken| {
            let reply = Reply {
                answer,
                _taken: taken,
            };
            let task = Task::Post(Box::new(intake), reply);
            self.tasks.try_send(task).map_err(|error| match error {
                mpsc::error::TrySendError::Full(_) => Refusal::QueueFull,
                mpsc::error::TrySendError::Closed(_) => Refusal::Stopping,
            })
        });
        handed_over.inspect_err(|refusal| self.metrics.refused(refusal))?;
        Ok(Pending(pending))
    }

    /// Hands over a post, waiting for room: for streams, which can be held up.
    ///
    /// # Errors
    /// If the daemon is stopping.
    pub async fn post_when_room(&self, intake: Intake) -> Result<Pending, Refusal> {
        let (answer, pending) = oneshot::channel();
        let reply = Reply {
            answer,
            _taken: self.room.for_stream(&intake).await?,
        };
        self.tasks
            .send(Task::Post(Box::new(intake), reply))
            .await
            .map_err(|_| Refusal::Stopping)?;
        Ok(Pending(pending))
    }

    /// Hands over the opened facts, or why they could not be opened.
    pub fn follow(&self, opened: Result<Box<dyn Follower>, FactsError>) {
        // Refused only after the end, when nobody asks for facts any more.
        let _ = self.tasks.blocking_send(Task::Follow(opened));
    }

    /// Asks facts that are behind to try again.
    pub async fn retry_facts(&self) {
        let _ = self.tasks.send(Task::Retry).await;
    }

    /// Stops appending for good: the log is not what was appended.
    pub fn read_only(&self, broken: Broken) {
        let _ = self.tasks.blocking_send(Task::ReadOnly(broken));
    }

    /// Waits until the thread has answered what came before: it works.
    /// False if it has ended.
    pub async fn alive(&self) -> bool {
        let (reply, answered) = oneshot::channel();
        self.tasks.send(Task::Alive(reply)).await.is_ok() && answered.await.is_ok()
    }

    /// Takes no more posts, answers those that wait, and ends the thread.
    pub async fn stop(&self) {
        let _ = self.tasks.send(Task::Stop).await;
    }

    /// Posts that wait to be taken, and other work for the thread.
    pub fn waiting(&self) -> usize {
        QUEUE_POSTS_MAX.saturating_sub(self.tasks.capacity())
    }

    /// Where the log is, now and whenever it moves.
    pub fn heads(&self) -> watch::Receiver<Heads> {
        self.heads.clone()
    }
}

/// What the thread does, without the thread: nobody else writes either
/// database. The simulation runs it by itself.
#[derive(Debug)]
pub struct Desk {
    journal: Journal,
    facts: Fenced,
    clock: Arc<dyn Clock>,
    heads: watch::Sender<Heads>,
    metrics: Arc<Metrics>,
}

impl Desk {
    /// A desk over an open log, whose facts are still to come.
    pub fn new(
        journal: Journal,
        clock: Arc<dyn Clock>,
        read_only: Option<Broken>,
    ) -> (Self, watch::Receiver<Heads>) {
        Self::counting(journal, clock, read_only, Arc::default())
    }

    /// The same, counting what it does.
    fn counting(
        journal: Journal,
        clock: Arc<dyn Clock>,
        read_only: Option<Broken>,
        metrics: Arc<Metrics>,
    ) -> (Self, watch::Receiver<Heads>) {
        let (heads, seen) = watch::channel(Heads {
            log_seq: journal.head().seq,
            facts_seq: 0,
            facts: Standing::Opening,
            facts_opened: 0,
            catalogue_revision: 0,
            read_only: read_only.map(|broken| broken.to_string()),
            closed: false,
        });
        let desk = Self {
            journal,
            facts: Fenced::opening(),
            clock,
            heads,
            metrics,
        };
        (desk, seen)
    }

    fn run(mut self, mut queue: mpsc::Receiver<Task>) {
        let mut intakes = Vec::new();
        let mut replies = Vec::new();
        while let Some(first) = queue.blocking_recv() {
            let mut next = Some(first);
            let mut other = None;
            while let Some(task) = next {
                match task {
                    Task::Post(intake, reply) => {
                        intakes.push(*intake);
                        replies.push(reply);
                    }
                    // Takes its turn after the posts that came before it.
                    task => {
                        other = Some(task);
                        break;
                    }
                }
                next = (intakes.len() < BATCH_POSTS_MAX)
                    .then(|| queue.try_recv().ok())
                    .flatten();
            }
            if !intakes.is_empty() {
                let mut waiting = replies.drain(..);
                self.append(&intakes, &mut |_| Ok(()), &mut |answer| {
                    if let Some(reply) = waiting.next() {
                        reply.send(answer);
                    }
                });
                drop(waiting);
                intakes.clear();
            }
            match other {
                Some(Task::Follow(opened)) => self.follow(opened),
                Some(Task::Retry) => {
                    self.facts.retry();
                    self.tell();
                }
                Some(Task::ReadOnly(broken)) => {
                    tracing::error!(error = %broken, "the log is not what was appended: it is read-only now");
                    self.heads
                        .send_modify(|heads| heads.read_only = Some(broken.to_string()));
                }
                Some(Task::Alive(reply)) => {
                    // Whoever asked may have gone.
                    let _ = reply.send(());
                }
                // Ends the loop when what waits is answered.
                Some(Task::Stop) => queue.close(),
                Some(Task::Post(..)) | None => {}
            }
        }
        self.close();
    }

    /// Leaves one file behind, with nothing to replay.
    pub fn close(&self) {
        if let Err(error) = self.journal.checkpoint() {
            tracing::warn!(error = %chain(&error), "the write-ahead log stays for the next start to replay");
        }
        self.heads.send_modify(|heads| heads.closed = true);
    }

    /// Takes the opened facts, and moves them to the end of the log.
    pub fn follow(&mut self, opened: Result<Box<dyn Follower>, FactsError>) {
        self.facts.take(opened);
        self.tell();
    }

    /// Appends posts with one flush, moves the facts on, and gives the answer
    /// to each, in order. The facts are committed after the answers.
    pub fn append(
        &mut self,
        intakes: &[Intake],
        at_step: &mut dyn FnMut(Step) -> Result<(), JournalError>,
        answer_next: &mut dyn FnMut(Result<Receipt, Refusal>),
    ) {
        let why = self.heads.borrow().read_only.clone();
        if let Some(why) = why {
            for _ in intakes {
                let refusal = Refusal::ReadOnly { why: why.clone() };
                self.metrics.refused(&refusal);
                answer_next(Err(refusal));
            }
            return;
        }
        let now = self.clock.now();
        self.note_clock(now);
        let begun = Instant::now();
        let outcomes = fenced_append(
            &mut self.journal,
            self.facts.catalogue(),
            intakes,
            now,
            at_step,
        );
        let told = outcomes
            .iter()
            .map(|outcome| outcome.as_ref().map(|kept| kept.repeated));
        self.metrics.batch(told, begun.elapsed());
        let stored: Vec<Stored> = outcomes
            .iter()
            .flatten()
            .filter(|kept| !kept.repeated)
            .map(|kept| Stored {
                seq: kept.seq,
                record: kept.record.clone(),
            })
            .collect();
        let mut folding = Duration::ZERO;
        let answers = if stored.is_empty() {
            None
        } else {
            // Watchers need not wait for the fold.
            let head = self.journal.head().seq;
            self.heads.send_modify(|heads| heads.log_seq = head);
            let begun = Instant::now();
            let answers = self.facts.absorb(&stored);
            folding += begun.elapsed();
            answers
        };
        let catalogue_revision = self.facts.catalogue_revision();
        for outcome in outcomes {
            answer_next(outcome.map(|kept| Receipt {
                answer: self.answer(&kept, answers.as_deref()),
                kept,
                catalogue_revision,
            }));
        }
        if answers.is_some() {
            let begun = Instant::now();
            self.facts.commit();
            self.metrics.folded(folding + begun.elapsed());
        }
        if !stored.is_empty() {
            self.tell();
            // Nobody waits for it any more.
            for entry in &stored {
                self.metrics.delays().note(&entry.record);
            }
        }
    }

    fn answer(&mut self, kept: &Kept, answers: Option<&[Answer]>) -> Option<Answer> {
        if let Some(answers) = answers
            && let Ok(at) = answers.binary_search_by_key(&kept.seq, |answer| answer.seq)
        {
            return answers.get(at).cloned();
        }
        if kept.repeated {
            return self.facts.answer_for(kept.event_id);
        }
        None
    }

    fn tell(&self) {
        let facts_seq = self.facts.cursor();
        let facts = self.facts.standing();
        let facts_opened = self.facts.opened();
        let catalogue_revision = self.facts.catalogue_revision();
        self.heads.send_modify(|heads| {
            heads.facts_seq = facts_seq;
            heads.facts = facts;
            heads.facts_opened = facts_opened;
            heads.catalogue_revision = catalogue_revision;
        });
    }

    fn note_clock(&self, now: Micros) {
        let behind_us = self.journal.head().received.0.saturating_sub(now.0);
        if behind_us > CLOCK_BACK_SILENT_US {
            tracing::warn!(
                behind_us,
                "this computer's clock is behind the last record; `received` stands until it has caught up"
            );
        }
    }
}

/// Appends, taking a panic for what it is: a fault of one of the posts or of
/// this program, never a reason to stop taking posts. The transaction rolls
/// back as it is dropped, and the head moves only after a commit.
fn fenced_append(
    journal: &mut Journal,
    catalogue: &Catalogue,
    intakes: &[Intake],
    now: Micros,
    at_step: &mut dyn FnMut(Step) -> Result<(), JournalError>,
) -> Vec<Outcome> {
    let mut fenced = |intakes: &[Intake]| {
        catch_unwind(AssertUnwindSafe(|| {
            append_batch_by_steps(journal, catalogue, intakes, now, &mut |step| at_step(step))
        }))
        .ok()
    };
    if let Some(outcomes) = fenced(intakes) {
        return outcomes;
    }
    tracing::error!(
        posts = intakes.len(),
        "appending panicked; trying one by one"
    );
    intakes
        .iter()
        .map(|intake| {
            fenced(std::slice::from_ref(intake))
                .and_then(|mut outcomes| outcomes.pop())
                .unwrap_or_else(|| {
                    Err(Refusal::NotWritten {
                        why: "an internal fault; the daemon's trace names it".to_owned(),
                    })
                })
        })
        .collect()
}
