//! Step by step down to the allowance with the spread of a trade guess.

use baywright_report::quote::{Learnt, SuggestError, suggest};

use crate::invented::*;

#[test]
fn without_records_half_is_the_allowance_with_the_prior_spread_and_a_trade_guess() {
    let quote = quote(&[], &asking("saloon-coat"));
    let allowed = minutes(25 + 45 + 180 + 75);
    // The half of a sum of log-normals lies a little above the sum of halves.
    let over = ratio(quote.hands_on_half_us, allowed);
    assert!((0.97..1.08).contains(&over), "{over}");
    for (stage, (_, _, of)) in quote.stages.iter().zip(STAGES) {
        assert_eq!(stage.allowance_us, minutes(of[1]));
        let over = ratio(stage.half_us, minutes(of[1]));
        assert!((0.97..1.03).contains(&over), "{over}");
        // One sd of a factor of about 1.35 for a stage of one vehicle (common
        // practice) would put four in five at 1.29; a shop never seen adds its own.
        let p80 = ratio(stage.p80_us, stage.half_us);
        assert!((1.25..1.70).contains(&p80), "{p80}");
        assert_eq!(stage.n, 0);
    }
    assert!(quote.trade_guess && quote.from_jobs == 0 && quote.from_jobs_all == 0);
    assert!(quote.likes.is_empty());
    assert_eq!(quote.widen_milli, 1_000);
}

#[test]
fn an_unknown_type_or_stage_is_an_error_that_names_the_nearest() {
    let cats = catalogues(shop());
    let learnt = Learnt::of(&[], &cats, NOW);
    let ask = |asked| suggest(&learnt, &[], &cats, &asked, NOW).unwrap_err();
    match ask(asking("salon-coat")) {
        SuggestError::NoSuchType { code, nearest } => {
            assert_eq!(code.as_str(), "salon-coat");
            assert_eq!(nearest, ["saloon-coat"]);
        }
        other => panic!("{other}"),
    }
    let mut asked = asking("saloon-coat");
    asked.with = vec![code("polsh")];
    match ask(asked.clone()) {
        SuggestError::NoSuchStage { nearest, .. } => assert_eq!(nearest, ["polish"]),
        other => panic!("{other}"),
    }
    // In the catalogue, but no type allows any time for it.
    asked.with = vec![code("lamp")];
    let none = SuggestError::NoAllowance { code: code("lamp") };
    assert_eq!(ask(asked.clone()), none);
    asked.with.clear();
    asked.without = STAGES.map(|(stage, _, _)| code(stage)).into();
    assert!(matches!(ask(asked), SuggestError::NoStages { .. }));
}

#[test]
fn an_unknown_worker_stage_type_or_grade_each_leave_a_quote() {
    let mut catalogue = shop();
    let mut seal = catalogue.stages[&code("coat")].clone();
    seal.name = "seal".into();
    catalogue.stages.insert(code("seal"), seal);
    let new = job_type("boat", &[("wash", minutes(60)), ("seal", minutes(90))], 50);
    catalogue.job_types.insert(code("boat-seal"), new);
    let cats = catalogues(catalogue);
    let mut records = jobs(40, 5, 0.2, 0.15);
    for record in &mut records {
        for stage in &mut record.stages {
            stage.worker = None;
        }
    }
    let mut asked = asking("boat-seal");
    asked.grades = grades(0, 0, 0);
    let quote = quote_under(&records, &cats, &asked);
    assert!(quote.trade_guess);
    assert_eq!((quote.from_jobs, quote.from_jobs_all), (0, 40));
    // The shop's own pace is known from its other types: a fifth longer than allowed.
    let over = ratio(quote.hands_on_half_us, minutes(150));
    assert!((1.05..1.45).contains(&over), "{over}");
    assert!(says(&quote, "Not graded: soil, defects, intricacy"));
    assert!(says(&quote, "No job of the class boat is on record"));
    let known = quote_under(&records, &cats, &asking("saloon-coat"));
    assert!(width(&quote) > width(&known));
    assert!(!says(&known, "on record:"));
}

#[test]
fn a_stage_of_other_types_is_taken_from_the_middle_of_them() {
    let mut catalogue = shop();
    catalogue
        .job_types
        .get_mut(&code("trike-coat"))
        .unwrap()
        .stages
        .retain(|a| a.stage.as_str() != "polish");
    let mut asked = asking("trike-coat");
    asked.with = vec![code("polish"), code("wash")];
    let quote = quote_under(&[], &catalogues(catalogue), &asked);
    let stages: Vec<(&str, i64)> = quote
        .stages
        .iter()
        .map(|s| (s.stage.as_str(), s.allowance_us))
        .collect();
    // 180 on a saloon and 330 on a truck: the upper of the two middles.
    let expected = [
        ("wash", minutes(20)),
        ("decon", minutes(40)),
        ("coat", minutes(70)),
        ("polish", minutes(330)),
    ];
    assert_eq!(stages, expected);
    assert!(says(&quote, "polish is not among the stages of trike-coat"));
}

#[test]
fn a_vehicle_nobody_has_seen_gets_a_wide_range_that_says_what_it_is() {
    // All came in as usual: what grades do is the trade's to say.
    let mut chance = Chance::new(6);
    let records: Vec<_> = (0..12)
        .map(|n| job(n, 1, grades(3, 3, 3), |_| (0.1 * chance.normal()).exp()))
        .collect();
    let mut asked = asking("saloon-coat");
    let seen = quote(&records, &asked);
    assert_eq!(seen.price_range_minor, None);
    asked.unseen = true;
    let told = quote(&records, &asked);
    // Without a record of how such vehicles come in.
    let guess = |unseen: bool, grade: u8| {
        let mut asked = asking("saloon-coat");
        asked.unseen = unseen;
        asked.grades = grades(grade, grade, grade);
        quote(&[], &asked)
    };
    assert!(width(&guess(true, 3)) + 0.01 < width(&guess(true, 0)));
    let ungraded = guess(true, 0);
    assert!(width(&seen) + 0.02 < width(&told));
    let (from, to) = ungraded.price_range_minor.unwrap();
    assert!(from < ungraded.price_minor && ungraded.price_minor < to);
    assert!(ratio(to, from) > 1.3, "{from} {to}");
    assert!(says(
        &ungraded,
        "one in five of such jobs to what fits nine in ten"
    ));
    assert!(!says(&ungraded, "Not graded"));
}

#[test]
fn vehicles_that_come_in_dirty_move_what_is_said_of_one_nobody_has_seen() {
    let dirty: Vec<_> = (0..40)
        .map(|n| job(n, 1, grades(5, 3, 3), |_| 1.0))
        .collect();
    let mut asked = asking("saloon-coat");
    asked.unseen = true;
    asked.grades = grades(0, 3, 3);
    // By its own records such a vehicle takes the allowance; as grade 3 it would
    // take less, because they were of grade 5.
    let unseen = quote(&dirty, &asked);
    asked.grades = grades(3, 3, 3);
    let told = quote(&dirty, &asked);
    assert!(unseen.stages[1].half_us > told.stages[1].half_us);
}
