//! What records say about allowances.

use baywright_report::figures::{Learned, LearnedStage};
use baywright_report::quote::{JobRecord, Learnt, applied, learned};
use baywright_terms::catalogue::{Catalogue, Source};
use baywright_terms::code::Code;
use baywright_terms::time::{MINUTE_US, Micros};

use crate::shop::{at, catalogue, catalogues, hours, minutes, noise, record, times};

/// Jobs whose wash takes a factor of its allowance, whose polish takes its own.
pub(crate) fn jobs(seed: u64, n: u32, wash: f64) -> Vec<JobRecord> {
    let begin = at("2026-01-05T16:00").0;
    (0..n)
        .map(|n| {
            let of =
                |k, factor: f64| times(minutes(60), factor * (0.2 * noise(seed, 2 * n + k)).exp());
            let released = Micros(begin + hours(24) * i64::from(n));
            record(n, released, of(0, wash), of(1, 1.0))
        })
        .collect()
}

fn now() -> Micros {
    at("2026-12-01T00:00")
}

pub(crate) fn learn(catalogue: &Catalogue, records: &[JobRecord]) -> Learned {
    let catalogues = catalogues(catalogue.clone());
    let learnt = Learnt::of(records, &catalogues, now());
    learned(&learnt, records, &catalogues, now(), None)
}

fn stage<'l>(learned: &'l Learned, stage: &str) -> &'l LearnedStage {
    let stages = &learned.types[0].stages;
    stages.iter().find(|s| s.stage.as_str() == stage).unwrap()
}

#[test]
fn without_records_it_is_a_trade_guess_and_suggests_nothing() {
    let found = learn(&catalogue(), &[]);
    let wash = stage(&found, "wash");
    assert!(wash.trade_guess && !wash.suggest && wash.drift.is_none());
    // The middle is the allowance; the range is wide.
    assert_eq!(wash.half_us, minutes(60));
    assert!(
        wash.half_low_us < minutes(48) && minutes(75) < wash.half_high_us,
        "{wash:?}"
    );
    assert!(found.types[0].trade_guess);
    assert!(found.remarks[0].contains("trade guess"));
}

#[test]
fn a_stage_that_takes_longer_is_suggested_and_the_one_that_fits_is_not() {
    let found = learn(&catalogue(), &jobs(3, 24, 1.5));
    let (wash, polish) = (stage(&found, "wash"), stage(&found, "polish"));
    assert!(wash.suggest && !polish.suggest, "{wash:?} {polish:?}");
    assert!((wash.half_us - minutes(90)).abs() < minutes(10), "{wash:?}");
    assert!(wash.half_low_us > minutes(75), "{wash:?}");
    assert_eq!((wash.n, wash.trade_guess), (24, false));
}

#[test]
fn applying_writes_whole_minutes_marks_the_shop_and_is_not_suggested_again() {
    let before = catalogue();
    let records = jobs(3, 24, 1.5);
    let found = learn(&before, &records);
    let code = Code::new("trike-wash");
    let job_type = applied(&found.types[0], &before.job_types[&code]);
    let [wash, polish] = &job_type.stages[..] else {
        panic!("{job_type:?}");
    };
    assert_eq!(wash.allowance_us % MINUTE_US, 0);
    assert!((wash.allowance_us - stage(&found, "wash").half_us).abs() <= MINUTE_US / 2);
    assert_eq!(wash.source, Source::Shop);
    assert_eq!(polish, &before.job_types[&code].stages[1]);
    // One event marked as learned: the same half, now in force, of the same given.
    let mut changed = Catalogue::default();
    changed.job_types.insert(code, job_type);
    let mut history = catalogues(before);
    let (from, event) = (
        at("2026-11-01T00:00"),
        baywright_floor::event::EventId([1; 16]),
    );
    let seq = baywright_floor::event::Seq(9);
    history.add(from, from, seq, event, changed, Some(seq));
    let learnt = Learnt::of(&records, &history, now());
    let after = learned(&learnt, &records, &history, now(), None);
    let again = stage(&after, "wash");
    assert_eq!(again.half_us, stage(&found, "wash").half_us);
    assert_eq!(again.given_us, minutes(60));
    assert!(!again.suggest, "{again:?}");
}

#[test]
fn a_stage_that_became_slower_drifts_and_a_short_history_says_nothing() {
    let mut records = jobs(5, 30, 1.0);
    for record in &mut records[20..] {
        record.stages[0].us *= 2;
    }
    let found = learn(&catalogue(), &records);
    let drift = stage(&found, "wash").drift.unwrap();
    assert!(
        drift.drifting && drift.low_milli > 1_300 && drift.high_milli < 3_000,
        "{drift:?}"
    );
    assert!(!stage(&found, "polish").drift.unwrap().drifting);
    assert!(
        stage(&learn(&catalogue(), &jobs(5, 7, 1.0)), "wash")
            .drift
            .is_none()
    );
}

#[test]
fn grades_stand_beside_what_the_trade_says() {
    let found = learn(&catalogue(), &jobs(3, 12, 1.0));
    let names: Vec<&str> = found.grades.iter().map(|g| g.grade).collect();
    assert_eq!(names, ["soil", "defects", "intricacy"]);
    // exp(0.18), exp(0.28) and exp(0.15): nobody came in but grade 3, so the
    // records move none of them.
    for (grade, trade) in found.grades.iter().zip([1_197, 1_323, 1_162]) {
        assert_eq!(grade.trade_milli, trade);
        assert!(grade.factor_milli.abs_diff(trade) < 8, "{grade:?}");
    }
    let spreads: Vec<&str> = found.spreads.iter().map(|s| s.what.as_str()).collect();
    assert_eq!(spreads[5..], ["job", "record"]);
}

#[test]
fn a_suggestion_does_not_flip_back_and_forth_on_noise() {
    let shop = catalogue();
    let (mut bare_flips, mut flips) = (0, 0);
    for (seed, off) in (11..19).flat_map(|seed| [(seed, 1.0), (seed, 1.05)]) {
        let records = jobs(seed, 40, off);
        let (mut bare_was, mut was) = (false, false);
        for n in (5..=40).step_by(3) {
            let found = learn(&shop, &records[..n]);
            let of = stage(&found, "wash");
            // Of itself the range alone would say so.
            let bare = !(of.half_low_us..=of.half_high_us).contains(&of.allowance_us);
            bare_flips += usize::from(bare != bare_was);
            flips += usize::from(of.suggest != was);
            (bare_was, was) = (bare, of.suggest);
        }
    }
    println!("flips: {flips} steady, {bare_flips} bare");
    assert!(flips < bare_flips, "{flips} of {bare_flips}");
}
