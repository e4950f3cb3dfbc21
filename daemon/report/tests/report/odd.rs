//! Records to settle.

use baywright_floor::notice::{Notice, Severity, What};
use baywright_floor::words;
use baywright_report::{odd, story};

use crate::made::{Made, at, code, job, product, shop};

fn unclosed() -> Notice {
    Notice::Unclosed {
        stage: code("polish"),
        worker: code("ana"),
        cut_at: at("2026-11-23T17:00"),
    }
}

fn said() -> Notice {
    Notice::FromMix {
        product: code("soap"),
    }
}

#[test]
fn only_odd_notices_that_nobody_settled_are_listed_in_order_of_time() {
    assert_eq!(words::severity(&unclosed()), Severity::Odd);
    assert_eq!(words::severity(&said()), Severity::Say);
    let mut made = Made::new(shop());
    made.open(1, "unsorted", "2026-11-23T08:00");
    made.notice(Some(1), "2026-11-24T09:00", unclosed(), false);
    made.notice(None, "2026-11-23T09:00", unclosed(), false);
    made.notice(Some(1), "2026-11-23T10:00", unclosed(), true);
    made.notice(Some(1), "2026-11-23T11:00", said(), false);
    let listed = |all| -> Vec<_> {
        let odd = odd(&made.input(), all);
        odd.iter()
            .map(|o| (o.occurred, o.job_number, o.settled))
            .collect()
    };
    let (first, settled, last) = (
        (at("2026-11-23T09:00"), None, false),
        (at("2026-11-23T10:00"), Some(101), true),
        (at("2026-11-24T09:00"), Some(101), false),
    );
    assert_eq!(listed(false), [first, last]);
    assert_eq!(listed(true), [first, settled, last]);
    assert_eq!(made.week("2026-11-23").odd.len(), 2);
    assert_eq!(story(&made.input(), job(1)).unwrap().odd.len(), 2);
}

#[test]
fn every_record_comes_with_the_likeliest_answer_as_a_command() {
    let mut catalogue = shop();
    catalogue
        .products
        .insert(code("iron-remover"), product(None));
    let mut made = Made::new(catalogue);
    made.open(1, "unsorted", "2026-11-23T08:00");
    made.open(2, "unsorted", "2026-11-23T08:00");
    made.stay(
        1,
        "bay-1",
        at("2026-11-23T08:00"),
        Some(at("2026-11-23T12:00")),
    );
    made.stay(
        2,
        "bay-1",
        at("2026-11-23T12:45"),
        Some(at("2026-11-23T17:00")),
    );
    let unknown = |text: &str| Notice::UnknownCode {
        what: What::Product,
        code: code(text),
    };
    let cut = |when: &str| Notice::Unclosed {
        stage: code("polish"),
        worker: code("ana"),
        cut_at: at(when),
    };
    let no_job = || Notice::NoJobHere { bay: code("bay-1") };
    let cases = [
        ("2026-11-23T09:00", cut("2026-11-23T17:00"), "--end 17:00"),
        (
            "2026-11-23T09:01",
            cut("2026-11-23T17:00:07"),
            "--end 17:00:07",
        ),
        (
            "2026-11-23T09:02",
            cut("2026-11-25T17:00"),
            "--end 2026-11-25T17:00",
        ),
        (
            "2026-11-23T09:03",
            unknown("iron-remvoer"),
            "--code iron-remover",
        ),
        ("2026-11-23T09:04", unknown("gravel"), "--as-is"),
        // Ten minutes after the first job had left, half an hour before the second.
        ("2026-11-23T12:10", no_job(), "--job 101"),
        ("2026-11-23T12:30", no_job(), "--job 102"),
        (
            "2026-11-23T18:00",
            Notice::UnknownJobNumber { number: 7 },
            "--job 102",
        ),
        ("2026-11-26T12:30", no_job(), "--as-is"),
        (
            "2026-11-27T09:00",
            Notice::UnknownJobNumber { number: 7 },
            "--as-is",
        ),
    ];
    for (when, notice, _) in &cases {
        made.notice(None, when, notice.clone(), false);
    }
    let odd = odd(&made.input(), false);
    assert_eq!(odd.len(), cases.len());
    for (record, (_, _, answer)) in odd.iter().zip(&cases) {
        let command = format!("bay settle {} {answer}", record.seq.0);
        assert_eq!(record.settle_with, command, "{record:?}");
    }
}
