//! The catalogue in force.

use baywright_proto::catalogue::{to_wire, without_prices};
use baywright_proto::v1;
use baywright_proto::v1::catalogue_service_server::CatalogueService;
use baywright_terms::time::Micros;
use tonic::{Request, Response, Status};

use super::Services;
use super::intake::caller;

#[tonic::async_trait]
impl CatalogueService for Services {
    async fn get_catalogue(
        &self,
        request: Request<v1::GetCatalogueRequest>,
    ) -> Result<Response<v1::GetCatalogueResponse>, Status> {
        let role = caller(&request)?.role;
        let v1::GetCatalogueRequest {
            at_us,
            held_revision,
        } = request.into_inner();
        let at = match at_us {
            0 => self.clock.now(),
            at_us => Micros(at_us),
        };
        let (revision, catalogue) = self.reads.facts(move |facts| facts.catalogue(at)).await?;
        let held = revision != 0 && revision == held_revision;
        Ok(Response::new(v1::GetCatalogueResponse {
            revision,
            catalogue: (!held).then(|| {
                let mut wire = to_wire(&catalogue);
                if role == v1::Role::Bay {
                    without_prices(&mut wire);
                }
                wire
            }),
        }))
    }
}
