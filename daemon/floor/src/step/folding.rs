//! One event being folded: what every family of facts needs.

use baywright_terms::amount::Money;
use baywright_terms::catalogue::is_no_bay;
use baywright_terms::code::Code;
use baywright_terms::time::Micros;

use crate::catalogues::{Catalogues, Snapshot};
use crate::event::{Event, JobKey};
use crate::ledger::Entry;
use crate::notice::Notice;
use crate::reply;
use crate::row::{NoticeRow, Row};
use crate::state::{Begun, Hand, Job, State};

pub(crate) struct Folding<'a> {
    pub(crate) state: &'a mut State,
    pub(crate) cats: &'a Catalogues,
    /// The catalogue in force at the event.
    pub(crate) snapshot: &'a Snapshot,
    pub(crate) entry: &'a Entry,
    /// The event with the code or job that the owner's settlement put in.
    pub(crate) event: &'a Event,
    pub(crate) at: Micros,
    /// The job it counts for.
    pub(crate) job: Option<JobKey>,
    /// Workers it counts for: those named, else filled in.
    pub(crate) by: Vec<Code>,
    pub(crate) out: &'a mut Vec<Row>,
}

impl<'a> Folding<'a> {
    pub(crate) fn new(
        state: &'a mut State,
        cats: &'a Catalogues,
        snapshot: &'a Snapshot,
        entry: &'a Entry,
        event: &'a Event,
        out: &'a mut Vec<Row>,
    ) -> Self {
        let mut by: Vec<Code> = Vec::with_capacity(event.by.len());
        for worker in event.by.iter().filter(|w| !w.is_empty()) {
            if !by.contains(worker) {
                by.push(worker.clone());
            }
        }
        Self {
            state,
            cats,
            snapshot,
            entry,
            event,
            at: event.position.occurred,
            job: None,
            by,
            out,
        }
    }

    pub(crate) fn counted(&self) -> Row {
        Row::Counted {
            event: self.event.id,
            seq: self.event.seq,
            job: self.job,
            by: self.by.clone(),
        }
    }

    /// Minor units of a price; `None` where it is in another currency than the
    /// shop's, which no figure can add to the others.
    pub(crate) fn shop_price(&self, price: &Money) -> Option<i64> {
        let shop = self.snapshot.catalogue.shop.as_ref();
        let ours = shop.is_none_or(|shop| shop.currency == price.currency);
        (price.currency.is_empty() || ours).then_some(price.minor)
    }

    /// The owner leaves it out of every figure.
    pub(crate) fn left_out(&self) -> bool {
        reply::left_out(&self.entry.settled, &Code::new(""))
    }

    pub(crate) fn begun(&self) -> Begun {
        Begun {
            event: self.event.id,
            seq: self.event.seq,
            at: self.at,
            bay: self.event.bay.clone(),
            settled: self.entry.settled.clone(),
        }
    }

    /// Says something about this event.
    pub(crate) fn notice(&mut self, notice: Notice) {
        self.out.push(Row::Notice(NoticeRow {
            event: self.event.id,
            seq: self.event.seq,
            at: self.at,
            bay: self.event.bay.clone(),
            job: self.job,
            settled: reply::to(&self.entry.settled, &notice).is_some(),
            notice,
        }));
    }

    /// Remembers that workers posted, for stretches that nothing will end.
    pub(crate) fn touch_posts(&mut self) {
        let mut hands: Vec<Hand> = self.by.iter().map(Hand::named).collect();
        if hands.is_empty() {
            hands.push(Hand::unnamed(&self.event.bay));
        }
        for hand in hands {
            if let Some(stretch) = self.state.hands.get_mut(&hand) {
                stretch.last_post = stretch.last_post.max(self.at);
            }
        }
    }

    /// Those named, else the unnamed worker of the bay where the work is.
    pub(crate) fn hands_or_unnamed(&self, bay: &Code) -> Vec<Hand> {
        if self.by.is_empty() {
            vec![Hand::unnamed(bay)]
        } else {
            self.by.iter().map(Hand::named).collect()
        }
    }

    /// Counts the event for a worker whom it concerned without naming them.
    pub(crate) fn fill_by(&mut self, hands: &[Hand]) {
        if !self.event.by.is_empty() {
            return;
        }
        for hand in hands.iter().filter(|h| !h.worker.is_empty()) {
            if !self.by.contains(&hand.worker) {
                self.by.push(hand.worker.clone());
            }
        }
    }

    /// The event's job where it is open.
    pub(crate) fn open_job(&mut self) -> Option<(JobKey, &mut Job)> {
        let key = self.job?;
        let job = self.state.jobs.get_mut(&key)?;
        job.is_open().then_some((key, job))
    }

    /// Where work on a job goes on: its bay, else the bay of the post.
    pub(crate) fn work_bay(&self, job: JobKey) -> Code {
        match self.state.jobs.get(&job) {
            Some(job) if !is_no_bay(job.place.as_str()) => job.place.clone(),
            _ => self.event.bay.clone(),
        }
    }
}

/// A notice about the event that began something, said when it ends.
pub(crate) fn notice_about(begun: &Begun, job: Option<JobKey>, notice: Notice) -> Row {
    Row::Notice(NoticeRow {
        event: begun.event,
        seq: begun.seq,
        at: begun.at,
        bay: begun.bay.clone(),
        job,
        settled: reply::to(&begun.settled, &notice).is_some(),
        notice,
    })
}
