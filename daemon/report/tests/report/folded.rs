//! Events in, figures out: the fold and the report together.

use baywright_floor::event::{Event, EventId, JobRef, Position, Seq, TimeBasis};
use baywright_floor::fact::{Fact, Grades, JobOpened, ProductUsed, UseSource, Used};
use baywright_floor::memory::Book;
use baywright_floor::row::Row;
use baywright_report::{Input, story, week};
use baywright_terms::amount::{Decimal, Ratio};
use baywright_terms::catalogue::Catalogue;
use baywright_terms::time::Micros;

use crate::made::{at, bay, code, hours, job_type, minutes, ml, product, shop, week_of};

/// Posts of one bay, in the order in which they happened.
struct Posts {
    book: Book,
    seq: u64,
}

impl Posts {
    fn post(&mut self, when: Micros, by: &str, fact: Fact) -> EventId {
        self.post_about(JobRef::Here, when, by, fact)
    }

    fn post_about(&mut self, job: JobRef, when: Micros, by: &str, fact: Fact) -> EventId {
        self.seq += 1;
        let id = EventId(u128::from(self.seq).to_be_bytes());
        let is_opening = matches!(fact, Fact::JobOpened(_));
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
            job,
            job_number: is_opening.then_some(118),
            sent_again: false,
            fact,
        });
        id
    }

    fn start(&mut self, when: &str, by: &str, stage: &str) {
        let stage = code(stage);
        let panels = Vec::new();
        let rework = false;
        self.post(
            at(when),
            by,
            Fact::StageStarted {
                stage,
                panels,
                rework,
            },
        );
    }

    fn finish(&mut self, when: &str, by: &str, stage: &str) {
        let (stage, again) = (code(stage), false);
        self.post(at(when), by, Fact::StageFinished { stage, again });
    }
}

fn catalogue() -> Catalogue {
    let mut catalogue = shop();
    catalogue.bays.insert(code("bay-1"), bay(1));
    catalogue.products.insert(code("soap"), product(None));
    let stages = [("decon", hours(1)), ("polish", hours(4))];
    let kind = job_type(&stages, &[("soap", ml(40))]);
    catalogue.job_types.insert(code("trike-coat"), kind);
    catalogue
}

/// Monday: opened at 9:00, decon by two people 9:15 to 10:00, a litre of a
/// 19:1 mix used, polish begun at 13:00 and never ended; Tuesday 8:30 released.
fn a_job() -> Posts {
    let mut posts = Posts {
        book: Book::default(),
        seq: 0,
    };
    let changed = Box::new(catalogue());
    let valid_from = at("2026-11-02T08:00");
    posts.post(
        valid_from,
        "",
        Fact::CatalogueSet {
            learned_up_to: None,
            valid_from,
            changed,
        },
    );
    let opened = JobOpened {
        quote: None,
        job_type: code("trike-coat"),
        vehicle: "red three-wheeler".into(),
        vehicle_class: code("trike"),
        grades: Grades::default(),
        panels: Vec::new(),
        repaint_age_days: 0,
        comeback_of: None,
        handle: String::new(),
        agreed: None,
    };
    let job = posts.post(at("2026-11-23T09:00"), "ana", Fact::JobOpened(opened));
    let (job, place) = (JobRef::Job(job), code("bay-1"));
    posts.post_about(job, at("2026-11-23T09:05"), "ana", Fact::JobMoved { place });
    let part = |digits| Decimal { digits, scale: 0 };
    let mix = Fact::MixMade {
        product: code("soap"),
        ratio: Some(Ratio {
            water_parts: part(19),
            product_parts: part(1),
        }),
        volume: Some(ml(5_000)),
        additions: Vec::new(),
    };
    posts.post(at("2026-11-23T09:10"), "ana", mix);
    posts.start("2026-11-23T09:15", "ana", "decon");
    posts.start("2026-11-23T09:15", "ben", "decon");
    let used = ProductUsed {
        product: code("soap"),
        used: Used::Amount(ml(1_000)),
        lot: String::new(),
        panels: Vec::new(),
        source: UseSource::Mix,
    };
    posts.post(at("2026-11-23T09:30"), "ana", Fact::ProductUsed(used));
    posts.finish("2026-11-23T10:00", "ana", "decon");
    posts.finish("2026-11-23T10:00", "ben", "decon");
    posts.start("2026-11-23T13:00", "ana", "polish");
    posts.post(at("2026-11-24T08:30"), "ben", Fact::JobReleased);
    posts
}

#[test]
fn a_job_that_was_posted_comes_out_in_the_week() {
    let posts = a_job();
    let as_of = at("2026-11-29T12:00");
    let mut rows: Vec<Row> = posts.book.rows().cloned().collect();
    rows.extend(posts.book.provisional(as_of));
    let input = Input {
        rows: &rows,
        catalogues: &posts.book.fold.cats,
        as_of,
        as_of_seq: Seq(posts.seq),
        log_from: Some(at("2026-11-02T08:00")),
        log_until: Some(at("2026-11-24T08:30")),
    };
    let (from, until) = week_of("2026-11-23");
    let figures = week(&input, "2026-W48", from, until);

    let bay = &figures.bays[0];
    assert_eq!(bay.jobs_released, 1);
    assert_eq!(bay.occupied_us, hours(23) + minutes(25));
    // Decon for 45 minutes, polish from 13:00 until closing at 17:00.
    assert_eq!(bay.hands_on_us, hours(4) + minutes(45));
    assert_eq!(bay.labour_us, hours(5) + minutes(30));
    assert_eq!(
        bay.hands_on_us + bay.waiting_us + bay.idle_us + bay.empty_us,
        bay.open_us + bay.occupied_outside_open_us
    );

    let job = &figures.jobs[0];
    assert_eq!((job.number, job.bay.as_str()), (Some(118), "bay-1"));
    assert_eq!(job.quoted_us, Some(hours(5)));
    assert_eq!(job.actual_us, hours(5) + minutes(30));
    assert_eq!(job.unclosed_us, hours(4));
    assert_eq!(job.cycle_us, Some(hours(23) + minutes(30)));

    // A twentieth of a litre, against 40 ml.
    let soap = &figures.chemicals[0];
    assert_eq!(
        (soap.used.base, soap.allowance.base),
        (50_000_000, 40_000_000)
    );

    let unclosed: Vec<_> = figures
        .odd
        .iter()
        .filter(|o| o.settle_with.contains("--end"))
        .collect();
    assert_eq!(unclosed.len(), 1, "{:?}", figures.odd);
    assert!(
        unclosed[0].settle_with.ends_with("--end 17:00"),
        "{}",
        unclosed[0].settle_with
    );
    assert_eq!(unclosed[0].job_number, Some(118));

    let told = story(&input, job.job).unwrap();
    assert_eq!(
        told.places.iter().map(|p| p.hands_on_us).sum::<i64>(),
        bay.hands_on_us
    );
    assert_eq!(told.uses[0].used, soap.used);
}
