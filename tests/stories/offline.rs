//! A bay without its daemon: facts wait on its disk, and arrive once, in order.

use std::collections::BTreeSet;

use baywright_proto::v1::fact::Kind;

use crate::shop::Shop;

#[tokio::test]
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
    shop.bay("bay-1", "spool send").ok();
    let records = shop.records().await;
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
    assert_eq!(kinds[..3], ["used", "opened", "moved"]);
    assert!(
        kinds.contains(&"started") && kinds.contains(&"finished"),
        "{kinds:?}"
    );
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

#[tokio::test]
async fn terminals_of_one_bay_at_the_same_time_lose_and_double_nothing() {
    const TERMINALS: usize = 8;
    let mut shop = Shop::closed();
    let daemon = shop.start();
    std::thread::scope(|scope| {
        for terminal in 0..TERMINALS {
            let shop = &shop;
            scope.spawn(move || {
                shop.bay("bay-1", &format!("note \"terminal {terminal}\""))
                    .ok()
            });
        }
    });
    shop.bay("bay-1", "spool send").ok();
    let records = shop.records().await;
    let texts: BTreeSet<String> = records
        .iter()
        .filter_map(|(_, fact)| match &fact.kind {
            Some(Kind::Noted(note)) => Some(note.text.clone()),
            _ => None,
        })
        .collect();
    let counts: BTreeSet<u64> = records.iter().map(|(r, _)| r.device_seq).collect();
    assert_eq!(
        (records.len(), texts.len(), counts.len()),
        (TERMINALS, TERMINALS, TERMINALS)
    );
    daemon.stop().expect("a clean stop");
}
