//! The mess of real life, laid over the work.

use baywright_proto::v1;
use baywright_proto::v1::fact::Kind;
use baywright_terms::time::{MINUTE_US, Micros, SECOND_US};
use jiff::civil::Date;
use jiff::tz::TimeZone;
use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha12Rng;

use super::{Happening, Manner};

/// The stage in which a product of the example catalogue is used.
pub fn stage_of(product: &str) -> &'static str {
    const STAGES: [(&str, &str); 15] = [
        ("foam", "prewash"),
        ("shampoo", "wash"),
        ("alkaline", "decon"),
        ("water-spot", "decon"),
        ("tar", "decon"),
        ("iron", "decon"),
        ("metal", "metal"),
        ("compound", "polish"),
        ("polish", "polish"),
        ("wipe", "wipe-down"),
        ("trim", "coat-trim"),
        ("leather", "coat-trim"),
        ("glass", "coat-trim"),
        ("coating", "coat"),
        ("topper", "inspect"),
    ];
    STAGES
        .iter()
        .find(|(word, _)| product.contains(word))
        .map_or("", |(_, stage)| stage)
}

/// Adds uses typed twice, a bay without network for an afternoon, a mistyped product and a worker's note.
pub fn add(happenings: &mut Vec<Happening>, zone: &TimeZone, last_week: Date, seed: u64) {
    let mut rng = ChaCha12Rng::seed_from_u64(seed ^ 0x00c0_ffee);
    happenings.sort_by_key(|h| h.at);
    double_typed(happenings, &mut rng);
    mistyped(happenings, zone, last_week);
    offline_afternoon(happenings, zone, last_week);
}

fn is_use_of(happening: &Happening, word: &str) -> bool {
    matches!(&happening.kind, Kind::ProductUsed(used) if used.product.contains(word))
}

/// A use typed twice now and then, and once at least; the second one is struck out soon after.
fn double_typed(happenings: &mut Vec<Happening>, rng: &mut ChaCha12Rng) {
    let uses: Vec<Happening> = happenings
        .iter()
        .filter(|h| is_use_of(h, "iron"))
        .cloned()
        .collect();
    for (index, used) in uses.into_iter().enumerate() {
        if index > 0 && rng.random_range(0..100) >= 6 {
            continue;
        }
        let twice = Happening {
            at: Micros(used.at.0 + 9 * SECOND_US),
            ..used.clone()
        };
        let strike = Happening {
            at: Micros(used.at.0 + 25 * SECOND_US),
            manner: Manner::StrikesLastUse,
            kind: Kind::StruckOut(v1::StruckOut {
                event_id: Vec::new(),
                reason: "typed twice".into(),
            }),
            by: Vec::new(),
            ..used
        };
        happenings.push(twice);
        happenings.push(strike);
    }
    happenings.sort_by_key(|h| h.at);
}

/// In the last week somebody insists on a product that is not in the catalogue.
fn mistyped(happenings: &mut [Happening], zone: &TimeZone, last_week: Date) {
    let from = baywright_terms::time::day_range(last_week, zone).0;
    if let Some(happening) = happenings
        .iter_mut()
        .filter(|h| h.at > from)
        .find(|h| is_use_of(h, "tar"))
        && let Kind::ProductUsed(used) = &mut happening.kind
    {
        used.product.push_str("-new");
    }
}

/// The second bay has no network on the Wednesday afternoon of the last week.
fn offline_afternoon(happenings: &mut [Happening], zone: &TimeZone, last_week: Date) {
    let wednesday = last_week.saturating_add(jiff::Span::new().days(2));
    let (midnight, _) = baywright_terms::time::day_range(wednesday, zone);
    let from = Micros(midnight.0 + 13 * 60 * MINUTE_US);
    let until = Micros(midnight.0 + 24 * 60 * MINUTE_US);
    for happening in happenings
        .iter_mut()
        .filter(|h| h.bay == 1 && h.at >= from && h.at < until)
    {
        if happening.manner == Manner::Online {
            happening.manner = Manner::Offline;
        }
    }
}
