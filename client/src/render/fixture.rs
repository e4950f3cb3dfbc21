//! Messages of an invented shop, for the snapshots.

use baywright_proto::v1::{
    JobMoney, OddRecord, Shortfall, Week, WeekBay, WeekChemical, WeekJob, WeekStage, WeekType,
};

pub(crate) use self::learned::{honesty, learned};
pub(crate) use self::stock::{lot, stock};
pub(crate) use self::story::{own, story, why};

pub(crate) mod figures;
mod learned;
pub(crate) mod quote;
mod stock;
mod story;

pub(crate) const MIN: i64 = 60_000_000;
const HOUR: i64 = 60 * MIN;
/// Mon 23 Nov 2026 00:00 in Berlin.
const MONDAY: i64 = 1_795_388_400_000_000;
const DAY: i64 = 24 * HOUR;

pub(crate) fn week() -> Week {
    Week {
        week: "2026-W48".to_owned(),
        shop: "Lindenhof Fahrzeugpflege (invented)".to_owned(),
        zone: "Europe/Berlin".to_owned(),
        currency: "EUR".to_owned(),
        from_us: MONDAY,
        until_us: MONDAY + 7 * DAY,
        counted_until_us: MONDAY + 4 * DAY + 17 * HOUR,
        as_of_seq: 4812,
        as_of_us: MONDAY + 4 * DAY + 17 * HOUR,
        bays: vec![
            figures::with_flow(1, bay("bay-1", 3, [1880, 412, 310, 128], 2600, 2870)),
            figures::with_flow(2, bay("bay-2", 1, [950, 1260, 333, 0], 2543, 1404)),
            figures::with_flow(3, bay("bay-3", 0, [0, 0, 0, 2600], 2600, 0)),
        ],
        jobs: jobs(),
        types: types(),
        chemicals: chemicals(),
        odd: vec![
            odd(
                4711,
                "The stage polish on job 118 was never ended; it was cut at closing, 17:30.",
                "bay settle 4711 --end 17:20",
            ),
            odd(
                4790,
                "No product `iron-remvoer` in the catalogue. Nearest: iron-remover.",
                "bay settle 4790 --code iron-remover",
            ),
        ],
        log_from_us: MONDAY - 80 * DAY,
        log_until_us: MONDAY + 4 * DAY,
        remark: String::new(),
        money: Some(figures::money_of_week()),
        shortfalls: figures::shortfalls_of_week(),
        flow: Some(figures::flow()),
        history: figures::history(),
        days: figures::days(),
        air_out: figures::air_out(),
        cures: figures::cures(),
        rework: figures::rework(),
        quantiles: "Hyndman-Fan type 8".to_owned(),
        quotes: learned::quotes(),
        ahead: Some(learned::ahead()),
        look_again: learned::look_again(),
        honesty: Some(learned::printed()),
    }
}

fn jobs() -> Vec<WeekJob> {
    vec![
        WeekJob {
            rework_us: 70 * MIN,
            unclosed_us: 40 * MIN,
            ..priced(
                job(
                    118,
                    "trike-coat",
                    "red three-wheeler, folding roof",
                    540,
                    635,
                ),
                figures::money_of_118(),
                figures::shortfalls_of_118(),
            )
        },
        WeekJob {
            declared_us: 30 * MIN,
            released_us: MONDAY + 2 * DAY,
            ..priced(
                job(
                    121,
                    "tractor-wash",
                    "the green one of the Hollerbach farm, cab and loader",
                    300,
                    245,
                ),
                figures::money_of_121(),
                figures::shortfalls_of_121(),
            )
        },
        WeekJob {
            no_allowance: true,
            handle: "b2-7".to_owned(),
            number: 0,
            ..priced(
                job(0, "unsorted", "三輪トラック Škoda-Anhänger", 0, 55),
                figures::money_of_unsorted(),
                Vec::new(),
            )
        },
        WeekJob {
            comeback_of: 97,
            rework_us: 95 * MIN,
            ..priced(
                job(123, "trike-coat", "black three-wheeler", 0, 95),
                figures::money_of_123(),
                figures::shortfalls_of_123(),
            )
        },
    ]
}

fn priced(job: WeekJob, money: JobMoney, shortfalls: Vec<Shortfall>) -> WeekJob {
    WeekJob {
        id: format!("j{}", job.number),
        money: Some(money),
        shortfalls,
        first_pass_us: job.actual_us - job.rework_us,
        occupied_us: job.actual_us * 2,
        flow_permille: 500,
        ..job
    }
}

fn types() -> Vec<WeekType> {
    vec![
        WeekType {
            job_type: "tractor-wash".to_owned(),
            jobs: 1,
            jobs_quoted: 1,
            quoted_us: 300 * MIN,
            actual_us: 245 * MIN,
            stages: vec![
                stage("decon", 1, 120, 80),
                WeekStage {
                    declared_us: 30 * MIN,
                    ..stage("dry", 1, 60, 62)
                },
            ],
            id: "t1".to_owned(),
            money: Some(figures::sum(&[figures::money_of_121()], 7_295)),
            shortfalls: figures::shortfalls_of_121(),
            declared_us: 30 * MIN,
            ..WeekType::default()
        },
        WeekType {
            job_type: "trike-coat".to_owned(),
            jobs: 2,
            jobs_quoted: 2,
            quoted_us: 540 * MIN,
            actual_us: 730 * MIN,
            stages: vec![
                WeekStage {
                    rework_us: 165 * MIN,
                    unclosed_us: 40 * MIN,
                    id: "t2.1".to_owned(),
                    ..stage("polish", 2, 180, 385)
                },
                WeekStage {
                    id: "t2.2".to_owned(),
                    ..stage("coat", 1, 240, 90)
                },
            ],
            id: "t2".to_owned(),
            money: Some(figures::sum(
                &[figures::money_of_118(), figures::money_of_123()],
                6_366,
            )),
            shortfalls: figures::shortfalls_of_trikes(),
            rework_us: 165 * MIN,
            unclosed_us: 40 * MIN,
            ..WeekType::default()
        },
        WeekType {
            job_type: "unsorted".to_owned(),
            jobs: 1,
            jobs_quoted: 0,
            quoted_us: 0,
            actual_us: 55 * MIN,
            actual_unquoted_us: 55 * MIN,
            stages: vec![WeekStage {
                no_allowance: true,
                ..stage("prewash", 1, 0, 55)
            }],
            id: "t3".to_owned(),
            money: Some(figures::sum(&[figures::money_of_unsorted()], 0)),
            ..WeekType::default()
        },
    ]
}

fn chemicals() -> Vec<WeekChemical> {
    let mut chemicals = vec![
        chemical("tractor-wash", "iron-remover", (1, 1), "ml", 250.0, 300.0),
        WeekChemical {
            dumped: 125.0,
            dumped_cost_minor: 350,
            ..chemical("trike-coat", "iron-remover", (2, 1), "ml", 700.0, 500.0)
        },
        WeekChemical {
            uses_without_amount: 1,
            ..chemical("trike-coat", "ceramic-base", (2, 2), "ml", 61.5, 60.0)
        },
        WeekChemical {
            no_price: true,
            ..chemical("trike-coat", "clay-mitt", (2, 2), "each", 1.5, 0.0)
        },
        WeekChemical {
            apportioned: true,
            ..chemical("trike-coat", "shampoo", (2, 2), "ml", 44.8, 40.0)
        },
        WeekChemical {
            at_allowance: true,
            ..chemical("trike-coat", "glass-polish", (2, 2), "g", 20.0, 20.0)
        },
        chemical("trike-coat", "panel-wipe", (2, 0), "ml", 0.0, 110.0),
        WeekChemical {
            cost_minor: 35,
            ..chemical("", "glass-cleaner", (0, 0), "ml", 40.0, 0.0)
        },
    ];
    for (number, row) in (1..).zip(&mut chemicals) {
        row.id = format!("c{number}");
    }
    chemicals
}

fn bay(code: &str, released: u32, parts_min: [i64; 4], open_min: i64, labour_min: i64) -> WeekBay {
    let [hands_on, waiting, idle, empty] = parts_min;
    let occupied = hands_on + waiting + idle;
    let inside = open_min - empty;
    WeekBay {
        bay: code.to_owned(),
        places: 1,
        jobs_released: released,
        open_us: open_min * MIN,
        occupied_us: occupied * MIN,
        occupied_outside_open_us: (occupied - inside) * MIN,
        hands_on_us: hands_on * MIN,
        waiting_us: waiting * MIN,
        idle_us: idle * MIN,
        empty_us: empty * MIN,
        labour_us: labour_min * MIN,
        utilisation_permille: u32::try_from(inside * 1000 / open_min).unwrap(),
        ..WeekBay::default()
    }
}

pub(crate) fn job(
    number: u64,
    job_type: &str,
    vehicle: &str,
    quoted_min: i64,
    actual_min: i64,
) -> WeekJob {
    WeekJob {
        number,
        job_type: job_type.to_owned(),
        vehicle: vehicle.to_owned(),
        bay: "bay-1".to_owned(),
        released_us: MONDAY + 2 * DAY + 16 * HOUR + 40 * MIN,
        quoted_us: quoted_min * MIN,
        actual_us: actual_min * MIN,
        cycle_us: 2 * DAY + 8 * HOUR,
        ..WeekJob::default()
    }
}

fn stage(code: &str, jobs: u32, quoted_min: i64, actual_min: i64) -> WeekStage {
    WeekStage {
        stage: code.to_owned(),
        jobs,
        quoted_us: quoted_min * MIN,
        actual_us: actual_min * MIN,
        no_allowance: false,
        ..WeekStage::default()
    }
}

fn chemical(
    job_type: &str,
    product: &str,
    (jobs, jobs_with_use): (u32, u32),
    unit: &str,
    used: f64,
    allowance: f64,
) -> WeekChemical {
    WeekChemical {
        job_type: job_type.to_owned(),
        product: product.to_owned(),
        jobs,
        jobs_with_use,
        jobs_allowed: jobs,
        unit: unit.to_owned(),
        used,
        allowance,
        n: jobs_with_use,
        mean: used / f64::from(jobs_with_use.max(1)),
        median: used / f64::from(jobs_with_use.max(1)) * 0.96,
        p80: used / f64::from(jobs_with_use.max(1)) * 1.08,
        cost_minor: 840 * i64::from(jobs_with_use),
        allowance_cost_minor: 700 * i64::from(jobs),
        cost_mean_minor: if jobs_with_use > 0 { 840 } else { 0 },
        cost_median_minor: if jobs_with_use > 0 { 806 } else { 0 },
        cost_p80_minor: if jobs_with_use > 0 { 907 } else { 0 },
        ..WeekChemical::default()
    }
}

pub(crate) fn odd(seq: u64, text: &str, settle_with: &str) -> OddRecord {
    OddRecord {
        event_id: vec![0x2a; 16],
        seq,
        code: "unclosed".to_owned(),
        text: text.to_owned(),
        job_number: 118,
        occurred_us: MONDAY + DAY + 15 * HOUR + 5 * MIN,
        bay: "bay-1".to_owned(),
        settle_with: settle_with.to_owned(),
        settled: false,
        of: "ana".to_owned(),
        changes_us: 0,
        answers: vec![baywright_proto::v1::OddAnswer {
            command: settle_with.to_owned(),
            words: "as proposed".to_owned(),
            changes_us: Some(0),
            proposed: true,
        }],
        stage: "polish".to_owned(),
        worker: "ana".to_owned(),
        counted_from_us: MONDAY + DAY + 15 * HOUR + 5 * MIN,
        counted_until_us: MONDAY + DAY + 15 * HOUR + 45 * MIN,
    }
}

/// Every name of a JSON value with the names above it, sorted: `week.bays[].bay`.
pub(crate) fn key_paths(json: &serde_json::Value) -> Vec<String> {
    fn walk(json: &serde_json::Value, above: &str, paths: &mut std::collections::BTreeSet<String>) {
        match json {
            serde_json::Value::Object(fields) => {
                for (name, value) in fields {
                    walk(value, &format!("{above}.{name}"), paths);
                }
            }
            serde_json::Value::Array(items) => {
                for item in items {
                    walk(item, &format!("{above}[]"), paths);
                }
            }
            _ => {
                paths.insert(above.trim_start_matches('.').to_owned());
            }
        }
    }
    let mut paths = std::collections::BTreeSet::new();
    walk(json, "", &mut paths);
    paths.into_iter().collect()
}
