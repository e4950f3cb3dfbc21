//! A person at the bay: command lines in, answers out, against a fake daemon.

mod amends;
mod quotes;

use std::ffi::OsString;
use std::sync::Arc;

use baywright_proto::catalogue::to_wire;
use baywright_proto::v1;
use baywright_proto::v1::fact::{Kind as FactKind, Occurred};
use clap::{CommandFactory as _, Parser as _};
use insta::assert_snapshot;
use prost::Message as _;
use tempfile::TempDir;

use crate::answer::Outcome;
use crate::args::Cli;
use crate::clock::SetClocks;
use crate::error::{Error, Kind};
use crate::fake::Fake;

/// An invented shop, as small as the stories need.
const SHOP: &str = r#"
[shop]
name = "Story shop (invented)"
zone = "Europe/Lisbon"
currency = "EUR"
open = ["mon-fri 08:00-17:30"]

[[bay]]
code = "bay-1"
name = "One"
[[bay]]
code = "bay-2"
name = "Two"

[[worker]]
code = "ana"
name = "Ana"
[[worker]]
code = "ben"
name = "Ben"

[[product]]
code = "iron-remover"
name = "Iron remover"
kind = "iron-remover"
dwell = "2m to 7m"
caution = "Gloves, moving air."
sds = "blue folder, sheet 6"
[product.never]
leather = "it shrinks"

[[product]]
code = "coat-a"
name = "Coating A"
kind = "coating"

[[stage]]
code = "decon"
name = "Decontamination"
kind = "cleaning"
[stage.never]
leather = "it shrinks"

[[stage]]
code = "polish"
name = "Polish"
kind = "correction"
[stage.never]
matte = "it cannot be put back"

[[job-type]]
code = "trike-coat"
name = "Trike, coated"
class = "trike"
stages = [
    { stage = "decon",  allowance = "30m" },
    { stage = "polish", allowance = "2h" },
]
products = [{ product = "iron-remover", amount = "400 mL" }]
panels = [
    { panel = "nose", finish = "matte" },
    { panel = "tank", finish = "gloss" },
    { panel = "seat", finish = "leather" },
]
"#;

/// 14:05 in Lisbon, on Wednesday 25 November 2026.
const NOW_US: i64 = 1_795_615_500_000_000;

/// A bay with its folder, its clocks and a daemon that may be away.
struct Bay {
    folder: TempDir,
    clocks: Arc<SetClocks>,
    fake: Fake,
    away: std::cell::Cell<bool>,
}

impl Bay {
    fn new() -> Self {
        Self {
            folder: TempDir::new().unwrap(),
            clocks: Arc::new(SetClocks::new(NOW_US, "boot-a", 5_000_000)),
            fake: Fake::start(),
            away: std::cell::Cell::new(false),
        }
    }

    /// With the shop's catalogue and a job in the bay.
    fn of_shop() -> Self {
        let bay = Self::new();
        let catalogue = baywright_terms::catalogue::file::read(SHOP).unwrap();
        {
            let mut state = bay.fake.state();
            state.catalogue = Some(to_wire(&catalogue));
            state.job = (118, "118 trike-coat, red three-wheeler".to_owned());
            state.now = v1::NowResponse {
                as_of_us: NOW_US,
                bays: vec![v1::NowBay {
                    bay: "bay-2".to_owned(),
                    places: 1,
                    jobs: vec![v1::NowJob {
                        number: 118,
                        job_type: "trike-coat".to_owned(),
                        vehicle: "red three-wheeler".to_owned(),
                        place: "bay-2".to_owned(),
                        in_place_since_us: NOW_US - 3_600_000_000,
                        stages_open: vec!["decon".to_owned(), "polish".to_owned()],
                        ..v1::NowJob::default()
                    }],
                    air: None,
                }],
                ..v1::NowResponse::default()
            };
        }
        bay
    }

    fn away(self) -> Self {
        self.away.set(true);
        self
    }

    fn outcome(&self, line: &str) -> Result<Outcome, Error> {
        let server = if self.away.get() {
            // Port 1 of the loopback address: nobody listens there.
            "127.0.0.1:1".to_owned()
        } else {
            self.fake.server().to_string()
        };
        let folder = self.folder.path().to_str().unwrap().to_owned();
        let common = ["--server", &server, "--data", &folder, "--bay", "bay-2"];
        let words = words(line);
        let (program, rest) = words.split_first().unwrap();
        let args = [program.as_str()]
            .into_iter()
            .chain(
                common
                    .into_iter()
                    .filter(|_| !rest.contains(&"--bay".to_owned())),
            )
            .chain(rest.iter().map(String::as_str));
        let cli = Cli::try_parse_from(args.map(OsString::from)).unwrap();
        crate::answer(cli, self.clocks.clone())
    }

    /// What the person reads: the answer without styles and places of this test.
    fn says(&self, line: &str) -> String {
        let text = match self.outcome(line) {
            Ok(outcome) => outcome.text,
            Err(error) => {
                let hint = error
                    .hint()
                    .map(|h| format!("\nHint: {h}"))
                    .unwrap_or_default();
                format!(
                    "Error {}: {}{hint}",
                    error.kind().exit_code(),
                    error.message()
                )
            }
        };
        let text = anstream::adapter::strip_str(&text).to_string();
        text.replace(self.folder.path().to_str().unwrap(), "DATA")
            .replace("127.0.0.1:1:", "SERVER:")
            .trim_end()
            .to_owned()
    }

    /// The facts that reached the log.
    fn facts(&self) -> Vec<v1::Fact> {
        let state = self.fake.state();
        let log = state.log.iter();
        log.map(|s| v1::Fact::decode(&*s.fact).unwrap()).collect()
    }

    fn kept(&self) -> usize {
        let device = crate::device::Device::open(self.folder.path(), self.clocks.clone());
        device.unwrap().spool().posts().waiting().len()
    }
}

/// Splits a line at spaces; double quotes keep words together.
fn words(line: &str) -> Vec<String> {
    let quoted = line.split('"').enumerate().flat_map(|(at, part)| {
        if at % 2 == 1 {
            vec![part.to_owned()]
        } else {
            part.split_whitespace().map(str::to_owned).collect()
        }
    });
    quoted.collect()
}

#[test]
fn the_command_line_holds_together() {
    Cli::command().debug_assert();
}

#[test]
fn every_line_that_the_documents_show_can_be_typed() {
    for line in [
        "bay",
        "bay bring 118",
        "bay start decon --by ana",
        "bay used iron-remover 350ml",
        "bay used iron-remover 0.35 L",
        "bay used iron-remover 12 floz --panel nose --lot 7A --neat",
        "bay used coat-a --from 62.4g --to 51.9g",
        "bay dwell iron-remover",
        "bay dwell --end",
        "bay air 21.5C 46% --surface 20C",
        "bay air -3C 80% --surface -1C",
        "bay coat nose",
        "bay level",
        "bay level nose --high-spot --amend",
        "bay mix alkaline-cleaner 15:1 1gal --add foam-booster=2floz",
        "bay mix alkaline-cleaner --dump",
        "bay open trike-coat red three-wheeler --soil 4 --intricacy 5 --bring",
        "bay open unsorted",
        "bay move holding --job b2-7",
        "bay pause --why pads",
        "bay resume",
        "bay done --ago 10m",
        "bay done polish --at 14:05 --again",
        "bay break --by ana",
        "bay refill shampoo 5 l",
        "bay lamp bonnet 12m --surface 55C",
        "bay cured",
        "bay flaw nose scratch --before",
        "bay flaw nose --fixed",
        "bay cover leather --left-out",
        "bay note customer waits outside",
        "bay release --not-done polish --about decon=20m --unknown dry",
        "bay strike",
        "bay strike 4711 --why slip",
        "bay now --json",
        "bay spool",
        "bay spool list",
        "bay spool send",
        "bay spool mend 01a2 used iron-remover 350ml",
        "bay spool mend 01a2 --as-note",
        "bay week 2026-W48",
        "bay --bay bay-1 used iron-remvoer 350ml",
    ] {
        Cli::try_parse_from(words(line)).unwrap_or_else(|e| panic!("{line}: {e}"));
    }
    for line in [
        "bay fly",
        "bay open trike-coat x --soil 6",
        "bay used x 3 --neat --mix",
        "bay level nose --smeared --high-spot",
        "bay done --at 14:05 --ago 3m",
        "bay used x --from 3g",
        "bay dwell",
    ] {
        let error = Cli::try_parse_from(words(line)).unwrap_err();
        assert_eq!(error.exit_code(), 2, "{line}");
    }
}

#[test]
fn a_start_says_who_is_on_what_and_what_it_ended_elsewhere_cautions_first() {
    let bay = Bay::of_shop();
    bay.fake.state().notices = vec![
        v1::Notice {
            code: "ended-elsewhere".to_owned(),
            severity: v1::Severity::Say.into(),
            text: "Ended ana's polish on job 117 in bay-1 after 42 min.".to_owned(),
        },
        v1::Notice {
            code: "surface-never".to_owned(),
            severity: v1::Severity::Caution.into(),
            text: "Never decon on leather: it shrinks.".to_owned(),
        },
    ];
    assert_snapshot!(bay.says("bay start decon --by ana"), @r"
    Never decon on leather: it shrinks.
    Job 118 trike-coat (red three-wheeler): ana on decon at bay-2 since 14:05.
    Ended ana's polish on job 117 in bay-1 after 42 min.
    ");
    let fact = &bay.facts()[0];
    assert_eq!(
        (fact.bay.as_str(), fact.by.as_slice()),
        ("bay-2", &["ana".to_owned()][..])
    );
    assert_eq!(fact.clocks.as_ref().unwrap().boot_id, "boot-a");
}

#[test]
fn a_fact_is_kept_and_found_again_while_nobody_answers() {
    let bay = Bay::new().away();
    assert_snapshot!(bay.says("bay used iron-remover 350ml"), @r"
    Used iron-remover 350 ml at 14:05.
    Kept on this bay in DATA/spool. No daemon at SERVER: connection refused. It goes out with the next command, or with `bay spool send`.
    ");
    bay.away.set(false);
    assert_snapshot!(bay.says("bay note back again"), @r"
    Sent first: 1 fact that waited here.
    Note: back again at 14:05.
    ");
    assert_eq!(bay.kept(), 0);
    assert!(matches!(
        bay.facts()[0].kind,
        Some(FactKind::ProductUsed(_))
    ));
}

#[test]
fn a_mistyped_code_is_refused_before_anything_is_kept() {
    let bay = Bay::of_shop();
    assert_snapshot!(bay.says("bay used iron-remvoer 350ml"), @r"
    Error 3: no product `iron-remvoer` in the catalogue.
    Hint: did you mean iron-remover? To keep it anyway and settle it later, add --anyway.
    ");
    // Away, the bay's own copy of the catalogue says the same.
    bay.away.set(true);
    assert!(
        bay.says("bay used iron-remvoer 350ml")
            .contains("did you mean iron-remover?")
    );
    assert_eq!((bay.kept(), bay.facts().len()), (0, 0));
    assert!(
        bay.says("bay used iron-remvoer 350ml --anyway")
            .contains("Kept on this bay")
    );
    assert_eq!(bay.kept(), 1);
}

#[test]
fn a_value_that_cannot_be_is_refused_with_how_to_write_it() {
    let bay = Bay::of_shop();
    for (line, part) in [
        ("bay air 210C 46%", "was 21C meant?"),
        ("bay air 21C 146%", "0 to 100 %"),
        ("bay used iron-remover lots", "350ml"),
        ("bay mix iron-remover 1:15 4l", "the water comes first"),
        ("bay mix iron-remover 15:1 4kg", "not a volume"),
        ("bay done --at 25:70", "14:05"),
        ("bay done --ago 10", "10m"),
        ("bay release --about decon", "--about polish=2h"),
        ("bay note hi --job x9", "no job is known as `x9`"),
        ("bay coat nose/0", "bonnet/2"),
    ] {
        let error = bay.outcome(line).unwrap_err();
        let said = format!("{} {}", error.message(), error.hint().unwrap_or_default());
        assert_eq!(error.kind(), Kind::Refused, "{line}: {said}");
        assert!(said.contains(part), "{line}: {said}");
    }
    assert_eq!((bay.kept(), bay.facts().len()), (0, 0));
}

#[test]
fn on_the_first_day_any_words_will_do() {
    let bay = Bay::new();
    for line in [
        "bay open unsorted old tractor --bring",
        "bay start scrub --by tom",
        "bay done",
    ] {
        bay.outcome(line).unwrap();
    }
    assert_eq!(bay.facts().len(), 4);
    assert_snapshot!(bay.says("bay"), @r"
    bay-2: nothing is on here yet.

    To begin, with any words you like:
      bay open unsorted red three-wheeler --bring
      bay start wash --by ana
      bay done
    A catalogue makes it know your stages and products: bay catalogue begin.
    ");
}

#[test]
fn one_worker_on_here_is_assumed_and_said_and_two_are_asked_about() {
    let bay = Bay::of_shop();
    let on = |worker: &str| v1::NowWorker {
        worker: worker.to_owned(),
        stage: "decon".to_owned(),
        bay: "bay-2".to_owned(),
        ..v1::NowWorker::default()
    };
    bay.fake.state().now.workers = vec![on("ana")];
    assert_snapshot!(bay.says("bay start polish"), @r"
    Job 118 trike-coat (red three-wheeler): ana on polish at bay-2 since 14:05.
    Taken to be ana: --by says otherwise.
    ");
    bay.fake.state().now.workers = vec![on("ana"), on("ben")];
    assert_snapshot!(bay.says("bay break"), @r"
    Error 2: ana and ben are on here: who is it?
    Hint: Add --by ana or --by ben.
    ");
    bay.fake.state().now.workers.clear();
    assert_snapshot!(bay.says("bay start polish"), @r"
    Job 118 trike-coat (red three-wheeler): polish at bay-2 since 14:05, nobody named.
    Nobody is named: --by CODE says who.
    ");
}

#[test]
fn nevers_and_windows_are_answered_from_the_copy_while_the_daemon_is_away() {
    let bay = Bay::of_shop();
    bay.outcome("bay bring 118").unwrap();
    bay.away.set(true);
    assert_snapshot!(bay.says("bay bring 118"), @r"
    Never on leather (seat): decon, iron-remover. It shrinks.
    Never polish on matte (nose): it cannot be put back.
    In bay-2 since 14:05.
    Kept on this bay in DATA/spool. No daemon at SERVER: connection refused. It goes out with the next command, or with `bay spool send`.
    ");
    assert_snapshot!(bay.says("bay coat nose"), @r"
    Nose coated with coat-a at 14:05.
    No levelling window: the surface was not read (`bay air … --surface 20C`). Check by touch, and do a test section.
    Kept on this bay in DATA/spool. 2 facts wait there. No daemon at SERVER: connection refused. It goes out with the next command, or with `bay spool send`.
    ");
    bay.outcome("bay air 21.5C 46% --surface 20C").unwrap();
    assert_snapshot!(bay.says("bay coat tank"), @r"
    Tank coated with coat-a at 14:05.
    Level from 14:08:01 to 14:10:18: 3:01 to 5:18 after spreading.
    A trade figure, not your shop and not this product's label: do a test section.
    Kept on this bay in DATA/spool. 4 facts wait there. No daemon at SERVER: connection refused. It goes out with the next command, or with `bay spool send`.
    ");
    assert_snapshot!(bay.says("bay dwell iron-remover"), @r"
    Never iron-remover on leather (seat): it shrinks.
    Caution with iron-remover: Gloves, moving air. Follow its safety data sheet (blue folder, sheet 6) and local codes.
    Iron-remover dwells since 14:05.
    Rinse after 2 min at the earliest, 7 min at the latest; never let it dry.
    Kept on this bay in DATA/spool. 5 facts wait there. No daemon at SERVER: connection refused. It goes out with the next command, or with `bay spool send`.
    ");
}

#[test]
fn the_window_of_a_section_is_the_daemons_where_it_answers() {
    let bay = Bay::of_shop();
    bay.fake.state().window = (NOW_US + 109_000_000, NOW_US + 191_000_000);
    assert_snapshot!(bay.says("bay coat nose"), @r"
    Job 118 trike-coat (red three-wheeler): nose coated with coat-a at 14:05.
    Level from 14:06:49 to 14:08:11: 1:49 to 3:11 after spreading.
    A trade figure, not your shop and not this product's label: do a test section.
    ");
}

#[test]
fn the_air_says_dew_point_and_margin() {
    let bay = Bay::of_shop();
    assert_snapshot!(bay.says("bay air 21.5C 46% --surface 20C"), @r"
    Job 118 trike-coat (red three-wheeler): air 21.5 °C 46 %, surface 20 °C at 14:05.
    Dew point 9.4 °C; the panel is 10.6 °C above it, enough for coating (at least 3 °C).
    ");
    assert_snapshot!(bay.says("bay air 70F 80% --surface 18C"), @r"
    Job 118 trike-coat (red three-wheeler): air 21.1 °C 80 %, surface 18 °C at 14:05.
    Caution: Dew point 17.5 °C; the panel is only 0.5 °C above it. Coating wants at least 3 °C.
    ");
    let json = bay
        .outcome("bay air 21.5C 46% --surface 20C --json")
        .unwrap()
        .json;
    assert_eq!(json["dew_margin_holds"], true);
    assert_eq!(json["posted"], "acknowledged");
    assert_eq!(json["receipt"]["job_number"], 118);
}

#[test]
fn an_opening_while_nobody_answers_gives_a_lasting_handle() {
    let bay = Bay::of_shop().away();
    assert_snapshot!(bay.says("bay open unsorted old tractor --bring"), @r"
    Opened at 14:05, unsorted old tractor.
    Its handle, for good: b2-1.
    In bay-2 since 14:05.
    Kept on this bay in DATA/spool. 2 facts wait there. No daemon at SERVER: connection refused. It goes out with the next command, or with `bay spool send`.
    ");
    bay.outcome("bay note rusty --job B2-1").unwrap();
    bay.away.set(false);
    bay.outcome("bay spool send").unwrap();
    let facts = bay.facts();
    let opening = bay.fake.state().log[0].event_id.clone();
    let Some(FactKind::JobOpened(opened)) = &facts[0].kind else {
        panic!("{:?}", facts[0]);
    };
    assert_eq!(opened.handle, "b2-1");
    for fact in &facts[1..] {
        let job = fact.job.clone().unwrap().job.unwrap();
        assert_eq!(job, v1::job_ref::Job::OpeningEventId(opening.clone()));
    }
    // Online, the daemon's number is name enough.
    bay.outcome("bay open unsorted blue boat").unwrap();
    let facts = bay.facts();
    assert!(matches!(&facts[3].kind, Some(FactKind::JobOpened(o)) if o.handle.is_empty()));
}

#[test]
fn dry_says_what_it_would_post_and_posts_nothing() {
    let bay = Bay::of_shop();
    assert_snapshot!(bay.says("bay start polish --by ana --dry"), @"Would post: Ana on polish at bay-2 since 14:05.");
    assert_eq!((bay.kept(), bay.facts().len()), (0, 0));
}
