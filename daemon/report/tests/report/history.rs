//! Weeks of history as points of a line.

use baywright_report::figures::{RatioSpread, WeekPoint};
use baywright_report::{Asked, week_in, window};

use crate::made::{Made, at, bay, code, hours, job_type, shop, zone};

/// Three weeks of jobs quoted five hours each, ending 2026-W48.
fn three_weeks() -> Made {
    let mut catalogue = shop();
    catalogue.bays.insert(code("bay-1"), bay(1));
    let stages = [("decon", hours(1)), ("polish", hours(4))];
    let types = &mut catalogue.job_types;
    types.insert(code("trike-coat"), job_type(&stages, &[]));
    let mut made = Made::new(catalogue);
    let mut n = 0;
    for (day, worked) in [
        ("2026-11-10", &[5][..]),
        ("2026-11-18", &[]),
        ("2026-11-24", &[4, 5, 6, 8]),
    ] {
        for hours_worked in worked {
            n += 1;
            let from = at(&format!("{day}T08:00"));
            let us = hours(*hours_worked);
            made.open(n, "trike-coat", &format!("{day}T08:00"));
            made.stay(n, "bay-1", from, Some(from.saturating_add(us)));
            made.work(n, "polish", from, us);
            made.release(n, &format!("{day}T18:00"));
        }
    }
    made
}

fn points(made: &Made, week: &str, history_weeks: u32) -> Vec<WeekPoint> {
    let asked = Asked {
        week,
        history_weeks,
        ..Asked::default()
    };
    let window = window(&asked, &zone(), made.as_of, None).unwrap();
    week_in(&made.input(), &window).history
}

#[test]
fn each_week_is_as_its_own_report_would_have_it() {
    let made = three_weeks();
    let points = points(&made, "2026-W48", 3);
    let names: Vec<&str> = points.iter().map(|p| p.week.as_str()).collect();
    assert_eq!(names, ["2026-W46", "2026-W47", "2026-W48"]);
    for (point, monday) in points
        .iter()
        .zip(["2026-11-09", "2026-11-16", "2026-11-23"])
    {
        let own = made.week(monday);
        assert_eq!(point.from, own.from);
        assert_eq!(point.jobs, own.money.jobs);
        assert_eq!(
            point.actual_us,
            own.jobs.iter().map(|j| j.actual_us).sum::<i64>()
        );
        assert_eq!(point.utilisation_permille, own.bays[0].utilisation_permille);
        assert_eq!(point.contribution_minor, own.money.contribution_minor);
    }
    assert_eq!(points[0].actual_us, hours(5));
    assert_eq!(points[2].quoted_us, hours(20));
}

#[test]
fn ratios_are_quantiles_of_type_eight_over_the_jobs() {
    let points = points(&three_weeks(), "2026-W48", 3);
    let ratio = |p20, half, p80| Some(RatioSpread { p20, half, p80 });
    assert_eq!(points[0].ratio_permille, ratio(1000, 1000, 1000));
    assert_eq!(points[1].ratio_permille, None);
    // 800, 1000, 1200 and 1600 thousandths: places 1.2, 2.5 and 3.8 by
    // (n + 1/3)·p + 1/3.
    assert_eq!(points[2].ratio_permille, ratio(840, 1100, 1520));
}

#[test]
fn history_changes_nothing_of_the_week_itself() {
    let made = three_weeks();
    let asked = Asked {
        week: "2026-W48",
        history_weeks: 12,
        ..Asked::default()
    };
    let window = window(&asked, &zone(), made.as_of, None).unwrap();
    let mut with = week_in(&made.input(), &window);
    assert_eq!(with.history.len(), 12);
    with.history.clear();
    let mut without = made.week("2026-11-23");
    without.week.clone_from(&with.week);
    assert_eq!(with, without);
}
