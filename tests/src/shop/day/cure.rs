//! How a vehicle leaves: it cures in its bay or in holding, then it is released,
//! with a word on the stages that nobody recorded.

use baywright_proto::v1;
use baywright_proto::v1::fact::Kind;
use baywright_terms::time::{HOUR_US, MINUTE_US, Micros, SECOND_US};
use rand::RngExt as _;

use super::{AtWork, Curing, Floor, minutes};

/// Hours that a coated vehicle stays dry before it may leave, where the label says nothing.
const DRY_H: i64 = 24;

impl Floor<'_> {
    /// Vehicles whose cure is over leave in the morning.
    pub(super) fn let_go(&mut self, bay: usize, opens: Micros) {
        let (ready, rest): (Vec<_>, Vec<_>) = std::mem::take(&mut self.curing)
            .into_iter()
            .partition(|c| c.bay == bay && c.dry_at <= Micros(opens.0 + 2 * HOUR_US));
        self.curing = rest;
        for curing in ready {
            let minute = self.rng.random_range(5..60);
            let at = Micros((opens.0 + minute * MINUTE_US).max(curing.dry_at.0 + 5 * MINUTE_US));
            self.release(at, &curing);
        }
    }

    fn release(&mut self, at: Micros, curing: &Curing) {
        let job = Some(curing.work.job);
        for (stage, labour_us) in &curing.work.unrecorded {
            let (declaration, about_us) = match self.rng.random_range(0..10) {
                0..6 => (
                    v1::Declaration::DoneAbout,
                    minutes(*labour_us) / 5 * 5 * MINUTE_US,
                ),
                6..8 => (v1::Declaration::Unknown, 0),
                // Left for the owner to settle.
                _ => continue,
            };
            let kind = Kind::StageDeclared(v1::StageDeclared {
                stage: stage.to_string(),
                declaration: declaration.into(),
                about_us,
            });
            self.say(Micros(at.0 - 30 * SECOND_US), curing.bay, &[], job, kind);
        }
        self.say(
            at,
            curing.bay,
            &[],
            job,
            Kind::JobReleased(v1::JobReleased {}),
        );
    }

    /// All stages done: the vehicle cures, in the bay overnight or in holding.
    pub(super) fn leave_to_cure(
        &mut self,
        bay: usize,
        work: AtWork,
        at: Micros,
        closes: Micros,
    ) -> Micros {
        let coated = self
            .catalogue
            .job_types
            .get(&work.job_type)
            .is_some_and(|t| t.stages.iter().any(|s| s.stage.as_str() == "coat"));
        if !coated {
            let gone = Micros(at.0 + 12 * MINUTE_US);
            self.release(
                gone,
                &Curing {
                    work,
                    bay,
                    dry_at: at,
                },
            );
            return gone;
        }
        let stays = at.0 > closes.0 - 150 * MINUTE_US;
        if !stays {
            let kind = Kind::JobMoved(v1::JobMoved {
                place: "holding".into(),
            });
            self.say(Micros(at.0 + 8 * MINUTE_US), bay, &[], Some(work.job), kind);
        }
        self.curing.push(Curing {
            work,
            bay,
            dry_at: Micros(at.0 + DRY_H * HOUR_US),
        });
        Micros(at.0 + 10 * MINUTE_US)
    }
}
