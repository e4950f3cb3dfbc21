//! Catalogue messages to and from [`baywright_terms::catalogue`].
//!
//! From the wire is total: an odd value is kept where the type can hold it and
//! dropped to "not given" where it cannot. A stored catalogue is a fact.

use baywright_terms::catalogue::file::text;
use baywright_terms::catalogue::{
    Bay, Catalogue, JobType, Product, ProductAllowance, Shop, ShopCosts, Source, Stage,
    StageAllowance, StageKind, Standing, SurfaceRule, UnitSystem, Worker,
};
use baywright_terms::code::Code;
use baywright_terms::hours::OpenHours;
use baywright_terms::temperature::MilliCelsius;

use crate::amount::{
    amount_from_wire, amount_to_wire, money_from_wire, money_to_wire, panel_from_wire,
    panel_to_wire, ratio_from_wire, ratio_to_wire,
};
use crate::v1;

/// The catalogue as a message; entries in the order of their codes.
pub fn to_wire(catalogue: &Catalogue) -> v1::Catalogue {
    v1::Catalogue {
        shop: catalogue.shop.as_ref().map(shop_to_wire),
        bays: entries(&catalogue.bays, bay_to_wire),
        workers: entries(&catalogue.workers, worker_to_wire),
        products: entries(&catalogue.products, product_to_wire),
        stages: entries(&catalogue.stages, stage_to_wire),
        job_types: entries(&catalogue.job_types, job_type_to_wire),
    }
}

/// Takes out what a bay has no use for: prices, wages, margins. Allowances,
/// packs and rules stay, since the bay works by them.
pub fn without_prices(catalogue: &mut v1::Catalogue) {
    if let Some(shop) = &mut catalogue.shop {
        shop.standard_rate_minor = 0;
        shop.wage_burden_milli = 0;
        shop.overhead_per_hour_minor = 0;
        shop.target_margin_permille = 0;
        shop.tax_milli_pct = 0;
    }
    for worker in &mut catalogue.workers {
        worker.rate_minor = 0;
    }
    for product in &mut catalogue.products {
        product.pack_price = None;
    }
    for stage in &mut catalogue.stages {
        stage.supplies_minor = 0;
    }
    for job_type in &mut catalogue.job_types {
        job_type.price = None;
    }
}

/// The message as a catalogue; of two entries with one code the later holds.
pub fn from_wire(catalogue: &v1::Catalogue) -> Catalogue {
    let code = |text: &str| Code::new(text);
    Catalogue {
        shop: catalogue.shop.as_ref().map(shop_from_wire),
        bays: catalogue
            .bays
            .iter()
            .map(|b| (code(&b.code), bay_from_wire(b)))
            .collect(),
        workers: catalogue
            .workers
            .iter()
            .map(|w| (code(&w.code), worker_from_wire(w)))
            .collect(),
        products: catalogue
            .products
            .iter()
            .map(|p| (code(&p.code), product_from_wire(p)))
            .collect(),
        stages: catalogue
            .stages
            .iter()
            .map(|s| (code(&s.code), stage_from_wire(s)))
            .collect(),
        job_types: catalogue
            .job_types
            .iter()
            .map(|t| (code(&t.code), job_type_from_wire(t)))
            .collect(),
    }
}

fn entries<T, W>(
    entries: &std::collections::BTreeMap<Code, T>,
    convert: impl Fn(&Code, &T) -> W,
) -> Vec<W> {
    entries
        .iter()
        .map(|(code, entry)| convert(code, entry))
        .collect()
}

/// 0 on the wire stands for a value not given.
fn given(value: i64) -> Option<i64> {
    Some(value).filter(|v| *v != 0)
}

fn shop_to_wire(shop: &Shop) -> v1::Shop {
    v1::Shop {
        name: shop.name.clone(),
        zone: shop.zone.clone(),
        currency: shop.currency.clone(),
        open: shop.open.iter().copied().map(hours_to_wire).collect(),
        breaks: shop.breaks.iter().copied().map(hours_to_wire).collect(),
        soil_grades: shop.soil_grades.clone(),
        defects_grades: shop.defects_grades.clone(),
        intricacy_grades: shop.intricacy_grades.clone(),
        units: match shop.units {
            UnitSystem::Metric => "metric",
            UnitSystem::Us => "us",
            UnitSystem::Imperial => "imperial",
        }
        .to_owned(),
        standard_rate_minor: shop.costs.standard_rate_minor.unwrap_or(0),
        wage_burden_milli: shop.costs.wage_burden_milli.unwrap_or(0),
        overhead_per_hour_minor: shop.costs.overhead_per_hour_minor.unwrap_or(0),
        target_margin_permille: shop.costs.target_margin_permille.unwrap_or(0),
        quote_valid_us: shop.costs.quote_valid_us.unwrap_or(0),
        tax_milli_pct: shop.costs.tax_milli_pct.unwrap_or(0),
    }
}

fn shop_from_wire(shop: &v1::Shop) -> Shop {
    Shop {
        name: shop.name.clone(),
        zone: shop.zone.clone(),
        currency: shop.currency.clone(),
        units: match shop.units.as_str() {
            "us" => UnitSystem::Us,
            "imperial" => UnitSystem::Imperial,
            _ => UnitSystem::Metric,
        },
        open: shop.open.iter().filter_map(hours_from_wire).collect(),
        breaks: shop.breaks.iter().filter_map(hours_from_wire).collect(),
        soil_grades: shop.soil_grades.clone(),
        defects_grades: shop.defects_grades.clone(),
        intricacy_grades: shop.intricacy_grades.clone(),
        costs: ShopCosts {
            standard_rate_minor: given(shop.standard_rate_minor),
            wage_burden_milli: Some(shop.wage_burden_milli).filter(|burden| *burden != 0),
            overhead_per_hour_minor: given(shop.overhead_per_hour_minor),
            target_margin_permille: Some(shop.target_margin_permille)
                .filter(|margin| (1..=900).contains(margin)),
            quote_valid_us: given(shop.quote_valid_us),
            tax_milli_pct: Some(shop.tax_milli_pct).filter(|tax| *tax != 0),
        },
    }
}

fn hours_to_wire(hours: OpenHours) -> v1::OpenHours {
    v1::OpenHours {
        weekday: hours.weekday.into(),
        from_min: hours.from_min.into(),
        until_min: hours.until_min.into(),
    }
}

/// `None` for hours of no weekday or beyond the day: the fold cuts at closing
/// and must not be handed a closing time that never comes.
fn hours_from_wire(hours: &v1::OpenHours) -> Option<OpenHours> {
    let hours = OpenHours {
        weekday: u8::try_from(hours.weekday).ok()?,
        from_min: u16::try_from(hours.from_min).ok()?,
        until_min: u16::try_from(hours.until_min).ok()?,
    };
    let real = (1..=7).contains(&hours.weekday)
        && hours.from_min < hours.until_min
        && hours.until_min <= 24 * 60;
    real.then_some(hours)
}

fn bay_to_wire(code: &Code, bay: &Bay) -> v1::Bay {
    v1::Bay {
        code: code.to_string(),
        name: bay.name.clone(),
        places: bay.places,
        retired: bay.retired,
    }
}

fn bay_from_wire(bay: &v1::Bay) -> Bay {
    Bay {
        name: bay.name.clone(),
        places: bay.places.max(1),
        retired: bay.retired,
    }
}

fn worker_to_wire(code: &Code, worker: &Worker) -> v1::Worker {
    v1::Worker {
        code: code.to_string(),
        name: worker.name.clone(),
        rate_minor: worker.rate_minor.unwrap_or(0),
        retired: worker.retired,
    }
}

fn worker_from_wire(worker: &v1::Worker) -> Worker {
    Worker {
        name: worker.name.clone(),
        rate_minor: given(worker.rate_minor),
        retired: worker.retired,
    }
}

fn source_to_wire(source: Source) -> i32 {
    match source {
        Source::Unmarked => v1::Source::Unspecified,
        Source::Shop => v1::Source::Shop,
        Source::Label => v1::Source::Label,
        Source::Trade => v1::Source::Trade,
        Source::Guess => v1::Source::Guess,
        Source::Standard => v1::Source::Standard,
    }
    .into()
}

fn source_from_wire(source: i32) -> Source {
    match v1::Source::try_from(source) {
        Ok(v1::Source::Shop) => Source::Shop,
        Ok(v1::Source::Label) => Source::Label,
        Ok(v1::Source::Trade) => Source::Trade,
        Ok(v1::Source::Guess) => Source::Guess,
        Ok(v1::Source::Standard) => Source::Standard,
        Ok(v1::Source::Unspecified) | Err(_) => Source::Unmarked,
    }
}

fn rule_to_wire(rule: &SurfaceRule) -> v1::SurfaceRule {
    v1::SurfaceRule {
        finish: rule.finish.to_string(),
        standing: match rule.standing {
            Standing::Fine => v1::Standing::Fine,
            Standing::Care => v1::Standing::Care,
            Standing::Never => v1::Standing::Never,
        }
        .into(),
        why: rule.why.clone(),
    }
}

/// A standing that this build does not know reads as care: a warning too many
/// is better than one too few.
fn rule_from_wire(rule: &v1::SurfaceRule) -> SurfaceRule {
    SurfaceRule {
        finish: Code::new(&rule.finish),
        standing: match v1::Standing::try_from(rule.standing) {
            Ok(v1::Standing::Fine) => Standing::Fine,
            Ok(v1::Standing::Never) => Standing::Never,
            Ok(v1::Standing::Care | v1::Standing::Unspecified) | Err(_) => Standing::Care,
        },
        why: rule.why.clone(),
    }
}

fn product_to_wire(code: &Code, product: &Product) -> v1::Product {
    v1::Product {
        code: code.to_string(),
        name: product.name.clone(),
        kind: product.kind.clone(),
        pack: product.pack.as_ref().map(amount_to_wire),
        pack_price: product.pack_price.as_ref().map(money_to_wire),
        density_g_per_ml: product
            .density_micro_g_per_ml
            .map_or(String::new(), text::density),
        ratio: product.ratio.as_ref().map(ratio_to_wire),
        dwell_shortest_us: product.dwell_shortest_us.unwrap_or(0),
        dwell_longest_us: product.dwell_longest_us.unwrap_or(0),
        unmetered: product.unmetered,
        level_from_us: product.level_from_us.unwrap_or(0),
        level_until_us: product.level_until_us.unwrap_or(0),
        water_safe_us: product.water_safe_us.unwrap_or(0),
        full_cure_us: product.full_cure_us.unwrap_or(0),
        surface_lowest_milli_c: product.surface_lowest.map(|t| t.0),
        surface_highest_milli_c: product.surface_highest.map(|t| t.0),
        rules: product.rules.iter().map(rule_to_wire).collect(),
        sds: product.sds.clone(),
        caution: product.caution.clone(),
        source: source_to_wire(product.source),
        lead_us: product.lead_us.unwrap_or(0),
        open_life_us: product.open_life_us.unwrap_or(0),
        retired: product.retired,
    }
}

fn product_from_wire(product: &v1::Product) -> Product {
    Product {
        name: product.name.clone(),
        kind: product.kind.clone(),
        pack: product.pack.as_ref().and_then(amount_from_wire),
        pack_price: product.pack_price.as_ref().map(money_from_wire),
        density_micro_g_per_ml: text::parse_density(&product.density_g_per_ml),
        ratio: product.ratio.as_ref().and_then(ratio_from_wire),
        dwell_shortest_us: given(product.dwell_shortest_us),
        dwell_longest_us: given(product.dwell_longest_us),
        unmetered: product.unmetered,
        level_from_us: given(product.level_from_us),
        level_until_us: given(product.level_until_us),
        water_safe_us: given(product.water_safe_us),
        full_cure_us: given(product.full_cure_us),
        surface_lowest: product.surface_lowest_milli_c.map(MilliCelsius),
        surface_highest: product.surface_highest_milli_c.map(MilliCelsius),
        rules: product.rules.iter().map(rule_from_wire).collect(),
        sds: product.sds.clone(),
        caution: product.caution.clone(),
        source: source_from_wire(product.source),
        lead_us: given(product.lead_us),
        open_life_us: given(product.open_life_us),
        retired: product.retired,
    }
}

fn stage_to_wire(code: &Code, stage: &Stage) -> v1::Stage {
    v1::Stage {
        code: code.to_string(),
        name: stage.name.clone(),
        kind: match stage.kind {
            StageKind::Cleaning => v1::StageKind::Cleaning,
            StageKind::Correction => v1::StageKind::Correction,
            StageKind::Coating => v1::StageKind::Coating,
            StageKind::Other => v1::StageKind::Other,
        }
        .into(),
        rules: stage.rules.iter().map(rule_to_wire).collect(),
        caution: stage.caution.clone(),
        retired: stage.retired,
        supplies_minor: stage.supplies_minor.unwrap_or(0),
    }
}

fn stage_from_wire(stage: &v1::Stage) -> Stage {
    Stage {
        name: stage.name.clone(),
        kind: match v1::StageKind::try_from(stage.kind) {
            Ok(v1::StageKind::Cleaning) => StageKind::Cleaning,
            Ok(v1::StageKind::Correction) => StageKind::Correction,
            Ok(v1::StageKind::Coating) => StageKind::Coating,
            Ok(v1::StageKind::Other | v1::StageKind::Unspecified) | Err(_) => StageKind::Other,
        },
        rules: stage.rules.iter().map(rule_from_wire).collect(),
        caution: stage.caution.clone(),
        supplies_minor: given(stage.supplies_minor),
        retired: stage.retired,
    }
}

fn job_type_to_wire(code: &Code, job_type: &JobType) -> v1::JobType {
    v1::JobType {
        code: code.to_string(),
        name: job_type.name.clone(),
        vehicle_class: job_type.vehicle_class.to_string(),
        stages: job_type
            .stages
            .iter()
            .map(|row| v1::StageAllowance {
                stage: row.stage.to_string(),
                allowance_us: row.allowance_us,
                source: source_to_wire(row.source),
            })
            .collect(),
        products: job_type
            .products
            .iter()
            .map(|row| v1::ProductAllowance {
                product: row.product.to_string(),
                amount: Some(amount_to_wire(&row.amount)),
                source: source_to_wire(row.source),
            })
            .collect(),
        panels: job_type.panels.iter().map(panel_to_wire).collect(),
        price: job_type.price.as_ref().map(money_to_wire),
        retired: job_type.retired,
    }
}

fn job_type_from_wire(job_type: &v1::JobType) -> JobType {
    JobType {
        name: job_type.name.clone(),
        vehicle_class: Code::new(&job_type.vehicle_class),
        stages: job_type
            .stages
            .iter()
            .map(|row| StageAllowance {
                stage: Code::new(&row.stage),
                allowance_us: row.allowance_us,
                source: source_from_wire(row.source),
            })
            .collect(),
        products: job_type
            .products
            .iter()
            .filter_map(|row| {
                Some(ProductAllowance {
                    product: Code::new(&row.product),
                    // An allowance without a readable amount allows nothing.
                    amount: amount_from_wire(row.amount.as_ref()?)?,
                    source: source_from_wire(row.source),
                })
            })
            .collect(),
        panels: job_type.panels.iter().map(panel_from_wire).collect(),
        price: job_type.price.as_ref().map(money_from_wire),
        retired: job_type.retired,
    }
}

#[cfg(test)]
mod tests;
