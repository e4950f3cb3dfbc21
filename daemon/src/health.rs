//! The standard health and reflection services.

use baywright_proto::DESCRIPTORS;
use baywright_proto::v1::floor_service_server::FloorServiceServer;
use baywright_proto::v1::intake_service_server::IntakeServiceServer;
use baywright_proto::v1::quote_service_server::QuoteServiceServer;
use baywright_proto::v1::report_service_server::ReportServiceServer;
use tokio::sync::watch;
use tonic::server::NamedService;
use tonic::service::Routes;
use tonic_health::ServingStatus;
use tonic_health::server::HealthReporter;

use crate::journal::follow::Standing;
use crate::journal::writer::Heads;
use crate::service::Services;

/// The server as a whole, in the standard health protocol.
const WHOLE: &str = "";

const INTAKE: &str = <IntakeServiceServer<Services> as NamedService>::NAME;
const FLOOR: &str = <FloorServiceServer<Services> as NamedService>::NAME;
const QUOTE: &str = <QuoteServiceServer<Services> as NamedService>::NAME;
const REPORT: &str = <ReportServiceServer<Services> as NamedService>::NAME;

/// Tells the standard health service how the daemon is.
#[derive(Debug, Clone)]
pub(crate) struct Health(HealthReporter);

impl Health {
    /// Serving means: a post is appended, a question answered.
    pub(crate) async fn follow(&self, heads: &Heads) {
        let appends = heads.read_only.is_none() && !heads.closed;
        let answers = heads.facts == Standing::Following;
        self.set(WHOLE, appends).await;
        self.set(INTAKE, appends).await;
        self.set(FLOOR, answers).await;
        self.set(QUOTE, answers).await;
        self.set(REPORT, answers).await;
    }

    /// No new calls, please.
    pub(crate) async fn stopping(&self) {
        for service in [WHOLE, INTAKE, FLOOR, QUOTE, REPORT] {
            self.set(service, false).await;
        }
    }

    async fn set(&self, service: &str, serving: bool) {
        let status = if serving {
            ServingStatus::Serving
        } else {
            ServingStatus::NotServing
        };
        self.0.set_service_status(service, status).await;
    }
}

/// Adds health and reflection to the services.
pub(crate) async fn with_health(
    routes: Routes,
    heads: &watch::Receiver<Heads>,
) -> (Health, Routes) {
    let (reporter, service) = tonic_health::server::health_reporter();
    let health = Health(reporter);
    let now = heads.borrow().clone();
    health.follow(&now).await;
    let mut routes = routes.add_service(service);
    let reflection = tonic_reflection::server::Builder::configure()
        .register_encoded_file_descriptor_set(DESCRIPTORS)
        .register_encoded_file_descriptor_set(tonic_health::pb::FILE_DESCRIPTOR_SET)
        .build_v1();
    match reflection {
        Ok(reflection) => routes = routes.add_service(reflection),
        // Only a convenience for people who look at the wire.
        Err(error) => tracing::warn!(%error, "reflection is not served"),
    }
    (health, routes)
}
