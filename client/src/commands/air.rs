//! `bay air`: the air in the bay, and what it means for coating.

use baywright_proto::v1;
use baywright_proto::v1::fact::Kind;
use baywright_terms::air::{AirAssessment, DEW_MARGIN_C_MIN};
use baywright_terms::temperature::{MilliCelsius, MilliPercent};
use clap::Args;
use serde_json::json;

use crate::answer::Outcome;
use crate::commands::{post_said, refused};
use crate::context::Context;
use crate::error::Error;
use crate::say::{Extra, caution, say};

/// Read the air: `bay air 21.5C 46% --surface 20C`.
#[derive(Debug, Args)]
pub struct AirArgs {
    /// Temperature of the air: 21.5C or 70F.
    #[arg(value_name = "AIR", allow_hyphen_values = true)]
    pub air: String,
    /// Relative humidity: 46%.
    #[arg(value_name = "HUMIDITY")]
    pub humidity: String,
    /// Temperature of the panel.
    #[arg(long, value_name = "TEMPERATURE", allow_hyphen_values = true)]
    pub surface: Option<String>,
    /// A sensor says so, not a person.
    #[arg(long)]
    pub sensor: bool,
}

pub fn run(context: &Context, args: &AirArgs) -> Result<Outcome, Error> {
    let air = MilliCelsius::parse_air(&args.air).map_err(|e| refused(&e))?;
    let humidity = MilliPercent::parse(&args.humidity).map_err(|e| refused(&e))?;
    let surface = args.surface.as_deref().map(MilliCelsius::parse_surface);
    let surface = surface.transpose().map_err(|e| refused(&e))?;
    let source = if args.sensor {
        v1::ReadingSource::Sensor
    } else {
        v1::ReadingSource::Typed
    };
    let kind = Kind::AmbientRead(v1::AmbientRead {
        air_milli_c: air.0,
        humidity_milli_pct: humidity.0,
        surface_milli_c: surface.map(|s| s.0),
        source: source.into(),
    });
    let (fact, said) = post_said(context, kind, None)?;
    let extra = meaning(air, humidity, surface);
    Ok(say(context, &fact, &said, extra))
}

/// Dew point, how far the panel is above it, and whether that is enough:
/// at least 3 °C, the practice of ISO 8502-4.
fn meaning(air: MilliCelsius, humidity: MilliPercent, surface: Option<MilliCelsius>) -> Extra {
    let found = AirAssessment::new(air, humidity, surface, None, None);
    let dew = format!("Dew point {:.1} °C", found.dew_point_c);
    let line = match (found.dew_margin_c, found.dew_margin_holds) {
        (Some(margin), Some(true)) => format!(
            "{dew}; the panel is {margin:.1} °C above it, enough for coating \
             (at least {DEW_MARGIN_C_MIN:.0} °C)."
        ),
        (Some(margin), _) if margin >= 0.0 => caution(&format!(
            "{dew}; the panel is only {margin:.1} °C above it. Coating wants at least \
             {DEW_MARGIN_C_MIN:.0} °C."
        )),
        (Some(margin), _) => caution(&format!(
            "{dew}; the panel is {:.1} °C below it: water settles on it. Coating wants at \
             least {DEW_MARGIN_C_MIN:.0} °C above.",
            -margin
        )),
        (None, _) => format!(
            "{dew}. For coating read the panel too (--surface): it should be at least \
             {DEW_MARGIN_C_MIN:.0} °C above."
        ),
    };
    let mut extra = Extra {
        lines: vec![line],
        ..Extra::default()
    };
    extra
        .json
        .insert("dew_point_c".into(), json!(round(found.dew_point_c)));
    extra.json.insert(
        "absolute_humidity_g_m3".into(),
        json!(round(found.absolute_humidity_g_m3)),
    );
    extra.json.insert(
        "humidity_at_surface_pct".into(),
        json!(found.humidity_at_surface_pct.map(round)),
    );
    extra
        .json
        .insert("dew_margin_c".into(), json!(found.dew_margin_c.map(round)));
    extra
        .json
        .insert("dew_margin_holds".into(), json!(found.dew_margin_holds));
    extra
}

/// Hundredths: a typed reading carries no more.
fn round(value: f64) -> f64 {
    (value * 100.0).round() / 100.0
}
