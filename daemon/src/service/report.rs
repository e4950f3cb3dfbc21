//! Figures worked out of the log. Every rule behind them is in `report`; this translates.

use baywright_proto::v1;
use baywright_proto::v1::report_service_server::ReportService;
use tonic::{Request, Response, Status};

use super::Services;

#[tonic::async_trait]
impl ReportService for Services {
    async fn week(
        &self,
        _request: Request<v1::WeekRequest>,
    ) -> Result<Response<v1::WeekResponse>, Status> {
        Err(Status::unimplemented("the week comes with the facts"))
    }

    async fn job(
        &self,
        _request: Request<v1::JobRequest>,
    ) -> Result<Response<v1::JobResponse>, Status> {
        Err(Status::unimplemented("the story comes with the facts"))
    }

    async fn odd(
        &self,
        _request: Request<v1::OddRequest>,
    ) -> Result<Response<v1::OddResponse>, Status> {
        Err(Status::unimplemented("odd records come with the facts"))
    }
}
