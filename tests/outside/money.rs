//! Published worked examples of standard costing, to the cent, through posted
//! events: a real daemon folds a shop that works and buys as the example says,
//! and its week must show the variances.
//!
//! The source of each case stands in the data file. An example's hours are
//! worked by up to a hundred people for at most twenty hours a day and spread
//! over as many jobs as the catalogue's limits need; nothing is scaled. Its
//! units of material are kilograms here.

use std::fmt::Write as _;
use std::path::Path;
use std::sync::Arc;

use baywright_client::clock::{Clocks as _, MachineClocks};
use baywright_client::connect::Link;
use baywright_client::device::{Device, How, Posted};
use baywright_proto::v1;
use baywright_proto::v1::fact::Kind;
use baywright_proto::v1::report_service_client::ReportServiceClient;
use baywright_terms::time::{DAY_US, HOUR_US, Micros, Week};
use baywright_tests::clocks::StoryClocks;
use baywright_tests::harness::{self, Daemon};
use jiff::tz::TimeZone;
use serde_json::Value;

const CASES: &str = include_str!("data/standard_cost_variances.json");

const WORKERS: i64 = 100;
/// A stretch without open hours is believed for a day.
const STRETCH_HOURS_MAX: i64 = 20;
/// The catalogue's own limits: sixty stages of five hundred hours.
const STAGE_HOURS_MAX: i64 = 500;
const JOB_HOURS_MAX: i64 = 60 * STAGE_HOURS_MAX;

/// The inputs of one case, in integers: microseconds, kilograms, cents.
#[derive(Debug, Default)]
struct Case {
    id: String,
    standard_us: i64,
    actual_us: i64,
    standard_rate: i64,
    actual_rate: i64,
    standard_kg: i64,
    actual_kg: i64,
    standard_price: i64,
    actual_price: i64,
}

/// A number of the data file times `factor`, which must come out whole.
fn whole(value: &Value, factor: f64) -> i64 {
    let value = value.as_f64().expect("a number") * factor;
    assert!((value - value.round()).abs() < 1e-6, "{value} is not whole");
    format!("{value:.0}").parse().expect("an integer")
}

fn case(of: &Value) -> Case {
    let inputs = &of["inputs"];
    let id = of["id"].as_str().expect("an id").to_owned();
    let hour = 3_600_000_000.0;
    if of["kind"] == "labour" {
        return Case {
            id,
            standard_us: whole(&inputs["standard_hours_allowed"], hour),
            actual_us: whole(&inputs["actual_hours"], hour),
            standard_rate: whole(&inputs["standard_rate"], 100.0),
            actual_rate: whole(&inputs["actual_rate"], 100.0),
            ..Case::default()
        };
    }
    // A shop cannot use more than it bought in these examples.
    assert_eq!(
        inputs["actual_quantity_used"],
        inputs["actual_quantity_purchased"]
    );
    Case {
        id,
        // The stage that the material goes into takes as long as it may.
        standard_us: HOUR_US,
        actual_us: HOUR_US,
        standard_rate: 2_000,
        actual_rate: 2_000,
        standard_kg: whole(&inputs["standard_quantity_allowed"], 1.0),
        actual_kg: whole(&inputs["actual_quantity_used"], 1.0),
        standard_price: whole(&inputs["standard_price"], 100.0),
        actual_price: whole(&inputs["actual_price"], 100.0),
    }
}

impl Case {
    /// As many jobs as hold the standard hours, all of them alike.
    fn jobs(&self) -> i64 {
        let jobs = 1 + (self.standard_us - 1) / (JOB_HOURS_MAX * HOUR_US);
        assert_eq!(self.standard_us % jobs, 0, "the jobs are alike");
        assert_eq!(self.actual_us % jobs, 0, "the jobs are alike");
        jobs
    }

    fn catalogue(&self) -> String {
        let money = |cents: i64| format!("{}.{:02}", cents / 100, cents % 100);
        let mut text = format!(
            "[shop]\nname = \"{} (invented)\"\nzone = \"Etc/UTC\"\ncurrency = \"EUR\"\n\
             rate = \"{}\"\n",
            self.id,
            money(self.standard_rate)
        );
        for bay in 1..=self.jobs() {
            write!(
                text,
                "[[bay]]\ncode = \"bay-{bay}\"\nname = \"Bay\"\nplaces = 1\n"
            )
            .expect("text");
        }
        for worker in 0..WORKERS {
            let rate = money(self.actual_rate);
            write!(
                text,
                "[[worker]]\ncode = \"w{worker}\"\nname = \"W\"\nrate = \"{rate}\"\n"
            )
            .expect("text");
        }
        let mut left_us = self.standard_us / self.jobs();
        let mut stages = String::new();
        for stage in 0.. {
            let us = left_us.min(STAGE_HOURS_MAX * HOUR_US);
            left_us -= us;
            assert_eq!(us % 60_000_000, 0, "whole minutes");
            let (hours, minutes) = (us / HOUR_US, us % HOUR_US / 60_000_000);
            write!(
                text,
                "[[stage]]\ncode = \"s{stage}\"\nname = \"S\"\nkind = \"other\"\n"
            )
            .expect("text");
            let allowance = match (hours, minutes) {
                (0, minutes) => format!("{minutes}m"),
                (hours, 0) => format!("{hours}h"),
                (hours, minutes) => format!("{hours}h{minutes}m"),
            };
            write!(
                stages,
                "{{ stage = \"s{stage}\", allowance = \"{allowance}\" }},"
            )
            .expect("text");
            if left_us == 0 {
                break;
            }
        }
        let mut products = String::new();
        if self.standard_kg > 0 {
            write!(
                text,
                "[[product]]\ncode = \"stuff\"\nname = \"Stuff\"\nkind = \"polish\"\n\
                 pack = \"1 kg\"\nprice = \"{}\"\n",
                money(self.standard_price)
            )
            .expect("text");
            products = format!(
                "products = [{{ product = \"stuff\", amount = \"{} kg\" }}]\n",
                self.standard_kg
            );
        }
        text + &format!(
            "[[job-type]]\ncode = \"example\"\nname = \"Example\"\nclass = \"trike\"\n\
             price = \"1000.00\"\nstages = [{stages}]\n{products}"
        )
    }
}

/// A device at the desk that says when things happened.
struct Desk {
    device: Device,
    link: Link,
    clocks: Arc<StoryClocks>,
}

impl Desk {
    async fn post(&mut self, at: Micros, by: &[String], job: Option<&[u8]>, kind: Kind) -> Vec<u8> {
        let job = job.map(|id| v1::JobRef {
            job: Some(v1::job_ref::Job::OpeningEventId(id.to_vec())),
        });
        let fact = v1::Fact {
            // Stated, as with `--at`: a time read from clocks is corrected by
            // the microseconds that the post was under way.
            clocks: Some(self.clocks.at(at)),
            occurred: Some(v1::fact::Occurred::AtUs(at.0)),
            bay: "bay-1".into(),
            by: by.to_vec(),
            job,
            kind: Some(kind),
        };
        let posted = self
            .device
            .post(&mut self.link, fact, &How::default())
            .await;
        match posted.expect("a post") {
            Posted::Acknowledged(done) => done.receipt.event_id,
            Posted::Kept { why, .. } => panic!("the daemon is away: {why}"),
        }
    }

    /// Works `us` on a job from `at` on, in days of at most a hundred people.
    async fn work(&mut self, job: &[u8], mut at: Micros, mut us: i64) -> Micros {
        let full_us = STRETCH_HOURS_MAX * HOUR_US;
        while us > 0 {
            let names = |from: i64, until: i64| -> Vec<String> {
                (from..until).map(|worker| format!("w{worker}")).collect()
            };
            let full = (us / full_us).min(WORKERS);
            let rest_us = if full < WORKERS { us % full_us } else { 0 };
            let mut hands = vec![(names(0, full), full_us)];
            hands.push((names(full, full + 1), rest_us));
            hands.retain(|(names, us)| !names.is_empty() && *us > 0);
            for (names, _) in &hands {
                let stage = "s0".to_owned();
                let start = v1::StageStarted {
                    stage,
                    ..v1::StageStarted::default()
                };
                self.post(at, names, Some(job), Kind::StageStarted(start))
                    .await;
            }
            hands.sort_by_key(|(_, us)| *us);
            for (names, us) in &hands {
                let done = v1::StageFinished {
                    stage: "s0".into(),
                    result: v1::StageResult::Done.into(),
                };
                let until = at.saturating_add(*us);
                self.post(until, names, Some(job), Kind::StageFinished(done))
                    .await;
            }
            us -= full * full_us + rest_us;
            at = at.saturating_add(DAY_US);
        }
        at
    }

    /// Buys the whole lot and uses it on a job.
    async fn buy_and_use(&mut self, case: &Case, job: &[u8], at: Micros) {
        let kg = |kg: i64| v1::Amount {
            decimal: kg.to_string(),
            unit: v1::Unit::Kg.into(),
        };
        let received = v1::StockReceived {
            product: "stuff".into(),
            packs: u32::try_from(case.actual_kg).expect("packs"),
            pack: Some(kg(1)),
            price: Some(v1::Money {
                price_minor: case.actual_price,
                currency: "EUR".into(),
            }),
            lot: "L1".into(),
        };
        self.post(at, &[], None, Kind::StockReceived(received))
            .await;
        let used = v1::ProductUsed {
            product: "stuff".into(),
            quantity: Some(v1::product_used::Quantity::Amount(kg(case.actual_kg))),
            lot: "L1".into(),
            ..v1::ProductUsed::default()
        };
        let at = at.saturating_add(60_000_000);
        self.post(at, &[], Some(job), Kind::ProductUsed(used)).await;
    }
}

/// The week that the example's shop shows, in which its jobs are released.
async fn week_of(case: &Case) -> v1::Week {
    let home = tempfile::tempdir().expect("a folder");
    let binary = Path::new(env!("CARGO_BIN_EXE_baywright-demo"));
    let daemon = Daemon::start(binary, &home.path().join("server")).expect("a daemon");
    let file = home.path().join("shop.toml");
    std::fs::write(&file, case.catalogue()).expect("a catalogue file");
    // Mondays of the past, so that no event lies in the future.
    let now = Micros(MachineClocks::default().wall_us());
    let this_week = Week::of(now, &TimeZone::UTC);
    let mut first = this_week;
    for _ in 0..8 {
        first = first.previous();
    }
    let begin = first.range(&TimeZone::UTC).0;
    let release_week = this_week.previous();
    let released = release_week.range(&TimeZone::UTC).0;
    let from = first.monday().to_string();
    let file = file.to_str().expect("a path in text");
    let apply = ["catalogue", "apply", file, "--yes", "--from", &from];
    let said = harness::bay(binary, home.path(), &daemon.address, "bay-1", apply);
    let said = said.expect("bay runs");
    let complaint = String::from_utf8_lossy(&said.stderr);
    assert!(said.status.success(), "{}: {complaint}", case.id);

    let folder = home.path().join("desk");
    std::fs::create_dir_all(&folder).expect("a folder");
    let clocks = Arc::new(StoryClocks::new("desk", begin.saturating_sub(HOUR_US), 0));
    let device = Device::open_named(&folder, Arc::clone(&clocks) as Arc<_>, "desk");
    let mut desk = Desk {
        device: device.expect("a device"),
        link: Link::new(daemon.address.parse().expect("an address")),
        clocks,
    };
    let mut at = begin.saturating_add(HOUR_US);
    for _ in 0..case.jobs() {
        let opened = v1::JobOpened {
            job_type: "example".into(),
            vehicle: "invented".into(),
            ..v1::JobOpened::default()
        };
        let job = desk.post(at, &[], None, Kind::JobOpened(opened)).await;
        let moved = v1::JobMoved {
            place: "bay-1".into(),
        };
        at = at.saturating_add(1);
        desk.post(at, &[], Some(&job), Kind::JobMoved(moved)).await;
        if case.standard_kg > 0 {
            desk.buy_and_use(case, &job, at).await;
        }
        at = desk.work(&job, at, case.actual_us / case.jobs()).await;
        assert!(at < released, "{} fits before its release", case.id);
        let away = v1::JobMoved {
            place: "holding".into(),
        };
        desk.post(at, &[], Some(&job), Kind::JobMoved(away)).await;
        let released = Kind::JobReleased(v1::JobReleased {});
        let in_week = release_week.range(&TimeZone::UTC).0;
        desk.post(in_week.saturating_add(HOUR_US), &[], Some(&job), released)
            .await;
    }
    let mut reports = ReportServiceClient::connect(format!("http://{}", daemon.address))
        .await
        .expect("the daemon answers");
    let request = v1::WeekRequest {
        week: release_week.to_string(),
        ..v1::WeekRequest::default()
    };
    let week = reports.week(request).await.expect("a week").into_inner();
    daemon.stop().expect("the daemon stops");
    week.week.expect("a week")
}

#[tokio::test(flavor = "multi_thread")]
async fn worked_examples_of_standard_costing_come_out_to_the_cent_through_posted_events() {
    let data: Value = serde_json::from_str(CASES).expect("a readable data file");
    let cases = data["cases"].as_array().expect("cases");
    assert_eq!(cases.len(), 9, "every case of the file");
    for of in cases {
        let case = case(of);
        let week = week_of(&case).await;
        let money = week.money.expect("money");
        assert_eq!(i64::from(money.jobs_quoted), case.jobs(), "{}", case.id);
        assert_eq!(money.labour_without_rate_us, 0, "{}", case.id);
        let worked_us: i64 = week.jobs.iter().map(|job| job.actual_us).sum();
        assert_eq!(worked_us, case.actual_us, "{}", case.id);
        let quoted_us: i64 = week.jobs.iter().map(|job| job.quoted_us).sum();
        assert_eq!(quoted_us, case.standard_us, "{}", case.id);

        let expected = |name: &str| whole(&of["expected"][name], 100.0);
        let (price, quantity) = if of["kind"] == "labour" {
            ("paid-more-per-hour", "took-longer")
        } else {
            ("paid-more-for-it", "used-more")
        };
        for shortfall in &week.shortfalls {
            let want = match (shortfall.cause.as_str(), of["kind"] == "labour") {
                (cause, true) if cause == price => expected("rate_variance"),
                (cause, true) if cause == quantity => expected("efficiency_variance"),
                (cause, false) if cause == price => expected("price_variance"),
                (cause, false) if cause == quantity => expected("quantity_variance"),
                _ => 0,
            };
            let (id, cause) = (&case.id, &shortfall.cause);
            assert_eq!(shortfall.amount_minor, want, "{id}: {cause}");
        }
        assert_eq!(week.shortfalls.len(), 7, "{}", case.id);
        let total = money.quoted_contribution_minor - money.contribution_of_quoted_minor;
        assert_eq!(total, expected("total"), "{}", case.id);
        // What the source printed, where it did, to the unit that it printed.
        for (name, printed) in of["published_in_source"].as_object().expect("a table") {
            let (ours, printed) = (expected(name), whole(printed, 100.0));
            assert!((ours - printed).abs() <= 50, "{}: {name}", case.id);
        }
    }
}
