//! What a quote is asked for: the flags of a new one, and those that change
//! an old one.

use baywright_proto::amount::panel_from_wire;
use baywright_proto::v1;
use baywright_terms::catalogue::Panel;
use baywright_terms::code::Code;
use baywright_terms::surface::{Covered, FinishRules, Subject, by_finish, rules_for_vehicle};
use clap::{Args, ValueEnum};

use super::NewArgs;
use crate::commands::joined;
use crate::commands::open::panel;
use crate::context::Context;
use crate::error::Error;
use crate::resolve;

/// Yes or no, said as a word.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(super) enum Seen {
    Yes,
    No,
}

/// The condition of a vehicle.
#[derive(Debug, Clone, Default, Args)]
pub(super) struct GradeArgs {
    /// Soiling, 1 to 5.
    #[arg(long, value_name = "GRADE", value_parser = clap::value_parser!(u32).range(1..=5))]
    soil: Option<u32>,
    /// Defects of the paint, 1 to 5.
    #[arg(long, value_name = "GRADE", value_parser = clap::value_parser!(u32).range(1..=5))]
    defects: Option<u32>,
    /// Nooks, trim and mixed finishes, 1 to 5.
    #[arg(long, value_name = "GRADE", value_parser = clap::value_parser!(u32).range(1..=5))]
    intricacy: Option<u32>,
}

impl GradeArgs {
    /// The grades over those given before; `None` where nothing is graded.
    pub(super) fn over(&self, before: Option<&v1::Grades>) -> Option<v1::Grades> {
        let before = before.copied().unwrap_or_default();
        let grades = v1::Grades {
            soil: self.soil.unwrap_or(before.soil),
            defects: self.defects.unwrap_or(before.defects),
            intricacy: self.intricacy.unwrap_or(before.intricacy),
        };
        (grades != v1::Grades::default()).then_some(grades)
    }
}

/// What can be said of a job beside its type and vehicle.
#[derive(Debug, Clone, Default, Args)]
pub(super) struct AskedArgs {
    #[command(flatten)]
    grades: GradeArgs,
    /// Vehicle class, where it is not that of the type.
    #[arg(long, value_name = "CLASS", conflicts_with = "like")]
    class: Option<String>,
    /// An earlier job that it is much like: its class and grades are taken.
    #[arg(long, value_name = "JOB")]
    like: Option<String>,
    /// Whether someone of the shop has seen it: yes or no.
    #[arg(long, value_name = "YES|NO", value_enum)]
    seen: Option<Seen>,
    /// A panel of this vehicle with its finish: nose=matte. Given once or
    /// more, these replace the panels of the type.
    #[arg(long = "panel", value_name = "PANEL=FINISH")]
    panels: Vec<String>,
    /// A stage of the type that is not wanted.
    #[arg(long, value_name = "STAGE")]
    without: Vec<String>,
    /// A stage beside those of the type.
    #[arg(long = "with", value_name = "STAGE")]
    with_stages: Vec<String>,
    /// Whom it is for, in your own words.
    #[arg(long = "for", value_name = "CUSTOMER")]
    customer: Option<String>,
}

/// What can be changed of a quote.
#[derive(Debug, Clone, Default, Args)]
pub(super) struct Changes {
    #[command(flatten)]
    asked: AskedArgs,
    /// Another job type.
    #[arg(long = "type", value_name = "TYPE")]
    job_type: Option<String>,
    /// The vehicle in other words.
    #[arg(long, value_name = "WORDS")]
    vehicle: Option<String>,
}

/// What a new quote is asked for.
pub(super) fn of_new(context: &Context, args: &NewArgs) -> Result<v1::QuoteAsked, Error> {
    let start = v1::QuoteAsked {
        job_type: resolve::job_type(context, &args.job_type)?,
        vehicle: joined(&args.vehicle),
        ..v1::QuoteAsked::default()
    };
    args.asked.over(context, start)
}

/// The changed fields over those asked before.
pub(super) fn of_revision(
    context: &Context,
    changes: &Changes,
    before: &v1::QuoteAsked,
) -> Result<v1::QuoteAsked, Error> {
    let mut asked = before.clone();
    if let Some(typed) = &changes.job_type {
        asked.job_type = resolve::job_type(context, typed)?;
        // What the old type filled in does not hold for another.
        asked.vehicle_class.clear();
        asked.panels.clear();
    }
    if changes.asked.like.is_some() {
        // Class and grades are the other job's, where they are not said.
        asked.vehicle_class.clear();
        asked.grades = None;
    }
    if let Some(words) = &changes.vehicle {
        words.trim().clone_into(&mut asked.vehicle);
    }
    changes.asked.over(context, asked)
}

impl AskedArgs {
    fn over(&self, context: &Context, mut asked: v1::QuoteAsked) -> Result<v1::QuoteAsked, Error> {
        asked.grades = self.grades.over(asked.grades.as_ref());
        if let Some(class) = &self.class {
            class.trim().clone_into(&mut asked.vehicle_class);
        }
        if let Some(like) = &self.like {
            asked.like_job_number = job_number(like)?;
        }
        if let Some(seen) = self.seen {
            asked.unseen = seen == Seen::No;
        }
        if !self.panels.is_empty() {
            let panels = self.panels.iter().map(|typed| panel(typed));
            asked.panels = panels.collect::<Result<_, _>>()?;
        }
        for typed in &self.without {
            let stage = resolve::stage(context, typed)?;
            turn(stage, &mut asked.with_stages, &mut asked.without_stages);
        }
        for typed in &self.with_stages {
            let stage = resolve::stage(context, typed)?;
            turn(stage, &mut asked.without_stages, &mut asked.with_stages);
        }
        if let Some(customer) = &self.customer {
            customer.trim().clone_into(&mut asked.customer);
        }
        Ok(asked)
    }
}

/// Takes a stage back where the opposite was asked before, else asks for it.
fn turn(stage: String, opposite: &mut Vec<String>, list: &mut Vec<String>) {
    let before = opposite.len();
    opposite.retain(|code| *code != stage);
    if opposite.len() == before && !list.contains(&stage) {
        list.push(stage);
    }
}

/// A job by its number: one that waits on a bay has nothing to be like.
fn job_number(typed: &str) -> Result<u64, Error> {
    let digits = typed.trim().trim_start_matches('#');
    match digits.parse() {
        Ok(number) if number > 0 => Ok(number),
        _ => Err(
            Error::usage(format!("`{typed}` is not the number of a job."))
                .with_hint("`bay week` shows jobs by number: --like 118"),
        ),
    }
}

/// What this vehicle must not get, by finish; none where the catalogue is not
/// here.
pub(super) fn cautions(context: &Context, asked: &v1::QuoteAsked) -> Vec<String> {
    let Some(held) = context.catalogue_or_ask() else {
        return Vec::new();
    };
    let job_type = held.catalogue.job_types.get(asked.job_type.as_str());
    let own: Vec<Panel> = asked.panels.iter().map(panel_from_wire).collect();
    let panels = match job_type {
        Some(job_type) if own.is_empty() => job_type.panels.clone(),
        _ => own,
    };
    let mut rules = rules_for_vehicle(&held.catalogue, job_type, &panels, &Covered::default());
    rules.retain(|rule| {
        let left_out = rule.subject == Subject::Stage
            && asked
                .without_stages
                .iter()
                .any(|code| rule.what.as_str() == code);
        !left_out
    });
    let by_finish = by_finish(&rules);
    let with_nevers = by_finish.iter().filter(|of| !of.nevers.is_empty());
    with_nevers.map(never).collect()
}

/// In the words the daemon uses: `Never on leather (seat): decon, iron-remover.`
fn never(of: &FinishRules) -> String {
    let codes = |codes: &[Code]| {
        let codes: Vec<&str> = codes.iter().map(Code::as_str).collect();
        codes.join(", ")
    };
    format!(
        "Never on {} ({}): {}.",
        of.finish,
        codes(&of.panels),
        codes(&of.nevers)
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stage_asked_for_and_then_not_is_as_if_nobody_had_asked() {
        let (mut with, mut without) = (Vec::new(), vec!["mask".to_owned()]);
        turn("mask".to_owned(), &mut without, &mut with);
        assert!(with.is_empty() && without.is_empty());
        turn("mask".to_owned(), &mut without, &mut with);
        turn("mask".to_owned(), &mut without, &mut with);
        assert_eq!((with.len(), without.len()), (1, 0));
    }

    #[test]
    fn grades_that_are_not_said_stay_and_none_at_all_is_not_graded() {
        let before = v1::Grades {
            soil: 2,
            defects: 4,
            intricacy: 0,
        };
        let args = GradeArgs {
            soil: Some(5),
            ..GradeArgs::default()
        };
        let grades = args.over(Some(&before)).unwrap();
        assert_eq!((grades.soil, grades.defects, grades.intricacy), (5, 4, 0));
        assert_eq!(GradeArgs::default().over(None), None);
    }

    #[test]
    fn a_job_is_likened_by_its_number() {
        assert_eq!(job_number("#118").unwrap(), 118);
        for typed in ["b2-7", "0", ""] {
            assert!(job_number(typed).unwrap_err().hint().is_some(), "{typed}");
        }
    }
}
