//! One sentence for each fact, for the story of a job.

use baywright_terms::code::Code;
use baywright_terms::time::Micros;

use crate::event::{Event, JobRef};
use crate::fact::{
    Answer, ContainerState, Declaration, Fact, JobOpened, LevelResult, ProductUsed, UseSource, Used,
};

use super::{Context, length, list};

/// One sentence for what an event says, without its time.
pub fn story_line(event: &Event, context: &Context<'_>) -> String {
    let said = match &event.fact {
        Fact::JobOpened(opened) => job_opened(opened, context),
        Fact::JobMoved { place } => format!("Moved to {place}"),
        Fact::JobReleased => "Released".to_owned(),
        Fact::StageStarted {
            stage,
            panels,
            rework,
        } => {
            let rework = if *rework { " again, as rework" } else { "" };
            format!("Started {stage}{rework}{}", on_panels(panels))
        }
        Fact::StagePaused {
            person: true,
            reason,
            ..
        } => format!("Went on a break{}", because(reason)),
        Fact::StagePaused { stage, reason, .. } => {
            format!("Paused {}{}", stage_or_work(stage), because(reason))
        }
        Fact::StageResumed { stage } => format!("Resumed {}", stage_or_work(stage)),
        Fact::StageFinished { stage, again } => {
            let again = if *again { ", to be done again" } else { "" };
            format!("Finished {}{again}", stage_or_work(stage))
        }
        Fact::StageDeclared { stage, declaration } => match declaration {
            Declaration::NotDone => format!("Declared: {stage} was not done"),
            Declaration::DoneAbout { about_us } => {
                format!("Declared: {stage} was done in about {}", length(*about_us))
            }
            Declaration::Unknown => format!("Declared: nobody knows about {stage}"),
        },
        Fact::DwellStarted { product, panels } => {
            format!("Left {product} to work{}", on_panels(panels))
        }
        Fact::DwellEnded { product, .. } if product.is_empty() => "Ended the dwell".to_owned(),
        Fact::DwellEnded { product, .. } => format!("Ended the dwell of {product}"),
        other => supplies_or_panels(other, context),
    };
    let by = if event.by.is_empty() {
        String::new()
    } else {
        format!(", by {}", list(&event.by))
    };
    format!("{said}{by}.")
}

fn job_opened(opened: &JobOpened, context: &Context<'_>) -> String {
    let vehicle = if opened.vehicle.is_empty() {
        String::new()
    } else {
        format!(", {}", opened.vehicle)
    };
    let comeback = match opened.comeback_of {
        Some(job) => format!(", to put right {}", job_words(job, context)),
        None => String::new(),
    };
    format!("Opened as {}{vehicle}{comeback}", opened.job_type)
}

fn job_words(job: JobRef, context: &Context<'_>) -> String {
    match job {
        JobRef::Here => "the job here".to_owned(),
        JobRef::Job(key) => context.job(key),
        JobRef::UnknownNumber(number) => format!("job {number}, which is not known"),
    }
}

fn supplies_or_panels(fact: &Fact, context: &Context<'_>) -> String {
    match fact {
        Fact::AmbientRead(read) => {
            let surface = read
                .surface
                .map_or_else(String::new, |s| format!(", surface {:.1} °C", s.to_c()));
            format!(
                "Read the air: {:.1} °C, {:.0} %{surface}",
                read.air.to_c(),
                read.humidity.to_pct()
            )
        }
        Fact::MixMade {
            product,
            ratio,
            volume,
            additions,
        } => {
            let volume = volume.map_or_else(String::new, |v| format!("{v} of "));
            let ratio = ratio.map_or_else(String::new, |r| format!(" at {r}"));
            let added = if additions.is_empty() {
                String::new()
            } else {
                format!(" with {}", list(additions.iter().map(|(code, _)| code)))
            };
            format!("Mixed {volume}{product}{ratio}{added}")
        }
        Fact::MixDumped {
            product,
            amount: dumped,
            ..
        } => match dumped {
            Some(dumped) => format!("Poured {dumped} of the mix of {product} away"),
            None => format!("Poured the rest of the mix of {product} away"),
        },
        Fact::ProductUsed(used) => used_words(used),
        Fact::ProductRefilled {
            product,
            state,
            amount: filled,
            ..
        } => {
            let filled = filled.map_or_else(String::new, |a| format!(" ({a})"));
            match state {
                ContainerState::Opened => format!("Opened a container of {product}{filled}"),
                ContainerState::Refilled => format!("Refilled {product}{filled}"),
                ContainerState::Empty => format!("A container of {product} is empty"),
            }
        }
        Fact::StockReceived { product, packs, .. } => {
            format!("Received {packs} packs of {product}")
        }
        Fact::StockCounted {
            product,
            amount: counted,
        } => {
            let counted = counted.map_or_else(|| "an unknown amount".to_owned(), |a| a.to_string());
            format!("Counted {counted} of {product}")
        }
        Fact::Noted { text } | Fact::SetAside { text } => {
            format!("Noted: {}", text.trim_end_matches('.'))
        }
        Fact::StruckOut { reason, .. } => format!("Struck an event out{}", because(reason)),
        Fact::Settled(settled) => format!(
            "Settled an odd record: {}{}",
            answer(&settled.answer, context),
            because(&settled.reason)
        ),
        Fact::CatalogueSet {
            learned_up_to: Some(_),
            ..
        } => "Took learned allowances into the catalogue".to_owned(),
        Fact::CatalogueSet { .. } => "Changed the catalogue".to_owned(),
        Fact::QuoteDrafted { asked, .. } => format!("Quoted a {}", asked.job_type),
        Fact::QuoteRevised { reason, .. } => format!("Quoted it again{}", because(reason)),
        Fact::QuoteAccepted { reason, .. } => {
            format!("The customer accepted a quote{}", because(reason))
        }
        Fact::QuoteDeclined { reason, .. } => {
            format!("The customer declined a quote{}", because(reason))
        }
        Fact::PastRecorded { jobs, .. } => {
            format!("Took in {} jobs from before the log", jobs.len())
        }
        Fact::Unknown => "Something that this release does not know".to_owned(),
        other => panel_words(other),
    }
}

fn panel_words(fact: &Fact) -> String {
    match fact {
        Fact::PanelCoated {
            panel,
            section,
            product,
            layer,
            ..
        } => {
            let section = numbered("section", *section);
            let layer = numbered("layer", *layer);
            format!("Coated {panel}{section}{layer} with {product}")
        }
        Fact::PanelLevelled {
            panel,
            section,
            result,
            amends,
        } => {
            let panel = if panel.is_empty() {
                "the oldest section".to_owned()
            } else {
                panel.to_string()
            };
            let verb = if *amends { "Found" } else { "Levelled" };
            let result = match result {
                LevelResult::Clean => "clean",
                LevelResult::Smeared => "smeared",
                LevelResult::HighSpot => "with a high spot",
            };
            format!("{verb} {panel}{}: {result}", numbered("section", *section))
        }
        Fact::PanelLamp {
            panel, duration_us, ..
        } => format!("Put the lamp on {panel} for {}", length(*duration_us)),
        Fact::PanelCured { panel } if panel.is_empty() => {
            "Found every coated panel cured".to_owned()
        }
        Fact::PanelCured { panel } => format!("Found {panel} cured"),
        Fact::SurfaceCovered {
            finish,
            panel,
            left_out,
        } => {
            let what = if panel.is_empty() { finish } else { panel };
            let how = if *left_out { "Left out" } else { "Masked" };
            format!("{how} {what}")
        }
        Fact::FlawFound {
            panel,
            flaw,
            existing,
            ..
        } => {
            let when = if *existing { ", there before" } else { "" };
            format!("Found a flaw on {panel}: {flaw}{when}")
        }
        Fact::FlawRemedied { panel, flaw, .. } => {
            let flaw = if flaw.is_empty() { "a flaw" } else { flaw };
            format!("Put {flaw} on {panel} right")
        }
        _ => "Something happened".to_owned(),
    }
}

fn used_words(used: &ProductUsed) -> String {
    let quantity = match &used.used {
        Used::Amount(of) => format!("{of} of "),
        Used::Weighed(before, after) => {
            format!("from {before} to {after} of ")
        }
        Used::Unsaid => String::new(),
    };
    let source = match used.source {
        UseSource::Unsaid => "",
        UseSource::Neat => ", neat",
        UseSource::Mix => ", from the mix",
    };
    format!(
        "Used {quantity}{}{source}{}",
        used.product,
        on_panels(&used.panels)
    )
}

fn answer(answer: &Answer, context: &Context<'_>) -> String {
    match answer {
        Answer::AsIs => "right as it stands".to_owned(),
        Answer::End(at) => format!("it ended at {}", time(*at, context)),
        Answer::Code(code) => format!("{code} was meant"),
        Answer::Job(job) => format!("it was about {}", job_words(*job, context)),
        Answer::Took { took_us } => format!("it took {}", length(*took_us)),
        Answer::LeaveOut => "left out of every figure".to_owned(),
        Answer::NotDone => "it was not done".to_owned(),
        Answer::BreakOff => "on the break, which comes off".to_owned(),
    }
}

fn time(at: Micros, context: &Context<'_>) -> String {
    context.time(at)
}

fn numbered(what: &str, number: u32) -> String {
    if number == 0 {
        String::new()
    } else {
        format!(", {what} {number}")
    }
}

fn on_panels(panels: &[Code]) -> String {
    if panels.is_empty() {
        String::new()
    } else {
        format!(" on {}", list(panels))
    }
}

fn because(reason: &str) -> String {
    if reason.is_empty() {
        String::new()
    } else {
        format!(" ({})", reason.trim_end_matches('.'))
    }
}

fn stage_or_work(stage: &Code) -> &str {
    if stage.is_empty() {
        "the work"
    } else {
        stage.as_str()
    }
}
