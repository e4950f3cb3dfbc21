//! An old report can be printed as it was.

use baywright_client::clock::{Clocks as _, MachineClocks};
use baywright_terms::time::{Micros, Week, zone};
use serde_json::Value;

use crate::shop::Shop;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
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

/// In a week that is over only `as_of_us` names the present, so the week
/// printed plainly and the week as of its seq are the same to the letter.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_plain_week_of_then_comes_out_again_after_lies_and_strikes() {
    let mut shop = Shop::closed();
    let daemon = shop.start();
    let zone = zone("Europe/Lisbon").expect("the example's zone");
    let now = Micros(MachineClocks::default().wall_us());
    let monday = Week::of(now, &zone).previous().monday();
    let day = monday.saturating_add(jiff::Span::new().days(2));
    shop.apply_example_from(&monday.to_string());
    for (bay, line, at) in [
        ("bay-1", "open saloon-coat \"grey saloon\"", "09:00"),
        ("bay-1", "bring 1", "09:05"),
        ("bay-1", "start decon --by ana", "09:10"),
        ("bay-1", "used iron-remover 400ml", "09:20"),
        ("bay-1", "done --by ana", "10:00"),
        ("bay-1", "release", "11:00"),
        ("bay-2", "open trike-coat \"red three-wheeler\"", "11:10"),
        ("bay-2", "bring 2", "11:15"),
        ("bay-2", "start wash --by ben", "11:20"),
    ] {
        shop.bay(bay, &format!("{line} --at \"{day} {at}\"")).ok();
    }
    let records = shop.records().await;
    let (seq, used) = (records.len(), 5);
    let name = Week::of_date(monday);
    let then = without_present(week(&shop, &format!("week {name} --json")));
    assert_ne!(then["jobs"].as_array().map_or(0, Vec::len), 0, "{then}");

    shop.bay("bay-1", &format!("strike {used}")).ok();
    for (bay, line, at) in [
        ("bay-1", "used tar-remover 50ml --job 1", "09:30"),
        ("bay-2", "start dry --by ana", "09:40"),
        ("bay-2", "done --by ben", "12:00"),
    ] {
        shop.bay(bay, &format!("{line} --at \"{day} {at}\"")).ok();
    }
    let as_of = format!("week {name} --as-of {seq} --json");
    assert_eq!(without_present(week(&shop, &as_of)), then);
    let now = week(&shop, &format!("week {name} --json"));
    assert_ne!(now["bays"], then["bays"], "what came later counts now");
    assert_ne!(
        now["chemicals"], then["chemicals"],
        "the struck use does not"
    );
    daemon.stop().expect("a clean stop");
    shop.daemon(&["verify"]).ok();
    shop.daemon(&["rebuild", "--check"]).ok();
}

/// The plain week is as of the moment it was asked for, the other as of its
/// last event.
fn without_present(mut week: Value) -> Value {
    let as_of = week["as_of_us"].take();
    assert!(as_of.is_number(), "the week has no as_of_us: {week}");
    week
}

fn week(shop: &Shop, line: &str) -> Value {
    let json: Value = serde_json::from_str(&shop.bay("bay-1", line).ok()).expect("JSON");
    json["week"].clone()
}
