//! One event of the log as one row. Pure.

use baywright_proto::v1;
use baywright_proto::v1::fact::Kind;
use jiff::tz::TimeZone;
use prost::Message as _;

use super::at::{local, utc};
use super::cell::Cell;

/// Names and meanings of the columns, in order; the help prints them.
pub(super) const COLUMNS: [(&str, &str); 28] = [
    ("seq", "number in the log"),
    ("occurred_local", "when it happened, in the shop's zone"),
    ("occurred_utc", "the same, RFC 3339"),
    ("received_utc", "when the daemon got it"),
    ("device", "the device that posted it"),
    ("bay", "the bay it was posted in"),
    ("by", "worker codes, with semicolons"),
    ("job", "number of the job it counts for"),
    ("fact", "what happened: stage_started, product_used, ..."),
    ("job_type", "of a job opened"),
    ("vehicle", "of a job opened"),
    ("place", "moved to"),
    ("stage", "stage code"),
    ("product", "product code"),
    ("amount", "as typed"),
    ("unit", "of the amount: ml, us-floz, each, ..."),
    ("panels", "panel codes, with semicolons"),
    ("section", "section of the panel"),
    ("result", "done, again, clean, high-spot, opened, ..."),
    ("minutes", "declared labour or lamp time"),
    ("air_c", "air, degrees Celsius"),
    ("humidity_pct", "relative humidity, per cent"),
    ("surface_c", "surface, degrees Celsius"),
    ("text", "note, flaw or reason"),
    ("about_event_id", "the event it strikes, settles or amends"),
    ("struck", "yes where a later event takes it back"),
    ("time_basis", "how the time was found: boot, stated, ..."),
    ("event_id", "UUID of the event"),
];

/// What the columns between `fact` and `about_event_id` are made of.
#[derive(Debug, Default)]
struct Body {
    fact: &'static str,
    job_type: String,
    vehicle: String,
    place: String,
    stage: String,
    product: String,
    amount: Option<v1::Amount>,
    panels: Vec<String>,
    section: u32,
    result: &'static str,
    span_us: i64,
    air_milli: Option<i32>,
    humidity_milli: Option<u32>,
    surface_milli: Option<i32>,
    text: String,
    about: Vec<u8>,
}

/// The cells of one record, in the order of [`COLUMNS`].
pub(super) fn cells(
    response: &v1::WatchResponse,
    record: &v1::Record,
    zone: &TimeZone,
) -> [Cell; COLUMNS.len()] {
    let fact = v1::Fact::decode(record.fact.as_slice()).ok();
    let body = match &fact {
        Some(fact) => fact.kind.as_ref().map_or_else(unknown, body),
        None => Body {
            fact: "unreadable",
            ..Body::default()
        },
    };
    let fact = fact.unwrap_or_default();
    let amount = body.amount.unwrap_or_default();
    let unit = word(amount.unit().as_str_name(), "UNIT_");
    [
        count(record.seq),
        Cell::Own(local(record.occurred_us, zone)),
        Cell::Own(utc(record.occurred_us)),
        Cell::Own(utc(record.received_us)),
        Cell::Text(record.device.clone()),
        Cell::Text(fact.bay),
        Cell::Text(fact.by.join(";")),
        count(response.job_number),
        Cell::Own(body.fact.to_owned()),
        Cell::Text(body.job_type),
        Cell::Text(body.vehicle),
        Cell::Text(body.place),
        Cell::Text(body.stage),
        Cell::Text(body.product),
        Cell::Text(amount.decimal),
        Cell::Own(unit),
        Cell::Text(body.panels.join(";")),
        count(u64::from(body.section)),
        Cell::Own(body.result.to_owned()),
        Cell::Own(if body.span_us == 0 {
            String::new()
        } else {
            minutes(body.span_us)
        }),
        Cell::Own(
            body.air_milli
                .map(|m| thousandths(m.into()))
                .unwrap_or_default(),
        ),
        Cell::Own(
            body.humidity_milli
                .map(|m| thousandths(m.into()))
                .unwrap_or_default(),
        ),
        Cell::Own(
            body.surface_milli
                .map(|m| thousandths(m.into()))
                .unwrap_or_default(),
        ),
        Cell::Text(body.text),
        Cell::Own(baywright_proto::json::uuid_text(&body.about)),
        Cell::Own(if response.struck { "yes" } else { "" }.to_owned()),
        Cell::Own(word(record.time_basis().as_str_name(), "TIME_BASIS_")),
        Cell::Own(baywright_proto::json::uuid_text(&record.event_id)),
    ]
}

/// A fact of a newer bay: kept, and said so.
fn unknown() -> Body {
    Body {
        fact: "unknown",
        ..Body::default()
    }
}

fn body(kind: &Kind) -> Body {
    work(kind)
        .or_else(|| product(kind))
        .or_else(|| panel(kind))
        .unwrap_or_else(|| paper(kind))
}

/// Jobs, places and stages.
fn work(kind: &Kind) -> Option<Body> {
    let blank = Body::default();
    Some(match kind {
        Kind::JobOpened(f) => Body {
            fact: "job_opened",
            job_type: f.job_type.clone(),
            vehicle: f.vehicle.clone(),
            panels: f.panels.iter().map(|p| p.code.clone()).collect(),
            text: f.handle.clone(),
            ..blank
        },
        Kind::JobMoved(f) => Body {
            fact: "job_moved",
            place: f.place.clone(),
            ..blank
        },
        Kind::JobReleased(_) => Body {
            fact: "job_released",
            ..blank
        },
        Kind::StageStarted(f) => Body {
            fact: "stage_started",
            stage: f.stage.clone(),
            panels: f.panels.clone(),
            result: if f.rework { "rework" } else { "" },
            ..blank
        },
        Kind::StagePaused(f) => Body {
            fact: "stage_paused",
            stage: f.stage.clone(),
            result: if f.person { "break" } else { "" },
            text: f.reason.clone(),
            ..blank
        },
        Kind::StageResumed(f) => Body {
            fact: "stage_resumed",
            stage: f.stage.clone(),
            ..blank
        },
        Kind::StageFinished(f) => Body {
            fact: "stage_finished",
            stage: f.stage.clone(),
            result: match f.result() {
                v1::StageResult::Unspecified => "",
                v1::StageResult::Done => "done",
                v1::StageResult::Again => "again",
            },
            ..blank
        },
        Kind::StageDeclared(f) => Body {
            fact: "stage_declared",
            stage: f.stage.clone(),
            result: match f.declaration() {
                v1::Declaration::Unspecified => "",
                v1::Declaration::NotDone => "not-done",
                v1::Declaration::DoneAbout => "done-about",
                v1::Declaration::Unknown => "unknown",
            },
            span_us: f.about_us,
            ..blank
        },
        _ => return None,
    })
}

/// Dwells, mixes, products and stock.
fn product(kind: &Kind) -> Option<Body> {
    let of = |fact: &'static str, product: &str, amount: Option<v1::Amount>| Body {
        fact,
        product: product.to_owned(),
        amount,
        ..Body::default()
    };
    Some(match kind {
        Kind::DwellStarted(f) => Body {
            panels: f.panels.clone(),
            ..of("dwell_started", &f.product, None)
        },
        Kind::DwellEnded(f) => Body {
            panels: f.panels.clone(),
            ..of("dwell_ended", &f.product, None)
        },
        Kind::MixMade(f) => Body {
            text: f
                .ratio
                .as_ref()
                .map(|r| format!("{}:{}", r.water_parts, r.product_parts))
                .unwrap_or_default(),
            ..of("mix_made", &f.product, f.volume.clone())
        },
        Kind::MixDumped(f) => Body {
            about: f.mix_event_id.clone(),
            ..of("mix_dumped", &f.product, f.amount.clone())
        },
        Kind::ProductUsed(f) => used(f),
        Kind::ProductRefilled(f) => Body {
            result: match f.state() {
                v1::ContainerState::Unspecified => "",
                v1::ContainerState::Opened => "opened",
                v1::ContainerState::Refilled => "refilled",
                v1::ContainerState::Empty => "empty",
            },
            text: f.lot.clone(),
            ..of("product_refilled", &f.product, f.amount.clone())
        },
        Kind::StockReceived(f) => Body {
            text: f.lot.clone(),
            section: f.packs,
            ..of("stock_received", &f.product, f.pack.clone())
        },
        Kind::StockCounted(f) => of("stock_counted", &f.product, f.amount.clone()),
        _ => return None,
    })
}

fn used(fact: &v1::ProductUsed) -> Body {
    use v1::product_used::Quantity;
    let (amount, text) = match &fact.quantity {
        Some(Quantity::Amount(amount)) => (Some(amount.clone()), String::new()),
        Some(Quantity::Weighing(weighing)) => (None, weighed(weighing)),
        None => (None, String::new()),
    };
    let lot = [text, fact.lot.clone()];
    Body {
        fact: "product_used",
        product: fact.product.clone(),
        amount,
        panels: fact.panels.clone(),
        result: match fact.source() {
            v1::UseSource::Unspecified => "",
            v1::UseSource::Neat => "neat",
            v1::UseSource::Mix => "mix",
        },
        text: lot
            .into_iter()
            .filter(|t| !t.is_empty())
            .collect::<Vec<_>>()
            .join(", lot "),
        ..Body::default()
    }
}

/// Both weights as typed: a difference would be a figure nobody typed.
fn weighed(weighing: &v1::Weighing) -> String {
    let shown = |amount: &Option<v1::Amount>| {
        let (decimal, unit) = amount_text(&amount.clone().unwrap_or_default());
        format!("{decimal} {unit}")
    };
    format!(
        "weighed {} then {}",
        shown(&weighing.before),
        shown(&weighing.after)
    )
}

/// Panels, flaws and air.
fn panel(kind: &Kind) -> Option<Body> {
    let of = |fact: &'static str, panel: &str| Body {
        fact,
        panels: vec![panel.to_owned()],
        ..Body::default()
    };
    Some(match kind {
        Kind::AmbientRead(f) => Body {
            fact: "ambient_read",
            air_milli: Some(f.air_milli_c),
            humidity_milli: Some(f.humidity_milli_pct),
            surface_milli: f.surface_milli_c,
            ..Body::default()
        },
        Kind::PanelCoated(f) => Body {
            product: f.product.clone(),
            section: f.section,
            text: f.lot.clone(),
            ..of("panel_coated", &f.panel)
        },
        Kind::PanelLevelled(f) => Body {
            section: f.section,
            result: match f.result() {
                v1::LevelResult::Unspecified => "",
                v1::LevelResult::Clean => "clean",
                v1::LevelResult::Smeared => "smeared",
                v1::LevelResult::HighSpot => "high-spot",
            },
            ..of("panel_levelled", &f.panel)
        },
        Kind::PanelLamp(f) => Body {
            span_us: f.duration_us,
            surface_milli: f.surface_milli_c,
            ..of("panel_lamp", &f.panel)
        },
        Kind::PanelCured(f) => of("panel_cured", &f.panel),
        Kind::SurfaceCovered(f) => Body {
            result: match f.cover() {
                v1::CoverKind::Unspecified => "",
                v1::CoverKind::Masked => "masked",
                v1::CoverKind::LeftOut => "left-out",
            },
            text: f.finish.clone(),
            ..of("surface_covered", &f.panel)
        },
        Kind::FlawFound(f) => Body {
            result: if f.existing { "existing" } else { "made-here" },
            text: f.flaw.clone(),
            ..of("flaw_found", &f.panel)
        },
        Kind::FlawRemedied(f) => Body {
            text: f.flaw.clone(),
            about: f.flaw_event_id.clone(),
            ..of("flaw_remedied", &f.panel)
        },
        _ => return None,
    })
}

/// Notes, strikes, answers and the catalogue.
fn paper(kind: &Kind) -> Body {
    match kind {
        Kind::Noted(f) => Body {
            fact: "noted",
            text: f.text.clone(),
            ..Body::default()
        },
        Kind::StruckOut(f) => Body {
            fact: "struck_out",
            text: f.reason.clone(),
            about: f.event_id.clone(),
            ..Body::default()
        },
        Kind::Settled(f) => settled(f),
        Kind::CatalogueSet(_) => Body {
            fact: "catalogue_set",
            ..Body::default()
        },
        _ => unknown(),
    }
}

fn settled(fact: &v1::Settled) -> Body {
    use v1::settled::Answer;
    let (result, span_us) = match &fact.answer {
        Some(Answer::AsIs(_)) => ("as-is", 0),
        Some(Answer::EndUs(_)) => ("end", 0),
        Some(Answer::Code(_)) => ("code", 0),
        Some(Answer::Job(_)) => ("job", 0),
        Some(Answer::TookUs(took_us)) => ("took", *took_us),
        Some(Answer::LeaveOut(_)) => ("leave-out", 0),
        Some(Answer::NotDone(_)) => ("not-done", 0),
        Some(Answer::BreakOff(_)) => ("break-off", 0),
        None => ("", 0),
    };
    let answer = match &fact.answer {
        Some(Answer::Code(code)) => code.clone(),
        Some(Answer::EndUs(end_us)) => utc(*end_us),
        _ => String::new(),
    };
    let said = [answer, fact.reason.clone()];
    Body {
        fact: "settled",
        result,
        span_us,
        text: said
            .into_iter()
            .filter(|t| !t.is_empty())
            .collect::<Vec<_>>()
            .join(": "),
        about: fact.event_id.clone(),
        ..Body::default()
    }
}

/// A count; nothing is an empty cell.
fn count(value: u64) -> Cell {
    Cell::Own(if value == 0 {
        String::new()
    } else {
        value.to_string()
    })
}

/// Minutes to the nearest hundredth.
pub(super) fn minutes(span_us: i64) -> String {
    const HUNDREDTH_US: u64 = 600_000;
    let hundredths = (span_us.unsigned_abs() + HUNDREDTH_US / 2) / HUNDREDTH_US;
    let sign = if span_us < 0 && hundredths > 0 {
        "-"
    } else {
        ""
    };
    format!("{sign}{}.{:02}", hundredths / 100, hundredths % 100)
}

/// The decimal of an amount as typed, and its unit as a word.
pub(super) fn amount_text(amount: &v1::Amount) -> (String, String) {
    let unit = word(amount.unit().as_str_name(), "UNIT_");
    (amount.decimal.clone(), unit)
}

fn thousandths(value: i64) -> String {
    let sign = if value < 0 { "-" } else { "" };
    let size = value.unsigned_abs();
    format!("{sign}{}.{:03}", size / 1000, size % 1000)
}

/// `UNIT_US_FLOZ` as `us-floz`; the value that says nothing is empty.
fn word(name: &str, prefix: &str) -> String {
    match name.strip_prefix(prefix).unwrap_or(name) {
        "UNSPECIFIED" => String::new(),
        rest => rest.to_ascii_lowercase().replace('_', "-"),
    }
}
