//! The finishes a vehicle can show, and what each kind of treatment does to it.
//!
//! Source: common practice in the trade, from memory and general trade pages;
//! a product's label, its safety data sheet and local codes always win.

use crate::catalogue::Standing;

/// Finish of a panel that nobody could name.
pub const UNKNOWN: &str = "unknown";

/// Kinds of treatment that a product or stage brings to a surface.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Touch {
    /// Alkaline cleaner, above about pH 10.
    Alkaline,
    /// Acid without fluoride: mineral and water-spot removers.
    Acid,
    /// Hydrofluoric acid and bifluorides.
    Fluoride,
    /// Thioglycolate iron remover.
    Iron,
    /// Solvent tar and adhesive remover.
    Tar,
    /// Clay, compound, polish.
    Abrasive,
    /// Panel wipe: alcohol or solvent.
    Wipe,
    /// Silica or silazane coating made for paint.
    Coating,
    /// Pressure jet.
    Jet,
    /// Infrared lamp.
    Lamp,
}

/// Treatments in the order of the letters in [`Finish`].
const TOUCHES: [Touch; 10] = [
    Touch::Alkaline,
    Touch::Acid,
    Touch::Fluoride,
    Touch::Iron,
    Touch::Tar,
    Touch::Abrasive,
    Touch::Wipe,
    Touch::Coating,
    Touch::Jet,
    Touch::Lamp,
];

impl Touch {
    /// How the treatment is done where it needs care.
    pub const fn care(self) -> &'static str {
        match self {
            Self::Alkaline => "use it weaker and short, on a cool surface, and rinse fully",
            Self::Acid => "one panel at a time, short, and rinse fully",
            Self::Fluoride => "specialist work only",
            Self::Iron => "keep it short and never let it dry on",
            Self::Tar => "on the cloth rather than on the surface, and short",
            Self::Abrasive => "the mildest step first, on a small spot",
            Self::Wipe => "damp on the cloth, no pressure, and let it flash off",
            Self::Coating => "only a product whose label names this surface",
            Self::Jet => "wide fan, from far back, never at an edge",
            Self::Lamp => "measure the surface, keep the lamp far and short",
        }
    }
}

/// A finish: what the shop calls it, what it is, why it needs thought.
#[derive(Debug)]
pub struct Finish {
    pub code: &'static str,
    pub words: &'static str,
    /// What goes wrong, as a clause.
    pub why: &'static str,
    /// A letter for each of [`TOUCHES`]: `.` fine, `c` care, `t` care with a
    /// test spot first, `N` never.
    letters: &'static str,
    /// A surface that a panel of the body could be taken for; the others are
    /// parts known by what they do.
    body: bool,
}

impl Finish {
    /// How a treatment stands to this finish, and whether a test spot comes first.
    pub fn standing(&self, touch: Touch) -> (Standing, bool) {
        let at = TOUCHES.iter().position(|t| *t == touch).unwrap_or(0);
        match self.letters.as_bytes().get(at) {
            Some(b'c') => (Standing::Care, false),
            Some(b't') => (Standing::Care, true),
            Some(b'N') => (Standing::Never, false),
            _ => (Standing::Fine, false),
        }
    }

    #[cfg(test)]
    pub(super) fn letters_are_whole(&self) -> bool {
        self.letters.len() == TOUCHES.len()
            && self
                .letters
                .chars()
                .all(|l| matches!(l, '.' | 'c' | 't' | 'N'))
    }

    /// True for a surface that an unknown body panel could turn out to be.
    pub const fn is_body(&self) -> bool {
        self.body
    }
}

const fn body(
    code: &'static str,
    words: &'static str,
    letters: &'static str,
    why: &'static str,
) -> Finish {
    Finish {
        code,
        words,
        why,
        letters,
        body: true,
    }
}

const fn part(
    code: &'static str,
    words: &'static str,
    letters: &'static str,
    why: &'static str,
) -> Finish {
    Finish {
        code,
        words,
        why,
        letters,
        body: false,
    }
}

/// All finishes. A jet on gloss black plastic is a *never* only near
/// electronics, which the finish `electronics` says by itself. Letters: alkaline, acid, fluoride, iron, tar, abrasive, wipe,
/// coating, jet, lamp.
#[rustfmt::skip]
pub const FINISHES: [Finish; 30] = [
    body("gloss", "gloss clear coat, cured", ".cN.c....c",
        "the clear coat is thin and every polish takes some of it"),
    body("fresh-repaint", "paint laid less than about three months ago", "cNNcNcNNcN",
        "solvent is still leaving the paint; the painter knows when it has hardened"),
    body("matte", "matte clear coat", "ccNccNcccc",
        "its fine texture cannot be put back once rubbed, filled or glossed"),
    body("satin", "satin clear coat", "ccNccNcccc",
        "its fine texture cannot be put back once rubbed, filled or glossed"),
    body("single-stage", "paint without a clear coat", "ccNcccct.c",
        "colour comes off and solvents soften it"),
    body("gelcoat", "gelcoat of a boat or a moulding", "ccNtc..t.N",
        "it is porous, takes stains, and heats under the machine"),
    body("textured-plastic", "bare plastic with a grain", "ccN.cNcN.c",
        "residue, and any coating made for paint, stays in the grain and shows"),
    body("piano-black", "gloss black plastic, bezels", "cNNcNcctcN",
        "it marks at a touch and solvents craze it"),
    part("electronics", "instruments, screens, connectors", "NNNNNNcNNN",
        "liquid gets in, and the fault shows weeks later"),
    part("glass", "mineral glass", ".cN..c...N",
        "what dries on it etches, and it scratches"),
    part("plastic-screen", "windscreen of polycarbonate or acrylic", "NcNcNNNtcN",
        "it cracks under stress and turns cloudy, and the rider looks through it"),
    part("headlamp", "plastic headlamp lens", "NcNcNcc.cN",
        "its hard coat softens, crazes and loses its guard against the sun"),
    body("bare-aluminium", "bare or polished aluminium", "NNNt.c.t..",
        "acid and alkali attack and stain it, and it scratches easily"),
    body("anodised", "anodised aluminium", "NNNtcN.t..",
        "the dyed layer is thin and cannot be polished back"),
    body("soft-metal", "magnesium, zinc die casting", "NNNt.c.t..",
        "it is attacked at once"),
    body("chrome", "chrome plating", "ccNc.c.t..",
        "the plate is thin and its pits hold liquid"),
    body("clear-carbon", "carbon fibre under clear coat", ".cN.c...cc",
        "treat the clear coat as gloss paint and keep heat low"),
    body("raw-carbon", "carbon fibre without clear coat", "NNNcNNctcN",
        "resin and fibre lie open, and the part may carry load"),
    body("wrap", "vinyl wrap", "ccNcNNc.cc",
        "the film softens, its edges lift and its colour shifts"),
    body("paint-film", "paint protection film", "ccN.cNc.cc",
        "edges lift, water creeps under, and satin film cannot be polished"),
    part("antifoul", "antifouling paint under the waterline", "NNN..N.Nc.",
        "its dust is toxic and the work licensed"),
    body("decal", "decals, badges, lettering, gold leaf", "ccNcNNcccc",
        "edges lift and print comes off"),
    part("leather", "leather, suede", "NNNNNNcNNN",
        "it loses its finish and shrinks; it gets its own product"),
    part("fabric", "cloth, soft top", "cNNNNNNNcN",
        "it wicks and stains; it gets its own product"),
    part("rubber", "rubber, seals, tyre wall", "ccNcc.ct.c",
        "it swells, and what gets on to the tread makes it slippery"),
    part("brake", "brake discs, pads, linings", ".NNcc..N..",
        "anything left on a friction face takes braking away"),
    part("grip", "tread, grips, pegs, pedals, steering wheel", "c...N..Nc.",
        "a slippery grip takes control away from the rider"),
    part("hot-metal", "exhaust or engine not yet cool", "NNNNNNNNN.",
        "fire, cracks and baked-in stains; let it cool down first"),
    part("moving-part", "bearings, chain, fork seals, intakes, fins", "cNNNc..NN.",
        "water passes the seals and grease washes out"),
    part("battery", "traction battery, charge port, high-voltage parts", "NNNNN...NN",
        "only as the vehicle's maker allows"),
];

/// The finish of a code.
pub fn finish(code: &str) -> Option<&'static Finish> {
    FINISHES.iter().find(|f| f.code == code)
}
