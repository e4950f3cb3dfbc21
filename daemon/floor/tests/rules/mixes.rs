//! Mixes and what is used out of them.

use super::*;

fn taken(day: &Day) -> Vec<(bool, Option<Quantity>)> {
    day.rows()
        .into_iter()
        .filter_map(|row| match row {
            Row::Use(u) => Some((u.mix.is_some(), u.quantity)),
            _ => None,
        })
        .collect()
}

fn dumped(day: &Day) -> Vec<i64> {
    day.rows()
        .into_iter()
        .filter_map(|row| match row {
            Row::MixDumped { volume, .. } => Some(volume.0 / 1_000_000),
            _ => None,
        })
        .collect()
}

#[test]
fn a_use_takes_the_live_mix_until_it_is_used_up() {
    let mut day = Day::new();
    day.job_in(EIGHT, "bay-1");
    day.post(EIGHT, "bay-1", &["ana"], started("prewash"));
    day.post(EIGHT + 1, "bay-1", &[], mix(1_000));
    let from_mix = day.post(EIGHT + 2, "bay-1", &[], used("foam", 600));
    let over = day.post(EIGHT + 3, "bay-1", &[], used("foam", 500));
    day.post(EIGHT + 4, "bay-1", &[], used("foam", 50));
    let volume = |ml: i64| Some(Quantity::Volume(Nanolitres(ml * 1_000_000)));
    assert_eq!(
        taken(&day),
        [
            (true, volume(600)),
            (true, volume(500)),
            (false, volume(50))
        ]
    );
    let foam: Code = "foam".into();
    let has = |event, notice: &Notice| day.notices(event).contains(notice);
    let from = Notice::FromMix {
        product: foam.clone(),
    };
    assert!(has(from_mix, &from));
    assert!(has(
        over,
        &Notice::MixOverdrawn {
            product: foam.clone()
        }
    ));
    let rows = day.rows();
    let made = rows.iter().find_map(|r| match r {
        Row::MixMade(m) => Some((m.volume, m.concentrate)),
        _ => None,
    });
    // 15:1 by the catalogue: a sixteenth of 1,000 mL.
    assert_eq!(
        made,
        Some((Nanolitres(1_000_000_000), Nanolitres(62_500_000)))
    );
    let of_stage = rows.iter().all(|r| match r {
        Row::Use(u) => u.stage.as_str() == "prewash",
        _ => true,
    });
    assert!(of_stage);
}

#[test]
fn neat_leaves_the_mix_alone_and_a_mix_that_is_not_there_is_odd() {
    let mut day = Day::new();
    day.job_in(EIGHT, "bay-1");
    let with = |source| {
        Fact::ProductUsed(ProductUsed {
            product: "foam".into(),
            used: Used::Amount(ml(100)),
            lot: String::new(),
            panels: Vec::new(),
            source,
        })
    };
    let none = day.post(EIGHT, "bay-1", &[], with(UseSource::Mix));
    day.post(EIGHT + 1, "bay-1", &[], mix(1_000));
    day.post(EIGHT + 2, "bay-1", &[], with(UseSource::Neat));
    day.post(EIGHT + 3, "bay-1", &[], with(UseSource::Mix));
    let dump = Fact::MixDumped {
        product: "foam".into(),
        mix: None,
        amount: None,
    };
    day.post(EIGHT + 4, "bay-1", &[], dump);
    let no_mix = Notice::NoMix {
        product: "foam".into(),
    };
    assert!(day.notices(none).contains(&no_mix));
    let from_mix: Vec<bool> = taken(&day).into_iter().map(|(mix, _)| mix).collect();
    assert_eq!(from_mix, [false, false, true]);
    assert_eq!(dumped(&day), [900]);
}

#[test]
fn the_rest_of_a_replaced_or_forgotten_mix_is_waste() {
    let mut day = Day::new();
    day.job_in(EIGHT, "bay-1");
    day.post(EIGHT, "bay-1", &[], mix(1_000));
    day.post(EIGHT + 1, "bay-1", &[], used("foam", 300));
    let second = day.post(EIGHT + 2, "bay-1", &[], mix(500));
    assert_eq!(dumped(&day), [700]);
    assert_eq!(
        day.notices(second),
        [Notice::MixReplaced {
            product: "foam".into(),
            rest: Nanolitres(700_000_000)
        }]
    );
    day.post(
        EIGHT + 31 * 24 * 60,
        "bay-2",
        &[],
        Fact::Noted {
            text: String::new(),
        },
    );
    assert_eq!(dumped(&day), [700, 500]);
}
