//! What `report` exports, as messages.

use baywright_floor::event::{EventId, Seq};
use baywright_floor::fact::{Declaration, Fact, Used};
use baywright_floor::row::Waiting;
use baywright_proto::amount::amount_to_wire;
use baywright_proto::v1;
use baywright_report::figures::{Portion, StoryPlace};
use baywright_report::{
    ExportedDeclared, ExportedJob, ExportedSection, ExportedStretch, ExportedUse,
};
use baywright_terms::time::Micros;

use crate::facts::messages::{money, story};
use crate::facts::rows::word;

pub(super) fn job(job: &ExportedJob<'_>) -> v1::ExportJob {
    let (opened, figures) = (job.opened, &job.figures);
    v1::ExportJob {
        number: opened.number.unwrap_or(0),
        handle: opened.handle.clone(),
        opening_event_id: id(Some(opened.job)),
        job_type: opened.job_type.to_string(),
        vehicle: opened.vehicle.clone(),
        vehicle_class: opened.vehicle_class.to_string(),
        grades: Some(v1::Grades {
            soil: opened.grades.soil.into(),
            defects: opened.grades.defects.into(),
            intricacy: opened.grades.intricacy.into(),
        }),
        bay: figures.bay.to_string(),
        opened_us: opened.opened.0,
        released_us: us_or_zero(figures.released),
        cycle_us: figures.cycle_us.unwrap_or(0),
        agreed_minor: opened.agreed_minor,
        currency: job.currency.clone(),
        comeback_of: figures.comeback_of_number.unwrap_or(0),
        comeback_of_event_id: id(opened.comeback_of),
        quoted_us: figures.quoted_us,
        actual_us: figures.actual_us,
        rework_us: figures.rework_us,
        unclosed_us: figures.unclosed_us,
        declared_us: figures.declared_us,
        stays: job
            .stays
            .iter()
            .map(|(row, place)| stay(place, row.seq_from, row.seq_until))
            .collect(),
        hands_on: job.stretches.iter().map(stretch).collect(),
        waiting: job.waiting.iter().map(|wait| waiting(wait)).collect(),
        declared: job.declared.iter().map(declared).collect(),
        uses: job.uses.iter().map(product_use).collect(),
        sections: job.sections.iter().map(section).collect(),
        money: Some(money::job(&figures.money)),
        shortfalls: money::shortfalls(&figures.shortfalls, |_| None),
        materials: job.materials.iter().map(story::product_use).collect(),
        // Numbers are the log's: the caller looks it up.
        quote_number: 0,
    }
}

fn stay(place: &StoryPlace, seq_from: Seq, seq_until: Option<Seq>) -> v1::ExportStay {
    v1::ExportStay {
        place: place.place.to_string(),
        from_us: place.from.0,
        until_us: us_or_zero(place.until),
        hands_on_us: place.hands_on_us,
        waiting_us: place.waiting_us,
        idle_us: place.idle_us,
        seq_from: seq_from.0,
        seq_until: seq_or_zero(seq_until),
    }
}

fn stretch(stretch: &ExportedStretch<'_>) -> v1::ExportStretch {
    let row = stretch.row;
    v1::ExportStretch {
        stage: row.stage.to_string(),
        run_event_id: id(Some(row.run)),
        worker: row.worker.to_string(),
        bay: row.bay.to_string(),
        from_us: row.from.0,
        until_us: row.until.0,
        hands_on_us: stretch.hands_on_us,
        ended: word(row.ended).to_owned(),
        rework: row.rework,
        seq_from: row.seq_from.0,
        seq_until: seq_or_zero(row.seq_until),
        cost_minor: stretch.cost_minor,
    }
}

fn waiting(row: &Waiting) -> v1::ExportWait {
    v1::ExportWait {
        kind: word(row.kind).to_owned(),
        product: row.product.to_string(),
        panel: row.panel.to_string(),
        from_us: row.from.0,
        until_us: us_or_zero(row.until),
        seq_from: row.seq_from.0,
        seq_until: seq_or_zero(row.seq_until),
    }
}

fn declared(declared: &ExportedDeclared<'_>) -> v1::ExportDeclared {
    v1::ExportDeclared {
        stage: declared.stage.to_string(),
        declaration: match declared.declaration {
            Declaration::NotDone => "not-done",
            Declaration::DoneAbout { .. } => "done-about",
            Declaration::Unknown => "unknown",
        }
        .to_owned(),
        counted_us: declared.counted_us,
        cost_minor: declared.cost_minor,
    }
}

pub(super) fn product_use(used: &ExportedUse<'_>) -> v1::ExportUse {
    let row = used.row;
    let amount = row.quantity.map(Portion::from);
    v1::ExportUse {
        seq: row.seq.0,
        event_id: id(Some(row.event)),
        at_us: row.at.0,
        product: row.product.to_string(),
        stage: row.stage.to_string(),
        bay: row.bay.to_string(),
        lot: row.lot.clone(),
        panels: row.panels.iter().map(ToString::to_string).collect(),
        used: amount.map_or(0.0, Portion::value),
        unit: amount
            .map(|amount| amount.unit.as_str().to_owned())
            .unwrap_or_default(),
        mix_event_id: id(row.mix),
        parts: used
            .parts
            .iter()
            .map(|part| v1::ExportPart {
                product: part.product.to_string(),
                used: part.amount.value(),
                unit: part.amount.unit.as_str().to_owned(),
                cost_minor: part.cost_minor,
            })
            .collect(),
        ..v1::ExportUse::default()
    }
}

/// Puts what the person typed beside what it came to.
pub(super) fn put_posted(message: &mut v1::ExportUse, fact: &Fact) {
    let Fact::ProductUsed(fact) = fact else {
        return;
    };
    match &fact.used {
        Used::Amount(amount) => message.posted = Some(amount_to_wire(amount)),
        Used::Weighed(before, after) => {
            message.weighed_before = Some(amount_to_wire(before));
            message.weighed_after = Some(amount_to_wire(after));
        }
        Used::Unsaid => {}
    }
}

fn section(section: &ExportedSection<'_>) -> v1::ExportSection {
    let row = section.row;
    v1::ExportSection {
        panel: row.panel.to_string(),
        section: row.section,
        finish: row.finish.to_string(),
        product: row.product.to_string(),
        lot: row.lot.clone(),
        layer: row.layer,
        coated_us: row.at.0,
        air_milli_c: row.air.map(|air| air.0),
        humidity_milli_pct: row.humidity.map(|humidity| humidity.0),
        surface_milli_c: row.surface.map(|surface| surface.0),
        seq: row.seq.0,
        levelled: section
            .levelled
            .iter()
            .map(|(at, result, seq)| v1::ExportLevelled {
                at_us: at.0,
                result: word(*result).to_owned(),
                seq: seq.0,
            })
            .collect(),
    }
}

fn id(event: Option<EventId>) -> Vec<u8> {
    event.map(|id| id.0.to_vec()).unwrap_or_default()
}

fn us_or_zero(at: Option<Micros>) -> i64 {
    at.map_or(0, |at| at.0)
}

fn seq_or_zero(seq: Option<Seq>) -> u64 {
    seq.map_or(0, |seq| seq.0)
}
