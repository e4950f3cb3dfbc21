//! What records move, and what they must not.

use baywright_floor::event::{EventId, Seq};
use baywright_terms::catalogue::Catalogue;

use crate::invented::*;

#[test]
fn records_move_half_towards_what_jobs_took_and_say_how_many() {
    let longer: Vec<_> = (0..12)
        .map(|n| job(n, 1, grades(3, 3, 3), |_| 1.4))
        .collect();
    let one = quote(&longer[..1], &asking("saloon-coat"));
    let all = quote(&longer, &asking("saloon-coat"));
    let allowed = minutes(25 + 45 + 180 + 75);
    let (one_over, all_over) = (
        ratio(one.hands_on_half_us, allowed),
        ratio(all.hands_on_half_us, allowed),
    );
    assert!(
        one_over > 1.05 && one_over < all_over,
        "{one_over} {all_over}"
    );
    assert!((1.28..1.45).contains(&all_over), "{all_over}");
    assert_eq!((one.from_jobs, all.from_jobs), (1, 12));
    assert!(!one.trade_guess);
    assert!(all.stages.iter().all(|s| s.n == 12));
    assert_eq!(all.products[0].n, 12);
    let iron = ratio(all.products[0].half, 400_000_000);
    assert!((1.2..1.45).contains(&iron), "{iron}");
}

#[test]
fn more_records_that_agree_make_it_narrower() {
    let agree = |count: u32| {
        let mut chance = Chance::new(11);
        let records: Vec<_> = (0..count)
            .map(|n| job(n, 1, grades(3, 3, 3), |_| (0.05 * chance.normal()).exp()))
            .collect();
        width(&quote(&records, &asking("saloon-coat")))
    };
    let widths = [0, 3, 12, 60].map(agree);
    for pair in widths.windows(2) {
        assert!(pair[1] < pair[0] - 0.001, "{widths:?}");
    }
    // Stages that spread by a twentieth put four in five within a few percent.
    assert!(widths[3] < 1.10, "{widths:?}");
}

#[test]
fn a_slip_hardly_moves_half() {
    let mut records: Vec<_> = (0..15)
        .map(|n| job(n, 1, grades(3, 3, 3), |_| 1.0))
        .collect();
    let before = quote(&records, &asking("saloon-coat"));
    // Somebody forgot to stop: the polish of one job ran over night.
    records[7].stages[2].us *= 6;
    let after = quote(&records, &asking("saloon-coat"));
    let moved = ratio(after.hands_on_half_us, before.hands_on_half_us);
    assert!((0.97..1.06).contains(&moved), "{moved}");
}

#[test]
fn imported_whole_jobs_move_the_total() {
    let whole = |n: u8| {
        let mut record = job(u32::from(n), 1, grades(3, 3, 3), |_| 1.0);
        record.job = None;
        record.number = None;
        record.past = Some(EventId([n; 16]));
        record.opened = None;
        record.whole_us = Some(times(record.labour_us, 1.5));
        record.labour_us = record.whole_us.unwrap();
        record.stages.clear();
        record.products.clear();
        record.bay_hands_on_us = 0;
        record.bay_waiting_us = 0;
        record
    };
    let records: Vec<_> = (0..10).map(whole).collect();
    let quote = quote(&records, &asking("saloon-coat"));
    let over = ratio(quote.hands_on_half_us, minutes(25 + 45 + 180 + 75));
    assert!((1.25..1.6).contains(&over), "{over}");
    assert_eq!(quote.from_jobs, 10);
    assert!(quote.stages.iter().all(|s| s.n == 0));
    assert_eq!(quote.likes[0].number, None);
}

/// Applying what was learned writes new allowances; the records are compared
/// with what a person gave, so they are not counted a second time.
#[test]
fn allowances_that_were_learned_and_applied_change_no_prediction() {
    let records = jobs(40, 12, 0.3, 0.2);
    let mut cats = catalogues(shop());
    let before = TYPES.map(|of| quote_under(&records, &cats, &asking(of)));
    for (n, (of, quote)) in (2..).zip(TYPES.into_iter().zip(&before)) {
        let mut applied = shop().job_types[&code(of)].clone();
        for (allowance, stage) in applied.stages.iter_mut().zip(&quote.stages) {
            allowance.allowance_us = stage.half_us;
        }
        applied.products[0].amount = quote.products[0].quoted;
        let mut changed = Catalogue::default();
        changed.job_types.insert(code(of), applied);
        set(&mut cats, n, changed, Some(Seq(99)));
    }
    for (of, before) in TYPES.into_iter().zip(before) {
        let mut after = quote_under(&records, &cats, &asking(of));
        for (stage, old) in after.stages.iter_mut().zip(&before.stages) {
            assert_eq!(stage.allowance_us, old.half_us);
            stage.allowance_us = old.allowance_us;
        }
        after.products[0].allowance = before.products[0].allowance;
        assert_eq!(after, before);
    }
    // A person who gives another allowance does move it.
    let mut catalogue = Catalogue::default();
    let mut by_hand = shop().job_types[&code("saloon-coat")].clone();
    by_hand.stages[2].allowance_us *= 3;
    catalogue.job_types.insert(code("saloon-coat"), by_hand);
    set(&mut cats, 9, catalogue, None);
    let moved = quote_under(&records, &cats, &asking("saloon-coat"));
    let alone = quote_under(&[], &cats, &asking("saloon-coat"));
    assert_eq!(moved.stages[2].allowance_us, minutes(540));
    assert!(moved.stages[2].half_us < alone.stages[2].half_us);
}

#[test]
fn a_stage_that_is_always_done_and_never_allowed_is_said() {
    let mut catalogue = shop();
    catalogue
        .job_types
        .get_mut(&code("saloon-coat"))
        .unwrap()
        .stages
        .retain(|a| a.stage.as_str() != "wash");
    let records: Vec<_> = (0..5)
        .map(|n| job(n, 1, grades(3, 3, 3), |_| 1.0))
        .collect();
    let cats = catalogues(catalogue);
    let said = quote_under(&records, &cats, &asking("saloon-coat"));
    assert!(says(&said, "wash (5 of 5 jobs)"), "{:?}", said.remarks);
    let mut asked = asking("saloon-coat");
    asked.with = vec![code("wash")];
    assert!(!says(
        &quote_under(&records, &cats, &asked),
        "wash (5 of 5 jobs)"
    ));
}

#[test]
fn a_line_of_its_own_holds_only_what_was_added() {
    let records = jobs(20, 13, 0.0, 0.2);
    let mut asked = asking("saloon-coat");
    asked.addition = true;
    asked.with = vec![code("polish")];
    let added = quote(&records, &asked);
    assert_eq!(added.stages.len(), 1);
    assert_eq!(added.stages[0].quoted_us, added.hands_on_half_us);
    assert!(added.products.is_empty());
    assert_eq!(added.waiting_half_us, 0);
    assert_eq!(added.list_minor, None);
    let whole = quote(&records, &asking("saloon-coat"));
    // The job's own effect is in it: as wide as the stage is in the whole.
    let (alone, within) = (&added.stages[0], &whole.stages[2]);
    let apart = ratio(alone.p80_us, alone.half_us) - ratio(within.p80_us, within.half_us);
    assert!(apart.abs() < 0.03, "{apart}");
}

#[test]
fn the_jobs_most_like_it_are_near_in_type_class_and_grades_and_then_late() {
    let mut records = vec![
        job(1, 1, grades(3, 3, 3), |_| 1.0),
        job(2, 1, grades(5, 5, 5), |_| 1.0),
        job(3, 2, grades(3, 3, 3), |_| 1.0),
        job(4, 1, grades(3, 3, 4), |_| 1.0),
        job(5, 1, grades(3, 3, 3), |_| 1.0),
    ];
    let shown = |records: &[_]| -> Vec<Option<u64>> {
        let quote = quote(records, &asking("saloon-coat"));
        quote.likes.iter().map(|like| like.number).collect()
    };
    assert_eq!(shown(&records), [Some(5), Some(1), Some(4)]);
    // Of another type and another class: not alike at all.
    records.retain(|r| r.number == Some(3));
    assert_eq!(shown(&records), []);
}
