//! The command line of `baywrightd`.

use std::net::{Ipv4Addr, SocketAddr};
use std::path::PathBuf;

use baywright_proto::DEFAULT_PORT;
use clap::{Args, Parser, Subcommand, ValueEnum};

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
    /// Checks that the log is what was appended, byte for byte; beside a running daemon too
    Verify(VerifyArgs),
    /// Works the facts out of the log anew, with no daemon running
    Rebuild(RebuildArgs),
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
    #[arg(long = "data", value_name = "DIR", env = "BAYWRIGHT_DATA")]
    pub dir: Option<PathBuf>,
}

#[derive(Debug, Args)]
pub struct ServeArgs {
    #[command(flatten)]
    pub data: DataArgs,
    /// Address and port, on this computer only; port 0 takes a free one
    #[arg(long, value_name = "ADDRESS:PORT", default_value_t = default_listen())]
    pub listen: SocketAddr,
    /// Unix socket for bays on this computer [default: bay.sock in the data directory]
    #[arg(long, value_name = "PATH")]
    pub socket: Option<PathBuf>,
    /// How the trace on standard error is written; RUST_LOG chooses what
    #[arg(long, value_enum, default_value_t = LogFormat::Text)]
    pub log: LogFormat,
    /// Prints one JSON line on standard output when it can append
    #[arg(long)]
    pub json: bool,
}

#[derive(Debug, Args)]
pub struct VerifyArgs {
    #[command(flatten)]
    pub data: DataArgs,
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

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum LogFormat {
    /// Lines for people
    Text,
    /// One JSON object a line
    Json,
}

fn default_listen() -> SocketAddr {
    SocketAddr::from((Ipv4Addr::LOCALHOST, DEFAULT_PORT))
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
    fn the_default_is_the_documented_port_on_loopback() {
        let cli = Cli::try_parse_from(["baywrightd", "serve"]).unwrap();
        let Command::Serve(serve) = cli.command else {
            panic!("serve is serve");
        };
        assert_eq!(serve.listen.to_string(), "127.0.0.1:7421");
    }
}
