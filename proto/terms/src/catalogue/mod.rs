//! The shop's catalogue: what it is made of. The file a person edits is read
//! and checked in `file`, compared in `change`, first written by `begin`.

use std::collections::BTreeMap;

pub mod begin;
pub mod change;
pub mod file;
pub mod limits;
#[cfg(test)]
pub(crate) mod sample;

use serde::{Deserialize, Serialize};

use crate::amount::{Amount, Money, Ratio};
use crate::code::Code;
use crate::hours::OpenHours;
use crate::temperature::MilliCelsius;

/// The catalogue file of an invented shop, for the demo, tests and newcomers.
pub const EXAMPLE: &str = include_str!("../../../../deploy/example-shop.toml");

/// Job type of a job that fits none in the catalogue.
pub const UNSORTED: &str = "unsorted";

/// A job's place on the premises but in no bay, and off the premises.
pub const HOLDING: &str = "holding";
pub const AWAY: &str = "away";

/// True for the places that every shop has and that are not bays.
pub fn is_no_bay(place: &str) -> bool {
    matches!(place, HOLDING | AWAY)
}

/// All entries by code. `changed` parts of a catalogue have the same shape.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Catalogue {
    pub shop: Option<Shop>,
    pub bays: BTreeMap<Code, Bay>,
    pub workers: BTreeMap<Code, Worker>,
    pub products: BTreeMap<Code, Product>,
    pub stages: BTreeMap<Code, Stage>,
    pub job_types: BTreeMap<Code, JobType>,
}

/// Where a number comes from, as the owner marked it in the file.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Source {
    #[default]
    Unmarked,
    Shop,
    Label,
    Trade,
    Guess,
    Standard,
}

/// What a bare `floz` or `gal` means in this shop.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum UnitSystem {
    #[default]
    Metric,
    Us,
    Imperial,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Shop {
    pub name: String,
    /// IANA time zone.
    pub zone: String,
    /// ISO 4217.
    pub currency: String,
    pub units: UnitSystem,
    pub open: Vec<OpenHours>,
    pub breaks: Vec<OpenHours>,
    /// Sentences for grades 1 to 5.
    pub soil_grades: Vec<String>,
    pub defects_grades: Vec<String>,
    pub intricacy_grades: Vec<String>,
    pub costs: ShopCosts,
}

/// What an hour costs the shop beside the wages of its workers.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct ShopCosts {
    /// Cost of an hour in a standard, minor units; `None`: the mean of the
    /// workers' rates.
    pub standard_rate_minor: Option<i64>,
    /// Thousandths that an hour costs for each unit of wage: 1250 is wage and a
    /// quarter on top.
    pub wage_burden_milli: Option<u32>,
    /// Overhead for each sold hour, minor units.
    pub overhead_per_hour_minor: Option<i64>,
    /// Share of the price that is to be left, thousandths, 1 to 900.
    pub target_margin_permille: Option<u32>,
    /// How long a quote is valid.
    pub quote_valid_us: Option<i64>,
    /// Tax that is added for the customer, thousandths of a per cent.
    pub tax_milli_pct: Option<u32>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Bay {
    pub name: String,
    /// Vehicles it holds at once, at least 1.
    pub places: u32,
    pub retired: bool,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Worker {
    pub name: String,
    /// Cost of an hour in minor units; `None` where not given.
    pub rate_minor: Option<i64>,
    pub retired: bool,
}

/// How a product or stage stands to a finish.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Standing {
    Fine,
    Care,
    Never,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SurfaceRule {
    pub finish: Code,
    pub standing: Standing,
    pub why: String,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Product {
    pub name: String,
    pub kind: String,
    pub pack: Option<Amount>,
    pub pack_price: Option<Money>,
    /// Millionths of a gram per millilitre; `None` where unknown.
    pub density_micro_g_per_ml: Option<i64>,
    pub ratio: Option<Ratio>,
    pub dwell_shortest_us: Option<i64>,
    pub dwell_longest_us: Option<i64>,
    pub unmetered: bool,
    pub level_from_us: Option<i64>,
    pub level_until_us: Option<i64>,
    pub water_safe_us: Option<i64>,
    pub full_cure_us: Option<i64>,
    pub surface_lowest: Option<MilliCelsius>,
    pub surface_highest: Option<MilliCelsius>,
    pub rules: Vec<SurfaceRule>,
    pub sds: String,
    pub caution: String,
    pub source: Source,
    /// From ordering to having it.
    pub lead_us: Option<i64>,
    /// How long it keeps once opened.
    pub open_life_us: Option<i64>,
    pub retired: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum StageKind {
    Cleaning,
    Correction,
    Coating,
    Other,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Stage {
    pub name: String,
    pub kind: StageKind,
    pub rules: Vec<SurfaceRule>,
    pub caution: String,
    /// Towels, pads, gloves, machine wear and water of one vehicle, minor
    /// units: a standard, not measured.
    pub supplies_minor: Option<i64>,
    pub retired: bool,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StageAllowance {
    pub stage: Code,
    /// Labour on a vehicle of grade 3, microseconds.
    pub allowance_us: i64,
    pub source: Source,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ProductAllowance {
    pub product: Code,
    /// Concentrate-equivalent.
    pub amount: Amount,
    pub source: Source,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Panel {
    pub code: Code,
    pub finish: Code,
    /// Square centimetres; `None` where not measured.
    pub area_cm2: Option<u32>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct JobType {
    pub name: String,
    pub vehicle_class: Code,
    /// In the order of work.
    pub stages: Vec<StageAllowance>,
    pub products: Vec<ProductAllowance>,
    pub panels: Vec<Panel>,
    pub price: Option<Money>,
    pub retired: bool,
}

impl Catalogue {
    /// Lays `changed` over this catalogue: an entry replaces the one of its code.
    pub fn apply(&mut self, changed: &Catalogue) {
        if changed.shop.is_some() {
            self.shop.clone_from(&changed.shop);
        }
        let Catalogue {
            shop: _,
            bays,
            workers,
            products,
            stages,
            job_types,
        } = changed.clone();
        self.bays.extend(bays);
        self.workers.extend(workers);
        self.products.extend(products);
        self.stages.extend(stages);
        self.job_types.extend(job_types);
    }
}
