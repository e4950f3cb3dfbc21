//! `bay` itself is killed at random moments, between any two of its steps.

use std::collections::BTreeMap;
use std::process::Child;
use std::time::{Duration, Instant};

use baywright_proto::v1::fact::Kind;
use baywright_tests::harness::bay_command;
use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha12Rng;

use super::{a_moment, from_environment, whole};
use crate::shop::Shop;

const BAYS: u64 = 3;
/// One command in so many finds no daemon, and keeps its fact.
const AWAY_ONE_IN: u32 = 5;
/// Commands that run to their end, to see how long one takes here.
const UNDISTURBED: u64 = 5;

/// Starts `bay note`, in its own folder.
fn begin(shop: &Shop, server: &str, bay: u64, text: &str) -> Child {
    let name = format!("bay-{bay}");
    let folder = shop.data().with_file_name(&name);
    std::fs::create_dir_all(&folder).expect("a folder for the bay");
    bay_command(crate::binary(), &folder, server, &name, ["note", text])
        .spawn()
        .expect("bay starts")
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_killed_terminal_loses_no_fact_it_said_was_kept_and_doubles_none() {
    let kills = from_environment("BAYWRIGHT_KILLS", 8);
    let seed = from_environment("BAYWRIGHT_SEED", 20_261_126);
    println!("seed {seed}, {kills} kills of `bay`, {BAYS} bays");
    let mut rng = ChaCha12Rng::seed_from_u64(seed);
    let mut shop = Shop::closed();
    let daemon = shop.start();
    let mut usual = Duration::ZERO;
    for number in 0..UNDISTURBED {
        let began = Instant::now();
        let name = format!("bay-{}", number % BAYS + 1);
        shop.bay(&name, &format!("note \"undisturbed {number}\""))
            .ok();
        usual = usual.max(began.elapsed());
    }
    // Now and then it is over before it is killed.
    let us_max = u64::try_from(usual.as_micros()).expect("a short time") * 5 / 4 + 1_000;

    // Text of each fact; true where its command said that it is safe.
    let mut posted = BTreeMap::new();
    let (mut killed, mut number) = (0, 0_u64);
    while killed < kills {
        number += 1;
        let text = format!("fact {number}");
        let server = if rng.random_ratio(1, AWAY_ONE_IN) {
            crate::shop::NOWHERE
        } else {
            shop.server.as_str()
        };
        let mut child = begin(&shop, server, rng.random_range(1..=BAYS), &text);
        a_moment(&mut rng, us_max).await;
        let is_killed = child.try_wait().expect("a look at bay").is_none();
        if is_killed {
            child.kill().expect("a kill");
            killed += 1;
        }
        let output = child.wait_with_output().expect("bay has ended");
        let told = String::from_utf8_lossy(&output.stdout);
        if !is_killed {
            assert!(output.status.success(), "{output:?}");
        }
        // Killed after the answer is printed counts as said.
        let is_said = told.contains(&text);
        assert!(is_said || is_killed, "{output:?}");
        posted.insert(text, is_said);
    }
    for bay in 1..=BAYS {
        shop.bay(&format!("bay-{bay}"), "spool send").ok();
    }

    let mut logged: BTreeMap<String, u32> = BTreeMap::new();
    let mut last_of_device: BTreeMap<String, (u64, u64)> = BTreeMap::new();
    for (record, fact) in shop.records().await {
        let Some(Kind::Noted(note)) = fact.kind else {
            panic!("not a note: {fact:?}");
        };
        *logged.entry(note.text.clone()).or_default() += 1;
        let Some(number) = note.text.strip_prefix("fact ") else {
            continue;
        };
        let now = (record.device_seq, number.parse().expect("a number"));
        let last = last_of_device.insert(record.device, now);
        let last = last.unwrap_or_default();
        assert!(
            last.0 < now.0 && last.1 < now.1,
            "in order: {last:?} {now:?}"
        );
    }
    let said = posted.values().filter(|said| **said).count();
    let lost = posted
        .iter()
        .filter(|(text, said)| **said && !logged.contains_key(*text))
        .count();
    let doubled = logged.values().filter(|count| **count > 1).count();
    let unsaid = logged
        .keys()
        .filter(|text| posted.get(*text) == Some(&false));
    println!(
        "{number} commands, {killed} killed, {said} facts said to be safe, {} of the others in \
         the log all the same, {lost} lost, {doubled} doubled",
        unsaid.count()
    );
    assert_eq!((lost, doubled), (0, 0));
    daemon.stop().expect("a clean stop");
    whole(&shop.data());
}
