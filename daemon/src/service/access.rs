//! Letting devices in, cutting them off, and new certificates.

use baywright_proto::v1;
use baywright_proto::v1::access_service_server::AccessService;
use tonic::{Request, Response, Status};
use uuid::Uuid;

use super::{Services, status};
use crate::access::address::of_this_computer;
use crate::access::devices::{Device, Line, RoleWord};
use crate::access::{Caller, Kept, Via};

impl Services {
    fn kept(&self) -> Result<&Kept, Status> {
        self.access.kept().ok_or_else(status::not_initialised)
    }

    async fn let_a_device_in(
        &self,
        name: &str,
        role: RoleWord,
    ) -> Result<v1::EnrolResponse, Status> {
        let given = self
            .joining
            .enrol(name, role)
            .await
            .map_err(|error| status::of_enrol(&error))?;
        Ok(v1::EnrolResponse {
            code: given.code.to_string(),
            expires_us: given.expires_us,
            port: u32::from(given.port),
            addresses: match self.joining.address() {
                Some(address) => vec![address.to_string()],
                None => of_this_computer().iter().map(ToString::to_string).collect(),
            },
        })
    }

    fn let_a_user_in(
        &self,
        name: String,
        role: RoleWord,
        user_id: u32,
    ) -> Result<v1::EnrolResponse, Status> {
        let entry = Device {
            name,
            role,
            enrolment: Uuid::now_v7(),
            user_id: Some(user_id),
            enrolled_us: self.clock.now().0,
            expires_us: 0,
            cut_off_us: 0,
        };
        self.kept()?
            .devices
            .add(entry)
            .map_err(|error| status::of_access(&error))?;
        Ok(v1::EnrolResponse::default())
    }
}

#[tonic::async_trait]
impl AccessService for Services {
    async fn renew(
        &self,
        request: Request<v1::RenewRequest>,
    ) -> Result<Response<v1::RenewResponse>, Status> {
        let Some(Via::Certificate { device, enrolment }) =
            request.extensions().get::<Caller>().map(|c| c.via.clone())
        else {
            return Err(status::no_caller());
        };
        let kept = self.kept()?;
        let signing_request = request.into_inner().signing_request;
        let issued = kept
            .authority
            .sign(&signing_request, &device, enrolment, self.clock.now())
            .map_err(|error| status::bad_signing_request(&error))?;
        kept.devices
            .renewed(enrolment, issued.expires_us)
            .map_err(|error| status::of_access(&error))?;
        tracing::info!(%device, "a device has a new certificate");
        Ok(Response::new(v1::RenewResponse {
            certificate: issued.certificate,
            expires_us: issued.expires_us,
        }))
    }

    async fn enrol(
        &self,
        request: Request<v1::EnrolRequest>,
    ) -> Result<Response<v1::EnrolResponse>, Status> {
        let request = request.into_inner();
        let role = RoleWord::of(request.role());
        let role = role.ok_or_else(|| {
            status::bad_field("role", "no role was given", "set bay, owner or viewer")
        })?;
        let answer = match request.user_id {
            Some(user_id) => self.let_a_user_in(request.device, role, user_id)?,
            None => self.let_a_device_in(&request.device, role).await?,
        };
        Ok(Response::new(answer))
    }

    async fn list_devices(
        &self,
        _request: Request<v1::ListDevicesRequest>,
    ) -> Result<Response<v1::ListDevicesResponse>, Status> {
        let lines = self.kept()?.devices.lines();
        Ok(Response::new(v1::ListDevicesResponse {
            devices: lines.into_iter().map(line).collect(),
        }))
    }

    async fn cut_off(
        &self,
        request: Request<v1::CutOffRequest>,
    ) -> Result<Response<v1::CutOffResponse>, Status> {
        let device = request.into_inner().device;
        let connections = self
            .kept()?
            .devices
            .cut_off(&device, self.clock.now().0)
            .map_err(|error| status::of_access(&error))?;
        tracing::warn!(device, connections, "a device was cut off");
        Ok(Response::new(v1::CutOffResponse { connections }))
    }
}

/// A line of the list as it is sent.
pub(crate) fn line(line: Line) -> v1::DeviceLine {
    let Line {
        device,
        connections,
        seen_us,
    } = line;
    v1::DeviceLine {
        role: v1::Role::from(device.role).into(),
        device: device.name,
        user_id: device.user_id,
        enrolled_us: device.enrolled_us,
        expires_us: device.expires_us,
        seen_us,
        connections,
        cut_off_us: device.cut_off_us,
    }
}
