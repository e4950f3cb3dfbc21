//! The page of figures: what was counted, and what is asked for when it is read.

use std::fmt;
use std::path::PathBuf;
use std::sync::Arc;

use baywright_terms::time::SECOND_US;
use prometheus_client::collector::Collector;
use prometheus_client::encoding::{DescriptorEncoder, EncodeMetric as _, text};
use prometheus_client::metrics::MetricType;
use prometheus_client::metrics::gauge::ConstGauge;
use prometheus_client::metrics::info::Info;
use prometheus_client::registry::{Registry, Unit};
use tokio_util::sync::CancellationToken;

use super::delay::DEVICES_MAX;
use super::{Metrics, float};
use crate::access::Access;
use crate::backup::noted;
use crate::clock::Clock;
use crate::facts::FACTS_FILE;
use crate::journal::follow::Standing;
use crate::journal::schema::LOG_FILE;
use crate::journal::writer::{QUEUE_POSTS_MAX, Writer};

/// Every name on the page begins with it.
const PREFIX: &str = "baywright";

/// What is looked at when the page is read.
#[derive(Debug)]
pub struct Live {
    pub data_dir: PathBuf,
    pub writer: Writer,
    pub clock: Arc<dyn Clock>,
    pub metrics: Arc<Metrics>,
    pub access: Access,
    pub stop: CancellationToken,
}

/// The page, ready to be written out any number of times.
#[derive(Debug)]
pub struct Page {
    registry: Registry,
    live: Arc<Live>,
}

impl Page {
    /// Puts the page together.
    pub fn new(live: Live) -> Self {
        let live = Arc::new(live);
        let mut registry = Registry::with_prefix(PREFIX);
        registry.register(
            "build",
            "The build that runs",
            Info::new([("version", env!("CARGO_PKG_VERSION"))]),
        );
        live.metrics.register(&mut registry);
        registry.register_collector(Box::new(Arc::clone(&live)));
        Self { registry, live }
    }

    /// The figures in the OpenMetrics text format.
    ///
    /// # Errors
    /// If a figure cannot be written, which no figure of ours should give cause for.
    pub fn figures(&self) -> Result<String, fmt::Error> {
        let mut page = String::new();
        text::encode(&mut page, &self.registry)?;
        Ok(page)
    }

    /// Nothing while posts are appended; else the reason, in a line.
    ///
    /// # Errors
    /// The reason.
    pub fn health(&self) -> Result<u64, String> {
        let heads = self.live.writer.heads().borrow().clone();
        if let Some(why) = heads.read_only {
            return Err(format!("the log is read-only: {why}"));
        }
        if heads.closed || self.live.stop.is_cancelled() {
            return Err("the daemon is stopping".to_owned());
        }
        match self.live.metrics.not_written() {
            Some(why) => Err(format!("the last posts could not be written: {why}")),
            None => Ok(heads.log_seq),
        }
    }
}

impl Collector for Live {
    fn encode(&self, mut encoder: DescriptorEncoder<'_>) -> Result<(), fmt::Error> {
        let mut sheet = Sheet(&mut encoder);
        self.of_the_log(&mut sheet)?;
        self.of_the_disk(&mut sheet)?;
        self.of_the_spools(&mut sheet)?;
        self.of_the_certificates(&mut sheet)?;
        self.of_the_backup(&mut sheet)
    }
}

impl Live {
    fn of_the_log(&self, sheet: &mut Sheet<'_, '_>) -> fmt::Result {
        let heads = self.writer.heads().borrow().clone();
        let waiting = float(self.writer.waiting());
        let appends =
            heads.read_only.is_none() && !heads.closed && self.metrics.not_written().is_none();
        let follows = heads.facts == Standing::Following;
        sheet.gauge("queue_posts", "Posts that wait for the disk", waiting)?;
        sheet.gauge(
            "queue_posts_limit",
            "Posts that may wait; past it a bay is told to send again",
            float(QUEUE_POSTS_MAX),
        )?;
        sheet.gauge("log_head_seq", "The last seq of the log", heads.log_seq)?;
        sheet.gauge(
            "facts_lag_records",
            "Records of the log that the facts do not hold yet",
            heads.log_seq.saturating_sub(heads.facts_seq),
        )?;
        sheet.gauge(
            "appending",
            "1 while posts are appended, 0 while they are not",
            u64::from(appends),
        )?;
        sheet.gauge(
            "facts_following",
            "1 while the facts move on with the log, 0 while they do not",
            u64::from(follows),
        )
    }

    /// Sizes of the databases. A file that is not there has no bytes.
    fn of_the_disk(&self, sheet: &mut Sheet<'_, '_>) -> fmt::Result {
        let files = [("log", LOG_FILE), ("facts", FACTS_FILE)];
        let sizes = |beside: &str| {
            files.map(|(database, file)| {
                let path = self.data_dir.join(format!("{file}{beside}"));
                let bytes = std::fs::metadata(path).map_or(0, |file| file.len());
                ([("database", database)], bytes)
            })
        };
        sheet.family(
            "database_size",
            "Size of a database without its write-ahead log",
            &Unit::Bytes,
            sizes(""),
        )?;
        sheet.family(
            "wal_size",
            "Size of the write-ahead log of a database",
            &Unit::Bytes,
            sizes("-wal"),
        )
    }

    fn of_the_spools(&self, sheet: &mut Sheet<'_, '_>) -> fmt::Result {
        let delays = self.metrics.delays().all();
        if delays.is_empty() {
            return Ok(());
        }
        sheet.family(
            "spool_delay",
            "How long the post of a device that arrived last had waited in its spool",
            &Unit::Seconds,
            delays
                .iter()
                .map(|(device, delay)| ([("device", device.as_str())], seconds(delay.last_us))),
        )?;
        sheet.family(
            "spool_delay_max",
            "The longest that a post of a device waited in its spool, since the daemon began",
            &Unit::Seconds,
            delays
                .iter()
                .map(|(device, delay)| ([("device", device.as_str())], seconds(delay.max_us))),
        )
    }

    /// Those of the shop's authority and the daemon do not end.
    fn of_the_certificates(&self, sheet: &mut Sheet<'_, '_>) -> fmt::Result {
        let Some(kept) = self.access.kept() else {
            return Ok(());
        };
        let now = self.clock.now();
        let mut devices: Vec<_> = kept
            .devices
            .lines()
            .into_iter()
            .map(|line| line.device)
            .filter(|device| device.cut_off_us == 0 && device.expires_us != 0)
            .collect();
        // The page is bounded; those that end first are what matters.
        devices.sort_by_key(|device| device.expires_us);
        devices.truncate(DEVICES_MAX);
        if devices.is_empty() {
            return Ok(());
        }
        sheet.family(
            "certificate_left",
            "Time until the certificate of a device ends; the device renews it by itself",
            &Unit::Seconds,
            devices.iter().map(|device| {
                let left_us = device.expires_us.saturating_sub(now.0);
                ([("device", device.name.as_str())], seconds(left_us))
            }),
        )
    }

    fn of_the_backup(&self, sheet: &mut Sheet<'_, '_>) -> fmt::Result {
        let Some(backup) = noted::read(&self.data_dir) else {
            return Ok(());
        };
        let age_us = self.clock.now().0.saturating_sub(backup.made_us).max(0);
        sheet.gauge(
            "backup_head_seq",
            "The last seq that the last backup holds",
            backup.seq,
        )?;
        sheet.family(
            "backup_age",
            "Time since the last backup was finished",
            &Unit::Seconds,
            [([] as [(&str, &str); 0], seconds(age_us))],
        )
    }
}

/// Writes figures that are made for the page.
struct Sheet<'e, 'w>(&'e mut DescriptorEncoder<'w>);

impl Sheet<'_, '_> {
    fn gauge<N>(&mut self, name: &str, help: &str, value: N) -> fmt::Result
    where
        ConstGauge<N>: prometheus_client::encoding::EncodeMetric,
    {
        let help = format!("{help}.");
        let metric = self
            .0
            .encode_descriptor(name, &help, None, MetricType::Gauge)?;
        ConstGauge::new(value).encode(metric)
    }

    fn family<'l, N, const LABELS: usize>(
        &mut self,
        name: &str,
        help: &str,
        unit: &Unit,
        values: impl IntoIterator<Item = ([(&'l str, &'l str); LABELS], N)>,
    ) -> fmt::Result
    where
        ConstGauge<N>: prometheus_client::encoding::EncodeMetric,
    {
        let help = format!("{help}.");
        let mut metric = self
            .0
            .encode_descriptor(name, &help, Some(unit), MetricType::Gauge)?;
        for (labels, value) in values {
            ConstGauge::new(value).encode(metric.encode_family(&labels)?)?;
        }
        Ok(())
    }
}

/// Microseconds as the page gives them.
#[allow(
    clippy::cast_precision_loss,
    reason = "a figure to look at; below 285 years it is exact to the microsecond"
)]
fn seconds(us: i64) -> f64 {
    us as f64 / SECOND_US as f64
}
