//! What is on the shelf, and where one lot of a product went.

use baywright_floor::event::{JobKey, Seq};
use baywright_floor::fact::LevelResult;
use baywright_terms::code::Code;
use baywright_terms::time::Micros;

use super::{Portion, PortionUnit};

/// What is left of one product.
///
/// `left = counted + received − used`, exactly; below zero where more was used
/// than was ever received.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StockFigures {
    pub product: Code,
    pub name: String,
    pub unit: PortionUnit,
    /// It was counted or received; if not, nobody knows what is left.
    pub known: bool,
    pub left: Portion,
    /// When it was last counted.
    pub counted_at: Option<Micros>,
    pub counted: Portion,
    /// Since then.
    pub received: Portion,
    pub used: Portion,
    /// Records since then whose amount cannot be taken off: none was given, or
    /// it is in another unit.
    pub without_amount: u32,
    /// Taken in the span that the rate is over.
    pub taken: Portion,
    /// Length of that span; 0: too short to say.
    pub rate_us: i64,
    /// Whole weeks in that span in which it was taken.
    pub weeks_with_use: u32,
    /// For how long it lasts: at the mean of the span, in busy weeks (four in
    /// five are quieter), in quiet ones (one in five is quieter).
    pub lasts_us: Option<i64>,
    pub lasts_busy_us: Option<i64>,
    pub lasts_quiet_us: Option<i64>,
    pub lead_us: Option<i64>,
    pub order_by: Option<Micros>,
    /// Packs to order by then; 0: not known.
    pub order_packs: u32,
    pub pack: Option<Portion>,
    /// For one pack: last paid, else the catalogue's.
    pub pack_price_minor: Option<i64>,
    /// Opened and not empty, in order of opening.
    pub open: Vec<OpenBottle>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OpenBottle {
    pub lot: String,
    pub bay: Code,
    pub opened: Micros,
    /// Opened longer than the catalogue says that it keeps.
    pub too_long: bool,
    pub seq: Seq,
}

/// Everything that one lot went on.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct LotFigures {
    /// In order of time, like what follows.
    pub receipts: Vec<LotReceipt>,
    pub panels: Vec<LotPanel>,
    pub uses: Vec<LotUse>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LotReceipt {
    pub product: Code,
    pub at: Micros,
    pub packs: u32,
    pub seq: Seq,
}

/// A vehicle that a lot went on.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct LotJob {
    pub number: Option<u64>,
    pub handle: String,
    pub vehicle: String,
    /// `None`: still on the premises.
    pub released: Option<Micros>,
}

/// A section that was coated out of the lot.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LotPanel {
    pub key: JobKey,
    pub job: LotJob,
    pub product: Code,
    pub panel: Code,
    pub section: u32,
    pub layer: u32,
    pub coated: Micros,
    /// How it came out in the end; `None`: not levelled.
    pub result: Option<LevelResult>,
    pub seq: Seq,
}

/// A use that named the lot.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LotUse {
    /// `None`: on no job.
    pub key: Option<JobKey>,
    pub job: LotJob,
    pub product: Code,
    pub at: Micros,
    pub panels: Vec<Code>,
    pub seq: Seq,
}
