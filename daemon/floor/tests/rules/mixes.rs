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

#[test]
fn what_is_used_while_a_stage_is_done_again_or_on_a_comeback_is_rework() {
    let mut day = Day::new();
    let first = day.job_in(EIGHT, "bay-1");
    let again = Fact::StageFinished {
        stage: "prewash".into(),
        again: true,
    };
    day.post(EIGHT, "bay-1", &["ana"], started("prewash"));
    day.post(EIGHT + 1, "bay-1", &["ana"], used("wipe", 1));
    day.post(EIGHT + 10, "bay-1", &["ana"], again);
    day.post(EIGHT + 20, "bay-1", &["ana"], started("prewash"));
    day.post(EIGHT + 21, "bay-1", &["ana"], used("wipe", 2));
    // Laid aside it is still the stage that the use belongs to.
    day.post(EIGHT + 22, "bay-1", &["ana"], pause("", false));
    day.post(EIGHT + 23, "bay-1", &["ana"], used("wipe", 3));
    day.post(EIGHT + 24, "bay-1", &["ana"], resume(""));
    day.post(EIGHT + 30, "bay-1", &["ana"], finished(""));
    day.post(EIGHT + 31, "bay-1", &["ana"], used("wipe", 4));
    day.post(EIGHT + 40, "bay-1", &[], Fact::JobReleased);
    let mut comeback = opened("trike-coat");
    if let Fact::JobOpened(opened) = &mut comeback {
        opened.comeback_of = Some(JobRef::Job(first));
    }
    let comeback = day.post(EIGHT + 50, "bay-1", &[], comeback);
    day.bring(EIGHT + 51, "bay-1", comeback);
    day.post(EIGHT + 52, "bay-1", &["ana"], used("wipe", 5));
    let mut uses: Vec<(i64, bool)> = day
        .rows()
        .into_iter()
        .filter_map(|row| match row {
            Row::Use(used) => Some((minute(used.at) - EIGHT, used.rework)),
            _ => None,
        })
        .collect();
    uses.sort_unstable();
    let expected = [(1, false), (21, true), (23, true), (31, false), (52, true)];
    assert_eq!(uses, expected);
}
