//! Shops at random, whose numbers are as unround as they come.

use baywright_floor::row::{Ended, Row};
use baywright_terms::amount::{Amount, Money, Nanolitres, Quantity, Unit};
use baywright_terms::catalogue::{Catalogue, ShopCosts, Worker};
use baywright_terms::time::Micros;
use proptest::prelude::*;

use crate::made::{Made, amount, at, code, job_type, ml};
use crate::money::{receive, with_costs, worker};

/// A random shop; the numbers are as unround as they come.
#[derive(Debug, Clone)]
pub(crate) struct Random {
    rates: Vec<Option<i64>>,
    costs: ShopCosts,
    price: Option<i64>,
    pack: (i64, i64),
    allowed: Vec<(usize, i64)>,
    soap: i64,
    work: Vec<(u8, usize, usize, i64, bool)>,
    uses: Vec<(u8, usize, i64, i64)>,
    receipts: Vec<(usize, i64)>,
    agreed: Vec<Option<i64>>,
}

const STAGES: [&str; 3] = ["decon", "polish", "wax"];
const WORKERS: [&str; 4] = ["ana", "ben", "cas", ""];
const TYPES: [&str; 3] = ["trike-coat", "unsorted", "trike-coat"];
const DAYS: [&str; 3] = ["2026-11-23T10:00", "2026-11-24T10:00", "2026-11-25T10:00"];

pub(crate) fn random(
    minor: std::ops::Range<i64>,
    us: std::ops::Range<i64>,
) -> impl Strategy<Value = Random> {
    let rate = prop::option::of(minor.clone());
    let costs = (rate.clone(), prop::option::of(900_u32..1_500), rate.clone()).prop_map(
        |(standard_rate_minor, wage_burden_milli, overhead_per_hour_minor)| ShopCosts {
            standard_rate_minor,
            wage_burden_milli,
            overhead_per_hour_minor,
            ..ShopCosts::default()
        },
    );
    let first = (
        prop::collection::vec(rate.clone(), 3),
        costs,
        rate.clone(),
        (1_i64..5_000, minor.clone()),
        prop::collection::vec((0..3_usize, us.clone()), 0..4),
        0_i64..3_000,
    );
    let second = (
        prop::collection::vec(
            (1_u8..4, 0..3_usize, 0..4_usize, us.clone(), any::<bool>()),
            0..12,
        ),
        prop::collection::vec((1_u8..4, 0..3_usize, 0..3_i64, us), 0..8),
        prop::collection::vec((0..3_usize, minor), 0..4),
        prop::collection::vec(rate, 3),
    );
    (first, second).prop_map(|(first, second)| {
        let (rates, costs, price, pack, allowed, soap) = first;
        let (work, uses, receipts, agreed) = second;
        Random {
            rates,
            costs,
            price,
            pack,
            allowed,
            soap,
            work,
            uses,
            receipts,
            agreed,
        }
    })
}

pub(crate) fn build(random: &Random) -> Made {
    let mut catalogue = with_costs(random.costs);
    for (name, rate_minor) in WORKERS.iter().zip(&random.rates) {
        let worker = Worker {
            name: String::new(),
            rate_minor: *rate_minor,
            retired: false,
        };
        catalogue.workers.insert(code(name), worker);
    }
    let (pack, pack_minor) = random.pack;
    for soap in catalogue.products.values_mut() {
        soap.pack = Some(ml(pack));
        soap.pack_price = Some(Money::new(pack_minor, "EUR"));
    }
    let stages: Vec<(&str, i64)> = random
        .allowed
        .iter()
        .map(|(s, us)| (STAGES[*s], *us))
        .collect();
    let allowed: [(&str, Amount); 2] = [("soap", ml(random.soap)), ("soap", amount(3, Unit::G))];
    let mut kind = job_type(&stages, &allowed);
    kind.price = random.price.map(|minor| Money::new(minor, "EUR"));
    catalogue.job_types.insert(code("trike-coat"), kind);
    let mut made = Made::new(catalogue);
    for (n, (kind, agreed)) in (1_u8..).zip(TYPES.iter().zip(&random.agreed)) {
        let comeback = (n == 3).then_some(1);
        made.open_again(n, kind, "2026-11-23T08:00", comeback);
        if let Some(Row::JobOpened(opened)) = made.rows.last_mut() {
            opened.agreed_minor = *agreed;
        }
        let stay = (at("2026-11-23T08:00"), at("2026-11-27T08:00"));
        made.stay(n, "bay-1", stay.0, Some(Micros(stay.1.0 - i64::from(n))));
        made.release(n, "2026-11-27T08:00");
    }
    let mut raised = Catalogue::default();
    raised.workers.insert(code("ana"), worker(random.pack.1));
    made.set(at("2026-11-24T10:30"), raised);
    for (day, price) in &random.receipts {
        receive(&mut made, DAYS[*day], "L1", 2, *price);
    }
    for (n, stage, worker, us, rework) in &random.work {
        let from = at(DAYS[*stage]);
        let (stage, worker) = (STAGES[*stage], WORKERS[*worker]);
        made.work_as(*n, stage, worker, "bay-1", from, *us, Ended::Done, *rework);
    }
    for (n, day, unit, base) in &random.uses {
        let quantity = match unit {
            0 => Quantity::Volume(Nanolitres(*base)),
            1 => Quantity::Mass(baywright_terms::amount::Micrograms(*base)),
            _ => Quantity::Count(baywright_terms::amount::MilliEach(*base)),
        };
        made.used(Some(*n), "soap", DAYS[*day], Some(quantity), None);
    }
    made
}
