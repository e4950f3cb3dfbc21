//! A full week and a full job of an invented shop, with everything a page can
//! show.

use baywright_proto::v1::{
    AirOut, CureUnderWay, Flow, IdleReason, JobMoney, JobStory, ReworkGroup, Shortfall, Spread,
    StoryAir, StorySection, StoryStretch, Week, WeekBay, WeekDay, WeekJob, WeekMoney, WeekPoint,
};

use crate::render::fixture;

const MIN: i64 = 60_000_000;
const HOUR: i64 = 60 * MIN;
const DAY: i64 = 24 * HOUR;
/// Mon 23 Nov 2026 00:00 in Berlin.
const MONDAY: i64 = 1_795_388_400_000_000;

/// Cause, labour and materials, cents.
const SHORTFALLS: [(&str, i64, i64); 7] = [
    ("discount-given", 0, 0),
    ("took-longer", 9_850, 0),
    ("paid-more-per-hour", -1_275, 0),
    ("used-more", 0, 2_210),
    ("paid-more-for-it", 0, 480),
    ("rework", 4_900, 655),
    ("waste", 0, 390),
];
const DISCOUNT: i64 = 5_000;

fn shortfalls() -> Vec<Shortfall> {
    SHORTFALLS
        .iter()
        .enumerate()
        .map(|(index, (cause, labour, materials))| Shortfall {
            id: format!("s{index}"),
            cause: (*cause).to_owned(),
            amount_minor: labour
                + materials
                + if *cause == "discount-given" {
                    DISCOUNT
                } else {
                    0
                },
            labour_minor: *labour,
            materials_minor: *materials,
        })
        .collect()
}

fn short() -> i64 {
    shortfalls().iter().map(|cause| cause.amount_minor).sum()
}

pub(super) fn week() -> Week {
    let plain = fixture::week();
    let mut week = Week {
        money: Some(WeekMoney {
            jobs: 4,
            jobs_priced: 3,
            jobs_assumed: 1,
            revenue_minor: 214_000,
            labour_minor: 61_200,
            materials_minor: 18_350,
            supplies_minor: 4_100,
            overhead_minor: 0,
            contribution_minor: 130_350,
            jobs_quoted: 3,
            quoted_contribution_minor: 130_350 + short(),
            contribution_of_quoted_minor: 130_350,
            effective_hour_minor: 7_240,
            loose_materials_minor: 120,
            ..WeekMoney::default()
        }),
        shortfalls: shortfalls(),
        flow: Some(Flow {
            opened: 5,
            released: 4,
            in_progress_us: 3 * 5 * DAY,
            window_us: 5 * DAY,
            in_progress_mean: 3.0,
            cycle: Some(Spread {
                n: 4,
                mean_us: 2 * DAY,
                half_us: 2 * DAY + 3 * HOUR,
                p80_us: 3 * DAY,
                p90_us: 3 * DAY + 6 * HOUR,
            }),
            flow_permille: 412,
            reworked: 2,
            rework_permille: 500,
        }),
        history: (1..=12).map(point).collect(),
        days: days(),
        air_out: vec![AirOut {
            job_number: 118,
            panel: "nose".to_owned(),
            product: "ceramic-base".to_owned(),
            coated_us: MONDAY + DAY + 10 * HOUR,
            bay: "bay-2".to_owned(),
            why: "The surface was 2.1 °C above the dew point; the coating wants 3 °C.".to_owned(),
            seq: 4_655,
        }],
        cures: vec![CureUnderWay {
            job_number: 121,
            vehicle: "the green one of the Hollerbach farm, cab and loader".to_owned(),
            water_safe_us: 0,
            full_cure_us: MONDAY + 11 * DAY,
            panels: 6,
            ..CureUnderWay::default()
        }],
        rework: vec![
            group("g1", "ceramic-base", "L-2291", 14, 1, 2),
            group("g2", "ceramic-base", "", 6, 0, 0),
        ],
        quantiles: "Hyndman-Fan type 8".to_owned(),
        ..plain
    };
    for (index, bay) in week.bays.iter_mut().enumerate() {
        enrich_bay(bay, index);
    }
    for (index, job) in week.jobs.iter_mut().enumerate() {
        enrich_job(job, index);
    }
    for (index, of_type) in week.types.iter_mut().enumerate() {
        of_type.id = format!("t{index}");
        of_type.rework_us = if index == 1 { 165 * MIN } else { 0 };
        of_type.declared_us = if index == 0 { 30 * MIN } else { 0 };
        of_type.unclosed_us = if index == 1 { 40 * MIN } else { 0 };
    }
    for (index, row) in week.chemicals.iter_mut().enumerate() {
        row.id = format!("c{index}");
        row.n = row.jobs_with_use;
        row.jobs_allowed = row.jobs;
        let share = 1.0 / f64::from(row.n.max(1));
        row.mean = row.used * share;
        row.median = row.used * share * 0.96;
        row.p80 = row.used * share * 1.2;
        row.cost_minor = 100 * i64::from(row.n) + 35;
        row.cost_median_minor = 96;
        row.apportioned = index == 0;
        row.at_allowance = index == 3;
        row.no_price = index == 4;
    }
    week
}

fn enrich_bay(bay: &mut WeekBay, index: usize) {
    bay.id = format!("b{index}");
    bay.idle = vec![
        IdleReason {
            reason: "waiting for parts".to_owned(),
            idle_us: bay.idle_us / 3,
        },
        IdleReason {
            reason: "between stages".to_owned(),
            idle_us: bay.idle_us - bay.idle_us / 3,
        },
    ];
    if index < 2 {
        bay.longest_stage = "polish".to_owned();
        bay.longest_stage_us = 9 * HOUR;
        bay.contribution_per_hour_minor = Some(3_150 - 900 * i64::try_from(index).unwrap());
        bay.jobs_here_mean = 0.8;
    }
}

fn enrich_job(job: &mut WeekJob, index: usize) {
    job.id = format!("j{index}");
    job.first_pass_us = job.actual_us - job.rework_us;
    job.money = Some(money(index));
}

fn money(index: usize) -> JobMoney {
    let known = index != 2;
    JobMoney {
        revenue_minor: if known { 80_000 } else { 0 },
        revenue_known: known,
        revenue_assumed: index == 1,
        list_minor: 85_000,
        labour_minor: 22_000,
        materials_minor: 6_100,
        supplies_minor: 1_300,
        contribution_minor: if known { 50_600 } else { -29_400 },
        quoted: known,
        quoted_labour_minor: 18_000,
        quoted_materials_minor: 4_000,
        quoted_contribution_minor: 50_600 + short(),
        effective_hour_minor: 6_980,
        labour_without_rate_us: 30 * MIN,
        uses_without_price: 1,
        materials_unmeasured_minor: 240,
        ..JobMoney::default()
    }
}

fn point(index: i64) -> WeekPoint {
    let wave = u32::try_from((index * 7) % 5 * 40).unwrap();
    let none = index == 4;
    WeekPoint {
        week: format!("2026-W{:02}", 36 + index),
        from_us: MONDAY - (12 - index) * 7 * DAY,
        jobs: if none { 0 } else { 5 },
        quoted_us: if none { 0 } else { 30 * HOUR },
        actual_us: if none { 0 } else { 32 * HOUR },
        ratio_p20_permille: if none { 0 } else { 880 + wave },
        ratio_half_permille: if none { 0 } else { 1_010 + wave },
        ratio_p80_permille: if none { 0 } else { 1_220 + 2 * wave },
        revenue_minor: if none { 0 } else { 210_000 },
        contribution_minor: if none {
            -12_000
        } else {
            90_000 + 9_000 * i64::from(wave) / 10
        },
        effective_hour_minor: if none { 0 } else { 6_900 },
        utilisation_permille: 700 + wave,
        rework_us: i64::from(wave) * MIN,
    }
}

fn days() -> Vec<WeekDay> {
    let mut days = Vec::new();
    for bay in 1..=3 {
        for day in 0..6 {
            let open = if day == 5 { 4 * HOUR } else { 9 * HOUR };
            let hands_on = if bay == 3 { 0 } else { open / (bay + 1) };
            let waiting = if bay == 2 { open / 4 } else { 0 };
            let idle = if bay == 3 { 0 } else { open / 8 };
            days.push(WeekDay {
                date: format!("2026-11-{}", 23 + day),
                bay: format!("bay-{bay}"),
                open_us: open,
                hands_on_us: hands_on,
                waiting_us: waiting,
                idle_us: idle,
                empty_us: open - hands_on - waiting - idle,
                occupied_outside_open_us: 0,
            });
        }
    }
    days
}

fn group(
    id: &str,
    product: &str,
    lot: &str,
    sections: u32,
    smeared: u32,
    high: u32,
) -> ReworkGroup {
    ReworkGroup {
        id: id.to_owned(),
        product: product.to_owned(),
        lot: lot.to_owned(),
        sections,
        smeared,
        high_spots: high,
        lowest_milli_c: Some(16_400),
        highest_milli_c: Some(21_050),
    }
}

pub(super) fn story() -> JobStory {
    let plain = fixture::story();
    let mut job = plain.job.clone().unwrap();
    enrich_job(&mut job, 0);
    job.shortfalls = shortfalls();
    let mut story = JobStory {
        job: Some(job),
        currency: "EUR".to_owned(),
        shop: "Lindenhof Fahrzeugpflege (invented)".to_owned(),
        as_of_us: MONDAY + 2 * DAY + 17 * HOUR,
        stretches: vec![
            stretch("hands-on", "prewash", "ana", 495, 540, "done"),
            stretch("hands-on", "prewash", "ben", 495, 530, "started elsewhere"),
            stretch("dwell", "", "", 540, 548, ""),
            stretch("hands-on", "polish", "ana", 600, 760, "break"),
            StoryStretch {
                rework: true,
                ..stretch(
                    "hands-on",
                    "polish",
                    "ana",
                    1_440 + 500,
                    1_440 + 570,
                    "done",
                )
            },
            stretch("cure", "", "", 1_440 + 600, 2 * 1_440 + 500, ""),
        ],
        air: vec![StoryAir {
            read_us: MONDAY + 590 * MIN,
            bay: "bay-1".to_owned(),
            air_milli_c: 20_500,
            humidity_milli_pct: 47_000,
            surface_milli_c: Some(19_250),
            seq: 4_520,
        }],
        sections: vec![
            section("nose", 1, "clean"),
            section("left mudguard", 1, "high-spot"),
        ],
        ..plain
    };
    for product in &mut story.uses {
        product.cost_minor = 640;
        product.allowance_cost_minor = 520;
        product.waste_minor = 35;
    }
    story
}

fn stretch(
    kind: &str,
    stage: &str,
    worker: &str,
    from_min: i64,
    until_min: i64,
    ended: &str,
) -> StoryStretch {
    let waits = kind != "hands-on";
    StoryStretch {
        kind: kind.to_owned(),
        stage: stage.to_owned(),
        worker: worker.to_owned(),
        place: "bay-1".to_owned(),
        product: if waits {
            "iron-remover".to_owned()
        } else {
            String::new()
        },
        panel: if waits {
            "nose".to_owned()
        } else {
            String::new()
        },
        from_us: MONDAY + from_min * MIN,
        until_us: MONDAY + until_min * MIN,
        rework: false,
        ended: ended.to_owned(),
        seqs: vec![4_503],
        cost_minor: if waits { 0 } else { 1_575 },
    }
}

fn section(panel: &str, number: u32, result: &str) -> StorySection {
    StorySection {
        panel: panel.to_owned(),
        section: number,
        layer: 1,
        finish: "gloss".to_owned(),
        product: "ceramic-base".to_owned(),
        lot: "L-2291".to_owned(),
        coated_us: MONDAY + (1_440 + 580) * MIN,
        levelled_us: MONDAY + (1_440 + 584) * MIN,
        result: result.to_owned(),
        seqs: vec![4_600, 4_601],
    }
}
