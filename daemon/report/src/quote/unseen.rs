//! A vehicle that nobody has seen: which grades it may turn out to have.

use baywright_floor::fact::Grades;

use super::learn::{GradeCounts, centred};

/// A grade that was told on the phone may be one off, as jobs of so many.
const TOLD_OFF: [(i8, f64); 3] = [(-1, 1.0), (0, 2.0), (1, 1.0)];

/// How vehicles come in, grades 1 to 5, where nothing else is known (common
/// practice: most are the usual one, the ends are rare), worth five jobs.
const COME_IN: [f64; 5] = [0.5, 1.0, 2.0, 1.0, 0.5];

/// Steps of a sequence that fills the cube of three grades evenly: inverse powers
/// of the root of `x⁴ = x + 1`. Draws come in the order of the posterior's points,
/// so that every run of them has to see all grades.
const STEPS: [f64; 3] = [
    0.819_172_513_396_164_5,
    0.671_043_606_703_789_3,
    0.549_700_477_901_970_3,
];

/// Chances of each grade: soil, defects, intricacy.
pub(super) struct Unseen {
    given: [u8; 3],
    chances: [[f64; 5]; 3],
}

impl Unseen {
    /// Around the grades that were told; one that was not is as such jobs came in.
    pub(super) fn of(told: Grades, came_in: GradeCounts) -> Self {
        let given = [told.soil, told.defects, told.intricacy];
        let mut chances = [[0.0; 5]; 3];
        for ((chances, given), came_in) in chances.iter_mut().zip(given).zip(came_in) {
            *chances = if given == 0 {
                let mut of = COME_IN;
                for (chance, jobs) in of.iter_mut().zip(&came_in[1..]) {
                    *chance += f64::from(*jobs);
                }
                of
            } else {
                around(given)
            };
            let sum: f64 = chances.iter().sum();
            for chance in chances {
                *chance /= sum;
            }
        }
        Self { given, chances }
    }

    /// How far each draw moves along each grade, given the draws of its slope.
    pub(super) fn moved(&self, slopes: [&[f64]; 3]) -> [Vec<f64>; 3] {
        [0, 1, 2].map(|at| {
            let mut place = 0.5;
            let off = |slope: &f64| {
                place = (place + STEPS[at]) % 1.0;
                let grade = pick(&self.chances[at], place);
                slope * (centred(grade) - centred(self.given[at]))
            };
            slopes[at].iter().map(off).collect()
        })
    }
}

fn around(grade: u8) -> [f64; 5] {
    let mut chances = [0.0; 5];
    for (off, share) in TOLD_OFF {
        let grade = grade.saturating_add_signed(off).clamp(1, 5);
        chances[usize::from(grade) - 1] += share;
    }
    chances
}

/// The grade at a place between 0 and 1.
fn pick(chances: &[f64; 5], place: f64) -> u8 {
    let mut sum = 0.0;
    for (grade, chance) in (1..).zip(chances) {
        sum += chance;
        if place < sum {
            return grade;
        }
    }
    5
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_ungraded_vehicle_is_as_such_jobs_came_in_and_a_told_grade_may_be_one_off() {
        let mut came_in = GradeCounts::default();
        came_in[0] = [9, 0, 0, 0, 0, 45];
        let told = Grades {
            soil: 0,
            defects: 2,
            intricacy: 5,
        };
        let unseen = Unseen::of(told, came_in);
        let slope = vec![1.0; 20_000];
        let [soil, defects, intricacy] = unseen.moved([&slope, &slope, &slope]);
        let share = |of: &[f64], value: f64| {
            let held = of.iter().filter(|v| (**v - value).abs() < 1e-9).count();
            f64::from(u32::try_from(held).unwrap()) / 20_000.0
        };
        // (45 + 0.5) of 50 came in at grade 5, two above the usual.
        assert!((share(&soil, 2.0) - 0.91).abs() < 0.001);
        assert!((share(&soil, -2.0) - 0.01).abs() < 0.001);
        assert!((share(&defects, -1.0) - 0.25).abs() < 0.001);
        assert!((share(&defects, 0.0) - 0.5).abs() < 0.001);
        assert!((share(&intricacy, 0.0) - 0.75).abs() < 0.001);
        // Grades are told apart: each pair comes as often as chance has it.
        let both = defects.iter().zip(&intricacy);
        let both = both.filter(|(d, i)| **d > 0.5 && **i < -0.5).count();
        assert!((f64::from(u32::try_from(both).unwrap()) / 20_000.0 - 0.0625).abs() < 0.002);
    }
}
