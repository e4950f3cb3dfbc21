//! Bounds of what the office says: quotes, the catalogue, jobs of the past.

use super::{Check, DECIMAL_BYTES_MAX, ENTRIES_MAX, NAMED_MAX, PAST_JOBS_MAX};
use crate::v1;
use crate::v1::fact::Kind;

impl Check {
    pub(super) fn quote(&mut self, fact: &v1::Fact) {
        match &fact.kind {
            Some(Kind::QuoteDrafted(said)) => {
                self.asked("fact.quote_drafted.asked", said.asked.as_ref());
                self.printed("fact.quote_drafted.printed", said.printed.as_ref());
            }
            Some(Kind::QuoteRevised(said)) => {
                self.id("fact.quote_revised.quote_event_id", &said.quote_event_id);
                self.asked("fact.quote_revised.asked", said.asked.as_ref());
                self.printed("fact.quote_revised.printed", said.printed.as_ref());
                self.words("fact.quote_revised.reason", &said.reason);
            }
            Some(Kind::QuoteAccepted(said)) => {
                self.id("fact.quote_accepted.quote_event_id", &said.quote_event_id);
                self.money("fact.quote_accepted.agreed", said.agreed.as_ref());
                self.money("fact.quote_accepted.suggested", said.suggested.as_ref());
                self.words("fact.quote_accepted.reason", &said.reason);
                self.code("fact.quote_accepted.planned_date", &said.planned_date);
            }
            Some(Kind::QuoteDeclined(said)) => {
                self.id("fact.quote_declined.quote_event_id", &said.quote_event_id);
                self.words("fact.quote_declined.reason", &said.reason);
            }
            _ => {}
        }
    }

    fn asked(&mut self, field: &'static str, asked: Option<&v1::QuoteAsked>) {
        let Some(asked) = asked else { return };
        self.code(field, &asked.job_type);
        self.words(field, &asked.vehicle);
        self.code(field, &asked.vehicle_class);
        self.panels(field, &asked.panels);
        self.codes(field, &asked.without_stages);
        self.codes(field, &asked.with_stages);
        self.words(field, &asked.customer);
    }

    fn printed(&mut self, field: &'static str, printed: Option<&v1::QuotePrinted>) {
        let Some(said) = printed else { return };
        self.code(field, &said.currency);
        self.code(field, &said.model_version);
        for us in [
            said.hands_on_half_us,
            said.hands_on_p80_us,
            said.hands_on_mean_us,
            said.hands_on_p80_error_us,
            said.bay_half_us,
            said.bay_p80_us,
            said.waiting_half_us,
        ] {
            self.duration(field, us);
        }
        for minor in [
            said.labour_minor,
            said.materials_minor,
            said.supplies_minor,
            said.overhead_minor,
            said.cost_minor,
            said.cost_half_minor,
            said.cost_p80_minor,
            said.price_minor,
            said.price_from_minor,
            said.price_to_minor,
            said.list_minor,
        ] {
            self.minor(field, minor);
        }
        self.instant(field, said.valid_until_us);
        self.count(field, said.stages.len(), NAMED_MAX);
        for stage in &said.stages {
            self.code(field, &stage.stage);
            for us in [
                stage.allowance_us,
                stage.half_us,
                stage.p80_us,
                stage.quoted_us,
            ] {
                self.duration(field, us);
            }
        }
        self.count(field, said.products.len(), NAMED_MAX);
        for product in &said.products {
            self.code(field, &product.product);
            self.code(field, &product.unit);
            self.amount(field, product.quoted.as_ref());
            self.minor(field, product.cost_minor);
            for figure in [product.allowance, product.half, product.p80] {
                self.finite(field, figure);
            }
        }
        self.count(field, said.likes.len(), NAMED_MAX);
        for like in &said.likes {
            self.words(field, &like.vehicle);
            self.code(field, &like.job_type);
            self.duration(field, like.hands_on_us);
            self.instant(field, like.released_us);
        }
    }

    pub(super) fn past(&mut self, past: &v1::PastRecorded) {
        self.words("fact.past_recorded.source", &past.source);
        let field = "fact.past_recorded.jobs";
        self.count(field, past.jobs.len(), PAST_JOBS_MAX);
        for job in &past.jobs {
            self.id(field, &job.key);
            self.code(field, &job.date);
            self.code(field, &job.job_type);
            self.words(field, &job.vehicle);
            self.code(field, &job.vehicle_class);
            self.duration(field, job.quoted_us);
            self.duration(field, job.actual_us);
            self.money(field, job.price.as_ref());
            self.count(field, job.stages.len(), NAMED_MAX);
            for stage in &job.stages {
                self.code(field, &stage.stage);
                self.code(field, &stage.worker);
                self.duration(field, stage.quoted_us);
                self.duration(field, stage.actual_us);
            }
            self.count(field, job.uses.len(), NAMED_MAX);
            for used in &job.uses {
                self.code(field, &used.product);
                self.amount(field, used.amount.as_ref());
            }
        }
    }

    pub(super) fn catalogue(&mut self, set: &v1::CatalogueSet) {
        self.instant("fact.catalogue_set.valid_from_us", set.valid_from_us);
        let Some(changed) = &set.changed else { return };
        let field = "fact.catalogue_set.changed";
        for entries in [
            changed.bays.len(),
            changed.workers.len(),
            changed.products.len(),
            changed.stages.len(),
            changed.job_types.len(),
        ] {
            self.count(field, entries, ENTRIES_MAX);
        }
        if let Some(shop) = &changed.shop {
            self.shop(field, shop);
        }
        for bay in &changed.bays {
            self.code(field, &bay.code);
            self.words(field, &bay.name);
        }
        for worker in &changed.workers {
            self.code(field, &worker.code);
            self.words(field, &worker.name);
            self.minor(field, worker.rate_minor);
        }
        for stage in &changed.stages {
            self.code(field, &stage.code);
            self.words(field, &stage.name);
            self.words(field, &stage.caution);
            self.minor(field, stage.supplies_minor);
            self.rules(field, &stage.rules);
        }
        for product in &changed.products {
            self.product(field, product);
        }
        for job_type in &changed.job_types {
            self.job_type(field, job_type);
        }
    }

    fn shop(&mut self, field: &'static str, shop: &v1::Shop) {
        self.words(field, &shop.name);
        for code in [&shop.zone, &shop.currency, &shop.units] {
            self.code(field, code);
        }
        for grades in [
            &shop.soil_grades,
            &shop.defects_grades,
            &shop.intricacy_grades,
        ] {
            self.count(field, grades.len(), NAMED_MAX);
            for sentence in grades {
                self.words(field, sentence);
            }
        }
        self.count(field, shop.open.len(), NAMED_MAX);
        self.count(field, shop.breaks.len(), NAMED_MAX);
        self.duration(field, shop.quote_valid_us);
        for minor in [shop.standard_rate_minor, shop.overhead_per_hour_minor] {
            self.minor(field, minor);
        }
    }

    fn rules(&mut self, field: &'static str, rules: &[v1::SurfaceRule]) {
        self.count(field, rules.len(), NAMED_MAX);
        for rule in rules {
            self.code(field, &rule.finish);
            self.words(field, &rule.why);
        }
    }

    fn product(&mut self, field: &'static str, product: &v1::Product) {
        self.code(field, &product.code);
        self.rules(field, &product.rules);
        for words in [&product.name, &product.kind, &product.sds, &product.caution] {
            self.words(field, words);
        }
        self.amount(field, product.pack.as_ref());
        self.money(field, product.pack_price.as_ref());
        self.bytes(field, &product.density_g_per_ml, DECIMAL_BYTES_MAX);
        self.ratio(field, product.ratio.as_ref());
        for us in [
            product.dwell_shortest_us,
            product.dwell_longest_us,
            product.level_from_us,
            product.level_until_us,
            product.water_safe_us,
            product.full_cure_us,
            product.lead_us,
            product.open_life_us,
        ] {
            self.duration(field, us);
        }
    }

    fn job_type(&mut self, field: &'static str, job_type: &v1::JobType) {
        self.code(field, &job_type.code);
        self.words(field, &job_type.name);
        self.code(field, &job_type.vehicle_class);
        self.money(field, job_type.price.as_ref());
        self.panels(field, &job_type.panels);
        self.count(field, job_type.stages.len(), NAMED_MAX);
        for stage in &job_type.stages {
            self.code(field, &stage.stage);
            self.duration(field, stage.allowance_us);
        }
        self.count(field, job_type.products.len(), NAMED_MAX);
        for product in &job_type.products {
            self.code(field, &product.product);
            self.amount(field, product.amount.as_ref());
        }
    }
}
