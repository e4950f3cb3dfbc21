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
