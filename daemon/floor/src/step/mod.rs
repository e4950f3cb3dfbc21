//! Moves the state over one event, and tells what happened.
//!
//! Timed transitions come first ([`advance`]), then the event. Everything an
//! event sets for later (closing, caps of waiting, water-safe) is worked out
//! from the catalogue in force at that event and kept in the state, so a
//! catalogue change dirties nothing before its `valid_from`.

mod advance;
mod clock;
mod codes;
mod dwell;
mod folding;
mod jobs;
mod mixes;
mod panels;
mod places;
mod provisional;
mod quotes;
mod stages;
mod supplies;
mod surfaces;

use baywright_terms::time::{HOUR_US, MINUTE_US};

use crate::catalogues::Catalogues;
use crate::fact::Fact;
use crate::ledger::Entry;
use crate::row::Row;
use crate::state::State;

pub(crate) use advance::advance;
pub(crate) use panels::section_window;
pub use panels::window_of;
pub use provisional::provisional;
pub use surfaces::air_unfit;

use folding::Folding;

/// A stage may be declared this long after the release; then what has neither
/// record nor declaration is listed as odd. Long enough to answer the
/// questions that `release` asks.
pub const DECLARE_WITHIN_US: i64 = 10 * MINUTE_US;

/// Clocks apart by less than this are not worth a word.
pub const CLOCK_TOLERANCE_US: i64 = 2_000_000;

/// An air reading is taken for the air of a coat this long.
pub const AIR_FRESH_US: i64 = 2 * HOUR_US;

/// A bay's last reading is forgotten after this.
pub const AIR_KEPT_US: i64 = 24 * HOUR_US;

/// A mix nobody used up, dumped or replaced is waste after this.
pub const MIX_KEPT_US: i64 = 30 * 24 * HOUR_US;

/// Flash of a section nobody levelled, where no label tells a water-safe time
/// or a levelling window: levelling is a matter of minutes.
pub const FLASH_LONGEST_US: i64 = HOUR_US;

/// Folds one event. Total: a stored event is a fact.
pub fn step(state: &mut State, cats: &Catalogues, entry: &Entry, out: &mut Vec<Row>) {
    advance(state, cats, entry.event.position.occurred, out);
    let counted_at = out.len();
    let snapshot = cats.at(entry.event.position.occurred);
    let event = codes::as_settled(entry, snapshot);
    let mut f = Folding::new(state, cats, snapshot, entry, &event, out);
    clock::check(&mut f);
    jobs::resolve(&mut f);
    codes::check(&mut f);
    f.touch_posts();
    apply(&mut f);
    let counted = f.counted();
    out.insert(counted_at, counted);
}

fn apply(f: &mut Folding<'_>) {
    let event = f.event;
    match &event.fact {
        Fact::JobOpened(opened) => jobs::opened(f, opened),
        Fact::JobMoved { place } => places::moved(f, place),
        Fact::JobReleased => jobs::released(f),
        Fact::StageStarted {
            stage,
            panels,
            rework,
        } => stages::started(f, stage, panels, *rework),
        Fact::StagePaused {
            stage,
            person,
            reason: _,
        } => stages::paused(f, stage, *person),
        Fact::StageResumed { stage } => stages::resumed(f, stage),
        Fact::StageFinished { stage, again } => stages::finished(f, stage, *again),
        Fact::StageDeclared { stage, declaration } => jobs::declared(f, stage, *declaration),
        Fact::DwellStarted { product, panels } => dwell::started(f, product, panels),
        Fact::DwellEnded { product, panels: _ } => dwell::ended(f, product),
        Fact::PanelCoated {
            panel,
            section,
            product,
            lot,
            layer,
        } => {
            let spread = panels::Spread {
                panel,
                section: *section,
                product,
                lot,
                layer: *layer,
            };
            panels::coated(f, &spread);
        }
        Fact::PanelLevelled {
            panel,
            section,
            result,
            amends,
        } => panels::levelled(f, panel, *section, *result, *amends),
        Fact::PanelLamp {
            panel,
            duration_us,
            surface,
        } => panels::lamp(f, panel, *duration_us, *surface),
        Fact::PanelCured { panel } => panels::cured(f, panel),
        Fact::SurfaceCovered {
            finish,
            panel,
            left_out,
        } => surfaces::covered(f, finish, panel, *left_out),
        Fact::FlawFound {
            panel,
            flaw,
            existing,
            photo,
        } => panels::flaw_found(f, panel, flaw, *existing, photo),
        Fact::FlawRemedied {
            panel,
            flaw: _,
            found,
        } => panels::flaw_remedied(f, panel, *found),
        Fact::QuoteDrafted { .. }
        | Fact::QuoteRevised { .. }
        | Fact::QuoteAccepted { .. }
        | Fact::QuoteDeclined { .. }
        | Fact::PastRecorded { .. } => apply_quotes(f, &event.fact),
        _ => apply_supplies(f, &event.fact),
    }
}

/// Facts of the office.
fn apply_quotes(f: &mut Folding<'_>, fact: &Fact) {
    match fact {
        Fact::QuoteDrafted {
            asked,
            printed,
            addition,
        } => quotes::printed(f, None, asked, printed, *addition),
        Fact::QuoteRevised {
            quote,
            asked,
            printed,
            reason: _,
        } => quotes::printed(f, Some(*quote), asked, printed, f.job.is_some()),
        Fact::QuoteAccepted {
            quote,
            agreed,
            suggested,
            reason,
            planned_date,
        } => {
            let yes = quotes::Accepted {
                agreed: agreed.as_ref(),
                suggested: suggested.as_ref(),
                planned_date,
            };
            quotes::decided(f, *quote, Some(&yes), reason);
        }
        Fact::QuoteDeclined { quote, reason } => quotes::decided(f, *quote, None, reason),
        Fact::PastRecorded { source, jobs } => quotes::past(f, source, jobs),
        _ => {}
    }
}

/// Facts that need no job.
fn apply_supplies(f: &mut Folding<'_>, fact: &Fact) {
    match fact {
        Fact::AmbientRead(read) => supplies::ambient(f, read),
        Fact::MixMade {
            product,
            ratio,
            volume,
            additions,
        } => mixes::made(f, product, *ratio, *volume, additions),
        Fact::MixDumped {
            product,
            mix,
            amount,
        } => mixes::dumped(f, product, *mix, *amount),
        Fact::ProductUsed(used) => mixes::used(f, used),
        Fact::ProductRefilled {
            product,
            state,
            amount,
            lot,
        } => supplies::refilled(f, product, *state, *amount, lot),
        Fact::StockReceived {
            product,
            packs,
            pack,
            price,
            lot,
        } => supplies::received(f, product, *packs, *pack, price.as_ref(), lot),
        Fact::StockCounted { product, amount } => supplies::counted(f, product, *amount),
        Fact::Unknown => f.notice(crate::notice::Notice::UnknownFact),
        Fact::SetAside { text } => f.notice(crate::notice::Notice::SetAside { text: text.clone() }),
        // Notes are read from the log; strikes, settlements and catalogue
        // changes act through the overlay and the catalogues.
        _ => {}
    }
}
