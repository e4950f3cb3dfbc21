//! Odd records and the owner's answers: what an answer says it changes is what
//! it changes, and struck it is as if it had not been given.

use baywright_client::clock::{Clocks as _, MachineClocks};
use baywright_proto::v1::fact::Kind;
use baywright_terms::time::{Micros, Week, zone};
use jiff::civil::Date;
use serde_json::Value;

use crate::shop::Shop;

const MINUTE_US: i64 = 60_000_000;

/// The week before this one in the example shop.
struct Story {
    shop: Shop,
    week: Week,
    wednesday: Date,
}

impl Story {
    fn of(shop: Shop) -> Self {
        let zone = zone("Europe/Lisbon").expect("the example's zone");
        let now = Micros(MachineClocks::default().wall_us());
        let week = Week::of(now, &zone).previous();
        let monday = week.monday();
        shop.apply_example_from(&monday.to_string());
        Self {
            shop,
            week,
            wednesday: monday.saturating_add(jiff::Span::new().days(2)),
        }
    }

    fn say(&self, bay: &str, at: &str, line: &str) {
        self.say_on(self.wednesday, bay, at, line);
    }

    fn say_on(&self, day: Date, bay: &str, at: &str, line: &str) {
        let line = format!("{line} --at \"{day} {at}\"");
        self.shop.bay(bay, &line).ok();
    }

    fn owner(&self, line: &str) -> String {
        self.shop.bay("bay-1", line).ok()
    }

    fn json(&self, line: &str) -> Value {
        serde_json::from_str(&self.owner(&format!("{line} --json"))).expect("JSON")
    }

    /// Records that wait, by the code of their question.
    fn odd(&self, code: &str) -> Vec<Value> {
        let odd = self.json("settle");
        let odd = odd["odd"].as_array().expect("records").clone();
        odd.into_iter().filter(|o| o["code"] == code).collect()
    }

    /// Labour of a job in the week's report.
    fn labour_us(&self, number: u64) -> i64 {
        let week = self.json(&format!("week {}", self.week));
        let jobs = week["week"]["jobs"].as_array().expect("jobs").clone();
        let job = jobs.iter().find(|j| j["number"] == number);
        let job = job.unwrap_or_else(|| panic!("job {number} is not in {jobs:?}"));
        job["actual_us"].as_i64().expect("labour")
    }

    /// Gives an answer, and checks that the figures move by what was offered
    /// and that the record is gone; strikes it, checks that both come back, and
    /// gives it again.
    fn settles(&self, job: u64, record: &Value, command: &str) -> i64 {
        let code = record["code"].as_str().expect("a code");
        let same = |o: &Value| o["seq"] == record["seq"] && o["of"] == record["of"];
        let offered = record["answers"].as_array().expect("answers");
        let offered = offered.iter().find(|a| a["command"] == command);
        let offered = offered.unwrap_or_else(|| panic!("{command} is not offered: {record}"));
        let promised_us = offered["changes_us"].as_i64().expect("a change");
        let before_us = self.labour_us(job);
        let line = command.strip_prefix("bay ").expect("a command of bay");
        let said = self.json(line);
        assert_eq!(
            self.labour_us(job) - before_us,
            promised_us,
            "{command} changes what it says"
        );
        assert!(!self.odd(code).iter().any(same), "{command} settles it");
        self.strikes(&said);
        assert_eq!(self.labour_us(job), before_us, "{command} struck");
        assert!(self.odd(code).iter().any(same), "{command} struck");
        self.owner(line);
        promised_us
    }

    /// Strikes what a command posted.
    fn strikes(&self, said: &Value) {
        let posted = said["receipt"]["seq"].as_u64();
        let posted = posted.unwrap_or_else(|| panic!("no seq in {said}"));
        self.owner(&format!("strike {posted}"));
    }
}

fn seq(record: &Value) -> u64 {
    record["seq"].as_u64().expect("a seq")
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn settling_changes_the_week_by_what_it_says_and_struck_by_nothing() {
    let mut shop = Shop::closed();
    let daemon = shop.start();
    let story = Story::of(shop);
    for (bay, at, line) in [
        ("bay-1", "08:30", "open hatch-polish \"green hatchback\""),
        ("bay-1", "08:35", "bring 1"),
        ("bay-1", "09:00", "start polish --by ana,ben"),
        // Across the break from half past twelve to one.
        ("bay-1", "14:00", "done"),
        ("bay-1", "14:30", "release"),
        ("bay-2", "14:40", "open hatch-polish \"blue hatchback\""),
        ("bay-2", "14:45", "bring 2"),
        ("bay-2", "16:00", "start wash --by cleo"),
    ] {
        story.say(bay, at, line);
    }
    // On the next day job 2 goes, and nobody had ended its wash.
    let thursday = story.wednesday.tomorrow().expect("a day");
    story.say_on(thursday, "bay-2", "10:00", "release");

    a_break_comes_off_or_was_worked_through(&story);
    a_stage_that_nothing_ended_is_given_its_end(&story);
    missing_stages_are_told_apart(&story);

    daemon.stop().expect("a clean stop");
    story.shop.daemon(&["verify"]).ok();
    story.shop.daemon(&["rebuild", "--check"]).ok();
}

fn a_break_comes_off_or_was_worked_through(story: &Story) {
    let crossed = story.odd("break-crossed");
    assert_eq!(crossed.len(), 2, "{crossed:?}");
    let command = |record: &Value, answer: &str| {
        let of = record["of"].as_str().expect("which");
        format!("bay settle {} {answer} --of {of}", seq(record))
    };
    let off = command(&crossed[0], "--break-off");
    assert_eq!(story.settles(1, &crossed[0], &off), -30 * MINUTE_US);
    assert_eq!(crossed[0]["changes_us"], 30 * MINUTE_US);
    let through = command(&crossed[1], "--as-is");
    assert_eq!(story.settles(1, &crossed[1], &through), 0);
    assert_eq!(story.odd("break-crossed").len(), 0);
}

fn a_stage_that_nothing_ended_is_given_its_end(story: &Story) {
    let unclosed = story.odd("unclosed");
    assert_eq!(unclosed.len(), 1, "{unclosed:?}");
    let wash = &unclosed[0];
    // From four to closing at half past five.
    assert_eq!(wash["changes_us"], 90 * MINUTE_US);
    let cut = format!("bay settle {} --end 17:30", seq(wash));
    assert_eq!(story.settles(2, wash, &cut), 0);
    // A later answer to the same question replaces it.
    let before_us = story.labour_us(2);
    let said = story.owner(&format!("settle {} --end 16:40", seq(wash)));
    assert!(said.contains("takes 0:50 off wash of job 2"), "{said}");
    assert_eq!(story.labour_us(2) - before_us, -50 * MINUTE_US);
    let no_answer = format!("settle {} --not-done", seq(wash));
    let no_answer = story.shop.bay("bay-1", &no_answer);
    assert_eq!(no_answer.code, 3, "{no_answer:?}");
}

/// One was not done, one took its allowance, the others were not done.
fn missing_stages_are_told_apart(story: &Story) {
    let missing = story.odd("undeclared");
    let of_second = |stage: &str| -> &Value {
        let found = missing
            .iter()
            .find(|o| o["job_number"] == 2 && o["stage"] == stage);
        found.unwrap_or_else(|| panic!("{stage} is not missing: {missing:?}"))
    };
    let dry = of_second("dry");
    let release = seq(dry);
    let not_done = format!("bay settle {release} --not-done --stage dry");
    assert_eq!(story.settles(2, dry, &not_done), 0);
    let polish = of_second("polish");
    let likely = polish["settle_with"].as_str().expect("a command");
    assert!(likely.contains("--took"), "{polish}");
    let allowance_us = story.settles(2, polish, likely);
    assert!(allowance_us > 0);
    assert_eq!(polish["changes_us"], allowance_us);
    let unsaid = format!("settle {release} --took 5m");
    let unsaid = story.shop.bay("bay-1", &unsaid);
    assert_eq!(unsaid.code, 2, "which stage took so long: {unsaid:?}");
    let before_us = story.labour_us(2);
    story.owner(&format!("settle {release} --not-done"));
    let left = story.odd("undeclared");
    assert!(left.iter().all(|o| o["job_number"] == 1), "{left:?}");
    assert_eq!(story.labour_us(2), before_us, "what was answered stays");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn settling_puts_codes_jobs_places_and_times_right() {
    let mut shop = Shop::closed();
    let daemon = shop.start();
    let story = Story::of(shop);
    for (bay, at, line) in [
        ("bay-2", "08:00", "used iron-remover 100ml"),
        ("bay-2", "08:30", "open hatch-polish \"green hatchback\""),
        ("bay-2", "08:35", "bring 1"),
        ("bay-2", "09:00", "used iron-remvoer 350ml --anyway"),
        ("bay-2", "11:30", "open hatch-polish \"blue hatchback\""),
        ("bay-2", "11:35", "bring 2"),
    ] {
        story.say(bay, at, line);
    }
    for (code, likely) in [
        ("no-job-here", "--job 1"),
        ("unknown-code", "--code iron-remover"),
        ("bay-overfull", "bay move holding --job 1 --at"),
    ] {
        let waiting = story.odd(code);
        assert_eq!(waiting.len(), 1, "{code}: {waiting:?}");
        let command = waiting[0]["settle_with"].as_str().expect("a command");
        assert!(command.contains(likely), "{code}: {command}");
        let line = command.strip_prefix("bay ").expect("a command of bay");
        let said = story.json(line);
        assert_eq!(story.odd(code).len(), 0, "{command}");
        story.strikes(&said);
        assert_eq!(story.odd(code).len(), 1, "{command} struck");
        story.owner(line);
        assert_eq!(story.odd(code).len(), 0, "{command} again");
    }
    let used_ml = |story: &Story| {
        let job = story.json("job 1");
        let uses = job["story"]["uses"].as_array().expect("uses").clone();
        let used = uses.iter().find(|u| u["product"] == "iron-remover");
        used.and_then(|u| u["used"].as_f64()).unwrap_or(0.0)
    };
    // Both uses count for the first job now, under the code that was meant.
    assert!(
        (used_ml(&story) - 450.0).abs() < 1e-6,
        "{}",
        used_ml(&story)
    );

    // The first at another time: said anew there, the old one struck. Nothing
    // has to say any more that job 1 was meant, which stood there then.
    let records = story.shop.records().await;
    let first = records[1].0.seq;
    story.owner(&format!("settle {first} --happened 08:45"));
    assert!(
        (used_ml(&story) - 450.0).abs() < 1e-6,
        "{}",
        used_ml(&story)
    );
    let records = story.shop.records().await;
    let (struck, anew) = (&records[records.len() - 1], &records[records.len() - 2]);
    let at = |us: i64| Micros(us).civil(&zone("Europe/Lisbon").expect("a zone"));
    assert_eq!(at(anew.0.occurred_us).hour(), 8);
    assert_eq!(at(anew.0.occurred_us).minute(), 45);
    assert_eq!(at(anew.0.occurred_us).date(), story.wednesday);
    let Some(Kind::StruckOut(strike)) = &struck.1.kind else {
        panic!("not struck: {struck:?}");
    };
    assert_eq!(strike.event_id, records[1].0.event_id);

    daemon.stop().expect("a clean stop");
    story.shop.daemon(&["verify"]).ok();
    story.shop.daemon(&["rebuild", "--check"]).ok();
}
