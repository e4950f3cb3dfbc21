//! What was learned: brought up to the head it is what it would be from the
//! start, and how long that takes.

use std::sync::Arc;
use std::time::Instant;

use baywright_floor::event::JobKey;
use baywright_proto::v1;
use baywright_terms::time::Micros;

use super::log::Log;
use super::shop::{Dice, Shop};
use super::speed::Working;
use crate::facts::reader::FactsReader;
use crate::facts::{Facts, FactsError};
use crate::learner::{Known, Learner, afresh};

/// Seeds of random shops; each prints itself where it fails.
const SEEDS: std::ops::Range<u64> = 80..83;

/// Released jobs of the measured log where the environment asks for no other number.
const JOBS: u64 = 40;

/// Jobs released one after the other, and quotes asked, while it is measured.
const ROUNDS: usize = 5;

fn at_head(reader: &FactsReader, learner: &Learner, now: Micros) -> Known {
    reader
        .view(|view| learner.at_head(view, now))
        .map_err(|error: FactsError| error.to_string())
        .unwrap()
}

fn from_the_start(reader: &FactsReader, now: Micros) -> Known {
    reader
        .view(|view| afresh(view, now))
        .map_err(|error: FactsError| error.to_string())
        .unwrap()
}

fn trike() -> v1::SuggestRequest {
    v1::SuggestRequest {
        asked: Some(v1::QuoteAsked {
            job_type: "trike-coat".to_owned(),
            grades: Some(v1::Grades {
                soil: 4,
                defects: 2,
                intricacy: 5,
            }),
            ..v1::QuoteAsked::default()
        }),
        seed: 7,
        ..v1::SuggestRequest::default()
    }
}

/// Late posts, strikes, settlements, catalogue changes and imports come in any
/// order; what is held follows them all.
#[test]
fn what_is_held_is_what_reading_from_the_start_gives() {
    let mut learned_from = 0;
    for seed in SEEDS {
        let mut shop = Shop::new(seed, 25);
        let entries = shop.records(700);
        let mut dice = Dice::new(seed);
        let folder = tempfile::tempdir().unwrap();
        let log = Log::default();
        let mut facts = Facts::open(folder.path(), log.boxed(), &mut |_| {}).unwrap();
        let reader = FactsReader::open(folder.path(), Arc::new(log.clone())).unwrap();
        let learner = Learner::default();
        let now = Micros(i64::MAX / 4);
        let (mut rest, mut records, mut fits) = (entries.as_slice(), 0, 0);
        while !rest.is_empty() {
            let (batch, after) = rest.split_at(rest.len().min(1 + dice.below(40)));
            log.push(batch);
            facts.absorb(batch).unwrap();
            facts.commit().unwrap();
            let held = at_head(&reader, &learner, now);
            let fresh = from_the_start(&reader, now);
            assert_eq!(held.records, fresh.records, "seed {seed}");
            assert_eq!(held.cursor_seq, fresh.cursor_seq);
            (records, fits) = (held.records.all().len(), held.fits);
            rest = after;
        }
        println!("seed {seed}: {records} records, {fits} fits");
        assert!(fits > 2, "seed {seed}");
        learned_from += records;
        // Nothing new: nothing is fitted.
        assert_eq!(at_head(&reader, &learner, now).fits, fits);
        // The fit that was come by is the fit from the start, to the figure.
        let by_steps = reader.suggest(&learner, &trike(), now);
        let anew = reader.suggest(&Learner::default(), &trike(), now);
        assert_eq!(by_steps.unwrap(), anew.unwrap(), "seed {seed}");
    }
    assert!(learned_from > 5, "only {learned_from} records");
}

/// A job that is still here is in nobody's way; its release is learned from.
#[test]
fn only_a_release_leads_to_a_fit() {
    let mut shop = Working::varied();
    let folder = tempfile::tempdir().unwrap();
    let log = Log::of(shop.records(1));
    let mut facts = Facts::open(folder.path(), log.boxed(), &mut |_| {}).unwrap();
    let reader = FactsReader::open(folder.path(), Arc::new(log.clone())).unwrap();
    let learner = Learner::default();
    let mut fits = at_head(&reader, &learner, Micros(shop.now_us)).fits;
    for _ in 0..3 {
        let job = shop.job();
        let (last, work) = job.split_last().unwrap();
        for stored in work {
            log.push(std::slice::from_ref(stored));
            facts.absorb(std::slice::from_ref(stored)).unwrap();
            facts.commit().unwrap();
            assert_eq!(at_head(&reader, &learner, Micros(shop.now_us)).fits, fits);
        }
        log.push(std::slice::from_ref(last));
        facts.absorb(std::slice::from_ref(last)).unwrap();
        facts.commit().unwrap();
        let known = at_head(&reader, &learner, Micros(shop.now_us));
        assert_eq!(known.fits, fits + 1);
        assert_eq!(known.cursor_seq, last.seq);
        fits = known.fits;
    }
    let keys: Vec<Option<JobKey>> = at_head(&reader, &learner, Micros(shop.now_us))
        .records
        .all()
        .iter()
        .map(|record| record.job)
        .collect();
    assert_eq!(keys.len(), 3);
    assert!(keys.is_sorted());
}

/// Prints how long a refit after one more job and a quote take; the bounds are
/// loose, for a busy machine and an unoptimised build.
#[test]
fn a_refit_after_one_more_job_and_a_quote_are_quick() {
    let jobs = std::env::var("BAYWRIGHT_TEST_JOBS")
        .ok()
        .and_then(|text| text.parse().ok())
        .unwrap_or(JOBS);
    let mut shop = Working::varied();
    let mut entries = shop.records(1);
    for _ in 0..jobs {
        entries.extend(shop.job());
    }
    let events = entries.len();
    let log = Log::of(entries);
    let folder = tempfile::tempdir().unwrap();
    let mut facts = Facts::open(folder.path(), log.boxed(), &mut |_| {}).unwrap();
    let reader = FactsReader::open(folder.path(), Arc::new(log.clone())).unwrap();
    let learner = Learner::default();
    let now = |shop: &Working| Micros(shop.now_us);

    let begun = Instant::now();
    let known = at_head(&reader, &learner, now(&shop));
    let first = begun.elapsed();
    assert_eq!(u64::try_from(known.records.all().len()).unwrap(), jobs);
    drop(known);

    let (mut refits, mut asked, mut folded) = (Vec::new(), Vec::new(), Vec::new());
    for _ in 0..ROUNDS {
        let job = shop.job();
        log.push(&job);
        let begun = Instant::now();
        facts.absorb(&job).unwrap();
        facts.commit().unwrap();
        folded.push(begun.elapsed());
        let begun = Instant::now();
        let fits = at_head(&reader, &learner, now(&shop)).fits;
        refits.push(begun.elapsed());
        let begun = Instant::now();
        let answer = reader.suggest(&learner, &trike(), now(&shop)).unwrap();
        asked.push(begun.elapsed());
        assert!(!answer.printed.unwrap().trade_guess);
        assert_eq!(at_head(&reader, &learner, now(&shop)).fits, fits);
    }
    let middle = |took: &mut Vec<std::time::Duration>| {
        took.sort_unstable();
        took[took.len() / 2].as_secs_f64() * 1e3
    };
    println!(
        "{events} events of {jobs} released jobs: all read and fitted {:.1} ms; one more job of 36 posts \
         folded {:.1} ms, then read and refitted {:.1} ms; a quote {:.1} ms",
        first.as_secs_f64() * 1e3,
        middle(&mut folded),
        middle(&mut refits),
        middle(&mut asked),
    );
    assert!(middle(&mut refits) < 20_000.0, "{refits:?}");
}
