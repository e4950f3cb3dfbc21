//! What the fake knows of quotes: past jobs that were posted, and what a test
//! lets it have learned.

use std::collections::BTreeSet;

use baywright_proto::v1;
use baywright_proto::v1::fact::Kind;
use baywright_proto::v1::quote_service_server::QuoteService;
use tonic::{Request, Response, Status};

use super::{Fake, Held};

impl Held {
    /// Keys of the past jobs in the order in which they came.
    pub(crate) fn past_keys(&self) -> Vec<Vec<u8>> {
        self.past()
            .flat_map(|recorded| recorded.jobs.iter().map(|job| job.key.clone()))
            .collect()
    }

    pub(crate) fn past(&self) -> impl Iterator<Item = &v1::PastRecorded> {
        self.facts.iter().filter_map(|fact| match &fact.kind {
            Some(Kind::PastRecorded(recorded)) => Some(recorded),
            _ => None,
        })
    }
}

fn not_here<T>() -> Result<Response<T>, Status> {
    Err(Status::unimplemented("not of this fake"))
}

#[tonic::async_trait]
impl QuoteService for Fake {
    async fn suggest(
        &self,
        _: Request<v1::SuggestRequest>,
    ) -> Result<Response<v1::SuggestResponse>, Status> {
        not_here()
    }

    async fn list_quotes(
        &self,
        _: Request<v1::ListQuotesRequest>,
    ) -> Result<Response<v1::ListQuotesResponse>, Status> {
        not_here()
    }

    async fn show_quote(
        &self,
        _: Request<v1::ShowQuoteRequest>,
    ) -> Result<Response<v1::ShowQuoteResponse>, Status> {
        not_here()
    }

    async fn learned(
        &self,
        request: Request<v1::LearnedRequest>,
    ) -> Result<Response<v1::LearnedResponse>, Status> {
        let wanted = request.into_inner().job_type;
        let mut learned = self.held.lock().unwrap().learned.clone();
        learned
            .types
            .retain(|of| wanted.is_empty() || of.job_type == wanted);
        Ok(Response::new(learned))
    }

    async fn honesty(
        &self,
        request: Request<v1::HonestyRequest>,
    ) -> Result<Response<v1::HonestyResponse>, Status> {
        let retraced = request.into_inner().retrace.then(|| v1::Honesty {
            jobs: 3,
            ..v1::Honesty::default()
        });
        Ok(Response::new(v1::HonestyResponse {
            printed: None,
            retraced,
        }))
    }

    async fn ahead(
        &self,
        _: Request<v1::AheadRequest>,
    ) -> Result<Response<v1::AheadResponse>, Status> {
        not_here()
    }

    async fn past_known(
        &self,
        request: Request<v1::PastKnownRequest>,
    ) -> Result<Response<v1::PastKnownResponse>, Status> {
        let held: BTreeSet<Vec<u8>> = self.held.lock().unwrap().past_keys().into_iter().collect();
        let mut known = request.into_inner().keys;
        known.retain(|key| held.contains(key));
        Ok(Response::new(v1::PastKnownResponse { known }))
    }
}
