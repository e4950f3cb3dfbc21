//! `bay spool`: what is kept on this bay, sent, shown and mended.

use baywright_proto::v1;
use baywright_proto::v1::fact::{Kind, Occurred};
use baywright_terms::time::Micros;
use clap::{Args, Parser as _, Subcommand};
use prost::Message as _;
use serde_json::{Value, json};

use crate::answer::{Outcome, plain};
use crate::args::Cli;
use crate::context::{Context, StandIn};
use crate::describe;
use crate::device::NOTE_START;
use crate::error::Error;
use crate::post::{Said, post};
use crate::say::{Extra, id_text, notice_line, noticed_line, say, set_aside_line};
use crate::spool::{Entry, EventId, Standing};

/// What is kept on this bay until the daemon has it.
#[derive(Debug, Args)]
pub struct SpoolArgs {
    #[command(subcommand)]
    pub command: Option<SpoolCommand>,
}

#[derive(Debug, Subcommand)]
pub enum SpoolCommand {
    /// What waits here, and what was set aside: `bay spool list`.
    List {
        /// Everything that is still kept here.
        #[arg(long)]
        all: bool,
    },
    /// Send what waits, now: `bay spool send`.
    Send,
    /// One fact in full: `bay spool show 01a2`.
    Show {
        /// Its event id, or the beginning of it.
        #[arg(value_name = "ID")]
        id: String,
    },
    /// Put right a fact that the daemon could not read: say it anew with its
    /// old time (`bay spool mend ID used iron-remover 350ml`), or keep it as a
    /// note, or try it again.
    Mend {
        /// Its event id, or the beginning of it.
        #[arg(value_name = "ID")]
        id: String,
        /// Send the same fact again, for example to a newer daemon.
        #[arg(long, conflicts_with_all = ["as_note", "command"])]
        again: bool,
        /// Keep what can be read of it as a note.
        #[arg(long, conflicts_with = "command")]
        as_note: bool,
        /// The command that says it anew.
        #[arg(
            value_name = "COMMAND",
            trailing_var_arg = true,
            allow_hyphen_values = true
        )]
        command: Vec<String>,
    },
}

pub fn run(context: &Context, args: &SpoolArgs) -> Result<Outcome, Error> {
    match &args.command {
        None => list(context, false),
        Some(SpoolCommand::List { all }) => list(context, *all),
        Some(SpoolCommand::Send) => send(context),
        Some(SpoolCommand::Show { id }) => show(context, id),
        Some(SpoolCommand::Mend {
            id,
            again,
            as_note,
            command,
        }) => {
            let entry = find(context, id)?;
            if !matches!(entry.standing, Standing::SetAside { .. }) {
                return Err(Error::refused(format!(
                    "{} was not set aside: {}.",
                    id_text(&entry.event_id),
                    standing_words(&entry.standing)
                )));
            }
            match (again, as_note) {
                (true, _) => try_again(context, &entry),
                (_, true) => mend_as_note(context, &entry),
                _ => mend_by_command(context, &entry, command),
            }
        }
    }
}

fn list(context: &Context, all: bool) -> Result<Outcome, Error> {
    let mut device = context.device()?;
    device.spool_mut().refresh()?;
    let spool = device.spool();
    let posts = spool.posts();
    let waiting = posts.waiting();
    let aside: Vec<&Entry> = posts.set_aside().collect();
    let mut lines = vec![format!(
        "{} as {}: {} waiting, {} set aside.",
        spool.path().display(),
        spool.device(),
        waiting.len(),
        aside.len()
    )];
    if let Some(copy) = &spool.found().damaged_copy {
        lines.push(format!(
            "The file was damaged. What could be read is kept; the damaged one is {}.",
            copy.display()
        ));
    }
    let shown: Vec<&Entry> = if all {
        posts.all().iter().collect()
    } else {
        waiting.iter().chain(&aside).copied().collect()
    };
    lines.extend(shown.iter().map(|entry| entry_line(context, entry)));
    if !aside.is_empty() {
        lines.push("Mend one: bay spool mend ID COMMAND…, or --as-note, or --again.".to_owned());
    }
    let json = json!({
        "device": spool.device(),
        "path": spool.path(),
        "held_device_seq": posts.held_device_seq,
        "waiting": waiting.len(),
        "set_aside": aside.len(),
        "facts": shown.iter().map(|e| entry_object(e)).collect::<Vec<_>>(),
    });
    Ok(Outcome::new(lines.join("\n"), json))
}

fn send(context: &Context) -> Result<Outcome, Error> {
    let delivered = {
        let mut device = context.device()?;
        let mut link = context.link();
        context.block_on(device.deliver(&mut *link))??
    };
    context.note_revision(delivered.catalogue_revision);
    let waiting = context.device()?.spool().posts().waiting().len();
    let mut lines = match delivered.sent {
        0 => vec!["Nothing waits here.".to_owned()],
        1 => vec!["Sent 1 fact.".to_owned()],
        n => vec![format!("Sent {n} facts, in order.")],
    };
    lines.extend(set_aside_line(&delivered));
    lines.extend(noticed_line(&delivered));
    lines.extend(delivered.notices.iter().map(notice_line));
    Ok(Outcome::new(
        lines.join("\n"),
        json!({"sent": delivered.sent, "set_aside": delivered.set_aside, "waiting": waiting,
               "notices": delivered.notices}),
    ))
}

fn show(context: &Context, id: &str) -> Result<Outcome, Error> {
    let entry = find(context, id)?;
    let mut lines = vec![entry_line(context, &entry)];
    if let Ok(fact) = v1::Fact::decode(&*entry.fact) {
        lines.push(format!("bay: {}", plain(or_dash(&fact.bay))));
        lines.push(format!("by: {}", plain(or_dash(&fact.by.join(", ")))));
    }
    let hex = hex(&entry.fact);
    lines.push(format!("device_seq: {}", entry.device_seq));
    lines.push(format!(
        "fact, as it is sent ({} bytes): {hex}",
        entry.fact.len()
    ));
    let mut object = entry_object(&entry);
    if let Value::Object(fields) = &mut object {
        fields.insert("fact_hex".into(), hex.into());
    }
    Ok(Outcome::new(lines.join("\n"), object))
}

fn hex(bytes: &[u8]) -> String {
    const DIGITS: [char; 16] = [
        '0', '1', '2', '3', '4', '5', '6', '7', '8', '9', 'a', 'b', 'c', 'd', 'e', 'f',
    ];
    let digits = bytes.iter().flat_map(|b| [b >> 4, b & 15]);
    digits.map(|d| DIGITS[usize::from(d)]).collect()
}

fn or_dash(text: &str) -> &str {
    if text.is_empty() { "-" } else { text }
}

fn try_again(context: &Context, entry: &Entry) -> Result<Outcome, Error> {
    {
        let mut device = context.device()?;
        device.spool_mut().mend(&entry.event_id, None)?;
        // Its old number may be below what the daemon holds by now.
        let held = device.spool().posts().held_device_seq;
        if entry.device_seq <= held {
            device.spool_mut().renumber_above(held)?;
        }
    }
    send(context)
}

fn mend_as_note(context: &Context, entry: &Entry) -> Result<Outcome, Error> {
    let fact = v1::Fact::decode(&*entry.fact).ok();
    let words = fact.as_ref().map_or_else(
        || format!("{} bytes that cannot be read", entry.fact.len()),
        describe::fact,
    );
    let stand_in = stand_in(entry);
    let note = v1::Fact {
        clocks: stand_in.clocks,
        occurred: stand_in.occurred,
        bay: fact.map(|f| f.bay).unwrap_or_default(),
        kind: Some(Kind::Noted(v1::Noted {
            text: format!("as it was posted: {words}"),
            ..v1::Noted::default()
        })),
        ..v1::Fact::default()
    };
    let said = post(context, &note)?;
    mark(context, entry, &said)?;
    Ok(say(context, &note, &said, Extra::default()))
}

/// Runs the command that says the fact anew, at the time of the old one.
fn mend_by_command(context: &Context, entry: &Entry, typed: &[String]) -> Result<Outcome, Error> {
    if typed.is_empty() {
        return Err(Error::usage("How is it to be mended?").with_hint(
            "Say it anew, as in: bay spool mend ID used iron-remover 350ml. Or --as-note, or --again.",
        ));
    }
    let words = ["bay".to_owned()].into_iter().chain(typed.iter().cloned());
    let cli = Cli::try_parse_from(words).map_err(|e| {
        let first = e.to_string().lines().next().unwrap_or_default().to_owned();
        Error::usage(first.trim_start_matches("error: ").to_owned())
    })?;
    let Some(command) = cli.command else {
        return Err(Error::usage("A mend needs a command that posts a fact."));
    };
    let last = last_post(context)?;
    let again = context.standing_in(cli.common, stand_in(entry))?;
    let outcome = super::run(&again, command)?;
    drop(again);
    match last_post(context)? {
        posted if posted == last => {
            if context.common.dry {
                return Ok(outcome);
            }
            Err(Error::usage(
                "That command posts no fact, so nothing was mended.",
            ))
        }
        Some(id) => {
            let mut device = context.device()?;
            device.spool_mut().mend(&entry.event_id, Some(&id))?;
            Ok(outcome)
        }
        None => Ok(outcome),
    }
}

/// The last fact of this device, notes about set-aside ones left out.
fn last_post(context: &Context) -> Result<Option<EventId>, Error> {
    let mut device = context.device()?;
    device.spool_mut().refresh()?;
    let all = device.spool().posts().all();
    let is_note = |entry: &&Entry| {
        v1::Fact::decode(&*entry.fact)
            .is_ok_and(|f| matches!(f.kind, Some(Kind::Noted(n)) if n.text.starts_with(NOTE_START)))
    };
    Ok(all.iter().rev().find(|e| !is_note(e)).map(|e| e.event_id))
}

fn mark(context: &Context, entry: &Entry, said: &Said) -> Result<(), Error> {
    let by = match said {
        Said::Dry => return Ok(()),
        Said::Acknowledged { receipt, .. } => crate::device::receipt_id(receipt),
        Said::Kept { event_id, .. } => Some(*event_id),
    };
    let mut device = context.device()?;
    device.spool_mut().mend(&entry.event_id, by.as_ref())
}

/// The clocks of a fact that is said anew: it keeps its time.
fn stand_in(entry: &Entry) -> StandIn {
    let fact = v1::Fact::decode(&*entry.fact).unwrap_or_default();
    let is_dated = fact.clocks.is_some() || matches!(fact.occurred, Some(Occurred::AtUs(_)));
    StandIn {
        occurred: if is_dated {
            fact.occurred
        } else {
            Some(Occurred::AtUs(entry.created_us))
        },
        clocks: fact.clocks,
    }
}

fn find(context: &Context, typed: &str) -> Result<Entry, Error> {
    let typed = typed.trim().to_lowercase();
    let mut device = context.device()?;
    device.spool_mut().refresh()?;
    let all = device.spool().posts().all();
    let mut like = all
        .iter()
        .filter(|e| id_text(&e.event_id).starts_with(&typed));
    match (like.next(), like.next()) {
        (Some(entry), None) if !typed.is_empty() => Ok(entry.clone()),
        (Some(_), _) => Err(
            Error::refused(format!("more than one fact begins with `{typed}`."))
                .with_hint("Write more of its id."),
        ),
        (None, _) => Err(
            Error::refused(format!("no fact here has the id `{typed}`."))
                .with_hint("`bay spool list --all` shows those that are still kept here."),
        ),
    }
}

fn entry_line(context: &Context, entry: &Entry) -> String {
    let fact = v1::Fact::decode(&*entry.fact);
    let words = fact.as_ref().map_or_else(
        |_| format!("{} bytes that cannot be read", entry.fact.len()),
        describe::fact,
    );
    let clock = Micros(entry.created_us).date_and_clock(&context.zone());
    format!(
        "{}  {clock}  {}  ({})",
        id_text(&entry.event_id),
        plain(&words),
        plain(&standing_words(&entry.standing))
    )
}

fn standing_words(standing: &Standing) -> String {
    match standing {
        Standing::Waiting => "waits".to_owned(),
        Standing::Acknowledged { seq, .. } => format!("sent, record {seq}"),
        Standing::Withdrawn { message, .. } => format!("refused: {message}"),
        Standing::SetAside { message, .. } => format!("set aside: {message}"),
        Standing::Mended { by } => format!("mended by {}", id_text(by)),
    }
}

fn entry_object(entry: &Entry) -> Value {
    let (standing, reason, seq) = match &entry.standing {
        Standing::Waiting => ("waiting", None, None),
        Standing::Acknowledged { seq, .. } => ("acknowledged", None, Some(*seq)),
        Standing::Withdrawn { reason, .. } => ("withdrawn", Some(reason), None),
        Standing::SetAside { reason, .. } => ("set_aside", Some(reason), None),
        Standing::Mended { .. } => ("mended", None, None),
    };
    let words = v1::Fact::decode(&*entry.fact)
        .map(|f| describe::fact(&f))
        .ok();
    json!({
        "event_id": id_text(&entry.event_id),
        "device_seq": entry.device_seq,
        "fact": words,
        "handle": (!entry.handle.is_empty()).then_some(&entry.handle),
        "created_us": entry.created_us,
        "standing": standing,
        "reason": reason,
        "seq": seq,
    })
}
