//! Posts that a restored log had acknowledged before, sent again.

use super::*;
use crate::journal::{Restored, restored};

/// When the posts of these tests had been acknowledged.
const EIGHT: i64 = NINE.0 - HOUR_US;

/// A log that was restored when it held one job, numbered 1.
fn restored_shop() -> (Shop, Restored) {
    let mut shop = Shop::new();
    shop.one(post("bay-1", 1, 0, 1, &opened())).unwrap();
    let began = Restored::now(1, 1, 1, NINE.0);
    restored::begin(shop.journal.connection(), &began).unwrap();
    let Shop {
        dir,
        journal,
        catalogue,
    } = shop;
    drop(journal);
    let journal = Journal::open(dir.path()).unwrap();
    (
        Shop {
            dir,
            journal,
            catalogue,
        },
        began,
    )
}

fn again(mut intake: Intake, job_number: u64) -> Intake {
    intake.post.first_receipt = Some(v1::FirstReceipt {
        occurred_us: EIGHT,
        received_us: EIGHT + 3,
        job_number,
    });
    intake
}

#[test]
fn a_job_sent_again_has_its_number_and_its_time_and_a_new_one_a_number_far_above() {
    let (mut shop, _) = restored_shop();
    let new = shop.one(post("bay-2", 10, 0, 1, &opened())).unwrap();
    assert_eq!(new.job_number, 1_001);
    let third = shop
        .one(again(post("bay-1", 3, 1, 3, &opened()), 3))
        .unwrap();
    let second = shop
        .one(again(post("bay-3", 2, 0, 1, &opened()), 2))
        .unwrap();
    assert_eq!((third.job_number, second.job_number), (3, 2));
    assert_eq!(second.occurred, Micros(EIGHT));
    let record = shop.record(second.seq);
    assert_eq!(record.first_received_us, EIGHT + 3);
    assert_eq!(record.time_basis(), v1::TimeBasis::FirstReceipt);
    let next = shop.one(post("bay-2", 11, 1, 2, &opened())).unwrap();
    assert_eq!(next.job_number, 1_002);
    let shop = shop.reopen();
    assert_eq!(verify(&shop.log(), |_, _| true).unwrap().seq, 5);
}

#[test]
fn a_number_that_is_taken_or_beyond_reason_is_not_given_again() {
    let (mut shop, _) = restored_shop();
    let taken = shop
        .one(again(post("bay-2", 2, 0, 1, &opened()), 1))
        .unwrap();
    assert_eq!(taken.job_number, 1_001);
    let beyond = shop
        .one(again(post("bay-2", 3, 1, 2, &opened()), u64::MAX))
        .unwrap();
    assert_eq!(beyond.job_number, 1_002);
    // Only an opening has a number of its own.
    let note = shop
        .one(again(post("bay-2", 4, 2, 3, &noted("x")), 7))
        .unwrap();
    assert_eq!(note.job_number, 0);
}

#[test]
fn a_log_that_never_was_restored_takes_nobodys_word_for_number_or_time() {
    let mut shop = Shop::new();
    let kept = shop
        .one(again(post("bay-1", 1, 0, 1, &opened()), 40))
        .unwrap();
    assert_eq!(kept.job_number, 1);
    assert_eq!(kept.occurred, NINE);
    assert_eq!(shop.record(1).first_received_us, 0);
}

#[test]
fn a_stated_time_stays_stated_and_an_impossible_one_is_worked_out_anew() {
    let (mut shop, _) = restored_shop();
    let mut fact = noted("said");
    fact.occurred = Some(v1::fact::Occurred::AtUs(NINE.0 - 5 * HOUR_US));
    let said = shop.one(again(post("bay-2", 2, 0, 1, &fact), 0)).unwrap();
    assert_eq!(said.occurred, Micros(NINE.0 - 5 * HOUR_US));
    assert_eq!(shop.record(said.seq).time_basis(), v1::TimeBasis::Stated);
    let mut odd = again(post("bay-2", 3, 1, 2, &noted("odd")), 0);
    odd.post.first_receipt = Some(v1::FirstReceipt {
        occurred_us: 1,
        received_us: i64::MAX,
        job_number: 0,
    });
    let odd = shop.one(odd).unwrap();
    assert!(odd.occurred >= NINE, "{odd:?}");
    let first_us = shop.record(odd.seq).first_received_us;
    assert!(first_us > 0 && first_us <= odd.received.0);
}

#[test]
fn a_post_that_the_backup_had_gets_its_first_receipt() {
    let (mut shop, _) = restored_shop();
    let repeated = shop
        .one(again(post("bay-1", 1, 0, 1, &opened()), 1))
        .unwrap();
    assert!(repeated.repeated);
    assert_eq!((repeated.seq, repeated.job_number), (1, 1));
}
