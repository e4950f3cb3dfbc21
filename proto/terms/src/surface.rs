//! Finishes, and which product or stage may touch which.
//!
//! The catalogue holds the shop's rules; this module fills them from common
//! practice ([`product_rules`], [`stage_rules`]) and lists those that hold for
//! one vehicle ([`rules_for_vehicle`]). Everything here defers to the
//! product's safety data sheet, local codes and licensed practice.

use crate::catalogue::{Catalogue, JobType, Panel, Product, Stage, Standing, SurfaceRule};
use crate::code::Code;

mod defaults;
mod finish;

pub use defaults::{PRODUCT_KINDS, ProductKind, product_rules, sort_rules, stage_rules};
pub use finish::{FINISHES, Finish, Touch, UNKNOWN, finish};

/// Splits the finishes a panel may have where the shop is not sure: `gloss/satin`.
const CANDIDATE_MARK: char = '/';

/// Said where a finish is not known for certain.
const TEST_SPOT: &str = "try a hidden spot first and find out what it is";

/// What a rule is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Subject {
    Stage,
    Product,
}

/// A *never* or *care* that holds for some panels of a vehicle.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rule {
    pub subject: Subject,
    /// Code of the stage or product.
    pub what: Code,
    pub finish: Code,
    /// Panels with that finish which are not covered.
    pub panels: Vec<Code>,
    pub standing: Standing,
    pub why: String,
}

/// Finishes and panels that were masked or are left out: no rule holds there.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Covered {
    pub finishes: Vec<Code>,
    pub panels: Vec<Code>,
}

impl Covered {
    /// True where the panel is out of reach of the work.
    pub fn covers(&self, panel: &Panel) -> bool {
        self.panels.contains(&panel.code) || self.finishes.contains(&panel.finish)
    }
}

/// The nevers and cares of a vehicle: for the stages and products of its job
/// type, or for all of the catalogue where the job is unsorted. Nevers first.
pub fn rules_for_vehicle(
    catalogue: &Catalogue,
    job_type: Option<&JobType>,
    panels: &[Panel],
    covered: &Covered,
) -> Vec<Rule> {
    let stages = catalogue
        .stages
        .iter()
        .filter(|(code, stage)| match job_type {
            Some(t) => t.stages.iter().any(|a| a.stage == **code),
            None => !stage.retired,
        });
    let products = catalogue
        .products
        .iter()
        .filter(|(code, product)| match job_type {
            Some(t) => t.products.iter().any(|a| a.product == **code),
            None => !product.retired,
        });
    let mut found: Vec<Rule> = stages
        .flat_map(|(code, stage)| rules_for_stage(code, stage, panels, covered))
        .chain(
            products.flat_map(|(code, product)| rules_for_product(code, product, panels, covered)),
        )
        .collect();
    found.sort_by(|a, b| {
        (b.standing, a.subject, &a.what, &a.finish)
            .cmp(&(a.standing, b.subject, &b.what, &b.finish))
    });
    found
}

/// What a stage may not touch on these panels, or only with care.
pub fn rules_for_stage(
    code: &Code,
    stage: &Stage,
    panels: &[Panel],
    covered: &Covered,
) -> Vec<Rule> {
    rules(Subject::Stage, code, &stage.rules, panels, covered)
}

/// What a product may not touch on these panels, or only with care.
pub fn rules_for_product(
    code: &Code,
    product: &Product,
    panels: &[Panel],
    covered: &Covered,
) -> Vec<Rule> {
    rules(Subject::Product, code, &product.rules, panels, covered)
}

fn rules(
    subject: Subject,
    what: &Code,
    held: &[SurfaceRule],
    panels: &[Panel],
    covered: &Covered,
) -> Vec<Rule> {
    let mut found: Vec<Rule> = Vec::new();
    for panel in panels.iter().filter(|p| !covered.covers(p)) {
        if let Some(rule) = found.iter_mut().find(|r| r.finish == panel.finish) {
            rule.panels.push(panel.code.clone());
            continue;
        }
        let (standing, why) = standing(held, panel.finish.as_str());
        if standing > Standing::Fine {
            found.push(Rule {
                subject,
                what: what.clone(),
                finish: panel.finish.clone(),
                panels: vec![panel.code.clone()],
                standing,
                why,
            });
        }
    }
    found.sort_by(|a, b| (b.standing, &a.finish).cmp(&(a.standing, &b.finish)));
    found
}

/// The rules of one finish together, for a list that fits a screen.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FinishRules {
    pub finish: Code,
    pub panels: Vec<Code>,
    /// Stages and products that may not touch it, stages first.
    pub nevers: Vec<Code>,
    /// Stages and products that need care on it.
    pub cares: Vec<Code>,
    /// Reasons of the nevers (of the cares where there is no never), each once.
    pub whys: Vec<String>,
}

/// Gathers rules by finish: those with a never first, then by code. A vehicle
/// of mixed finishes has tens of rules, and a person reads a dozen lines.
pub fn by_finish(rules: &[Rule]) -> Vec<FinishRules> {
    let mut found: Vec<FinishRules> = Vec::new();
    for rule in rules.iter().filter(|r| r.standing > Standing::Fine) {
        let at = found
            .iter()
            .position(|f| f.finish == rule.finish)
            .unwrap_or_else(|| {
                found.push(FinishRules {
                    finish: rule.finish.clone(),
                    panels: Vec::new(),
                    nevers: Vec::new(),
                    cares: Vec::new(),
                    whys: Vec::new(),
                });
                found.len() - 1
            });
        let entry = &mut found[at];
        let list = match rule.standing {
            Standing::Never => &mut entry.nevers,
            _ => &mut entry.cares,
        };
        add_once(list, &rule.what);
        for panel in &rule.panels {
            add_once(&mut entry.panels, panel);
        }
    }
    for entry in &mut found {
        let standing = if entry.nevers.is_empty() {
            Standing::Care
        } else {
            Standing::Never
        };
        for rule in rules {
            if rule.finish == entry.finish && rule.standing == standing {
                add_once(&mut entry.whys, &rule.why);
            }
        }
    }
    found.sort_by(|a, b| (a.nevers.is_empty(), &a.finish).cmp(&(b.nevers.is_empty(), &b.finish)));
    found
}

fn add_once<T: Clone + PartialEq>(list: &mut Vec<T>, item: &T) {
    if !list.contains(item) {
        list.push(item.clone());
    }
}

/// How held rules stand to a finish, and why.
///
/// A finish that is not known takes the strictest rule of those it may turn
/// out to be, and never less than care with a test spot.
pub fn standing(held: &[SurfaceRule], finish_code: &str) -> (Standing, String) {
    let rule_of = |code: &str| held.iter().find(|r| r.finish.as_str() == code);
    if finish(finish_code).is_some() || rule_of(finish_code).is_some() {
        return rule_of(finish_code).map_or((Standing::Fine, String::new()), |r| {
            (r.standing, r.why.clone())
        });
    }
    let strictest = candidates(finish_code)
        .into_iter()
        .filter_map(rule_of)
        .filter(|r| r.standing > Standing::Fine)
        // The first of the strictest, so that the answer does not wander.
        .reduce(|best, r| if r.standing > best.standing { r } else { best });
    match strictest {
        Some(r) => (
            r.standing,
            format!("it may be {}: {}; {TEST_SPOT}", r.finish, r.why),
        ),
        None => (
            Standing::Care,
            format!("the finish is not known; {TEST_SPOT}"),
        ),
    }
}

/// The finishes that an uncertain code may stand for: those it lists, or every
/// finish that a panel of the body can have.
fn candidates(code: &str) -> Vec<&str> {
    let listed: Vec<&str> = code.split(CANDIDATE_MARK).collect();
    if listed.iter().all(|c| finish(c).is_some()) {
        return listed;
    }
    FINISHES
        .iter()
        .filter(|f| f.is_body())
        .map(|f| f.code)
        .collect()
}

/// True for a finish of the list, [`UNKNOWN`], or candidates of the list with
/// slashes between them.
pub fn is_finish(code: &str) -> bool {
    code == UNKNOWN || code.split(CANDIDATE_MARK).all(|c| finish(c).is_some())
}

#[cfg(test)]
mod tests;
