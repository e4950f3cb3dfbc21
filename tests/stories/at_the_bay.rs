//! A person at the bay: lines typed word for word, and slips.

use baywright_client::device::{How, Posted};
use baywright_proto::v1;
use serde_json::Value;

use crate::shop::Shop;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn every_line_of_a_day_is_understood_and_answered() {
    let mut shop = Shop::closed();
    let daemon = shop.start();
    shop.apply_example();
    let opened = shop
        .bay(
            "bay-1",
            "open trike-coat \"red three-wheeler\" --soil 4 --intricacy 5",
        )
        .ok();
    assert!(
        opened.contains("Job 1 trike-coat (red three-wheeler)"),
        "{opened}"
    );
    let lines = [
        ("bring 1", &["Never on matte", "in bay-1"][..]),
        ("start decon --by ana", &["ana on decon at bay-1"]),
        (
            "used iron-remover 350ml",
            &["Caution with iron-remover", "used iron-remover 350 ml"],
        ),
        (
            "dwell iron-remover",
            &["iron-remover dwells", "Rinse after 2 min"],
        ),
        ("dwell --end", &["dwell ended"]),
        ("done", &["decon done"]),
        (
            "air 21.5C 46% --surface 20C",
            &["Dew point 9.4 °C", "10.6 °C above it"],
        ),
        ("start coat --by ana", &["ana on coat"]),
        (
            "coat nose",
            &[
                "nose coated",
                "3:01 to 5:18 after spreading",
                "A trade figure",
            ],
        ),
        ("level", &["levelled clean", "That was nose"]),
        ("mix alkaline-cleaner 15:1 1us-gal", &["237 mL of product"]),
        ("used alkaline-cleaner 500ml", &["Taken from the mix"]),
        ("start polish --by ana", &["Ana left coat of job 1"]),
        ("strike", &["It was: start"]),
        ("note \"left mirror was loose\"", &["left mirror was loose"]),
    ];
    for (line, told) in lines {
        let said = shop.bay("bay-1", line).ok();
        for words in told {
            assert!(
                said.contains(words),
                "`bay {line}` does not say `{words}`:\n{said}"
            );
        }
    }
    let before = shop.records().await.len();
    assert_eq!(
        before,
        lines.len() + 2,
        "a record for each line, the opening and the catalogue"
    );

    let slip = shop.bay("bay-1", "used iron-remvoer 350ml");
    assert_eq!(slip.code, 3, "{slip:?}");
    assert!(
        slip.err.contains("iron-remvoer") && slip.err.contains("iron-remover"),
        "{slip:?}"
    );
    assert_eq!(shop.bay("bay-1", "air 210C 46%").code, 3);
    assert_eq!(shop.bay("bay-1", "week 2026-W99").code, 2);
    assert_eq!(
        shop.records().await.len(),
        before,
        "a slip leaves no record"
    );

    let json = shop.bay("bay-1", "used iron-remover 20ml --json").ok();
    let json: Value = serde_json::from_str(&json).expect("one JSON object");
    assert_eq!(json["posted"], "acknowledged", "{json}");
    assert_eq!(json["receipt"]["job_number"], 1, "{json}");
    daemon.stop().expect("a clean stop");
    assert_eq!(
        shop.bay("bay-1", "week").code,
        4,
        "a report needs the daemon"
    );
}

/// The design's example lines, as they stand there. Its last one, `bay quote`,
/// is no command yet.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_example_lines_are_understood_word_for_word() {
    const EARLIER_JOBS: u64 = 117;
    let mut shop = Shop::closed();
    let daemon = shop.start();
    shop.apply_example();
    let (mut office, mut link) = shop.device("office");
    for number in 1..=EARLIER_JOBS {
        let opened = v1::fact::Kind::JobOpened(v1::JobOpened {
            vehicle: format!("vehicle {number}"),
            job_type: "unsorted".into(),
            ..Default::default()
        });
        let fact = v1::Fact {
            kind: Some(opened),
            ..Default::default()
        };
        let posted = office.post(&mut link, fact, &How::default()).await;
        let Posted::Acknowledged(acknowledged) = posted.expect("a post") else {
            panic!("job {number} was not acknowledged");
        };
        assert_eq!(acknowledged.receipt.job_number, number);
    }
    shop.bay("bay-1", "open trike-coat \"red three-wheeler\"")
        .ok();
    for (line, told) in [
        ("bring 118", &["Never on matte", "Job 118", "in bay-1"][..]),
        ("start decon --by ana", &["Job 118", "ana on decon"]),
        ("used iron-remover 350ml", &["used iron-remover 350 ml"]),
        (
            "dwell iron-remover",
            &["iron-remover dwells", "Rinse after"],
        ),
        (
            "air 21.5C 46% --surface 20C",
            &["21.5 °C", "46 %", "surface 20 °C", "Dew point"],
        ),
        ("coat nose", &["nose coated", "Level from"]),
        ("level", &["levelled clean", "That was nose"]),
        // Whatever the date of this test, and so without the bays: the
        // catalogue may begin after that week.
        (
            "week 2026-W48",
            &["2026-W48", "Mon 23 Nov to Sun 29 Nov 2026"],
        ),
    ] {
        let said = shop.bay("bay-1", line).ok();
        for words in told {
            assert!(
                said.contains(words),
                "`bay {line}` does not say `{words}`:\n{said}"
            );
        }
    }
    // Ana was freed by the dwell: she is on nothing.
    let now = shop.bay("bay-1", "now").ok();
    assert!(
        now.contains("decon by ana paused") && now.contains("dwells"),
        "{now}"
    );
    daemon.stop().expect("a clean stop");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn on_day_one_any_words_will_do() {
    let mut shop = Shop::closed();
    let daemon = shop.start();
    for line in [
        "open coat \"grey saloon\"",
        "bring 1",
        "start wash",
        "done",
        "release",
    ] {
        shop.bay("left", line).ok();
    }
    let week = shop.bay("left", "week --json").ok();
    let week: Value = serde_json::from_str(&week).expect("JSON");
    assert_eq!(week["week"]["jobs"][0]["number"], 1, "{week}");
    daemon.stop().expect("a clean stop");
}
