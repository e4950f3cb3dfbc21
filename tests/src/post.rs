//! Posts the happenings of the invented shop: each bay has a device of its
//! own, through the real client library; what a bay without network says goes
//! through the real `bay` command.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use anyhow::{Context as _, Result, bail, ensure};
use baywright_client::connect::Link;
use baywright_client::device::{Device, How, Posted};
use baywright_proto::v1;
use baywright_proto::v1::fact::Kind;
use baywright_proto::v1::quote_service_client::QuoteServiceClient;
use baywright_terms::code::Code;
use baywright_terms::time::{HOUR_US, MINUTE_US, Micros};
use jiff::tz::TimeZone;

use crate::clocks::StoryClocks;
use crate::harness;
use crate::shop::{Happening, Manner, Shop};

/// The wall clock of the third bay is wrong by this much.
pub const WRONG_CLOCK_US: i64 = 7 * MINUTE_US;

/// An address of the loopback where nothing listens: port 1 is reserved.
const NOWHERE: &str = "127.0.0.1:1";

/// One bay's device and its data folder.
#[derive(Debug)]
struct Bay {
    code: Code,
    folder: PathBuf,
    clocks: Arc<StoryClocks>,
    device: Device,
    link: Link,
    last_use: Option<Vec<u8>>,
    offline: bool,
}

/// A quote that was drafted.
#[derive(Debug)]
struct Quoted {
    event_id: Vec<u8>,
    suggested: v1::Money,
}

/// The office has a device and no bay.
pub(crate) const OFFICE: &str = "office";

/// Posts a shop's happenings in order.
#[derive(Debug)]
pub struct Poster<'a> {
    binary: &'a Path,
    zone: &'a TimeZone,
    bays: Vec<Bay>,
    /// Opening event of each job, by index.
    openings: BTreeMap<usize, Vec<u8>>,
    /// What the daemon printed for each quote, by index.
    quotes: BTreeMap<usize, Quoted>,
    /// Posts that went through the `bay` command.
    pub by_command: u64,
}

impl<'a> Poster<'a> {
    /// One device for each bay, under `home`.
    pub fn new(
        binary: &'a Path,
        address: &'a str,
        zone: &'a TimeZone,
        home: &Path,
        shop: &Shop,
    ) -> Result<Self> {
        let first = shop.happenings.first().map_or(Micros(0), |h| h.at);
        let booted = first.saturating_sub(24 * HOUR_US);
        let mut bays = Vec::new();
        let office = Code::new(OFFICE);
        for (index, code) in shop.bays.iter().chain([&office]).enumerate() {
            let folder = home.join(code.as_str());
            std::fs::create_dir_all(&folder)?;
            let wall_error_us = if index == 2 { WRONG_CLOCK_US } else { 0 };
            let clocks = Arc::new(StoryClocks::new(
                &format!("story-{code}"),
                booted,
                wall_error_us,
            ));
            let device = Device::open_named(&folder, Arc::clone(&clocks) as Arc<_>, code.as_str())?;
            bays.push(Bay {
                code: code.clone(),
                clocks,
                device,
                link: Link::of_folder(&folder, Some(address.parse()?))?,
                folder,
                last_use: None,
                offline: false,
            });
        }
        Ok(Self {
            binary,
            zone,
            bays,
            openings: BTreeMap::new(),
            quotes: BTreeMap::new(),
            by_command: 0,
        })
    }

    /// Posts one happening.
    pub async fn post(&mut self, shop: &Shop, happening: &Happening) -> Result<()> {
        if happening.manner == Manner::Offline
            && let Some(line) = as_command(happening)
        {
            return self.post_by_command(happening, &line);
        }
        let mut fact = self.fact(shop, happening)?;
        self.quote(shop, happening, &mut fact).await?;
        let bay = self
            .bays
            .get_mut(happening.bay)
            .context("a bay of the shop")?;
        if happening.manner == Manner::StrikesLastUse
            && let Kind::StruckOut(strike) = fact.kind.as_mut().context("a kind")?
        {
            strike.event_id = bay.last_use.clone().context("a use to take back")?;
        }
        let is_use = matches!(happening.kind, Kind::ProductUsed(_));
        let event_id = if happening.manner == Manner::Offline {
            bay.offline = true;
            bay.device.keep(fact, &How::default())?.event_id.to_vec()
        } else {
            if std::mem::take(&mut bay.offline) {
                // The network is back.
                bay.device.deliver(&mut bay.link).await?;
            }
            match bay
                .device
                .post(&mut bay.link, fact, &How::default())
                .await?
            {
                Posted::Acknowledged(acknowledged) => acknowledged.receipt.event_id,
                Posted::Kept { why, .. } => bail!("{} lost its daemon: {why}", bay.code),
            }
        };
        if is_use {
            bay.last_use = Some(event_id.clone());
        }
        match (happening.quote, happening.job) {
            (Some(quote), _) => {
                if let Some(drafted) = self.quotes.get_mut(&quote.index)
                    && drafted.event_id.is_empty()
                {
                    drafted.event_id = event_id;
                }
            }
            (None, Some(job)) if matches!(happening.kind, Kind::JobOpened(_)) => {
                self.openings.insert(job, event_id);
            }
            _ => {}
        }
        Ok(())
    }

    /// Fills a fact of a quote with what the daemon suggests, and those after
    /// it with what was printed then.
    async fn quote(
        &mut self,
        shop: &Shop,
        happening: &Happening,
        fact: &mut v1::Fact,
    ) -> Result<()> {
        let opened = happening.job.and_then(|job| shop.jobs.get(job)?.quote);
        let Some(quote) = happening.quote.or(opened) else {
            return Ok(());
        };
        let percent = |money: &v1::Money| v1::Money {
            // Whole units of the currency, as people agree on prices.
            price_minor: money.price_minor * quote.agreed_percent / 10_000 * 100,
            currency: money.currency.clone(),
        };
        if let Some(Kind::QuoteDrafted(drafted)) = fact.kind.as_mut() {
            let asked = drafted.asked.take().context("what was asked")?;
            let printed = self.suggest(happening, asked, drafted).await?;
            self.quotes.insert(quote.index, printed);
            return Ok(());
        }
        let known = self.quotes.get(&quote.index).context("a quote before")?;
        match fact.kind.as_mut() {
            Some(Kind::QuoteAccepted(accepted)) => {
                accepted.quote_event_id.clone_from(&known.event_id);
                accepted.agreed = Some(percent(&known.suggested));
                accepted.suggested = Some(known.suggested.clone());
            }
            Some(Kind::QuoteDeclined(declined)) => {
                declined.quote_event_id.clone_from(&known.event_id);
            }
            Some(Kind::JobOpened(opened)) => {
                opened.quote_event_id.clone_from(&known.event_id);
                opened.agreed = Some(percent(&known.suggested));
            }
            _ => {}
        }
        // An acceptance comes before its job is there to be named.
        if happening.quote.is_some() {
            fact.job = None;
        }
        Ok(())
    }

    async fn suggest(
        &mut self,
        happening: &Happening,
        asked: v1::QuoteAsked,
        drafted: &mut v1::QuoteDrafted,
    ) -> Result<Quoted> {
        let office = self.bays.last_mut().context("the office")?;
        let request = v1::SuggestRequest {
            asked: Some(asked),
            asked_us: happening.at.0,
            ..Default::default()
        };
        let channel = office.link.channel().await?;
        let suggested = QuoteServiceClient::new(channel).suggest(request).await?;
        let v1::SuggestResponse { asked, printed, .. } = suggested.into_inner();
        let figures = printed.as_ref().context("a quote has figures")?;
        let suggested = v1::Money {
            price_minor: figures.price_minor,
            currency: figures.currency.clone(),
        };
        drafted.asked = asked;
        drafted.printed = printed;
        Ok(Quoted {
            event_id: Vec::new(),
            suggested,
        })
    }

    /// Delivers what is still in a spool.
    pub async fn finish(&mut self) -> Result<()> {
        for bay in &mut self.bays {
            bay.device.deliver(&mut bay.link).await?;
        }
        Ok(())
    }

    fn fact(&self, shop: &Shop, happening: &Happening) -> Result<v1::Fact> {
        let bay = self.bays.get(happening.bay).context("a bay of the shop")?;
        let mut kind = happening.kind.clone();
        let opening = |job: usize| {
            let id = self.openings.get(&job).cloned()?;
            Some(v1::JobRef {
                job: Some(v1::job_ref::Job::OpeningEventId(id)),
            })
        };
        let mut job = None;
        if let Some(index) = happening.job {
            if let Kind::JobOpened(opened) = &mut kind {
                let vehicle = shop.jobs.get(index).context("a vehicle of the shop")?;
                opened.comeback_of = vehicle.comeback_of.and_then(opening);
            } else {
                job = opening(index);
                ensure!(
                    job.is_some() || happening.quote.is_some(),
                    "job {index} was not opened before it was worked on"
                );
            }
        }
        Ok(v1::Fact {
            clocks: Some(bay.clocks.at(happening.at)),
            bay: if bay.code.as_str() == OFFICE {
                String::new()
            } else {
                bay.code.to_string()
            },
            by: happening.by.iter().map(Code::to_string).collect(),
            job,
            kind: Some(kind),
            occurred: None,
        })
    }

    fn post_by_command(&mut self, happening: &Happening, line: &[String]) -> Result<()> {
        let bay = self
            .bays
            .get_mut(happening.bay)
            .context("a bay of the shop")?;
        bay.offline = true;
        let mut args: Vec<String> = line.to_vec();
        let civil = happening.at.civil(self.zone);
        args.push("--at".into());
        args.push(civil.strftime("%Y-%m-%d %H:%M:%S").to_string());
        args.push("--anyway".into());
        if !happening.by.is_empty() {
            args.push("--by".into());
            args.push(
                happening
                    .by
                    .iter()
                    .map(Code::as_str)
                    .collect::<Vec<_>>()
                    .join(","),
            );
        }
        let output = harness::bay(self.binary, &bay.folder, NOWHERE, bay.code.as_str(), &args)?;
        ensure!(
            output.status.success(),
            "`bay {}` without a daemon ended with {}: {}",
            args.join(" "),
            output.status,
            String::from_utf8_lossy(&output.stderr)
        );
        self.by_command += 1;
        bay.device.spool_mut().refresh()?;
        Ok(())
    }
}

/// The line a person would type for a happening, where there is one.
fn as_command(happening: &Happening) -> Option<Vec<String>> {
    let words = |parts: &[&str]| Some(parts.iter().map(|p| (*p).to_owned()).collect::<Vec<_>>());
    match &happening.kind {
        Kind::StageStarted(start) => words(&["start", &start.stage]),
        Kind::StageFinished(done) => words(&["done", &done.stage]),
        Kind::ProductUsed(used) => match used.quantity.as_ref()? {
            v1::product_used::Quantity::Amount(amount) if amount.unit() == v1::Unit::Ml => {
                words(&["used", &used.product, &format!("{}ml", amount.decimal)])
            }
            _ => None,
        },
        Kind::DwellStarted(dwell) => words(&["dwell", &dwell.product]),
        Kind::PanelCoated(coated) => words(&["coat", &coated.panel]),
        _ => None,
    }
}
