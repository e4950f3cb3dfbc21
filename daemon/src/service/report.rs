//! Figures worked out of the log. Every rule behind them is in `report`; this
//! asks the facts and picks the status of what cannot be answered.

use std::sync::Arc;

use baywright_proto::v1;
use baywright_proto::v1::report_service_server::ReportService;
use baywright_report::WindowError;
use tonic::{Code, Request, Response, Status};

use super::Services;
use super::status::{self, reason};
use crate::facts::reader::FactsReader;
use crate::facts::{FactsError, ReportError};

#[tonic::async_trait]
impl ReportService for Services {
    async fn week(
        &self,
        request: Request<v1::WeekRequest>,
    ) -> Result<Response<v1::WeekResponse>, Status> {
        let asked = request.into_inner();
        let now = self.clock.now();
        let learner = Arc::clone(&self.learner);
        let week = self
            .report(move |facts| facts.week(&learner, &asked, now))
            .await?;
        Ok(Response::new(v1::WeekResponse { week: Some(week) }))
    }

    async fn job(
        &self,
        request: Request<v1::JobRequest>,
    ) -> Result<Response<v1::JobResponse>, Status> {
        let asked = request.into_inner();
        let now = self.clock.now();
        let story = self.report(move |facts| facts.job(&asked, now)).await?;
        Ok(Response::new(v1::JobResponse { story: Some(story) }))
    }

    async fn odd(
        &self,
        request: Request<v1::OddRequest>,
    ) -> Result<Response<v1::OddResponse>, Status> {
        let all = request.into_inner().all;
        let now = self.clock.now();
        let odd = self.reads.facts(move |facts| facts.odd(all, now)).await?;
        Ok(Response::new(odd))
    }

    async fn why(
        &self,
        request: Request<v1::WhyRequest>,
    ) -> Result<Response<v1::WhyResponse>, Status> {
        let asked = request.into_inner();
        let now = self.clock.now();
        let why = self.report(move |facts| facts.why(&asked, now)).await?;
        Ok(Response::new(v1::WhyResponse { why: Some(why) }))
    }

    async fn stock(
        &self,
        request: Request<v1::StockRequest>,
    ) -> Result<Response<v1::StockResponse>, Status> {
        let asked = request.into_inner();
        let now = self.clock.now();
        let ask = move |facts: &FactsReader| facts.stock(&asked, now);
        Ok(Response::new(self.reads.facts(ask).await?))
    }

    async fn lot(
        &self,
        request: Request<v1::LotRequest>,
    ) -> Result<Response<v1::LotResponse>, Status> {
        let asked = request.into_inner();
        let now = self.clock.now();
        let ask = move |facts: &FactsReader| facts.lot(&asked, now);
        Ok(Response::new(self.reads.facts(ask).await?))
    }

    async fn own(
        &self,
        request: Request<v1::OwnRequest>,
    ) -> Result<Response<v1::OwnResponse>, Status> {
        // Nobody but the owner is known yet: nothing listens beyond the
        // loopback, and that is the owner's until there are roles.
        let asked = request.into_inner();
        let now = self.clock.now();
        let own = self.report(move |facts| facts.own(&asked, now)).await?;
        Ok(Response::new(own))
    }
}

impl Services {
    /// Asks for a report; what is wrong with the question becomes its status.
    async fn report<T: Send + 'static>(
        &self,
        ask: impl FnOnce(&FactsReader) -> Result<T, ReportError> + Send + 'static,
    ) -> Result<T, Status> {
        let answered = self
            .reads
            .facts(move |facts| match ask(facts) {
                Ok(report) => Ok(Ok(report)),
                Err(ReportError::Facts(error)) => Err::<_, FactsError>(error),
                Err(unanswerable) => Ok(Err(unanswerable)),
            })
            .await?;
        answered.map_err(|error| refused(&error))
    }
}

fn refused(error: &ReportError) -> Status {
    match error {
        ReportError::Facts(facts) => status::internal("reading the figures", facts),
        ReportError::Span(wrong) => {
            let (field, mend) = match wrong {
                WindowError::NotAWeek { .. } => ("week", "for example 2026-W48"),
                WindowError::NotADate { .. } => ("from_date", "for example 2026-11-23"),
                WindowError::Reversed { .. } => ("to_date", "give the earlier date first"),
                WindowError::WeeksAndDates => ("week", "give weeks or dates, not both"),
                WindowError::TooManyWeeks { .. } => ("weeks", "ask for fewer weeks"),
                WindowError::TooManyDays { .. } => ("from_date", "ask for a shorter span"),
            };
            status::bad_field(field, error.to_string(), mend)
        }
        ReportError::NoSuchRow(_) => status::bad_field(
            "id",
            error.to_string(),
            "ids stand beside the rows of `bay week`; they belong to its span",
        ),
        ReportError::NoWorkerNamed => {
            status::bad_field("worker", error.to_string(), "give the worker's code")
        }
        ReportError::NoSuchWorker { .. } => status::bad_field(
            "worker",
            error.to_string(),
            "give a worker's code from the catalogue",
        ),
        ReportError::NoJobNamed => {
            status::bad_field("job", error.to_string(), "give its number or its handle")
        }
        ReportError::NoSuchJob { .. } => {
            status::of(Code::NotFound, reason::NO_SUCH_JOB, error.to_string())
        }
    }
}
