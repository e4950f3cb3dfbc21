//! The catalogue in force.

use super::*;

#[test]
fn a_late_catalogue_holds_from_its_valid_from_and_its_hours_if_they_are_the_first() {
    let mut day = Day::without_catalogue();
    day.job_in(14 * 60, "bay-1");
    day.post(14 * 60, "bay-1", &["ana"], started("prewash"));
    let odd = day.post(14 * 60 + 1, "bay-1", &["ana"], used("iron-remvoer", 5));
    let noted = Fact::Noted {
        text: String::new(),
    };
    day.post(2 * 24 * 60 + EIGHT, "bay-1", &[], noted);
    assert_eq!(day.notices(odd), []);
    assert_eq!(day.hands_on(), ["ana prewash 840-1440 Unclosed"]);
    let mut set = |closes: u16, received: i64| {
        let mut changed = catalogue();
        for hours in changed.shop.iter_mut().flat_map(|shop| &mut shop.open) {
            hours.until_min = closes;
        }
        let mut set = day.desk.catalogue_set(MONDAY, changed);
        set.position.occurred = Micros(MONDAY + received * DAY_US);
        set.received = set.position.occurred;
        set
    };
    let (first, second) = (set(18 * 60, 3), set(17 * 60, 4));
    let first_id = first.id;
    day.events.push(first);
    let unknown = Notice::UnknownCode {
        what: What::Product,
        code: "iron-remvoer".into(),
    };
    assert_eq!(day.notices(odd), std::slice::from_ref(&unknown));
    assert_eq!(day.hands_on(), ["ana prewash 840-1080 Unclosed"]);
    // Other hours, given later for the same time, rewrite nothing ...
    day.events.push(second);
    assert_eq!(day.hands_on(), ["ana prewash 840-1080 Unclosed"]);
    // ... unless the first are taken back.
    day.strike(first_id);
    assert_eq!(day.hands_on(), ["ana prewash 840-1020 Unclosed"]);
}

#[test]
fn a_struck_catalogue_change_never_held() {
    let mut day = Day::new();
    day.job_in(EIGHT, "bay-1");
    let mut changed = Catalogue::default();
    changed.stages.insert(
        "rinse".into(),
        catalogue().stages[&Code::new("prewash")].clone(),
    );
    let set = day.desk.catalogue_set(MONDAY, changed);
    let set_id = set.id;
    day.events.push(set);
    let start = day.post(EIGHT, "bay-1", &["ana"], started("rinse"));
    day.post(EIGHT + 5, "bay-1", &["ana"], finished("rinse"));
    assert_eq!(day.notices(start), []);
    day.strike(set_id);
    assert_eq!(
        day.notices(start),
        [Notice::UnknownCode {
            what: What::Stage,
            code: "rinse".into()
        }]
    );
}
