//! `bay catalogue begin`: about ten questions, and a first file out of them.

use std::fs::OpenOptions;
use std::io::Write as _;
use std::path::{Path, PathBuf};

use baywright_terms::catalogue::begin::{Answers, Question, answer, build, questions};
use baywright_terms::catalogue::file;
use clap::Args;
use serde_json::json;

use super::counts;
use crate::answer::Outcome;
use crate::commands::office;
use crate::context::Context;
use crate::error::Error;

/// Answer about ten questions and get a first catalogue file.
///
/// What is not asked is filled in from common practice in the trade, and marked
/// so in the file. Nothing is posted: read it through, then apply it.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  bay catalogue begin
  bay catalogue begin --yes --out trial.toml")]
pub(super) struct BeginArgs {
    /// The file to write; it must not exist yet.
    #[arg(long, value_name = "FILE", default_value = "shop.toml")]
    out: PathBuf,
    /// Take every default without asking.
    #[arg(long)]
    yes: bool,
}

pub(super) fn run(context: &Context, args: &BeginArgs) -> Result<Outcome, Error> {
    if args.out.exists() {
        return Err(exists(&args.out));
    }
    let answers = if args.yes {
        defaults()
    } else if context.can_ask() {
        office::say("Enter takes what stands in brackets; ? explains a question.\n");
        asked(&mut office::ask, &mut |text| office::say(text))?
    } else {
        return Err(Error::usage("Nobody can be asked here.")
            .with_hint("Add --yes to take every default, or run it on a terminal."));
    };
    let catalogue = build(&answers);
    let text = file::write(&catalogue);
    write_new(&args.out, &text)?;
    let path = args.out.display();
    let told = format!(
        "{path}: {}.\nRead it through, then: bay catalogue apply {path}",
        counts(&catalogue)
    );
    Ok(Outcome::new(told, json!({ "begin": { "file": args.out } })))
}

/// Every default; the zone is that of this machine where it has one.
fn defaults() -> Answers {
    let mut answers = Answers::default();
    for question in questions() {
        // A default that cannot be read leaves the one before.
        let _ = answer(&mut answers, question.key, &default_of(question));
    }
    answers
}

fn default_of(question: &Question) -> String {
    if question.key == "zone"
        && let Some(zone) = machine_zone()
    {
        return zone;
    }
    question.default.to_owned()
}

/// The zone of this machine, unless it only says UTC, as servers do.
fn machine_zone() -> Option<String> {
    let zone = jiff::tz::TimeZone::try_system().ok()?;
    let name = zone.iana_name()?;
    (!matches!(name, "UTC" | "Etc/UTC" | "Etc/Unknown")).then(|| name.to_owned())
}

/// Asks until every answer can be read. The end of the input gives up.
fn asked(
    ask: &mut dyn FnMut(&str) -> Result<Option<String>, Error>,
    say: &mut dyn FnMut(&str),
) -> Result<Answers, Error> {
    let mut answers = defaults();
    for question in questions() {
        let default = default_of(question);
        loop {
            say(question.text);
            let Some(typed) = ask(&format!("  [{default}] "))? else {
                return Err(Error::usage("The questions were not answered to the end.")
                    .with_hint("Nothing was written."));
            };
            if typed == "?" {
                say(&format!("  {}", question.help));
                continue;
            }
            let typed = if typed.is_empty() { &default } else { &typed };
            match answer(&mut answers, question.key, typed) {
                Ok(()) => break,
                Err(why) => say(&format!("  {why}")),
            }
        }
    }
    Ok(answers)
}

/// Writes a file that was not there: an edited catalogue is never overwritten.
fn write_new(path: &Path, text: &str) -> Result<(), Error> {
    let file = OpenOptions::new().write(true).create_new(true).open(path);
    let mut file = match file {
        Ok(file) => file,
        Err(error) if error.kind() == std::io::ErrorKind::AlreadyExists => {
            return Err(exists(path));
        }
        Err(error) => return Err(Error::file("Writing", path, &error)),
    };
    file.write_all(text.as_bytes())
        .and_then(|()| file.sync_all())
        .map_err(|e| Error::file("Writing", path, &e))
}

fn exists(path: &Path) -> Error {
    Error::refused(format!("{} is there already.", path.display()))
        .with_hint("Write another name with --out; nothing was changed.")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Asks with the answers given; the rest are defaults.
    fn with(typed: &[&str]) -> (Result<Answers, Error>, Vec<String>) {
        let mut typed = typed.iter();
        let mut said = Vec::new();
        let answers = asked(
            &mut |_| {
                Ok(Some(
                    typed.next().map_or_else(String::new, |t| (*t).to_owned()),
                ))
            },
            &mut |text| said.push(text.to_owned()),
        );
        (answers, said)
    }

    #[test]
    fn an_answer_that_cannot_be_read_is_asked_again() {
        let (answers, said) = with(&["Hof Sieben (invented)", "Nowhere", "Europe/Madrid"]);
        let answers = answers.unwrap();
        assert_eq!(answers.name, "Hof Sieben (invented)");
        assert_eq!(answers.zone, "Europe/Madrid");
        assert_eq!(said.len(), questions().len() + 2, "{said:?}");
    }

    #[test]
    fn a_question_mark_explains_and_asks_again() {
        let (answers, said) = with(&["?", "Hof Sieben (invented)"]);
        assert_eq!(answers.unwrap().name, "Hof Sieben (invented)");
        assert_eq!(said.len(), questions().len() + 2, "{said:?}");
    }

    #[test]
    fn the_end_of_the_input_writes_nothing() {
        let answers = asked(&mut |_| Ok(None), &mut |_| {});
        assert_eq!(answers.unwrap_err().kind(), crate::error::Kind::Usage);
    }

    #[test]
    fn what_is_begun_can_be_read_again() {
        let text = file::write(&build(&defaults()));
        assert!(file::read(&text).is_ok());
    }

    #[test]
    fn a_file_that_is_there_is_never_overwritten() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("shop.toml");
        std::fs::write(&path, "mine").unwrap();
        assert!(write_new(&path, "new").is_err());
        assert_eq!(std::fs::read_to_string(&path).unwrap(), "mine");
    }
}
