//! The catalogue file into a catalogue: every fault at once.

mod job_type;

use crate::catalogue::is_no_bay;
use std::collections::BTreeMap;
use std::collections::btree_map::Entry as Slot;

use toml::de::DeTable;

use crate::amount::Money;
use crate::catalogue::limits::{
    CURE_DAYS_MAX, ENTRIES_MAX, GRADES, HOURS_MAX, PLACES_MAX, SENTENCE_CHARS_MAX,
};
use crate::catalogue::{
    Bay, Catalogue, Product, Shop, ShopCosts, Source, Stage, StageKind, Standing, SurfaceRule,
    UNSORTED, UnitSystem, Worker,
};
use crate::code::Code;
use crate::hours::OpenHours;
use crate::surface;
use crate::time::HOUR_US;

use super::entry::{Entry, Text, checked_words};
use super::fault::{Fault, Faults};
use super::text::{SOURCES, STAGE_KINDS, STANDINGS, UNIT_SYSTEMS};
use super::{nearest_of, value, week};
use job_type::Known;

const ROOT_KEYS: [&str; 6] = ["shop", "bay", "worker", "product", "stage", "job-type"];
const SHOP_KEYS: [&str; 15] = [
    "name",
    "zone",
    "currency",
    "units",
    "open",
    "breaks",
    "soil",
    "defects",
    "intricacy",
    "rate",
    "wage-burden",
    "overhead",
    "target-margin",
    "quote-valid",
    "tax",
];
const BAY_KEYS: [&str; 4] = ["code", "name", "places", "retired"];
const WORKER_KEYS: [&str; 4] = ["code", "name", "rate", "retired"];
const PRODUCT_KEYS: [&str; 22] = [
    "code",
    "name",
    "kind",
    "pack",
    "price",
    "density",
    "ratio",
    "dwell",
    "unmetered",
    "level",
    "water-safe",
    "full-cure",
    "surface",
    "never",
    "care",
    "fine",
    "sds",
    "caution",
    "source",
    "lead",
    "open-life",
    "retired",
];
const STAGE_KEYS: [&str; 9] = [
    "code", "name", "kind", "never", "care", "fine", "caution", "supplies", "retired",
];
const JOB_TYPE_KEYS: [&str; 8] = [
    "code", "name", "class", "price", "stages", "products", "panels", "retired",
];

/// Reads a catalogue file.
///
/// # Errors
/// Every fault found, in the order of the file.
pub fn read(text: &str) -> Result<Catalogue, Vec<Fault>> {
    let mut faults = Faults::new(text);
    let (document, errors) = DeTable::parse_recoverable(text);
    for error in &errors {
        faults.syntax(error);
    }
    let root = Entry::new("the file", document.get_ref(), 0);
    let catalogue = Reader {
        faults: &mut faults,
        units: UnitSystem::Metric,
        currency: None,
    }
    .catalogue(&root);
    faults.into_result(catalogue)
}

struct Reader<'f, 't> {
    faults: &'f mut Faults<'t>,
    /// What a bare `floz` means, from `[shop]`.
    units: UnitSystem,
    /// Currency of prices that name none, from `[shop]`.
    currency: Option<String>,
}

impl Reader<'_, '_> {
    fn catalogue(&mut self, root: &Entry<'_>) -> Catalogue {
        root.only(&ROOT_KEYS, self.faults);
        let shop = self.shop(root);
        let bays = self.entries(root, "bay", &BAY_KEYS, Self::bay);
        let workers = self.entries(root, "worker", &WORKER_KEYS, Self::worker);
        let products = self.entries(root, "product", &PRODUCT_KEYS, Self::product);
        let stages = self.entries(root, "stage", &STAGE_KEYS, Self::stage);
        let known = Known {
            stages: stages.keys().cloned().collect(),
            products: products.keys().cloned().collect(),
        };
        let job_types = self.entries(root, "job-type", &JOB_TYPE_KEYS, |reader, entry, code| {
            reader.job_type(entry, code, &known)
        });
        Catalogue {
            shop,
            bays,
            workers,
            products,
            stages,
            job_types,
        }
    }

    /// All entries of one table, each under its code.
    fn entries<T>(
        &mut self,
        root: &Entry<'_>,
        table: &str,
        keys: &[&str],
        mut read: impl FnMut(&mut Self, &Entry<'_>, &Code) -> T,
    ) -> BTreeMap<Code, T> {
        let form = format!("head each one with [[{table}]], in double brackets.");
        let mut found = BTreeMap::new();
        for (index, mut entry) in root.rows(table, &form, self.faults).into_iter().enumerate() {
            if index == ENTRIES_MAX {
                self.faults.add(
                    entry.at,
                    format!("there are more than {ENTRIES_MAX} [[{table}]] entries."),
                    "keep one entry for each; retired ones may be dropped from the file.",
                );
                break;
            }
            entry.label = format!("[[{table}]]");
            let code = entry.code("code", example_code(table), self.faults);
            if let Some(code) = &code {
                entry.label = format!("{table} `{code}`");
            }
            entry.only(keys, self.faults);
            // Read without a code too, so that its other faults are told now.
            let read = read(self, &entry, code.as_ref().unwrap_or(&Code::new("")));
            let Some(code) = code else { continue };
            let at = entry.at_value("code");
            if reserved(table, code.as_str()) {
                self.faults.add(
                    at,
                    format!("`{code}` is a word of the program and cannot be a {table}."),
                    "choose another code.",
                );
                continue;
            }
            match found.entry(code) {
                Slot::Vacant(slot) => {
                    slot.insert(read);
                }
                Slot::Occupied(slot) => self.faults.add(
                    at,
                    format!("{table} `{}` is in the file twice.", slot.key()),
                    "give one of the two another code, or delete it.",
                ),
            }
        }
        found
    }

    fn shop(&mut self, root: &Entry<'_>) -> Option<Shop> {
        let form = "head it with [shop], in single brackets: there is one shop.";
        let Some(mut entry) = root.inner("shop", form, self.faults) else {
            if !root.has("shop") {
                self.faults.absent(
                    0,
                    "the file has no [shop].",
                    "add [shop] with name, zone, currency and open.",
                );
            }
            return None;
        };
        "[shop]".clone_into(&mut entry.label);
        entry.only(&SHOP_KEYS, self.faults);
        for (key, example) in [
            ("name", "Our shop"),
            ("zone", "Europe/Lisbon"),
            ("currency", "EUR"),
        ] {
            if !entry.has(key) {
                self.faults.absent(
                    entry.at,
                    format!("[shop] has no `{key}`."),
                    format!("add {key} = \"{example}\"."),
                );
            }
        }
        let zone = entry.parsed("zone", "Europe/Lisbon", self.faults, value::zone);
        self.currency = entry.parsed("currency", "EUR", self.faults, value::currency);
        self.units = entry
            .choice("units", &UNIT_SYSTEMS, self.faults)
            .unwrap_or_default();
        Some(Shop {
            name: entry.name("", self.faults),
            zone: zone.unwrap_or_default(),
            currency: self.currency.clone().unwrap_or_default(),
            units: self.units,
            open: self.hours(&entry, "open"),
            breaks: self.hours(&entry, "breaks"),
            soil_grades: self.grades(&entry, "soil"),
            defects_grades: self.grades(&entry, "defects"),
            intricacy_grades: self.grades(&entry, "intricacy"),
            costs: ShopCosts {
                standard_rate_minor: self.sum(&entry, "rate", "19.00"),
                wage_burden_milli: entry.parsed("wage-burden", "1.25", self.faults, value::burden),
                overhead_per_hour_minor: self.sum(&entry, "overhead", "14.00"),
                target_margin_permille: entry.parsed(
                    "target-margin",
                    "30 %",
                    self.faults,
                    value::target_margin,
                ),
                quote_valid_us: entry.parsed("quote-valid", "30d", self.faults, value::span),
                tax_milli_pct: entry.parsed("tax", "23 %", self.faults, value::tax),
            },
        })
    }

    fn hours(&mut self, shop: &Entry<'_>, key: &str) -> Vec<OpenHours> {
        let example = "\"mon-fri 08:00-17:30\"";
        let mut hours = Vec::new();
        for Text { text, at } in shop.texts(key, example, self.faults).unwrap_or_default() {
            match week::parse(text) {
                Ok(more) => hours.extend(more),
                Err(why) => self.faults.add(
                    at,
                    format!("`{key}` of [shop] cannot be read from \"{text}\": {why}."),
                    format!("write it like {key} = [{example}, \"sat 09:00-13:00\"]."),
                ),
            }
        }
        week::sort(&mut hours);
        if let Some((first, second)) = week::overlap(&hours) {
            self.faults.add(
                shop.at_value(key),
                format!(
                    "`{key}` of [shop] has two entries that overlap on {}: until {} and from {}.",
                    week::day_name(first.weekday),
                    week::clock_text(first.until_min),
                    week::clock_text(second.from_min)
                ),
                "let one end before the next begins.",
            );
        }
        if hours.len() > HOURS_MAX {
            self.faults.add(
                shop.at_value(key),
                format!("`{key}` of [shop] has more than {HOURS_MAX} spells in a week."),
                "at most three to a day.",
            );
        }
        hours
    }

    fn grades(&mut self, shop: &Entry<'_>, key: &str) -> Vec<String> {
        let Some(texts) = shop.texts(key, "five sentences, for grades 1 to 5", self.faults) else {
            return Vec::new();
        };
        if texts.len() != GRADES {
            self.faults.add(
                shop.at_value(key),
                format!("`{key}` of [shop] has {} sentences.", texts.len()),
                format!("write {GRADES}, from grade 1 to grade {GRADES}."),
            );
        }
        texts
            .into_iter()
            .filter_map(|t| {
                checked_words(key, t.text.trim(), t.at, SENTENCE_CHARS_MAX, self.faults)
            })
            .collect()
    }

    fn bay(&mut self, entry: &Entry<'_>, code: &Code) -> Bay {
        Bay {
            name: entry.name(code.as_str(), self.faults),
            places: entry
                .whole("places", 1..PLACES_MAX + 1, self.faults)
                .unwrap_or(1),
            retired: entry.flag("retired", self.faults),
        }
    }

    fn worker(&mut self, entry: &Entry<'_>, code: &Code) -> Worker {
        Worker {
            name: entry.name(code.as_str(), self.faults),
            rate_minor: self.sum(entry, "rate", "18.50"),
            retired: entry.flag("retired", self.faults),
        }
    }

    /// A sum above zero, in the shop's currency.
    fn sum(&mut self, entry: &Entry<'_>, key: &str, example: &str) -> Option<i64> {
        let currency = self.currency.clone()?;
        entry.parsed(key, example, self.faults, |text| {
            let money = value::money(text, &currency)?;
            if money.currency != currency {
                return Err(format!("it is in the shop's currency, {currency}"));
            }
            if money.minor <= 0 {
                return Err("it is more than nothing; leave it out where it is not known".into());
            }
            Ok(money.minor)
        })
    }

    fn price(&mut self, entry: &Entry<'_>) -> Option<Money> {
        let currency = self.currency.clone()?;
        entry.parsed("price", "24.50", self.faults, |text| {
            let money = value::money(text, &currency)?;
            if money.minor < 0 {
                return Err("a price is not below zero".to_owned());
            }
            Ok(money)
        })
    }

    fn product(&mut self, entry: &Entry<'_>, code: &Code) -> Product {
        let units = self.units;
        let kind = entry
            .has("kind")
            .then(|| entry.code("kind", "coating", self.faults));
        let dwell = self.span_range(entry, "dwell", "2m to 7m");
        let level = self.span_range(entry, "level", "3m to 5m");
        let surface = entry.parsed("surface", "10C to 27C", self.faults, |text| {
            value::range(text, value::temperature)
        });
        let product = Product {
            name: entry.name(code.as_str(), self.faults),
            kind: kind.flatten().map_or(String::new(), |k| k.to_string()),
            pack: entry.parsed("pack", "1 L", self.faults, |t| value::amount(t, units)),
            pack_price: self.price(entry),
            density_micro_g_per_ml: entry.parsed("density", "1.05", self.faults, value::density),
            ratio: entry.parsed("ratio", "15:1", self.faults, value::ratio),
            dwell_shortest_us: dwell.0,
            dwell_longest_us: dwell.1,
            unmetered: entry.flag("unmetered", self.faults),
            level_from_us: level.0,
            level_until_us: level.1,
            water_safe_us: self.cure(entry, "water-safe", "24h"),
            full_cure_us: self.cure(entry, "full-cure", "7d"),
            surface_lowest: surface.and_then(|r| r.0),
            surface_highest: surface.and_then(|r| r.1),
            rules: self.rules(entry, &PRODUCT_KEYS),
            sds: entry.sentence("sds", self.faults),
            caution: entry.sentence("caution", self.faults),
            source: self.source(entry),
            lead_us: entry.parsed("lead", "5d", self.faults, value::span),
            open_life_us: entry.parsed("open-life", "90d", self.faults, value::span),
            retired: entry.flag("retired", self.faults),
        };
        if let (Some(safe), Some(full)) = (product.water_safe_us, product.full_cure_us)
            && safe > full
        {
            self.faults.add(
                entry.at_value("water-safe"),
                format!("`water-safe` of {} is later than `full-cure`.", entry.label),
                "a coating is safe from water before it is fully cured; swap the two.",
            );
        }
        product
    }

    fn span_range(
        &mut self,
        entry: &Entry<'_>,
        key: &str,
        example: &str,
    ) -> (Option<i64>, Option<i64>) {
        entry
            .parsed(key, example, self.faults, |text| {
                value::range(text, value::span)
            })
            .unwrap_or_default()
    }

    fn cure(&mut self, entry: &Entry<'_>, key: &str, example: &str) -> Option<i64> {
        entry.parsed(key, example, self.faults, |text| {
            let span = value::span(text)?;
            if span > CURE_DAYS_MAX * 24 * HOUR_US {
                return Err(format!("a cure is at most {CURE_DAYS_MAX} days"));
            }
            Ok(span)
        })
    }

    fn source(&mut self, entry: &Entry<'_>) -> Source {
        entry
            .choice("source", &SOURCES, self.faults)
            .unwrap_or_default()
    }

    fn stage(&mut self, entry: &Entry<'_>, code: &Code) -> Stage {
        if !entry.has("kind") {
            self.faults.absent(
                entry.at,
                format!("{} has no `kind`.", entry.label),
                "add kind = \"cleaning\", \"correction\", \"coating\" or \"other\": it says which \
                 grade makes the stage longer.",
            );
        }
        Stage {
            name: entry.name(code.as_str(), self.faults),
            kind: entry
                .choice("kind", &STAGE_KINDS, self.faults)
                .unwrap_or(StageKind::Other),
            rules: self.rules(entry, &STAGE_KEYS),
            caution: entry.sentence("caution", self.faults),
            supplies_minor: self.sum(entry, "supplies", "1.50"),
            retired: entry.flag("retired", self.faults),
        }
    }

    /// Rules of the tables `never`, `care` and `fine`, each finish once.
    fn rules(&mut self, entry: &Entry<'_>, entry_keys: &[&str]) -> Vec<SurfaceRule> {
        let mut rules: Vec<SurfaceRule> = Vec::new();
        for (key, standing) in STANDINGS {
            let form = format!("write {key} = {{ matte = \"why\" }}.");
            let Some(table) = entry.inner(key, &form, self.faults) else {
                continue;
            };
            let (lost, pairs): (Vec<_>, Vec<_>) = table
                .pairs(&form, self.faults)
                .into_iter()
                .partition(|(name, _)| entry_keys.contains(&name.text));
            for (name, _) in lost {
                self.faults.add(
                    name.at,
                    format!("`{}` stands under the heading of `{key}`.", name.text),
                    "rules come last in an entry; move this line above the heading.",
                );
            }
            for (name, why) in pairs {
                let finish = self.finish(name.text, name.at);
                let why = checked_words(
                    name.text,
                    why.text.trim(),
                    why.at,
                    SENTENCE_CHARS_MAX,
                    self.faults,
                );
                let (Some(finish), Some(why)) = (finish, why) else {
                    continue;
                };
                if standing > Standing::Fine && why.is_empty() {
                    self.faults.add(
                        name.at,
                        format!("`{finish}` of {} does not say why.", table.label),
                        "the person at the bay reads the reason; write it after the equals sign.",
                    );
                } else if rules.iter().any(|r| r.finish == finish) {
                    self.faults.add(
                        name.at,
                        format!("`{finish}` has two rules in {}.", entry.label),
                        "keep one of never, care and fine.",
                    );
                } else {
                    rules.push(SurfaceRule {
                        finish,
                        standing,
                        why,
                    });
                }
            }
        }
        surface::sort_rules(&mut rules);
        rules
    }

    /// A finish of the list, or `unknown`, or candidates like `gloss/satin`.
    fn finish(&mut self, text: &str, at: usize) -> Option<Code> {
        if surface::is_finish(text) {
            return Some(Code::new(text));
        }
        let known = surface::FINISHES.iter().map(|f| f.code);
        let hint = if let Some(near) = nearest_of(text, known.clone()) {
            format!("did you mean {near}?")
        } else {
            let known: Vec<&str> = known.collect();
            format!(
                "finishes are {}; where nobody knows, write unknown, or name the likely ones: \
                 gloss/satin.",
                known.join(", ")
            )
        };
        self.faults
            .add(at, format!("there is no finish `{text}`."), hint);
        None
    }
}

/// Words that stand for something else in commands and facts.
fn reserved(table: &str, code: &str) -> bool {
    match table {
        "bay" => is_no_bay(code),
        "job-type" => code == UNSORTED,
        _ => false,
    }
}

fn example_code(table: &str) -> &'static str {
    match table {
        "bay" => "bay-1",
        "worker" => "ana",
        "product" => "iron-remover",
        "stage" => "decon",
        _ => "saloon-coat",
    }
}
