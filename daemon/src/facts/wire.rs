//! Stand-in for the conversions of `baywright_proto::catalogue`, until they land.

use baywright_proto::v1;
use baywright_terms::amount::{Amount, Decimal, Money, Ratio, Unit};
use baywright_terms::catalogue::{Catalogue, Panel};
use baywright_terms::code::Code;

fn decimal(text: &str) -> Option<Decimal> {
    let (whole, part) = text.split_once('.').unwrap_or((text, ""));
    let digits: i64 = format!("{whole}{part}").parse().ok()?;
    Some(Decimal {
        digits,
        scale: u8::try_from(part.len()).ok()?,
    })
}

pub(crate) fn amount(said: &v1::Amount) -> Option<Amount> {
    let unit = match said.unit() {
        v1::Unit::Ml => Unit::Ml,
        v1::Unit::L => Unit::L,
        v1::Unit::UsFloz => Unit::UsFloz,
        v1::Unit::UsGal => Unit::UsGal,
        v1::Unit::ImpFloz => Unit::ImpFloz,
        v1::Unit::ImpGal => Unit::ImpGal,
        v1::Unit::G => Unit::G,
        v1::Unit::Kg => Unit::Kg,
        v1::Unit::Each => Unit::Each,
        v1::Unit::Unspecified => return None,
    };
    Some(Amount {
        decimal: decimal(&said.decimal)?,
        unit,
    })
}

pub(crate) fn ratio(said: &v1::Ratio) -> Option<Ratio> {
    Some(Ratio {
        water_parts: decimal(&said.water_parts)?,
        product_parts: decimal(&said.product_parts)?,
    })
}

pub(crate) fn money(said: &v1::Money) -> Money {
    Money {
        minor: said.price_minor,
        currency: said.currency.clone(),
    }
}

pub(crate) fn panel(said: &v1::Panel) -> Panel {
    Panel {
        code: Code::new(&said.code),
        finish: Code::new(&said.finish),
        area_cm2: (said.area_cm2 != 0).then_some(said.area_cm2),
    }
}

pub(crate) fn catalogue(_said: &v1::Catalogue) -> Catalogue {
    Catalogue::default()
}
