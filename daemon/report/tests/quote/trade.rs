//! Checks from the trade, marked `common practice`.

use crate::invented::*;

/// Common practice: a small three-wheeler full of nooks, with mixed finishes, has taken
/// more hours than a saloon and more iron remover than a full-size truck. Small parts
/// and reach cost more than area. Its allowances are the smallest of all; the records
/// say otherwise.
#[test]
fn a_small_machine_full_of_nooks_comes_out_above_larger_vehicles_once_records_say_so() {
    let mut chance = Chance::new(21);
    let mut records = Vec::new();
    for n in 0..24 {
        let of_type = usize::try_from(n % 3).unwrap();
        let intricacy = if of_type == 0 { 5 } else { 2 };
        records.push(job(n, of_type, grades(3, 3, intricacy), |what| {
            let took = match (of_type, what) {
                (0, "iron-remover") => 3.0,
                (0, _) => 1.7,
                _ => 0.95,
            };
            took * (0.12 * chance.normal()).exp()
        }));
    }
    let ask = |of: &str, intricacy: u8| {
        let mut asked = asking(of);
        asked.grades.intricacy = intricacy;
        asked
    };
    let trike = quote(&records, &ask("trike-coat", 5));
    let saloon = quote(&records, &ask("saloon-coat", 2));
    let truck = quote(&records, &ask("truck-coat", 2));
    assert!(trike.hands_on_half_us > saloon.hands_on_half_us);
    assert!(trike.products[0].half > truck.products[0].half);
    assert!(trike.price_minor > saloon.price_minor);
    // The guess alone had it the other way round.
    let guess = |of: &str| quote(&[], &asking(of));
    assert!(guess("trike-coat").hands_on_half_us < guess("saloon-coat").hands_on_half_us);
    assert!(guess("trike-coat").products[0].half < guess("truck-coat").products[0].half);
}

/// Common practice, low confidence: grade 5 of cleaning costs about 1.6 and of correction
/// about 1.9 of the usual, grade 1 about 0.75 and 0.6; mixed finishes 1.1 to 1.25. A
/// straight line through their logarithms stays within a fifth of each.
#[test]
fn without_records_grades_act_as_the_trade_has_them() {
    let half = |soil, defects, intricacy, stage: usize| {
        let mut asked = asking("saloon-coat");
        asked.grades = grades(soil, defects, intricacy);
        quote(&[], &asked).stages[stage].half_us
    };
    let (decon, polish, coat) = (1, 2, 3);
    for (grade, trade) in [(1, 0.75), (2, 0.9), (4, 1.25), (5, 1.6)] {
        let factor = ratio(half(grade, 3, 3, decon), half(3, 3, 3, decon));
        assert!((factor / trade).ln().abs() < 0.2, "soil {grade}: {factor}");
    }
    for (grade, trade) in [(1, 0.6), (2, 0.8), (4, 1.35), (5, 1.9)] {
        let factor = ratio(half(3, grade, 3, polish), half(3, 3, 3, polish));
        assert!(
            (factor / trade).ln().abs() < 0.2,
            "defects {grade}: {factor}"
        );
    }
    let nooks = ratio(half(3, 3, 4, coat), half(3, 3, 3, coat));
    assert!((1.1..1.25).contains(&nooks), "{nooks}");
    // Soil acts on cleaning alone, defects on correction alone.
    for (of, stage) in [
        ((5, 3), polish),
        ((5, 3), coat),
        ((3, 5), decon),
        ((3, 5), coat),
    ] {
        let factor = ratio(half(of.0, of.1, 3, stage), half(3, 3, 3, stage));
        assert!((factor - 1.0).abs() < 0.02, "{of:?} {stage}: {factor}");
    }
}
