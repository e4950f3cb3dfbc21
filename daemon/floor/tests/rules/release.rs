//! What the release asks about.

use super::*;

#[test]
fn a_stage_of_the_type_without_record_or_declaration_is_listed_ten_minutes_after_release() {
    let mut day = Day::new();
    let job = day.job_in(EIGHT, "bay-1");
    day.post(EIGHT, "bay-1", &["ana"], started("prewash"));
    let declare = |stage: &str| Fact::StageDeclared {
        stage: stage.into(),
        declaration: Declaration::NotDone,
    };
    day.post(EIGHT + 29, "bay-1", &[], declare("decon"));
    let release = day.post(EIGHT + 30, "bay-1", &[], Fact::JobReleased);
    day.about(
        EIGHT + 35,
        "bay-1",
        &[],
        JobRef::Job(job),
        declare("polish"),
    );
    assert_eq!(
        day.notices(release),
        [Notice::StillRunning {
            stages: vec!["prewash".into()]
        }]
    );
    day.post(
        EIGHT + 40,
        "bay-1",
        &[],
        Fact::Noted {
            text: String::new(),
        },
    );
    assert_eq!(
        day.notices(release).last(),
        Some(&Notice::Undeclared {
            stages: vec!["coat".into()]
        })
    );
}

#[test]
fn the_owner_says_of_each_missing_stage_what_became_of_it() {
    let mut day = Day::new();
    day.job_in(EIGHT, "bay-1");
    day.post(EIGHT, "bay-1", &["ana"], started("prewash"));
    let release = day.post(EIGHT + 30, "bay-1", &[], Fact::JobReleased);
    day.post(
        EIGHT + 60,
        "bay-1",
        &[],
        Fact::Noted {
            text: String::new(),
        },
    );
    let missing = |day: &Day| -> Vec<(String, bool)> {
        day.rows()
            .into_iter()
            .filter_map(|row| match row {
                Row::Notice(n) => match &n.notice {
                    Notice::Undeclared { stages } => Some((stages[0].to_string(), n.settled)),
                    _ => None,
                },
                _ => None,
            })
            .collect()
    };
    let declared = |day: &Day| -> Vec<(String, Declaration)> {
        day.rows()
            .into_iter()
            .filter_map(|row| match row {
                Row::Declared {
                    stage, declaration, ..
                } => Some((stage.to_string(), declaration)),
                _ => None,
            })
            .collect()
    };
    let open = |of: &str| (of.to_owned(), false);
    assert_eq!(missing(&day), [open("decon"), open("polish"), open("coat")]);
    let not_done = day.reply(release, Answer::NotDone, "undeclared", "decon");
    let took = Answer::Took { took_us: HOUR_US };
    day.reply(release, took, "undeclared", "coat");
    let said = |of: &str| (of.to_owned(), true);
    assert_eq!(missing(&day), [said("decon"), open("polish"), said("coat")]);
    let about_us = HOUR_US;
    assert_eq!(
        declared(&day),
        [
            ("decon".to_owned(), Declaration::NotDone),
            ("coat".to_owned(), Declaration::DoneAbout { about_us }),
        ]
    );
    day.reply(release, Answer::AsIs, "undeclared", "polish");
    assert_eq!(missing(&day), [said("decon"), said("polish"), said("coat")]);
    day.strike(not_done);
    assert_eq!(missing(&day), [open("decon"), said("polish"), said("coat")]);
}
