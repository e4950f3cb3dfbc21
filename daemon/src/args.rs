//! The command line of `baywrightd`.

use std::fmt;
use std::net::{AddrParseError, SocketAddr};
use std::path::PathBuf;
use std::str::FromStr;

use crate::access::devices::RoleWord;
use clap::{Args, Parser, Subcommand, ValueEnum};

use crate::metrics::endpoint::default_address;

/// Keeps the log of a vehicle-coating shop's floor, and answers the bays.
#[derive(Debug, Parser)]
#[command(name = "baywrightd", version, propagate_version = true)]
pub struct Cli {
    #[command(subcommand)]
    pub command: Command,
}

#[derive(Debug, Subcommand)]
pub enum Command {
    /// Takes posts from the bays until it is told to stop (SIGTERM, Ctrl-C)
    Serve(ServeArgs),
    /// Makes the shop's authority, so that other computers can join
    Init(InitArgs),
    /// Prints a one-time code with which a device joins
    Enrol(EnrolArgs),
    /// Lists who was let in, and cuts off who should be no more
    Devices(DevicesArgs),
    /// Checks that the log is what was appended, byte for byte; beside a running daemon too
    Verify(VerifyArgs),
    /// Works the facts out of the log anew, with no daemon running
    Rebuild(RebuildArgs),
    /// Copies the log and the keys to one file, beside a running daemon too, and reads it back
    Backup(BackupArgs),
    /// Brings a backup back into a data directory that has no log
    Restore(RestoreArgs),
    /// Prints the completions of a shell
    #[command(hide = true)]
    Completions(CompletionsArgs),
    /// Prints the manual page, or writes one for each command
    #[command(hide = true)]
    Man(ManArgs),
}

#[derive(Debug, Args)]
pub struct CompletionsArgs {
    /// The shell they are for
    pub shell: clap_complete::Shell,
}

#[derive(Debug, Args)]
pub struct ManArgs {
    /// Writes baywrightd.1, baywrightd-serve.1 and all others into this folder
    #[arg(long, value_name = "FOLDER")]
    pub out: Option<PathBuf>,
}

#[derive(Debug, Args)]
pub struct DataArgs {
    /// Data directory [default: the XDG data home, or what systemd gives]
    #[arg(
        long = "data",
        value_name = "DIR",
        env = "BAYWRIGHT_DATA",
        global = true
    )]
    pub dir: Option<PathBuf>,
}

#[derive(Debug, Args)]
pub struct ServeArgs {
    #[command(flatten)]
    pub data: DataArgs,
    /// Address and port; 0 takes a free one [default: 127.0.0.1:7421, after `init` every address]
    #[arg(long, value_name = "ADDRESS:PORT", env = "BAYWRIGHT_LISTEN")]
    pub listen: Option<SocketAddr>,
    /// Port on which devices join while a one-time code lives [default: the one after]
    #[arg(long, value_name = "PORT")]
    pub join_port: Option<u16>,
    /// Unix socket for bays on this computer [default: bay.sock in the data directory]
    #[arg(long, value_name = "PATH")]
    pub socket: Option<PathBuf>,
    /// Address and port on this computer for figures about the daemon, or `off`
    #[arg(long, value_name = "ADDRESS:PORT", default_value_t = MetricsAt(Some(default_address())))]
    pub metrics: MetricsAt,
    /// How the trace on standard error is written; RUST_LOG chooses what
    #[arg(long, value_enum, default_value_t = LogFormat::Text)]
    pub log: LogFormat,
    /// Prints one JSON line on standard output when it can append
    #[arg(long)]
    pub json: bool,
}

/// Where the figures about the daemon are read; `off`: nowhere.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct MetricsAt(pub Option<SocketAddr>);

impl FromStr for MetricsAt {
    type Err = AddrParseError;

    fn from_str(text: &str) -> Result<Self, AddrParseError> {
        match text {
            "off" => Ok(Self(None)),
            text => text.parse().map(|at| Self(Some(at))),
        }
    }
}

impl fmt::Display for MetricsAt {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.0 {
            Some(at) => at.fmt(f),
            None => f.write_str("off"),
        }
    }
}

#[derive(Debug, Args)]
pub struct InitArgs {
    #[command(flatten)]
    pub data: DataArgs,
    /// Prints the result as one JSON line
    #[arg(long)]
    pub json: bool,
}

#[derive(Debug, Args)]
pub struct EnrolArgs {
    /// What the device is called from now on, for example bay-2
    #[arg(value_name = "DEVICE")]
    pub device: String,
    /// What it may do: bay (posts, sees the floor), owner (everything), viewer (reads)
    #[arg(long, value_enum)]
    pub role: RoleWord,
    /// Lets a user of this computer in, by name or number, instead of a device with a code
    #[arg(long, value_name = "USER")]
    pub user: Option<String>,
    #[command(flatten)]
    pub data: DataArgs,
    /// Unix socket of the daemon [default: bay.sock in the data directory]
    #[arg(long, value_name = "PATH")]
    pub socket: Option<PathBuf>,
    /// Prints the result as one JSON line
    #[arg(long)]
    pub json: bool,
}

#[derive(Debug, Args)]
pub struct DevicesArgs {
    #[command(subcommand)]
    pub command: Option<DevicesCommand>,
    #[command(flatten)]
    pub data: DataArgs,
    /// Unix socket of the daemon [default: bay.sock in the data directory]
    #[arg(long, value_name = "PATH", global = true)]
    pub socket: Option<PathBuf>,
    /// Prints the result as one JSON line
    #[arg(long, global = true)]
    pub json: bool,
}

#[derive(Debug, Subcommand)]
pub enum DevicesCommand {
    /// Ends what a device has open and lets it in no more: a stolen tablet, say
    Cut {
        /// The device, as `baywrightd devices` names it
        device: String,
    },
}

#[derive(Debug, Args)]
pub struct VerifyArgs {
    #[command(flatten)]
    pub data: DataArgs,
    /// Checks a backup instead of the log in the data directory
    #[arg(long, value_name = "FILE")]
    pub file: Option<PathBuf>,
    /// Prints the result as one JSON line
    #[arg(long)]
    pub json: bool,
}

#[derive(Debug, Args)]
pub struct RebuildArgs {
    #[command(flatten)]
    pub data: DataArgs,
    /// Changes nothing: compares the facts as they are with what a rebuild gives, exits 1 where they differ
    #[arg(long)]
    pub check: bool,
    /// Prints the result as one JSON line
    #[arg(long)]
    pub json: bool,
}

#[derive(Debug, Args)]
#[group(id = "place", required = true, multiple = false, args = ["file", "into"])]
pub struct BackupArgs {
    #[command(flatten)]
    pub data: DataArgs,
    /// The file to write; it must not be there yet
    #[arg(value_name = "FILE")]
    pub file: Option<PathBuf>,
    /// Writes over FILE where it is there
    #[arg(long, requires = "file")]
    pub replace: bool,
    /// A folder of backups, each named by its date
    #[arg(long, value_name = "DIR")]
    pub into: Option<PathBuf>,
    /// How many of this log's backups stay in DIR, the new one among them
    #[arg(long, value_name = "N", default_value_t = KEEP, requires = "into", value_parser = at_least_one)]
    pub keep: usize,
    /// Prints the result as one JSON line
    #[arg(long)]
    pub json: bool,
}

/// Two weeks of nights: a mistake is often found on the second Friday.
const KEEP: usize = 14;

fn at_least_one(text: &str) -> Result<usize, String> {
    match text.parse() {
        Ok(0) => Err("at least the new one stays: give 1 or more".to_owned()),
        Ok(keep) => Ok(keep),
        Err(error) => Err(format!("{error}")),
    }
}

#[derive(Debug, Args)]
pub struct RestoreArgs {
    #[command(flatten)]
    pub data: DataArgs,
    /// The backup
    #[arg(value_name = "FILE")]
    pub file: PathBuf,
    /// Devices that stay allowed: all, none, or names with commas between them; asked where this is missing
    #[arg(long, value_name = "NAMES")]
    pub keep_devices: Option<String>,
    /// Prints the result as one JSON line, and asks nothing
    #[arg(long)]
    pub json: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum LogFormat {
    /// Lines for people
    Text,
    /// One JSON object a line
    Json,
}

#[cfg(test)]
mod tests {
    use clap::CommandFactory as _;

    use super::*;

    #[test]
    fn the_command_line_is_consistent() {
        Cli::command().debug_assert();
    }

    #[test]
    fn metrics_are_at_an_address_or_off() {
        let at = |said: &str| said.parse::<MetricsAt>().map(|at| at.to_string());
        assert_eq!(at("off").as_deref(), Ok("off"));
        assert_eq!(at("[::1]:0").as_deref(), Ok("[::1]:0"));
        assert!(at("7423").is_err());
        let cli = Cli::try_parse_from(["baywrightd", "serve"]).unwrap();
        let Command::Serve(serve) = cli.command else {
            panic!("serve is serve");
        };
        assert_eq!(serve.metrics.to_string(), "127.0.0.1:7423");
    }
}
