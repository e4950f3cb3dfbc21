//! Quotes and what was learned. Every rule behind them is in `report`; this
//! asks the facts and the learner, and picks the status of what cannot be answered.

use std::sync::Arc;

use baywright_proto::v1;
use baywright_proto::v1::quote_service_server::QuoteService;
use baywright_report::quote::SuggestError;
use tonic::{Code, Request, Response, Status};

use super::Services;
use super::status::{self, reason};
use crate::facts::reader::FactsReader;
use crate::facts::{FactsError, KEYS_MAX, QuoteError};

#[tonic::async_trait]
impl QuoteService for Services {
    async fn suggest(
        &self,
        request: Request<v1::SuggestRequest>,
    ) -> Result<Response<v1::SuggestResponse>, Status> {
        let asked = request.into_inner();
        let now = self.clock.now();
        let learner = Arc::clone(&self.learner);
        let answer = self
            .quote(move |facts| facts.suggest(&learner, &asked, now))
            .await?;
        Ok(Response::new(answer))
    }

    async fn list_quotes(
        &self,
        request: Request<v1::ListQuotesRequest>,
    ) -> Result<Response<v1::ListQuotesResponse>, Status> {
        let asked = request.into_inner();
        if v1::QuoteState::try_from(asked.state).is_err() {
            return Err(status::bad_field(
                "state",
                format!("no state has the number {}", asked.state),
                "ask for open, accepted, declined or run out; 0 is all",
            ));
        }
        let now = self.clock.now();
        let quotes = self
            .reads
            .facts(move |facts| facts.quotes(&asked, now))
            .await?;
        Ok(Response::new(quotes))
    }

    async fn show_quote(
        &self,
        request: Request<v1::ShowQuoteRequest>,
    ) -> Result<Response<v1::ShowQuoteResponse>, Status> {
        let asked = request.into_inner();
        let now = self.clock.now();
        let quote = self
            .quote(move |facts| facts.quote(asked.quote.as_ref(), now))
            .await?;
        Ok(Response::new(v1::ShowQuoteResponse { quote: Some(quote) }))
    }

    async fn learned(
        &self,
        request: Request<v1::LearnedRequest>,
    ) -> Result<Response<v1::LearnedResponse>, Status> {
        let asked = request.into_inner();
        let now = self.clock.now();
        let learner = Arc::clone(&self.learner);
        let learned = self
            .quote(move |facts| facts.learned(&learner, &asked, now))
            .await?;
        Ok(Response::new(learned))
    }

    async fn honesty(
        &self,
        request: Request<v1::HonestyRequest>,
    ) -> Result<Response<v1::HonestyResponse>, Status> {
        let asked = request.into_inner();
        let now = self.clock.now();
        let learner = Arc::clone(&self.learner);
        let ask = move |facts: &FactsReader| facts.honesty(&learner, &asked, now);
        Ok(Response::new(self.reads.facts(ask).await?))
    }

    async fn ahead(
        &self,
        request: Request<v1::AheadRequest>,
    ) -> Result<Response<v1::AheadResponse>, Status> {
        let asked = request.into_inner();
        let now = self.clock.now();
        let ask = move |facts: &FactsReader| facts.ahead(asked, now);
        Ok(Response::new(self.reads.facts(ask).await?))
    }

    async fn past_known(
        &self,
        request: Request<v1::PastKnownRequest>,
    ) -> Result<Response<v1::PastKnownResponse>, Status> {
        let keys = request.into_inner().keys;
        if keys.len() > KEYS_MAX {
            return Err(status::bad_field(
                "keys",
                format!(
                    "{} keys in one question, the most is {KEYS_MAX}",
                    keys.len()
                ),
                "ask in parts",
            ));
        }
        let known = self
            .reads
            .facts(move |facts| facts.past_known(&keys))
            .await?;
        Ok(Response::new(known))
    }
}

impl Services {
    /// Asks about quotes; what is wrong with the question becomes its status.
    async fn quote<T: Send + 'static>(
        &self,
        ask: impl FnOnce(&FactsReader) -> Result<T, QuoteError> + Send + 'static,
    ) -> Result<T, Status> {
        let answered = self
            .reads
            .facts(move |facts| match ask(facts) {
                Ok(answer) => Ok(Ok(answer)),
                Err(QuoteError::Facts(error)) => Err::<_, FactsError>(error),
                Err(unanswerable) => Ok(Err(unanswerable)),
            })
            .await?;
        answered.map_err(|error| refused(&error))
    }
}

fn refused(error: &QuoteError) -> Status {
    let told = || error.to_string();
    let not_found =
        |reason, mend: &str| status::of(Code::NotFound, reason, format!("{error}; {mend}"));
    match error {
        QuoteError::Facts(facts) => status::internal("reading the quotes", facts),
        QuoteError::NoQuoteNamed => status::bad_field(
            "quote",
            told(),
            "give its number; `bay quote list` shows them",
        ),
        QuoteError::NoSuchQuote { .. } | QuoteError::QuoteStruck { .. } => not_found(
            reason::NO_SUCH_QUOTE,
            "`bay quote list` shows the quotes there are",
        ),
        QuoteError::NoTypeNamed | QuoteError::Unsorted => status::bad_field(
            "asked.job_type",
            told(),
            "name a job type of the catalogue, or a job that it is like",
        ),
        QuoteError::NoSuchType { .. } => not_found(
            reason::NO_SUCH_JOB_TYPE,
            "`bay catalogue` shows the types there are",
        ),
        QuoteError::NoSuchStage { .. } => not_found(
            reason::NO_SUCH_STAGE,
            "`bay catalogue` shows the stages there are",
        ),
        QuoteError::StageNotOfType { .. } => status::bad_field(
            "asked.without_stages",
            told(),
            "leave out stages that the type has",
        ),
        QuoteError::NoJobNamed => status::bad_field(
            "addition_to",
            told(),
            "give the number of a job that is here",
        ),
        QuoteError::NoSuchJob { .. } => not_found(
            reason::NO_SUCH_JOB,
            "`bay now` shows the jobs that are here",
        ),
        QuoteError::JobReleased { .. } => status::of(
            Code::FailedPrecondition,
            reason::JOB_NOT_OPEN,
            format!("{error}; make a quote of its own for the next visit"),
        ),
        QuoteError::NothingAdded => status::bad_field(
            "asked.with_stages",
            told(),
            "name the stages that the job is to get",
        ),
        QuoteError::Suggest(error) => not_quoted(error),
        QuoteError::Bad { field, mend, .. } => status::bad_field(field, told(), mend),
    }
}

fn not_quoted(error: &SuggestError) -> Status {
    let nothing = |mend: &str| {
        status::of(
            Code::FailedPrecondition,
            reason::NOTHING_TO_QUOTE,
            format!("{error}; {mend}"),
        )
    };
    match error {
        SuggestError::NoSuchType { .. } => {
            status::of(Code::NotFound, reason::NO_SUCH_JOB_TYPE, error.to_string())
        }
        SuggestError::NoSuchStage { .. } => {
            status::of(Code::NotFound, reason::NO_SUCH_STAGE, error.to_string())
        }
        SuggestError::NoAllowance { .. } => {
            nothing("give it an allowance on a job type in the catalogue")
        }
        SuggestError::NoStages { .. } => nothing("give the type stages, or add some"),
        SuggestError::NotLearned => status::internal("working the quote out", error),
    }
}
