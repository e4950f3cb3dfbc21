//! An old report can be printed as it was.

use serde_json::Value;

use crate::shop::Shop;

#[tokio::test]
async fn a_week_as_of_an_old_seq_is_the_week_as_it_was() {
    let mut shop = Shop::closed();
    let daemon = shop.start();
    shop.apply_example();
    for line in [
        "open saloon-coat \"grey saloon\"",
        "bring 1",
        "start decon --by ana --ago 50m",
        "used iron-remover 400ml --ago 30m",
        "done --ago 5m",
        "release",
    ] {
        shop.bay("bay-1", line).ok();
    }
    let seq = shop.records().await.len();
    let then = week(&shop, &format!("week --as-of {seq} --json"));
    shop.bay("bay-1", "used iron-remover 999ml --job 1 --ago 20m")
        .ok();
    shop.bay("bay-1", "open trike-coat \"red three-wheeler\"")
        .ok();
    shop.bay("bay-1", "strike 5").ok();
    let now = week(&shop, "week --json");
    assert_eq!(week(&shop, &format!("week --as-of {seq} --json")), then);
    assert_ne!(
        now["chemicals"], then["chemicals"],
        "what came later counts now"
    );
    daemon.stop().expect("a clean stop");
    shop.daemon(&["verify"]).ok();
    shop.daemon(&["rebuild", "--check"]).ok();
}

fn week(shop: &Shop, line: &str) -> Value {
    let json: Value = serde_json::from_str(&shop.bay("bay-1", line).ok()).expect("JSON");
    json["week"].clone()
}
