//! A catalogue as a file that a person can edit.

use std::fmt::Write as _;

use crate::catalogue::{
    Bay, Catalogue, JobType, Product, Shop, ShopCosts, Source, Stage, SurfaceRule, UnitSystem,
    Worker,
};
use crate::code::Code;

use super::text::STANDINGS;
use super::{text, week};

const HEADER: &str = "\
# The shop's catalogue. Edit it, look it over with `bay catalogue check FILE`,
# and put it in force with `bay catalogue apply FILE`.
#
# Every entry has a code: what people type at the bay. A code stays; the name
# beside it may change. An entry that leaves the file is retired, its past kept.
# Amounts: \"350 mL\", \"1 L\", \"12 us-floz\", \"500 g\", \"1 each\". Times: \"90s\", \"45m\",
# \"1h30m\", \"7d\". Ranges: \"2m to 7m\", \"from 2m\", \"up to 7m\".
# source says where a number comes from: shop (measured here), label, trade
# (common practice), guess, standard.
# Rules and cautions never replace the product's safety data sheet, local codes
# or licensed practice.
";

/// Writes a catalogue; reading the text gives the same catalogue back.
pub fn write(catalogue: &Catalogue) -> String {
    let mut out = String::from(HEADER);
    if let Some(shop) = &catalogue.shop {
        write_shop(&mut out, shop);
    }
    let currency = catalogue.shop.as_ref().map_or("", |s| s.currency.as_str());
    section(&mut out, catalogue.bays.is_empty(), BAYS);
    for (code, bay) in &catalogue.bays {
        write_bay(&mut out, code, bay);
    }
    section(&mut out, catalogue.workers.is_empty(), WORKERS);
    for (code, worker) in &catalogue.workers {
        write_worker(&mut out, code, worker, currency);
    }
    section(&mut out, catalogue.products.is_empty(), PRODUCTS);
    for (code, product) in &catalogue.products {
        write_product(&mut out, code, product, currency);
    }
    section(&mut out, catalogue.stages.is_empty(), STAGES);
    for (code, stage) in &catalogue.stages {
        write_stage(&mut out, code, stage, currency);
    }
    section(&mut out, catalogue.job_types.is_empty(), JOB_TYPES);
    for (code, job_type) in &catalogue.job_types {
        write_job_type(&mut out, code, job_type, currency);
    }
    out
}

const BAYS: &str = "\
# Bays: places for work. places is how many vehicles one holds at once.
";
const COSTS: &str = "\
# rate: what an hour costs in a standard; without it the mean of the workers'.
# wage-burden: what an hour costs for each unit of wage, for example 1.25.
# overhead: for each sold hour. With the last two the week says margin.
";
const WORKERS: &str = "\
# Workers, by a short code. rate is what an hour costs the shop.
";
const PRODUCTS: &str = "\
# Products. pack and price: as bought, without tax. ratio: parts of water to
# parts of product. dwell: shortest and longest time it may work. level,
# water-safe, full-cure, surface: from the label of a coating. unmetered: nobody
# measures each use; it is shared out between refills. lead: from ordering to
# having it. open-life: how long it keeps once opened.
# never and care: which finishes it may not touch, or only with care, and why.
";
const STAGES: &str = "\
# Stages: steps of a job. kind says which grade makes a stage longer: soil acts
# on cleaning, defects on correction, intricacy on all. supplies: towels, pads,
# gloves, machine wear and water of one vehicle: a standard, not measured.
";
const JOB_TYPES: &str = "\
# Job types: a class of vehicle and a service. stages stand in the order of
# work; allowance is labour on a vehicle of grade 3. amounts of products are of
# concentrate. panels name the pieces of the vehicle with their finish.
";

fn section(out: &mut String, empty: bool, words: &str) {
    if !empty {
        let _ = write!(out, "\n{words}");
    }
}

/// A TOML text in quotes. Escaping is the TOML crate's.
fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

fn line(out: &mut String, key: &str, value: &str) {
    let _ = writeln!(out, "{key} = {}", quoted(value));
}

fn optional(out: &mut String, key: &str, value: Option<String>) {
    if let Some(value) = value {
        line(out, key, &value);
    }
}

fn nonempty(out: &mut String, key: &str, value: &str) {
    if !value.is_empty() {
        line(out, key, value);
    }
}

fn flag(out: &mut String, key: &str, value: bool) {
    if value {
        let _ = writeln!(out, "{key} = true");
    }
}

fn list(out: &mut String, key: &str, values: &[String]) {
    if values.is_empty() {
        return;
    }
    let _ = writeln!(out, "{key} = [");
    for value in values {
        let _ = writeln!(out, "    {},", quoted(value));
    }
    out.push_str("]\n");
}

fn write_shop(out: &mut String, shop: &Shop) {
    out.push_str("\n[shop]\n");
    line(out, "name", &shop.name);
    line(out, "zone", &shop.zone);
    line(out, "currency", &shop.currency);
    if shop.units != UnitSystem::Metric {
        line(out, "units", text::units(shop.units));
    }
    list(out, "open", &week::write(&shop.open));
    list(out, "breaks", &week::write(&shop.breaks));
    if !(shop.soil_grades.is_empty() && shop.defects_grades.is_empty()) {
        out.push_str("# Sentences for grades 1 to 5.\n");
    }
    list(out, "soil", &shop.soil_grades);
    list(out, "defects", &shop.defects_grades);
    list(out, "intricacy", &shop.intricacy_grades);
    let minor = |minor: i64| text::minor(minor, &shop.currency);
    let costs = &shop.costs;
    if *costs != ShopCosts::default() {
        out.push_str(COSTS);
    }
    optional(out, "rate", costs.standard_rate_minor.map(minor));
    optional(out, "wage-burden", costs.wage_burden_milli.map(text::milli));
    optional(out, "overhead", costs.overhead_per_hour_minor.map(minor));
    optional(
        out,
        "target-margin",
        costs.target_margin_permille.map(text::permille),
    );
    optional(out, "quote-valid", costs.quote_valid_us.map(text::span));
    optional(out, "tax", costs.tax_milli_pct.map(text::milli_percent));
}

fn write_bay(out: &mut String, code: &Code, bay: &Bay) {
    out.push_str("\n[[bay]]\n");
    line(out, "code", code.as_str());
    line(out, "name", &bay.name);
    let _ = writeln!(out, "places = {}", bay.places.max(1));
    flag(out, "retired", bay.retired);
}

fn write_worker(out: &mut String, code: &Code, worker: &Worker, currency: &str) {
    out.push_str("\n[[worker]]\n");
    line(out, "code", code.as_str());
    line(out, "name", &worker.name);
    let rate = worker.rate_minor.map(|minor| text::minor(minor, currency));
    optional(out, "rate", rate);
    flag(out, "retired", worker.retired);
}

fn write_product(out: &mut String, code: &Code, product: &Product, currency: &str) {
    out.push_str("\n[[product]]\n");
    line(out, "code", code.as_str());
    line(out, "name", &product.name);
    nonempty(out, "kind", &product.kind);
    optional(out, "pack", product.pack.as_ref().map(text::amount));
    let price = product.pack_price.as_ref();
    optional(out, "price", price.map(|p| text::price(p, currency)));
    let density = product.density_micro_g_per_ml;
    optional(out, "density", density.map(text::density));
    optional(out, "ratio", product.ratio.as_ref().map(text::ratio));
    let dwell = text::spans(product.dwell_shortest_us, product.dwell_longest_us);
    nonempty(out, "dwell", &dwell);
    flag(out, "unmetered", product.unmetered);
    let level = text::spans(product.level_from_us, product.level_until_us);
    nonempty(out, "level", &level);
    optional(out, "water-safe", product.water_safe_us.map(text::span));
    optional(out, "full-cure", product.full_cure_us.map(text::span));
    let surface = text::temperatures(product.surface_lowest, product.surface_highest);
    nonempty(out, "surface", &surface);
    nonempty(out, "sds", &product.sds);
    nonempty(out, "caution", &product.caution);
    optional(out, "source", source_word(product.source));
    optional(out, "lead", product.lead_us.map(text::span));
    optional(out, "open-life", product.open_life_us.map(text::span));
    flag(out, "retired", product.retired);
    write_rules(out, "product", &product.rules);
}

/// Empty values are left out of a row.
fn source_word(source: Source) -> Option<String> {
    Some(text::source(source).to_owned()).filter(|w| !w.is_empty())
}

/// Rules stand last in their entry, in tables of their own, so that each has a
/// line: whatever follows such a heading belongs to it.
fn write_rules(out: &mut String, table: &str, rules: &[SurfaceRule]) {
    for (key, standing) in STANDINGS {
        let mut held: Vec<&SurfaceRule> = rules.iter().filter(|r| r.standing == standing).collect();
        if held.is_empty() {
            continue;
        }
        held.sort_by_key(|r| &r.finish);
        let _ = writeln!(out, "[{table}.{key}]");
        for rule in held {
            let _ = writeln!(out, "{} = {}", key_text(&rule.finish), quoted(&rule.why));
        }
    }
}

/// A key, in quotes where it is not a bare one.
fn key_text(code: &Code) -> String {
    let bare = |b: u8| b.is_ascii_alphanumeric() || b == b'-' || b == b'_';
    if !code.is_empty() && code.as_str().bytes().all(bare) {
        code.to_string()
    } else {
        quoted(code.as_str())
    }
}

fn write_stage(out: &mut String, code: &Code, stage: &Stage, currency: &str) {
    out.push_str("\n[[stage]]\n");
    line(out, "code", code.as_str());
    line(out, "name", &stage.name);
    line(out, "kind", text::stage_kind(stage.kind));
    nonempty(out, "caution", &stage.caution);
    let supplies = stage
        .supplies_minor
        .map(|minor| text::minor(minor, currency));
    optional(out, "supplies", supplies);
    flag(out, "retired", stage.retired);
    write_rules(out, "stage", &stage.rules);
}

fn write_job_type(out: &mut String, code: &Code, job_type: &JobType, currency: &str) {
    out.push_str("\n[[job-type]]\n");
    line(out, "code", code.as_str());
    line(out, "name", &job_type.name);
    line(out, "class", job_type.vehicle_class.as_str());
    let price = job_type.price.as_ref();
    optional(out, "price", price.map(|p| text::price(p, currency)));
    let stages = job_type.stages.iter().map(|row| {
        [
            ("stage", Some(row.stage.to_string())),
            ("allowance", Some(text::span(row.allowance_us))),
            ("source", source_word(row.source)),
        ]
    });
    rows(out, "stages", stages);
    let products = job_type.products.iter().map(|row| {
        [
            ("product", Some(row.product.to_string())),
            ("amount", Some(text::amount(&row.amount))),
            ("source", source_word(row.source)),
        ]
    });
    rows(out, "products", products);
    let panels = job_type.panels.iter().map(|row| {
        [
            ("panel", Some(row.code.to_string())),
            ("finish", Some(row.finish.to_string())),
            ("area", row.area_cm2.map(text::area)),
        ]
    });
    rows(out, "panels", panels);
    flag(out, "retired", job_type.retired);
}

/// Rows of a list, one to a line, the columns lined up.
fn rows<const N: usize>(
    out: &mut String,
    key: &str,
    rows: impl Iterator<Item = [(&'static str, Option<String>); N]>,
) {
    let cells: Vec<Vec<String>> = rows
        .map(|row| {
            row.into_iter()
                .filter_map(|(name, value)| value.map(|v| format!("{name} = {}", quoted(&v))))
                .collect()
        })
        .collect();
    if cells.is_empty() {
        return;
    }
    let columns = cells.iter().map(Vec::len).max().unwrap_or(0);
    let widths: Vec<usize> = (0..columns)
        .map(|c| {
            cells
                .iter()
                .filter_map(|row| row.get(c))
                .map(|cell| cell.chars().count())
                .max()
                .unwrap_or(0)
        })
        .collect();
    let _ = writeln!(out, "{key} = [");
    for row in &cells {
        out.push_str("    { ");
        for (c, cell) in row.iter().enumerate() {
            out.push_str(cell);
            if c + 1 < row.len() {
                out.push(',');
                let pad = widths[c].saturating_sub(cell.chars().count()) + 1;
                out.extend(std::iter::repeat_n(' ', pad));
            }
        }
        out.push_str(" },\n");
    }
    out.push_str("]\n");
}
