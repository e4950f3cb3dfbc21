//! What every command needs: flags, folders, clocks, the connection, and the
//! cached catalogue. Everything beyond the flags is made when first asked for,
//! so that a post opens nothing it does not need.

use std::cell::OnceCell;
use std::future::Future;
use std::io::IsTerminal as _;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use baywright_terms::catalogue::{Catalogue, UnitSystem};
use jiff::tz::TimeZone;
use tokio::runtime::Runtime;
use tonic::transport::Channel;
use tonic::{Response, Status};

use crate::answer::Output;
use crate::args::Common;
use crate::cache::Cache;
use crate::clock::Clocks;
use crate::config::{Config, Places};
use crate::connect::{CALL_MS_MAX, Server};
use crate::error::Error;

/// One run of `bay`.
#[derive(Debug)]
pub struct Context {
    pub common: Common,
    pub output: Output,
    pub clocks: Arc<dyn Clocks>,
    server: Server,
    data: PathBuf,
    cache: Cache,
    units: Option<UnitSystem>,
    runtime: OnceCell<Runtime>,
    channel: OnceCell<Result<Channel, Error>>,
}

impl Context {
    /// Puts flags, environment and configuration together; flags win.
    pub fn new(mut common: Common, clocks: Arc<dyn Clocks>) -> Result<Self, Error> {
        let places = Places::find();
        let config = match &places {
            Ok(places) => Config::read(&places.config)?,
            Err(_) => Config::default(),
        };
        let data = match common.data.clone().or(config.data) {
            Some(data) => data,
            None => places?.data,
        };
        common.bay = common.bay.or(config.bay).filter(|b| !b.is_empty());
        let server = match common.server.as_ref().or(config.server.as_ref()) {
            Some(place) => place.parse()?,
            None => Server::Default,
        };
        let units = match common.units.as_ref().or(config.units.as_ref()) {
            Some(word) => Some(unit_system(word)?),
            None => None,
        };
        let output = Output {
            json: common.json,
            no_color: common.no_color,
        };
        Ok(Self {
            cache: Cache::at(&data),
            common,
            output,
            clocks,
            server,
            data,
            units,
            runtime: OnceCell::new(),
            channel: OnceCell::new(),
        })
    }

    /// The folder of spool and caches.
    pub fn data_dir(&self) -> &Path {
        &self.data
    }

    pub fn server(&self) -> &Server {
        &self.server
    }

    pub fn cache(&self) -> &Cache {
        &self.cache
    }

    /// The bay's cached copy of the catalogue; `None` where it never had one.
    pub fn catalogue(&self) -> Option<&Catalogue> {
        self.cache.catalogue()
    }

    /// The shop's zone as far as this bay knows it, else UTC.
    pub fn zone(&self) -> TimeZone {
        self.catalogue()
            .and_then(|c| c.shop.as_ref())
            .map_or(TimeZone::UTC, |shop| zone_named(&shop.zone))
    }

    /// What a bare `floz` or `gal` means: the flag, else the shop's habit.
    pub fn units(&self) -> UnitSystem {
        self.units.unwrap_or_else(|| {
            self.catalogue()
                .and_then(|c| c.shop.as_ref())
                .map_or(UnitSystem::default(), |shop| shop.units)
        })
    }

    /// The bay's code, or how to name one.
    pub fn bay(&self) -> Result<&str, Error> {
        self.common.bay.as_deref().ok_or_else(|| {
            Error::usage("Which bay is this?")
                .with_hint("Add --bay CODE, or set BAYWRIGHT_BAY, or `bay = \"CODE\"` in bay.toml.")
        })
    }

    /// True where a person can be asked.
    pub fn can_ask(&self) -> bool {
        !self.output.json && std::io::stdin().is_terminal() && std::io::stderr().is_terminal()
    }

    /// Runs a future on the one thread of this process.
    pub fn block_on<F: Future>(&self, future: F) -> Result<F::Output, Error> {
        let runtime = if let Some(runtime) = self.runtime.get() {
            runtime
        } else {
            let made = tokio::runtime::Builder::new_current_thread()
                .enable_all()
                .build()
                .map_err(|e| Error::internal(format!("No room for a runtime: {e}.")))?;
            self.runtime.get_or_init(|| made)
        };
        Ok(runtime.block_on(future))
    }

    /// The connection, opened on first use. A failure is remembered: one run
    /// waits for a silent daemon once.
    pub fn channel(&self) -> Result<Channel, Error> {
        if let Some(known) = self.channel.get() {
            return known.clone();
        }
        let opened = self.block_on(self.server.connect())?;
        self.channel.get_or_init(|| opened).clone()
    }

    /// Makes one call that needs an answer, within [`CALL_MS_MAX`].
    ///
    /// `wanted` names what is asked for in a message, as in "the week".
    pub fn call<T, F>(&self, wanted: &str, ask: impl FnOnce(Channel) -> F) -> Result<T, Error>
    where
        F: Future<Output = Result<Response<T>, Status>>,
    {
        self.call_within(CALL_MS_MAX, wanted, ask)
    }

    /// As [`Context::call`] with a deadline of its own, for reports.
    pub fn call_within<T, F>(
        &self,
        limit_ms: u64,
        wanted: &str,
        ask: impl FnOnce(Channel) -> F,
    ) -> Result<T, Error>
    where
        F: Future<Output = Result<Response<T>, Status>>,
    {
        let channel = self.channel()?;
        let answer = self.block_on(async {
            tokio::time::timeout(Duration::from_millis(limit_ms), ask(channel)).await
        })?;
        match answer {
            Ok(Ok(response)) => Ok(response.into_inner()),
            Ok(Err(status)) => Err(Error::from_status(&status, wanted)),
            Err(_) => Err(Error::unreachable(format!(
                "The daemon at {} did not give {wanted} within {} s.",
                self.server,
                limit_ms / 1_000
            ))),
        }
    }
}

/// A zone by its IANA name, from the data built into this program: looking
/// through the system's folder costs more than the whole post.
pub fn zone_named(name: &str) -> TimeZone {
    jiff::tz::TimeZoneDatabase::bundled()
        .get(name)
        .unwrap_or(TimeZone::UTC)
}

fn unit_system(word: &str) -> Result<UnitSystem, Error> {
    match word {
        "metric" => Ok(UnitSystem::Metric),
        "us" => Ok(UnitSystem::Us),
        "imperial" => Ok(UnitSystem::Imperial),
        _ => Err(Error::usage(format!("`{word}` is not a system of units."))
            .with_hint("Known: metric, us, imperial.")),
    }
}
