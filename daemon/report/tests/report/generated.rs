//! Any shop at all: posts at random through the fold, and what must hold of
//! their figures whatever they are.

use baywright_floor::event::{Event, EventId, JobKey, JobRef, Position, Seq, TimeBasis};
use baywright_floor::fact::{Fact, Grades, JobOpened};
use baywright_floor::memory::Book;
use baywright_floor::row::Row;
use baywright_report::figures::Week;
use baywright_report::{Input, week};
use baywright_terms::catalogue::Catalogue;
use baywright_terms::time::{DAY_US, MINUTE_US, Micros};
use proptest::prelude::*;

use crate::made::{at, bay, code, shop};

/// Posts of one bay's terminal, in the order in which they happened.
pub(crate) struct Posts {
    book: Book,
    seq: u64,
    first: Option<Micros>,
    last: Option<Micros>,
}

/// The key of the nth job of a test.
fn key(n: usize) -> JobKey {
    EventId((0xA000 + u128::try_from(n).unwrap()).to_be_bytes())
}

impl Posts {
    pub(crate) fn new(catalogue: Catalogue) -> Self {
        let mut posts = Self {
            book: Book::default(),
            seq: 0,
            first: None,
            last: None,
        };
        let valid_from = at("2026-01-01T00:00");
        let changed = Box::new(catalogue);
        let fact = Fact::CatalogueSet {
            learned_up_to: None,
            valid_from,
            changed,
        };
        posts.post(valid_from, None, "", fact);
        posts
    }

    fn post(&mut self, when: Micros, job: Option<usize>, by: &str, fact: Fact) {
        self.seq += 1;
        let opening = matches!(fact, Fact::JobOpened(_));
        let own = EventId(u128::from(self.seq).to_be_bytes());
        let id = job.filter(|_| opening).map_or(own, key);
        self.first.get_or_insert(when);
        self.last = self.last.max(Some(when));
        self.book.absorb(&Event {
            seq: Seq(self.seq),
            id,
            position: Position {
                occurred: when,
                device: "b1".into(),
                device_seq: self.seq,
            },
            received: when,
            time_basis: TimeBasis::Boot,
            clock_offset_us: 0,
            bay: code("bay-1"),
            by: if by.is_empty() {
                Vec::new()
            } else {
                vec![code(by)]
            },
            job: job
                .filter(|_| !opening)
                .map_or(JobRef::Here, |n| JobRef::Job(key(n))),
            job_number: opening.then_some(self.seq),
            sent_again: false,
            fact,
        });
    }

    pub(crate) fn open(&mut self, when: Micros, n: usize) {
        let opened = JobOpened {
            quote: None,
            job_type: code("unsorted"),
            vehicle: "grey van".into(),
            vehicle_class: code("van"),
            grades: Grades::default(),
            panels: Vec::new(),
            repaint_age_days: 0,
            comeback_of: None,
            handle: String::new(),
            agreed: None,
        };
        self.post(when, Some(n), "", Fact::JobOpened(opened));
    }

    pub(crate) fn bring(&mut self, when: Micros, n: usize, place: &str) {
        let place = code(place);
        self.post(when, Some(n), "", Fact::JobMoved { place });
    }

    pub(crate) fn release(&mut self, when: Micros, n: usize) {
        self.post(when, Some(n), "", Fact::JobReleased);
    }

    pub(crate) fn week(&self, from: Micros, until: Micros, as_of: Micros) -> Week {
        let mut rows: Vec<Row> = self.book.rows().cloned().collect();
        rows.extend(self.book.provisional(as_of));
        let input = Input {
            rows: &rows,
            catalogues: &self.book.fold.cats,
            as_of,
            as_of_seq: Seq(self.seq),
            log_from: self.first,
            log_until: self.last,
        };
        week(&input, "span", from, until)
    }

    fn act(&mut self, when: Micros, n: usize, act: &Act) {
        let worker = ["ana", "ben", ""][act.worker % 3];
        let stage = code(["decon", "polish", "coat"][act.stage % 3]);
        let reason = ["", "part is missing", "lunch"][act.stage % 3].to_owned();
        let job = Some(n);
        match act.what {
            0 => self.bring(when, n, ["bay-1", "bay-2", "holding"][act.stage % 3]),
            1 | 2 => {
                let (panels, rework) = (Vec::new(), act.stage == 1);
                let fact = Fact::StageStarted {
                    stage,
                    panels,
                    rework,
                };
                self.post(when, job, worker, fact);
            }
            3 => {
                let person = act.worker == 0;
                let fact = Fact::StagePaused {
                    stage,
                    person,
                    reason,
                };
                self.post(when, job, worker, fact);
            }
            4 => {
                let again = act.stage == 2;
                self.post(when, job, worker, Fact::StageFinished { stage, again });
            }
            5 => {
                let (product, panels) = (code("iron-remover"), Vec::new());
                self.post(when, job, worker, Fact::DwellStarted { product, panels });
            }
            _ => self.release(when, n),
        }
    }
}

#[derive(Debug, Clone)]
struct Act {
    gap_min: i64,
    job: usize,
    what: u8,
    worker: usize,
    stage: usize,
}

fn acts() -> impl Strategy<Value = Vec<Act>> {
    let act = (0_i64..400, 0_usize..5, 0_u8..7, 0_usize..3, 0_usize..3);
    let act = act.prop_map(|(gap_min, job, what, worker, stage)| Act {
        gap_min,
        job,
        what,
        worker,
        stage,
    });
    prop::collection::vec(act, 1..60)
}

const JOBS: usize = 5;

/// Acts one after the other, over the end of summer time; a job that somebody
/// acts on is opened first. Gives the instant after the last.
fn played(acts: &[Act], release_all: bool) -> (Posts, Micros, Micros) {
    let mut catalogue = shop();
    catalogue.bays.insert(code("bay-1"), bay(1));
    catalogue.bays.insert(code("bay-2"), bay(2));
    let mut posts = Posts::new(catalogue);
    let begin = at("2026-10-21T06:00");
    let mut now = begin;
    let mut opened = [false; JOBS];
    for act in acts {
        now = now.saturating_add(act.gap_min * MINUTE_US);
        if !std::mem::replace(&mut opened[act.job], true) {
            posts.open(now, act.job);
        }
        posts.act(now, act.job, act);
    }
    if release_all {
        for n in (0..JOBS).filter(|n| opened[*n]) {
            now = now.saturating_add(MINUTE_US);
            posts.release(now, n);
        }
    }
    (posts, begin, now)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    /// Little's law on a sample path that starts and ends empty: L · T = λ · W · T,
    /// which is the integral of the jobs in progress and the sum of the cycles.
    #[test]
    fn jobs_in_progress_are_the_sum_of_the_cycles(acts in acts()) {
        let (posts, from, end) = played(&acts, true);
        let until = end.saturating_add(DAY_US);
        let week = posts.week(from, until, until);
        let cycles: i64 = week.jobs.iter().map(|j| j.cycle_us.unwrap()).sum();
        prop_assert_eq!(week.flow.in_progress_us, cycles);
        prop_assert_eq!(week.flow.opened, week.flow.released);
    }

    /// Two spans that touch have together what one over both has.
    #[test]
    fn spans_that_touch_add_up(acts in acts(), cut_min in 0_i64..10_000) {
        let (posts, from, end) = played(&acts, false);
        let until = end.saturating_add(DAY_US);
        let cut = Micros(from.saturating_add(cut_min * MINUTE_US).0.min(until.0));
        let whole = posts.week(from, until, until);
        let parts = [posts.week(from, cut, until), posts.week(cut, until, until)];
        let sum = |of: &dyn Fn(&Week) -> i64| parts.iter().map(of).sum::<i64>();
        prop_assert_eq!(sum(&|w| w.flow.in_progress_us), whole.flow.in_progress_us);
        prop_assert_eq!(sum(&|w| w.flow.window_us), whole.flow.window_us);
        for bay in &whole.bays {
            let of = |w: &Week, of: &dyn Fn(&baywright_report::figures::WeekBay) -> i64| {
                w.bays.iter().filter(|b| b.bay == bay.bay).map(of).sum::<i64>()
            };
            prop_assert_eq!(sum(&|w| of(w, &|b| b.idle_us)), bay.idle_us);
            prop_assert_eq!(sum(&|w| of(w, &|b| b.empty_us)), bay.empty_us);
            let closed = |b: &baywright_report::figures::WeekBay| {
                b.idle.iter().filter(|i| i.reason == "closed").map(|i| i.idle_us).sum()
            };
            prop_assert_eq!(sum(&|w| of(w, &closed)), closed(bay));
        }
    }

    #[test]
    fn days_and_reasons_add_up_to_the_bay(acts in acts()) {
        let (posts, from, end) = played(&acts, false);
        let until = end.saturating_add(DAY_US);
        let week = posts.week(from, until, until);
        for bay in &week.bays {
            let idle: i64 = bay.idle.iter().map(|i| i.idle_us).sum();
            prop_assert_eq!(idle, bay.idle_us);
            prop_assert!(bay.idle.iter().all(|i| i.idle_us > 0));
            let days = week.days.iter().filter(|d| d.bay == bay.bay);
            let mut sums = [0; 6];
            for day in days {
                let parts = [
                    day.open_us,
                    day.hands_on_us,
                    day.waiting_us,
                    day.idle_us,
                    day.empty_us,
                    day.occupied_outside_open_us,
                ];
                let [open, hands_on, waiting, idle, empty, outside] = parts;
                prop_assert_eq!(hands_on + waiting + idle + empty, open + outside);
                for (sum, part) in sums.iter_mut().zip(parts) {
                    *sum += part;
                }
            }
            let expected = [
                bay.open_us,
                bay.hands_on_us,
                bay.waiting_us,
                bay.idle_us,
                bay.empty_us,
                bay.occupied_outside_open_us,
            ];
            prop_assert_eq!(sums, expected);
            let longest = bay.longest_stage.as_ref().map_or(0, |(_, us)| *us);
            prop_assert!(longest <= bay.hands_on_us);
        }
    }
}
