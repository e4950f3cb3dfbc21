//! What a notice is called, how much it matters, how it reads, and what the
//! owner can do about it.

use baywright_terms::amount::format_volume;
use baywright_terms::code::Code;
use baywright_terms::time::SECOND_US;

use crate::notice::{AirWhy, Notice, Severity, What};

use super::{Context, length, list, who};

/// Stable code of a notice: lower case with hyphens.
pub fn code(notice: &Notice) -> &'static str {
    match notice {
        Notice::EndedElsewhere { .. } => "ended-elsewhere",
        Notice::BayOverfull { .. } => "bay-overfull",
        Notice::NoJobHere { .. } => "no-job-here",
        Notice::UnknownJobNumber { .. } => "unknown-job-number",
        Notice::UnknownCode { .. } => "unknown-code",
        Notice::Unclosed { .. } => "unclosed",
        Notice::BreakCrossed { .. } => "break-crossed",
        Notice::Undeclared { .. } => "undeclared",
        Notice::NothingToEnd { .. } => "nothing-to-end",
        Notice::NothingToResume { .. } => "nothing-to-resume",
        Notice::LevelledThat { .. } => "levelled-that",
        Notice::NothingToLevel { .. } => "nothing-to-level",
        Notice::NoMix { .. } => "no-mix",
        Notice::MixOverdrawn { .. } => "mix-overdrawn",
        Notice::JobNotOpen { .. } => "job-not-open",
        Notice::ClockOffset { .. } => "clock-offset",
        Notice::ClockUnsure { .. } => "clock-unsure",
        Notice::TimeUnsure => "time-unsure",
        Notice::InFuture { .. } => "in-future",
        Notice::DwellTooLong { .. } => "dwell-too-long",
        Notice::DwellTooShort { .. } => "dwell-too-short",
        Notice::SurfaceNever { .. } => "surface-never",
        Notice::FinishNevers { .. } => "finish-nevers",
        Notice::SurfaceCare { .. } => "surface-care",
        Notice::AgainstRule { .. } => "against-rule",
        Notice::Caution { .. } => "caution",
        Notice::AirUnfit { .. } => "air-unfit",
        Notice::StillWet { .. } => "still-wet",
        Notice::StillRunning { .. } => "still-running",
        Notice::StrikeUnknown => "strike-unknown",
        Notice::SettledUnknown => "settled-unknown",
        Notice::UnitMismatch { .. } => "unit-mismatch",
        Notice::UnknownFact => "unknown-fact",
        Notice::FromMix { .. } => "from-mix",
        Notice::MixReplaced { .. } => "mix-replaced",
        Notice::SetAside { .. } => "set-aside",
    }
}

/// How much a notice matters.
pub fn severity(notice: &Notice) -> Severity {
    match notice {
        Notice::EndedElsewhere { .. }
        | Notice::NothingToEnd { .. }
        | Notice::NothingToResume { .. }
        | Notice::ClockOffset { .. }
        | Notice::TimeUnsure
        | Notice::DwellTooShort { .. }
        | Notice::StillRunning { .. }
        | Notice::StrikeUnknown
        | Notice::SettledUnknown
        | Notice::UnknownFact
        | Notice::FromMix { .. }
        | Notice::LevelledThat { .. }
        | Notice::MixReplaced { .. } => Severity::Say,
        Notice::SurfaceNever { .. }
        | Notice::FinishNevers { .. }
        | Notice::SurfaceCare { .. }
        | Notice::Caution { .. }
        | Notice::AirUnfit { .. }
        | Notice::DwellTooLong { .. }
        | Notice::StillWet { .. } => Severity::Caution,
        Notice::BayOverfull { .. }
        | Notice::NoJobHere { .. }
        | Notice::UnknownJobNumber { .. }
        | Notice::UnknownCode { .. }
        | Notice::Unclosed { .. }
        | Notice::BreakCrossed { .. }
        | Notice::Undeclared { .. }
        | Notice::NothingToLevel { .. }
        | Notice::NoMix { .. }
        | Notice::MixOverdrawn { .. }
        | Notice::JobNotOpen { .. }
        | Notice::ClockUnsure { .. }
        | Notice::InFuture { .. }
        | Notice::AgainstRule { .. }
        | Notice::UnitMismatch { .. }
        | Notice::SetAside { .. } => Severity::Odd,
    }
}

/// To the nearest second: a post on its way for some milliseconds must not
/// make seven minutes six.
fn to_second(us: i64) -> i64 {
    let half = SECOND_US / 2 * us.signum();
    us.saturating_add(half) / SECOND_US * SECOND_US
}

/// The notice as a sentence.
pub fn sentence(notice: &Notice, context: &Context<'_>) -> String {
    match notice {
        Notice::EndedElsewhere {
            worker,
            stage,
            job,
            bay,
            worked_us,
        } => format!(
            "{} left {stage} of {} in {bay} after {}: that ended with this.",
            capital(&who(worker)),
            context.job(*job),
            length(*worked_us)
        ),
        Notice::BayOverfull { bay, jobs } => {
            let jobs: Vec<String> = jobs.iter().map(|job| context.job(*job)).collect();
            format!("{bay} has more jobs than places: {}.", jobs.join("; "))
        }
        Notice::NoJobHere { bay } if bay.is_empty() => {
            "Neither bay nor job was named; kept without a job.".to_owned()
        }
        Notice::NoJobHere { bay } => format!("No job was in {bay} then; kept without a job."),
        Notice::UnknownJobNumber { number } => {
            format!("No job had the number {number} then; kept without a job.")
        }
        Notice::UnknownCode { what, code } => {
            format!(
                "{} `{code}` is not in the catalogue; kept as it is.",
                of_what(*what)
            )
        }
        Notice::Unclosed {
            stage,
            worker,
            cut_at,
        } => format!(
            "Nothing ended {stage} by {} before the next opening: cut at {}.",
            who(worker),
            context.time(*cut_at)
        ),
        Notice::BreakCrossed {
            stage,
            worker,
            from,
            until,
        } => format!(
            "{} by {} ran across the break from {} to {}; nothing was deducted.",
            capital(stage.as_str()),
            who(worker),
            context.time(*from),
            super::clock_time(*until, context.zone)
        ),
        Notice::Undeclared { stages } => format!(
            "Released with no record of {}; nobody said whether it was done.",
            list(stages)
        ),
        Notice::NothingToEnd { stage } => nothing("was running", stage),
        Notice::NothingToResume { stage } => nothing("had been laid aside", stage),
        Notice::LevelledThat {
            panel,
            section,
            after_us,
        } => {
            let section = if *section > 1 {
                format!(", section {section}")
            } else {
                String::new()
            };
            format!(
                "That was {panel}{section}, {} after it was spread.",
                baywright_terms::time::format_min_sec(*after_us)
            )
        }
        Notice::NothingToLevel { panel } if panel.is_empty() => {
            "No section waits to be levelled on this job.".to_owned()
        }
        Notice::NothingToLevel { panel } => {
            format!("No section of {panel} waits to be levelled on this job.")
        }
        Notice::JobNotOpen { job } => format!(
            "{} is not open: released before, or not opened.",
            capital(&context.job(*job))
        ),
        _ => other_sentence(notice, context),
    }
}

fn other_sentence(notice: &Notice, context: &Context<'_>) -> String {
    match notice {
        Notice::NoMix { product } => format!("No mix of {product} is live in this bay."),
        Notice::MixOverdrawn { product } => {
            format!("More was taken of the mix of {product} than it held; kept as said.")
        }
        Notice::FromMix { product } => {
            format!("Taken from the mix of {product} in this bay; say --neat where it was not.")
        }
        Notice::MixReplaced { product, rest } => format!(
            "The last mix of {product} here still held {}: counted as waste.",
            format_volume(*rest)
        ),
        Notice::ClockOffset { offset_us } => format!(
            "This device's clock is {} {}; the time was corrected.",
            length(to_second(*offset_us)),
            ahead_or_behind(*offset_us)
        ),
        Notice::ClockUnsure { offset_us } => format!(
            "This device's clock is {} {} and had been started anew: its time is a guess.",
            length(to_second(*offset_us)),
            ahead_or_behind(*offset_us)
        ),
        Notice::TimeUnsure => {
            "The time rests on the device's wall clock alone: it is not sure.".to_owned()
        }
        Notice::InFuture { ahead_us } => {
            format!("It is {} in the future.", length(*ahead_us))
        }
        Notice::DwellTooLong { product, over_us } => format!(
            "{} was on for {} longer than its longest dwell: check the surface.",
            capital(product.as_str()),
            length(*over_us)
        ),
        Notice::DwellTooShort { product, under_us } => format!(
            "{} was on for {} less than its shortest dwell.",
            capital(product.as_str()),
            length(*under_us)
        ),
        Notice::SurfaceNever { what, finishes } => {
            let parts: Vec<String> = finishes
                .iter()
                .map(|(finish, why)| format!("on {finish}: {why}"))
                .collect();
            format!("Never {what} {}.", parts.join("; "))
        }
        // Why is said when a step is about to begin; this list has to fit a screen.
        Notice::FinishNevers {
            finish,
            panels,
            nevers,
            ..
        } => format!("Never on {finish} ({}): {}.", list(panels), list(nevers)),
        Notice::SurfaceCare { what, finish, why } => {
            format!("Care with {what} on {finish}: {why}.")
        }
        Notice::AgainstRule {
            what,
            panel,
            finish,
            why,
        } => format!(
            "{} on {panel}, which is {finish}: never, {why}.",
            capital(what.as_str())
        ),
        Notice::Caution { what, text, sds } => caution(what, text, sds),
        Notice::AirUnfit { product, why } => air(product, *why),
        Notice::StillWet { until } => format!(
            "Not water-safe before {}: it must stay dry until then.",
            context.time(*until)
        ),
        Notice::StillRunning { stages } => {
            format!(
                "{} was still running and ended with the release.",
                capital(&list(stages))
            )
        }
        Notice::StrikeUnknown => {
            "The event to strike is not in the log yet; it is struck when it comes.".to_owned()
        }
        Notice::SettledUnknown => {
            "The event to settle is not in the log yet; it is settled when it comes.".to_owned()
        }
        Notice::UnitMismatch { product } => format!(
            "The amount of {product} is in a unit that cannot be set against its mix; kept as said."
        ),
        Notice::UnknownFact => {
            "A kind of fact that this release does not know; kept in the log.".to_owned()
        }
        Notice::SetAside { text } => format!("A post of this device could not be read; {text}"),
        // The others are worded in `sentence`.
        _ => code(notice).replace('-', " "),
    }
}

fn nothing(was: &str, stage: &Code) -> String {
    if stage.is_empty() {
        format!("Nothing {was}.")
    } else {
        format!("No {stage} {was}.")
    }
}

fn caution(what: &Code, text: &str, sds: &str) -> String {
    let text = text.trim_end_matches('.');
    if sds.is_empty() {
        format!("Caution with {what}: {text}. Follow its safety data sheet and local codes.")
    } else {
        format!(
            "Caution with {what}: {text}. Follow its safety data sheet ({sds}) and local codes."
        )
    }
}

/// Why air did not fit a product, as a sentence.
pub fn air(product: &Code, why: AirWhy) -> String {
    match why {
        AirWhy::DewMargin { margin_milli_c } => format!(
            "The surface is {} °C above the dew point; coating wants 3.0 °C at least.",
            tenths(margin_milli_c)
        ),
        AirWhy::TooCold {
            surface_milli_c,
            lowest_milli_c,
        } => format!(
            "The surface is {} °C; {product} wants {} °C at least.",
            tenths(surface_milli_c),
            tenths(lowest_milli_c)
        ),
        AirWhy::TooWarm {
            surface_milli_c,
            highest_milli_c,
        } => format!(
            "The surface is {} °C; {product} wants {} °C at most.",
            tenths(surface_milli_c),
            tenths(highest_milli_c)
        ),
    }
}

/// Thousandths as a decimal with one digit, cut towards zero.
fn tenths(milli: i32) -> String {
    let sign = if milli <= -100 { "-" } else { "" };
    let tenths = milli.unsigned_abs() / 100;
    format!("{sign}{}.{}", tenths / 10, tenths % 10)
}

fn of_what(what: What) -> &'static str {
    match what {
        What::Bay => "Bay",
        What::Worker => "Worker",
        What::Product => "Product",
        What::Stage => "Stage",
        What::JobType => "Job type",
        What::Panel => "Panel",
        What::Place => "Place",
    }
}

fn ahead_or_behind(offset_us: i64) -> &'static str {
    if offset_us < 0 { "behind" } else { "ahead" }
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(letters).collect()
    })
}

/// What `bay settle SEQ` can answer; `None` where there is nothing to settle.
pub fn settle_hint(notice: &Notice) -> Option<&'static str> {
    if severity(notice) != Severity::Odd {
        return None;
    }
    Some(match notice {
        Notice::Unclosed { .. } => "--end TIME, --took TIME, --as-is or --leave-out",
        Notice::BreakCrossed { .. } => {
            "--as-is where they worked through, else --took TIME or --end TIME"
        }
        Notice::NoJobHere { .. } | Notice::UnknownJobNumber { .. } | Notice::JobNotOpen { .. } => {
            "--job NUMBER, --as-is or --leave-out"
        }
        Notice::UnknownCode { .. } => "--code CODE, or --as-is",
        Notice::Undeclared { .. } => "--as-is, or declare the stages",
        Notice::ClockUnsure { .. } | Notice::InFuture { .. } => {
            "--as-is, or strike it and post it again with its time"
        }
        Notice::MixOverdrawn { .. } | Notice::NoMix { .. } | Notice::UnitMismatch { .. } => {
            "--as-is or --leave-out, or strike it and post it again"
        }
        _ => "--as-is, or strike it and post it again",
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use baywright_terms::time::Micros;
    use jiff::tz::TimeZone;

    fn say(notice: &Notice) -> String {
        let title = |_| Some("118 trike-coat, red three-wheeler".to_owned());
        let zone = TimeZone::UTC;
        sentence(
            notice,
            &Context {
                job_title: &title,
                zone: &zone,
            },
        )
    }

    #[test]
    fn what_ended_elsewhere_is_said_with_job_bay_and_time() {
        let notice = Notice::EndedElsewhere {
            worker: "ana".into(),
            stage: "polish".into(),
            job: crate::event::EventId([1; 16]),
            bay: "bay-2".into(),
            worked_us: 3_900_000_000,
        };
        assert_eq!(
            say(&notice),
            "Ana left polish of job 118 trike-coat, red three-wheeler in bay-2 after 1 h 05 min: \
             that ended with this."
        );
    }

    #[test]
    fn an_unclosed_stage_tells_where_it_was_cut_and_how_to_settle_it() {
        let notice = Notice::Unclosed {
            stage: "polish".into(),
            worker: "".into(),
            cut_at: Micros(1_764_007_200_000_000),
        };
        assert_eq!(
            say(&notice),
            "Nothing ended polish by nobody by name before the next opening: cut at 2025-11-24 18:00."
        );
        assert!(settle_hint(&notice).is_some_and(|hint| hint.contains("--end")));
    }

    #[test]
    fn a_temperature_below_zero_keeps_its_sign() {
        assert_eq!(tenths(-50), "0.0");
        assert_eq!(tenths(-2_550), "-2.5");
        assert_eq!(tenths(21_500), "21.5");
    }
}
