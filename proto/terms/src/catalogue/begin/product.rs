//! The products of a new catalogue: kinds, not brands.

/// How much of a product a job takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Usage {
    /// Tenths of a millilitre of concentrate on a saloon, scaled by class.
    Scaled(i64),
    /// Tenths of a millilitre, the same on any class that has `finish`.
    OnFinish(i64, &'static str),
    /// As [`Usage::OnFinish`], but our guess: no published range was found.
    GuessOnFinish(i64, &'static str),
    /// The class's own figure for one layer of coating.
    Layer,
}

/// A product of a new catalogue.
#[derive(Debug)]
pub struct ProductDefault {
    pub code: &'static str,
    pub name: &'static str,
    pub kind: &'static str,
    /// As the file has it; empty where there is none.
    pub ratio: &'static str,
    pub dwell: &'static str,
    /// Middle of the usual range for its kind, g/mL.
    pub density: &'static str,
    pub usage: Usage,
    pub caution: &'static str,
}

const FLAMMABLE: &str = "Flammable: no flame, spark, heater or lamp; air the bay. Check the SDS.";
const COATING: &str = "By hand, never sprayed outside a booth; flammable, may sensitise skin: gloves, eye protection, air. \
     Towels flat and apart. Check the SDS.";

/// Products, in the order of use. Usage: middles of ranges that trade guides
/// give for a saloon.
#[rustfmt::skip]
pub const PRODUCTS: [ProductDefault; 16] = [
    ProductDefault { code: "snow-foam", name: "Pre-wash foam", kind: "foam", ratio: "", dwell: "5m to 10m",
        density: "1.02", usage: Usage::Scaled(750), caution: "" },
    ProductDefault { code: "shampoo", name: "Wash shampoo", kind: "shampoo", ratio: "750:1", dwell: "",
        density: "1.02", usage: Usage::Scaled(225), caution: "" },
    ProductDefault { code: "alkaline-cleaner", name: "Alkaline cleaner", kind: "alkaline-cleaner", ratio: "15:1",
        dwell: "30s to 5m", density: "1.03", usage: Usage::Scaled(600),
        caution: "Corrosive: gloves, goggles, eyewash at hand. Never in sun, never dry on. Check the SDS." },
    ProductDefault { code: "water-spot-remover", name: "Acid water-spot remover", kind: "water-spot-remover",
        ratio: "", dwell: "30s to 3m", density: "1.03", usage: Usage::Scaled(1_050),
        caution: "Acid: gloves, goggles. Never with bleach, never on iron remover: rinse fully between. Check the SDS." },
    ProductDefault { code: "tar-remover", name: "Tar remover", kind: "tar-remover", ratio: "", dwell: "1m to 5m",
        density: "0.78", usage: Usage::Scaled(1_000), caution: FLAMMABLE },
    ProductDefault { code: "iron-remover", name: "Iron remover", kind: "iron-remover", ratio: "", dwell: "2m to 7m",
        density: "1.08", usage: Usage::Scaled(6_750),
        caution: "May sensitise skin, foul vapour: gloves, eye protection, moving air. Never let acid meet it. Check the SDS." },
    ProductDefault { code: "clay-lubricant", name: "Clay lubricant", kind: "clay-lubricant", ratio: "", dwell: "",
        density: "1", usage: Usage::Scaled(3_750), caution: "" },
    ProductDefault { code: "compound", name: "Cutting compound", kind: "compound", ratio: "", dwell: "",
        density: "1.05", usage: Usage::Scaled(900), caution: "Dust: mask and eye protection. Check the SDS." },
    ProductDefault { code: "polish", name: "Finishing polish", kind: "polish", ratio: "", dwell: "",
        density: "1.05", usage: Usage::Scaled(900), caution: "Dust: mask and eye protection. Check the SDS." },
    ProductDefault { code: "metal-polish", name: "Metal polish", kind: "metal-polish", ratio: "", dwell: "",
        density: "1.05", usage: Usage::GuessOnFinish(300, "bare-aluminium"),
        caution: "Oily cloths can heat by themselves: lidded metal can. Check the SDS." },
    ProductDefault { code: "panel-wipe", name: "Panel wipe", kind: "panel-wipe", ratio: "", dwell: "",
        density: "0.9", usage: Usage::Scaled(1_750), caution: FLAMMABLE },
    ProductDefault { code: "coating", name: "Paint coating", kind: "coating", ratio: "", dwell: "",
        density: "0.9", usage: Usage::Layer, caution: COATING },
    ProductDefault { code: "trim-coating", name: "Trim coating", kind: "trim-coating", ratio: "", dwell: "",
        density: "0.9", usage: Usage::OnFinish(150, "textured-plastic"), caution: COATING },
    ProductDefault { code: "glass-coating", name: "Glass coating", kind: "glass-coating", ratio: "", dwell: "",
        density: "0.9", usage: Usage::OnFinish(100, "glass"), caution: COATING },
    ProductDefault { code: "leather-coating", name: "Leather protection", kind: "leather-coating", ratio: "", dwell: "",
        density: "1", usage: Usage::GuessOnFinish(200, "leather"), caution: "Check the SDS." },
    ProductDefault { code: "topper", name: "Spray topper, drying aid", kind: "topper", ratio: "", dwell: "",
        density: "1", usage: Usage::Scaled(450), caution: "" },
];
