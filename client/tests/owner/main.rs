//! The owner's commands through the real program, against a daemon of fixed
//! answers.

#![allow(
    clippy::unwrap_used,
    clippy::panic,
    reason = "a test may stop where it stands"
)]

use std::path::Path;
use std::process::{Command, Output, Stdio};

use baywright_proto::v1::fact::Kind;
use baywright_proto::v1::settled::Answer;
use serde_json::Value;

use crate::fake::{BROKEN_SEQ, Daemon, JOBS, RECORDS, TUESDAY};

mod fake;
mod import;
mod learned;

struct Shop {
    daemon: Daemon,
    folder: tempfile::TempDir,
}

impl Shop {
    fn open() -> Self {
        Self {
            daemon: Daemon::start(),
            folder: tempfile::tempdir().unwrap(),
        }
    }

    fn folder(&self) -> &Path {
        self.folder.path()
    }

    /// Runs `bay` with nothing of this machine's environment.
    fn bay(&self, args: &[&str]) -> Output {
        Command::new(env!("CARGO_BIN_EXE_bay"))
            .env_clear()
            .env("HOME", self.folder())
            .env("BAYWRIGHT_SERVER", self.daemon.address.to_string())
            .env("BAYWRIGHT_DATA", self.folder().join("data"))
            .current_dir(self.folder())
            .stdin(Stdio::null())
            .args(args)
            .output()
            .unwrap()
    }

    fn answers(&self) -> Vec<(Vec<u8>, Option<Answer>)> {
        let held = self.daemon.held.lock().unwrap();
        let settled = held.facts.iter().filter_map(|fact| match &fact.kind {
            Some(Kind::Settled(settled)) => {
                Some((settled.event_id.clone(), settled.answer.clone()))
            }
            _ => None,
        });
        settled.collect()
    }
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

fn json(output: &Output) -> Value {
    serde_json::from_slice(&output.stdout).unwrap()
}

#[test]
fn a_bad_week_exits_2_and_says_what_to_write() {
    let shop = Shop::open();
    let output = shop.bay(&["week", "2026-48"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(text(&output.stderr).contains("2026-W48"), "{output:?}");
}

#[test]
fn the_week_asked_for_is_the_week_that_comes() {
    let shop = Shop::open();
    let output = shop.bay(&["week", "2026-w48", "--json"]);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    assert_eq!(json(&output)["week"]["week"], "2026-W48");
}

#[test]
fn a_span_that_cannot_be_read_exits_2_and_says_what_to_write() {
    let shop = Shop::open();
    for (args, says) in [
        (&["--from", "1.11.2026"][..], "2026-11-01"),
        (&["--from", "2026-11-30", "--to", "2026-11-01"], "earlier"),
        (&["--weeks", "0"], "--weeks 12"),
        (&["2026-W48", "--from", "2026-11-01"], "cannot be used with"),
        (
            &["--weeks", "2", "--to", "2026-11-01"],
            "cannot be used with",
        ),
        (&["--why", "f2", "--stages"], "cannot be used with"),
        (&["--why", ""], "f2"),
        (&["--by", "ana", "--why", "f2"], "--by"),
        (&["--by", "ana,ben"], "one worker"),
    ] {
        let output = shop.bay(&[&["week"], args].concat());
        assert_eq!(output.status.code(), Some(2), "{args:?}: {output:?}");
        assert!(text(&output.stderr).contains(says), "{args:?}: {output:?}");
    }
}

#[test]
fn a_row_is_asked_for_by_id_or_by_the_number_of_a_job() {
    let shop = Shop::open();
    for (typed, id) in [("F2", "f2"), ("118", "j118"), ("#118", "j118")] {
        let output = shop.bay(&["week", "--why", typed, "--json"]);
        assert_eq!(output.status.code(), Some(0), "{output:?}");
        assert_eq!(json(&output)["why"]["id"], id);
    }
}

#[test]
fn ones_own_figures_are_for_one_worker_and_a_sentence_below_five_jobs() {
    let shop = Shop::open();
    let output = shop.bay(&["week", "--by", "ana"]);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let said = text(&output.stdout);
    assert!(said.starts_with("ana, week 2026-W48"), "{said}");
    assert!(said.contains("from 5 jobs on"), "{said}");
}

#[test]
fn a_job_that_is_not_there_is_refused_with_a_way_to_find_it() {
    let shop = Shop::open();
    let output = shop.bay(&["job", "9"]);
    assert_eq!(output.status.code(), Some(3), "{output:?}");
    assert!(text(&output.stderr).contains("bay now"), "{output:?}");
}

#[test]
fn an_end_is_settled_on_the_day_of_the_record() {
    let shop = Shop::open();
    let output = shop.bay(&["settle", "4711", "--end", "17:20"]);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let said = text(&output.stdout);
    assert!(said.contains("it ended Tue 24 Nov 2026 17:20"), "{said}");
    // It was cut at 17:30.
    assert!(said.contains("takes 0:10 off polish of job 118"), "{said}");
    // 17:20 is 2 h 15 min after the record.
    let end = Answer::EndUs(TUESDAY + 135 * 60_000_000);
    assert_eq!(shop.answers(), [(vec![0x11; 16], Some(end))]);
}

#[test]
fn an_event_that_is_not_odd_is_found_in_the_log() {
    let shop = Shop::open();
    let output = shop.bay(&["settle", "12", "--leave-out", "--why", "a trial"]);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let id = 12_u64.to_be_bytes().repeat(2);
    assert_eq!(shop.answers(), [(id, Some(Answer::LeaveOut(true)))]);
}

#[test]
fn a_job_flag_is_the_answer_not_the_job_of_the_answer() {
    let shop = Shop::open();
    let output = shop.bay(&["settle", "4712", "--job", "121"]);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let held = shop.daemon.held.lock().unwrap();
    assert_eq!(held.facts.len(), 1);
    assert_eq!(held.facts[0].job, None);
}

#[test]
fn an_answer_names_the_question_that_it_is_to() {
    let shop = Shop::open();
    for args in [
        &["settle", "4713", "--stage", "dry", "--took", "25m"][..],
        &["settle", "4713", "--stage", "decon", "--not-done"],
        &["settle", "4711", "--took", "45m"],
        &["settle", "4713", "--not-done"],
    ] {
        let output = shop.bay(args);
        assert_eq!(output.status.code(), Some(0), "{args:?} {output:?}");
    }
    let held = shop.daemon.held.lock().unwrap();
    let questions: Vec<(&str, &str)> = held
        .facts
        .iter()
        .filter_map(|fact| match &fact.kind {
            Some(Kind::Settled(said)) => Some((said.question.as_str(), said.of.as_str())),
            _ => None,
        })
        .collect();
    assert_eq!(
        questions,
        [
            ("undeclared", "dry"),
            ("undeclared", "decon"),
            ("unclosed", "ana"),
            ("undeclared", "decon"),
            ("undeclared", "dry"),
        ]
    );
}

#[test]
fn what_is_no_answer_to_a_record_is_refused_with_those_that_are() {
    let shop = Shop::open();
    for (args, hint) in [
        (&["settle", "4711", "--not-done"][..], "--end TIME"),
        (&["settle", "4711", "--of", "zed", "--end", "17:20"], "ana"),
        (&["settle", "4713", "--took", "45m"], "--stage: decon, dry"),
        (
            &["settle", "4713", "--stage", "polish", "--not-done"],
            "decon, dry",
        ),
        (&["settle", "4711"], "bay settle 4711 --leave-out"),
    ] {
        let output = shop.bay(args);
        assert!(matches!(output.status.code(), Some(2 | 3)), "{output:?}");
        let said = text(&output.stderr).replace("\n      ", " ");
        assert!(said.contains(hint), "{args:?}: {said}");
    }
    assert_eq!(shop.answers(), []);
}

#[test]
fn an_event_at_another_time_is_said_anew_before_the_old_one_is_struck() {
    let shop = Shop::open();
    // Event 12 of this daemon is an opening: everything names it.
    let output = shop.bay(&["settle", "12", "--happened", "14:05"]);
    assert_eq!(output.status.code(), Some(3), "{output:?}");
    assert!(shop.daemon.held.lock().unwrap().facts.is_empty());
}

#[test]
fn nothing_is_settled_without_an_answer_or_with_dry() {
    let shop = Shop::open();
    for args in [
        &["settle", "4711"][..],
        &["settle", "4711", "--as-is", "--dry"],
        &["settle", "4711", "--as-is", "--took", "45m"],
        &["settle", "--as-is"],
        &["settle", "999999", "--as-is"],
        &["settle"],
    ] {
        shop.bay(args);
        assert_eq!(shop.answers(), [], "{args:?}");
    }
    let listed = text(&shop.bay(&["settle"]).stdout);
    assert!(listed.contains("> bay settle 4711 --end 17:30"), "{listed}");
}

#[test]
fn the_whole_log_is_exported_and_no_vehicle_is_a_formula() {
    let shop = Shop::open();
    let output = shop.bay(&["export", "csv", "--out", "events.csv"]);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    let file = shop.folder().join("events.csv");
    let mut reader = csv::Reader::from_path(&file).unwrap();
    let vehicle = reader
        .headers()
        .unwrap()
        .iter()
        .position(|name| name == "vehicle")
        .unwrap();
    let mut rows = 0;
    for row in reader.records() {
        rows += 1;
        let row = row.unwrap();
        assert_eq!(
            row[vehicle],
            format!("'=HYPERLINK(\"x\",\"{rows}\")\nsecond, line")
        );
    }
    assert_eq!(rows, RECORDS);
    assert!(!shop.folder().join("events.csv.part").exists());
    let piped = shop.bay(&["export", "csv"]);
    assert_eq!(piped.stdout, std::fs::read(&file).unwrap());
}

#[test]
fn jobs_are_exported_in_each_form_and_a_script_is_told_what_was_written() {
    let shop = Shop::open();
    for (form, what, rows) in [
        (&["json"][..], "jobs", JOBS),
        (&["xes"], "traces", JOBS),
        (&["csv", "jobs"], "jobs", JOBS),
        (&["csv", "stages"], "stages", 0),
        (&["csv", "uses"], "uses", 1),
    ] {
        let piped = shop.bay(&[&["export"], form].concat());
        assert_eq!(piped.status.code(), Some(0), "{piped:?}");
        let args = [&["export"], form, &["--out", "it", "--json"]].concat();
        let output = shop.bay(&args);
        let told = &json(&output)["export"];
        assert_eq!(told["what"], what, "{told}");
        assert_eq!(told["rows"], rows, "{told}");
        assert_eq!(told["as_of_seq"], RECORDS, "{told}");
        let file = std::fs::read(shop.folder().join("it")).unwrap();
        assert_eq!(text(&file), text(&piped.stdout), "{form:?}");
        assert!(!file.is_empty());
    }
    let said = text(&shop.bay(&["export", "json", "--out", "it"]).stdout);
    assert!(said.contains("1 use on no job"), "{said}");
}

#[test]
fn an_export_that_breaks_off_leaves_the_file_as_it_was() {
    let shop = Shop::open();
    std::fs::write(shop.folder().join("it"), "before").unwrap();
    let broken = BROKEN_SEQ.to_string();
    let output = shop.bay(&["export", "xes", "--as-of", &broken, "--out", "it"]);
    assert_eq!(output.status.code(), Some(4), "{output:?}");
    let left: Vec<_> = std::fs::read_dir(shop.folder()).unwrap().collect();
    assert_eq!(std::fs::read(shop.folder().join("it")).unwrap(), b"before");
    assert!(!shop.folder().join("it.part").exists(), "{left:?}");
}

#[test]
fn a_reader_that_has_seen_enough_is_no_failure() {
    let shop = Shop::open();
    for form in [&["csv"][..], &["csv", "jobs"], &["json"], &["xes"]] {
        let mut child = Command::new(env!("CARGO_BIN_EXE_bay"))
            .env_clear()
            .env("HOME", shop.folder())
            .env("BAYWRIGHT_SERVER", shop.daemon.address.to_string())
            .env("BAYWRIGHT_DATA", shop.folder().join("data"))
            .args([&["export"], form].concat())
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        drop(child.stdout.take());
        let output = child.wait_with_output().unwrap();
        assert_eq!(output.status.code(), Some(0), "{form:?}: {output:?}");
        assert_eq!(text(&output.stderr), "", "{form:?}");
    }
}

#[test]
fn a_span_of_days_is_the_shops_and_the_last_day_is_in_it() {
    let shop = Shop::open();
    let span = [
        "export",
        "json",
        "--from",
        "2026-11-23",
        "--to",
        "2026-11-24",
    ];
    let output = shop.bay(&span);
    let first = text(&output.stdout).lines().next().unwrap().to_owned();
    let job: Value = serde_json::from_str(&first).unwrap();
    let day = 24 * 60 * 60 * 1_000_000_i64;
    let (from, until) = (
        job["opened_us"].as_i64().unwrap(),
        job["released_us"].as_i64().unwrap(),
    );
    assert_eq!(until - from, 2 * day);
    assert!(until - day <= TUESDAY && TUESDAY < until);
    for (args, hint) in [
        (["json", "--from", "24.11."], "2026-11-30"),
        (["csv", "events", "--as-of=3"], "--as-of"),
    ] {
        let output = shop.bay(&[&["export"], &args[..]].concat());
        assert_eq!(output.status.code(), Some(2), "{output:?}");
        assert!(text(&output.stderr).contains(hint), "{output:?}");
    }
}

#[test]
fn a_catalogue_is_begun_applied_and_changed_by_what_differs() {
    let shop = Shop::open();
    let code = |args: &[&str]| {
        let output = shop.bay(args);
        (output.status.code(), text(&output.stdout))
    };
    assert_eq!(code(&["catalogue", "show"]).0, Some(3));
    assert_eq!(code(&["catalogue", "begin", "--yes"]).0, Some(0));
    assert_eq!(code(&["catalogue", "begin", "--yes"]).0, Some(3));
    assert_eq!(code(&["catalogue", "check", "shop.toml"]).0, Some(0));
    // Nobody can be asked.
    assert_eq!(code(&["catalogue", "apply", "shop.toml"]).0, Some(2));
    assert_eq!(
        code(&["catalogue", "apply", "shop.toml", "--dry"]).0,
        Some(0)
    );
    assert_eq!(shop.daemon.held.lock().unwrap().facts.len(), 0);
    assert_eq!(
        code(&["catalogue", "apply", "shop.toml", "--yes"]).0,
        Some(0)
    );
    let again = code(&["catalogue", "apply", "shop.toml", "--yes"]);
    assert!(again.1.starts_with("Nothing changed"), "{}", again.1);
    assert_eq!(shop.daemon.held.lock().unwrap().facts.len(), 1);
    let shown = code(&["catalogue", "show"]).1;
    let file = shop.folder().join("shop.toml");
    assert_eq!(
        shown.trim_end(),
        std::fs::read_to_string(&file).unwrap().trim_end()
    );

    let renamed = shown.replacen("name = \"bay-1\"", "name = \"the wash\"", 1);
    assert_ne!(renamed, shown);
    std::fs::write(&file, renamed).unwrap();
    let (status, said) = code(&["catalogue", "apply", "shop.toml", "--yes"]);
    assert_eq!(status, Some(0));
    assert!(said.contains("bay bay-1: name bay-1 -> the wash"), "{said}");
    let held = shop.daemon.held.lock().unwrap();
    let Some(Kind::CatalogueSet(set)) = &held.facts[1].kind else {
        panic!("{:?}", held.facts[1]);
    };
    let changed = set.changed.as_ref().unwrap();
    assert_eq!(changed.bays.len(), 1);
    assert_eq!(changed.products.len() + changed.job_types.len(), 0);
    assert!(changed.shop.is_none());
}

#[test]
fn a_faulty_file_names_line_and_column() {
    let shop = Shop::open();
    std::fs::write(
        shop.folder().join("bad.toml"),
        "[shop]\nzone = \"Nowhere\"\n",
    )
    .unwrap();
    let output = shop.bay(&["catalogue", "check", "bad.toml"]);
    assert_eq!(output.status.code(), Some(3));
    assert!(text(&output.stderr).contains("2:8"), "{output:?}");
}

#[test]
fn pages_for_the_shell_are_made_without_a_daemon() {
    let shop = Shop::open();
    for args in [
        &["completions", "bash"][..],
        &["completions", "zsh"],
        &["completions", "fish"],
        &["man"],
    ] {
        let output = shop.bay(args);
        assert_eq!(output.status.code(), Some(0), "{args:?}");
        assert!(output.stdout.len() > 500, "{args:?}");
    }
    assert_eq!(shop.bay(&["man", "--out", "pages"]).status.code(), Some(0));
    assert!(shop.folder().join("pages/bay-week.1").exists());
}
