//! Columns back into rows: the mirror of `put`.

use baywright_floor::event::Seq;
use baywright_floor::fact::{Declaration, Grades};
use baywright_floor::notice::Notice;
use baywright_floor::quote::{PastRow, QuoteDecidedRow, QuoteRow};
use baywright_floor::row::{
    CoatedRow, HandsOn, JobOpenedRow, MixMadeRow, NoticeRow, Presence, Row, UseRow, Waiting,
};
use baywright_terms::amount::Nanolitres;
use baywright_terms::temperature::{MilliCelsius, MilliPercent};
use baywright_terms::time::Micros;

use super::columns::Take;
use super::table::Table;

type Read<T> = rusqlite::Result<T>;

/// Reads the columns that follow the key.
pub(super) fn take(table: Table, from: &mut Take<'_>) -> Read<Row> {
    Ok(match table {
        Table::Job => Row::JobOpened(job(from)?),
        Table::Release => Row::JobReleased {
            job: from.id()?,
            at: at(from)?,
            seq: seq(from)?,
        },
        Table::Presence => Row::Presence(presence(from)?),
        Table::HandsOn => Row::HandsOn(hands_on(from)?),
        Table::Waiting => Row::Waiting(waiting(from)?),
        Table::ProductUse => Row::Use(product_use(from)?),
        Table::MixMade => Row::MixMade(mix_made(from)?),
        Table::Coated => Row::Coated(coated(from)?),
        Table::Notice => Row::Notice(notice(from)?),
        Table::Quote => Row::Quote(quote(from)?),
        Table::QuoteDecided => Row::QuoteDecided(quote_decided(from)?),
        Table::Past => Row::Past(past(from)?),
        Table::Counted => {
            let event = from.id()?;
            let job = from.id_or_null()?;
            let by = from.json()?;
            Row::Counted {
                event,
                seq: seq(from)?,
                job,
                by,
            }
        }
        Table::Declared
        | Table::Levelled
        | Table::Lamp
        | Table::Cured
        | Table::Covered
        | Table::FlawFound
        | Table::FlawRemedied => job_fact(table, from)?,
        Table::MixDumped | Table::Container | Table::Stock | Table::Air => shop_fact(table, from)?,
    })
}

fn job_fact(table: Table, from: &mut Take<'_>) -> Read<Row> {
    Ok(match table {
        Table::Declared => {
            let job = from.id()?;
            let stage = from.code()?;
            let word = from.text()?;
            let about_us: Option<i64> = from.value()?;
            let declaration = match (word, about_us) {
                ("not-done", _) => Declaration::NotDone,
                ("done-about", Some(about_us)) => Declaration::DoneAbout { about_us },
                _ => Declaration::Unknown,
            };
            Row::Declared {
                job,
                stage,
                declaration,
                seq: seq(from)?,
            }
        }
        Table::Levelled => Row::Levelled {
            coated: from.id()?,
            job: from.id()?,
            at: at(from)?,
            result: from.word()?,
            seq: seq(from)?,
        },
        Table::Lamp => Row::Lamp {
            job: from.id()?,
            panel: from.code()?,
            from: at(from)?,
            until: at(from)?,
            surface: from.number_or_null()?.map(MilliCelsius),
            seq: seq(from)?,
        },
        Table::Cured => Row::Cured {
            job: from.id()?,
            panel: from.code()?,
            at: at(from)?,
            seq: seq(from)?,
        },
        Table::Covered => Row::Covered {
            job: from.id()?,
            finish: from.code()?,
            panel: from.code()?,
            left_out: from.value()?,
            seq: seq(from)?,
        },
        Table::FlawFound => {
            let event = from.id()?;
            Row::FlawFound {
                job: from.id()?,
                event,
                panel: from.code()?,
                flaw: from.value()?,
                existing: from.value()?,
                photo: from.value()?,
                at: at(from)?,
                seq: seq(from)?,
            }
        }
        _ => {
            let found = from.id_or_null()?;
            Row::FlawRemedied {
                job: from.id()?,
                found,
                panel: from.code()?,
                at: at(from)?,
                seq: seq(from)?,
            }
        }
    })
}

fn shop_fact(table: Table, from: &mut Take<'_>) -> Read<Row> {
    Ok(match table {
        Table::MixDumped => Row::MixDumped {
            mix: from.id()?,
            volume: Nanolitres(from.value()?),
            at: at(from)?,
            seq: seq(from)?,
        },
        Table::Container => Row::Container {
            product: from.code()?,
            bay: from.code()?,
            kind: from.word()?,
            quantity: from.quantity()?,
            lot: from.value()?,
            at: at(from)?,
            seq: seq(from)?,
        },
        Table::Stock => Row::Stock {
            product: from.code()?,
            kind: from.word()?,
            quantity: from.quantity()?,
            packs: from.number()?,
            price_minor: from.value()?,
            lot: from.value()?,
            at: at(from)?,
            seq: seq(from)?,
        },
        _ => Row::Air {
            bay: from.code()?,
            at: at(from)?,
            air: MilliCelsius(from.number()?),
            humidity: MilliPercent(from.number()?),
            surface: from.number_or_null()?.map(MilliCelsius),
            sensor: from.value()?,
            seq: seq(from)?,
        },
    })
}

fn job(from: &mut Take<'_>) -> Read<JobOpenedRow> {
    Ok(JobOpenedRow {
        job: from.id()?,
        seq: seq(from)?,
        number: from.number_or_null()?,
        handle: from.value()?,
        opened: at(from)?,
        job_type: from.code()?,
        vehicle: from.value()?,
        vehicle_class: from.code()?,
        grades: Grades {
            soil: from.number()?,
            defects: from.number()?,
            intricacy: from.number()?,
        },
        panels: from.json()?,
        comeback_of: from.id_or_null()?,
        agreed_minor: from.value()?,
        quote: from.id_or_null()?,
    })
}

fn quote(from: &mut Take<'_>) -> Read<QuoteRow> {
    Ok(QuoteRow {
        quote: from.id()?,
        seq: seq(from)?,
        at: at(from)?,
        revised: from.value()?,
        addition_to: from.id_or_null()?,
        asked: from.json()?,
        printed: from.json()?,
    })
}

fn quote_decided(from: &mut Take<'_>) -> Read<QuoteDecidedRow> {
    Ok(QuoteDecidedRow {
        quote: from.id()?,
        seq: seq(from)?,
        at: at(from)?,
        accepted: from.value()?,
        addition_to: from.id_or_null()?,
        agreed_minor: from.value()?,
        suggested_minor: from.value()?,
        reason: from.value()?,
        planned_date: from.value()?,
    })
}

fn past(from: &mut Take<'_>) -> Read<PastRow> {
    let seq = seq(from)?;
    let source = from.value()?;
    from.id()?;
    Ok(PastRow {
        seq,
        source,
        past: from.json()?,
    })
}

fn presence(from: &mut Take<'_>) -> Read<Presence> {
    Ok(Presence {
        job: from.id()?,
        place: from.code()?,
        from: at(from)?,
        until: at_or_null(from)?,
        seq_from: seq(from)?,
        seq_until: seq_or_null(from)?,
    })
}

fn hands_on(from: &mut Take<'_>) -> Read<HandsOn> {
    Ok(HandsOn {
        job: from.id()?,
        stage: from.code()?,
        run: from.id()?,
        worker: from.code()?,
        bay: from.code()?,
        from: at(from)?,
        until: at(from)?,
        ended: from.word()?,
        reason: from.value()?,
        rework: from.value()?,
        seq_from: seq(from)?,
        seq_until: seq_or_null(from)?,
    })
}

fn waiting(from: &mut Take<'_>) -> Read<Waiting> {
    Ok(Waiting {
        job: from.id()?,
        kind: from.word()?,
        product: from.code()?,
        panel: from.code()?,
        from: at(from)?,
        until: at_or_null(from)?,
        seq_from: seq(from)?,
        seq_until: seq_or_null(from)?,
    })
}

fn product_use(from: &mut Take<'_>) -> Read<UseRow> {
    Ok(UseRow {
        event: from.id()?,
        seq: seq(from)?,
        at: at(from)?,
        job: from.id_or_null()?,
        stage: from.code()?,
        bay: from.code()?,
        product: from.code()?,
        quantity: from.quantity()?,
        mix: from.id_or_null()?,
        lot: from.value()?,
        panels: from.json()?,
        rework: from.value()?,
    })
}

fn mix_made(from: &mut Take<'_>) -> Read<MixMadeRow> {
    Ok(MixMadeRow {
        mix: from.id()?,
        seq: seq(from)?,
        at: at(from)?,
        bay: from.code()?,
        product: from.code()?,
        volume: Nanolitres(from.value()?),
        concentrate: Nanolitres(from.value()?),
        additions: from.json()?,
    })
}

fn coated(from: &mut Take<'_>) -> Read<CoatedRow> {
    let event = from.id()?;
    let job = from.id()?;
    let mut row = CoatedRow {
        event,
        seq: Seq(0),
        job,
        panel: from.code()?,
        section: from.number()?,
        finish: from.code()?,
        product: from.code()?,
        lot: from.value()?,
        layer: from.number()?,
        at: at(from)?,
        air: from.number_or_null()?.map(MilliCelsius),
        humidity: from.number_or_null()?.map(MilliPercent),
        surface: from.number_or_null()?.map(MilliCelsius),
    };
    row.seq = seq(from)?;
    Ok(row)
}

fn notice(from: &mut Take<'_>) -> Read<NoticeRow> {
    let event = from.id()?;
    let seq = seq(from)?;
    let at = at(from)?;
    let bay = from.code()?;
    let job = from.id_or_null()?;
    let _code = from.text()?;
    let _severity = from.text()?;
    let notice: Notice = from.json()?;
    Ok(NoticeRow {
        event,
        seq,
        at,
        bay,
        job,
        notice,
        settled: from.value()?,
    })
}

fn at(from: &mut Take<'_>) -> Read<Micros> {
    Ok(Micros(from.value()?))
}

fn at_or_null(from: &mut Take<'_>) -> Read<Option<Micros>> {
    Ok(from.value::<Option<i64>>()?.map(Micros))
}

fn seq(from: &mut Take<'_>) -> Read<Seq> {
    Ok(Seq(from.number()?))
}

fn seq_or_null(from: &mut Take<'_>) -> Read<Option<Seq>> {
    Ok(from.number_or_null()?.map(Seq))
}
