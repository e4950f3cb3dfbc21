//! Cautions before the step, and clocks that are off.

use super::*;

#[test]
fn a_never_is_said_when_the_vehicle_comes_in_and_not_once_it_is_covered() {
    let mut day = Day::new();
    let job = day.post(EIGHT - 2, "bay-1", &[], opened("trike-coat"));
    let never = Notice::SurfaceNever {
        what: "polish".into(),
        finishes: vec![("matte".into(), "it cannot be undone".to_owned())],
    };
    let of_matte = Notice::FinishNevers {
        finish: "matte".into(),
        panels: vec!["tank".into()],
        nevers: vec!["polish".into()],
        whys: vec!["it cannot be undone".to_owned()],
    };
    assert_eq!(day.notices(job).first(), Some(&of_matte));
    let brought = day.bring(EIGHT - 1, "bay-1", job);
    assert_eq!(day.notices(brought), [of_matte]);
    let start = day.post(EIGHT, "bay-1", &["ana"], started("polish"));
    assert!(day.notices(start).contains(&never));
    let cover = Fact::SurfaceCovered {
        finish: "matte".into(),
        panel: "".into(),
        left_out: false,
    };
    day.post(EIGHT + 1, "bay-1", &[], cover);
    let again = day.post(EIGHT + 2, "bay-1", &["ben"], started("polish"));
    assert!(!day.notices(again).contains(&never));
}

#[test]
fn a_stage_says_its_nevers_the_first_time_on_each_job() {
    let mut day = Day::new();
    let said = |day: &Day, id| {
        day.notices(id)
            .iter()
            .any(|n| matches!(n, Notice::SurfaceNever { .. }))
    };
    for hour in 0..2 {
        day.job_in(EIGHT + hour * 60, "bay-1");
        let first = day.post(EIGHT + hour * 60 + 1, "bay-1", &["ana"], started("polish"));
        assert!(said(&day, first));
        let again = day.post(EIGHT + hour * 60 + 9, "bay-1", &["ben"], started("polish"));
        assert!(!said(&day, again));
    }
}

#[test]
fn what_was_put_on_a_panel_against_a_rule_is_odd() {
    let mut day = Day::new();
    day.job_in(EIGHT, "bay-1");
    let coated = day.post(EIGHT, "bay-1", &["ana"], coat("tank"));
    assert!(day.notices(coated).contains(&Notice::AgainstRule {
        what: "ceramic".into(),
        panel: "tank".into(),
        finish: "matte".into(),
        why: "it makes it shine".into(),
    }));
}

#[test]
fn coating_in_unfit_air_is_said_from_the_last_fresh_reading() {
    for (age, said) in [(10, true), (119, true), (121, false)] {
        let mut day = Day::new();
        day.job_in(EIGHT, "bay-1");
        // 20 °C at 80 % has its dew point near 16.4 °C; the surface has 9 °C.
        let read = Fact::AmbientRead(AmbientRead {
            air: MilliCelsius(20_000),
            humidity: MilliPercent(80_000),
            surface: Some(MilliCelsius(9_000)),
            sensor: false,
        });
        day.post(EIGHT, "bay-1", &[], read);
        let coated = day.post(EIGHT + age, "bay-1", &["ana"], coat("nose"));
        let notices = day.notices(coated);
        let dew = notices.iter().any(|n| {
            matches!(n, Notice::AirUnfit { why: AirWhy::DewMargin { margin_milli_c }, .. }
                if (-7_500..-7_300).contains(margin_milli_c))
        });
        let cold = notices.iter().any(|n| {
            matches!(
                n,
                Notice::AirUnfit {
                    why: AirWhy::TooCold {
                        lowest_milli_c: 10_000,
                        ..
                    },
                    ..
                }
            )
        });
        assert_eq!((dew, cold), (said, said), "{age} min old: {notices:?}");
    }
}

#[test]
fn a_clock_that_is_off_and_a_time_in_the_future_are_said() {
    let mut day = Day::new();
    let id = day.post(
        EIGHT,
        "bay-1",
        &[],
        Fact::Noted {
            text: String::new(),
        },
    );
    let say = |offset_us, basis, ahead_us: i64| {
        let mut day = Day::new();
        day.post(
            EIGHT,
            "bay-1",
            &[],
            Fact::Noted {
                text: String::new(),
            },
        );
        let event = day.events.last_mut().unwrap();
        event.clock_offset_us = offset_us;
        event.time_basis = basis;
        event.received = Micros(event.position.occurred.0 - ahead_us);
        day.notices(id)
    };
    assert_eq!(say(2_000_000, TimeBasis::Boot, 2_000_000), []);
    let offset_us = -2_000_001;
    assert_eq!(
        say(offset_us, TimeBasis::Boot, 0),
        [Notice::ClockOffset { offset_us }]
    );
    assert_eq!(
        say(offset_us, TimeBasis::PresentOffset, 0),
        [Notice::ClockUnsure { offset_us }, Notice::TimeUnsure]
    );
    assert_eq!(
        say(0, TimeBasis::Boot, 3_000_000),
        [Notice::InFuture {
            ahead_us: 3_000_000
        }]
    );
}

#[test]
fn a_clock_that_stays_off_is_said_once_and_again_when_it_is_off_by_something_else() {
    let mut day = Day::new();
    let offsets_us = [420_000_000, 419_990_000, 60_000_000, 0, 60_000_000];
    let said: Vec<bool> = (0..)
        .zip(offsets_us)
        .map(|(minute, offset_us)| {
            let fact = Fact::Noted {
                text: String::new(),
            };
            let id = day.post(EIGHT + minute, "bay-1", &[], fact);
            day.events.last_mut().unwrap().clock_offset_us = offset_us;
            let offset = Notice::ClockOffset { offset_us };
            day.notices(id).contains(&offset)
        })
        .collect();
    assert_eq!(said, [true, false, true, false, true]);
}

#[test]
fn a_post_that_was_set_aside_is_listed_for_the_owner() {
    let mut day = Day::new();
    let text = "set aside: used iron-remover".to_owned();
    let fact = Fact::SetAside { text: text.clone() };
    let id = day.post(EIGHT, "bay-1", &[], fact);
    let notice = Notice::SetAside { text };
    assert_eq!(
        words::severity(&notice),
        baywright_floor::notice::Severity::Odd
    );
    assert_eq!(day.notices(id), [notice]);
}
