//! Taking back, mending, releasing, and the screen of a bare `bay`.

use super::*;

#[test]
fn a_strike_takes_back_the_last_fact_from_here_and_then_the_one_before() {
    let bay = Bay::of_shop();
    bay.outcome("bay note one").unwrap();
    bay.outcome("bay note two").unwrap();
    assert_snapshot!(bay.says("bay strike --why slip"), @r"
    Job 118 trike-coat (red three-wheeler): struck out at 14:05 (slip).
    It was: note: two, 2026-11-25 14:05.
    ");
    bay.outcome("bay strike").unwrap();
    assert!(
        bay.outcome("bay strike").is_err(),
        "nothing is left to strike"
    );
    let log: Vec<Vec<u8>> = bay
        .fake
        .state()
        .log
        .iter()
        .map(|s| s.event_id.clone())
        .collect();
    let struck: Vec<Vec<u8>> = bay
        .facts()
        .into_iter()
        .filter_map(|f| match f.kind {
            Some(FactKind::StruckOut(s)) => Some(s.event_id),
            _ => None,
        })
        .collect();
    assert_eq!(struck, [log[1].clone(), log[0].clone()]);
    // By its number in the log, when it came from here.
    bay.outcome("bay strike 3").unwrap();
}

#[test]
fn a_set_aside_fact_is_mended_by_saying_it_anew_with_its_old_time() {
    let bay = Bay::of_shop().away();
    bay.outcome("bay note unreadable thing --ago 10m").unwrap();
    bay.clocks.advance_us(3_600_000_000);
    bay.away.set(false);
    assert_snapshot!(bay.says("bay spool send"), @r"
    Sent 1 fact.
    Set aside: 1 fact the daemon could not read. `bay spool list` shows what, `bay spool mend` mends it.
    ");
    let list = bay.outcome("bay spool list").unwrap();
    let id = list.json["facts"][0]["event_id"]
        .as_str()
        .unwrap()
        .to_owned();
    assert_eq!(list.json["facts"][0]["standing"], "set_aside");
    assert_snapshot!(bay.says(&format!("bay spool mend {id}")), @r"
    Error 2: How is it to be mended?
    Hint: Say it anew, as in: bay spool mend ID used iron-remover 350ml. Or --as-note, or --again.
    ");
    let said = bay.says(&format!(
        "bay spool mend {} used iron-remover 350ml",
        &id[..18]
    ));
    assert_snapshot!(said, @"Job 118 trike-coat (red three-wheeler): used iron-remover 350 ml at 13:55.");
    let fact = bay.facts().pop().unwrap();
    assert_eq!(
        fact.clocks.unwrap().wall_us,
        NOW_US,
        "the clocks of the first try"
    );
    assert_eq!(fact.occurred, Some(Occurred::AgoUs(600_000_000)));
    assert_eq!(bay.outcome("bay spool list").unwrap().json["set_aside"], 0);
    assert!(
        bay.says(&format!("bay spool mend {id} --again"))
            .contains("was not set aside")
    );
}

#[test]
fn a_release_accounts_for_stages_without_a_record() {
    let bay = Bay::of_shop();
    assert_snapshot!(bay.says("bay release --about decon=20m"), @r"
    Job 118 trike-coat (red three-wheeler): decon done, about 20 min at 14:05.
    Job 118 trike-coat (red three-wheeler): released at 14:05.
    Left for the owner to settle, no record of: polish.
    ");
    let kinds: Vec<String> = bay.facts().iter().map(crate::describe::fact).collect();
    assert_eq!(kinds, ["decon done, about 20 min", "release"]);
}

#[test]
fn what_people_typed_cannot_move_the_cursor() {
    let bay = Bay::of_shop();
    bay.fake.state().job.1 = "118 trike-coat, red\u{1b}[2J three-wheeler".to_owned();
    let outcome = bay.outcome("bay start decon --by ana").unwrap();
    assert!(!outcome.text.contains("\u{1b}[2J"), "{}", outcome.text);
    let outcome = bay.outcome("bay note \u{1b}]0;x\u{7}").unwrap();
    assert!(!outcome.text.contains('\u{7}'), "{}", outcome.text);
}

#[test]
fn bay_alone_shows_what_is_on_and_the_likely_next_facts() {
    let bay = Bay::of_shop();
    {
        let mut state = bay.fake.state();
        let job = &mut state.now.bays[0].jobs[0];
        job.running.push(v1::NowStage {
            stage: "decon".to_owned(),
            worker: "ana".to_owned(),
            since_us: NOW_US - 720_000_000,
            hands_on_us: 720_000_000,
        });
        job.sections.push(v1::NowSection {
            panel: "nose".to_owned(),
            finish: "matte".to_owned(),
            coated_us: NOW_US - 60_000_000,
            level_from_us: NOW_US + 49_000_000,
            level_until_us: NOW_US + 131_000_000,
            ..v1::NowSection::default()
        });
    }
    assert_snapshot!(bay.says("bay"), @r"
    bay-2
      118 trike-coat (red three-wheeler), here since 13:05
        ana on decon since 13:53, 0:12 so far
        nose (matte) spread 14:04:00: level from 14:05:49 to 14:07:11
        to come: decon, polish

      1  level nose
      2  done decon
      3  start polish
    ");
    bay.clocks.advance_us(1_500_000_000);
    bay.away.set(true);
    assert!(
        bay.says("bay")
            .starts_with("As last seen at 14:05, 25 min ago: the daemon does not answer.")
    );
    let now = bay.outcome("bay now").unwrap_err();
    assert_eq!(now.kind(), Kind::Unreachable, "now is about now");
}

#[test]
fn a_far_daemon_that_speaks_another_protocol_is_named() {
    let status = tonic::Status::unimplemented("");
    let error = Error::from_status(&status, "the week");
    assert_eq!((error.kind(), error.kind().exit_code()), (Kind::Version, 4));
    let status = tonic::Status::permission_denied("a bay may not settle");
    let error = Error::from_status(&status, "the post");
    assert_eq!(
        (error.kind(), error.kind().exit_code()),
        (Kind::NotPermitted, 5)
    );
    assert_eq!(error.message(), "a bay may not settle.");
}
