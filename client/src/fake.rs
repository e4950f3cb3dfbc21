//! A daemon in memory for the tests: it keeps the rules of the wire, and
//! misbehaves where a test asks it to.

mod quotes;

use std::collections::VecDeque;
use std::net::SocketAddr;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use baywright_proto::v1;
use baywright_proto::v1::catalogue_service_server::{CatalogueService, CatalogueServiceServer};
use baywright_proto::v1::floor_service_server::{FloorService, FloorServiceServer};
use baywright_proto::v1::hello_service_server::{HelloService, HelloServiceServer};
use baywright_proto::v1::intake_service_server::{IntakeService, IntakeServiceServer};
use baywright_proto::v1::post_many_response::Result as Many;
use baywright_proto::v1::quote_service_server::QuoteServiceServer;
use baywright_proto::{PROTOCOL_HIGHEST, PROTOCOL_LOWEST};
use prost::Message as _;
use tokio_stream::Stream;
use tonic::transport::Server;
use tonic::transport::server::TcpIncoming;
use tonic::{Code, Request, Response, Status, Streaming};
use tonic_types::{ErrorDetails, StatusExt as _};

/// What the next post meets.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Fault {
    /// The post is kept, and its receipt never arrives.
    LosesTheReceipt,
    /// The daemon has no room now.
    IsBusy,
}

/// A post in the fake's log.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Stored {
    pub(crate) event_id: Vec<u8>,
    pub(crate) device: String,
    pub(crate) device_seq: u64,
    pub(crate) fact: Vec<u8>,
    pub(crate) waiting: bool,
    pub(crate) first_receipt: Option<v1::FirstReceipt>,
}

impl Stored {
    /// The text of a note, which the tests number their facts by.
    pub(crate) fn note(&self) -> String {
        match v1::Fact::decode(&*self.fact).map(|f| f.kind) {
            Ok(Some(v1::fact::Kind::Noted(noted))) => noted.text,
            _ => String::new(),
        }
    }
}

#[derive(Debug, Default)]
pub(crate) struct State {
    pub(crate) log: Vec<Stored>,
    pub(crate) log_id: Vec<u8>,
    pub(crate) epoch: u64,
    /// What Hello says to be in a backup; posts of any device.
    pub(crate) backed_up_device_seq: u64,
    /// What the backup had of the device; `None`: all that is held.
    pub(crate) restored_device_seq: Option<u64>,
    pub(crate) faults: VecDeque<Fault>,
    pub(crate) catalogue: Option<v1::Catalogue>,
    pub(crate) now: v1::NowResponse,
    /// Put into every receipt.
    pub(crate) job: (u64, String),
    pub(crate) notices: Vec<v1::Notice>,
    pub(crate) window: (i64, i64),
    /// Products the waiting person is refused.
    pub(crate) known_products: Vec<String>,
    pub(crate) calls: u64,
    /// The answer to every question for a quote, but for what was asked.
    pub(crate) suggested: v1::SuggestResponse,
    pub(crate) suggest_requests: Vec<v1::SuggestRequest>,
    /// Every open quote is past its date.
    pub(crate) quotes_ran_out: bool,
}

/// Why the fake did not take a post.
enum No {
    OutOfStep(u64),
    Unreadable,
    Unknown(String),
    Busy,
}

impl State {
    fn held(&self, device: &str) -> u64 {
        let of_device = self.log.iter().filter(|s| s.device == device);
        of_device.map(|s| s.device_seq).max().unwrap_or(0)
    }

    fn take(&mut self, post: &v1::Post) -> Result<v1::Receipt, No> {
        self.calls += 1;
        let fault = self.faults.pop_front();
        if fault == Some(Fault::IsBusy) {
            return Err(No::Busy);
        }
        let fact = v1::Fact::decode(&*post.fact).map_err(|_| No::Unreadable)?;
        let first = self.log.iter().position(|s| s.event_id == post.event_id);
        let at = if let Some(at) = first {
            assert_eq!(self.log[at].fact, post.fact, "one id, one fact");
            at
        } else {
            let held = self.held(&post.device);
            if post.previous_device_seq != held || post.device_seq <= held {
                return Err(No::OutOfStep(held));
            }
            if let Some(v1::fact::Kind::Noted(noted)) = &fact.kind
                && noted.text.contains("unreadable")
                && !noted.text.starts_with("set aside")
            {
                return Err(No::Unreadable);
            }
            self.check_codes(post, &fact)?;
            self.log.push(Stored {
                event_id: post.event_id.clone(),
                device: post.device.clone(),
                device_seq: post.device_seq,
                fact: post.fact.clone(),
                waiting: post.waiting,
                first_receipt: post.first_receipt,
            });
            self.log.len() - 1
        };
        if fault == Some(Fault::LosesTheReceipt) {
            return Err(No::Busy);
        }
        Ok(v1::Receipt {
            // Of who asks, whoever posted it first.
            held_device_seq: self.held(&post.device),
            ..self.receipt(at, &fact, first.is_some())
        })
    }

    fn check_codes(&self, post: &v1::Post, fact: &v1::Fact) -> Result<(), No> {
        if let Some(v1::fact::Kind::ProductUsed(used)) = &fact.kind
            && post.waiting
            && !post.anyway
            && !self.known_products.is_empty()
            && !self.known_products.contains(&used.product)
        {
            return Err(No::Unknown(used.product.clone()));
        }
        Ok(())
    }

    fn receipt(&self, at: usize, fact: &v1::Fact, repeated: bool) -> v1::Receipt {
        let wall_us = fact.clocks.as_ref().map_or(0, |c| c.wall_us);
        v1::Receipt {
            event_id: self.log[at].event_id.clone(),
            seq: u64::try_from(at).unwrap() + 1,
            received_us: wall_us,
            occurred_us: match fact.occurred {
                Some(v1::fact::Occurred::AtUs(at_us)) => at_us,
                Some(v1::fact::Occurred::AgoUs(ago_us)) => wall_us - ago_us,
                None => wall_us,
            },
            job_number: self.job.0,
            job_title: self.job.1.clone(),
            by: fact.by.clone(),
            notices: self.notices.clone(),
            level_from_us: self.window.0,
            level_until_us: self.window.1,
            repeated,
            catalogue_revision: u64::from(self.catalogue.is_some()),
            held_device_seq: 0,
        }
    }
}

fn status(no: &No) -> Status {
    let mut details = ErrorDetails::new();
    let (code, reason, message) = match no {
        No::OutOfStep(held) => {
            let metadata = [("held_device_seq".to_owned(), held.to_string())];
            details.set_error_info("OUT_OF_STEP", "baywright", metadata);
            return Status::with_error_details(
                Code::FailedPrecondition,
                "the post is out of step",
                details,
            );
        }
        No::Unreadable => (
            Code::InvalidArgument,
            "UNREADABLE",
            "the post cannot be read: fact is odd".to_owned(),
        ),
        No::Unknown(code) => {
            details.add_bad_request_violation("fact.product_used.product", "did you mean x?");
            let message = format!("no product `{code}` in the catalogue");
            (Code::InvalidArgument, "UNKNOWN_CODE", message)
        }
        No::Busy => (
            Code::Unavailable,
            "STOPPING",
            "the daemon is stopping".to_owned(),
        ),
    };
    details.set_error_info(reason, "baywright", std::collections::HashMap::new());
    Status::with_error_details(code, message, details)
}

/// The services over one state.
#[derive(Clone)]
struct Services(Arc<Mutex<State>>);

impl Services {
    fn state(&self) -> MutexGuard<'_, State> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

#[tonic::async_trait]
impl IntakeService for Services {
    async fn post(
        &self,
        request: Request<v1::PostRequest>,
    ) -> Result<Response<v1::PostResponse>, Status> {
        let post = request.into_inner().post.unwrap();
        let taken = self.state().take(&post);
        match taken {
            Ok(receipt) => Ok(Response::new(v1::PostResponse {
                receipt: Some(receipt),
            })),
            Err(no) => Err(status(&no)),
        }
    }

    type PostManyStream =
        std::pin::Pin<Box<dyn Stream<Item = Result<v1::PostManyResponse, Status>> + Send>>;

    async fn post_many(
        &self,
        request: Request<Streaming<v1::PostManyRequest>>,
    ) -> Result<Response<Self::PostManyStream>, Status> {
        let mut posts = request.into_inner();
        let mut answers = Vec::new();
        while let Some(request) = posts.message().await? {
            let post = request.post.unwrap();
            let result = match self.state().take(&post) {
                Ok(receipt) => Many::Receipt(receipt),
                Err(no) => {
                    let status = status(&no);
                    let reason = status.get_details_error_info().map(|i| i.reason);
                    Many::Refusal(v1::Refusal {
                        event_id: post.event_id,
                        grpc_code: status.code().into(),
                        reason: reason.unwrap_or_default(),
                        message: status.message().to_owned(),
                        held_device_seq: match no {
                            No::OutOfStep(held) => held,
                            _ => 0,
                        },
                    })
                }
            };
            answers.push(Ok(v1::PostManyResponse {
                result: Some(result),
            }));
        }
        Ok(Response::new(Box::pin(tokio_stream::iter(answers))))
    }
}

#[tonic::async_trait]
impl HelloService for Services {
    async fn hello(
        &self,
        request: Request<v1::HelloRequest>,
    ) -> Result<Response<v1::HelloResponse>, Status> {
        let state = self.state();
        let held = state.held(&request.into_inner().device);
        Ok(Response::new(v1::HelloResponse {
            protocol_lowest: PROTOCOL_LOWEST,
            protocol_highest: PROTOCOL_HIGHEST,
            build: "fake".to_owned(),
            log_id: state.log_id.clone(),
            epoch: state.epoch,
            held_device_seq: held,
            backed_up_device_seq: state.backed_up_device_seq,
            restored_device_seq: state.restored_device_seq.unwrap_or(held),
            head_seq: u64::try_from(state.log.len()).unwrap(),
            now_us: 0,
            catalogue_revision: u64::from(state.catalogue.is_some()),
        }))
    }
}

#[tonic::async_trait]
impl CatalogueService for Services {
    async fn get_catalogue(
        &self,
        request: Request<v1::GetCatalogueRequest>,
    ) -> Result<Response<v1::GetCatalogueResponse>, Status> {
        let state = self.state();
        let revision = u64::from(state.catalogue.is_some());
        let held = request.into_inner().held_revision;
        Ok(Response::new(v1::GetCatalogueResponse {
            revision,
            catalogue: state.catalogue.clone().filter(|_| held != revision),
        }))
    }
}

#[tonic::async_trait]
impl FloorService for Services {
    async fn now(&self, _: Request<v1::NowRequest>) -> Result<Response<v1::NowResponse>, Status> {
        Ok(Response::new(self.state().now.clone()))
    }

    type WatchStream = tokio_stream::Empty<Result<v1::WatchResponse, Status>>;

    async fn watch(
        &self,
        _: Request<v1::WatchRequest>,
    ) -> Result<Response<Self::WatchStream>, Status> {
        Ok(Response::new(tokio_stream::empty()))
    }
}

/// A fake that serves until it is dropped.
pub(crate) struct Fake {
    state: Arc<Mutex<State>>,
    address: SocketAddr,
    stop: Option<tokio::sync::oneshot::Sender<()>>,
    thread: Option<std::thread::JoinHandle<()>>,
}

impl Fake {
    pub(crate) fn start() -> Self {
        Self::start_at("127.0.0.1:0".parse().unwrap(), Arc::default())
    }

    fn start_at(address: SocketAddr, state: Arc<Mutex<State>>) -> Self {
        let services = Services(Arc::clone(&state));
        services.state().log_id = vec![1; 16];
        let (stop, stopped) = tokio::sync::oneshot::channel();
        let (ready, bound) = std::sync::mpsc::sync_channel(1);
        let thread = std::thread::spawn(move || {
            let runtime = tokio::runtime::Builder::new_current_thread()
                .enable_all()
                .build()
                .unwrap();
            runtime.block_on(async move {
                let listener = tokio::net::TcpListener::bind(address).await.unwrap();
                ready.send(listener.local_addr().unwrap()).unwrap();
                let incoming = TcpIncoming::from(listener).with_nodelay(Some(true));
                let served = Server::builder()
                    .add_service(IntakeServiceServer::new(services.clone()))
                    .add_service(HelloServiceServer::new(services.clone()))
                    .add_service(CatalogueServiceServer::new(services.clone()))
                    .add_service(QuoteServiceServer::new(services.clone()))
                    .add_service(FloorServiceServer::new(services))
                    .serve_with_incoming(incoming);
                // Dropped at once: connections end as when a daemon is killed.
                tokio::select! {
                    served = served => served.unwrap(),
                    _ = stopped => {}
                }
            });
        });
        Self {
            state,
            address: bound.recv().unwrap(),
            stop: Some(stop),
            thread: Some(thread),
        }
    }

    pub(crate) fn server(&self) -> crate::connect::Server {
        crate::connect::Server::Tcp(self.address.to_string())
    }

    pub(crate) fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The notes in the log, in their order.
    pub(crate) fn notes(&self) -> Vec<String> {
        self.state().log.iter().map(Stored::note).collect()
    }
}

impl Drop for Fake {
    fn drop(&mut self) {
        if let Some(stop) = self.stop.take() {
            let _ = stop.send(());
        }
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}
