//! Quotes of the invented shop: most vehicles were quoted on the telephone a
//! day before they came, and some that were quoted never came.

use baywright_proto::v1;
use baywright_proto::v1::fact::Kind;
use baywright_terms::code::Code;
use baywright_terms::time::{HOUR_US, MINUTE_US, Micros};
use rand::RngExt as _;

use super::Floor;
use crate::shop::truth::{self, chance};
use crate::shop::{Happening, Manner, OfQuote};

/// Why a customer said no.
const NO: [&str; 4] = [
    "too dear",
    "went elsewhere",
    "wants to wait until spring",
    "sold the vehicle",
];

impl Floor<'_> {
    /// The quote of a vehicle that comes in at `at`, most times.
    pub(super) fn quoted(&mut self, job: usize, opened: &v1::JobOpened, at: Micros) {
        if !chance(&mut self.office, 75) {
            return;
        }
        let asked = v1::QuoteAsked {
            job_type: opened.job_type.clone(),
            vehicle: opened.vehicle.clone(),
            grades: opened.grades,
            ..Default::default()
        };
        let quote = OfQuote {
            index: self.quotes,
            agreed_percent: match self.office.random_range(0..100) {
                0..14 => self.office.random_range(88..97),
                _ => 100,
            },
        };
        self.quotes += 1;
        // On the first day there is no yesterday: they stand at the door.
        let before = at.saturating_sub(24 * HOUR_US);
        let said = if self.first.is_some_and(|first| before > first) {
            before
        } else {
            at.saturating_sub(4 * MINUTE_US)
        };
        self.office_says(said, Some(job), quote, drafted(asked));
        let agreed = Micros(at.0 - 2 * MINUTE_US);
        let yes = Kind::QuoteAccepted(v1::QuoteAccepted::default());
        self.office_says(agreed, Some(job), quote, yes);
        if let Some(vehicle) = self.jobs.get_mut(job) {
            vehicle.quote = Some(quote);
        }
    }

    /// Now and then somebody asks and does not come.
    pub(super) fn asked_in_vain(&mut self, opens: Micros) {
        if !chance(&mut self.office, 30) {
            return;
        }
        let types: Vec<Code> = self.catalogue.job_types.keys().cloned().collect();
        let Some(job_type) = types.get(self.office.random_range(0..types.len().max(1))) else {
            return;
        };
        let mut grade = |from| self.office.random_range(from..=4_u32);
        let grades = v1::Grades {
            soil: grade(2),
            defects: grade(2),
            intricacy: grade(3),
        };
        let asked = v1::QuoteAsked {
            job_type: job_type.to_string(),
            vehicle: truth::words(&mut self.office, job_type.as_str()),
            grades: Some(grades),
            unseen: chance(&mut self.office, 50),
            ..Default::default()
        };
        let quote = OfQuote {
            index: self.quotes,
            agreed_percent: 0,
        };
        self.quotes += 1;
        let at = Micros(opens.0 + self.office.random_range(20..240) * MINUTE_US);
        self.office_says(at, None, quote, drafted(asked));
        // Some never answer.
        if chance(&mut self.office, 70) {
            let no = Kind::QuoteDeclined(v1::QuoteDeclined {
                reason: NO[self.office.random_range(0..NO.len())].to_owned(),
                ..Default::default()
            });
            let later = Micros(at.0 + self.office.random_range(1..50) * HOUR_US);
            self.office_says(later, None, quote, no);
        }
    }

    fn office_says(&mut self, at: Micros, job: Option<usize>, quote: OfQuote, kind: Kind) {
        self.happenings.push(Happening {
            at,
            bay: self.bays.len(),
            by: Vec::new(),
            job,
            quote: Some(quote),
            kind,
            manner: Manner::Online,
        });
    }
}

/// What it printed is the daemon's to say.
fn drafted(asked: v1::QuoteAsked) -> Kind {
    Kind::QuoteDrafted(v1::QuoteDrafted {
        asked: Some(asked),
        ..Default::default()
    })
}
