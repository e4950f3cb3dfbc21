//! What a new catalogue starts from: common practice of the trade, to be
//! replaced by the shop's own records.
//!
//! Minutes are hands-on, for one trained worker on a vehicle of grade 3; the
//! spread from shop to shop is large (about ×/÷ 1.35 on each stage). Amounts
//! are the middles of published ranges for a saloon, scaled by class. None of
//! it is a measurement of any one shop.

/// Rows of [`VehicleClass::minutes`], in the order of work.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Step {
    Intake,
    Mask,
    Wheels,
    Prewash,
    Alkaline,
    Wash,
    Dry,
    WaterSpot,
    Tar,
    Iron,
    Clay,
    DryAgain,
    Measure,
    Polish,
    CutAndPolish,
    Metal,
    WipeDown,
    Coat,
    CoatTrim,
    Inspect,
    HandOver,
}

const STEPS: [Step; 21] = [
    Step::Intake,
    Step::Mask,
    Step::Wheels,
    Step::Prewash,
    Step::Alkaline,
    Step::Wash,
    Step::Dry,
    Step::WaterSpot,
    Step::Tar,
    Step::Iron,
    Step::Clay,
    Step::DryAgain,
    Step::Measure,
    Step::Polish,
    Step::CutAndPolish,
    Step::Metal,
    Step::WipeDown,
    Step::Coat,
    Step::CoatTrim,
    Step::Inspect,
    Step::HandOver,
];

/// A panel of a class: its share of the painted area in thousandths, 0 for a
/// part whose area nobody plans by.
#[derive(Debug)]
pub struct PanelShare {
    pub code: &'static str,
    pub finish: &'static str,
    pub area_permille: u32,
}

const fn share(code: &'static str, finish: &'static str, area_permille: u32) -> PanelShare {
    PanelShare {
        code,
        finish,
        area_permille,
    }
}

/// A class of vehicles with its default figures.
#[derive(Debug)]
pub struct VehicleClass {
    pub code: &'static str,
    pub words: &'static str,
    /// One figure for each of [`STEPS`]; 0 where the class has no such step.
    minutes: [u32; 21],
    /// Cleaning and polishing products against a saloon, per cent.
    pub usage_pct: i64,
    /// True where that share is our guess: no published one was found.
    pub usage_guessed: bool,
    /// One layer of coating, tenths of a millilitre.
    pub coating_tenth_ml: i64,
    /// Painted area, square centimetres (published ones differ several-fold).
    pub painted_cm2: u32,
    pub panels: &'static [PanelShare],
}

impl VehicleClass {
    /// Minutes of some steps together.
    pub fn minutes(&self, steps: &[Step]) -> u32 {
        STEPS
            .iter()
            .zip(self.minutes)
            .filter(|(step, _)| steps.contains(step))
            .map(|(_, minutes)| minutes)
            .sum()
    }

    /// True where the vehicle has a panel of that finish.
    pub fn has(&self, finish: &str) -> bool {
        self.panels.iter().any(|p| p.finish == finish)
    }
}

const CAR_PANELS: [PanelShare; 19] = [
    share("bonnet", "gloss", 140),
    share("roof", "gloss", 150),
    share("tailgate", "gloss", 80),
    share("bumper-front", "gloss", 90),
    share("bumper-rear", "gloss", 80),
    share("wing-left", "gloss", 50),
    share("wing-right", "gloss", 50),
    share("door-front-left", "gloss", 75),
    share("door-front-right", "gloss", 75),
    share("door-rear-left", "gloss", 65),
    share("door-rear-right", "gloss", 65),
    share("quarter-left", "gloss", 40),
    share("quarter-right", "gloss", 40),
    share("wheels", "gloss", 0),
    share("windows", "glass", 0),
    share("headlamps", "headlamp", 0),
    share("trim", "textured-plastic", 0),
    share("pillars", "piano-black", 0),
    share("tyres", "rubber", 0),
];

const MOTORCYCLE_PANELS: [PanelShare; 12] = [
    share("tank", "gloss", 350),
    share("fairing", "gloss", 400),
    share("tail", "gloss", 250),
    share("frame", "anodised", 0),
    share("engine", "bare-aluminium", 0),
    share("exhaust", "hot-metal", 0),
    share("screen", "plastic-screen", 0),
    share("dash", "electronics", 0),
    share("seat", "leather", 0),
    share("grips", "grip", 0),
    share("brakes", "brake", 0),
    share("chain", "moving-part", 0),
];

const TRIKE_PANELS: [PanelShare; 17] = [
    share("nose", "gloss", 200),
    share("wing-left", "gloss", 120),
    share("wing-right", "gloss", 120),
    share("side-left", "matte", 150),
    share("side-right", "matte", 150),
    share("tail", "gloss", 140),
    share("rear-wing", "gloss", 120),
    share("belly", "textured-plastic", 0),
    share("trim", "textured-plastic", 0),
    share("screen", "plastic-screen", 0),
    share("dash", "electronics", 0),
    share("seat", "leather", 0),
    share("rack", "anodised", 0),
    share("headlamps", "headlamp", 0),
    share("exhaust", "hot-metal", 0),
    share("grips", "grip", 0),
    share("brakes", "brake", 0),
];

const TRUCK_PANELS: [PanelShare; 17] = [
    share("bonnet", "gloss", 110),
    share("roof", "gloss", 110),
    share("tailgate", "gloss", 80),
    share("bumper-front", "chrome", 0),
    share("wing-left", "gloss", 60),
    share("wing-right", "gloss", 60),
    share("door-front-left", "gloss", 80),
    share("door-front-right", "gloss", 80),
    share("door-rear-left", "gloss", 70),
    share("door-rear-right", "gloss", 70),
    share("bed-left", "gloss", 140),
    share("bed-right", "gloss", 140),
    share("bed-liner", "textured-plastic", 0),
    share("wheels", "bare-aluminium", 0),
    share("windows", "glass", 0),
    share("headlamps", "headlamp", 0),
    share("steps", "grip", 0),
];

const BOAT_PANELS: [PanelShare; 11] = [
    share("hull-left", "gelcoat", 270),
    share("hull-right", "gelcoat", 270),
    share("bow", "gelcoat", 110),
    share("transom", "gelcoat", 80),
    share("deck", "gelcoat", 270),
    share("windscreen", "plastic-screen", 0),
    share("rails", "chrome", 0),
    share("lettering", "decal", 0),
    share("console", "electronics", 0),
    share("cushions", "fabric", 0),
    share("bottom", "antifoul", 0),
];

const TRACTOR_PANELS: [PanelShare; 14] = [
    share("bonnet-left", "single-stage", 190),
    share("bonnet-right", "single-stage", 190),
    share("bonnet-top", "single-stage", 130),
    share("wing-left", "single-stage", 145),
    share("wing-right", "single-stage", 145),
    share("cab-frame", "single-stage", 110),
    share("wheel-rims", "single-stage", 90),
    share("cab-roof", "textured-plastic", 0),
    share("windows", "glass", 0),
    share("headlamps", "headlamp", 0),
    share("dash", "electronics", 0),
    share("radiator", "moving-part", 0),
    share("exhaust", "hot-metal", 0),
    share("steps", "grip", 0),
];

/// Classes with default figures.
#[rustfmt::skip]
pub const CLASSES: [VehicleClass; 8] = [
    VehicleClass {
        code: "motorcycle", words: "Motorcycle",
        minutes: [15, 20, 25, 8, 20, 20, 25, 10, 5, 10, 15, 15, 15, 75, 150, 60, 15, 45, 40, 15, 20],
        usage_pct: 50, usage_guessed: false, coating_tenth_ml: 150, painted_cm2: 20_000, panels: &MOTORCYCLE_PANELS,
    },
    VehicleClass {
        code: "trike", words: "Three-wheeler, tourer",
        minutes: [20, 30, 35, 10, 30, 30, 35, 15, 10, 15, 25, 20, 20, 120, 240, 90, 20, 70, 60, 20, 30],
        usage_pct: 60, usage_guessed: true, coating_tenth_ml: 180, painted_cm2: 50_000, panels: &TRIKE_PANELS,
    },
    VehicleClass {
        code: "hatch", words: "Hatchback",
        minutes: [10, 10, 25, 8, 10, 20, 15, 10, 10, 12, 30, 10, 20, 150, 330, 10, 20, 60, 35, 20, 15],
        usage_pct: 85, usage_guessed: false, coating_tenth_ml: 200, painted_cm2: 85_000, panels: &CAR_PANELS,
    },
    VehicleClass {
        code: "saloon", words: "Saloon",
        minutes: [15, 10, 30, 10, 12, 25, 20, 15, 12, 15, 40, 15, 25, 180, 420, 10, 25, 75, 45, 25, 15],
        usage_pct: 100, usage_guessed: false, coating_tenth_ml: 225, painted_cm2: 100_000, panels: &CAR_PANELS,
    },
    VehicleClass {
        code: "suv", words: "Sport utility vehicle",
        minutes: [15, 10, 35, 12, 15, 30, 25, 20, 15, 18, 50, 15, 25, 225, 510, 10, 30, 95, 55, 30, 15],
        usage_pct: 125, usage_guessed: false, coating_tenth_ml: 275, painted_cm2: 125_000, panels: &CAR_PANELS,
    },
    VehicleClass {
        code: "truck", words: "Full-size truck or van",
        minutes: [20, 15, 40, 18, 20, 45, 30, 25, 20, 25, 75, 25, 30, 330, 720, 20, 40, 140, 70, 40, 20],
        usage_pct: 160, usage_guessed: false, coating_tenth_ml: 400, painted_cm2: 180_000, panels: &TRUCK_PANELS,
    },
    VehicleClass {
        code: "boat", words: "Boat, 6 to 8 m",
        minutes: [25, 20, 0, 20, 30, 60, 25, 30, 5, 5, 60, 20, 30, 360, 600, 40, 40, 150, 30, 30, 20],
        usage_pct: 225, usage_guessed: false, coating_tenth_ml: 1_000, painted_cm2: 160_000, panels: &BOAT_PANELS,
    },
    VehicleClass {
        code: "tractor", words: "Farm tractor",
        minutes: [25, 20, 45, 30, 60, 60, 30, 15, 10, 20, 45, 25, 20, 240, 480, 30, 40, 120, 60, 25, 20],
        usage_pct: 225, usage_guessed: false, coating_tenth_ml: 425, painted_cm2: 140_000, panels: &TRACTOR_PANELS,
    },
];
