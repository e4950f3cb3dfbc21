//! First words: who speaks which protocol, and what the daemon holds.

use baywright_proto::v1::hello_service_server::HelloService;
use baywright_proto::{PROTOCOL_HIGHEST, PROTOCOL_LOWEST, v1};
use tonic::{Code, Request, Response, Status};

use super::Services;
use super::intake::caller;
use super::status::{self, reason};
use crate::backup::noted;
use crate::journal::{JournalError, LogReader};

/// The build as it calls itself.
pub const BUILD: &str = concat!("baywrightd ", env!("CARGO_PKG_VERSION"));

#[tonic::async_trait]
impl HelloService for Services {
    async fn hello(
        &self,
        request: Request<v1::HelloRequest>,
    ) -> Result<Response<v1::HelloResponse>, Status> {
        let caller = caller(&request)?;
        let request = request.into_inner();
        speaks_our_protocol(&request)?;
        let device = match caller.device() {
            // What is held is held under the name in its certificate.
            Some(device) if !request.device.is_empty() => device.to_owned(),
            _ => request.device,
        };
        let numbers = if device.is_empty() {
            Numbers::default()
        } else {
            let (data_dir, meta) = (self.reads.data_dir().to_owned(), self.meta);
            let backed_up = move || noted::backed_up_seq(&data_dir, &meta);
            self.reads
                .log(move |log| Numbers::of(log, &device, backed_up()))
                .await?
        };
        let heads = self.reads.heads();
        Ok(Response::new(v1::HelloResponse {
            protocol_lowest: PROTOCOL_LOWEST,
            protocol_highest: PROTOCOL_HIGHEST,
            build: BUILD.to_owned(),
            log_id: self.meta.log_id.to_vec(),
            epoch: self.meta.epoch,
            held_device_seq: numbers.held,
            head_seq: heads.log_seq,
            now_us: self.clock.now().0,
            catalogue_revision: heads.catalogue_revision,
            backed_up_device_seq: numbers.backed_up,
            restored_device_seq: numbers.restored,
        }))
    }
}

/// The numbers of one device that matter to it; 0: none.
#[derive(Debug, Clone, Copy, Default)]
struct Numbers {
    held: u64,
    backed_up: u64,
    restored: u64,
}

impl Numbers {
    fn of(log: &LogReader, device: &str, backed_up_seq: u64) -> Result<Self, JournalError> {
        let restored_seq = log.restored()?.map_or(0, |restored| restored.seq);
        Ok(Self {
            held: log.held_device_seq(device)?,
            backed_up: log.device_seq_up_to(device, backed_up_seq)?,
            restored: log.device_seq_up_to(device, restored_seq)?,
        })
    }
}

/// A caller that names no range only asks what is spoken here.
fn speaks_our_protocol(request: &v1::HelloRequest) -> Result<(), Status> {
    let (lowest, highest) = (request.protocol_lowest, request.protocol_highest);
    if highest == 0 || (lowest <= PROTOCOL_HIGHEST && highest >= PROTOCOL_LOWEST) {
        return Ok(());
    }
    let older = if highest < PROTOCOL_LOWEST {
        "update the bay"
    } else {
        "update the daemon"
    };
    Err(status::of(
        Code::FailedPrecondition,
        reason::VERSION,
        format!(
            "{} speaks protocol {lowest} to {highest}, {BUILD} speaks {PROTOCOL_LOWEST} to {PROTOCOL_HIGHEST}: {older}",
            if request.build.is_empty() {
                "this caller"
            } else {
                &request.build
            },
        ),
    ))
}
