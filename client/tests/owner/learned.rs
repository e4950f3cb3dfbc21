//! What was learned, and how it becomes the catalogue's.

use baywright_proto::v1;
use baywright_proto::v1::fact::Kind;
use baywright_terms::catalogue::{EXAMPLE, file};

use super::{Shop, json, text};

const MIN: i64 = 60_000_000;

fn stage(code: &str, half_minutes: i64, suggest: bool) -> v1::LearnedStage {
    v1::LearnedStage {
        stage: code.to_owned(),
        allowance_us: 20 * MIN,
        given_us: 20 * MIN,
        half_us: half_minutes * MIN,
        half_low_us: (half_minutes - 4) * MIN,
        half_high_us: (half_minutes + 5) * MIN,
        n: 14,
        suggest,
        ..v1::LearnedStage::default()
    }
}

/// A shop with the example catalogue, which has learned of `trike-coat`.
fn shop(stages: Vec<v1::LearnedStage>) -> Shop {
    let shop = Shop::open();
    let catalogue = file::read(EXAMPLE).unwrap();
    let mut held = shop.daemon.held.lock().unwrap();
    held.catalogue = Some(baywright_proto::catalogue::to_wire(&catalogue));
    held.revision = 1;
    held.learned = v1::LearnedResponse {
        currency: "EUR".to_owned(),
        learned_up_to_seq: 2_950,
        jobs: 14,
        types: vec![v1::LearnedType {
            job_type: "trike-coat".to_owned(),
            jobs: 14,
            stages,
            ..v1::LearnedType::default()
        }],
        ..v1::LearnedResponse::default()
    };
    drop(held);
    shop
}

fn sets(shop: &Shop) -> Vec<v1::CatalogueSet> {
    let held = shop.daemon.held.lock().unwrap();
    held.facts
        .iter()
        .filter_map(|fact| match &fact.kind {
            Some(Kind::CatalogueSet(set)) => Some(set.clone()),
            _ => None,
        })
        .collect()
}

#[test]
fn apply_posts_one_change_that_says_what_it_was_learned_from() {
    let shop = shop(vec![
        stage("decon", 47, true),
        stage("polish", 99, false),
        stage("no-such-stage", 9, true),
    ]);
    let before = file::read(EXAMPLE).unwrap();
    let before = &before.job_types["trike-coat"];
    let dry = shop.bay(&["learned", "apply", "trike-coat", "--dry"]);
    assert!(
        text(&dry.stdout).contains("-> 0:47, from 14 records"),
        "{dry:?}"
    );
    assert_eq!(sets(&shop).len(), 0);
    let asked = shop.bay(&["learned", "apply", "trike-coat"]);
    assert_eq!(
        asked.status.code(),
        Some(2),
        "nobody can be asked: {asked:?}"
    );
    assert_eq!(sets(&shop).len(), 0);

    let output = shop.bay(&["learned", "apply", "trike-coat", "--yes"]);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    assert!(
        text(&output.stdout).contains("not counted twice"),
        "{output:?}"
    );
    let sets = sets(&shop);
    assert_eq!(sets.len(), 1);
    assert_eq!(sets[0].learned_up_to_seq, 2_950);
    let changed = baywright_proto::catalogue::from_wire(sets[0].changed.as_ref().unwrap());
    assert_eq!(changed.job_types.len(), 1);
    assert!(changed.shop.is_none() && changed.stages.is_empty() && changed.products.is_empty());
    let after = &changed.job_types["trike-coat"];
    assert_eq!(after.products, before.products);
    assert_eq!(after.stages.len(), before.stages.len());
    for (was, is) in before.stages.iter().zip(&after.stages) {
        if was.stage.as_str() == "decon" {
            assert_eq!(is.allowance_us, 47 * MIN);
        } else {
            assert_eq!(was, is);
        }
    }
}

#[test]
fn nothing_to_apply_is_said_and_nothing_posted() {
    let shop = shop(vec![stage("polish", 99, false)]);
    let output = shop.bay(&["learned", "apply", "trike-coat", "--yes"]);
    assert_eq!(output.status.code(), Some(0), "{output:?}");
    assert!(
        text(&output.stdout).starts_with("Nothing to apply"),
        "{output:?}"
    );
    assert_eq!(sets(&shop).len(), 0);
}

#[test]
fn one_type_is_asked_for_by_its_code_and_how_quotes_held_by_a_flag() {
    let shop = shop(vec![stage("decon", 47, true)]);
    let output = shop.bay(&["learned", "trike-coat"]);
    assert!(
        text(&output.stdout).contains("Learned from 14 jobs"),
        "{output:?}"
    );
    let output = shop.bay(&["learned", "trike-cota"]);
    assert_eq!(output.status.code(), Some(3));
    assert!(text(&output.stderr).contains("trike-coat"), "{output:?}");
    let output = shop.bay(&["learned", "--honesty", "--json"]);
    assert!(json(&output)["honesty"]["retraced"].is_null());
    let output = shop.bay(&["learned", "--honesty", "--retrace", "--json"]);
    assert_eq!(json(&output)["honesty"]["retraced"]["jobs"], 3);
    let output = shop.bay(&["type", "trike-coat", "--json"]);
    assert_eq!(json(&output)["type"]["learned"]["jobs"], 14, "{output:?}");
}
