//! The rules that a new catalogue starts with, by kind of product and by stage.
//!
//! Source: common practice in the trade (see [`super::finish`]).

use std::cmp::Reverse;

use crate::catalogue::{Standing, SurfaceRule};
use crate::code::Code;

use super::finish::{FINISHES, Finish, Touch};

/// A kind of product that rules are known for, in words.
#[derive(Debug)]
pub struct ProductKind {
    pub code: &'static str,
    pub words: &'static str,
    touch: Option<Touch>,
    /// Finishes this kind is made for, whatever its treatment does elsewhere.
    made_for: &'static [&'static str],
    /// Surfaces it is not made for need care even where nothing is known.
    only: bool,
}

const fn kind(code: &'static str, words: &'static str, touch: Option<Touch>) -> ProductKind {
    ProductKind {
        code,
        words,
        touch,
        made_for: &[],
        only: false,
    }
}

const fn made_for(
    code: &'static str,
    words: &'static str,
    finishes: &'static [&'static str],
) -> ProductKind {
    ProductKind {
        code,
        words,
        touch: Some(Touch::Coating),
        made_for: finishes,
        only: true,
    }
}

/// Kinds of product with default rules. A shop may use other kinds; those
/// start without rules.
pub const PRODUCT_KINDS: [ProductKind; 20] = [
    kind("foam", "pre-wash foam", None),
    kind("shampoo", "wash shampoo", None),
    kind(
        "alkaline-cleaner",
        "alkaline cleaner",
        Some(Touch::Alkaline),
    ),
    kind(
        "water-spot-remover",
        "acid mineral remover",
        Some(Touch::Acid),
    ),
    kind("brightener", "fluoride brightener", Some(Touch::Fluoride)),
    kind("iron-remover", "iron remover", Some(Touch::Iron)),
    kind("tar-remover", "tar and adhesive remover", Some(Touch::Tar)),
    kind("clay", "clay or synthetic clay", Some(Touch::Abrasive)),
    kind("clay-lubricant", "clay lubricant", None),
    kind("compound", "cutting compound", Some(Touch::Abrasive)),
    kind("polish", "finishing polish", Some(Touch::Abrasive)),
    kind("metal-polish", "metal polish", Some(Touch::Abrasive)),
    kind("panel-wipe", "panel wipe", Some(Touch::Wipe)),
    kind("coating", "coating for paint", Some(Touch::Coating)),
    kind("topper", "spray topper, drying aid", None),
    made_for(
        "trim-coating",
        "coating for bare plastic",
        &["textured-plastic", "rubber"],
    ),
    made_for("glass-coating", "coating for glass", &["glass"]),
    made_for(
        "wheel-coating",
        "coating for wheels",
        &["gloss", "bare-aluminium", "anodised"],
    ),
    made_for("leather-coating", "protection for leather", &["leather"]),
    made_for("fabric-coating", "protection for cloth", &["fabric"]),
];

/// Default rules of a kind of product; none for a kind that is not known.
pub fn product_rules(kind: &str) -> Vec<SurfaceRule> {
    let Some(kind) = PRODUCT_KINDS.iter().find(|k| k.code == kind) else {
        return Vec::new();
    };
    let mut rules: Vec<SurfaceRule> = match kind.touch {
        Some(touch) => FINISHES
            .iter()
            .filter(|f| !kind.made_for.contains(&f.code))
            .filter_map(|f| rule(f, touch, kind.only))
            .collect(),
        None => Vec::new(),
    };
    if kind.code == "topper" {
        rules = topper_rules();
    }
    sort_rules(&mut rules);
    rules
}

/// Default rules of a stage by its code; none for a code that is not known.
pub fn stage_rules(stage: &str) -> Vec<SurfaceRule> {
    let mut rules = match stage {
        "prewash" | "wash" | "wheels" => touch_rules(Touch::Jet),
        "decon" => decon_rules(),
        "clay" | "polish" | "cut" => touch_rules(Touch::Abrasive),
        "wipe-down" => touch_rules(Touch::Wipe),
        "lamp" => touch_rules(Touch::Lamp),
        "coat" => coat_rules(),
        _ => Vec::new(),
    };
    sort_rules(&mut rules);
    rules
}

/// Puts rules into the order of the file: nevers first, each by finish.
pub fn sort_rules(rules: &mut [SurfaceRule]) {
    rules.sort_by(|a, b| (Reverse(a.standing), &a.finish).cmp(&(Reverse(b.standing), &b.finish)));
}

fn touch_rules(touch: Touch) -> Vec<SurfaceRule> {
    FINISHES
        .iter()
        .filter_map(|f| rule(f, touch, false))
        .collect()
}

fn rule(finish: &Finish, touch: Touch, only: bool) -> Option<SurfaceRule> {
    let (standing, test) = finish.standing(touch);
    let why = match standing {
        Standing::Never => finish.why.to_owned(),
        _ if only => "made for another surface; a test spot first".to_owned(),
        Standing::Care if test => format!("{}; a test spot first, {}", finish.why, touch.care()),
        Standing::Care => format!("{}; {}", finish.why, touch.care()),
        Standing::Fine => return None,
    };
    Some(SurfaceRule {
        finish: Code::new(finish.code),
        standing: standing.max(Standing::Care),
        why,
    })
}

/// A topper is wiped over everything, so only what it makes dangerous or
/// spoils for good counts.
fn topper_rules() -> Vec<SurfaceRule> {
    FINISHES
        .iter()
        .filter_map(|f| match f.code {
            "brake" | "grip" | "hot-metal" | "electronics" | "moving-part" => {
                Some(rule_of(f, Standing::Never, f.why))
            }
            "matte" | "satin" => Some(rule_of(
                f,
                Standing::Care,
                "fillers leave it glossy for good; only a product whose label names matte",
            )),
            "leather" | "fabric" | "plastic-screen" => Some(rule_of(
                f,
                Standing::Care,
                "only a product whose label names this surface",
            )),
            _ => None,
        })
        .collect()
}

/// Decontamination brings several products, each with rules of its own; the
/// stage forbids what all of them forbid.
fn decon_rules() -> Vec<SurfaceRule> {
    FINISHES
        .iter()
        .filter(|f| {
            [Touch::Alkaline, Touch::Acid, Touch::Iron]
                .into_iter()
                .all(|t| f.standing(t).0 == Standing::Never)
        })
        .map(|f| rule_of(f, Standing::Never, f.why))
        .collect()
}

/// The coat stage carries several coatings, so it forbids only what no coating
/// may touch, and says which surface comes first.
fn coat_rules() -> Vec<SurfaceRule> {
    FINISHES
        .iter()
        .filter_map(|f| match f.code {
            "electronics" | "brake" | "grip" | "hot-metal" | "moving-part" | "fresh-repaint" => {
                Some(rule_of(f, Standing::Never, f.why))
            }
            "matte" | "satin" => Some(rule_of(
                f,
                Standing::Care,
                "coat and level it first and sooner than gloss; a high spot here cannot be polished off",
            )),
            "textured-plastic" => Some(rule_of(f, Standing::Care, "only the coating made for trim")),
            "leather" | "fabric" => Some(rule_of(f, Standing::Care, "only its own product")),
            _ => None,
        })
        .collect()
}

fn rule_of(finish: &Finish, standing: Standing, why: &str) -> SurfaceRule {
    SurfaceRule {
        finish: Code::new(finish.code),
        standing,
        why: why.to_owned(),
    }
}
