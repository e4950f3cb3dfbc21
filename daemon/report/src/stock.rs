//! What is left on the shelf, how long it lasts, and by when to order.
//!
//! # What is left
//!
//! ```text
//! left = last count + received since − used since
//! ```
//!
//! Used is what left the shelf: neat uses, the concentrate of mixes when they
//! are made (whatever becomes of the mix) and what was added to them, and for
//! a product that nobody meters what its refills took. Its uses by hand come
//! out of the bottle; they count where no refill says how much. A metered
//! product's refill only moves it from one bottle to another. Without a count
//! it starts from nothing, so that less than nothing left means that something
//! was never written down. Everything is in one unit: that of the last count,
//! else of the receipts, else of the pack. What cannot be converted into it is
//! counted as a record without an amount.
//!
//! # How long it lasts
//!
//! The rate is over the last [`WEEKS_OF_RATE`] whole ISO weeks in the shop's
//! zone, from the product's first record if that is later; before there is a
//! whole week, over all the time since that record, if it is a day at least.
//!
//! ```text
//! lasts = left ÷ (taken in that span ÷ its length)
//! ```
//!
//! Busy and quiet weeks are the P80 and P20 of what each whole week took, weeks
//! without any among them, by the definition of [`crate::quantile`], from
//! [`WEEKS_OF_RANGE_MIN`] weeks on.
//!
//! # Ordering
//!
//! ```text
//! order by = now + lasts in busy weeks − lead time
//! packs    = ⌈(busy week × (lead time + 4 weeks) − left) ÷ pack⌉, at least one
//! ```
//!
//! Without busy weeks the mean stands in. Without a lead time in the catalogue
//! nobody can say by when. That an order covers [`COVER_WEEKS`] weeks is common
//! practice, and said beside it.

use std::collections::BTreeMap;

use baywright_floor::row::{ContainerKind, Row, StockKind};
use baywright_terms::amount::{Micrograms, MilliEach, Nanolitres, Quantity};
use baywright_terms::catalogue::Product;
use baywright_terms::code::Code;
use baywright_terms::time::{HOUR_US, Micros, Week};
use jiff::tz::TimeZone;

use crate::chemicals::in_summing_unit;
use crate::figures::{OpenBottle, Portion, PortionUnit, StockFigures};
use crate::input::Input;
use crate::labour::count;
use crate::quantile::quantile;
use crate::span::{Span, clamp, divide_half_even};

/// Whole weeks that the rate is over. Two months are long enough for a spread
/// and short enough to follow the season.
pub const WEEKS_OF_RATE: u8 = 8;
/// Below three weeks the quantiles are the extremes, or one week twice.
const WEEKS_OF_RANGE_MIN: usize = 3;
/// How long an order should last once it is there.
pub const COVER_WEEKS: u8 = 4;

const DAY_US: i64 = 24 * HOUR_US;
const WEEK_US: i64 = 7 * DAY_US;

/// What happened to the stock of a product.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Change {
    Counted,
    Received,
    Used,
    /// Neat, by hand.
    UsedByHand,
    Refilled,
}

/// One record of it, in order of event.
#[derive(Debug, Clone, Copy)]
struct Record {
    at: Micros,
    change: Change,
    quantity: Option<Quantity>,
}

/// A delivery with its price.
#[derive(Debug, Clone, Copy)]
struct Paid {
    pack: Option<Quantity>,
    price_minor: i64,
}

/// The rows of one product.
#[derive(Debug, Default)]
struct Shelf {
    records: Vec<Record>,
    /// The last.
    paid: Option<Paid>,
    open: Vec<OpenBottle>,
}

type Shelves = BTreeMap<Code, Shelf>;

/// The stock of each product of the catalogue and of the rows, in order of
/// code. Rows needed: all counts, receipts and containers; uses and mixes since
/// each product's last count, and those of the last nine weeks.
pub fn stock(input: &Input<'_>) -> Vec<StockFigures> {
    let catalogue = &input.catalogues.at(input.as_of).catalogue;
    let mut shelves = Shelves::new();
    for (code, product) in &catalogue.products {
        if !product.retired {
            shelves.entry(code.clone()).or_default();
        }
    }
    for row in input.rows {
        put(&mut shelves, row, input.as_of);
    }
    let shelves = shelves.into_iter();
    shelves
        .map(|(code, shelf)| Stocked::new(input, &code, &shelf).figures(code, shelf))
        .collect()
}

/// Sorts a row in under its product, or a mix under its products.
fn put(shelves: &mut Shelves, row: &Row, as_of: Micros) {
    let mut add = |product: &Code, at: Micros, change, quantity| {
        if at <= as_of {
            let record = Record {
                at,
                change,
                quantity,
            };
            let shelf = shelves.entry(product.clone()).or_default();
            shelf.records.push(record);
        }
    };
    match row {
        Row::Use(used) if used.mix.is_none() => {
            add(&used.product, used.at, Change::UsedByHand, used.quantity);
        }
        Row::MixMade(mix) => {
            let concentrate = Some(Quantity::Volume(mix.concentrate));
            add(&mix.product, mix.at, Change::Used, concentrate);
            for (product, quantity) in &mix.additions {
                add(product, mix.at, Change::Used, Some(*quantity));
            }
        }
        Row::Stock {
            product,
            kind: StockKind::Counted,
            quantity,
            at,
            ..
        } => add(product, *at, Change::Counted, *quantity),
        Row::Stock {
            product,
            kind: StockKind::Received,
            quantity,
            packs,
            price_minor,
            at,
            ..
        } => {
            add(product, *at, Change::Received, *quantity);
            if let Some(price_minor) = price_minor.filter(|_| *at <= as_of) {
                shelves.entry(product.clone()).or_default().paid = Some(Paid {
                    pack: quantity.and_then(|all| one_pack(all, *packs)),
                    price_minor,
                });
            }
        }
        Row::Container {
            product,
            bay,
            kind,
            quantity,
            lot,
            at,
            seq,
        } => {
            if *kind == ContainerKind::Refilled {
                add(product, *at, Change::Refilled, *quantity);
            } else if *at <= as_of {
                let shelf = shelves.entry(product.clone()).or_default();
                let bottle = OpenBottle {
                    lot: lot.clone(),
                    bay: bay.clone(),
                    opened: *at,
                    too_long: false,
                    seq: *seq,
                };
                shelf.bottle(*kind, bottle);
            }
        }
        _ => {}
    }
}

impl Shelf {
    /// A bottle is opened, or the one that has been open longest is empty: of
    /// the same lot where one is named, rather in the same bay.
    fn bottle(&mut self, kind: ContainerKind, bottle: OpenBottle) {
        if kind == ContainerKind::Opened {
            self.open.push(bottle);
            return;
        }
        let fits = |open: &OpenBottle| bottle.lot.is_empty() || open.lot == bottle.lot;
        let here = |open: &OpenBottle| fits(open) && open.bay == bottle.bay;
        let empty = self.open.iter().position(here);
        if let Some(place) = empty.or_else(|| self.open.iter().position(fits)) {
            self.open.remove(place);
        }
    }

    /// Latest first.
    fn latest_of(&self, change: Change) -> impl Iterator<Item = &Record> {
        self.records
            .iter()
            .rev()
            .filter(move |r| r.change == change)
    }
}

/// The records of one product, in one unit.
#[derive(Debug)]
struct Stocked<'i> {
    input: &'i Input<'i>,
    product: Option<&'i Product>,
    unit: PortionUnit,
    counted: Option<(Micros, i64)>,
    received: i128,
    used: i128,
    known: bool,
    without_amount: u32,
    /// What left the shelf, ever.
    taken: Vec<(Micros, i64)>,
    first: Option<Micros>,
}

impl<'i> Stocked<'i> {
    fn new(input: &'i Input<'i>, code: &Code, shelf: &Shelf) -> Self {
        let product = input
            .catalogues
            .at(input.as_of)
            .catalogue
            .products
            .get(code);
        let portion = |record: &Record| {
            let catalogue = &input.catalogues.at(record.at).catalogue;
            record
                .quantity
                .map(|quantity| in_summing_unit(quantity, catalogue, code))
        };
        let pack = product.and_then(|p| p.pack).map(|pack| {
            let latest = &input.catalogues.at(input.as_of).catalogue;
            in_summing_unit(pack.quantity(), latest, code)
        });
        let first_usable = |change| shelf.latest_of(change).find_map(portion);
        let unit = first_usable(Change::Counted)
            .or_else(|| first_usable(Change::Received))
            .or(pack)
            .or_else(|| shelf.records.iter().find_map(portion))
            .map_or(PortionUnit::Ml, |portion| portion.unit);
        let mut stocked = Self {
            input,
            product,
            unit,
            counted: None,
            received: 0,
            used: 0,
            known: false,
            without_amount: 0,
            taken: Vec::new(),
            first: shelf.records.iter().map(|record| record.at).min(),
        };
        let refilled = product.is_some_and(|p| p.unmetered)
            && shelf.records.iter().any(|r| r.change == Change::Refilled);
        for record in &shelf.records {
            let takes = match record.change {
                Change::Refilled => refilled,
                Change::UsedByHand => !refilled,
                Change::Counted | Change::Received | Change::Used => true,
            };
            if takes {
                let base = portion(record).filter(|p| p.unit == unit).map(|p| p.base);
                stocked.add(record, base);
            }
        }
        stocked
    }

    fn add(&mut self, record: &Record, base: Option<i64>) {
        let Some(base) = base else {
            self.without_amount = self.without_amount.saturating_add(1);
            return;
        };
        match record.change {
            Change::Counted => {
                self.counted = Some((record.at, base));
                (self.received, self.used, self.without_amount) = (0, 0, 0);
                self.known = true;
            }
            Change::Received => {
                self.received += i128::from(base);
                self.known = true;
            }
            Change::Used | Change::UsedByHand | Change::Refilled => {
                self.used += i128::from(base);
                self.taken.push((record.at, base));
            }
        }
    }

    fn figures(self, code: Code, shelf: Shelf) -> StockFigures {
        let portion = |base: i128| Portion {
            unit: self.unit,
            base: clamp(base),
        };
        let counted = self.counted.map_or(0, |(_, base)| i128::from(base));
        let left = counted + self.received - self.used;
        let as_of = self.input.as_of;
        let rate = Rate::of(&self, &self.input.catalogues.at(as_of).zone);
        let lasts = |taken: i128, span_us: i64| {
            let gone = self.known && left >= 0 && taken > 0;
            gone.then(|| {
                clamp(divide_half_even(
                    left.saturating_mul(i128::from(span_us)),
                    taken,
                ))
            })
        };
        let week = |base: Option<i64>| lasts(i128::from(base?), WEEK_US);
        let lasts_us = lasts(rate.taken, rate.span.length_us());
        let lasts_busy_us = week(rate.busy);
        let lead_us = self.product.and_then(|p| p.lead_us);
        let soonest_us = lasts_busy_us.or(lasts_us);
        let pack = self.pack(&code, &shelf);
        let order_by = soonest_us
            .zip(lead_us)
            .map(|(lasts_us, lead_us)| as_of.saturating_add(lasts_us).saturating_sub(lead_us));
        let open_life_us = self.product.and_then(|p| p.open_life_us);
        let too_long = |opened: Micros| {
            open_life_us.is_some_and(|life_us| opened.saturating_add(life_us) < as_of)
        };
        StockFigures {
            name: self.product.map(|p| p.name.clone()).unwrap_or_default(),
            unit: self.unit,
            known: self.known,
            left: portion(if self.known { left } else { 0 }),
            counted_at: self.counted.map(|(at, _)| at),
            counted: portion(counted),
            received: portion(self.received),
            used: portion(self.used),
            without_amount: self.without_amount,
            taken: portion(rate.taken),
            rate_us: rate.span.length_us(),
            weeks_with_use: rate.weeks_with_use,
            lasts_us,
            lasts_busy_us,
            lasts_quiet_us: week(rate.quiet),
            order_packs: order_by.map_or(0, |_| {
                rate.packs(left, lead_us.unwrap_or(0), pack.map_or(0, |pack| pack.base))
            }),
            lead_us,
            order_by,
            pack,
            pack_price_minor: self.pack_price_minor(&shelf),
            open: shelf
                .open
                .into_iter()
                .map(|bottle| OpenBottle {
                    too_long: too_long(bottle.opened),
                    ..bottle
                })
                .collect(),
            product: code,
        }
    }

    fn pack(&self, code: &Code, shelf: &Shelf) -> Option<Portion> {
        let catalogue = &self.input.catalogues.at(self.input.as_of).catalogue;
        let paid = shelf.paid.and_then(|paid| paid.pack);
        let pack = paid.or_else(|| Some(self.product?.pack?.quantity()))?;
        let pack = in_summing_unit(pack, catalogue, code);
        (pack.unit == self.unit && pack.base > 0).then_some(pack)
    }

    fn pack_price_minor(&self, shelf: &Shelf) -> Option<i64> {
        let given = || self.product?.pack_price.as_ref().map(|price| price.minor);
        shelf.paid.map(|paid| paid.price_minor).or_else(given)
    }
}

/// How fast a product goes.
#[derive(Debug)]
struct Rate {
    span: Span,
    taken: i128,
    /// What a busy and a quiet week take.
    busy: Option<i64>,
    quiet: Option<i64>,
    weeks_with_use: u32,
}

impl Rate {
    fn of(stocked: &Stocked<'_>, zone: &TimeZone) -> Self {
        let as_of = stocked.input.as_of;
        let first = stocked.first.unwrap_or(as_of);
        let mut week = Week::of(as_of, zone);
        let until = week.range(zone).0;
        let mut from = until;
        let mut by_week: Vec<i64> = Vec::new();
        for _ in 0..WEEKS_OF_RATE {
            week = week.previous();
            let range = week.range(zone);
            if range.0 < first {
                // A week that began before the first record is not whole.
                break;
            }
            from = range.0;
            by_week.push(clamp(stocked.taken_in(Span::new(range.0, range.1))));
        }
        let whole = by_week.len() == usize::from(WEEKS_OF_RATE);
        let mut span = match (by_week.is_empty(), whole) {
            (true, _) => Span::new(first, as_of),
            (false, true) => Span::new(from, until),
            (false, false) => Span::new(first, until),
        };
        if span.length_us() < DAY_US {
            span = Span::new(as_of, as_of);
        }
        let weeks_with_use = by_week.iter().filter(|taken| **taken > 0).count();
        by_week.sort_unstable();
        let spread = by_week.len() >= WEEKS_OF_RANGE_MIN;
        let at = |numerator| quantile(&by_week, numerator, 5).filter(|_| spread);
        Self {
            span,
            taken: stocked.taken_in(span),
            busy: at(4),
            quiet: at(1),
            weeks_with_use: count(weeks_with_use),
        }
    }

    /// Packs that last for the lead time and [`COVER_WEEKS`] on top.
    fn packs(&self, left: i128, lead_us: i64, pack: i64) -> u32 {
        if pack <= 0 {
            return 0;
        }
        let cover_us = i128::from(lead_us) + i128::from(COVER_WEEKS) * i128::from(WEEK_US);
        let (taken, over_us) = match self.busy {
            Some(busy) => (i128::from(busy), WEEK_US),
            None => (self.taken, self.span.length_us()),
        };
        let covered = taken.saturating_mul(cover_us);
        let wanted = divide_half_even(covered, i128::from(over_us)).saturating_sub(left);
        let pack = i128::from(pack);
        let packs = wanted.saturating_add(pack - 1).div_euclid(pack).max(1);
        u32::try_from(packs).unwrap_or(u32::MAX)
    }
}

impl Stocked<'_> {
    fn taken_in(&self, span: Span) -> i128 {
        let taken = self.taken.iter().filter(|(at, _)| span.holds(*at));
        taken.map(|(_, base)| i128::from(*base)).sum()
    }
}

/// A receipt's row holds what all its packs hold together.
fn one_pack(all: Quantity, packs: u32) -> Option<Quantity> {
    let packs = i64::from(packs);
    Some(match all {
        Quantity::Volume(all) => Quantity::Volume(Nanolitres(all.0.checked_div(packs)?)),
        Quantity::Mass(all) => Quantity::Mass(Micrograms(all.0.checked_div(packs)?)),
        Quantity::Count(all) => Quantity::Count(MilliEach(all.0.checked_div(packs)?)),
    })
}
