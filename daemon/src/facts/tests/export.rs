//! The export of jobs against the story of each, whatever the page.

use std::sync::Arc;

use baywright_proto::v1::export_jobs_response::Part;
use baywright_proto::v1::{self, fact::Kind};
use baywright_terms::time::Micros;

use super::log::Log;
use super::shop::{MINUTE_US, START_US, Shop};
use crate::facts::export::{Mark, Page, Wanted};
use crate::facts::reader::FactsReader;
use crate::facts::{Facts, FactsError, Stored};

const SEEDS: std::ops::Range<u64> = 40..44;
/// After every event of the random shops: what runs then is cut here.
const AS_OF: Micros = Micros(START_US + 400 * 24 * 60 * MINUTE_US);

struct Desk {
    _folder: tempfile::TempDir,
    reader: FactsReader,
}

fn desk(entries: Vec<Stored>) -> Desk {
    let folder = tempfile::tempdir().unwrap();
    let log = Log::of(entries);
    Facts::open(folder.path(), log.boxed(), &mut |_| {}).unwrap();
    let reader = FactsReader::open(folder.path(), Arc::new(log)).unwrap();
    Desk {
        _folder: folder,
        reader,
    }
}

/// Everything in the span, and how many parts the fullest page had.
fn all(
    wanted: &Wanted,
    mut next: impl FnMut(&Mark) -> Result<Page, FactsError>,
) -> (Vec<Part>, usize) {
    let (mut mark, mut parts, mut fullest) = (Mark::Start, Vec::new(), 0);
    while mark != Mark::End {
        let page = next(&mark).unwrap();
        assert_ne!(page.mark, mark, "the export of {wanted:?} stands still");
        fullest = fullest.max(page.parts.len());
        parts.extend(page.parts);
        mark = page.mark;
    }
    (parts, fullest)
}

fn live(desk: &Desk, wanted: &Wanted) -> Vec<Part> {
    all(wanted, |mark| {
        desk.reader.view(|view| view.export_page(wanted, mark))
    })
    .0
}

fn ever() -> Wanted {
    Wanted {
        from: Micros(i64::MIN),
        until: Micros(i64::MAX),
        as_of: AS_OF,
    }
}

fn jobs(parts: &[Part]) -> Vec<&v1::ExportJob> {
    parts
        .iter()
        .filter_map(|part| match part {
            Part::Job(job) => Some(job),
            _ => None,
        })
        .collect()
}

#[test]
fn every_job_comes_once_in_order_of_opening_with_the_figures_of_its_story() {
    for seed in SEEDS {
        let desk = desk(Shop::new(seed, 15).records(900));
        let wanted = ever();
        let (parts, fullest) = all(&wanted, |mark| {
            desk.reader.view(|view| view.export_page(&wanted, mark))
        });
        assert!(fullest < 300, "seed {seed}: a page of {fullest}");
        let Some(Part::Head(head)) = parts.first() else {
            panic!("seed {seed}: no head first");
        };
        let jobs = jobs(&parts);
        assert_eq!(u64::try_from(jobs.len()).unwrap(), head.jobs, "seed {seed}");
        assert!(jobs.len() > 20, "seed {seed}: {} jobs", jobs.len());
        assert!(jobs.is_sorted_by_key(|job| job.opened_us), "seed {seed}");
        for job in jobs {
            let asked = v1::JobRequest {
                job: Some(v1::job_request::Job::Number(job.number)),
                as_of_seq: 0,
            };
            let story = desk.reader.job(&asked, AS_OF).unwrap();
            let told = story.job.clone().unwrap();
            let what = format!("seed {seed}, job {}", job.number);
            assert_eq!(job.actual_us, told.actual_us, "{what}");
            assert_eq!(job.cycle_us, told.cycle_us, "{what}");
            assert_eq!(job.rework_us, told.rework_us, "{what}");
            assert_eq!(job.comeback_of, told.comeback_of, "{what}");
            let recorded: i64 = job.hands_on.iter().map(|s| s.hands_on_us).sum();
            let declared: i64 = job.declared.iter().map(|d| d.counted_us).sum();
            assert_eq!(declared, job.declared_us, "{what}");
            assert_eq!(recorded + declared, job.actual_us, "{what}");
            assert_money(job, &told, &what);
            let places: Vec<(String, i64, i64, i64, i64)> = story
                .places
                .iter()
                .map(|p| {
                    (
                        p.place.clone(),
                        p.from_us,
                        p.hands_on_us,
                        p.waiting_us,
                        p.idle_us,
                    )
                })
                .collect();
            let stays: Vec<(String, i64, i64, i64, i64)> = job
                .stays
                .iter()
                .map(|p| {
                    (
                        p.place.clone(),
                        p.from_us,
                        p.hands_on_us,
                        p.waiting_us,
                        p.idle_us,
                    )
                })
                .collect();
            assert_eq!(stays, places, "{what}");
            let seqs: std::collections::BTreeSet<u64> = job
                .uses
                .iter()
                .filter(|used| !used.parts.is_empty())
                .map(|used| used.seq)
                .collect();
            let told: std::collections::BTreeSet<u64> = story
                .uses
                .iter()
                .flat_map(|used| used.seqs.clone())
                .collect();
            // It has dumps and refills as well.
            assert!(seqs.is_subset(&told), "{what}: {seqs:?}, {told:?}");
            assert_eq!(job.materials, story.uses, "{what}");
        }
    }
}

/// The money of the story, and pieces of it that add up.
fn assert_money(job: &v1::ExportJob, told: &v1::WeekJob, what: &str) {
    assert_eq!(job.money, told.money, "{what}");
    let short = |shortfalls: &[v1::Shortfall]| -> Vec<(String, i64)> {
        let each = shortfalls.iter().map(|s| (s.cause.clone(), s.amount_minor));
        each.collect()
    };
    assert_eq!(short(&job.shortfalls), short(&told.shortfalls), "{what}");
    let money = job.money.unwrap_or_default();
    let labour = job.hands_on.iter().filter_map(|s| s.cost_minor);
    let stated = job.declared.iter().filter_map(|d| d.cost_minor);
    let labour_minor: i64 = labour.chain(stated).sum();
    assert_eq!(labour_minor, money.labour_minor, "{what}");
    let materials_minor: i64 = job.materials.iter().map(|m| m.cost_minor).sum();
    assert_eq!(materials_minor, money.materials_minor, "{what}");
    for material in &job.materials {
        if material.waste_minor != 0 || material.apportioned || material.at_allowance {
            continue;
        }
        let parts = job.uses.iter().flat_map(|used| &used.parts);
        let of_it = parts.filter(|p| p.product == material.product && p.unit == material.unit);
        let parts_minor: i64 = of_it.filter_map(|part| part.cost_minor).sum();
        assert_eq!(
            parts_minor, material.cost_minor,
            "{what}: {}",
            material.product
        );
    }
}

#[test]
fn every_use_is_exported_once_with_what_was_typed() {
    for seed in SEEDS {
        let entries = Shop::new(seed, 15).records(900);
        let desk = desk(entries);
        let parts = live(&desk, &ever());
        let mut uses: Vec<&v1::ExportUse> = Vec::new();
        for part in &parts {
            match part {
                Part::Job(job) => uses.extend(&job.uses),
                Part::LooseUse(used) => uses.push(used),
                Part::Head(_) => {}
            }
        }
        let mut seqs: Vec<u64> = uses.iter().map(|used| used.seq).collect();
        seqs.sort_unstable();
        let ghosts: i64 = desk
            .reader
            .view(|view| {
                let sql = "SELECT count(*) FROM hands_on WHERE job NOT IN (SELECT job FROM job)";
                Ok::<_, FactsError>(view.conn.query_row(sql, [], |row| row.get(0))?)
            })
            .unwrap();
        assert_eq!(
            ghosts, 0,
            "seed {seed}: labour on a job that was never opened"
        );
        let stored: Vec<u64> = desk
            .reader
            .view(|view| {
                let mut statement = view
                    .conn
                    .prepare("SELECT seq FROM product_use ORDER BY seq")?;
                let seqs = statement.query_map([], |row| row.get::<_, i64>(0))?;
                let seqs: Vec<i64> = seqs.collect::<Result<_, _>>()?;
                Ok::<_, FactsError>(
                    seqs.into_iter()
                        .map(|s| u64::try_from(s).unwrap())
                        .collect(),
                )
            })
            .unwrap();
        assert_eq!(seqs, stored, "seed {seed}");
        for used in uses {
            let weighed = used.weighed_before.is_some() && used.weighed_after.is_some();
            let said = used.posted.is_some() || weighed;
            assert!(said || used.unit.is_empty(), "seed {seed}: {used:?}");
        }
    }
}

#[test]
fn a_span_gives_the_jobs_opened_or_released_in_it() {
    let day = 24 * 60 * MINUTE_US;
    for seed in SEEDS {
        let desk = desk(Shop::new(seed, 15).records(900));
        let (from, until) = (START_US + day, START_US + 2 * day);
        let wanted = Wanted {
            from: Micros(from),
            until: Micros(until),
            ..ever()
        };
        let within = |at: i64| from <= at && at < until;
        let everything = live(&desk, &ever());
        let expected: Vec<&v1::ExportJob> = jobs(&everything)
            .into_iter()
            .filter(|job| within(job.opened_us) || within(job.released_us))
            .collect();
        assert!(!expected.is_empty(), "seed {seed}");
        let parts = live(&desk, &wanted);
        assert_eq!(jobs(&parts), expected, "seed {seed}");
        let loose = |parts: &[Part], all: bool| -> Vec<u64> {
            let uses = parts.iter().filter_map(|part| match part {
                Part::LooseUse(used) if all || within(used.at_us) => Some(used.seq),
                _ => None,
            });
            uses.collect()
        };
        assert_eq!(
            loose(&parts, true),
            loose(&everything, false),
            "seed {seed}"
        );
    }
}

#[test]
fn an_export_of_the_past_is_the_export_of_then() {
    let entries = Shop::new(45, 20).records(600);
    let then = desk(entries[..400].to_vec());
    let now = desk(entries);
    let mut past = now.reader.past(400).unwrap();
    let wanted = ever();
    let (was, _) = all(&wanted, |mark| {
        past.view(|view| view.export_page(&wanted, mark))
    });
    assert_eq!(was, live(&then, &wanted));
    assert_ne!(was, live(&now, &wanted));
}

#[test]
fn a_stretch_costs_its_workers_rate_and_without_one_the_standard_rate() {
    let mut shop = Shop::new(1, 0);
    let mut changed = super::catalogue::catalogue();
    for worker in &mut changed.workers {
        worker.rate_minor = if worker.code == "ana" { 3_000 } else { 0 };
    }
    let mut entries = vec![shop.stored(
        Kind::CatalogueSet(v1::CatalogueSet {
            learned_up_to_seq: 0,
            valid_from_us: START_US,
            changed: Some(changed),
        }),
        START_US,
    )];
    let id = |seq: u64| {
        let mut id = [9_u8; 16];
        id[15] = u8::try_from(seq).unwrap();
        id
    };
    let fact = |seq: u64, minute: i64, by: &[&str], kind: Kind| {
        let fact = v1::Fact {
            job: matches!(kind, Kind::JobMoved(_)).then(|| v1::JobRef {
                job: Some(v1::job_ref::Job::OpeningEventId(id(2).to_vec())),
            }),
            bay: "bay-1".to_owned(),
            by: by.iter().map(ToString::to_string).collect(),
            kind: Some(kind),
            ..v1::Fact::default()
        };
        super::shop_record(seq, id(seq), &fact, START_US + minute * MINUTE_US)
    };
    entries.push(fact(2, 1, &[], Kind::JobOpened(v1::JobOpened::default())));
    entries.push(fact(
        3,
        2,
        &[],
        Kind::JobMoved(v1::JobMoved {
            place: "bay-1".to_owned(),
        }),
    ));
    let stage = "decon".to_owned();
    entries.push(fact(
        4,
        10,
        &["ana", "bo"],
        Kind::StageStarted(v1::StageStarted {
            stage,
            ..v1::StageStarted::default()
        }),
    ));
    entries.push(fact(
        5,
        55,
        &["ana", "bo"],
        Kind::StageFinished(v1::StageFinished::default()),
    ));
    let desk = desk(entries);
    let parts = live(&desk, &ever());
    let [job] = jobs(&parts)[..] else {
        panic!("one job, not {parts:?}");
    };
    let costs: Vec<(&str, i64, Option<i64>)> = job
        .hands_on
        .iter()
        .map(|s| (s.worker.as_str(), s.hands_on_us, s.cost_minor))
        .collect();
    let three_quarters = 45 * MINUTE_US;
    assert_eq!(
        costs,
        [
            ("ana", three_quarters, Some(2_250)),
            // The mean of the rates that are known.
            ("bo", three_quarters, Some(2_250))
        ]
    );
    assert_eq!(job.money.unwrap().labour_minor, 4_500);
}
