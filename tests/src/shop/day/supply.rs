//! The stockroom of the invented shop: deliveries with lots and prices that
//! rise, bottles opened and weighed, a count at the end of each month.

use std::collections::BTreeMap;

use baywright_proto::v1;
use baywright_proto::v1::fact::Kind;
use baywright_terms::amount::Quantity;
use baywright_terms::catalogue::{Catalogue, Product};
use baywright_terms::code::Code;
use baywright_terms::time::{DAY_US, MINUTE_US, Micros};
use jiff::civil::Date;
use rand::RngExt as _;

use super::Floor;
use crate::shop::truth;

/// Vehicles that the shop finishes in a day, about: what it first stocks up for.
const VEHICLES_A_DAY: i64 = 2;
/// Ordered when it lasts for fewer days than this, and for so many days.
const ORDER_BELOW_DAYS: i64 = 9;
const ORDER_FOR_DAYS: i64 = 16;
/// Days over which the stockroom looks back at what went.
const LOOK_BACK_DAYS: i64 = 14;
/// Weight of an empty coating bottle, tenths of a gram.
const BOTTLE_DG: i64 = 224;

/// One product on the shelf. Amounts are nanolitres.
#[derive(Debug, Default)]
struct Shelf {
    pack_nl: i64,
    left_nl: i64,
    /// What went in the days looked back at, newest last.
    went_nl: Vec<i64>,
    today_nl: i64,
    ordered: Option<Micros>,
    lots: u32,
}

/// A coating bottle in use: its lot, and what is in it in tenths of a gram.
#[derive(Debug, Clone)]
struct Bottle {
    lot: String,
    liquid_dg: i64,
}

/// Shelves and open bottles.
#[derive(Debug, Default)]
pub(super) struct Supply {
    shelves: BTreeMap<Code, Shelf>,
    bottles: BTreeMap<Code, Bottle>,
    opened_shop: bool,
    days: i64,
}

impl Supply {
    /// The lot of a product that is being used.
    pub(super) fn lot(&self, product: &Code) -> String {
        let bottle = self.bottles.get(product);
        bottle.map(|b| b.lot.clone()).unwrap_or_default()
    }

    /// Takes note of what was used of a product.
    pub(super) fn took(&mut self, product: &Code, nl: i64) {
        if let Some(shelf) = self.shelves.get_mut(product) {
            shelf.today_nl += nl;
            shelf.left_nl -= nl;
        }
    }
}

fn pack_nl(product: &Product) -> Option<i64> {
    match product.pack.as_ref()?.quantity() {
        Quantity::Volume(volume) => Some(volume.0),
        Quantity::Mass(_) | Quantity::Count(_) => None,
    }
}

/// What a day takes of a product by the catalogue's allowances, nanolitres.
pub(super) fn usual_nl_a_day(catalogue: &Catalogue, product: &Code) -> i64 {
    let types = || catalogue.job_types.iter().filter(|(_, t)| !t.retired);
    let often = |code: &Code| i64::from(truth::of(code.as_str()).frequency);
    let all: i64 = types().map(|(code, _)| often(code)).sum();
    let sum: i64 = types()
        .flat_map(|(code, t)| t.products.iter().map(move |row| (code, row)))
        .filter(|(_, row)| &row.product == product)
        .map(|(code, row)| match row.amount.quantity() {
            Quantity::Volume(volume) => volume.0 / 1000 * often(code),
            Quantity::Mass(_) | Quantity::Count(_) => 0,
        })
        .sum();
    sum * 1000 / all.max(1) * VEHICLES_A_DAY
}

impl Floor<'_> {
    /// Before the doors open: what was ordered comes, what runs low is ordered.
    pub(super) fn stockroom(&mut self, date: Date, opens: Micros) {
        let at = Micros(opens.0 + 2 * MINUTE_US);
        let products: Vec<(Code, i64)> = self
            .catalogue
            .products
            .iter()
            .filter_map(|(code, product)| Some((code.clone(), pack_nl(product)?)))
            .collect();
        for (code, pack) in products {
            let usual_nl = usual_nl_a_day(self.catalogue, &code);
            let first = !self.supply.opened_shop;
            let shelf = self.supply.shelves.entry(code.clone()).or_default();
            shelf.pack_nl = pack;
            if !first {
                let today_nl = std::mem::take(&mut shelf.today_nl);
                shelf.went_nl.push(today_nl);
            }
            let keep = usize::try_from(LOOK_BACK_DAYS).unwrap_or(usize::MAX);
            let from = shelf.went_nl.len().saturating_sub(keep);
            let looked = shelf.went_nl.get(from..).unwrap_or_default();
            let days = i64::try_from(looked.len()).unwrap_or(1).max(1);
            let rate_nl = if days < LOOK_BACK_DAYS / 2 {
                usual_nl
            } else {
                looked.iter().sum::<i64>() / days
            };
            let wanted_nl = (ORDER_FOR_DAYS * rate_nl).max(1);
            let packs = (wanted_nl + pack - 1) / pack;
            let comes = if first {
                true
            } else if let Some(ordered) = shelf.ordered {
                ordered <= opens
            } else {
                if shelf.left_nl < ORDER_BELOW_DAYS * rate_nl {
                    shelf.ordered = Some(Micros(opens.0 + 4 * DAY_US));
                }
                false
            };
            if comes {
                shelf.ordered = None;
                self.receive(&code, packs, at);
            }
        }
        self.supply.opened_shop = true;
        self.supply.days += 1;
        if date.day() == 1 || (date.day() < 4 && self.supply.days % 7 == 1) {
            self.count(opens);
        }
    }

    fn receive(&mut self, code: &Code, packs: i64, at: Micros) {
        let Some(product) = self.catalogue.products.get(code) else {
            return;
        };
        // Two makers put their prices up in the quarter.
        let rise_permille = match (code.as_str(), self.supply.days) {
            ("iron-remover", 28..) => 80,
            ("coating-3y", 40..) => 55,
            _ => 0,
        };
        let Some(shelf) = self.supply.shelves.get_mut(code) else {
            return;
        };
        shelf.lots += 1;
        shelf.left_nl += packs * shelf.pack_nl;
        let initials: String = code
            .as_str()
            .split('-')
            .filter_map(|w| w.chars().next())
            .collect();
        let lot = format!("{}-{:02}", initials.to_uppercase(), shelf.lots);
        let price = product.pack_price.as_ref().map(|p| v1::Money {
            price_minor: p.minor + p.minor * rise_permille / 1000,
            currency: p.currency.clone(),
        });
        let received = v1::StockReceived {
            product: code.to_string(),
            packs: u32::try_from(packs).unwrap_or(1),
            pack: product
                .pack
                .as_ref()
                .map(baywright_proto::amount::amount_to_wire),
            price,
            lot: lot.clone(),
        };
        self.say(at, 0, &[], None, Kind::StockReceived(received));
        // An open bottle keeps its lot until it is empty.
        let bottle = Bottle { lot, liquid_dg: 0 };
        self.supply.bottles.entry(code.clone()).or_insert(bottle);
    }

    /// Somebody counts what stands on the shelves; it is never quite what it
    /// should be.
    fn count(&mut self, opens: Micros) {
        let at = Micros(opens.0 + 25 * MINUTE_US);
        let counted: Vec<(Code, i64)> = self
            .supply
            .shelves
            .iter()
            .map(|(code, shelf)| (code.clone(), shelf.left_nl))
            .collect();
        for (code, left_nl) in counted {
            let ml = left_nl.max(0) / 1_000_000;
            let ml = if ml > 1000 { ml / 50 * 50 } else { ml };
            let kind = Kind::StockCounted(v1::StockCounted {
                product: code.to_string(),
                amount: Some(v1::Amount {
                    decimal: ml.to_string(),
                    unit: v1::Unit::Ml.into(),
                }),
            });
            self.say(at, 0, &[], None, kind);
        }
    }

    /// A coating is weighed before and after: tenths of a gram of the open
    /// bottle, and a new one where it does not hold enough.
    pub(super) fn weighed(
        &mut self,
        bay: usize,
        crew: &[Code],
        product: &Code,
        nl: i64,
        at: Micros,
    ) -> Option<(v1::Weighing, String)> {
        let entry = self.catalogue.products.get(product)?;
        let density = entry.density_micro_g_per_ml?;
        let full_dg = pack_nl(entry)? / 1000 * density / 1_000_000 / 100;
        let needed_dg = (nl / 1000 * density / 1_000_000 / 100).clamp(1, full_dg);
        let short = self
            .supply
            .bottles
            .get(product)
            .is_none_or(|b| b.liquid_dg < needed_dg);
        if short {
            self.open_bottle(bay, crew, product, full_dg, at);
        }
        let bottle = self.supply.bottles.get_mut(product)?;
        let before_dg = BOTTLE_DG + bottle.liquid_dg;
        bottle.liquid_dg -= needed_dg;
        let grams = |dg: i64| {
            Some(v1::Amount {
                decimal: format!("{}.{}", dg / 10, dg % 10),
                unit: v1::Unit::G.into(),
            })
        };
        let weighing = v1::Weighing {
            before: grams(before_dg),
            after: grams(before_dg - needed_dg),
        };
        Some((weighing, bottle.lot.clone()))
    }

    fn open_bottle(&mut self, bay: usize, crew: &[Code], product: &Code, full_dg: i64, at: Micros) {
        let lots = self.supply.shelves.get(product).map_or(1, |s| s.lots);
        let before = self.supply.bottles.get(product).cloned();
        let initials: String = product
            .as_str()
            .split('-')
            .filter_map(|w| w.chars().next())
            .collect();
        let lot = format!("{}-{lots:02}", initials.to_uppercase());
        let at = Micros(at.0 - 40 * 1_000_000);
        // Now and then nobody says that the old one is empty.
        if let Some(old) = before.filter(|b| b.liquid_dg > 0)
            && self.rng.random_range(0..10) > 1
        {
            let empty = v1::ProductRefilled {
                product: product.to_string(),
                state: v1::ContainerState::Empty.into(),
                amount: None,
                lot: old.lot,
            };
            self.say(at, bay, crew, None, Kind::ProductRefilled(empty));
        }
        let pack = self.catalogue.products.get(product).and_then(|p| p.pack);
        let opened = v1::ProductRefilled {
            product: product.to_string(),
            state: v1::ContainerState::Opened.into(),
            amount: pack.as_ref().map(baywright_proto::amount::amount_to_wire),
            lot: lot.clone(),
        };
        self.say(
            Micros(at.0 + 1_000_000),
            bay,
            crew,
            None,
            Kind::ProductRefilled(opened),
        );
        let bottle = Bottle {
            lot,
            liquid_dg: full_dg,
        };
        self.supply.bottles.insert(product.clone(), bottle);
    }
}
