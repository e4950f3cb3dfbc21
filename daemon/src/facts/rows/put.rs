//! Rows into columns, in the order of the tables' columns.

use baywright_floor::event::{EventId, JobKey, Seq};
use baywright_floor::fact::Declaration;
use baywright_floor::quote::{PastRow, QuoteDecidedRow, QuoteRow};
use baywright_floor::row::{
    CoatedRow, HandsOn, JobOpenedRow, MixMadeRow, NoticeRow, Presence, Row, UseRow, Waiting,
};
use baywright_floor::words;
use baywright_terms::time::Micros;

use super::columns::{Put, Word as _};
use super::table::Table;

/// The table that a row stands in.
pub(crate) fn table_of(row: &Row) -> Table {
    match row {
        Row::JobOpened(_) => Table::Job,
        Row::JobReleased { .. } => Table::Release,
        Row::Presence(_) => Table::Presence,
        Row::HandsOn(_) => Table::HandsOn,
        Row::Waiting(_) => Table::Waiting,
        Row::Declared { .. } => Table::Declared,
        Row::Use(_) => Table::ProductUse,
        Row::MixMade(_) => Table::MixMade,
        Row::MixDumped { .. } => Table::MixDumped,
        Row::Container { .. } => Table::Container,
        Row::Coated(_) => Table::Coated,
        Row::Levelled { .. } => Table::Levelled,
        Row::Lamp { .. } => Table::Lamp,
        Row::Cured { .. } => Table::Cured,
        Row::Covered { .. } => Table::Covered,
        Row::FlawFound { .. } => Table::FlawFound,
        Row::FlawRemedied { .. } => Table::FlawRemedied,
        Row::Stock { .. } => Table::Stock,
        Row::Air { .. } => Table::Air,
        Row::Counted { .. } => Table::Counted,
        Row::Notice(_) => Table::Notice,
        Row::Quote(_) => Table::Quote,
        Row::QuoteDecided(_) => Table::QuoteDecided,
        Row::Past(_) => Table::Past,
    }
}

/// Binds the columns that follow the key.
pub(super) fn put(row: &Row, to: &mut Put<'_, '_>) -> rusqlite::Result<()> {
    match row {
        Row::JobOpened(opened) => job(opened, to),
        Row::JobReleased { job, at, seq } => {
            to.id(*job)?.value(at.0)?.number(seq.0)?;
            Ok(())
        }
        Row::Presence(stay) => presence(stay, to),
        Row::HandsOn(stretch) => hands_on(stretch, to),
        Row::Waiting(wait) => waiting(wait, to),
        Row::Use(used) => product_use(used, to),
        Row::MixMade(made) => mix_made(made, to),
        Row::Coated(spread) => coated(spread, to),
        Row::Notice(said) => notice(said, to),
        Row::Quote(said) => quote(said, to),
        Row::QuoteDecided(said) => quote_decided(said, to),
        Row::Past(said) => past(said, to),
        Row::Counted {
            event,
            seq,
            job,
            by,
        } => {
            to.id(*event)?.id_or_null(*job)?.json(by)?.number(seq.0)?;
            Ok(())
        }
        Row::Declared { .. }
        | Row::Levelled { .. }
        | Row::Lamp { .. }
        | Row::Cured { .. }
        | Row::Covered { .. }
        | Row::FlawFound { .. }
        | Row::FlawRemedied { .. } => put_job_fact(row, to),
        Row::MixDumped { .. } | Row::Container { .. } | Row::Stock { .. } | Row::Air { .. } => {
            put_shop_fact(row, to)
        }
    }
}

/// Small facts of a job.
fn put_job_fact(row: &Row, to: &mut Put<'_, '_>) -> rusqlite::Result<()> {
    match row {
        Row::Declared {
            job,
            stage,
            declaration,
            seq,
        } => {
            let (word, about_us) = match declaration {
                Declaration::NotDone => ("not-done", None),
                Declaration::DoneAbout { about_us } => ("done-about", Some(*about_us)),
                Declaration::Unknown => ("unknown", None),
            };
            to.id(*job)?.code(stage)?.value(word)?.value(about_us)?;
            to.number(seq.0)?;
        }
        Row::Levelled {
            coated,
            job,
            at,
            result,
            seq,
        } => {
            to.id(*coated)?.id(*job)?.value(at.0)?;
            to.value(result.word())?.number(seq.0)?;
        }
        Row::Lamp {
            job,
            panel,
            from,
            until,
            surface,
            seq,
        } => {
            to.id(*job)?.code(panel)?.value(from.0)?.value(until.0)?;
            to.value(surface.map(|s| s.0))?.number(seq.0)?;
        }
        Row::Cured {
            job,
            panel,
            at,
            seq,
        } => {
            to.id(*job)?.code(panel)?.value(at.0)?.number(seq.0)?;
        }
        Row::Covered {
            job,
            finish,
            panel,
            left_out,
            seq,
        } => {
            to.id(*job)?.code(finish)?.code(panel)?;
            to.value(left_out)?.number(seq.0)?;
        }
        Row::FlawFound {
            job,
            event,
            panel,
            flaw,
            existing,
            photo,
            at,
            seq,
        } => {
            to.id(*event)?.id(*job)?.code(panel)?.value(flaw)?;
            to.value(existing)?.value(photo)?.value(at.0)?;
            to.number(seq.0)?;
        }
        Row::FlawRemedied {
            job,
            found,
            panel,
            at,
            seq,
        } => flaw_remedied(*found, *job, panel.as_str(), *at, *seq, to)?,
        _ => {}
    }
    Ok(())
}

fn flaw_remedied(
    found: Option<EventId>,
    job: JobKey,
    panel: &str,
    at: Micros,
    seq: Seq,
    to: &mut Put<'_, '_>,
) -> rusqlite::Result<()> {
    to.id_or_null(found)?.id(job)?.value(panel)?;
    to.value(at.0)?.number(seq.0)?;
    Ok(())
}

/// Small facts of the shop.
fn put_shop_fact(row: &Row, to: &mut Put<'_, '_>) -> rusqlite::Result<()> {
    match row {
        Row::MixDumped {
            mix,
            volume,
            at,
            seq,
        } => {
            to.id(*mix)?.value(volume.0)?.value(at.0)?.number(seq.0)?;
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
            to.code(product)?.code(bay)?.value(kind.word())?;
            to.quantity(*quantity)?.value(lot)?.value(at.0)?;
            to.number(seq.0)?;
        }
        Row::Stock {
            product,
            kind,
            quantity,
            packs,
            price_minor,
            lot,
            at,
            seq,
        } => {
            to.code(product)?.value(kind.word())?.quantity(*quantity)?;
            to.value(packs)?.value(price_minor)?.value(lot)?;
            to.value(at.0)?.number(seq.0)?;
        }
        Row::Air {
            bay,
            at,
            air,
            humidity,
            surface,
            sensor,
            seq,
        } => {
            to.code(bay)?.value(at.0)?.value(air.0)?.value(humidity.0)?;
            to.value(surface.map(|s| s.0))?.value(sensor)?;
            to.number(seq.0)?;
        }
        _ => {}
    }
    Ok(())
}

fn job(row: &JobOpenedRow, to: &mut Put<'_, '_>) -> rusqlite::Result<()> {
    to.id(row.job)?.number(row.seq.0)?;
    to.value(row.number.map(|n| i64::try_from(n).unwrap_or(i64::MAX)))?;
    to.value(&row.handle)?.value(row.opened.0)?;
    to.code(&row.job_type)?.value(&row.vehicle)?;
    to.code(&row.vehicle_class)?.value(row.grades.soil)?;
    to.value(row.grades.defects)?.value(row.grades.intricacy)?;
    to.json(&row.panels)?.id_or_null(row.comeback_of)?;
    to.value(row.agreed_minor)?.id_or_null(row.quote)?;
    Ok(())
}

fn quote(row: &QuoteRow, to: &mut Put<'_, '_>) -> rusqlite::Result<()> {
    to.id(row.quote)?.number(row.seq.0)?.value(row.at.0)?;
    to.value(row.revised)?.id_or_null(row.addition_to)?;
    to.json(&row.asked)?.json(&row.printed)?;
    Ok(())
}

fn quote_decided(row: &QuoteDecidedRow, to: &mut Put<'_, '_>) -> rusqlite::Result<()> {
    to.id(row.quote)?.number(row.seq.0)?.value(row.at.0)?;
    to.value(row.accepted)?.id_or_null(row.addition_to)?;
    to.value(row.agreed_minor)?.value(row.suggested_minor)?;
    to.value(&row.reason)?.value(&row.planned_date)?;
    Ok(())
}

fn past(row: &PastRow, to: &mut Put<'_, '_>) -> rusqlite::Result<()> {
    to.number(row.seq.0)?.value(&row.source)?;
    to.id(row.past.key)?.json(&row.past)?;
    Ok(())
}

fn presence(row: &Presence, to: &mut Put<'_, '_>) -> rusqlite::Result<()> {
    to.id(row.job)?.code(&row.place)?.value(row.from.0)?;
    to.value(row.until.map(|u| u.0))?.number(row.seq_from.0)?;
    seq_or_null(row.seq_until, to)
}

fn hands_on(row: &HandsOn, to: &mut Put<'_, '_>) -> rusqlite::Result<()> {
    to.id(row.job)?.code(&row.stage)?.id(row.run)?;
    to.code(&row.worker)?.code(&row.bay)?.value(row.from.0)?;
    to.value(row.until.0)?.value(row.ended.word())?;
    to.value(&row.reason)?
        .value(row.rework)?
        .number(row.seq_from.0)?;
    seq_or_null(row.seq_until, to)
}

fn waiting(row: &Waiting, to: &mut Put<'_, '_>) -> rusqlite::Result<()> {
    to.id(row.job)?.value(row.kind.word())?;
    to.code(&row.product)?.code(&row.panel)?.value(row.from.0)?;
    to.value(row.until.map(|u| u.0))?.number(row.seq_from.0)?;
    seq_or_null(row.seq_until, to)
}

fn product_use(row: &UseRow, to: &mut Put<'_, '_>) -> rusqlite::Result<()> {
    to.id(row.event)?.number(row.seq.0)?.value(row.at.0)?;
    to.id_or_null(row.job)?.code(&row.stage)?.code(&row.bay)?;
    to.code(&row.product)?.quantity(row.quantity)?;
    to.id_or_null(row.mix)?.value(&row.lot)?.json(&row.panels)?;
    to.value(row.rework)?;
    Ok(())
}

fn mix_made(row: &MixMadeRow, to: &mut Put<'_, '_>) -> rusqlite::Result<()> {
    to.id(row.mix)?.number(row.seq.0)?.value(row.at.0)?;
    to.code(&row.bay)?.code(&row.product)?.value(row.volume.0)?;
    to.value(row.concentrate.0)?.json(&row.additions)?;
    Ok(())
}

fn coated(row: &CoatedRow, to: &mut Put<'_, '_>) -> rusqlite::Result<()> {
    to.id(row.event)?.id(row.job)?.code(&row.panel)?;
    to.value(row.section)?.code(&row.finish)?;
    to.code(&row.product)?.value(&row.lot)?.value(row.layer)?;
    to.value(row.at.0)?.value(row.air.map(|a| a.0))?;
    to.value(row.humidity.map(|h| h.0))?;
    to.value(row.surface.map(|s| s.0))?.number(row.seq.0)?;
    Ok(())
}

fn notice(row: &NoticeRow, to: &mut Put<'_, '_>) -> rusqlite::Result<()> {
    to.id(row.event)?.number(row.seq.0)?.value(row.at.0)?;
    to.code(&row.bay)?.id_or_null(row.job)?;
    to.value(words::code(&row.notice))?;
    to.value(super::severity_word(words::severity(&row.notice)))?;
    to.json(&row.notice)?.value(row.settled)?;
    Ok(())
}

fn seq_or_null(seq: Option<Seq>, to: &mut Put<'_, '_>) -> rusqlite::Result<()> {
    to.value(seq.map(|s| i64::try_from(s.0).unwrap_or(i64::MAX)))?;
    Ok(())
}
