//! How long folding takes. Prints what it measures; the bounds are loose, for
//! a busy machine and an unoptimised build.

use std::sync::Arc;
use std::time::{Duration, Instant};

use baywright_proto::v1::{self, fact::Kind};
use baywright_terms::time::Micros;
use prost::Message as _;

use super::catalogue::{WORKERS, catalogue};
use super::log::Log;
use super::shop::{MINUTE_US, START_US};
use super::shop_record;
use crate::facts::reader::FactsReader;
use crate::facts::rows::Table;
use crate::facts::{Facts, FactsError, Stored};
use crate::learner::Learner;

/// Events of the measured log where the environment asks for no other number.
const EVENTS: usize = 3_000;

/// Posts measured one by one.
const POSTS: usize = 400;

/// One post in so many lay an hour in a spool.
const LATE_EVERY: u64 = 20;

/// Jobs of the measured twelve weeks where the environment asks for no other
/// number; the shop of the promise has 1,500.
const JOBS: u64 = 60;

/// Twelve weeks.
const WEEKS_US: i64 = 12 * 7 * 24 * 60 * MINUTE_US;

/// A shop that works as people do: jobs come, are worked on stage by stage,
/// coated section by section and released, one after the other in each bay.
pub(super) struct Working {
    pub(super) seq: u64,
    pub(super) now_us: i64,
    queue: Vec<(Kind, &'static str)>,
    pub(super) jobs: u64,
    /// The event that opened the job at work.
    job: Vec<u8>,
    /// Between two posts.
    pub(super) step_us: i64,
    /// Several types, workers and grades, and stages that differ in length.
    varied: bool,
}

/// Types of the varied shop, each with its vehicle class.
const TYPES: [(&str, &str); 6] = [
    ("trike-coat", "trike"),
    ("trike-wash", "trike"),
    ("saloon-coat", "saloon"),
    ("saloon-wash", "saloon"),
    ("truck-coat", "truck"),
    ("quad-coat", "quad"),
];

impl Working {
    fn new() -> Self {
        let first = Kind::CatalogueSet(v1::CatalogueSet {
            learned_up_to_seq: 0,
            valid_from_us: START_US,
            changed: Some(catalogue()),
        });
        Self {
            seq: 0,
            now_us: START_US,
            queue: vec![(first, "bay-1")],
            jobs: 0,
            job: Vec::new(),
            step_us: 4 * MINUTE_US,
            varied: false,
        }
    }

    /// A shop that there is something to learn from.
    pub(super) fn varied() -> Self {
        let mut catalogue = catalogue();
        let first = catalogue.job_types.remove(0);
        catalogue.job_types = TYPES
            .iter()
            .map(|(code, class)| v1::JobType {
                code: (*code).to_owned(),
                vehicle_class: (*class).to_owned(),
                ..first.clone()
            })
            .collect();
        let first = Kind::CatalogueSet(v1::CatalogueSet {
            learned_up_to_seq: 0,
            valid_from_us: START_US,
            changed: Some(catalogue),
        });
        Self {
            queue: vec![(first, "bay-1")],
            varied: true,
            ..Self::new()
        }
    }

    /// A number that the jobs and their stages differ by; the same for ever.
    fn part(&self, salt: u64, below: u64) -> u64 {
        let mixed = (self.jobs + salt * 7_919).wrapping_mul(0x9E37_79B9_7F4A_7C15);
        (mixed >> 33) % below
    }

    pub(super) fn records(&mut self, count: usize) -> Vec<Stored> {
        (0..count).map(|_| self.record()).collect()
    }

    fn record(&mut self) -> Stored {
        if self.queue.is_empty() {
            self.open_job();
        }
        let (kind, bay) = self.queue.remove(0);
        self.seq += 1;
        let hundredths = match &kind {
            // Half to twice as long.
            Kind::StageFinished(_) if self.varied => 50 + self.part(self.seq, 150),
            _ => 100,
        };
        self.now_us += self.step_us * i64::try_from(hundredths).unwrap() / 100;
        let late = if self.seq.is_multiple_of(LATE_EVERY) {
            60
        } else {
            0
        };
        let mut id = [0; 16];
        id[..8].copy_from_slice(&self.seq.to_be_bytes());
        let job = match &kind {
            Kind::JobOpened(_) => {
                self.job = id.to_vec();
                None
            }
            // Once it is in, a job is the one in its bay.
            Kind::JobMoved(_) => Some(v1::JobRef {
                job: Some(v1::job_ref::Job::OpeningEventId(self.job.clone())),
            }),
            _ => None,
        };
        let fact = v1::Fact {
            bay: bay.to_owned(),
            job,
            by: vec![self.worker().to_owned()],
            kind: Some(kind),
            ..v1::Fact::default()
        };
        shop_record(self.seq, id, &fact, self.now_us - late * MINUTE_US)
    }

    /// In a plain shop one person works.
    fn worker(&self) -> &'static str {
        if self.varied {
            WORKERS[usize::try_from(self.part(1, 3)).unwrap()]
        } else {
            "ana"
        }
    }

    /// The records of one whole job.
    pub(super) fn job(&mut self) -> Vec<Stored> {
        if self.queue.is_empty() {
            self.open_job();
        }
        self.records(self.queue.len())
    }

    fn open_job(&mut self) {
        self.jobs += 1;
        let grade = |salt| u32::try_from(1 + self.part(salt, 5)).unwrap();
        let grades = v1::Grades {
            soil: grade(2),
            defects: grade(3),
            intricacy: grade(4),
        };
        let (job_type, _) = if self.varied {
            TYPES[usize::try_from(self.part(5, 6)).unwrap()]
        } else {
            TYPES[0]
        };
        let bay = if self.jobs.is_multiple_of(2) {
            "bay-1"
        } else {
            "bay-2"
        };
        let mut add = |kind| self.queue.push((kind, bay));
        add(Kind::JobOpened(v1::JobOpened {
            job_type: job_type.to_owned(),
            vehicle: "red three-wheeler".to_owned(),
            grades: self.varied.then_some(grades),
            ..v1::JobOpened::default()
        }));
        add(Kind::JobMoved(v1::JobMoved {
            place: bay.to_owned(),
        }));
        for stage in ["prewash", "decon", "polish", "coat"] {
            let stage = || stage.to_owned();
            add(Kind::StageStarted(v1::StageStarted {
                stage: stage(),
                ..v1::StageStarted::default()
            }));
            add(Kind::ProductUsed(v1::ProductUsed {
                product: "iron-remover".to_owned(),
                quantity: Some(v1::product_used::Quantity::Amount(v1::Amount {
                    decimal: "120".to_owned(),
                    unit: v1::Unit::Ml.into(),
                })),
                ..v1::ProductUsed::default()
            }));
            if stage() == "coat" {
                add(Kind::AmbientRead(v1::AmbientRead {
                    air_milli_c: 21_000,
                    humidity_milli_pct: 46_000,
                    surface_milli_c: Some(20_000),
                    source: 1,
                }));
                for section in 1..=10 {
                    let panel = || "nose".to_owned();
                    add(Kind::PanelCoated(v1::PanelCoated {
                        panel: panel(),
                        section,
                        product: "hard-coat".to_owned(),
                        ..v1::PanelCoated::default()
                    }));
                    add(Kind::PanelLevelled(v1::PanelLevelled {
                        panel: panel(),
                        section,
                        result: 1,
                        ..v1::PanelLevelled::default()
                    }));
                }
            }
            add(Kind::StageFinished(v1::StageFinished {
                stage: stage(),
                result: 1,
            }));
        }
        add(Kind::JobReleased(v1::JobReleased {}));
    }
}

#[test]
fn catching_up_and_one_post_at_a_time_are_quick() {
    let events = std::env::var("BAYWRIGHT_TEST_EVENTS")
        .ok()
        .and_then(|text| text.parse().ok())
        .unwrap_or(EVENTS);
    let mut shop = Working::new();
    let log = Log::of(shop.records(events));
    let folder = tempfile::tempdir().unwrap();

    let begun = Instant::now();
    let mut facts = Facts::open(folder.path(), log.boxed(), &mut |_| {}).unwrap();
    let built = begun.elapsed();

    let mut in_order = Vec::new();
    let mut late = Vec::new();
    for _ in 0..POSTS {
        let batch = shop.records(1);
        log.push(&batch);
        let begun = Instant::now();
        facts.absorb(&batch).unwrap();
        facts.commit().unwrap();
        if shop.seq.is_multiple_of(LATE_EVERY) {
            late.push(begun.elapsed());
        } else {
            in_order.push(begun.elapsed());
        }
    }
    println!(
        "{events} events built in {:.2} s, state {} bytes; one post folded and committed: {}; an hour late: {}",
        built.as_secs_f64(),
        facts.about.live.len(),
        spread(&mut in_order),
        spread(&mut late),
    );
    assert!(built.as_secs() < 60, "{built:?}");
    assert!(
        in_order[in_order.len() / 2].as_millis() < 50,
        "{in_order:?}"
    );
}

/// Half and P99 of some durations, in words.
fn spread(took: &mut [Duration]) -> String {
    took.sort();
    let at = |percent: usize| took[(took.len() - 1) * percent / 100].as_secs_f64() * 1e3;
    format!("half {:.3} ms, P99 {:.3} ms", at(50), at(99))
}

/// Twelve weeks as they are asked for by `bay week --weeks 12`, from the
/// database to the bytes of the answer, beside the least that reading the same
/// tables costs.
#[test]
fn twelve_weeks_are_read_and_worked_out_quickly() {
    let jobs = std::env::var("BAYWRIGHT_TEST_JOBS")
        .ok()
        .and_then(|text| text.parse().ok())
        .unwrap_or(JOBS);
    let mut shop = Working::new();
    let first = shop.records(1);
    shop.open_job();
    let per_job = u64::try_from(shop.queue.len()).unwrap();
    shop.step_us = WEEKS_US / i64::try_from(jobs * per_job).unwrap();
    let records = shop.records(usize::try_from(jobs * per_job).unwrap());
    let events = records.len();
    let log = Log::of([first, records].concat());
    let folder = tempfile::tempdir().unwrap();
    drop(Facts::open(folder.path(), log.boxed(), &mut |_| {}).unwrap());
    let reader = FactsReader::open(folder.path(), Arc::new(log)).unwrap();
    let now = Micros(shop.now_us);
    let (from, until) = (Micros(START_US), now.saturating_add(1));
    let asked = v1::WeekRequest {
        weeks: 13,
        history_weeks: 13,
        ..v1::WeekRequest::default()
    };

    let mut bare = Duration::ZERO;
    let mut read = Duration::ZERO;
    let mut rows = 0;
    reader
        .view(|view| {
            let begun = Instant::now();
            for table in Table::ALL {
                let sql = format!("SELECT * FROM {}", table.shape().name);
                let mut statement = view.conn.prepare(&sql)?;
                let columns = statement.column_count();
                let mut found = statement.query([])?;
                while let Some(row) = found.next()? {
                    for column in 0..columns {
                        std::hint::black_box(row.get_ref(column)?);
                    }
                }
            }
            bare = begun.elapsed();
            let begun = Instant::now();
            rows = view.rows_for_span(from, until, now)?.len();
            read = begun.elapsed();
            Ok::<_, FactsError>(())
        })
        .unwrap();
    let begun = Instant::now();
    let week = reader.week(&Learner::default(), &asked, now).unwrap();
    let answered = begun.elapsed();
    let begun = Instant::now();
    let bytes = week.encode_to_vec().len();
    let encoded = begun.elapsed();
    println!(
        "{events} events of {jobs} jobs: plain SQL over every table {bare:?}; {rows} rows gathered \
         {read:?}; the answer {answered:?}; {bytes} bytes encoded {encoded:?}"
    );
    assert_eq!(u64::try_from(week.jobs.len()).unwrap(), jobs);
    assert_eq!(week.history.len(), 13);
    assert!(answered.as_secs() < 30, "{answered:?}");
}
