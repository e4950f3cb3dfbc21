//! What is told at once, and the floor as it is.

use super::*;

#[test]
fn a_receipt_tells_job_workers_notices_and_the_window_of_a_coat() {
    let mut day = Day::new();
    let job = day.job_in(EIGHT, "bay-1");
    day.post(EIGHT, "bay-1", &["ana"], started("coat"));
    day.post(EIGHT + 1, "bay-1", &["ana"], coat("nose"));
    let mut book = Book::default();
    let mut told = Vec::new();
    for event in &day.events {
        told.push(book.absorb(event));
    }
    let told = told.pop().unwrap();
    assert_eq!(told.job, Some(job));
    assert_eq!(told.by, [Code::new("ana")]);
    let coated = told.coated.expect("a section");
    let window = baywright_floor::step::window_of(&coated, book.fold.cats.at(coated.at));
    let limits = window.limits().expect("the label's");
    assert_eq!(
        (limits.from_us, limits.until_us),
        (3 * MINUTE_US, 6 * MINUTE_US)
    );
}

#[test]
fn a_strike_of_an_event_not_in_the_log_is_told_and_holds_when_it_comes() {
    let mut day = Day::new();
    day.job_in(EIGHT, "bay-1");
    day.post(EIGHT, "bay-1", &["ana"], started("prewash"));
    let slip = day.events.pop().unwrap();
    day.strike(slip.id);
    let mut book = day.book();
    let told = book.absorb(&slip);
    assert!(told.struck);
    assert!(
        !book
            .rows()
            .any(|r| matches!(r, Row::Counted { event, .. } if *event == slip.id))
    );
    let mut first = Book::default();
    let told: Vec<_> = day.events.iter().map(|e| first.absorb(e)).collect();
    assert_eq!(told.last().unwrap().notices, [Notice::StrikeUnknown]);
}

#[test]
fn now_shows_who_is_on_what_and_what_waits() {
    let mut day = Day::new();
    let job = day.job_in(EIGHT, "bay-1");
    day.post(EIGHT, "bay-1", &["ana"], started("decon"));
    day.post(EIGHT + 5, "bay-1", &["ana"], dwell("iron-remover"));
    day.post(EIGHT + 5, "bay-1", &["ben"], started("coat"));
    day.post(EIGHT + 6, "bay-1", &["ben"], coat("nose"));
    let book = day.book();
    let at = Micros(MONDAY + (EIGHT + 8) * MINUTE_US);
    let now = baywright_floor::now::now(&book.fold.live.state, &book.fold.cats, at);
    let bay = &now.bays[0];
    assert_eq!(
        (bay.bay.as_str(), bay.places, now.bays.len()),
        ("bay-1", 1, 3)
    );
    let shown = &bay.jobs[0];
    assert_eq!(shown.job, job);
    assert_eq!(shown.running.len(), 1);
    assert_eq!(shown.running[0].hands_on_us, 3 * MINUTE_US);
    assert_eq!(shown.paused[0].stage.as_str(), "decon");
    assert_eq!(
        shown.dwells[0].longest_at,
        Some(Micros(MONDAY + (EIGHT + 12) * MINUTE_US))
    );
    assert_eq!(shown.sections.len(), 1);
    let stages = |codes: &[Code]| codes.iter().map(Code::to_string).collect::<Vec<_>>();
    assert_eq!(stages(&shown.stages_done), ["decon", "coat"]);
    assert_eq!(stages(&shown.stages_open), ["prewash", "polish"]);
    let ben = now
        .workers
        .iter()
        .find(|w| w.worker.as_str() == "ben")
        .unwrap();
    assert_eq!((ben.job, ben.stage.as_str()), (Some(job), "coat"));
    assert!(
        book.rows()
            .any(|r| matches!(r, Row::HandsOn(h) if h.ended == Ended::Dwell))
    );
}
