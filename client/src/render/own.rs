//! A worker's own figures: nobody else's, and no comparison.

use baywright_proto::v1::OwnResponse;

use super::figure::{counted, hours_minutes};
use super::table::{Column, Table};
use super::text::{clean, push};

/// The figures as text of at most `page` columns, or why there are none yet.
pub fn own(own: &OwnResponse, page: usize) -> String {
    let mut out = String::new();
    let code = clean(&own.worker);
    let name = match clean(&own.name) {
        name if name.is_empty() => code,
        name if name.to_lowercase() == code.to_lowercase() => name,
        name => format!("{name} ({code})"),
    };
    let span = clean(&own.week);
    let span = if !span.contains("-W") || span.contains(" to ") {
        span
    } else {
        format!("week {span}")
    };
    push(&mut out, &format!("{name}, {span}"), page);
    if own.jobs == 0 {
        push(&mut out, "No hands-on time on any job in it.", page);
        return out;
    }
    if own.jobs < own.jobs_needed {
        let jobs = counted(u64::from(own.jobs), "job", "jobs");
        let few = format!(
            "Hands on {jobs}. A worker's own figures are shown from {} jobs on, because \
             fewer say more about the vehicles than about the work. A longer span may \
             have them: --weeks 12",
            own.jobs_needed
        );
        push(&mut out, &few, page);
        return out;
    }
    let jobs = counted(u64::from(own.jobs), "job", "jobs");
    let said = format!("{} hands-on over {jobs}.", hours_minutes(own.hands_on_us));
    push(&mut out, &said, page);
    if own.stages.is_empty() {
        return out;
    }
    let mut table = Table::new([
        Column::text("stage"),
        Column::number("jobs"),
        Column::number("hands-on"),
        Column::number("a job"),
    ]);
    for stage in &own.stages {
        let a_job = stage.hands_on_us / i64::from(stage.jobs.max(1));
        table.row([
            stage.stage.clone(),
            stage.jobs.to_string(),
            hours_minutes(stage.hands_on_us),
            hours_minutes(a_job),
        ]);
    }
    out.push('\n');
    out.push_str(&table.render(page));
    push(
        &mut out,
        "These are one worker's own, for that worker and the owner; nobody is compared.",
        page,
    );
    out
}

#[cfg(test)]
mod tests {
    use super::super::fixture;
    use super::*;

    #[test]
    fn ones_own_figures() {
        insta::assert_snapshot!(own(&fixture::own(), 80), @"
        Ana (invented) (ana), week 2026-W48
        17:45 hands-on over 7 jobs.

        stage    jobs  hands-on  a job
        -------  ----  --------  -----
        prewash     4      2:15   0:34
        polish      6     13:10   2:12
        coat        2      2:20   1:10
        These are one worker's own, for that worker and the owner; nobody is compared.
        ");
    }

    #[test]
    fn below_five_jobs_there_is_a_sentence_and_no_figure() {
        let few = OwnResponse {
            jobs: 3,
            stages: Vec::new(),
            hands_on_us: 0,
            ..fixture::own()
        };
        insta::assert_snapshot!(own(&few, 80), @"
        Ana (invented) (ana), week 2026-W48
        Hands on 3 jobs. A worker's own figures are shown from 5 jobs on, because fewer
        say more about the vehicles than about the work. A longer span may have them:
        --weeks 12
        ");
        let none = OwnResponse { jobs: 0, ..few };
        assert!(own(&none, 80).contains("No hands-on time"));
    }
}
