//! `bay catalogue apply`: what a file changes, shown, asked, posted.

use std::fmt::Write as _;
use std::path::PathBuf;

use baywright_proto::catalogue::to_wire;
use baywright_proto::v1::fact::Kind;
use baywright_proto::v1::hello_service_client::HelloServiceClient;
use baywright_proto::{PROTOCOL_HIGHEST, PROTOCOL_LOWEST, v1};
use baywright_terms::catalogue::Catalogue;
use baywright_terms::catalogue::change::{changed, describe};
use baywright_terms::time::{Micros, day_range, shop_day};
use clap::Args;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use serde_json::json;

use super::{InForce, counts, in_force, read, shown};
use crate::answer::{Outcome, plain};
use crate::commands::{office, page};
use crate::context::{Context, zone_named};
use crate::error::Error;
use crate::post::{self, Said};
use crate::render::text::paragraph;

/// Post what a file changes in the catalogue.
///
/// Shows what changes and asks. Only what differs is posted; an entry that is
/// gone from the file is retired, because old records still name it. Prices,
/// allowances and rates hold from now, or from the day given; open hours and
/// the zone never hold for the past.
#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  bay catalogue apply shop.toml
  bay catalogue apply shop.toml --from 2026-12-01
  bay catalogue apply shop.toml --dry")]
pub(super) struct ApplyArgs {
    /// The catalogue file.
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// It holds from the start of this day: 2026-12-01.
    #[arg(long, value_name = "DATE")]
    from: Option<String>,
    /// Do not ask.
    #[arg(long)]
    yes: bool,
}

pub(super) fn run(context: &Context, args: &ApplyArgs) -> Result<Outcome, Error> {
    let wanted = read(&args.file)?;
    let now = daemon_now(context)?;
    let in_force_now = in_force(context, 0)?;
    let zone_name = zone_of(&wanted, &in_force_now.catalogue);
    let from = valid_from(
        args.from.as_deref(),
        &zone_named(&zone_name),
        &in_force_now,
        now,
    )?;
    // What a later day changes is compared with what holds on that day.
    let before = if from > now && in_force_now.revision != 0 {
        in_force(context, from.0)?
    } else {
        in_force_now
    };
    let Some(change) = changed(&before.catalogue, &wanted) else {
        let text = "Nothing changed: the catalogue in force is this file.";
        return Ok(Outcome::new(text, json!({ "apply": { "changes": [] } })));
    };
    let lines = lines(&before, &change);
    let rewrites = before.catalogue.shop.is_some() && from < now;
    let told = told(&lines, &change, from, rewrites, &zone_name);
    if !args.yes && !context.common.dry {
        if !context.can_ask() {
            return Err(Error::usage("Nobody can be asked here.")
                .with_hint("Add --yes to apply it, or --dry to see what it changes."));
        }
        office::say(&told);
        if !office::yes("Apply it?")? {
            return Ok(Outcome::new(
                "Nothing was posted.",
                json!({ "apply": { "changes": [] } }),
            ));
        }
    }
    let said = post_change(context, &change, from, 0)?;
    Ok(outcome(&said, &told, &lines, from, args.yes))
}

/// Posts what changes, as one event. `learned_up_to_seq`: up to which record the
/// allowances in it were learned; 0: a person gave them.
pub(in crate::commands) fn post_change(
    context: &Context,
    change: &Catalogue,
    from: Micros,
    learned_up_to_seq: u64,
) -> Result<Said, Error> {
    let set = v1::CatalogueSet {
        valid_from_us: from.0,
        changed: Some(to_wire(change)),
        learned_up_to_seq,
    };
    let mut fact = post::compose(context, Kind::CatalogueSet(set))?;
    fact.job = None;
    post::post_online(context, &fact)
}

fn outcome(said: &Said, told: &str, lines: &[String], from: Micros, unseen: bool) -> Outcome {
    let done = said
        .receipt()
        .map(|r| format!("Applied as event {}.", r.seq));
    let understood = match done {
        // Who was asked has read it already.
        Some(done) if !unseen => done,
        Some(done) => format!("{told}\n{done}"),
        None => told.to_owned(),
    };
    let json = json!({ "apply": {
        "changes": lines,
        "valid_from_us": from.0,
        "posted": office::told_json(said),
    }});
    Outcome::new(office::told(&understood, said), json)
}

/// What changes, for a person. Of a first catalogue only how much there is.
fn lines(before: &InForce, change: &Catalogue) -> Vec<String> {
    if before.revision == 0 {
        return vec![format!("first catalogue: {}", counts(change))];
    }
    describe(&before.catalogue, change)
}

/// `rewrites`: there were open hours before, and the change begins in the past.
fn told(lines: &[String], change: &Catalogue, from: Micros, rewrites: bool, zone: &str) -> String {
    let columns = page::columns();
    let mut text = String::new();
    for line in lines {
        // Plain signs, for serial consoles.
        let line = plain(line).replace('→', "->");
        text.push_str(&paragraph(&line, columns, 2));
        text.push('\n');
    }
    let _ = write!(text, "It holds from {}.", shown(from.0, zone));
    if change.shop.is_some() && rewrites {
        text.push_str(" Open hours and zone hold from now on.");
    }
    text
}

/// The zone that days are counted in once the file is in force.
fn zone_of(wanted: &Catalogue, before: &Catalogue) -> String {
    let shop = wanted.shop.as_ref().or(before.shop.as_ref());
    shop.map_or_else(|| "UTC".to_owned(), |shop| shop.zone.clone())
}

/// Now, or the start of the day given. A first catalogue holds from the start
/// of today, so that what came in this morning has its allowances.
fn valid_from(
    typed: Option<&str>,
    zone: &TimeZone,
    in_force: &InForce,
    now: Micros,
) -> Result<Micros, Error> {
    let Some(typed) = typed else {
        return Ok(if in_force.revision == 0 {
            day_range(shop_day(now, zone), zone).0
        } else {
            now
        });
    };
    let date: Date = typed.trim().parse().map_err(|_| {
        Error::refused(format!("`{typed}` is not a day.")).with_hint("Write it like 2026-12-01.")
    })?;
    Ok(day_range(date, zone).0)
}

/// The daemon's clock, because the bay's may be wrong.
pub(in crate::commands) fn daemon_now(context: &Context) -> Result<Micros, Error> {
    let request = v1::HelloRequest {
        protocol_lowest: PROTOCOL_LOWEST,
        protocol_highest: PROTOCOL_HIGHEST,
        build: env!("CARGO_PKG_VERSION").to_owned(),
        device: String::new(),
    };
    let hello = context.call("the daemon's clock", async |channel| {
        HelloServiceClient::new(channel).hello(request).await
    })?;
    Ok(Micros(hello.now_us))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Tue 24 Nov 2026 15:05 in Berlin.
    const NOW: Micros = Micros(1_795_529_100_000_000);

    fn holding(revision: u64) -> InForce {
        InForce {
            revision,
            catalogue: Catalogue::default(),
        }
    }

    fn from(typed: Option<&str>, revision: u64) -> Result<String, Error> {
        let zone = zone_named("Europe/Berlin");
        let from = valid_from(typed, &zone, &holding(revision), NOW)?;
        Ok(shown(from.0, "Europe/Berlin"))
    }

    #[test]
    fn a_first_catalogue_holds_from_this_morning_and_a_later_one_from_now() {
        assert_eq!(from(None, 0).unwrap(), "Tue 24 Nov 2026 00:00");
        assert_eq!(from(None, 12).unwrap(), "Tue 24 Nov 2026 15:05");
        assert_eq!(
            from(Some("2026-12-01"), 12).unwrap(),
            "Tue 1 Dec 2026 00:00"
        );
        for typed in ["december", "2026-13-01", "1.12.2026"] {
            let error = from(Some(typed), 12).unwrap_err();
            assert_eq!(error.kind(), crate::error::Kind::Refused, "{typed}");
            assert!(error.hint().is_some());
        }
    }

    #[test]
    fn changed_open_hours_are_said_to_hold_from_now_on_and_the_first_are_not() {
        use baywright_terms::catalogue::begin::{Answers, build};
        let change = build(&Answers::default());
        let from = Micros(NOW.0 - 1);
        for rewrites in [true, false] {
            let told = told(&[], &change, from, rewrites, "Europe/Berlin");
            let says = told.ends_with("Open hours and zone hold from now on.");
            assert_eq!(says, rewrites, "{told}");
        }
    }
}
