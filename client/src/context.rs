//! What every command needs: flags, folders, clocks, the connection, and the
//! cached catalogue. Everything beyond the flags is made when first asked for,
//! so that a post opens nothing it does not need.

use std::cell::{OnceCell, RefCell, RefMut};
use std::future::Future;
use std::io::IsTerminal as _;
use std::path::{Path, PathBuf};
use std::rc::Rc;
use std::sync::Arc;
use std::time::Duration;

use baywright_proto::v1;
use baywright_proto::v1::catalogue_service_client::CatalogueServiceClient;
use baywright_proto::v1::hello_service_client::HelloServiceClient;
use baywright_terms::catalogue::UnitSystem;
use baywright_terms::time::{FUTURE_SLACK_US, Micros, zone};
use jiff::tz::TimeZone;
use tokio::runtime::Runtime;
use tonic::transport::Channel;
use tonic::{Response, Status};

use crate::answer::Output;
use crate::args::Common;
use crate::cache::{Cache, Held};
use crate::clock::Clocks;
use crate::config::{Config, Places};
use crate::connect::{CALL_MS_MAX, Link, Server};
use crate::delivery::Noticed;
use crate::delivery::refusal::Refused;
use crate::delivery::step;
use crate::device::Device;
use crate::error::{Error, Kind};
use crate::joined::Joined;
use crate::joined::renew::renew;

/// The time of an earlier fact that is said anew.
#[derive(Debug, Clone, Default)]
pub struct StandIn {
    pub clocks: Option<v1::Clocks>,
    pub occurred: Option<v1::fact::Occurred>,
}

/// Longest wait for the daemon's clock: the fact that it is for has waits of its own.
const SHOP_NOW_MS_MAX: u64 = 1_000;

/// One run of `bay`.
#[derive(Debug)]
pub struct Context {
    pub common: Common,
    pub output: Output,
    pub clocks: Arc<dyn Clocks>,
    data: PathBuf,
    cache: Cache,
    units: Option<UnitSystem>,
    runtime: OnceCell<Runtime>,
    link: RefCell<Link>,
    device: OnceCell<RefCell<Device>>,
    /// Set where a set-aside fact is said anew.
    pub stand_in: Option<StandIn>,
    /// The daemon's clock as its last receipt had it; 0: none came.
    daemon_now_us: std::cell::Cell<i64>,
    /// The catalogue was asked for in this run: once is enough.
    asked: std::cell::Cell<bool>,
    /// The daemon was asked in this run whether it was restored.
    looked: std::cell::Cell<bool>,
    /// What that showed, and is not said yet.
    noticed: std::cell::Cell<Option<Noticed>>,
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
            Some(place) => Some(place.parse()?),
            None => None,
        };
        let units = match common.units.as_ref().or(config.units.as_ref()) {
            Some(word) => Some(unit_system(word)?),
            None => None,
        };
        let output = Output {
            json: common.json,
            no_color: common.no_color,
        };
        // A certificate that cannot be read must not keep a fact from the spool.
        let link = Link::of_folder(&data, server).unwrap_or_else(Link::broken);
        Ok(Self {
            cache: Cache::at(&data),
            common,
            output,
            clocks,
            data,
            units,
            runtime: OnceCell::new(),
            link: RefCell::new(link.waiting_once()),
            daemon_now_us: std::cell::Cell::new(0),
            device: OnceCell::new(),
            stand_in: None,
            asked: std::cell::Cell::new(false),
            looked: std::cell::Cell::new(false),
            noticed: std::cell::Cell::new(None),
        })
    }

    /// A context for a command that says an earlier fact anew, at its time.
    /// What the inner command line leaves out is as on the outer one.
    pub fn standing_in(&self, inner: Common, stand_in: StandIn) -> Result<Self, Error> {
        let outer = self.common.clone();
        let common = Common {
            server: outer.server,
            data: Some(self.data.clone()),
            bay: inner.bay.or(outer.bay),
            by: if inner.by.is_empty() {
                outer.by
            } else {
                inner.by
            },
            job: inner.job.or(outer.job),
            units: inner.units.or(outer.units),
            dry: inner.dry || outer.dry,
            anyway: inner.anyway || outer.anyway,
            json: outer.json,
            no_color: outer.no_color,
            at: inner.at,
            ago: inner.ago,
        };
        let mut context = Self::new(common, Arc::clone(&self.clocks))?;
        context.stand_in = Some(stand_in);
        Ok(context)
    }

    /// The folder of spool and caches.
    pub fn data_dir(&self) -> &Path {
        &self.data
    }

    pub fn server(&self) -> Server {
        self.link.borrow().server().clone()
    }

    /// The connection, for posts.
    pub fn link(&self) -> RefMut<'_, Link> {
        self.link.borrow_mut()
    }

    /// This bay's device with its spool, opened on first use.
    pub fn device(&self) -> Result<RefMut<'_, Device>, Error> {
        let device = if let Some(device) = self.device.get() {
            device
        } else {
            let start = self.common.bay.as_deref().unwrap_or("bay");
            let opened = Device::open_named(&self.data, Arc::clone(&self.clocks), start)?;
            self.device.get_or_init(|| RefCell::new(opened))
        };
        Ok(device.borrow_mut())
    }

    pub fn cache(&self) -> &Cache {
        &self.cache
    }

    /// The bay's cached copy of the catalogue; `None` where it never had one.
    pub fn catalogue(&self) -> Option<Rc<Held>> {
        self.cache.held()
    }

    /// The catalogue, asked from the daemon where this bay has none.
    pub fn catalogue_or_ask(&self) -> Option<Rc<Held>> {
        self.catalogue().or_else(|| {
            self.refresh_catalogue();
            self.catalogue()
        })
    }

    /// Asks the daemon for a newer catalogue, once in a run. Tells whether
    /// there is one. Without a daemon the cached one stays: that is no failure.
    pub fn refresh_catalogue(&self) -> bool {
        if self.asked.replace(true) {
            return false;
        }
        let held_revision = self.catalogue().map_or(0, |h| h.revision);
        let request = v1::GetCatalogueRequest {
            at_us: 0,
            held_revision,
        };
        let answer = self.call("the catalogue", async |channel| {
            CatalogueServiceClient::new(channel)
                .get_catalogue(request)
                .await
        });
        match answer {
            Ok(answer) if answer.catalogue.is_some() || self.catalogue().is_none() => {
                // A cache that cannot be written costs a question next time.
                self.cache.keep_catalogue(&answer).is_ok()
            }
            Ok(_) | Err(_) => false,
        }
    }

    /// Asks for the catalogue again where the daemon names a newer one.
    pub fn note_revision(&self, revision: u64) {
        if revision > self.catalogue().map_or(0, |h| h.revision) {
            self.asked.set(false);
            self.refresh_catalogue();
        }
    }

    /// Notes the daemon's clock, by which certificates end.
    pub fn note_daemon_time(&self, now_us: i64) {
        self.daemon_now_us.set(now_us);
    }

    /// Renews this device's certificate where that is due and a connection is
    /// open. Where it fails, the next command tries again: months are left.
    pub fn renew_when_due(&self) {
        let Some(channel) = self.link.borrow().opened() else {
            return;
        };
        let now_us = match self.daemon_now_us.get() {
            0 => self.clocks.wall_us(),
            now_us => now_us,
        };
        let Ok(Some(mut joined)) = Joined::read(&self.data) else {
            return;
        };
        if joined.is_due(now_us) {
            let _ = self.block_on(renew(&mut joined, channel));
        }
    }

    /// Now, by this device's clock.
    pub fn now(&self) -> Micros {
        Micros(self.clocks.wall_us())
    }

    /// Now, for a time of day as it is typed: by the daemon's clock where it
    /// answers, since a typed time is never corrected and this device's clock may
    /// be wrong. Without it, a clock before the daemon's last word is refused.
    pub fn shop_now(&self) -> Result<Micros, Error> {
        let asked = self.call_within(SHOP_NOW_MS_MAX, "the time", async |channel| {
            HelloServiceClient::new(channel)
                .hello(v1::HelloRequest::default())
                .await
        });
        let own = self.now();
        match asked {
            Ok(answer) if answer.now_us > 0 => return Ok(Micros(answer.now_us)),
            // Which of the two is wrong nobody knows; that one is, is sure.
            Ok(_) | Err(_) => {}
        }
        let seen_us = self.cache.now().map_or(i64::MIN, |now| now.as_of_us);
        if own.0.saturating_add(FUTURE_SLACK_US) < seen_us {
            return Err(Error::refused(format!(
                "This bay's clock shows {}, which is before the daemon was last heard: \
                 a time of day cannot be read with it.",
                own.date_and_clock(&self.zone())
            ))
            .with_hint("Say how long it is ago: --ago 25m. That is right with any clock."));
        }
        Ok(own)
    }

    /// The shop's zone as far as this bay knows it, else UTC.
    pub fn zone(&self) -> TimeZone {
        self.catalogue()
            .and_then(|held| zone(&held.catalogue.shop.as_ref()?.zone).ok())
            .unwrap_or(TimeZone::UTC)
    }

    /// What a bare `floz` or `gal` means: the flag, else the shop's habit.
    pub fn units(&self) -> UnitSystem {
        self.units.unwrap_or_else(|| {
            self.catalogue()
                .and_then(|held| Some(held.catalogue.shop.as_ref()?.units))
                .unwrap_or_default()
        })
    }

    /// The bay's code; empty where nobody named one.
    pub fn bay(&self) -> &str {
        self.common.bay.as_deref().unwrap_or_default()
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
        let channel = {
            let mut link = self.link.borrow_mut();
            self.block_on(link.channel())??
        };
        self.look(&channel)?;
        Ok(channel)
    }

    /// Finds out, once in a run and where this bay has posted before, whether the
    /// daemon was restored; sends again what it lost. The command itself depends
    /// on it only where nobody answers, or in another protocol: it is not asked
    /// again then.
    fn look(&self, channel: &Channel) -> Result<(), Error> {
        if self.looked.replace(true) || !crate::spool::is_there(&self.data) {
            return Ok(());
        }
        // A command that holds the device is at its posts, and they look.
        if self.device.get().is_none() && self.device().is_err() {
            return Ok(());
        }
        let Some(Ok(mut device)) = self.device.get().map(RefCell::try_borrow_mut) else {
            return Ok(());
        };
        match self.block_on(device.look(channel))? {
            Ok(Some(noticed)) => self.noticed.set(Some(noticed)),
            Err(error) if matches!(error.kind(), Kind::Unreachable | Kind::Version) => {
                if let Ok(mut link) = self.link.try_borrow_mut() {
                    link.give_up(error.clone());
                }
                return Err(error);
            }
            // Anything else is the command's own to meet.
            Ok(None) | Err(_) => {}
        }
        Ok(())
    }

    /// What was found out about the daemon and is not said yet.
    pub fn noticed(&self) -> Option<Noticed> {
        self.noticed.take()
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
            Ok(Err(status)) => {
                let refused = Refused::of_call(&status, wanted);
                let channel = self.channel()?;
                let refused =
                    self.block_on(step::explained(&channel, &*self.clocks, "", refused))?;
                Err(refused.error)
            }
            Err(_) => Err(Error::unreachable(format!(
                "The daemon at {} did not give {wanted} within {} s.",
                self.server(),
                limit_ms / 1_000
            ))),
        }
    }
}

/// A zone by its IANA name; UTC where there is no such zone.
pub fn zone_named(name: &str) -> TimeZone {
    zone(name).unwrap_or(TimeZone::UTC)
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
