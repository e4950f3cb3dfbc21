//! A quote from the telephone to the hand-over, and records that flow back.

use baywright_client::clock::{Clocks as _, MachineClocks};
use baywright_proto::v1::fact::Kind;
use baywright_terms::time::{Micros, Week, zone};
use jiff::civil::Date;
use serde_json::Value;

use crate::shop::Shop;

const MINUTE_US: i64 = 60_000_000;

struct Story {
    shop: Shop,
    monday: Date,
}

impl Story {
    /// The example shop, with the week before this one to work in.
    fn of(shop: Shop) -> Self {
        let zone = zone("Europe/Lisbon").expect("the example's zone");
        let now = Micros(MachineClocks::default().wall_us());
        let monday = Week::of(now, &zone).previous().monday();
        shop.apply_example_from(
            &monday
                .saturating_sub(jiff::Span::new().days(60))
                .to_string(),
        );
        Self { shop, monday }
    }

    fn owner(&self, line: &str) -> String {
        self.shop.bay("bay-1", line).ok()
    }

    fn json(&self, line: &str) -> Value {
        serde_json::from_str(&self.owner(&format!("{line} --json"))).expect("JSON")
    }

    /// What a type would be quoted at now; nothing is posted.
    fn suggested(&self, asked: &str) -> Value {
        self.json(&format!("quote new {asked} --dry"))
    }

    /// A job of two stages on one day, each as many minutes as said; released.
    fn work(&self, number: u64, day: Date, minutes: [i64; 2]) {
        let mut at = 9 * 60;
        let say = |line: String, at: i64| {
            let time = format!("{:02}:{:02}", at / 60, at % 60);
            self.owner(&format!("{line} --at \"{day} {time}\""));
        };
        say(format!("bring {number}"), at - 10);
        for (stage, minutes) in ["wash", "decon"].into_iter().zip(minutes) {
            say(format!("start {stage} --job {number} --by ana"), at);
            at += minutes;
            say(format!("done {stage} --job {number} --by ana"), at);
        }
        say(format!("release --job {number}"), at + 5);
    }
}

fn find<'v>(value: &'v Value, name: &str) -> &'v Value {
    fn deep<'v>(value: &'v Value, name: &str) -> Option<&'v Value> {
        match value {
            Value::Object(fields) => fields
                .get(name)
                .or_else(|| fields.values().find_map(|v| deep(v, name))),
            Value::Array(values) => values.iter().find_map(|v| deep(v, name)),
            _ => None,
        }
    }
    deep(value, name).unwrap_or_else(|| panic!("no {name} in {value}"))
}

fn hours_us(value: &Value, name: &str) -> i64 {
    find(value, name).as_i64().expect("a whole number")
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_quote_is_printed_revised_accepted_worked_on_and_compared() {
    let mut shop = Shop::closed();
    let daemon = shop.start();
    let story = Story::of(shop);
    let printed =
        story.owner("quote new saloon-coat \"grey saloon\" --soil 4 --defects 3 --intricacy 3");
    assert!(printed.contains("trade guess, not your shop"), "{printed}");
    let drafted = story.json("quote show 1");
    story.owner("quote revise 1 --soil 5 --why \"worse than it sounded\"");
    let revised = story.json("quote show 1");
    let half = |quote: &Value| hours_us(find(quote, "printed"), "hands_on_half_us");
    assert!(half(&revised) > half(&drafted), "more soil takes longer");
    assert_eq!(find(&revised, "earlier").as_array().map(Vec::len), Some(1));
    let suggested = hours_us(find(&revised, "printed"), "price_minor");
    story.owner("quote accept 1 --price 900 --why \"a neighbour\"");
    let facts: Vec<Kind> = story
        .shop
        .records()
        .await
        .into_iter()
        .filter_map(|(_, fact)| fact.kind)
        .collect();
    let accepted = facts.iter().find_map(|kind| match kind {
        Kind::QuoteAccepted(accepted) => Some(accepted.clone()),
        _ => None,
    });
    let accepted = accepted.expect("an acceptance");
    assert_eq!(accepted.agreed.map(|m| m.price_minor), Some(90_000));
    assert_eq!(accepted.suggested.map(|m| m.price_minor), Some(suggested));
    let opened = facts.iter().find_map(|kind| match kind {
        Kind::JobOpened(opened) => Some(opened.clone()),
        _ => None,
    });
    let opened = opened.expect("an opening");
    assert_eq!(opened.quote_event_id, accepted.quote_event_id);
    let again = story.shop.bay("bay-1", "quote accept 1 --price 800");
    assert_eq!(again.code, 3, "{}{}", again.out, again.err);
    // What the job is held against is what was printed last before the yes.
    let job = story.json("job 1");
    assert_eq!(hours_us(&job, "quoted_us"), half(&revised));
    story.owner("quote new saloon-coat \"blue saloon\"");
    story.owner("quote decline 2 --why \"too dear\"");
    let compared = story.owner("quote compare 1 2");
    assert!(
        compared.contains("too dear") || compared.contains("declined"),
        "{compared}"
    );
    daemon.stop().expect("a clean stop");
    story.shop.daemon(&["verify"]).ok();
    story.shop.daemon(&["rebuild", "--check"]).ok();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn recorded_actuals_move_the_next_quote_and_applying_them_moves_nothing_twice() {
    let mut shop = Shop::closed();
    let daemon = shop.start();
    let story = Story::of(shop);
    let asked = "saloon-coat --soil 3 --defects 3 --intricacy 3 --seed 5";
    let before = story.suggested(asked);
    for nth in 0..6_i64 {
        let number = u64::try_from(nth).unwrap_or(0) + 1;
        let day = story.monday.saturating_sub(jiff::Span::new().days(7 + nth));
        story.owner(&format!("open saloon-coat \"saloon {number}\" --soil 3 --defects 3 --intricacy 3 --at \"{day} 08:30\""));
        // Far more than the allowances of an hour or so.
        story.work(number, day, [80 + nth, 130 - nth]);
    }
    let after = story.suggested(asked);
    let stage = |quote: &Value, stage: &str| -> i64 {
        let stages = find(quote, "stages").as_array().expect("stages").clone();
        let found = stages.iter().find(|s| s["stage"] == stage);
        hours_us(found.expect("the stage"), "half_us")
    };
    assert!(stage(&after, "wash") > stage(&before, "wash") + 10 * MINUTE_US);
    assert_eq!(find(&after, "from_jobs"), 6);
    assert_eq!(find(&after, "trade_guess"), false);
    story.owner("learned apply saloon-coat --yes");
    let applied = story.suggested(asked);
    for name in ["wash", "decon"] {
        let off = (stage(&applied, name) - stage(&after, name)).abs();
        assert!(off <= MINUTE_US, "{name} moved by {off} us");
    }
    let posted: Vec<u64> = story
        .shop
        .records()
        .await
        .into_iter()
        .filter_map(|(_, fact)| match fact.kind {
            Some(Kind::CatalogueSet(set)) => Some(set.learned_up_to_seq),
            _ => None,
        })
        .collect();
    assert_eq!(posted.len(), 2, "one catalogue event more");
    assert!(posted[1] > 0, "it says what it was learned from");
    daemon.stop().expect("a clean stop");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn jobs_from_before_the_log_come_in_once_and_are_learned_from() {
    let mut shop = Shop::closed();
    let daemon = shop.start();
    let story = Story::of(shop);
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("past.csv");
    let row = |day: u32| format!("2025-03-0{day};saloon-coat;{},5\n", 14 + day % 3);
    let rows: String = (1..=9).map(row).collect();
    let mut csv = format!("day;kind;hours\n{rows}");
    std::fs::write(&file, &csv).expect("a file");
    let line = format!(
        "import {} --map date=day --map type=kind --map actual=hours --times h",
        file.display()
    );
    let before = story.suggested("saloon-coat --seed 5");
    story.owner(&line);
    let seq = story.shop.records().await.len();
    story.owner(&line);
    assert_eq!(story.shop.records().await.len(), seq, "again adds nothing");
    let after = story.suggested("saloon-coat --seed 5");
    assert_eq!(find(&after, "from_jobs"), 9);
    assert!(hours_us(&after, "hands_on_half_us") > hours_us(&before, "hands_on_half_us"));
    csv.push_str("2025-03-10;saloon-caot;12\n");
    std::fs::write(&file, &csv).expect("a file");
    let faulty = story.shop.bay("bay-1", &line);
    assert_eq!(faulty.code, 3, "{}{}", faulty.out, faulty.err);
    assert!(
        format!("{}{}", faulty.out, faulty.err).contains("11"),
        "the line is named"
    );
    assert_eq!(
        story.shop.records().await.len(),
        seq,
        "nothing half imported"
    );
    daemon.stop().expect("a clean stop");
}
