//! The gRPC services. They translate; the floor decides, the writer stores.

pub mod access;
pub mod calls;
pub mod catalogue;
pub mod export;
pub mod floor;
pub mod hello;
pub mod intake;
pub mod limits;
pub mod quote;
pub mod reads;
pub mod report;
pub mod status;

use std::sync::Arc;

use baywright_proto::v1::access_service_server::AccessServiceServer;
use baywright_proto::v1::catalogue_service_server::CatalogueServiceServer;
use baywright_proto::v1::export_service_server::ExportServiceServer;
use baywright_proto::v1::floor_service_server::FloorServiceServer;
use baywright_proto::v1::hello_service_server::HelloServiceServer;
use baywright_proto::v1::intake_service_server::IntakeServiceServer;
use baywright_proto::v1::quote_service_server::QuoteServiceServer;
use baywright_proto::v1::report_service_server::ReportServiceServer;
use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;
use tonic::service::Routes;

use crate::access::Access;
use crate::access::joining::Joining;
use crate::clock::Clock;
use crate::journal::Meta;
use crate::journal::post::FACT_BYTES_MAX;
use crate::journal::writer::Writer;
use crate::learner::Learner;
use limits::Limits;
use reads::Reads;

/// Largest message a bay may send, bytes: the largest fact and what is around it.
const POST_BYTES_MAX: usize = FACT_BYTES_MAX + 64 * 1024;

/// Largest question, bytes: they are a few numbers and words.
pub(crate) const QUESTION_BYTES_MAX: usize = 64 * 1024;

/// What every service holds.
#[derive(Debug, Clone)]
pub struct Services {
    pub(crate) writer: Writer,
    pub(crate) reads: Reads,
    /// What was learned, at the head.
    pub(crate) learner: Arc<Learner>,
    pub(crate) clock: Arc<dyn Clock>,
    pub(crate) meta: Meta,
    /// Who was let in.
    pub(crate) access: Access,
    pub(crate) joining: Joining,
    pub(crate) limits: Limits,
    /// Cancelled when the daemon stops: streams end then, with a status.
    pub(crate) stop: CancellationToken,
    /// Streams that still have to end.
    pub(crate) streams: TaskTracker,
}

impl Services {
    /// The services as routes of a server; health and reflection are added by the caller.
    pub fn routes(&self) -> Routes {
        Routes::new(
            IntakeServiceServer::new(self.clone()).max_decoding_message_size(POST_BYTES_MAX),
        )
        .add_service(
            AccessServiceServer::new(self.clone()).max_decoding_message_size(QUESTION_BYTES_MAX),
        )
        .add_service(
            HelloServiceServer::new(self.clone()).max_decoding_message_size(QUESTION_BYTES_MAX),
        )
        .add_service(
            FloorServiceServer::new(self.clone()).max_decoding_message_size(QUESTION_BYTES_MAX),
        )
        .add_service(
            CatalogueServiceServer::new(self.clone()).max_decoding_message_size(QUESTION_BYTES_MAX),
        )
        .add_service(
            ReportServiceServer::new(self.clone()).max_decoding_message_size(QUESTION_BYTES_MAX),
        )
        .add_service(
            QuoteServiceServer::new(self.clone()).max_decoding_message_size(QUESTION_BYTES_MAX),
        )
        .add_service(
            ExportServiceServer::new(self.clone()).max_decoding_message_size(QUESTION_BYTES_MAX),
        )
    }
}
