//! The stock and one lot as messages.

use baywright_floor::event::Seq;
use baywright_floor::fact::LevelResult;
use baywright_proto::v1;
use baywright_report::figures::{LotFigures, LotJob, OpenBottle, Portion, StockFigures};
use baywright_report::{COVER_WEEKS, Input, QUANTILES};
use baywright_terms::time::{HOUR_US, Micros};

use super::us_or_zero;
use crate::facts::FactsError;
use crate::facts::reader::{FactsReader, View};

const DAY_US: i64 = 24 * HOUR_US;
/// The rate is over eight whole weeks before this one.
const RECENT_US: i64 = 63 * DAY_US;

impl FactsReader {
    /// What is left of each product.
    ///
    /// # Errors
    /// If the database fails.
    pub fn stock(
        &self,
        asked: &v1::StockRequest,
        now: Micros,
    ) -> Result<v1::StockResponse, FactsError> {
        self.view(|view| {
            let product = Some(asked.product.as_str()).filter(|product| !product.is_empty());
            let recent = now.saturating_sub(RECENT_US);
            let rows = view.rows_for_stock(product, recent, now)?;
            let cats = view.catalogues();
            let mut stock = baywright_report::stock(&Input {
                rows: &rows,
                catalogues: &cats,
                as_of: now,
                as_of_seq: Seq(view.cursor()),
                log_from: None,
                log_until: None,
            });
            if let Some(product) = product {
                stock.retain(|line| line.product.as_str() == product);
            }
            let shop = cats.at(now).catalogue.shop.clone();
            Ok(v1::StockResponse {
                stock: stock.iter().map(line).collect(),
                zone: shop.as_ref().map(|s| s.zone.clone()).unwrap_or_default(),
                currency: shop.map(|s| s.currency).unwrap_or_default(),
                as_of_us: now.0,
                cover_weeks: COVER_WEEKS.into(),
                quantiles: QUANTILES.to_owned(),
            })
        })
    }

    /// Everything that one lot went on.
    ///
    /// # Errors
    /// If the database fails.
    pub fn lot(&self, asked: &v1::LotRequest, now: Micros) -> Result<v1::LotResponse, FactsError> {
        self.view(|view| {
            let lot = asked.lot.trim();
            let rows = view.rows_for_lot(lot)?;
            let cats = view.catalogues();
            let figures = baywright_report::lot(
                &Input {
                    rows: &rows,
                    catalogues: &cats,
                    as_of: now,
                    as_of_seq: Seq(view.cursor()),
                    log_from: None,
                    log_until: None,
                },
                lot,
            );
            Ok(message(view, lot, &figures, now))
        })
    }
}

fn message(view: &View<'_>, lot: &str, figures: &LotFigures, now: Micros) -> v1::LotResponse {
    let cats = view.catalogues();
    let catalogue = &cats.at(now).catalogue;
    let number = |job: &LotJob| job.number.unwrap_or(0);
    let mut products: Vec<_> = figures.receipts.iter().map(|row| &row.product).collect();
    products.extend(figures.panels.iter().map(|row| &row.product));
    products.extend(figures.uses.iter().map(|row| &row.product));
    products.sort_unstable();
    products.dedup();
    let of_catalogue = |code: &&_| catalogue.products.get(*code);
    let sheets = products.iter().filter_map(of_catalogue).map(|p| &p.sds);
    v1::LotResponse {
        lot: lot.to_owned(),
        receipts: figures
            .receipts
            .iter()
            .map(|row| v1::LotReceipt {
                product: row.product.to_string(),
                received_us: row.at.0,
                packs: row.packs,
                seq: row.seq.0,
            })
            .collect(),
        panels: figures
            .panels
            .iter()
            .map(|row| v1::LotPanel {
                job_number: number(&row.job),
                handle: row.job.handle.clone(),
                vehicle: row.job.vehicle.clone(),
                product: row.product.to_string(),
                panel: row.panel.to_string(),
                section: row.section,
                layer: row.layer,
                coated_us: row.coated.0,
                result: row.result.map_or(String::new(), |r| result(r).to_owned()),
                seq: row.seq.0,
                released_us: us_or_zero(row.job.released),
            })
            .collect(),
        uses: figures
            .uses
            .iter()
            .map(|row| v1::LotUse {
                job_number: number(&row.job),
                handle: row.job.handle.clone(),
                vehicle: row.job.vehicle.clone(),
                product: row.product.to_string(),
                used_us: row.at.0,
                seq: row.seq.0,
                panels: row.panels.iter().map(ToString::to_string).collect(),
            })
            .collect(),
        zone: catalogue
            .shop
            .as_ref()
            .map(|shop| shop.zone.clone())
            .unwrap_or_default(),
        safety_data_sheets: sheets.filter(|sds| !sds.is_empty()).cloned().collect(),
    }
}

fn result(result: LevelResult) -> &'static str {
    match result {
        LevelResult::Clean => "clean",
        LevelResult::Smeared => "smeared",
        LevelResult::HighSpot => "high-spot",
    }
}

fn line(figures: &StockFigures) -> v1::StockLine {
    let days = |us: Option<i64>| us.map(in_days);
    let rate_days = in_days(figures.rate_us);
    v1::StockLine {
        product: figures.product.to_string(),
        name: figures.name.clone(),
        unit: figures.unit.as_str().to_owned(),
        known: figures.known,
        left: figures.left.value(),
        counted_us: us_or_zero(figures.counted_at),
        counted: figures.counted.value(),
        received: figures.received.value(),
        used: figures.used.value(),
        rate_per_day: if figures.rate_us > 0 {
            figures.taken.value() / rate_days
        } else {
            0.0
        },
        rate_days: u32::try_from(figures.rate_us / DAY_US).unwrap_or(u32::MAX),
        days_left: days(figures.lasts_us),
        days_left_busy: days(figures.lasts_busy_us),
        days_left_quiet: days(figures.lasts_quiet_us),
        order_by_us: us_or_zero(figures.order_by),
        lead_us: figures.lead_us.unwrap_or(0),
        open: figures.open.iter().map(bottle).collect(),
        pack_price_minor: figures.pack_price_minor.unwrap_or(0),
        pack: figures.pack.map_or(0.0, Portion::value),
        weeks_with_use: figures.weeks_with_use,
        without_amount: figures.without_amount,
        order_packs: figures.order_packs,
    }
}

fn bottle(bottle: &OpenBottle) -> v1::OpenContainer {
    v1::OpenContainer {
        lot: bottle.lot.clone(),
        bay: bottle.bay.to_string(),
        opened_us: bottle.opened.0,
        too_long: bottle.too_long,
        seq: bottle.seq.0,
    }
}

#[allow(
    clippy::cast_precision_loss,
    reason = "an f64 holds 285 years in microseconds exactly"
)]
fn in_days(us: i64) -> f64 {
    us as f64 / DAY_US as f64
}
