//! The account of one job: what it was quoted, what it cost, and where the
//! difference went.

use std::collections::BTreeMap;

use baywright_floor::catalogues::Catalogues;
use baywright_floor::event::{JobKey, Seq};
use baywright_terms::code::Code;

use super::fine::{Fine, shared};
use super::goods::{self, Costed};
use super::standard::Standard;
use super::work::{self, Worked};
use crate::figures::{Cause, JobMoney, PortionUnit, QuotedMoney, Shortfall, ShortfallPart};
use crate::input::{Index, JobRows};
use crate::labour::count;
use crate::materials::Basis;
use crate::promise::Promise;
use crate::span::sum_us;

/// Quoted and actual cost of one job, piece by piece.
#[derive(Debug)]
pub(crate) struct Account<'r> {
    job: JobKey,
    opening: Seq,
    agreed_minor: Option<i64>,
    standard: Standard<'r>,
    work: Vec<Worked<'r>>,
    goods: Vec<Costed>,
}

/// What a job took of one product in one unit, and its money.
#[derive(Debug, Default, PartialEq, Eq)]
pub(crate) struct ProductMoney {
    /// They add up to the job's `materials_minor`.
    pub(crate) cost_minor: i64,
    /// Part of it: its share of what was dumped.
    pub(crate) waste_minor: i64,
    /// They add up to the quoted materials, where something was quoted.
    pub(crate) allowance_minor: i64,
    pub(crate) no_price: bool,
}

impl ProductMoney {
    pub(crate) fn add(&mut self, other: &Self) {
        self.cost_minor = self.cost_minor.saturating_add(other.cost_minor);
        self.waste_minor = self.waste_minor.saturating_add(other.waste_minor);
        self.allowance_minor = self.allowance_minor.saturating_add(other.allowance_minor);
        self.no_price |= other.no_price;
    }
}

/// Money of one stage or product under one cause, before it is rounded.
#[derive(Debug, Default)]
struct Entry {
    fine: Fine,
    seqs: Vec<Seq>,
}

/// A stage (with its place in the order of work) or a product in one unit.
type Thing = (usize, Code, Option<PortionUnit>);

/// By cause and thing, in the order in which they are told.
type Entries = BTreeMap<(Cause, Thing), Entry>;

/// One side of the shortfall by cause: its amount, and its parts.
type Side = BTreeMap<Cause, (i64, Vec<ShortfallPart>)>;

impl<'r> Account<'r> {
    /// The account up to now; `None` without the opening of the job.
    pub(crate) fn of(
        index: &Index<'r>,
        catalogues: &'r Catalogues,
        rows: &'r JobRows<'r>,
    ) -> Option<Self> {
        let opened = rows.opened?;
        let standard = Standard::of(Promise::of(index, catalogues, opened));
        Some(Self {
            job: opened.job,
            opening: opened.seq,
            agreed_minor: standard.agreed_minor(),
            work: work::of_job(rows, catalogues, &standard),
            goods: goods::of_job(index, catalogues, rows, &standard),
            standard,
        })
    }

    /// The job's money; its quote only where something was quoted and a price
    /// is known.
    pub(crate) fn money(&self) -> JobMoney {
        let standard = &self.standard;
        let list_minor = standard.list_minor();
        let revenue_minor = self.agreed_minor.or(list_minor);
        let actual_us = sum_us(self.work.iter().map(|w| w.us));
        let sold_us = if standard.quoted {
            sum_us(standard.stages().iter().map(|s| s.allowance_us))
        } else {
            actual_us
        };
        let supplies_minor = standard.supplies_minor(self.work.iter().map(|w| w.stage));
        let overhead_minor = standard.overhead_minor(sold_us);
        let labour_minor = self.labour().rounded();
        let materials_minor = self.materials().rounded();
        let left = |sold: i64, labour: i64, materials: i64| {
            [labour, materials, supplies_minor, overhead_minor]
                .into_iter()
                .fold(sold, i64::saturating_sub)
        };
        let quoted = revenue_minor.filter(|_| standard.quoted).map(|revenue| {
            let labour_minor = self.quoted_labour().rounded();
            let materials_minor = self.quoted_materials().rounded();
            let list = list_minor.unwrap_or(revenue);
            QuotedMoney {
                labour_minor,
                materials_minor,
                contribution_minor: left(list, labour_minor, materials_minor),
            }
        });
        let hours = revenue_minor.map(|revenue| {
            let earned = revenue.saturating_sub(materials_minor);
            Fine::of_minor(earned).per_hour(actual_us)
        });
        JobMoney {
            revenue_minor,
            revenue_assumed: !standard.comeback
                && self.agreed_minor.is_none()
                && list_minor.is_some(),
            list_minor,
            labour_minor,
            materials_minor,
            supplies_minor,
            overhead_minor,
            contribution_minor: left(revenue_minor.unwrap_or(0), labour_minor, materials_minor),
            quoted,
            effective_hour_minor: hours.flatten(),
            labour_without_rate_us: sum_us(self.work.iter().map(|w| w.without_rate_us)),
            uses_without_price: count(self.goods.iter().filter(|g| g.no_price).count()),
            materials_unmeasured_minor: self.unmeasured_minor(),
            margin: standard.margin(),
        }
    }

    /// One shortfall for each cause, in order; none where nothing was quoted
    /// or no price is known. They add up to quoted − actual contribution.
    pub(crate) fn shortfalls(&self, money: &JobMoney) -> Vec<Shortfall> {
        let (Some(quoted), Some(revenue)) = (money.quoted, money.revenue_minor) else {
            return Vec::new();
        };
        let discount = money.list_minor.unwrap_or(revenue).saturating_sub(revenue);
        let over = |actual: i64, quoted: i64| actual.saturating_sub(quoted);
        let mut labour = self.side(
            over(money.labour_minor, quoted.labour_minor),
            &self.labour_entries(),
        );
        let mut materials = self.side(
            over(money.materials_minor, quoted.materials_minor),
            &self.material_entries(),
        );
        let shortfall = |cause| {
            let (labour_minor, mut parts) = labour.remove(&cause).unwrap_or_default();
            let (materials_minor, of_materials) = materials.remove(&cause).unwrap_or_default();
            parts.extend(of_materials);
            let mut amount_minor = labour_minor.saturating_add(materials_minor);
            if cause == Cause::DiscountGiven && discount != 0 {
                amount_minor = discount;
                let none = (0, Code::new(""), None);
                parts.push(self.part(&none, discount, vec![self.opening]));
            }
            Shortfall {
                cause,
                amount_minor,
                labour_minor,
                materials_minor,
                parts,
            }
        };
        Cause::ALL.into_iter().map(shortfall).collect()
    }

    /// What each stretch of work and declaration cost; they add up to the
    /// job's labour.
    pub(crate) fn work_costs(&self) -> impl Iterator<Item = (&Worked<'r>, i64)> {
        let fine: Vec<Fine> = self.work.iter().map(|w| w.actual).collect();
        self.work.iter().zip(shared(self.labour().rounded(), &fine))
    }

    /// What each thing taken cost; those of a product in one unit add up to
    /// its cost in [`Account::products`].
    pub(crate) fn goods_costs(&self) -> Vec<(&Costed, i64)> {
        let mut costs: Vec<(&Costed, i64)> = self.goods.iter().map(|costed| (costed, 0)).collect();
        for ((product, unit), money) in self.products() {
            let of_it: Vec<usize> = (0..costs.len())
                .filter(|at| {
                    let taken = &self.goods[*at].taken;
                    taken.product == product && taken.amount.unit == unit
                })
                .collect();
            let fine: Vec<Fine> = of_it.iter().map(|at| self.goods[*at].actual).collect();
            for (at, minor) in of_it.into_iter().zip(shared(money.cost_minor, &fine)) {
                costs[at].1 = minor;
            }
        }
        costs
    }

    /// Money of each product that the job took or was allowed, by unit.
    pub(crate) fn products(&self) -> BTreeMap<(Code, PortionUnit), ProductMoney> {
        #[derive(Default)]
        struct Tally {
            used: Fine,
            waste: Fine,
            allowed: Fine,
            no_price: bool,
        }
        let mut tallies: BTreeMap<(Code, PortionUnit), Tally> = BTreeMap::new();
        for ((product, unit), allowed) in self.standard.products() {
            tallies.entry((product.clone(), unit)).or_default().allowed = allowed.cost;
        }
        for costed in &self.goods {
            let taken = &costed.taken;
            let tally = tallies
                .entry((taken.product.clone(), taken.amount.unit))
                .or_default();
            let sum = if taken.waste {
                &mut tally.waste
            } else {
                &mut tally.used
            };
            *sum += costed.actual;
            tally.no_price |= costed.no_price;
        }
        let of = |fine: &dyn Fn(&Tally) -> Fine, whole: Fine| {
            let parts: Vec<Fine> = tallies.values().map(fine).collect();
            shared(whole.rounded(), &parts)
        };
        let costs = of(&|t| t.used + t.waste, self.materials());
        let allowed = of(&|t| t.allowed, self.quoted_materials());
        let money = tallies.values().zip(costs).zip(allowed);
        let money: Vec<ProductMoney> = money
            .map(|((tally, cost_minor), allowance_minor)| ProductMoney {
                cost_minor,
                waste_minor: shared(cost_minor, &[tally.used, tally.waste])[1],
                allowance_minor,
                no_price: tally.no_price,
            })
            .collect();
        tallies.into_keys().zip(money).collect()
    }

    fn labour(&self) -> Fine {
        self.work.iter().map(|w| w.actual).sum()
    }

    fn materials(&self) -> Fine {
        self.goods.iter().map(|g| g.actual).sum()
    }

    fn quoted_labour(&self) -> Fine {
        let stages = self.standard.stages().iter();
        stages
            .filter_map(|s| self.standard.labour(s.allowance_us))
            .sum()
    }

    fn quoted_materials(&self) -> Fine {
        self.standard.products().values().map(|a| a.cost).sum()
    }

    fn unmeasured_minor(&self) -> i64 {
        let measured = |g: &&Costed| g.taken.basis == Basis::Measured;
        let known: Fine = self.goods.iter().filter(measured).map(|g| g.actual).sum();
        let parts = [known, self.materials() - known];
        shared(self.materials().rounded(), &parts)[1]
    }

    fn labour_entries(&self) -> Entries {
        let mut entries = Entries::new();
        let stages = self.standard.stages();
        let thing = |stage: &Code| {
            let place = stages.iter().position(|s| s.stage == *stage);
            (place.unwrap_or(usize::MAX), stage.clone(), None)
        };
        for allowance in stages {
            let allowed = self.standard.labour(allowance.allowance_us);
            let key = (Cause::TookLonger, thing(&allowance.stage));
            let entry = entries.entry(key).or_default();
            entry.fine = entry.fine - allowed.unwrap_or_default();
        }
        for worked in &self.work {
            let cause = if worked.rework {
                Cause::Rework
            } else {
                Cause::TookLonger
            };
            let mut add = |cause, fine| {
                let entry = entries.entry((cause, thing(worked.stage))).or_default();
                entry.add(fine, &worked.seqs);
            };
            add(cause, worked.at_standard);
            add(Cause::PaidMorePerHour, worked.actual - worked.at_standard);
        }
        entries
    }

    fn material_entries(&self) -> Entries {
        let mut entries = Entries::new();
        for ((product, unit), allowed) in self.standard.products() {
            let key = (Cause::UsedMore, (0, product.clone(), Some(unit)));
            entries.entry(key).or_default().fine = Fine::ZERO - allowed.cost;
        }
        for costed in &self.goods {
            let taken = &costed.taken;
            let cause = if taken.rework {
                Cause::Rework
            } else if taken.waste {
                Cause::Waste
            } else {
                Cause::UsedMore
            };
            let mut add = |cause, fine| {
                let thing = (0, taken.product.clone(), Some(taken.amount.unit));
                entries
                    .entry((cause, thing))
                    .or_default()
                    .add(fine, &taken.seqs);
            };
            add(cause, costed.at_standard);
            add(Cause::PaidMoreForIt, costed.actual - costed.at_standard);
        }
        entries
    }

    /// Shares what one side is over, among its causes and then among the parts
    /// of each.
    fn side(&self, over_minor: i64, entries: &Entries) -> Side {
        let mut sums: BTreeMap<Cause, Fine> = BTreeMap::new();
        for ((cause, _), entry) in entries {
            *sums.entry(*cause).or_default() += entry.fine;
        }
        let fine: Vec<Fine> = sums.values().copied().collect();
        let amounts = shared(over_minor, &fine);
        // Sharing would hide a cause that was forgotten. Two roundings lie
        // between the whole and its parts, half a minor unit each.
        debug_assert!(
            fine.iter()
                .copied()
                .sum::<Fine>()
                .is_within_one_of(over_minor),
            "the causes are not what the job is over"
        );
        let mut side = Side::new();
        for (cause, amount) in sums.into_keys().zip(amounts) {
            let parts: Vec<(&Thing, &Entry)> = entries
                .iter()
                .filter(|((of, _), entry)| *of == cause && entry.fine != Fine::ZERO)
                .map(|((_, thing), entry)| (thing, entry))
                .collect();
            let fine: Vec<Fine> = parts.iter().map(|(_, entry)| entry.fine).collect();
            let parts = parts.into_iter().zip(shared(amount, &fine));
            let parts = parts.map(|((thing, entry), minor)| {
                let mut seqs = entry.seqs.clone();
                seqs.sort_unstable();
                seqs.dedup();
                if seqs.is_empty() {
                    // Allowed and not done: the opening froze the allowance.
                    seqs.push(self.opening);
                }
                self.part(thing, minor, seqs)
            });
            side.insert(cause, (amount, parts.collect()));
        }
        side
    }

    fn part(&self, thing: &Thing, amount_minor: i64, seqs: Vec<Seq>) -> ShortfallPart {
        let (_, code, unit) = thing;
        let empty = Code::new("");
        let (stage, product) = match unit {
            Some(_) => (empty, code.clone()),
            None => (code.clone(), empty),
        };
        ShortfallPart {
            job: self.job,
            stage,
            product,
            amount_minor,
            seqs,
        }
    }
}

impl Entry {
    fn add(&mut self, fine: Fine, seqs: &[Seq]) {
        self.fine += fine;
        self.seqs.extend_from_slice(seqs);
    }
}
