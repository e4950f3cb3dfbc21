//! What happens inside a stage: products used and left to dwell, panels coated
//! and levelled.

use baywright_proto::v1;
use baywright_proto::v1::fact::Kind;
use baywright_terms::amount::Quantity;
use baywright_terms::code::Code;
use baywright_terms::time::{MINUTE_US, Micros, SECOND_US};
use rand::RngExt as _;

use super::{AtWork, Floor, scaled};
use crate::shop::mess::stage_of;
use crate::shop::truth::spread;

impl Floor<'_> {
    /// What is used, left to dwell, coated and levelled inside a stage.
    pub(super) fn inside(
        &mut self,
        bay: usize,
        crew: &[Code],
        work: &mut AtWork,
        stage: &Code,
        at: Micros,
        until: Micros,
    ) {
        let length_us = until.0 - at.0;
        if stage.as_str() == "coat" {
            work.high_spots += self.coat(bay, crew, work, at, until);
        }
        let Some(job_type) = self.catalogue.job_types.get(&work.job_type) else {
            return;
        };
        for allowance in &job_type.products {
            if stage_of(allowance.product.as_str()) != stage.as_str() {
                continue;
            }
            let moment = Micros(at.0 + length_us * self.rng.random_range(10..50) / 100);
            self.use_product(
                bay,
                crew,
                work,
                &allowance.product,
                &allowance.amount.quantity(),
                moment,
            );
            let dwell = self
                .catalogue
                .products
                .get(&allowance.product)
                .and_then(|p| p.dwell_shortest_us);
            if let Some(shortest_us) = dwell
                && length_us > 20 * MINUTE_US
            {
                let dwelt_us = shortest_us + self.rng.random_range(10..120) * SECOND_US;
                let product = allowance.product.to_string();
                let begin = Micros(moment.0 + 30 * SECOND_US);
                let started = Kind::DwellStarted(v1::DwellStarted {
                    product: product.clone(),
                    panels: Vec::new(),
                });
                self.say(begin, bay, crew, Some(work.job), started);
                let ended = Kind::DwellEnded(v1::DwellEnded {
                    product,
                    panels: Vec::new(),
                });
                self.say(Micros(begin.0 + dwelt_us), bay, crew, Some(work.job), ended);
            }
        }
    }

    fn use_product(
        &mut self,
        bay: usize,
        crew: &[Code],
        work: &AtWork,
        product: &Code,
        allowed: &Quantity,
        at: Micros,
    ) {
        let factor = work.chemical_factor * spread(&mut self.rng, 0.12);
        let Some(entry) = self.catalogue.products.get(product) else {
            return;
        };
        if entry.unmetered {
            return;
        }
        let diluted = product
            .as_str()
            .contains("alkaline")
            .then_some(entry.ratio)
            .flatten();
        let weighs = entry.kind.contains("coating");
        if let (true, Quantity::Volume(nl)) = (weighs, *allowed) {
            let nl = scaled(nl.0, factor);
            if let Some((weighing, lot)) = self.weighed(bay, crew, product, nl, at) {
                self.supply.took(product, nl);
                let kind = Kind::ProductUsed(v1::ProductUsed {
                    product: product.to_string(),
                    quantity: Some(v1::product_used::Quantity::Weighing(weighing)),
                    lot,
                    ..Default::default()
                });
                self.say(at, bay, crew, Some(work.job), kind);
                return;
            }
        }
        let (amount, source) = match *allowed {
            Quantity::Volume(nl) => {
                let mut ml = scaled(nl.0 / 1000 * SECOND_US / 1000, factor) / SECOND_US;
                if let Some(ratio) = diluted {
                    // The allowance is of concentrate; the bay uses the mix.
                    ml = scaled(ml * SECOND_US, 100.0 / ratio.percent().max(0.1)) / SECOND_US;
                }
                let rounded = if ml > 50 { ml / 10 * 10 } else { ml.max(1) };
                if diluted.is_none() {
                    self.supply.took(product, rounded * 1_000_000);
                }
                let source = if diluted.is_some() {
                    v1::UseSource::Mix
                } else {
                    v1::UseSource::Unspecified
                };
                (
                    v1::Amount {
                        decimal: rounded.to_string(),
                        unit: v1::Unit::Ml.into(),
                    },
                    source,
                )
            }
            Quantity::Mass(ug) => {
                let g = scaled(ug.0 / 1_000_000 * SECOND_US, factor) / SECOND_US;
                (
                    v1::Amount {
                        decimal: g.max(1).to_string(),
                        unit: v1::Unit::G.into(),
                    },
                    v1::UseSource::Unspecified,
                )
            }
            Quantity::Count(milli) => {
                let pieces = (milli.0 / 1000).max(1).to_string();
                (
                    v1::Amount {
                        decimal: pieces,
                        unit: v1::Unit::Each.into(),
                    },
                    v1::UseSource::Unspecified,
                )
            }
        };
        let kind = Kind::ProductUsed(v1::ProductUsed {
            product: product.to_string(),
            quantity: Some(v1::product_used::Quantity::Amount(amount)),
            source: source.into(),
            ..Default::default()
        });
        self.say(at, bay, crew, Some(work.job), kind);
    }

    /// Reads the air, then spreads and levels panel after panel; answers how
    /// many sections of gloss have a high spot.
    fn coat(&mut self, bay: usize, crew: &[Code], work: &AtWork, at: Micros, until: Micros) -> i64 {
        let lot = self.supply.lot(&Code::new("coating-3y"));
        // One lot of the quarter is worse than the others.
        let bad_percent = if lot.ends_with("-02") { 11 } else { 3 };
        let mut high_spots = 0;
        let air = self.rng.random_range(17_500..23_500);
        let read = v1::AmbientRead {
            air_milli_c: air,
            humidity_milli_pct: self.rng.random_range(41_000..63_000),
            surface_milli_c: Some(air - self.rng.random_range(0..1_800)),
            source: v1::ReadingSource::Typed.into(),
        };
        self.say(
            Micros(at.0 + 20 * SECOND_US),
            bay,
            crew,
            None,
            Kind::AmbientRead(read),
        );
        let Some(job_type) = self.catalogue.job_types.get(&work.job_type) else {
            return high_spots;
        };
        let mut panels: Vec<_> = job_type
            .panels
            .iter()
            .filter(|p| ["matte", "satin", "gloss", "gelcoat"].contains(&p.finish.as_str()))
            .collect();
        // Matte first: a high spot on matte cannot be polished off.
        panels.sort_by_key(|p| p.finish.as_str() == "gloss");
        let each_us =
            (until.0 - at.0 - 4 * MINUTE_US) / i64::try_from(panels.len().max(1)).unwrap_or(1);
        for (count, panel) in (0_i64..).zip(panels) {
            let spread_at = at.0 + 2 * MINUTE_US + count * each_us;
            let coated = v1::PanelCoated {
                panel: panel.code.to_string(),
                product: "coating-3y".into(),
                lot: lot.clone(),
                ..Default::default()
            };
            self.say(
                Micros(spread_at),
                bay,
                crew,
                Some(work.job),
                Kind::PanelCoated(coated),
            );
            let waits_us = self.rng.random_range(130..300) * SECOND_US;
            let result = match self.rng.random_range(0..100) {
                draw if draw < bad_percent => v1::LevelResult::HighSpot,
                97.. => v1::LevelResult::Smeared,
                _ => v1::LevelResult::Clean,
            };
            let levelled = v1::PanelLevelled {
                panel: panel.code.to_string(),
                result: result.into(),
                ..Default::default()
            };
            let at_most = spread_at + waits_us.min(each_us.max(MINUTE_US) - 5 * SECOND_US);
            self.say(
                Micros(at_most),
                bay,
                crew,
                Some(work.job),
                Kind::PanelLevelled(levelled),
            );
            if result == v1::LevelResult::HighSpot && panel.finish.as_str() == "gloss" {
                high_spots += 1;
            }
        }
        high_spots
    }
}
