//! A fact in a few words, as one would type it: for the spool's list, `--dry`
//! and the question before a strike.

use baywright_proto::v1;
use baywright_proto::v1::fact::Kind;
use baywright_terms::amount::Money;

/// What the fact says, for example `used iron-remover 350 ml`.
///
/// Texts of people are in it as they were typed: print it through
/// [`crate::answer::plain`].
pub fn fact(fact: &v1::Fact) -> String {
    let mut words = fact.kind.as_ref().map_or_else(
        || "a fact of a newer kind".to_owned(),
        |kind| tidy(&kind_words(kind)),
    );
    if !fact.by.is_empty() {
        words.push_str(" by ");
        words.push_str(&fact.by.join(", "));
    }
    words
}

fn kind_words(kind: &Kind) -> String {
    match kind {
        Kind::JobOpened(f) => format!("open {} {}", f.job_type, f.vehicle),
        Kind::JobMoved(f) => format!("move to {}", f.place),
        Kind::JobReleased(_) => "release".to_owned(),
        Kind::StageStarted(f) => format!(
            "start {} {}{}",
            f.stage,
            f.panels.join(" "),
            if f.rework { " again" } else { "" }
        ),
        Kind::StagePaused(f) if f.person => format!("break {}", f.reason),
        Kind::StagePaused(f) => format!("pause {} {}", f.stage, f.reason),
        Kind::StageResumed(f) => format!("resume {}", f.stage),
        Kind::StageFinished(f) => match f.result() {
            v1::StageResult::Again => format!("done {} to be done again", f.stage),
            _ => format!("done {}", f.stage),
        },
        Kind::StageDeclared(f) => declared(f),
        Kind::DwellStarted(f) => format!("dwell {} {}", f.product, f.panels.join(" ")),
        Kind::DwellEnded(f) => format!("end of dwell {} {}", f.product, f.panels.join(" ")),
        Kind::AmbientRead(f) => air(f),
        Kind::MixMade(f) => mix(f),
        Kind::MixDumped(f) => format!(
            "mix {} dumped {}",
            f.product,
            f.amount.as_ref().map(amount).unwrap_or_default()
        ),
        Kind::ProductUsed(f) => used(f),
        Kind::ProductRefilled(f) => format!(
            "{} {} {}",
            match f.state() {
                v1::ContainerState::Opened => "opened",
                v1::ContainerState::Empty => "empty",
                _ => "refill",
            },
            f.product,
            f.amount.as_ref().map(amount).unwrap_or_default()
        ),
        Kind::StockReceived(f) => format!("stock {} packs of {} received", f.packs, f.product),
        Kind::StockCounted(f) => format!(
            "stock of {} counted {}",
            f.product,
            f.amount.as_ref().map(amount).unwrap_or_default()
        ),
        Kind::Noted(f) => format!("note: {}", f.text),
        Kind::StruckOut(f) => format!("strike {} {}", id(&f.event_id), f.reason),
        Kind::Settled(f) => format!("settle {} {}", id(&f.event_id), f.reason),
        Kind::CatalogueSet(_) => "catalogue set".to_owned(),
        Kind::QuoteDrafted(f) => {
            let asked = f.asked.clone().unwrap_or_default();
            let on_top = if f.addition { " on top" } else { "" };
            format!("quote{on_top} {} {}", asked.job_type, asked.vehicle)
        }
        Kind::QuoteRevised(f) => format!("quote revised {}", f.reason),
        Kind::QuoteAccepted(f) => format!(
            "quote accepted at {}",
            f.agreed.as_ref().map(price).unwrap_or_default()
        ),
        Kind::QuoteDeclined(f) => format!("quote declined {}", f.reason),
        other => panel_words(other),
    }
}

fn panel_words(kind: &Kind) -> String {
    match kind {
        Kind::PanelCoated(f) => format!("coat {}{} {}", f.panel, section(f.section), f.product),
        Kind::PanelLevelled(f) => format!(
            "level {}{} {}{}",
            f.panel,
            section(f.section),
            match f.result() {
                v1::LevelResult::Smeared => "smeared",
                v1::LevelResult::HighSpot => "high spot",
                _ => "clean",
            },
            if f.amends { " (amended)" } else { "" }
        ),
        Kind::PanelLamp(f) => format!("lamp {} {}", f.panel, span(f.duration_us)),
        Kind::PanelCured(f) => format!("cured {}", f.panel),
        Kind::SurfaceCovered(f) => format!(
            "{} {}{}",
            match f.cover() {
                v1::CoverKind::LeftOut => "left out",
                _ => "masked",
            },
            f.finish,
            f.panel
        ),
        Kind::FlawFound(f) => format!(
            "flaw {} {}{}",
            f.panel,
            f.flaw,
            if f.existing { " (before)" } else { "" }
        ),
        Kind::FlawRemedied(f) => format!("flaw {} {} fixed", f.panel, f.flaw),
        _ => "a fact".to_owned(),
    }
}

fn declared(f: &v1::StageDeclared) -> String {
    match f.declaration() {
        v1::Declaration::NotDone => format!("{} not done", f.stage),
        v1::Declaration::DoneAbout => format!("{} done, about {}", f.stage, span(f.about_us)),
        _ => format!("{} unknown", f.stage),
    }
}

fn air(f: &v1::AmbientRead) -> String {
    let surface = f
        .surface_milli_c
        .map(|s| format!(", surface {} °C", tenths(s)))
        .unwrap_or_default();
    format!(
        "air {} °C {} %{surface}",
        tenths(f.air_milli_c),
        milli(i64::from(f.humidity_milli_pct))
    )
}

fn mix(f: &v1::MixMade) -> String {
    let ratio = f.ratio.as_ref().map_or_else(String::new, |r| {
        format!(" {}:{}", r.water_parts, r.product_parts)
    });
    let volume = f
        .volume
        .as_ref()
        .map_or_else(String::new, |v| format!(", {}", amount(v)));
    let additions: Vec<String> = f
        .additions
        .iter()
        .map(|a| {
            let much = a.amount.as_ref().map(amount).unwrap_or_default();
            format!(" with {} {much}", a.product)
        })
        .collect();
    format!("mix {}{ratio}{volume}{}", f.product, additions.concat())
}

fn used(f: &v1::ProductUsed) -> String {
    let much = match &f.quantity {
        Some(v1::product_used::Quantity::Amount(a)) => amount(a),
        Some(v1::product_used::Quantity::Weighing(w)) => format!(
            "from {} to {}",
            w.before.as_ref().map(amount).unwrap_or_default(),
            w.after.as_ref().map(amount).unwrap_or_default()
        ),
        None => String::new(),
    };
    let source = match f.source() {
        v1::UseSource::Neat => " neat",
        v1::UseSource::Mix => " of the mix",
        v1::UseSource::Unspecified => "",
    };
    format!("used {} {much}{source}", f.product)
}

/// `EUR 1,450.00`.
fn price(price: &v1::Money) -> String {
    Money::new(price.price_minor, &price.currency).to_string()
}

/// An amount as it was typed: `350 ml`.
pub fn amount(amount: &v1::Amount) -> String {
    let unit = match amount.unit() {
        v1::Unit::Ml => "ml",
        v1::Unit::L => "L",
        v1::Unit::UsFloz => "US fl oz",
        v1::Unit::UsGal => "US gal",
        v1::Unit::ImpFloz => "imp fl oz",
        v1::Unit::ImpGal => "imp gal",
        v1::Unit::G => "g",
        v1::Unit::Kg => "kg",
        v1::Unit::Each => "each",
        v1::Unit::Unspecified => "?",
    };
    format!("{} {unit}", amount.decimal)
}

/// Thousandths as a decimal with no zeros at its end: 21500 is `21.5`.
pub fn milli(thousandths: i64) -> String {
    let sign = if thousandths < 0 { "−" } else { "" };
    let whole = thousandths.unsigned_abs() / 1_000;
    let rest = format!("{:03}", thousandths.unsigned_abs() % 1_000);
    match rest.trim_end_matches('0') {
        "" => format!("{sign}{whole}"),
        rest => format!("{sign}{whole}.{rest}"),
    }
}

/// A temperature to a tenth of a degree: what was typed in °F has no end in °C.
pub fn tenths(milli_c: i32) -> String {
    let value = i64::from(milli_c);
    milli((value + value.signum() * 50) / 100 * 100)
}

/// A span in hours and minutes, or seconds where it is short.
pub fn span(span_us: i64) -> String {
    let seconds = span_us.max(0) / 1_000_000;
    match (seconds / 3_600, seconds / 60 % 60) {
        (0, 0) => format!("{seconds} s"),
        (0, minutes) => format!("{minutes} min"),
        (hours, 0) => format!("{hours} h"),
        (hours, minutes) => format!("{hours} h {minutes} min"),
    }
}

fn section(section: u32) -> String {
    if section == 0 {
        String::new()
    } else {
        format!("/{section}")
    }
}

/// An event id as people see it.
pub fn id(bytes: &[u8]) -> String {
    uuid::Uuid::from_slice(bytes).map_or_else(|_| "?".to_owned(), |id| id.to_string())
}

fn tidy(words: &str) -> String {
    words.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn thousandths_and_spans_read_as_people_write_them() {
        for (value, text) in [
            (21_500, "21.5"),
            (46_000, "46"),
            (-3_050, "−3.05"),
            (0, "0"),
        ] {
            assert_eq!(milli(value), text);
        }
        for (value, text) in [(21_111, "21.1"), (-2_950, "−3"), (49, "0"), (20_000, "20")] {
            assert_eq!(tenths(value), text);
        }
        for (us, text) in [
            (59_000_000, "59 s"),
            (60_000_000, "1 min"),
            (5_400_000_000, "1 h 30 min"),
            (7_200_000_000, "2 h"),
        ] {
            assert_eq!(span(us), text);
        }
    }

    #[test]
    fn a_fact_is_described_as_it_would_be_typed() {
        let used = v1::Fact {
            by: vec!["ana".to_owned()],
            kind: Some(Kind::ProductUsed(v1::ProductUsed {
                product: "iron-remover".to_owned(),
                quantity: Some(v1::product_used::Quantity::Amount(v1::Amount {
                    decimal: "350".to_owned(),
                    unit: v1::Unit::Ml.into(),
                })),
                ..v1::ProductUsed::default()
            })),
            ..v1::Fact::default()
        };
        assert_eq!(fact(&used), "used iron-remover 350 ml by ana");
    }
}
