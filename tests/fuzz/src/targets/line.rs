//! Command lines as somebody types or scans them, through to the fact in the
//! spool, with the daemon away; and the configuration file.

use std::ffi::OsString;
use std::path::Path;
use std::sync::Arc;

use baywright_client::args::{Cli, Command};
use baywright_client::cache::Cache;
use baywright_client::clock::Clocks;
use baywright_client::commands::settle;
use baywright_client::config::Config;
use baywright_client::screen::neutral;
use baywright_client::spool::Spool;
use baywright_proto::catalogue::to_wire;
use baywright_proto::v1;
use clap::Parser as _;
use prost::Message as _;

use super::catalogue::example;
use super::screen::is_screen_safe;
use crate::food::{Food, NOW};
use crate::{Target, scratch};

pub const LINE: Target = Target {
    name: "line",
    run: line,
    words: &[
        "open",
        "bring",
        "move",
        "start",
        "pause",
        "resume",
        "done",
        "break",
        "dwell",
        "air",
        "mix",
        "used",
        "refill",
        "coat",
        "level",
        "lamp",
        "cured",
        "flaw",
        "cover",
        "note",
        "release",
        "strike",
        "spool",
        "list",
        "settle",
        "--by",
        "ana",
        "--job",
        "118",
        "b2-7",
        "--at",
        "14:05",
        "--ago",
        "10m",
        "--bay",
        "bay-1",
        "--anyway",
        "--dry",
        "iron-remover",
        "350ml",
        "15:1",
        "21.5C",
        "46%",
        "--surface",
        "20C",
        "nose",
        "matte",
        "trike-coat",
        "unsorted",
        "--units",
        "us",
        "--",
        "=",
        "polish",
        "--lot",
        "--panel",
        "nose=matte",
        "--end",
        "--took",
        "--code",
        "--happened",
        "\n",
        "--soil",
        "4",
        "--comeback",
        "--price",
        "EUR 100",
    ],
    slower: 400,
    bytes_max: 1_024,
};

pub const CONFIG: Target = Target {
    name: "config",
    run: config,
    words: &[
        "server = ",
        "bay = ",
        "data = ",
        "units = ",
        "\"",
        "'''",
        "\"127.0.0.1:7421\"",
        "\n",
        "[",
        "]",
        "\\u202e",
        "=",
        "#",
        "{",
    ],
    slower: 10,
    bytes_max: 8 * 1024,
};

/// Clocks that stand still.
#[derive(Debug)]
struct Still;

impl Clocks for Still {
    fn wall_us(&self) -> i64 {
        NOW.0
    }

    fn boot_id(&self) -> String {
        "boot-1".to_owned()
    }

    fn boot_us(&self) -> i64 {
        1_000_000
    }
}

fn line(data: &[u8]) {
    let text = String::from_utf8_lossy(data);
    settlement(&text);
    let words = std::iter::once("bay").chain(text.split('\n'));
    let mut cli = match Cli::try_parse_from(words.map(OsString::from)) {
        Ok(cli) => cli,
        Err(error) => {
            let _ = error.render().to_string();
            return;
        }
    };
    if !stays_in_its_folder(cli.command.as_ref()) {
        return;
    }
    let Ok(folder) = scratch::fresh() else { return };
    // The daemon is away, nobody is asked, and everything stays in this folder.
    cli.common.server = Some(format!("unix:{}", folder.join("nobody").display()));
    cli.common.data = Some(folder.clone());
    cli.common.json = true;
    run(&folder, cli);
    scratch::gone(&folder);
}

/// Commands that name no file of their own.
fn stays_in_its_folder(command: Option<&Command>) -> bool {
    !matches!(
        command,
        Some(
            Command::Catalogue(_)
                | Command::Import(_)
                | Command::Export(_)
                | Command::Week(_)
                | Command::Job(_)
                | Command::Quote(_)
                | Command::Completions(_)
                | Command::Man(_)
        )
    )
}

fn run(folder: &Path, cli: Cli) {
    let cache = Cache::at(folder);
    let kept = cache.keep_catalogue(&v1::GetCatalogueResponse {
        revision: 1,
        catalogue: Some(to_wire(&example())),
    });
    assert!(kept.is_ok(), "{kept:?}");
    let dry = cli.common.dry;
    match baywright_client::answer(cli, Arc::new(Still)) {
        Ok(outcome) => {
            // The last gate must find nothing left to do.
            let text = &outcome.text;
            assert!(neutral(text) == *text, "would steer a terminal: {text:?}");
            assert!(outcome.json.is_null() || outcome.json.is_object());
        }
        Err(error) => assert!(!error.message().is_empty()),
    }
    let spool = Spool::open(folder, "bay-1");
    assert!(spool.is_ok(), "{spool:?}");
    let Ok(spool) = spool else { return };
    assert!(!dry || spool.posts().all().is_empty(), "a dry run posted");
    for entry in spool.posts().all() {
        let fact = v1::Fact::decode(entry.fact.as_slice());
        assert!(
            fact.as_ref().is_ok_and(|fact| fact.kind.is_some()),
            "{fact:?}"
        );
        let shown = baywright_client::describe::fact(&fact.unwrap_or_default());
        assert!(is_screen_safe(&baywright_client::answer::plain(&shown)));
    }
}

/// An answer to an odd record, as typed.
fn settlement(text: &str) {
    let mut food = Food::new(text.as_bytes());
    let occurred = food.instant();
    let rest = String::from_utf8_lossy(food.rest()).into_owned();
    for zone in ["Europe/Berlin", "Australia/Lord_Howe"] {
        for read in settle::read_answers(&rest, zone, occurred.0, NOW.0) {
            assert!(
                is_screen_safe(&baywright_client::answer::plain(&read)),
                "{read:?}"
            );
        }
    }
}

fn config(data: &[u8]) {
    let Ok(folder) = scratch::fresh() else { return };
    let path = folder.join("bay.toml");
    if std::fs::write(&path, data).is_ok() {
        match Config::read(&path) {
            Ok(read) => assert_eq!(Config::read(&path).ok(), Some(read)),
            Err(error) => assert!(!error.message().is_empty()),
        }
    }
    scratch::gone(&folder);
}
