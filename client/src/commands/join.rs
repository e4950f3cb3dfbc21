//! `bay join`: this device gets its certificate.

use std::fmt::Write as _;
use std::time::Duration;

use baywright_proto::v1;
use baywright_proto::v1::join_service_client::JoinServiceClient;
use baywright_proto::{DEFAULT_JOIN_PORT, DEFAULT_PORT};
use baywright_terms::join_code::JoinCode;
use clap::Args;
use serde_json::json;

use crate::answer::Outcome;
use crate::connect::{CALL_MS_MAX, Link, Server};
use crate::context::Context;
use crate::delivery::step;
use crate::error::{Error, Kind};
use crate::joined::{About, Joined, NewKey, tls};
use crate::render::figure::counted;

/// Let this device in, once, with a code from `baywrightd enrol`:
/// `bay join 192.0.2.7 k7qd-3mzx-a2bc-wxyz-5k2qd-7hmzt`.
#[derive(Debug, Args)]
pub struct JoinArgs {
    /// The server: a name or address, with a port where `enrol` printed one.
    #[arg(value_name = "HOST")]
    pub host: String,
    /// The one-time code; hyphens, spaces and capitals do not matter.
    #[arg(value_name = "CODE", num_args = 1.., required = true)]
    pub code: Vec<String>,
}

pub fn run(context: &Context, args: &JoinArgs) -> Result<Outcome, Error> {
    let code: JoinCode = args.code.concat().parse().map_err(|e| {
        Error::refused(format!("The code cannot be read: {e}."))
            .with_hint("Type it as `baywrightd enrol` printed it; hyphens may be left out.")
    })?;
    let (host, port) = place(&args.host)?;
    if context.common.dry {
        return Ok(Outcome::new(
            format!("This device would join {host}, port {port}."),
            json!({ "would_join": format!("{host}:{port}") }),
        ));
    }
    let key = NewKey::make()?;
    let answer = ask(context, &host, port, &code, &key)?;
    if !tls::has_fingerprint(&answer.authority, code.authority) {
        return Err(Error::refused(
            "The daemon named another authority than the code does.",
        ));
    }
    let port = u16::try_from(answer.port).unwrap_or(DEFAULT_PORT);
    let about = About {
        server: format!("{host}:{port}"),
        device: answer.device.clone(),
        role: role_word(answer.role()).to_owned(),
        expires_us: answer.expires_us,
    };
    let folder = context.data_dir();
    let joined = Joined::keep(folder, about, &key, &answer.certificate, &answer.authority)?;
    let taken = take_name(context, &joined)?;
    Ok(told(&joined, &answer, &taken))
}

/// Host and joining port.
fn place(typed: &str) -> Result<(String, u16), Error> {
    let Server::Tcp(place) = typed.parse()? else {
        return Err(Error::usage("A socket of this computer needs no joining.")
            .with_hint("`baywrightd enrol NAME --role bay --user USER` lets a user of it in."));
    };
    let (host, port) = place.rsplit_once(':').unwrap_or((&place, ""));
    // Without a port the address reads as that of the daemon's own.
    let said = typed.trim().ends_with(&format!(":{port}"));
    let port = match port.parse() {
        Ok(port) if said => port,
        _ => DEFAULT_JOIN_PORT,
    };
    Ok((host.to_owned(), port))
}

fn ask(
    context: &Context,
    host: &str,
    port: u16,
    code: &JoinCode,
    key: &NewKey,
) -> Result<v1::JoinResponse, Error> {
    let config = tls::to_join(code.authority)
        .map_err(|e| Error::internal(format!("TLS cannot be set up: {e}.")))?;
    let server = Server::Tcp(format!("{host}:{port}"));
    let mut link = Link::with_tls(server, config);
    let request = v1::JoinRequest {
        secret: code.secret().to_owned(),
        signing_request: key.request.clone(),
        build: env!("CARGO_PKG_VERSION").to_owned(),
    };
    let limit = Duration::from_millis(CALL_MS_MAX);
    context.block_on(async {
        let channel = link.channel().await.map_err(|e| not_there(&e))?;
        match tokio::time::timeout(limit, JoinServiceClient::new(channel).join(request)).await {
            Ok(Ok(answer)) => Ok(answer.into_inner()),
            Ok(Err(status)) => Err(Error::from_status(&status, "a certificate")),
            Err(_) => Err(Error::unreachable("The daemon did not answer in time.")),
        }
    })?
}

/// The port is open only while a code lives, and its daemon must be the code's.
fn not_there(error: &Error) -> Error {
    let hint = if error.message().contains("certificate") {
        "Another daemon than the one that printed the code listens there, or the code was mistyped."
    } else {
        "The port is open only while a code lives, for 15 minutes: `baywrightd enrol` prints a new \
         one. Does a firewall let this port through?"
    };
    Error::new(Kind::Unreachable, error.message()).with_hint(hint)
}

/// Takes the name that the daemon gave, and gets in step under it. Facts that
/// wait here go out under the new name.
fn take_name(context: &Context, joined: &Joined) -> Result<Taken, Error> {
    let config = joined.tls()?;
    let server: Server = joined.about.server.parse()?;
    let mut link = Link::with_tls(server, config);
    let mut device = context.device()?;
    device.spool_mut().rename(&joined.about.device)?;
    let in_step = context.block_on(async {
        let channel = link.channel().await?;
        step::start_over(&mut device, &channel)
            .await
            .map_err(|refused| refused.error)
    })?;
    Ok(Taken {
        waiting: device.spool().posts().waiting().len(),
        // It has joined all the same; the first post gets in step as well.
        not_reached: in_step.err(),
    })
}

/// How the device stands under its new name.
struct Taken {
    /// Facts that wait here.
    waiting: usize,
    not_reached: Option<Error>,
}

fn told(joined: &Joined, answer: &v1::JoinResponse, taken: &Taken) -> Outcome {
    let About {
        server,
        device,
        role,
        ..
    } = &joined.about;
    let mut text = format!(
        "This device is {device} now, let in as {} at {server}.",
        with_article(answer.role())
    );
    let waiting = taken.waiting;
    if waiting > 0 {
        let _ = write!(
            text,
            "\n{} here: `bay spool send` delivers.",
            counted(
                u64::try_from(waiting).unwrap_or(u64::MAX),
                "fact waits",
                "facts wait"
            )
        );
    }
    if let Some(error) = &taken.not_reached {
        let _ = write!(
            text,
            "\nIt was not reached at its own port yet: {}",
            error.message()
        );
    }
    if answer.role() == v1::Role::Bay {
        text.push_str(
            "\nTo say which bay of the catalogue it stands in, set BAYWRIGHT_BAY,\n\
             or `bay = ` in bay.toml.",
        );
    }
    Outcome::new(
        text,
        json!({ "device": device, "role": role, "server": server, "waiting": waiting }),
    )
}

fn role_word(role: v1::Role) -> &'static str {
    match role {
        v1::Role::Owner => "owner",
        v1::Role::Viewer => "viewer",
        v1::Role::Bay | v1::Role::Unspecified => "bay",
    }
}

fn with_article(role: v1::Role) -> &'static str {
    match role {
        v1::Role::Owner => "an owner",
        v1::Role::Viewer => "a viewer",
        v1::Role::Bay | v1::Role::Unspecified => "a bay",
    }
}
