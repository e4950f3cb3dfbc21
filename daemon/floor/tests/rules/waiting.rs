//! Dwell, flash, lamp and cure.

use super::*;

#[test]
fn a_dwell_sets_its_workers_free_and_they_go_on_unless_they_started_something() {
    let mut day = Day::new();
    day.job_in(EIGHT, "bay-1");
    day.job_in(EIGHT, "bay-2");
    day.post(EIGHT, "bay-1", &["ana", "ben"], started("decon"));
    day.post(EIGHT + 5, "bay-1", &[], dwell("iron-remover"));
    day.post(EIGHT + 6, "bay-2", &["ben"], started("prewash"));
    day.post(EIGHT + 7, "bay-2", &["ben"], finished(""));
    day.post(EIGHT + 9, "bay-1", &[], dwell_end(""));
    day.post(EIGHT + 20, "bay-1", &[], finished("decon"));
    assert_eq!(
        day.hands_on(),
        [
            "ana decon 480-485 Dwell",
            "ben decon 480-485 Dwell",
            "ben prewash 486-487 Done",
            "ana decon 489-500 Done"
        ]
    );
    assert_eq!(day.waiting(), [(WaitingKind::Dwell, EIGHT + 5, EIGHT + 9)]);
}

#[test]
fn waiting_of_a_dwell_is_capped_at_the_longest_and_said_where_over_or_under() {
    for (minutes, expected, said) in [
        (
            10,
            7,
            Some(Notice::DwellTooLong {
                product: "iron-remover".into(),
                over_us: 3 * MINUTE_US,
            }),
        ),
        (
            1,
            1,
            Some(Notice::DwellTooShort {
                product: "iron-remover".into(),
                under_us: MINUTE_US,
            }),
        ),
        (4, 4, None),
    ] {
        let mut day = Day::new();
        day.job_in(EIGHT, "bay-1");
        day.post(EIGHT, "bay-1", &["ana"], started("decon"));
        day.post(EIGHT + 5, "bay-1", &[], dwell("iron-remover"));
        let ended = day.post(EIGHT + 5 + minutes, "bay-1", &[], dwell_end("iron-remover"));
        assert_eq!(
            day.waiting(),
            [(WaitingKind::Dwell, EIGHT + 5, EIGHT + 5 + expected)]
        );
        assert_eq!(day.notices(ended), Vec::from_iter(said));
    }
}

#[test]
fn done_after_a_dwell_nobody_ended_finishes_the_stage_and_the_dwell() {
    let mut day = Day::new();
    day.job_in(EIGHT, "bay-1");
    day.post(EIGHT, "bay-1", &["ana"], started("decon"));
    day.post(EIGHT + 5, "bay-1", &["ana"], dwell("foam"));
    let done = day.post(EIGHT + 15, "bay-1", &["ana"], finished(""));
    assert_eq!(day.hands_on(), ["ana decon 480-485 Dwell"]);
    assert_eq!(day.waiting(), [(WaitingKind::Dwell, EIGHT + 5, EIGHT + 15)]);
    assert_eq!(day.notices(done), []);
}

#[test]
fn a_coat_flashes_until_levelled_and_cures_until_water_safe() {
    let mut day = Day::new();
    day.job_in(EIGHT, "bay-1");
    day.post(EIGHT, "bay-1", &["ana"], coat("nose"));
    day.post(
        EIGHT + 4,
        "bay-1",
        &["ana"],
        level(LevelResult::Clean, false),
    );
    day.post(
        EIGHT + 24 * 60,
        "bay-1",
        &[],
        Fact::Noted {
            text: String::new(),
        },
    );
    assert_eq!(
        day.waiting(),
        [
            (WaitingKind::Flash, EIGHT, EIGHT + 4),
            (WaitingKind::Cure, EIGHT + 4, EIGHT + 12 * 60)
        ]
    );
}

#[test]
fn a_panel_found_cured_or_a_release_ends_the_cure_and_a_wet_release_is_said() {
    let mut day = Day::new();
    day.job_in(EIGHT, "bay-1");
    day.post(EIGHT, "bay-1", &["ana"], coat("nose"));
    day.post(EIGHT + 1, "bay-1", &["ana"], coat("trim"));
    day.post(
        EIGHT + 60,
        "bay-1",
        &[],
        Fact::PanelCured {
            panel: "nose".into(),
        },
    );
    let release = day.post(EIGHT + 90, "bay-1", &[], Fact::JobReleased);
    assert_eq!(
        day.waiting(),
        [
            (WaitingKind::Flash, EIGHT, EIGHT + 90),
            (WaitingKind::Flash, EIGHT + 1, EIGHT + 90),
            (WaitingKind::Cure, EIGHT, EIGHT + 60),
            (WaitingKind::Cure, EIGHT + 1, EIGHT + 90)
        ]
    );
    let until = Micros(MONDAY + (EIGHT + 1) * MINUTE_US + 12 * HOUR_US);
    assert!(day.notices(release).contains(&Notice::StillWet { until }));
}

#[test]
fn a_lamp_is_waiting_for_as_long_as_it_shines() {
    let mut day = Day::new();
    day.job_in(EIGHT, "bay-1");
    let lamp = Fact::PanelLamp {
        panel: "nose".into(),
        duration_us: 15 * MINUTE_US,
        surface: None,
    };
    day.post(EIGHT, "bay-1", &[], lamp);
    day.post(
        EIGHT + 60,
        "bay-1",
        &[],
        Fact::Noted {
            text: String::new(),
        },
    );
    assert_eq!(day.waiting(), [(WaitingKind::Lamp, EIGHT, EIGHT + 15)]);
}

#[test]
fn levelling_meets_the_section_that_waited_longest_and_can_be_amended() {
    let mut day = Day::new();
    day.job_in(EIGHT, "bay-1");
    let first = day.post(EIGHT, "bay-1", &[], coat("nose"));
    let second = day.post(EIGHT + 1, "bay-1", &[], coat("nose"));
    day.post(EIGHT + 4, "bay-1", &[], level(LevelResult::Clean, false));
    day.post(EIGHT + 5, "bay-1", &[], level(LevelResult::Clean, false));
    let none = day.post(EIGHT + 6, "bay-1", &[], level(LevelResult::Clean, false));
    day.post(EIGHT + 20, "bay-1", &[], level(LevelResult::HighSpot, true));
    let levelled: Vec<(EventId, LevelResult)> = day
        .rows()
        .into_iter()
        .filter_map(|row| match row {
            Row::Levelled { coated, result, .. } => Some((coated, result)),
            _ => None,
        })
        .collect();
    assert_eq!(
        levelled,
        [
            (first, LevelResult::Clean),
            (second, LevelResult::Clean),
            (second, LevelResult::HighSpot)
        ]
    );
    assert_eq!(
        day.notices(none),
        [Notice::NothingToLevel { panel: "".into() }]
    );
}

#[test]
fn sections_are_counted_and_a_panel_spread_again_later_gets_a_layer() {
    let mut day = Day::new();
    day.job_in(EIGHT, "bay-1");
    for minute in [0, 10, 120] {
        day.post(EIGHT + minute, "bay-1", &[], coat("nose"));
        day.post(
            EIGHT + minute + 4,
            "bay-1",
            &[],
            level(LevelResult::Clean, false),
        );
    }
    let counted: Vec<(u32, u32)> = day
        .rows()
        .into_iter()
        .filter_map(|row| match row {
            Row::Coated(c) => Some((c.layer, c.section)),
            _ => None,
        })
        .collect();
    assert_eq!(counted, [(1, 1), (1, 2), (2, 1)]);
}
