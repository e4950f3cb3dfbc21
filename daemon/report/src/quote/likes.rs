//! The earlier jobs that are most like one.

use baywright_floor::fact::Grades;
use baywright_terms::code::Code;

use super::learn::centred;
use super::records::JobRecord;
use crate::figures::Like;

/// Jobs that are shown.
const SHOWN: usize = 3;

/// Distances: another type weighs as much as four grades, another class as two.
const OTHER_TYPE: f64 = 4.0;
const OTHER_CLASS: f64 = 2.0;

/// The jobs nearest in type, class and grades, the latest among equals; none of
/// another type and another class.
pub(crate) fn likes(
    records: &[JobRecord],
    job_type: &Code,
    class: &Code,
    grades: Grades,
) -> Vec<Like> {
    let distance = |record: &JobRecord| {
        let other_type = record.job_type != *job_type;
        let other_class = record.vehicle_class != *class;
        let apart = |a: u8, b: u8| (centred(a) - centred(b)).abs();
        let by_grades = apart(record.grades.soil, grades.soil)
            + apart(record.grades.defects, grades.defects)
            + apart(record.grades.intricacy, grades.intricacy);
        let of = |other: bool, weight: f64| if other { weight } else { 0.0 };
        let sum = of(other_type, OTHER_TYPE) + of(other_class, OTHER_CLASS) + by_grades;
        (!(other_type && other_class)).then_some(sum)
    };
    let mut near: Vec<(f64, &JobRecord)> = records
        .iter()
        .filter_map(|record| Some((distance(record)?, record)))
        .collect();
    near.sort_by(|a, b| {
        let newer = b.1.released.cmp(&a.1.released);
        a.0.total_cmp(&b.0)
            .then(newer)
            .then(a.1.past.cmp(&b.1.past))
    });
    let like = |(_, record): (f64, &JobRecord)| Like {
        number: record.number,
        vehicle: record.vehicle.clone(),
        job_type: record.job_type.clone(),
        grades: record.grades,
        hands_on_us: record.labour_us,
        released: record.released,
    };
    near.into_iter().take(SHOWN).map(like).collect()
}
