//! Mixes and what is used out of them. One mix of a product is live in a bay:
//! the latest made, until it is used up, dumped, replaced or thirty days old.

use baywright_terms::amount::{Amount, Nanolitres, Quantity, Ratio};
use baywright_terms::code::Code;

use crate::event::EventId;
use crate::fact::{ProductUsed, UseSource};
use crate::notice::Notice;
use crate::row::{MixMadeRow, Row, UseRow};
use crate::state::Mix;

use super::folding::Folding;
use super::{supplies, surfaces};

/// A mix is made. What the bay's last mix of the product still held is waste:
/// nobody keeps two of one kind apart, so the rest went down the drain or into
/// the new one, where it would be counted twice.
pub(crate) fn made(
    f: &mut Folding<'_>,
    product: &Code,
    ratio: Option<Ratio>,
    volume: Option<Amount>,
    additions: &[(Code, Option<Amount>)],
) {
    if f.left_out() {
        return;
    }
    let given = f.snapshot.catalogue.products.get(product);
    let density = given.and_then(|p| p.density_micro_g_per_ml);
    let ratio = ratio.or_else(|| given.and_then(|p| p.ratio));
    let held = volume.and_then(|v| v.quantity().volume(density));
    let key = (f.event.bay.clone(), product.clone());
    if let Some(old) = f.state.mixes.remove(&key)
        && let Some(rest) = old.left_nl.filter(|left| *left > 0)
    {
        f.out.push(Row::MixDumped {
            mix: old.begun.event,
            volume: Nanolitres(rest),
            at: f.at,
            seq: f.event.seq,
        });
        f.notice(Notice::MixReplaced {
            product: product.clone(),
            rest: Nanolitres(rest),
        });
    }
    if volume.is_some() && held.is_none() {
        f.notice(Notice::UnitMismatch {
            product: product.clone(),
        });
    }
    let volume = held.unwrap_or_default();
    f.out.push(Row::MixMade(MixMadeRow {
        mix: f.event.id,
        seq: f.event.seq,
        at: f.at,
        bay: f.event.bay.clone(),
        product: product.clone(),
        volume,
        // Without a ratio it is taken as it is sold.
        concentrate: ratio.map_or(volume, |ratio| ratio.concentrate_in(volume)),
        additions: additions
            .iter()
            .filter_map(|(code, amount)| Some((code.clone(), amount.as_ref()?.quantity())))
            .collect(),
    }));
    let mix = Mix {
        begun: f.begun(),
        left_nl: held.map(|v| v.0.max(0)),
    };
    f.state.mixes.insert(key, mix);
}

/// A mix, or some of it, is poured away.
pub(crate) fn dumped(
    f: &mut Folding<'_>,
    product: &Code,
    mix: Option<EventId>,
    amount: Option<Amount>,
) {
    if f.left_out() {
        return;
    }
    let here = (f.event.bay.clone(), product.clone());
    let key = match mix {
        Some(id) => f
            .state
            .mixes
            .iter()
            .find(|(_, mix)| mix.begun.event == id)
            .map(|(key, _)| key.clone()),
        None => Some(here),
    };
    let found = key.and_then(|key| Some((f.state.mixes.get(&key)?.clone(), key)));
    let Some((held, key)) = found else {
        f.notice(Notice::NoMix {
            product: product.clone(),
        });
        return;
    };
    let volume = match amount {
        None => held.left_nl,
        Some(amount) => {
            if let Quantity::Volume(volume) = amount.quantity() {
                Some(volume.0.max(0))
            } else {
                f.notice(Notice::UnitMismatch {
                    product: product.clone(),
                });
                None
            }
        }
    };
    if amount.is_none() {
        f.state.mixes.remove(&key);
    } else if let Some(volume) = volume {
        take(f, &key, volume);
    }
    if let Some(volume) = volume {
        f.out.push(Row::MixDumped {
            mix: held.begun.event,
            volume: Nanolitres(volume),
            at: f.at,
            seq: f.event.seq,
        });
    }
}

/// Takes a volume out of a live mix; a mix used up is live no more.
fn take(f: &mut Folding<'_>, key: &(Code, Code), volume_nl: i64) {
    let Some(mix) = f.state.mixes.get_mut(key) else {
        return;
    };
    let Some(left_nl) = &mut mix.left_nl else {
        return;
    };
    let overdrawn = volume_nl > *left_nl;
    *left_nl = left_nl.saturating_sub(volume_nl).max(0);
    if *left_nl == 0 {
        f.state.mixes.remove(key);
    }
    if overdrawn {
        f.notice(Notice::MixOverdrawn {
            product: key.1.clone(),
        });
    }
}

/// A product is used, neat or out of the bay's live mix.
pub(crate) fn used(f: &mut Folding<'_>, used: &ProductUsed) {
    if f.left_out() {
        return;
    }
    let key = (f.event.bay.clone(), used.product.clone());
    let live = match used.source {
        UseSource::Neat => None,
        UseSource::Mix | UseSource::Unsaid => f.state.mixes.get(&key).map(|m| m.begun.event),
    };
    let quantity = used.used.quantity();
    if matches!(used.used, crate::fact::Used::Weighed(..)) && quantity.is_none() {
        f.notice(Notice::UnitMismatch {
            product: used.product.clone(),
        });
    }
    match (used.source, live) {
        (UseSource::Mix, None) => f.notice(Notice::NoMix {
            product: used.product.clone(),
        }),
        (UseSource::Unsaid, Some(_)) => f.notice(Notice::FromMix {
            product: used.product.clone(),
        }),
        _ => {}
    }
    if live.is_some() {
        match quantity {
            Some(Quantity::Volume(volume)) => take(f, &key, volume.0.max(0)),
            // Nobody knows the density of a mix.
            Some(_) => f.notice(Notice::UnitMismatch {
                product: used.product.clone(),
            }),
            None => {}
        }
    }
    let job = f.job;
    let (stage, again) = job.map_or_else(
        || (Code::new(""), false),
        |job| supplies::stage_in_progress(f.state, job, &f.by),
    );
    let comeback = job
        .and_then(|key| f.state.jobs.get(&key))
        .is_some_and(|job| job.comeback);
    f.out.push(Row::Use(UseRow {
        event: f.event.id,
        seq: f.event.seq,
        at: f.at,
        job,
        stage,
        bay: f.event.bay.clone(),
        product: used.product.clone(),
        quantity,
        mix: live,
        lot: used.lot.clone(),
        panels: used.panels.clone(),
        rework: again || comeback,
    }));
    surfaces::of_product(f, &used.product, &used.panels);
}
