use super::*;
use crate::catalogue::file;

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
