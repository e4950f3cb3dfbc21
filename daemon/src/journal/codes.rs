//! Codes that a person just mistyped: found while the person still waits.
//! What arrives late is kept whatever its codes are.

use baywright_proto::json::uuid_text;
use baywright_proto::v1::{self, fact::Kind, job_ref::Job};
use baywright_terms::catalogue::{Catalogue, UNSORTED, is_no_bay};
use baywright_terms::code::{Code, nearest};

use super::post::named;
use super::refusal::{Named, UnknownCode};

/// Lists the codes of a fact that the catalogue does not have. A table without
/// entries is not asked: on the first day there is no catalogue.
///
/// `known` tells whether the log has a job or quote.
///
/// # Errors
/// Whatever `known` fails with.
pub(super) fn unknown_codes<E>(
    fact: &v1::Fact,
    catalogue: &Catalogue,
    mut known: impl FnMut(InLog<'_>) -> Result<bool, E>,
) -> Result<Vec<UnknownCode>, E> {
    let mut check = Check {
        catalogue,
        unknown: Vec::new(),
    };
    check.code("fact.bay", Named::Bay, &fact.bay);
    for worker in &fact.by {
        check.code("fact.by", Named::Worker, worker);
    }
    if let Some(kind) = &fact.kind {
        check.kind(kind);
    }
    let mut unknown = check.unknown;
    for (field, job) in jobs(fact) {
        if let Some(Job::Number(number)) = named(job)
            && !known(InLog::Job(*number))?
        {
            unknown.push(UnknownCode {
                field: field.to_owned(),
                what: Named::Job,
                code: number.to_string(),
                nearest: Vec::new(),
            });
        }
    }
    if let Some((field, quote)) = quote(fact)
        && !known(InLog::Quote(quote))?
    {
        unknown.push(UnknownCode {
            field: field.to_owned(),
            what: Named::Quote,
            code: uuid_text(quote),
            nearest: Vec::new(),
        });
    }
    Ok(unknown)
}

/// What a fact names that only the log knows.
#[derive(Debug, Clone, Copy)]
pub(super) enum InLog<'a> {
    /// By its number.
    Job(u64),
    /// By the id of its quote_drafted.
    Quote(&'a [u8]),
}

/// The quote that a fact decides on, prints again or opens a job with.
fn quote(fact: &v1::Fact) -> Option<(&'static str, &[u8])> {
    let (field, id) = match fact.kind.as_ref()? {
        Kind::QuoteRevised(said) => ("fact.quote_revised.quote_event_id", &said.quote_event_id),
        Kind::QuoteAccepted(said) => ("fact.quote_accepted.quote_event_id", &said.quote_event_id),
        Kind::QuoteDeclined(said) => ("fact.quote_declined.quote_event_id", &said.quote_event_id),
        Kind::JobOpened(said) => ("fact.job_opened.quote_event_id", &said.quote_event_id),
        _ => return None,
    };
    (!id.is_empty()).then_some((field, id.as_slice()))
}

/// Every place where a fact names a job.
fn jobs(fact: &v1::Fact) -> [(&'static str, Option<&v1::JobRef>); 2] {
    let second = match &fact.kind {
        Some(Kind::JobOpened(opened)) => (
            "fact.job_opened.comeback_of.number",
            opened.comeback_of.as_ref(),
        ),
        Some(Kind::Settled(settled)) => match &settled.answer {
            Some(v1::settled::Answer::Job(job)) => ("fact.settled.job.number", Some(job)),
            _ => ("fact.settled.job.number", None),
        },
        _ => ("fact.job.number", None),
    };
    [("fact.job.number", fact.job.as_ref()), second]
}

struct Check<'a> {
    catalogue: &'a Catalogue,
    unknown: Vec<UnknownCode>,
}

impl Check<'_> {
    /// Notes a code that is not in its table; an empty code is left to the fold.
    fn code(&mut self, field: &str, what: Named, text: &str) {
        if text.is_empty() {
            return;
        }
        let catalogue = self.catalogue;
        let code = Code::new(text);
        let (known, none) = match what {
            Named::Bay => (
                catalogue.bays.contains_key(&code),
                catalogue.bays.is_empty(),
            ),
            Named::Worker => (
                catalogue.workers.contains_key(&code),
                catalogue.workers.is_empty(),
            ),
            Named::Product => (
                catalogue.products.contains_key(&code),
                catalogue.products.is_empty(),
            ),
            Named::Stage => (
                catalogue.stages.contains_key(&code),
                catalogue.stages.is_empty(),
            ),
            Named::JobType => (
                text == UNSORTED || catalogue.job_types.contains_key(&code),
                catalogue.job_types.is_empty(),
            ),
            Named::Job | Named::Quote => (true, true),
        };
        if known || none {
            return;
        }
        self.unknown.push(UnknownCode {
            field: field.to_owned(),
            what,
            code: text.to_owned(),
            nearest: nearest(text, table(catalogue, what).into_iter())
                .into_iter()
                .map(str::to_owned)
                .collect(),
        });
    }

    /// Codes of quotes and past jobs.
    fn office(&mut self, kind: &Kind) {
        use Named::{JobType, Product, Stage};
        let asked =
            |asked: &Option<v1::QuoteAsked>| asked.as_ref().map(|asked| asked.job_type.clone());
        match kind {
            Kind::QuoteDrafted(f) => {
                let job_type = asked(&f.asked).unwrap_or_default();
                self.code("fact.quote_drafted.asked.job_type", JobType, &job_type);
            }
            Kind::QuoteRevised(f) => {
                let job_type = asked(&f.asked).unwrap_or_default();
                self.code("fact.quote_revised.asked.job_type", JobType, &job_type);
            }
            Kind::PastRecorded(f) => {
                for job in &f.jobs {
                    self.code("fact.past_recorded.jobs.job_type", JobType, &job.job_type);
                    for stage in &job.stages {
                        self.code("fact.past_recorded.jobs.stages.stage", Stage, &stage.stage);
                    }
                    for used in &job.uses {
                        self.code(
                            "fact.past_recorded.jobs.uses.product",
                            Product,
                            &used.product,
                        );
                    }
                }
            }
            _ => {}
        }
    }

    fn kind(&mut self, kind: &Kind) {
        use Named::{Bay, JobType, Product, Stage};
        match kind {
            Kind::JobOpened(f) => self.code("fact.job_opened.job_type", JobType, &f.job_type),
            Kind::JobMoved(f) if !is_no_bay(&f.place) => {
                self.code("fact.job_moved.place", Bay, &f.place);
            }
            Kind::StageStarted(f) => self.code("fact.stage_started.stage", Stage, &f.stage),
            Kind::StagePaused(f) => self.code("fact.stage_paused.stage", Stage, &f.stage),
            Kind::StageResumed(f) => self.code("fact.stage_resumed.stage", Stage, &f.stage),
            Kind::StageFinished(f) => self.code("fact.stage_finished.stage", Stage, &f.stage),
            Kind::StageDeclared(f) => self.code("fact.stage_declared.stage", Stage, &f.stage),
            Kind::DwellStarted(f) => self.code("fact.dwell_started.product", Product, &f.product),
            Kind::DwellEnded(f) => self.code("fact.dwell_ended.product", Product, &f.product),
            Kind::MixMade(f) => {
                self.code("fact.mix_made.product", Product, &f.product);
                for addition in &f.additions {
                    self.code(
                        "fact.mix_made.additions.product",
                        Product,
                        &addition.product,
                    );
                }
            }
            Kind::MixDumped(f) => self.code("fact.mix_dumped.product", Product, &f.product),
            Kind::ProductUsed(f) => self.code("fact.product_used.product", Product, &f.product),
            Kind::ProductRefilled(f) => {
                self.code("fact.product_refilled.product", Product, &f.product);
            }
            Kind::PanelCoated(f) => self.code("fact.panel_coated.product", Product, &f.product),
            Kind::StockReceived(f) => {
                self.code("fact.stock_received.product", Product, &f.product);
            }
            Kind::StockCounted(f) => self.code("fact.stock_counted.product", Product, &f.product),
            Kind::QuoteDrafted(_) | Kind::QuoteRevised(_) | Kind::PastRecorded(_) => {
                self.office(kind);
            }
            _ => {}
        }
    }
}

/// The codes of one table that are still in use: a hint offers no retired one.
fn table(catalogue: &Catalogue, what: Named) -> Vec<&str> {
    match what {
        Named::Bay => codes(&catalogue.bays, |bay| bay.retired),
        Named::Worker => codes(&catalogue.workers, |worker| worker.retired),
        Named::Product => codes(&catalogue.products, |product| product.retired),
        Named::Stage => codes(&catalogue.stages, |stage| stage.retired),
        Named::JobType => codes(&catalogue.job_types, |job_type| job_type.retired),
        Named::Job | Named::Quote => Vec::new(),
    }
}

fn codes<T>(
    entries: &std::collections::BTreeMap<Code, T>,
    retired: impl Fn(&T) -> bool,
) -> Vec<&str> {
    entries
        .iter()
        .filter(|(_, entry)| !retired(entry))
        .map(|(code, _)| code.as_str())
        .collect()
}
