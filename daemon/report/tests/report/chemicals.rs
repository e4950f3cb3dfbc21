//! Chemicals against allowances.

use baywright_floor::event::Seq;
use baywright_report::figures::{ChemicalFigures, Portion, PortionUnit, Week};
use baywright_terms::amount::{Micrograms, MilliEach, Nanolitres, Quantity, Unit};
use baywright_terms::catalogue::Catalogue;

use crate::made::{Made, amount, code, job, job_type, ml, product, shop};

const ML: i64 = 1_000_000;
const L: i64 = 1_000 * ML;

fn trade() -> Catalogue {
    let mut catalogue = shop();
    let allowed = [("iron-remover", ml(300)), ("clay", amount(1, Unit::Each))];
    let types = &mut catalogue.job_types;
    types.insert(code("trike-coat"), job_type(&[], &allowed));
    types.insert(code("boat-wash"), job_type(&[], &[("soap", ml(50))]));
    let products = &mut catalogue.products;
    products.insert(code("iron-remover"), product(None));
    // 1.2 g/ml.
    products.insert(code("paste"), product(Some(1_200_000)));
    catalogue
}

/// A shop with one job of each type, released on Tuesday.
fn made() -> Made {
    let mut made = Made::new(trade());
    for (n, kind) in [(1, "trike-coat"), (2, "trike-coat"), (3, "boat-wash")] {
        made.open(n, kind, "2026-11-23T08:00");
        made.release(n, "2026-11-24T12:00");
    }
    made
}

const USED: &str = "2026-11-23T09:00";

fn rows<'w>(week: &'w Week, job_type: &str, product: &str) -> Vec<&'w ChemicalFigures> {
    let wanted = |c: &&ChemicalFigures| c.job_type == code(job_type) && c.product == code(product);
    week.chemicals.iter().filter(wanted).collect()
}

fn row<'w>(week: &'w Week, job_type: &str, product: &str) -> &'w ChemicalFigures {
    let rows = rows(week, job_type, product);
    assert_eq!(rows.len(), 1, "{:?}", week.chemicals);
    rows[0]
}

fn volume(nl: i64) -> Quantity {
    Quantity::Volume(Nanolitres(nl))
}

#[test]
fn a_neat_use_counts_as_it_is_against_the_allowance_of_all_jobs() {
    let mut made = made();
    made.used(Some(1), "iron-remover", USED, Some(volume(350 * ML)), None);
    made.used(Some(1), "iron-remover", USED, Some(volume(10 * ML)), None);
    let week = made.week("2026-11-23");
    let figures = row(&week, "trike-coat", "iron-remover");
    assert_eq!((figures.jobs, figures.jobs_with_use), (2, 1));
    assert_eq!(figures.used.base, 360 * ML);
    assert_eq!(figures.allowance.base, 600 * ML);
    assert!((figures.used.value() - 360.0).abs() < 1e-12);
    // Allowed and not used is listed too.
    assert_eq!(row(&week, "boat-wash", "soap").used.base, 0);
}

#[test]
fn a_comeback_adds_to_what_was_used_and_to_no_figure_for_one_job() {
    let mut made = made();
    made.open_again(4, "trike-coat", "2026-11-23T08:00", Some(1));
    made.release(4, "2026-11-24T12:00");
    made.used(Some(1), "iron-remover", USED, Some(volume(350 * ML)), None);
    made.used(Some(4), "iron-remover", USED, Some(volume(90 * ML)), None);
    let week = made.week("2026-11-23");
    let figures = row(&week, "trike-coat", "iron-remover");
    assert_eq!((figures.jobs, figures.jobs_allowed), (3, 2));
    assert_eq!(figures.used.base, 440 * ML);
    assert_eq!(figures.allowance.base, 600 * ML);
    let per_job = figures.per_job;
    assert_eq!((per_job.n, per_job.mean_base), (1, 350 * ML));
}

/// Common practice: one US gallon at 15:1 takes 8 US fl oz of product. NIST
/// Handbook 44, Appendix C: the gallon is 3785.411784 ml and 128 fl oz, so the
/// eight are 236.5882365 ml; half a nanolitre is rounded to even.
#[test]
fn a_gallon_of_a_mix_at_fifteen_to_one_is_eight_fluid_ounces_of_product() {
    let gallon = 3_785_411_784;
    let mut made = made();
    let mix = made.mix("iron-remover", 16 * gallon, gallon);
    made.used(
        Some(1),
        "iron-remover",
        USED,
        Some(volume(gallon)),
        Some(mix),
    );
    let week = made.week("2026-11-23");
    assert_eq!(
        row(&week, "trike-coat", "iron-remover").used.base,
        236_588_236
    );
}

#[test]
fn every_use_of_a_mix_is_rounded_once_and_additions_are_shared_too() {
    let mut made = made();
    let mix = made.mix_with(
        "iron-remover",
        3 * L,
        L,
        vec![
            (code("soap"), Quantity::Volume(Nanolitres(30 * ML))),
            (code("paste"), Quantity::Mass(Micrograms(36 * ML))),
            (code("tab"), Quantity::Count(MilliEach(3_000))),
        ],
    );
    for _ in 0..3 {
        made.used(
            Some(1),
            "iron-remover",
            USED,
            Some(volume(100 * ML)),
            Some(mix),
        );
    }
    let week = made.week("2026-11-23");
    // A third of 100 ml three times: 33.333333 ml each.
    assert_eq!(
        row(&week, "trike-coat", "iron-remover").used.base,
        3 * 33_333_333
    );
    assert_eq!(row(&week, "trike-coat", "soap").used.base, 3 * ML);
    // 36 g of 1.2 g/ml are 30 ml, a tenth of which was used.
    let paste = row(&week, "trike-coat", "paste");
    assert_eq!((paste.unit, paste.used.base), (PortionUnit::Ml, 3 * ML));
    let tab = row(&week, "trike-coat", "tab");
    assert_eq!((tab.unit, tab.used.base), (PortionUnit::Each, 300));
}

#[test]
fn a_weighed_use_becomes_a_volume_where_the_density_is_known() {
    let mut made = made();
    made.used(
        Some(1),
        "paste",
        USED,
        Some(Quantity::Mass(Micrograms(180 * ML))),
        None,
    );
    made.used(
        Some(1),
        "wax",
        USED,
        Some(Quantity::Mass(Micrograms(180 * ML))),
        None,
    );
    let week = made.week("2026-11-23");
    let paste = row(&week, "trike-coat", "paste");
    assert_eq!(
        paste.used,
        Portion {
            unit: PortionUnit::Ml,
            base: 150 * ML
        }
    );
    let wax = row(&week, "trike-coat", "wax");
    assert_eq!(
        wax.used,
        Portion {
            unit: PortionUnit::G,
            base: 180 * ML
        }
    );
}

#[test]
fn units_that_cannot_be_added_stay_apart_and_say_so() {
    let mut made = made();
    made.used(
        Some(1),
        "iron-remover",
        USED,
        Some(Quantity::Mass(Micrograms(5 * ML))),
        None,
    );
    made.used(Some(2), "iron-remover", USED, None, None);
    let week = made.week("2026-11-23");
    let rows = rows(&week, "trike-coat", "iron-remover");
    let seen: Vec<_> = rows
        .iter()
        .map(|r| {
            (
                r.unit,
                r.used.base,
                r.allowance.base,
                r.uses_without_amount,
                r.mixed_units,
            )
        })
        .collect();
    assert_eq!(
        seen,
        [
            (PortionUnit::Ml, 0, 600 * ML, 1, true),
            (PortionUnit::G, 5 * ML, 0, 0, true)
        ]
    );
    assert!(rows.iter().all(|r| r.jobs_with_use == 2));
}

#[test]
fn a_use_without_a_usable_amount_is_said_and_not_guessed() {
    let mut made = made();
    let mix = made.mix("soap", 10 * L, L);
    let empty = made.mix("soap", 0, L);
    let lost = baywright_floor::event::EventId([0xAB; 16]);
    made.used(Some(3), "soap", USED, None, None);
    made.used(Some(3), "soap", USED, None, Some(mix));
    made.used(
        Some(3),
        "soap",
        USED,
        Some(Quantity::Mass(Micrograms(ML))),
        Some(mix),
    );
    made.used(Some(3), "soap", USED, Some(volume(ML)), Some(empty));
    made.used(Some(3), "soap", USED, Some(volume(ML)), Some(lost));
    let week = made.week("2026-11-23");
    let soap = row(&week, "boat-wash", "soap");
    assert_eq!((soap.used.base, soap.uses_without_amount), (0, 5));
    assert_eq!(soap.jobs_with_use, 1);
}

#[test]
fn a_dumped_mix_is_shared_by_what_each_job_drew_of_it_whenever_it_was_dumped() {
    let mut made = made();
    let mix = made.mix("soap", 10 * L, L);
    let stripper = made.mix("stripper", 4 * L, L);
    made.used(Some(1), "soap", USED, Some(volume(L)), Some(mix));
    made.used(Some(3), "soap", USED, Some(volume(2 * L)), Some(mix));
    made.used(None, "soap", USED, Some(volume(L)), Some(mix));
    made.dump(mix, 2 * L, "2026-11-25T10:00");
    made.dump(mix, L, "2026-12-02T10:00");
    made.dump(stripper, 4 * L, "2026-11-25T10:00");
    let week = made.week("2026-11-23");
    // 300 ml of concentrate were dumped in all, one part in ten.
    assert_eq!(row(&week, "trike-coat", "soap").dumped.base, 75 * ML);
    assert_eq!(row(&week, "boat-wash", "soap").dumped.base, 150 * ML);
    assert_eq!(row(&week, "boat-wash", "soap").used.base, 200 * ML);
    // What no job drew counts in the week in which it was dumped.
    assert_eq!(row(&week, "", "soap").dumped.base, 50 * ML);
    let only_dumped = row(&week, "", "stripper");
    assert_eq!((only_dumped.jobs, only_dumped.used.base), (0, 0));
    assert_eq!(only_dumped.dumped.base, L);
    assert_eq!(week.chemicals.last(), Some(only_dumped));
}

/// M. Tanaka and others, Recommended table for the density of water, Metrologia
/// 38 (2001): 998.2067 kg/m³ at 20 °C, so 99.82067 g are 100 ml.
#[test]
fn a_bottle_of_water_that_lost_its_weight_of_a_hundred_millilitres_lost_them() {
    let mut catalogue = trade();
    catalogue
        .products
        .insert(code("water"), product(Some(998_207)));
    let mut made = Made::new(catalogue);
    made.open(1, "trike-coat", "2026-11-23T08:00");
    made.release(1, "2026-11-24T12:00");
    let lost = Quantity::Mass(Micrograms(99_820_670));
    made.used(Some(1), "water", USED, Some(lost), None);
    let used = row(&made.week("2026-11-23"), "trike-coat", "water").used;
    assert_eq!(used.unit, PortionUnit::Ml);
    // The density is kept to a millionth of a gram.
    assert!((used.base - 100 * ML).abs() <= 50, "{used:?}");
}

#[test]
fn uses_on_no_job_are_listed_in_the_week_in_which_they_happened() {
    let mut made = made();
    made.used(None, "soap", USED, Some(volume(5 * ML)), None);
    made.used(None, "soap", "2026-11-17T09:00", Some(volume(7 * ML)), None);
    let week = made.week("2026-11-23");
    let loose = row(&week, "", "soap");
    assert_eq!(
        (loose.used.base, loose.jobs, loose.jobs_with_use),
        (5 * ML, 0, 0)
    );
}

#[test]
fn a_story_names_the_records_behind_each_amount() {
    let mut made = made();
    let first = made.used(Some(1), "iron-remover", USED, Some(volume(350 * ML)), None);
    made.used(Some(2), "iron-remover", USED, Some(volume(1)), None);
    let second = made.used(Some(1), "iron-remover", USED, Some(volume(ML)), None);
    made.used(Some(1), "tape", USED, None, None);
    let story = baywright_report::story(&made.input(), job(1)).unwrap();
    let uses: Vec<_> = story
        .uses
        .iter()
        .map(|u| {
            (
                u.product.as_str(),
                u.used.base,
                u.allowance.base,
                u.seqs.clone(),
            )
        })
        .collect();
    assert_eq!(
        uses,
        [
            ("clay", 0, 1_000, vec![]),
            ("iron-remover", 351 * ML, 300 * ML, vec![first, second]),
            ("tape", 0, 0, Vec::<Seq>::new()),
        ]
    );
    assert_eq!(story.uses[2].uses_without_amount, 1);
}
