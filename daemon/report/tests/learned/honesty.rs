//! How quotes held, worked by hand.

use baywright_report::figures::{Honesty, HonestyOf};
use baywright_report::quote::{JobRecord, QuoteBook, honesty, retrace};
use baywright_terms::time::Micros;
use proptest::prelude::*;

use crate::shop::{Office, at, catalogue, catalogues, hours, minutes, noise, record, times};

/// Far after everything.
const END: Micros = Micros(i64::MAX);

/// A quote of so much, accepted and opened as the job of a record.
fn quoted(office: &mut Office, n: u8, of: &JobRecord, half: i64, p80: i64) {
    let job = of.job.unwrap();
    office.print(n, "2026-11-02T09:00", (half, p80), 50_000, None);
    office.answer(n, "2026-11-03T09:00", Some(50_000), "");
    office.open(job, of.number.unwrap(), Some(n), "2026-11-04T09:00");
}

fn of<'h>(honesty: &'h Honesty, what: &str) -> &'h HonestyOf {
    honesty.of.iter().find(|of| of.what == what).unwrap()
}

/// Three jobs: two hours quoted, three in four of five; one, two and four hours
/// taken. The allowance is two hours; one job of 90 minutes was before them.
fn three() -> (Office, Vec<JobRecord>) {
    let mut office = Office::default();
    let mut records = vec![record(1, at("2026-11-01T12:00"), minutes(45), minutes(45))];
    for (n, taken) in [(2, 60), (3, 120), (4, 240)] {
        let of = record(
            n,
            at("2026-11-10T12:00"),
            minutes(taken / 2),
            minutes(taken / 2),
        );
        quoted(
            &mut office,
            u8::try_from(n).unwrap(),
            &of,
            hours(2),
            hours(3),
        );
        records.push(of);
    }
    (office, records)
}

#[test]
fn held_and_losses_are_as_worked_by_hand() {
    let (office, records) = three();
    let found = honesty(&QuoteBook::of(&office.rows), &records, END, 1_000);
    assert_eq!(found.jobs, 3);
    let quote = of(&found, "quote");
    // Ratios 0.5, 1, 2; two of three at or under half, and under four in five.
    assert_eq!(
        (quote.bias_milli, quote.half_held, quote.p80_held, quote.of),
        (1_000, 2, 2, 3)
    );
    // Pinball at half: 0.5·(1 + 0 + 2)/3; at four in five against 3 h: 0.2·2,
    // 0.2·1, 0.8·1.
    assert!((quote.pinball_half_h - 0.5).abs() < 1e-9);
    assert!((quote.pinball_p80_h - 1.4 / 3.0).abs() < 1e-9);
    // Clopper and Pearson 1934 for two of three: 0.0943 to 0.9916.
    assert_eq!((quote.p80_low_permille, quote.p80_high_permille), (94, 992));
    let allowance = of(&found, "allowance");
    // One number: its losses against 2 h are 0.2·1, 0 and 0.8·2 at four in five,
    // and its CRPS is the mean error.
    assert!((allowance.pinball_p80_h - 1.8 / 3.0).abs() < 1e-9);
    assert!((allowance.crps_h - 1.0).abs() < 1e-9);
    assert!(quote.crps_h < allowance.crps_h);
    let last = of(&found, "mean of the last five");
    // 1.5 h: errors 0.5, 0.5, 2.5; one of three under it.
    assert!((last.crps_h - 3.5 / 3.0).abs() < 1e-9);
    assert_eq!((last.p80_held, last.bias_milli), (1, 1_333));
}

#[test]
fn calibration_is_of_the_log_normal_with_the_printed_points() {
    let (office, records) = three();
    let found = honesty(&QuoteBook::of(&office.rows), &records, END, 1_000);
    // ln 1.5 / 0.8416 = 0.4818: one hour is at Φ(−1.4387) = 0.075, four at 0.925.
    let held: Vec<u32> = found.calibration.iter().map(|p| p.held_permille).collect();
    assert_eq!(held, [333, 333, 333, 333, 667, 667, 667, 667, 667]);
}

#[test]
fn the_last_five_are_those_released_before_the_quote_was_printed() {
    let (office, mut records) = three();
    for n in 10..20 {
        // Released after the print of 2 November: known to nobody then.
        records.push(record(n, at("2026-11-02T09:30"), hours(50), hours(50)));
        // Long before: the last five are nearer.
        records.push(record(n + 10, at("2026-10-01T09:30"), hours(9), hours(9)));
    }
    for n in 30..34 {
        records.push(record(n, at("2026-10-20T09:30"), minutes(45), minutes(45)));
    }
    let found = honesty(&QuoteBook::of(&office.rows), &records, END, 1_000);
    for job in &found.by_job {
        assert_eq!(job.last_five_us, Some(minutes(90)), "{job:?}");
    }
}

#[test]
fn a_job_with_a_quoted_stage_that_nothing_ended_is_left_out_and_said() {
    let (office, mut records) = three();
    records[3].unclosed = vec!["polish".into()];
    let found = honesty(&QuoteBook::of(&office.rows), &records, END, 1_000);
    assert_eq!(found.jobs, 2);
    assert!(found.remark.contains("Left out: 1"), "{}", found.remark);
}

#[test]
fn a_stage_that_was_not_quoted_is_no_part_of_it() {
    let (office, mut records) = three();
    let mut other = records[1].stages[0].clone();
    other.stage = "upholstery".into();
    records[1].stages.push(other);
    let found = honesty(&QuoteBook::of(&office.rows), &records, END, 1_000);
    assert_eq!(found.by_job[0].actual_us, minutes(60));
}

#[test]
fn jobs_released_after_the_span_are_not_counted_yet() {
    let (office, records) = three();
    let book = QuoteBook::of(&office.rows);
    assert_eq!(
        honesty(&book, &records, at("2026-11-10T12:00"), 1_000).jobs,
        0
    );
    let none = honesty(&QuoteBook::of(&[]), &records, END, 1_000);
    assert!(none.of.is_empty() && none.calibration.is_empty() && none.remark.is_empty());
}

#[test]
fn a_line_added_counts_with_the_quote_of_its_job() {
    let (mut office, records) = three();
    let job = records[1].job.unwrap();
    office.print(
        9,
        "2026-11-05T09:00",
        (hours(1), hours(1)),
        9_000,
        Some(job),
    );
    office.answer(9, "2026-11-05T10:00", Some(9_000), "");
    let found = honesty(&QuoteBook::of(&office.rows), &records, END, 1_000);
    let half = found.by_job[0].half_us;
    // A certain hour on top of a median of two: three, and a little by drawing.
    assert!((half - hours(3)).abs() < minutes(1), "{half}");
}

/// Jobs of two hours, a sixth of noise, one a day.
fn days(seed: u64, jobs: u32) -> Vec<JobRecord> {
    let begin = at("2026-01-05T16:00").0;
    (0..jobs)
        .map(|n| {
            let of = |k| times(minutes(60), (0.15 * noise(seed, 2 * n + k)).exp());
            let released = Micros(begin + hours(24) * i64::from(n));
            record(n, released, of(0), of(1))
        })
        .collect()
}

#[test]
fn each_job_is_retraced_from_what_was_known_before_it() {
    let catalogues = catalogues(catalogue());
    let records = days(7, 12);
    let book = QuoteBook::of(&[]);
    let whole = retrace(&book, &records, &catalogues, 1_000);
    assert_eq!(whole.jobs, 12);
    // Nothing that came later changes what would have been said of the first.
    let first = retrace(&book, &records[..6], &catalogues, 1_000);
    assert_eq!(first.by_job[..], whole.by_job[..6]);
    // It narrows as it learns.
    let spread = |n: usize| {
        let job = &whole.by_job[n];
        job.p80_us - job.half_us
    };
    assert!(spread(11) < spread(0), "{} {}", spread(11), spread(0));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(32))]
    #[test]
    fn what_was_agreed_and_what_came_later_change_nothing(
        agreed in 0_i64..1_000_000,
        later in 1_i64..500,
    ) {
        let (office, mut records) = three();
        let before = honesty(&QuoteBook::of(&office.rows), &records, at("2026-11-20T00:00"), 1_000);
        let mut rows = office.rows;
        for row in &mut rows {
            if let baywright_floor::row::Row::QuoteDecided(yes) = row {
                yes.agreed_minor = Some(agreed);
            }
        }
        records.push(record(99, at("2026-11-21T00:00"), minutes(later), minutes(later)));
        let after = honesty(&QuoteBook::of(&rows), &records, at("2026-11-20T00:00"), 1_000);
        prop_assert_eq!(before, after);
    }
}
