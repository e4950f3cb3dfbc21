use super::*;
use crate::catalogue::{Source, file};
use crate::time::MINUTE_US;

#[test]
fn defaults_answer_every_question() {
    for question in questions() {
        answer(&mut Answers::default(), question.key, "").unwrap();
    }
    let defaults = Answers::default();
    assert_eq!(defaults.bays.len(), 3);
    assert_eq!(defaults.classes, ["hatch", "saloon", "suv"]);
    assert_eq!(defaults.open.len(), 5);
}

#[test]
fn what_begin_builds_is_a_file_that_reads_back() {
    let mut answers = Answers::default();
    let all: Vec<&str> = CLASSES.iter().map(|c| c.code).collect();
    answer(&mut answers, "classes", &all.join(",")).unwrap();
    let all: Vec<&str> = SERVICES.iter().map(|c| c.code).collect();
    answer(&mut answers, "services", &all.join(",")).unwrap();
    let built = build(&answers);
    assert_eq!(built.job_types.len(), CLASSES.len() * SERVICES.len());
    let text = file::write(&built);
    let read = file::read(&text).unwrap_or_else(|faults| {
        let faults: Vec<String> = faults.iter().map(ToString::to_string).collect();
        panic!("{}\n{text}", faults.join("\n"))
    });
    assert_eq!(read, built);
}

/// Hours of a whole job, worked by hand from the trade table (no correction,
/// one step, two steps); lamp time is left out here because no service sells it.
///
/// Source: common practice.
#[test]
fn the_minutes_of_a_class_add_up_to_the_trades_totals() {
    let all = [
        Step::Intake,
        Step::Mask,
        Step::Wheels,
        Step::Prewash,
        Step::Alkaline,
        Step::Wash,
        Step::Dry,
        Step::WaterSpot,
        Step::Tar,
        Step::Iron,
        Step::Clay,
        Step::DryAgain,
        Step::Measure,
        Step::Metal,
        Step::WipeDown,
        Step::Coat,
        Step::CoatTrim,
        Step::Inspect,
        Step::HandOver,
    ];
    // Class, printed total without correction in tenths of an hour, attended
    // lamp minutes contained in it.
    for (class, printed_tenth_h, lamp_min) in [
        ("motorcycle", 69, 15),
        ("trike", 101, 20),
        ("hatch", 62, 20),
        ("saloon", 77, 25),
        ("suv", 92, 30),
        ("truck", 126, 40),
        ("boat", 107, 0),
        ("tractor", 117, 0),
    ] {
        let found = CLASSES.iter().find(|c| c.code == class).unwrap();
        let minutes = found.minutes(&all) + lamp_min;
        assert!(
            minutes.abs_diff(printed_tenth_h * 6) <= 6,
            "{class}: {minutes} min against {printed_tenth_h} tenths of an hour"
        );
    }
}

#[test]
fn every_class_with_every_service_reads_back() {
    for class in &CLASSES {
        for service in &SERVICES {
            let mut answers = Answers::default();
            answer(&mut answers, "classes", class.code).unwrap();
            answer(&mut answers, "services", service.code).unwrap();
            answer(&mut answers, "coating", "Ceramic 5").unwrap();
            answer(&mut answers, "level", "3m to 5m").unwrap();
            let built = build(&answers);
            let read = file::read(&file::write(&built)).unwrap();
            assert_eq!(read, built, "{} {}", class.code, service.code);
            for job_type in built.job_types.values() {
                assert!(!job_type.stages.is_empty() && !job_type.panels.is_empty());
                let painted: u32 = job_type.panels.iter().filter_map(|p| p.area_cm2).sum();
                assert!(
                    painted.abs_diff(class.painted_cm2) <= class.painted_cm2 / 50,
                    "{}: {painted}",
                    class.code
                );
            }
        }
    }
}

#[test]
fn label_times_of_the_coating_are_marked_as_such() {
    let mut answers = Answers::default();
    let coating = |answers: &Answers| build(answers).products[&Code::new("ceramic-5")].clone();
    answer(&mut answers, "coating", "Ceramic 5").unwrap();
    assert_eq!(coating(&answers).source, Source::Trade);
    assert_eq!(coating(&answers).level_from_us, None);
    answer(&mut answers, "level", "3m to 5m").unwrap();
    assert_eq!(coating(&answers).source, Source::Label);
    assert_eq!(coating(&answers).level_until_us, Some(5 * MINUTE_US));
    let other = &build(&answers).products[&Code::new("iron-remover")];
    assert_eq!((other.level_from_us, other.water_safe_us), (None, None));
}

#[test]
fn a_coating_cannot_take_the_code_of_another_product() {
    let mut answers = Answers::default();
    answer(&mut answers, "coating", "Iron remover").unwrap();
    assert!(build(&answers).products.contains_key(&Code::new("coating")));
}

#[test]
fn odd_answers_say_how_to_write_them() {
    for (key, typed, part) in [
        ("zone", "Lisbon time", "IANA"),
        ("currency", "euros", "ISO 4217"),
        ("units", "both", "metric"),
        ("open", "always", "08:00"),
        ("open", "mon 08:00-12:00; mon 11:00-13:00", "overlap"),
        ("bays", "0", "From 1"),
        ("bays", "400", "From 1"),
        ("bays", "away", "cannot be"),
        ("bays", "a,a", "twice"),
        ("workers", "Ana, ana", "twice"),
        ("workers", " , ", "At least one"),
        ("classes", "salon", "did you mean saloon?"),
        ("services", "valet", "no service"),
        ("level", "soon", "span of time"),
        ("cure", "24h", "comma"),
        ("cure", "7d, 24h", "comes before"),
        ("cure", "1d, 200d", "at most"),
        ("name", "a\tb", "plain characters"),
        ("colour", "red", "no question"),
    ] {
        let before = Answers::default();
        let mut answers = before.clone();
        let why = answer(&mut answers, key, typed).unwrap_err();
        assert!(why.contains(part), "{key} {typed}: {why}");
        assert_eq!(answers, before, "{key} {typed}");
    }
}

#[test]
fn workers_and_bays_get_codes_to_type() {
    let mut answers = Answers::default();
    answer(&mut answers, "workers", "Ana Maria, Ben").unwrap();
    answer(&mut answers, "bays", "Wash, coat-2").unwrap();
    let built = build(&answers);
    let workers: Vec<&str> = built.workers.keys().map(Code::as_str).collect();
    assert_eq!(workers, ["ana-maria", "ben"]);
    let bays: Vec<&str> = built.bays.keys().map(Code::as_str).collect();
    assert_eq!(bays, ["coat-2", "wash"]);
}
