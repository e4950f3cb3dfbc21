//! The command line: common flags and the tree of commands.
//!
//! Values such as amounts and temperatures are read by the commands, not by
//! clap: one that cannot be read is a refusal with a hint, not a usage error.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand};

use crate::commands;

/// The memory of the shop's floor, at your bay.
///
/// Without a command: what is on here, and the likely next facts by number.
#[derive(Debug, Parser)]
#[command(
    name = "bay",
    version,
    max_term_width = 100,
    disable_help_subcommand = true
)]
pub struct Cli {
    #[command(flatten)]
    pub common: Common,
    #[command(subcommand)]
    pub command: Option<Command>,
}

/// Flags that every command knows.
#[expect(clippy::struct_excessive_bools, reason = "each is a flag of its own")]
#[derive(Debug, Clone, Default, Args)]
#[command(next_help_heading = "Common flags")]
pub struct Common {
    /// Where the daemon listens: HOST:PORT or unix:PATH.
    #[arg(long, global = true, env = "BAYWRIGHT_SERVER", value_name = "PLACE")]
    pub server: Option<String>,
    /// This bay, by its catalogue code.
    #[arg(long, global = true, env = "BAYWRIGHT_BAY", value_name = "CODE")]
    pub bay: Option<String>,
    /// Who did it, by code; several with commas.
    #[arg(long, global = true, value_name = "WORKER", value_delimiter = ',')]
    pub by: Vec<String>,
    /// The job it is about: its number, or a bay's handle such as b2-7.
    #[arg(long, global = true, value_name = "JOB")]
    pub job: Option<String>,
    /// It happened at this time of day, in the shop's zone: 14:05.
    #[arg(long, global = true, value_name = "TIME", conflicts_with = "ago")]
    pub at: Option<String>,
    /// It happened so long ago: 10m, 1h30m.
    #[arg(long, global = true, value_name = "SPAN", allow_hyphen_values = true)]
    pub ago: Option<String>,
    /// Say what would be posted, and post nothing.
    #[arg(long, global = true)]
    pub dry: bool,
    /// Keep it even where a code is unknown.
    #[arg(long, global = true)]
    pub anyway: bool,
    /// Print one JSON object.
    #[arg(long, global = true)]
    pub json: bool,
    /// What a bare `floz` or `gal` means here: metric, us or imperial.
    #[arg(long, global = true, value_name = "SYSTEM")]
    pub units: Option<String>,
    /// Without colour.
    #[arg(long, global = true)]
    pub no_color: bool,
    /// Where this bay keeps its spool.
    #[arg(
        long,
        global = true,
        env = "BAYWRIGHT_DATA",
        value_name = "FOLDER",
        hide = true
    )]
    pub data: Option<PathBuf>,
}

/// What can be said at a bay, and asked by the owner.
#[derive(Debug, Subcommand)]
pub enum Command {
    Open(commands::open::OpenArgs),
    Bring(commands::place::BringArgs),
    Move(commands::place::MoveArgs),
    Start(commands::stage::StartArgs),
    Pause(commands::stage::PauseArgs),
    Resume(commands::stage::ResumeArgs),
    Done(commands::stage::DoneArgs),
    Break(commands::stage::BreakArgs),
    Dwell(commands::dwell::DwellArgs),
    Air(commands::air::AirArgs),
    Mix(commands::mix::MixArgs),
    Used(commands::used::UsedArgs),
    Refill(commands::used::RefillArgs),
    Coat(commands::panel::CoatArgs),
    Level(commands::panel::LevelArgs),
    Lamp(commands::panel::LampArgs),
    Cured(commands::panel::CuredArgs),
    Flaw(commands::flaw::FlawArgs),
    Cover(commands::cover::CoverArgs),
    Note(commands::note::NoteArgs),
    Release(commands::release::ReleaseArgs),
    Strike(commands::strike::StrikeArgs),
    Now(commands::now::NowArgs),
    Spool(commands::spool::SpoolArgs),
    Week(commands::week::WeekArgs),
    Job(commands::job::JobArgs),
    Quote(commands::quote::QuoteArgs),
    Stock(commands::stock::StockArgs),
    Settle(commands::settle::SettleArgs),
    Catalogue(commands::catalogue::CatalogueArgs),
    Type(commands::job_type::TypeArgs),
    Learned(commands::learned::LearnedArgs),
    Import(commands::import::ImportArgs),
    Export(commands::export::ExportArgs),
    Join(commands::join::JoinArgs),
    #[command(hide = true)]
    Completions(commands::generate::CompletionsArgs),
    #[command(hide = true)]
    Man(commands::generate::ManArgs),
}
