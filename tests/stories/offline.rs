//! A bay without its daemon: facts wait on its disk, and arrive once, in order.

use std::collections::BTreeSet;

use baywright_proto::v1::fact::Kind;
use baywright_proto::v1::job_ref::Job;

use crate::shop::Shop;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_a_bay_said_alone_arrives_in_order_once_with_its_time() {
    let mut shop = Shop::closed();
    let kept = shop.bay("bay-1", "used iron-remover 350ml").ok();
    assert!(
        kept.contains("Kept on this bay") && kept.contains("spool"),
        "{kept}"
    );
    let opened = shop.bay("bay-1", "open unsorted \"old tractor\"").ok();
    assert!(opened.contains("b1-1"), "a lasting handle: {opened}");
    for line in [
        "bring b1-1",
        "start decon --by ana --job b1-1",
        "done --job b1-1 --ago 1s",
    ] {
        shop.bay("bay-1", line).ok();
    }
    let daemon = shop.start();
    shop.bay("bay-1", "spool send").ok();
    let records = shop.records().await;
    shop.bay("bay-1", "spool send").ok();
    assert_eq!(
        shop.records().await,
        records,
        "sending again adds nothing and changes nothing"
    );
    let kinds: Vec<&str> = records
        .iter()
        .map(|(_, fact)| match fact.kind {
            Some(Kind::ProductUsed(_)) => "used",
            Some(Kind::JobOpened(_)) => "opened",
            Some(Kind::JobMoved(_)) => "moved",
            Some(Kind::StageStarted(_)) => "started",
            Some(Kind::StageFinished(_)) => "finished",
            _ => "other",
        })
        .collect();
    assert_eq!(kinds, ["used", "opened", "moved", "started", "finished"]);
    let opening = &records[1].0.event_id;
    for (_, fact) in &records[2..] {
        let job = fact.job.as_ref().and_then(|job| job.job.clone());
        assert_eq!(
            job,
            Some(Job::OpeningEventId(opening.clone())),
            "the handle names the job opened here: {fact:?}"
        );
    }
    let counts: Vec<u64> = records.iter().map(|(r, _)| r.device_seq).collect();
    assert!(counts.is_sorted() && counts.iter().collect::<BTreeSet<_>>().len() == counts.len());
    for (record, _) in &records {
        assert!(
            record.occurred_us < record.received_us,
            "it happened before it arrived: {record:?}"
        );
    }
    // Known by its handle and by the number it got.
    for name in ["1", "b1-1"] {
        let story = shop.bay("bay-1", &format!("job {name}")).ok();
        assert!(story.contains("old tractor"), "{story}");
    }
    daemon.stop().expect("a clean stop");
}

const TERMINALS: usize = 8;

/// Every terminal of bay 1 posts a note of its own at the same time.
fn all_at_once(shop: &Shop) {
    std::thread::scope(|scope| {
        for terminal in 0..TERMINALS {
            scope.spawn(move || {
                shop.bay("bay-1", &format!("note \"terminal {terminal}\""))
                    .ok()
            });
        }
    });
}

async fn nothing_lost_or_doubled(shop: &Shop) {
    let records = shop.records().await;
    let texts: BTreeSet<String> = records
        .iter()
        .filter_map(|(_, fact)| match &fact.kind {
            Some(Kind::Noted(note)) => Some(note.text.clone()),
            _ => None,
        })
        .collect();
    let devices: BTreeSet<&str> = records.iter().map(|(r, _)| r.device.as_str()).collect();
    assert_eq!(devices.len(), 1, "one bay is one device: {devices:?}");
    let counts: Vec<u64> = records.iter().map(|(r, _)| r.device_seq).collect();
    assert!(
        counts.is_sorted_by(|a, b| a < b),
        "in the order of posting, no count twice: {counts:?}"
    );
    assert_eq!((records.len(), texts.len()), (TERMINALS, TERMINALS));
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn terminals_of_one_bay_at_the_same_time_lose_and_double_nothing() {
    let mut shop = Shop::closed();
    let daemon = shop.start();
    all_at_once(&shop);
    shop.bay("bay-1", "spool send").ok();
    nothing_lost_or_doubled(&shop).await;
    daemon.stop().expect("a clean stop");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn terminals_without_a_daemon_at_the_same_time_lose_and_double_nothing() {
    let mut shop = Shop::closed();
    all_at_once(&shop);
    let daemon = shop.start();
    shop.bay("bay-1", "spool send").ok();
    nothing_lost_or_doubled(&shop).await;
    daemon.stop().expect("a clean stop");
}
