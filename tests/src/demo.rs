//! `baywright-demo`: an invented shop posts twelve weeks of work over real
//! gRPC into a durable log; the end-of-week report comes out.

use std::ffi::OsString;
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode};

use anyhow::{Context as _, Result, ensure};
use baywright_client::clock::{Clocks as _, MachineClocks};
use baywright_client::connect::Link;
use baywright_client::joined::Joined;
use baywright_terms::time::{Micros, Week};
use clap::Parser;
use indicatif::{ProgressBar, ProgressStyle};
use jiff::civil::Date;
use jiff::tz::TimeZone;

use crate::harness::{self, AS_BAY, Daemon};
use crate::post::{OFFICE, Poster};
use crate::shop::{self, Shop};
use crate::twice;

/// The catalogue of the invented shop.
const EXAMPLE: &str = include_str!("../../deploy/example-shop.toml");

/// An invented shop posts twelve weeks of work; the last week comes out.
#[derive(Debug, Parser)]
#[command(name = "baywright-demo", version, max_term_width = 100)]
struct Args {
    /// Another seed is another shop.
    #[arg(long, default_value_t = 7)]
    seed: u64,
    /// Weeks of work that end with last week.
    #[arg(long, default_value_t = 12, value_parser = clap::value_parser!(u32).range(1..=52))]
    weeks: u32,
    /// Where to keep the data; by default a temporary place that is named at the end.
    #[arg(long, value_name = "DIR")]
    keep: Option<PathBuf>,
    /// Posts to a daemon that runs already, from a folder whose bay-1, bay-2, bay-3
    /// and office have each joined it; starts none and prints the week.
    #[arg(long, value_name = "DIR", conflicts_with = "keep")]
    joined: Option<PathBuf>,
}

/// Runs the demo; the first argument is the program's name.
pub fn run(args: impl IntoIterator<Item = OsString>) -> ExitCode {
    let args = match Args::try_parse_from(args) {
        Ok(args) => args,
        Err(error) => {
            let _ = error.print();
            return ExitCode::from(u8::try_from(error.exit_code()).unwrap_or(2));
        }
    };
    match demo(&args) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("Error: {error:#}.");
            ExitCode::FAILURE
        }
    }
}

fn demo(args: &Args) -> Result<()> {
    let binary = std::env::current_exe().context("this program does not know where it lies")?;
    let home = home(args)?;
    let catalogue = baywright_terms::catalogue::file::read(EXAMPLE)
        .map_err(|faults| anyhow::anyhow!("the example catalogue has {} faults", faults.len()))?;
    let zone_name = catalogue.shop.as_ref().map_or("UTC", |s| s.zone.as_str());
    let zone = baywright_terms::time::zone(zone_name)?;
    let now = Micros(MachineClocks::default().wall_us());
    let shop = shop::simulate(
        &catalogue,
        &zone,
        now.civil(&zone).date(),
        args.weeks,
        args.seed,
    );
    let week = Week::of_date(shop.last_week);
    println!(
        "An invented shop: {} bays, {} workers, {} weeks up to {week}, seed {}.",
        shop.bays.len(),
        catalogue.workers.len(),
        args.weeks,
        args.seed
    );
    if args.joined.is_some() {
        let shop_folder = Home {
            owner: home.join(OFFICE),
            address: joined_server(&home)?,
            folder: home,
        };
        return tell(&binary, &shop_folder, &shop, &zone, week);
    }
    let daemon = Daemon::start(&binary, &home.join("server"))?;
    println!(
        "A daemon listens on {} and keeps its log in {}.",
        daemon.address,
        daemon.data.display()
    );
    let shop_folder = Home {
        owner: home.join("owner"),
        address: daemon.address.clone(),
        folder: home.clone(),
    };
    let outcome = tell(&binary, &shop_folder, &shop, &zone, week);
    let stopped = daemon.stop();
    outcome?;
    stopped?;
    what_next(&binary, &home, &shop, week);
    Ok(())
}

/// Where the invented shop's devices are, and their daemon.
struct Home {
    /// Holds one folder for each device.
    folder: PathBuf,
    /// The owner's.
    owner: PathBuf,
    /// `HOST:PORT`.
    address: String,
}

impl Home {
    /// The owner's way to the daemon.
    fn link(&self) -> Result<Link> {
        Ok(Link::of_folder(&self.owner, Some(self.address.parse()?))?)
    }
}

/// The daemon that the devices of a folder have joined.
fn joined_server(home: &Path) -> Result<String> {
    let office = Joined::read(&home.join(OFFICE))?;
    let office = office.with_context(|| {
        format!(
            "{} has not joined: `BAYWRIGHT_DATA={0} bay join HOST CODE` lets it in",
            home.join(OFFICE).display()
        )
    })?;
    Ok(office.about.server)
}

/// The folder for everything: asked for and empty, or temporary; or the one
/// whose devices have joined.
fn home(args: &Args) -> Result<PathBuf> {
    if let Some(joined) = &args.joined {
        return Ok(joined.canonicalize()?);
    }
    let Some(folder) = &args.keep else {
        return Ok(tempfile::Builder::new()
            .prefix("baywright-demo-")
            .tempdir()?
            .keep());
    };
    std::fs::create_dir_all(folder)?;
    let folder = folder.canonicalize()?;
    let empty = std::fs::read_dir(&folder)?.next().is_none();
    ensure!(
        empty,
        "{} is not empty; name a new folder, so that no data of yours is touched",
        folder.display()
    );
    Ok(folder)
}

/// Applies the catalogue, posts everything, prints the week.
fn tell(binary: &Path, home: &Home, shop: &Shop, zone: &TimeZone, week: Week) -> Result<()> {
    let guess_seq = apply_catalogue(binary, home, shop, zone)?;
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()?;
    let bar = ProgressBar::new(u64::try_from(shop.happenings.len()).unwrap_or(u64::MAX));
    bar.set_style(
        ProgressStyle::with_template("{msg} [{bar:40}] {pos} of {len} posts, {eta} left")?
            .progress_chars("=> "),
    );
    let mut poster = Poster::new(binary, &home.address, zone, &home.folder, shop)?;
    let by_command = runtime.block_on(async {
        for happening in &shop.happenings {
            bar.set_message(happening.at.civil(zone).date().to_string());
            poster.post(shop, happening).await?;
            bar.inc(1);
        }
        poster.finish().await?;
        anyhow::Ok(poster.by_command)
    })?;
    bar.finish_and_clear();
    println!(
        "{} posts of {} vehicles, {by_command} of them by the `bay` command in an\nafternoon without network and delivered later.",
        shop.happenings.len(),
        shop.jobs.len(),
    );
    println!();
    show(binary, home, &["week", &week.to_string()])?;
    println!();
    let twice = twice::quoted_twice(home.link()?, guess_seq);
    print!("{}", runtime.block_on(twice)?);
    Ok(())
}

/// Applies the catalogue and its later change; returns the log's last seq
/// then: no job has a record yet.
fn apply_catalogue(binary: &Path, home: &Home, shop: &Shop, zone: &TimeZone) -> Result<u64> {
    std::fs::create_dir_all(&home.owner)?;
    let first = shop
        .happenings
        .first()
        .map_or(Micros(0), |h| h.at)
        .civil(zone)
        .date();
    let days = shop.last_week.since(first)?.get_days();
    let raised = first.saturating_add(jiff::Span::new().days(days / 2));
    let mut seq = 0;
    for (text, from) in [(EXAMPLE.to_owned(), first), (with_a_rise()?, raised)] {
        let file = home.owner.join("shop.toml");
        std::fs::write(&file, text)?;
        apply(binary, home, file, from)?;
        // The first posts of a new log.
        seq += 1;
    }
    Ok(seq)
}

/// In the middle of the quarter one worker's rate goes up.
fn with_a_rise() -> Result<String> {
    const BEFORE: &str = "name = \"Ben\"\nrate = \"18.50\"";
    const AFTER: &str = "name = \"Ben\"\nrate = \"19.75\"";
    ensure!(
        EXAMPLE.contains(BEFORE),
        "the example catalogue has no worker Ben at 18.50"
    );
    Ok(EXAMPLE.replace(BEFORE, AFTER))
}

fn apply(binary: &Path, home: &Home, file: PathBuf, from: Date) -> Result<()> {
    let args = [
        "catalogue".into(),
        "apply".into(),
        file.into_os_string(),
        "--yes".into(),
        "--from".into(),
        from.to_string().into(),
    ];
    let output = harness::bay::<_, OsString>(binary, &home.owner, &home.address, "", args)?;
    ensure!(
        output.status.success(),
        "the catalogue was not taken: {}",
        String::from_utf8_lossy(&output.stderr)
    );
    Ok(())
}

/// Runs `bay` for the person who watches: its output is the demo's output.
fn show(binary: &Path, home: &Home, args: &[&str]) -> Result<()> {
    let status = Command::new(binary)
        .arg(AS_BAY)
        .args(args)
        .args(["--server", &home.address])
        .env("BAYWRIGHT_DATA", &home.owner)
        .status()?;
    ensure!(
        status.success(),
        "`bay {}` ended with {status}",
        args.join(" ")
    );
    Ok(())
}

fn what_next(binary: &Path, home: &Path, shop: &Shop, week: Week) {
    let program = binary.display();
    let data = home.join("server");
    println!();
    println!(
        "The data stays in {}. To go on, start the daemon again in one terminal:",
        home.display()
    );
    println!(
        "    {program} as-baywrightd serve --data {}",
        data.display()
    );
    println!("and in another:");
    println!(
        "    alias bay='BAYWRIGHT_DATA={} BAYWRIGHT_BAY=bay-1 {program} as-bay'",
        home.join("owner").display()
    );
    println!("    bay                       # what is on in bay-1, and the likely next facts");
    println!("    bay week {}         # the week before", week.previous());
    println!("    bay week {week} --why f2  # what one printed row is made of");
    println!("    bay week {week} --html week.html   # the same as a page");
    println!("    bay stock                 # what is left, and by when to order");
    println!("    bay job {:<17} # one job's story", shop.jobs.len());
    println!(
        "    bay quote new trike-coat --soil 4 --intricacy 5   # what to ask for the next one"
    );
    println!("    bay quote list            # what was quoted, and what became of it");
    println!("    bay learned               # what the records say about allowances and prices");
    println!("    bay settle                # what the owner should look at");
    println!("    bay used iron-remvoer 350ml");
}
