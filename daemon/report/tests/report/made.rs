//! Rows of an invented shop, made by hand.

use baywright_floor::catalogues::Catalogues;
use baywright_floor::event::{EventId, JobKey, Seq};
use baywright_floor::fact::{Declaration, Grades};
use baywright_floor::notice::Notice;
use baywright_floor::row::{
    Ended, HandsOn, JobOpenedRow, MixMadeRow, NoticeRow, Presence, Row, UseRow, Waiting,
    WaitingKind,
};
use baywright_report::Input;
use baywright_report::figures::Week;
use baywright_terms::amount::{Amount, Decimal, Nanolitres, Quantity, Unit};
use baywright_terms::catalogue::{
    Bay, Catalogue, JobType, Product, ProductAllowance, Shop, ShopCosts, Source, StageAllowance,
    UnitSystem,
};
use baywright_terms::code::Code;
use baywright_terms::hours::OpenHours;
use baywright_terms::time::{HOUR_US, MINUTE_US, Micros};
use jiff::civil::DateTime;
use jiff::tz::TimeZone;

pub(crate) const ZONE: &str = "Europe/Berlin";
/// Before everything that these shops do.
pub(crate) const EVER: Micros = Micros(0);

pub(crate) fn zone() -> TimeZone {
    TimeZone::get(ZONE).unwrap()
}

/// A civil time in the shop's zone, for example `2026-11-23T08:00`.
pub(crate) fn at(civil: &str) -> Micros {
    let civil: DateTime = civil.parse().unwrap();
    Micros(zone().to_timestamp(civil).unwrap().as_microsecond())
}

pub(crate) fn job(n: u8) -> JobKey {
    EventId([n; 16])
}

pub(crate) fn code(text: &str) -> Code {
    Code::new(text)
}

pub(crate) fn hours(hours: i64) -> i64 {
    hours * HOUR_US
}

pub(crate) fn minutes(minutes: i64) -> i64 {
    minutes * MINUTE_US
}

pub(crate) fn ml(ml: i64) -> Amount {
    amount(ml, Unit::Ml)
}

pub(crate) fn amount(digits: i64, unit: Unit) -> Amount {
    Amount {
        decimal: Decimal { digits, scale: 0 },
        unit,
    }
}

/// Monday to Friday, eight to five, and early Sunday, when clocks change.
pub(crate) fn opening() -> Vec<OpenHours> {
    let weekdays = (1..=5).map(|weekday| OpenHours {
        weekday,
        from_min: 8 * 60,
        until_min: 17 * 60,
    });
    let sunday = OpenHours {
        weekday: 7,
        from_min: 60,
        until_min: 5 * 60,
    };
    weekdays.chain([sunday]).collect()
}

pub(crate) fn shop() -> Catalogue {
    Catalogue {
        shop: Some(Shop {
            name: "Quay Row (invented)".into(),
            zone: ZONE.into(),
            currency: "EUR".into(),
            units: UnitSystem::Metric,
            open: opening(),
            breaks: Vec::new(),
            soil_grades: Vec::new(),
            defects_grades: Vec::new(),
            intricacy_grades: Vec::new(),
            costs: ShopCosts::default(),
        }),
        ..Catalogue::default()
    }
}

pub(crate) fn bay(places: u32) -> Bay {
    Bay {
        name: String::new(),
        places,
        retired: false,
    }
}

pub(crate) fn product(density_micro_g_per_ml: Option<i64>) -> Product {
    Product {
        name: String::new(),
        kind: String::new(),
        pack: None,
        pack_price: None,
        density_micro_g_per_ml,
        ratio: None,
        dwell_shortest_us: None,
        dwell_longest_us: None,
        unmetered: false,
        level_from_us: None,
        level_until_us: None,
        water_safe_us: None,
        full_cure_us: None,
        surface_lowest: None,
        surface_highest: None,
        rules: Vec::new(),
        sds: String::new(),
        caution: String::new(),
        source: Source::Unmarked,
        lead_us: None,
        open_life_us: None,
        retired: false,
    }
}

pub(crate) fn job_type(stages: &[(&str, i64)], products: &[(&str, Amount)]) -> JobType {
    JobType {
        name: String::new(),
        vehicle_class: code("trike"),
        stages: stages
            .iter()
            .map(|(stage, allowance_us)| StageAllowance {
                stage: code(stage),
                allowance_us: *allowance_us,
                source: Source::Guess,
            })
            .collect(),
        products: products
            .iter()
            .map(|(product, amount)| ProductAllowance {
                product: code(product),
                amount: *amount,
                source: Source::Guess,
            })
            .collect(),
        panels: Vec::new(),
        price: None,
        retired: false,
    }
}

/// Rows as they are made, and the catalogue they stand under.
#[derive(Debug)]
pub(crate) struct Made {
    pub(crate) rows: Vec<Row>,
    pub(crate) catalogues: Catalogues,
    pub(crate) as_of: Micros,
    seq: u64,
}

impl Made {
    pub(crate) fn new(catalogue: Catalogue) -> Self {
        let mut made = Self {
            rows: Vec::new(),
            catalogues: Catalogues::default(),
            as_of: at("2027-06-01T00:00"),
            seq: 0,
        };
        made.set(EVER, catalogue);
        made
    }

    fn seq(&mut self) -> Seq {
        self.seq += 1;
        Seq(self.seq)
    }

    fn event(&self) -> EventId {
        let mut id = [0xEE; 16];
        id[..8].copy_from_slice(&self.seq.to_be_bytes());
        EventId(id)
    }

    pub(crate) fn set(&mut self, from: Micros, changed: Catalogue) {
        let seq = self.seq();
        self.catalogues
            .add(from, from, seq, self.event(), changed, None);
    }

    pub(crate) fn input(&self) -> Input<'_> {
        Input {
            rows: &self.rows,
            catalogues: &self.catalogues,
            as_of: self.as_of,
            as_of_seq: Seq(self.seq),
            log_from: Some(EVER),
            log_until: Some(self.as_of),
        }
    }

    /// The ISO week that begins on a Monday, for example `2026-11-23`.
    pub(crate) fn week(&self, monday: &str) -> Week {
        let (from, until) = week_of(monday);
        baywright_report::week(&self.input(), monday, from, until)
    }

    pub(crate) fn open(&mut self, n: u8, job_type: &str, opened: &str) {
        self.open_again(n, job_type, opened, None);
    }

    pub(crate) fn open_again(&mut self, n: u8, job_type: &str, opened: &str, of: Option<u8>) {
        let seq = self.seq();
        self.rows.push(Row::JobOpened(JobOpenedRow {
            quote: None,
            job: job(n),
            seq,
            number: Some(100 + u64::from(n)),
            handle: String::new(),
            opened: at(opened),
            job_type: code(job_type),
            vehicle: "red three-wheeler".into(),
            vehicle_class: code("trike"),
            grades: Grades::default(),
            panels: Vec::new(),
            comeback_of: of.map(job),
            agreed_minor: None,
        }));
    }

    pub(crate) fn release(&mut self, n: u8, released: &str) {
        let seq = self.seq();
        self.rows.push(Row::JobReleased {
            job: job(n),
            at: at(released),
            seq,
        });
    }

    pub(crate) fn stay(&mut self, n: u8, place: &str, from: Micros, until: Option<Micros>) {
        let seq = self.seq();
        self.rows.push(Row::Presence(Presence {
            job: job(n),
            place: code(place),
            from,
            until,
            seq_from: seq,
            seq_until: None,
        }));
    }

    pub(crate) fn work(&mut self, n: u8, stage: &str, from: Micros, us: i64) {
        self.work_as(n, stage, "ana", "bay-1", from, us, Ended::Done, false);
    }

    #[allow(clippy::too_many_arguments, reason = "one for each column of the row")]
    pub(crate) fn work_as(
        &mut self,
        n: u8,
        stage: &str,
        worker: &str,
        bay: &str,
        from: Micros,
        us: i64,
        ended: Ended,
        rework: bool,
    ) {
        let seq = self.seq();
        self.rows.push(Row::HandsOn(HandsOn {
            job: job(n),
            stage: code(stage),
            run: self.event(),
            worker: code(worker),
            bay: code(bay),
            from,
            until: Micros(from.0 + us),
            ended,
            reason: String::new(),
            rework,
            seq_from: seq,
            seq_until: None,
        }));
    }

    pub(crate) fn wait(&mut self, n: u8, from: Micros, until: Option<Micros>) {
        let seq = self.seq();
        self.rows.push(Row::Waiting(Waiting {
            job: job(n),
            kind: WaitingKind::Dwell,
            product: code("iron-remover"),
            panel: code(""),
            from,
            until,
            seq_from: seq,
            seq_until: None,
        }));
    }

    pub(crate) fn declare(&mut self, n: u8, stage: &str, declaration: Declaration) {
        let seq = self.seq();
        self.rows.push(Row::Declared {
            job: job(n),
            stage: code(stage),
            declaration,
            seq,
        });
    }

    pub(crate) fn mix(&mut self, product: &str, volume: i64, concentrate: i64) -> EventId {
        self.mix_with(product, volume, concentrate, Vec::new())
    }

    pub(crate) fn mix_with(
        &mut self,
        product: &str,
        volume: i64,
        concentrate: i64,
        additions: Vec<(Code, Quantity)>,
    ) -> EventId {
        let seq = self.seq();
        let mix = self.event();
        self.rows.push(Row::MixMade(MixMadeRow {
            mix,
            seq,
            at: EVER,
            bay: code("bay-1"),
            product: code(product),
            volume: Nanolitres(volume),
            concentrate: Nanolitres(concentrate),
            additions,
        }));
        mix
    }

    pub(crate) fn dump(&mut self, mix: EventId, volume: i64, when: &str) {
        let seq = self.seq();
        self.rows.push(Row::MixDumped {
            mix,
            volume: Nanolitres(volume),
            at: at(when),
            seq,
        });
    }

    pub(crate) fn used(
        &mut self,
        n: Option<u8>,
        product: &str,
        when: &str,
        quantity: Option<Quantity>,
        mix: Option<EventId>,
    ) -> Seq {
        let seq = self.seq();
        self.rows.push(Row::Use(UseRow {
            event: self.event(),
            seq,
            at: at(when),
            job: n.map(job),
            stage: code(""),
            bay: code("bay-1"),
            product: code(product),
            quantity,
            mix,
            lot: String::new(),
            panels: Vec::new(),
            rework: false,
        }));
        seq
    }

    pub(crate) fn notice(&mut self, n: Option<u8>, when: &str, notice: Notice, settled: bool) {
        let seq = self.seq();
        self.rows.push(Row::Notice(NoticeRow {
            event: self.event(),
            seq,
            at: at(when),
            bay: code("bay-1"),
            job: n.map(job),
            notice,
            settled,
        }));
    }
}

/// First instant of the ISO week that begins on a Monday, and of the next one.
pub(crate) fn week_of(monday: &str) -> (Micros, Micros) {
    let day: jiff::civil::Date = monday.parse().unwrap();
    let midnight = |day: jiff::civil::Date| {
        let at = zone().to_timestamp(day.at(0, 0, 0, 0)).unwrap();
        Micros(at.as_microsecond())
    };
    let next = day.checked_add(jiff::Span::new().days(7)).unwrap();
    (midnight(day), midnight(next))
}
