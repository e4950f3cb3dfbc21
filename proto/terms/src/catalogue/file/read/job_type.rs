//! Job types of the file: stages, products and panels, each row checked.

use std::collections::BTreeSet;

use crate::amount::Amount;
use crate::catalogue::limits::{ALLOWANCE_HOURS_MAX, JOB_TYPE_ROWS_MAX, PANELS_MAX};
use crate::catalogue::{JobType, Panel, ProductAllowance, StageAllowance};
use crate::code::Code;
use crate::time::HOUR_US;

use super::super::entry::Entry;
use super::super::{nearest_of, value};
use super::Reader;

const STAGE_ROW_KEYS: [&str; 3] = ["stage", "allowance", "source"];
const PRODUCT_ROW_KEYS: [&str; 3] = ["product", "amount", "source"];
const PANEL_ROW_KEYS: [&str; 3] = ["panel", "finish", "area"];

impl Reader<'_, '_> {
    pub(super) fn job_type(&mut self, entry: &Entry<'_>, code: &Code, known: &Known) -> JobType {
        JobType {
            name: entry.name(code.as_str(), self.faults),
            vehicle_class: entry
                .code("class", "saloon", self.faults)
                .unwrap_or_else(|| Code::new("")),
            stages: self.stage_rows(entry, known),
            products: self.product_rows(entry, known),
            panels: self.panels(entry),
            price: self.price(entry),
            retired: entry.flag("retired", self.faults),
        }
    }

    fn stage_rows(&mut self, entry: &Entry<'_>, known: &Known) -> Vec<StageAllowance> {
        let form = "write stages = [ { stage = \"decon\", allowance = \"45m\", source = \
                    \"trade\" }, … ].";
        let mut found: Vec<StageAllowance> = Vec::new();
        for row in self.rows(entry, "stages", form, JOB_TYPE_ROWS_MAX) {
            let row = labelled(row, "a stage", entry);
            row.only(&STAGE_ROW_KEYS, self.faults);
            let stage = row.code("stage", "decon", self.faults);
            let stage = self.referred(stage, &row, "stage", &known.stages);
            self.must_have(&row, "allowance", "45m");
            let allowance_us = row.parsed("allowance", "45m", self.faults, |text| {
                let span = value::span(text)?;
                if span > ALLOWANCE_HOURS_MAX * HOUR_US {
                    return Err(format!("it is more than {ALLOWANCE_HOURS_MAX} hours"));
                }
                Ok(span)
            });
            let source = self.source(&row);
            let (Some(stage), Some(allowance_us)) = (stage, allowance_us) else {
                continue;
            };
            if found.iter().any(|f| f.stage == stage) {
                self.twice(&row, "stage", &stage, entry);
                continue;
            }
            found.push(StageAllowance {
                stage,
                allowance_us,
                source,
            });
        }
        found
    }

    fn product_rows(&mut self, entry: &Entry<'_>, known: &Known) -> Vec<ProductAllowance> {
        let form = "write products = [ { product = \"iron-remover\", amount = \"350 mL\", \
                    source = \"trade\" }, … ].";
        let units = self.units;
        let mut found: Vec<ProductAllowance> = Vec::new();
        for row in self.rows(entry, "products", form, JOB_TYPE_ROWS_MAX) {
            let row = labelled(row, "a product", entry);
            row.only(&PRODUCT_ROW_KEYS, self.faults);
            let product = row.code("product", "iron-remover", self.faults);
            let product = self.referred(product, &row, "product", &known.products);
            self.must_have(&row, "amount", "350 mL");
            let amount: Option<Amount> =
                row.parsed("amount", "350 mL", self.faults, |t| value::amount(t, units));
            let source = self.source(&row);
            let (Some(product), Some(amount)) = (product, amount) else {
                continue;
            };
            if found.iter().any(|f| f.product == product) {
                self.twice(&row, "product", &product, entry);
                continue;
            }
            found.push(ProductAllowance {
                product,
                amount,
                source,
            });
        }
        found
    }

    fn panels(&mut self, entry: &Entry<'_>) -> Vec<Panel> {
        let form =
            "write panels = [ { panel = \"nose\", finish = \"gloss\", area = \"0.6 m2\" }, … ].";
        let mut found: Vec<Panel> = Vec::new();
        for row in self.rows(entry, "panels", form, PANELS_MAX) {
            let row = labelled(row, "a panel", entry);
            row.only(&PANEL_ROW_KEYS, self.faults);
            let code = row.code("panel", "nose", self.faults);
            self.must_have(&row, "finish", "gloss");
            let finish = row.parsed("finish", "gloss", self.faults, |t| Ok(t.to_owned()));
            let finish = finish.and_then(|f| self.finish(&f, row.at_value("finish")));
            let area_cm2 = row.parsed("area", "0.6 m2", self.faults, value::area);
            let (Some(code), Some(finish)) = (code, finish) else {
                continue;
            };
            if found.iter().any(|f| f.code == code) {
                self.twice(&row, "panel", &code, entry);
                continue;
            }
            found.push(Panel {
                code,
                finish,
                area_cm2,
            });
        }
        found
    }

    fn rows<'d>(
        &mut self,
        entry: &Entry<'d>,
        key: &str,
        form: &str,
        rows_max: usize,
    ) -> Vec<Entry<'d>> {
        let mut rows = entry.rows(key, form, self.faults);
        if rows.len() > rows_max {
            self.faults.add(
                entry.at_value(key),
                format!("`{key}` of {} has {} rows.", entry.label, rows.len()),
                format!("at most {rows_max}."),
            );
            rows.truncate(rows_max);
        }
        rows
    }

    fn must_have(&mut self, row: &Entry<'_>, key: &str, example: &str) {
        if !row.has(key) {
            self.faults.absent(
                row.at,
                format!("{} has no `{key}`.", row.label),
                format!("add {key} = \"{example}\"."),
            );
        }
    }

    fn twice(&mut self, row: &Entry<'_>, what: &str, code: &Code, entry: &Entry<'_>) {
        self.faults.add(
            row.at_value(what),
            format!("{what} `{code}` stands twice in {}.", entry.label),
            "keep one of the two.",
        );
    }

    /// A code that must be the code of an entry elsewhere in the file.
    fn referred(
        &mut self,
        code: Option<Code>,
        row: &Entry<'_>,
        table: &str,
        known: &BTreeSet<Code>,
    ) -> Option<Code> {
        let code = code?;
        if known.contains(&code) {
            return Some(code);
        }
        let hint = match nearest_of(code.as_str(), known.iter().map(Code::as_str)) {
            Some(near) => format!("did you mean {near}?"),
            None => format!("add a [[{table}]] with code = \"{code}\"."),
        };
        self.faults.absent(
            row.at_value(table),
            format!("there is no {table} `{code}` in this file."),
            hint,
        );
        None
    }
}

/// Codes that job types may refer to.
pub(super) struct Known {
    pub(super) stages: BTreeSet<Code>,
    pub(super) products: BTreeSet<Code>,
}

fn labelled<'d>(mut row: Entry<'d>, what: &str, of: &Entry<'_>) -> Entry<'d> {
    row.label = format!("{what} of {}", of.label);
    row
}
