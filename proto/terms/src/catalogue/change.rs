//! What differs between the catalogue in force and the one in a file.

use std::collections::BTreeMap;

use crate::code::Code;
use crate::surface;

use super::file::text;
use super::{Bay, Catalogue, JobType, Product, Shop, Stage, SurfaceRule, Worker};

/// Only the entries that differ: what one `apply` posts.
///
/// An entry that is gone from `wanted` comes back retired, because the records
/// of the past still name it. `None` where nothing changed.
pub fn changed(in_force: &Catalogue, wanted: &Catalogue) -> Option<Catalogue> {
    let shop = match &wanted.shop {
        Some(shop) if in_force.shop.as_ref() != Some(shop) => Some(shop.clone()),
        _ => None,
    };
    let changed = Catalogue {
        shop,
        bays: entries(&in_force.bays, &wanted.bays, |b| &mut b.retired),
        workers: entries(&in_force.workers, &wanted.workers, |w| &mut w.retired),
        products: entries(&in_force.products, &wanted.products, |p| &mut p.retired),
        stages: entries(&in_force.stages, &wanted.stages, |s| &mut s.retired),
        job_types: entries(&in_force.job_types, &wanted.job_types, |t| &mut t.retired),
    };
    (changed != Catalogue::default()).then_some(changed)
}

fn entries<T: Clone + PartialEq>(
    in_force: &BTreeMap<Code, T>,
    wanted: &BTreeMap<Code, T>,
    retired: impl Fn(&mut T) -> &mut bool,
) -> BTreeMap<Code, T> {
    let mut found: BTreeMap<Code, T> = wanted
        .iter()
        .filter(|(code, entry)| in_force.get(*code) != Some(*entry))
        .map(|(code, entry)| (code.clone(), entry.clone()))
        .collect();
    for (code, entry) in in_force {
        if wanted.contains_key(code) {
            continue;
        }
        let mut gone = entry.clone();
        *retired(&mut gone) = true;
        if gone != *entry {
            found.insert(code.clone(), gone);
        }
    }
    found
}

/// Lines for a person: what each changed entry was and will be.
///
/// `changed` is the answer of [`changed()`] for `old`.
pub fn describe(old: &Catalogue, changed: &Catalogue) -> Vec<String> {
    let mut lines = Vec::new();
    if let Some(shop) = &changed.shop {
        let was = old.shop.as_ref().map(shop_parts);
        lines.extend(differences("shop", was, &shop_parts(shop)));
    }
    let old_currency = currency(old);
    let new_currency = match &changed.shop {
        Some(shop) => shop.currency.as_str(),
        None => old_currency,
    };
    describe_all("bay", &old.bays, &changed.bays, bay_parts, &mut lines);
    for (code, worker) in &changed.workers {
        let was = old.workers.get(code).map(|w| worker_parts(w, old_currency));
        lines.extend(differences(
            &format!("worker {code}"),
            was,
            &worker_parts(worker, new_currency),
        ));
    }
    describe_all(
        "product",
        &old.products,
        &changed.products,
        product_parts,
        &mut lines,
    );
    for (code, stage) in &changed.stages {
        let was = old.stages.get(code).map(|s| stage_parts(s, old_currency));
        lines.extend(differences(
            &format!("stage {code}"),
            was,
            &stage_parts(stage, new_currency),
        ));
    }
    describe_all(
        "job type",
        &old.job_types,
        &changed.job_types,
        job_type_parts,
        &mut lines,
    );
    lines
}

/// Named parts of an entry, in words. An empty value is one not given.
type Parts = Vec<(String, String)>;

const RETIRED: &str = "retired";

fn currency(catalogue: &Catalogue) -> &str {
    catalogue.shop.as_ref().map_or("", |s| s.currency.as_str())
}

fn describe_all<T>(
    kind: &str,
    old: &BTreeMap<Code, T>,
    changed: &BTreeMap<Code, T>,
    parts: impl Fn(&T) -> Parts,
    lines: &mut Vec<String>,
) {
    for (code, entry) in changed {
        let was = old.get(code).map(&parts);
        lines.extend(differences(&format!("{kind} {code}"), was, &parts(entry)));
    }
}

fn differences(what: &str, was: Option<Parts>, now: &Parts) -> Vec<String> {
    let Some(was) = was else {
        return vec![format!("{what}: new")];
    };
    let find = |parts: &Parts, name: &str| {
        parts
            .iter()
            .find(|(n, _)| n == name)
            .map_or(String::new(), |(_, v)| v.clone())
    };
    let mut names: Vec<&String> = now.iter().map(|(n, _)| n).collect();
    names.extend(
        was.iter()
            .map(|(n, _)| n)
            .filter(|n| now.iter().all(|(m, _)| m != *n)),
    );
    let mut lines = Vec::new();
    for name in names {
        let (before, after) = (find(&was, name), find(now, name));
        if before == after {
            continue;
        }
        lines.push(match (name.as_str(), before.is_empty(), after.is_empty()) {
            (RETIRED, true, _) => format!("{what}: retired"),
            (RETIRED, _, _) => format!("{what}: in use again"),
            (_, true, _) => format!("{what}: {name} {after} (was not given)"),
            (_, _, true) => format!("{what}: {name} {before} taken out"),
            _ => format!("{what}: {name} {before} → {after}"),
        });
    }
    if lines.is_empty() {
        // The same words in another order still is a change that is posted.
        lines.push(format!("{what}: order changed"));
    }
    lines
}

fn part(name: &str, value: impl Into<String>) -> (String, String) {
    (name.to_owned(), value.into())
}

fn retired(flag: bool) -> (String, String) {
    part(RETIRED, if flag { "yes" } else { "" })
}

fn shop_parts(shop: &Shop) -> Parts {
    let mut parts = vec![
        part("name", &shop.name),
        part("zone", &shop.zone),
        part("currency", &shop.currency),
        part("units", text::units(shop.units)),
        part("open", text::week(&shop.open)),
        part("breaks", text::week(&shop.breaks)),
    ];
    for (key, grades) in [
        ("soil", &shop.soil_grades),
        ("defects", &shop.defects_grades),
        ("intricacy", &shop.intricacy_grades),
    ] {
        for (grade, sentence) in (1..).zip(grades) {
            parts.push(part(&format!("{key} grade {grade}"), sentence));
        }
    }
    let money = |minor: Option<i64>| {
        minor.map_or(String::new(), |minor| text::minor(minor, &shop.currency))
    };
    let costs = &shop.costs;
    parts.extend([
        part("rate", money(costs.standard_rate_minor)),
        part(
            "wage-burden",
            costs.wage_burden_milli.map_or(String::new(), text::milli),
        ),
        part("overhead", money(costs.overhead_per_hour_minor)),
        part(
            "target-margin",
            costs
                .target_margin_permille
                .map_or(String::new(), text::permille),
        ),
        part(
            "quote-valid",
            costs.quote_valid_us.map_or(String::new(), text::span),
        ),
        part(
            "tax",
            costs
                .tax_milli_pct
                .map_or(String::new(), text::milli_percent),
        ),
    ]);
    parts
}

fn bay_parts(bay: &Bay) -> Parts {
    vec![
        part("name", &bay.name),
        part("places", bay.places.to_string()),
        retired(bay.retired),
    ]
}

fn worker_parts(worker: &Worker, currency: &str) -> Parts {
    vec![
        part("name", &worker.name),
        part(
            "rate",
            worker
                .rate_minor
                .map_or(String::new(), |minor| text::minor(minor, currency)),
        ),
        retired(worker.retired),
    ]
}

fn product_parts(product: &Product) -> Parts {
    let or_empty = Option::unwrap_or_default;
    let mut parts = vec![
        part("name", &product.name),
        part("kind", &product.kind),
        part("pack", or_empty(product.pack.as_ref().map(text::amount))),
        part(
            "price",
            or_empty(product.pack_price.as_ref().map(text::money)),
        ),
        part(
            "density",
            or_empty(product.density_micro_g_per_ml.map(text::density)),
        ),
        part("ratio", or_empty(product.ratio.as_ref().map(text::ratio))),
        part(
            "dwell",
            text::spans(product.dwell_shortest_us, product.dwell_longest_us),
        ),
        part("unmetered", if product.unmetered { "yes" } else { "" }),
        part(
            "level",
            text::spans(product.level_from_us, product.level_until_us),
        ),
        part("water-safe", text::spans(product.water_safe_us, None)),
        part("full-cure", text::spans(product.full_cure_us, None)),
        part(
            "surface",
            text::temperatures(product.surface_lowest, product.surface_highest),
        ),
    ];
    parts.extend(rule_parts(&product.rules));
    parts.extend([
        part("sds", &product.sds),
        part("caution", &product.caution),
        part("source", text::source(product.source)),
        part("lead", text::spans(product.lead_us, None)),
        part("open-life", text::spans(product.open_life_us, None)),
        retired(product.retired),
    ]);
    parts
}

fn rule_parts(rules: &[SurfaceRule]) -> Parts {
    let mut rules = rules.to_vec();
    surface::sort_rules(&mut rules);
    rules
        .iter()
        .map(|r| {
            part(
                &format!("on {}", r.finish),
                format!("{} ({})", text::standing(r.standing), r.why),
            )
        })
        .collect()
}

fn stage_parts(stage: &Stage, currency: &str) -> Parts {
    let mut parts = vec![
        part("name", &stage.name),
        part("kind", text::stage_kind(stage.kind)),
    ];
    parts.extend(rule_parts(&stage.rules));
    let supplies = stage.supplies_minor;
    parts.extend([
        part("caution", &stage.caution),
        part(
            "supplies",
            supplies.map_or(String::new(), |minor| text::minor(minor, currency)),
        ),
        retired(stage.retired),
    ]);
    parts
}

fn job_type_parts(job_type: &JobType) -> Parts {
    let mut parts = vec![
        part("name", &job_type.name),
        part("class", job_type.vehicle_class.as_str()),
        part(
            "price",
            job_type.price.as_ref().map_or(String::new(), text::money),
        ),
    ];
    for row in &job_type.stages {
        parts.push(part(
            row.stage.as_str(),
            with_source(&text::span(row.allowance_us), row.source),
        ));
    }
    for row in &job_type.products {
        parts.push(part(
            row.product.as_str(),
            with_source(&text::amount(&row.amount), row.source),
        ));
    }
    for panel in &job_type.panels {
        let area = panel
            .area_cm2
            .map_or(String::new(), |a| format!(", {}", text::area(a)));
        parts.push(part(
            &format!("panel {}", panel.code),
            format!("{}{area}", panel.finish),
        ));
    }
    parts.push(retired(job_type.retired));
    parts
}

fn with_source(value: &str, source: super::Source) -> String {
    match text::source(source) {
        "" => value.to_owned(),
        word => format!("{value} ({word})"),
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::amount::Money;
    use crate::catalogue::{EXAMPLE, file, sample};

    fn example() -> Catalogue {
        file::read(EXAMPLE).unwrap()
    }

    #[test]
    fn nothing_changed_is_nothing_to_post() {
        assert_eq!(changed(&example(), &example()), None);
    }

    #[test]
    fn a_changed_price_is_one_entry_and_one_line() {
        let old = example();
        let mut wanted = old.clone();
        let remover = wanted.products.get_mut(&Code::new("iron-remover")).unwrap();
        remover.pack_price = Some(Money::new(11_950, "EUR"));
        let changed = changed(&old, &wanted).unwrap();
        assert_eq!(changed.products.len(), 1);
        assert!(changed.shop.is_none() && changed.stages.is_empty());
        assert_eq!(
            describe(&old, &changed),
            ["product iron-remover: price EUR 110.00 → EUR 119.50"]
        );
    }

    #[test]
    fn what_is_gone_from_the_file_is_retired_once() {
        let old = example();
        let mut wanted = old.clone();
        wanted.workers.remove(&Code::new("ben"));
        let first = changed(&old, &wanted).unwrap();
        assert!(first.workers[&Code::new("ben")].retired);
        assert_eq!(describe(&old, &first), ["worker ben: retired"]);
        let mut in_force = old;
        in_force.apply(&first);
        assert_eq!(changed(&in_force, &wanted), None);
    }

    #[test]
    fn changes_are_told_in_words() {
        let old = example();
        let mut wanted = old.clone();
        wanted.shop.as_mut().unwrap().open.pop();
        let saloon = wanted.job_types.get_mut(&Code::new("saloon-coat")).unwrap();
        saloon.stages[4].allowance_us += crate::time::HOUR_US;
        saloon.panels.pop();
        let polish = wanted.products.get_mut(&Code::new("polish")).unwrap();
        polish.rules.remove(0);
        polish.caution = String::new();
        wanted.bays.insert(
            Code::new("bay-4"),
            Bay {
                name: "Yard".to_owned(),
                places: 1,
                retired: false,
            },
        );
        let lines = describe(&old, &changed(&old, &wanted).unwrap());
        for part in [
            "shop: open mon-fri 08:00-17:30, sat 09:00-13:00 → mon-fri 08:00-17:30",
            "bay bay-4: new",
            "product polish: on anodised never",
            "taken out",
            "job type saloon-coat: wash 25m (trade) → 1h25m (trade)",
            "job type saloon-coat: panel tyres rubber taken out",
        ] {
            assert!(lines.iter().any(|l| l.contains(part)), "{part}\n{lines:#?}");
        }
    }

    proptest! {
        #[test]
        fn what_changed_laid_over_the_old_is_the_wanted(
            old in sample::catalogue(),
            wanted in sample::catalogue(),
        ) {
            let mut in_force = old.clone();
            if let Some(changed) = changed(&old, &wanted) {
                prop_assert!(!describe(&old, &changed).is_empty());
                in_force.apply(&changed);
            }
            // Every wanted entry holds; every other one is retired.
            for (code, product) in &in_force.products {
                match wanted.products.get(code) {
                    Some(w) => prop_assert_eq!(w, product),
                    None => prop_assert!(product.retired),
                }
            }
            prop_assert_eq!(&in_force.shop, &wanted.shop);
            prop_assert_eq!(changed(&in_force, &wanted), None);
        }
    }
}
