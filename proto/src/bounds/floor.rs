//! Bounds of what a bay says.

use super::{Check, NAMED_MAX, NOTE_BYTES_MAX, PACKS_MAX, SECTIONS_MAX};
use crate::v1::fact::Kind;
use crate::v1::{self, settled};

impl Check {
    pub(super) fn floor(&mut self, kind: &Kind) {
        match kind {
            Kind::JobOpened(said) => {
                self.code("fact.job_opened.job_type", &said.job_type);
                self.words("fact.job_opened.vehicle", &said.vehicle);
                self.code("fact.job_opened.vehicle_class", &said.vehicle_class);
                self.panels("fact.job_opened.panels", &said.panels);
                self.code("fact.job_opened.handle", &said.handle);
                self.money("fact.job_opened.agreed", said.agreed.as_ref());
                self.job("fact.job_opened.comeback_of", said.comeback_of.as_ref());
                self.id("fact.job_opened.quote_event_id", &said.quote_event_id);
            }
            Kind::JobMoved(said) => self.code("fact.job_moved.place", &said.place),
            Kind::StageStarted(said) => {
                self.code("fact.stage_started.stage", &said.stage);
                self.codes("fact.stage_started.panels", &said.panels);
            }
            Kind::StagePaused(said) => {
                self.code("fact.stage_paused.stage", &said.stage);
                self.words("fact.stage_paused.reason", &said.reason);
            }
            Kind::StageResumed(said) => self.code("fact.stage_resumed.stage", &said.stage),
            Kind::StageFinished(said) => self.code("fact.stage_finished.stage", &said.stage),
            Kind::StageDeclared(said) => {
                self.code("fact.stage_declared.stage", &said.stage);
                self.duration("fact.stage_declared.about_us", said.about_us);
            }
            Kind::DwellStarted(said) => {
                self.code("fact.dwell_started.product", &said.product);
                self.codes("fact.dwell_started.panels", &said.panels);
            }
            Kind::DwellEnded(said) => {
                self.code("fact.dwell_ended.product", &said.product);
                self.codes("fact.dwell_ended.panels", &said.panels);
            }
            Kind::Noted(said) => {
                self.bytes("fact.noted.text", &said.text, NOTE_BYTES_MAX);
                self.id("fact.noted.set_aside_event_id", &said.set_aside_event_id);
            }
            Kind::StruckOut(said) => {
                self.id("fact.struck_out.event_id", &said.event_id);
                self.words("fact.struck_out.reason", &said.reason);
            }
            Kind::Settled(said) => self.settled(said),
            _ => self.goods_and_panels(kind),
        }
    }

    fn goods_and_panels(&mut self, kind: &Kind) {
        match kind {
            Kind::MixMade(said) => {
                self.code("fact.mix_made.product", &said.product);
                self.ratio("fact.mix_made.ratio", said.ratio.as_ref());
                self.amount("fact.mix_made.volume", said.volume.as_ref());
                let field = "fact.mix_made.additions";
                self.count(field, said.additions.len(), NAMED_MAX);
                for addition in &said.additions {
                    self.code(field, &addition.product);
                    self.amount(field, addition.amount.as_ref());
                }
            }
            Kind::MixDumped(said) => {
                self.code("fact.mix_dumped.product", &said.product);
                self.id("fact.mix_dumped.mix_event_id", &said.mix_event_id);
                self.amount("fact.mix_dumped.amount", said.amount.as_ref());
            }
            Kind::ProductUsed(said) => self.used(said),
            Kind::ProductRefilled(said) => {
                self.code("fact.product_refilled.product", &said.product);
                self.amount("fact.product_refilled.amount", said.amount.as_ref());
                self.code("fact.product_refilled.lot", &said.lot);
            }
            Kind::PanelCoated(said) => {
                self.code("fact.panel_coated.panel", &said.panel);
                self.at_most("fact.panel_coated.section", said.section, SECTIONS_MAX);
                self.code("fact.panel_coated.product", &said.product);
                self.code("fact.panel_coated.lot", &said.lot);
                self.at_most("fact.panel_coated.layer", said.layer, SECTIONS_MAX);
            }
            Kind::PanelLevelled(said) => {
                self.code("fact.panel_levelled.panel", &said.panel);
                self.at_most("fact.panel_levelled.section", said.section, SECTIONS_MAX);
            }
            Kind::PanelLamp(said) => {
                self.code("fact.panel_lamp.panel", &said.panel);
                self.duration("fact.panel_lamp.duration_us", said.duration_us);
            }
            Kind::PanelCured(said) => self.code("fact.panel_cured.panel", &said.panel),
            Kind::SurfaceCovered(said) => {
                self.code("fact.surface_covered.finish", &said.finish);
                self.code("fact.surface_covered.panel", &said.panel);
            }
            Kind::FlawFound(said) => {
                self.code("fact.flaw_found.panel", &said.panel);
                self.words("fact.flaw_found.flaw", &said.flaw);
                self.words("fact.flaw_found.photo", &said.photo);
            }
            Kind::FlawRemedied(said) => {
                self.code("fact.flaw_remedied.panel", &said.panel);
                self.words("fact.flaw_remedied.flaw", &said.flaw);
                self.id("fact.flaw_remedied.flaw_event_id", &said.flaw_event_id);
            }
            Kind::StockReceived(said) => {
                self.code("fact.stock_received.product", &said.product);
                self.at_most("fact.stock_received.packs", said.packs, PACKS_MAX);
                self.amount("fact.stock_received.pack", said.pack.as_ref());
                self.money("fact.stock_received.price", said.price.as_ref());
                self.code("fact.stock_received.lot", &said.lot);
            }
            Kind::StockCounted(said) => {
                self.code("fact.stock_counted.product", &said.product);
                self.amount("fact.stock_counted.amount", said.amount.as_ref());
            }
            _ => {}
        }
    }

    fn used(&mut self, said: &v1::ProductUsed) {
        self.code("fact.product_used.product", &said.product);
        match &said.quantity {
            Some(v1::product_used::Quantity::Amount(amount)) => {
                self.amount("fact.product_used.amount", Some(amount));
            }
            Some(v1::product_used::Quantity::Weighing(weighing)) => {
                self.amount("fact.product_used.weighing", weighing.before.as_ref());
                self.amount("fact.product_used.weighing", weighing.after.as_ref());
            }
            None => {}
        }
        self.code("fact.product_used.lot", &said.lot);
        self.codes("fact.product_used.panels", &said.panels);
    }

    fn settled(&mut self, said: &v1::Settled) {
        self.id("fact.settled.event_id", &said.event_id);
        self.words("fact.settled.reason", &said.reason);
        self.code("fact.settled.question", &said.question);
        self.words("fact.settled.of", &said.of);
        match &said.answer {
            Some(settled::Answer::EndUs(us)) => self.instant("fact.settled.end_us", *us),
            Some(settled::Answer::TookUs(us)) => self.duration("fact.settled.took_us", *us),
            Some(settled::Answer::Code(code)) => self.code("fact.settled.code", code),
            Some(settled::Answer::Job(job)) => self.job("fact.settled.job", Some(job)),
            _ => {}
        }
    }
}
