//! Messages of an invented shop, for the snapshots.

use baywright_proto::v1::{
    JobStory, OddRecord, StoryLine, StoryPlace, StoryUse, Week, WeekBay, WeekChemical, WeekJob,
    WeekStage, WeekType,
};

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
            bay("bay-1", 3, [1880, 412, 310, 128], 2600, 2870),
            bay("bay-2", 1, [950, 1260, 333, 0], 2543, 1404),
            bay("bay-3", 0, [0, 0, 0, 2600], 2600, 0),
        ],
        jobs: vec![
            WeekJob {
                rework_us: 70 * MIN,
                unclosed_us: 40 * MIN,
                ..job(
                    118,
                    "trike-coat",
                    "red three-wheeler, folding roof",
                    540,
                    635,
                )
            },
            WeekJob {
                declared_us: 30 * MIN,
                released_us: MONDAY + 2 * DAY,
                ..job(
                    121,
                    "tractor-wash",
                    "the green one of the Hollerbach farm, cab and loader",
                    300,
                    245,
                )
            },
            WeekJob {
                no_allowance: true,
                handle: "b2-7".to_owned(),
                number: 0,
                ..job(0, "unsorted", "三輪トラック Škoda-Anhänger", 0, 55)
            },
            WeekJob {
                comeback_of: 97,
                rework_us: 95 * MIN,
                ..job(123, "trike-coat", "black three-wheeler", 540, 95)
            },
        ],
        types: vec![
            WeekType {
                job_type: "tractor-wash".to_owned(),
                jobs: 1,
                jobs_quoted: 1,
                quoted_us: 300 * MIN,
                actual_us: 245 * MIN,
                actual_unquoted_us: 0,
                stages: vec![stage("decon", 1, 120, 80), stage("dry", 1, 60, 62)],
                ..WeekType::default()
            },
            WeekType {
                job_type: "trike-coat".to_owned(),
                jobs: 2,
                jobs_quoted: 2,
                quoted_us: 1080 * MIN,
                actual_us: 730 * MIN,
                actual_unquoted_us: 0,
                stages: vec![stage("polish", 2, 360, 500), stage("coat", 1, 240, 90)],
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
                ..WeekType::default()
            },
        ],
        chemicals: vec![
            chemical("tractor-wash", "iron-remover", (1, 1), "ml", 250.0, 300.0),
            WeekChemical {
                dumped: 125.0,
                ..chemical("trike-coat", "iron-remover", (2, 1), "ml", 700.0, 500.0)
            },
            WeekChemical {
                uses_without_amount: 1,
                ..chemical("trike-coat", "ceramic-base", (2, 2), "ml", 61.5, 60.0)
            },
            chemical("trike-coat", "clay-mitt", (2, 2), "each", 1.5, 0.0),
            chemical("trike-coat", "panel-wipe", (2, 0), "ml", 0.0, 110.0),
            chemical("trike-coat", "shampoo", (2, 0), "ml", 0.0, 14.0),
            chemical("", "glass-cleaner", (0, 0), "ml", 40.0, 0.0),
        ],
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
        ..Week::default()
    }
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
        unit: unit.to_owned(),
        used,
        allowance,
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

pub(crate) fn story() -> JobStory {
    JobStory {
        job: Some(WeekJob {
            handle: "b2-7".to_owned(),
            rework_us: 70 * MIN,
            unclosed_us: 40 * MIN,
            stages: vec![
                stage("prewash", 1, 30, 35),
                stage("polish", 1, 180, 290),
                stage("mask", 0, 30, 0),
                stage("dry", 0, 55, 0),
                WeekStage {
                    no_allowance: true,
                    ..stage("headlights", 1, 0, 25)
                },
            ],
            ..job(
                118,
                "trike-coat",
                "red three-wheeler, folding roof",
                540,
                635,
            )
        }),
        zone: "Europe/Berlin".to_owned(),
        opened_us: MONDAY + 8 * HOUR + 10 * MIN,
        lines: vec![
            line(
                4501,
                490,
                &["ana"],
                "Opened as trike-coat, red three-wheeler, folding roof, by ana.",
            ),
            line(4502, 491, &["ana"], "Moved to bay-1, by ana."),
            StoryLine {
                cautions: 3,
                notices: vec![
                    "ben was on polish on job 117 until now; that stage is ended.".to_owned(),
                ],
                ..line(
                    4503,
                    495,
                    &["ana", "ben"],
                    "Started prewash, by ana and ben.",
                )
            },
            StoryLine {
                struck: true,
                time_basis: 3,
                ..line(4510, 540, &["ana"], "Used 350 mL of iron-remover, by ana.")
            },
            line(
                4620,
                1440 + 480,
                &["ana"],
                "Note: the clear coat on the left mudguard is thin from an older correction; polished with the soft pad only, two passes, by ana.",
            ),
            line(4700, 2 * 1440 + 1000, &[], "Released."),
        ],
        places: vec![
            place("bay-1", 491, Some(1050), [300, 120, 139]),
            place("holding", 1050, None, [0, 0, 900]),
        ],
        uses: vec![
            StoryUse {
                product: "iron-remover".to_owned(),
                unit: "ml".to_owned(),
                used: 700.0,
                allowance: 250.0,
                seqs: vec![4510, 4511],
                uses_without_amount: 0,
                ..StoryUse::default()
            },
            StoryUse {
                product: "panel-wipe".to_owned(),
                unit: "ml".to_owned(),
                allowance: 110.0,
                ..StoryUse::default()
            },
        ],
        odd: vec![odd(
            4620,
            "The stage polish was never ended; it was cut at closing, 17:30.",
            "bay settle 4620 --end 17:20",
        )],
        as_of_seq: 4812,
        ..JobStory::default()
    }
}

fn line(seq: u64, at_min: i64, by: &[&str], text: &str) -> StoryLine {
    StoryLine {
        seq,
        occurred_us: MONDAY + at_min * MIN,
        device: "bay-1".to_owned(),
        bay: "bay-1".to_owned(),
        by: by.iter().map(|b| (*b).to_owned()).collect(),
        text: text.to_owned(),
        struck: false,
        notices: Vec::new(),
        event_id: vec![0x2a; 16],
        time_basis: 1,
        cautions: 0,
    }
}

fn place(code: &str, from_min: i64, until_min: Option<i64>, parts_min: [i64; 3]) -> StoryPlace {
    StoryPlace {
        place: code.to_owned(),
        from_us: MONDAY + from_min * MIN,
        until_us: until_min.map_or(0, |m| MONDAY + m * MIN),
        hands_on_us: parts_min[0] * MIN,
        waiting_us: parts_min[1] * MIN,
        idle_us: parts_min[2] * MIN,
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
