//! Air, containers and stock, and which stage a use belongs to.

use baywright_terms::amount::{Amount, Micrograms, MilliEach, Money, Nanolitres, Quantity};
use baywright_terms::code::Code;

use crate::event::JobKey;
use crate::fact::{AmbientRead, ContainerState};
use crate::row::{ContainerKind, Row, StockKind};
use crate::state::{Hand, Reading, State};

use super::folding::Folding;

/// The air of a bay was read.
pub(crate) fn ambient(f: &mut Folding<'_>, read: &AmbientRead) {
    if f.left_out() {
        return;
    }
    f.out.push(Row::Air {
        bay: f.event.bay.clone(),
        at: f.at,
        air: read.air,
        humidity: read.humidity,
        surface: read.surface,
        sensor: read.sensor,
        seq: f.event.seq,
    });
    let reading = Reading {
        at: f.at,
        air: read.air,
        humidity: read.humidity,
        surface: read.surface,
    };
    f.state.air.insert(f.event.bay.clone(), reading);
}

/// A bottle is opened, refilled or empty.
pub(crate) fn refilled(
    f: &mut Folding<'_>,
    product: &Code,
    state: ContainerState,
    amount: Option<Amount>,
    lot: &str,
) {
    if f.left_out() {
        return;
    }
    f.out.push(Row::Container {
        product: product.clone(),
        bay: f.event.bay.clone(),
        kind: match state {
            ContainerState::Opened => ContainerKind::Opened,
            ContainerState::Refilled => ContainerKind::Refilled,
            ContainerState::Empty => ContainerKind::Empty,
        },
        quantity: amount.map(|a| a.quantity()),
        lot: lot.to_owned(),
        at: f.at,
        seq: f.event.seq,
    });
}

/// Packs came in. The row holds what all of them hold together.
pub(crate) fn received(
    f: &mut Folding<'_>,
    product: &Code,
    packs: u32,
    pack: Option<Amount>,
    price: Option<&Money>,
    lot: &str,
) {
    if f.left_out() {
        return;
    }
    let times = |one: i64| one.saturating_mul(i64::from(packs));
    let all = pack.map(|pack| match pack.quantity() {
        Quantity::Volume(one) => Quantity::Volume(Nanolitres(times(one.0))),
        Quantity::Mass(one) => Quantity::Mass(Micrograms(times(one.0))),
        Quantity::Count(one) => Quantity::Count(MilliEach(times(one.0))),
    });
    f.out.push(Row::Stock {
        product: product.clone(),
        kind: StockKind::Received,
        quantity: all,
        packs,
        price_minor: price.and_then(|price| f.shop_price(price)),
        lot: lot.to_owned(),
        at: f.at,
        seq: f.event.seq,
    });
}

/// What is on the shelf was counted.
pub(crate) fn counted(f: &mut Folding<'_>, product: &Code, amount: Option<Amount>) {
    if f.left_out() {
        return;
    }
    f.out.push(Row::Stock {
        product: product.clone(),
        kind: StockKind::Counted,
        quantity: amount.map(|a| a.quantity()),
        packs: 0,
        price_minor: None,
        lot: String::new(),
        at: f.at,
        seq: f.event.seq,
    });
}

/// The stage of a job that something belongs to: what the workers named are
/// on, else what began last of what runs, else what was laid aside last. With
/// it, whether that stage is being done again. Empty where no stage is in
/// progress.
pub(crate) fn stage_in_progress(state: &State, key: JobKey, by: &[Code]) -> (Code, bool) {
    let running = |hand: &Hand| {
        let stretch = state.hands.get(hand).filter(|s| s.job == key)?;
        Some((stretch.stage.clone(), stretch.rework))
    };
    if let Some(stage) = by.iter().map(Hand::named).find_map(|hand| running(&hand)) {
        return stage;
    }
    let latest = state
        .hands
        .values()
        .filter(|s| s.job == key)
        .max_by_key(|s| (s.begun.at, s.stage.clone()))
        .map(|s| (s.stage.clone(), s.rework));
    latest
        .or_else(|| {
            let job = state.jobs.get(&key)?;
            job.stages
                .iter()
                .filter_map(|(code, record)| {
                    let run = record.run.as_ref()?;
                    let last = run.hands.values().filter_map(|on| on.aside.as_ref());
                    Some((last.map(|aside| aside.at).max()?, code.clone(), run.rework))
                })
                .max()
                .map(|(_, code, rework)| (code, rework))
        })
        .unwrap_or_else(|| (Code::new(""), false))
}
