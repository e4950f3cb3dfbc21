//! A daemon of fixed answers, so that the owner's commands are tried through
//! the real program without a fold behind them.

use std::net::SocketAddr;
use std::pin::Pin;
use std::sync::{Arc, Mutex};

use baywright_proto::v1;
use baywright_proto::v1::catalogue_service_server::{CatalogueService, CatalogueServiceServer};
use baywright_proto::v1::export_service_server::{ExportService, ExportServiceServer};
use baywright_proto::v1::floor_service_server::{FloorService, FloorServiceServer};
use baywright_proto::v1::hello_service_server::{HelloService, HelloServiceServer};
use baywright_proto::v1::intake_service_server::{IntakeService, IntakeServiceServer};
use baywright_proto::v1::quote_service_server::QuoteServiceServer;
use baywright_proto::v1::report_service_server::{ReportService, ReportServiceServer};
use prost::Message as _;
use tokio::runtime::Runtime;
use tokio_stream::Stream;
use tonic::transport::server::TcpIncoming;
use tonic::{Request, Response, Status, Streaming};

/// Tue 24 Nov 2026 15:05 in Berlin.
pub(crate) const TUESDAY: i64 = 1_795_529_100_000_000;
/// Records of the log that `watch` streams.
pub(crate) const RECORDS: u64 = 3_000;

mod quotes;

/// What the daemon holds and was sent.
#[derive(Debug, Default)]
pub(crate) struct Held {
    pub catalogue: Option<v1::Catalogue>,
    pub revision: u64,
    pub facts: Vec<v1::Fact>,
    /// Of the facts; the same event is held once.
    pub event_ids: Vec<Vec<u8>>,
    pub learned: v1::LearnedResponse,
    /// From so many facts on no post is answered: nothing, and whether the
    /// fact was held all the same.
    pub silent_from: Option<(usize, bool)>,
}

impl Held {
    /// Holds a post, once; `None`: it is not answered.
    fn take(&mut self, post: v1::Post) -> Option<v1::Receipt> {
        let silent = self
            .silent_from
            .filter(|(from, _)| self.facts.len() >= *from);
        if silent.is_none_or(|(_, holds)| holds) && !self.event_ids.contains(&post.event_id) {
            let fact = v1::Fact::decode(post.fact.as_slice()).unwrap_or_default();
            if let Some(v1::fact::Kind::CatalogueSet(set)) = &fact.kind {
                self.catalogue.clone_from(&set.changed);
                self.revision += 1;
            }
            self.event_ids.push(post.event_id.clone());
            self.facts.push(fact);
        }
        silent.is_none().then(|| v1::Receipt {
            event_id: post.event_id,
            seq: RECORDS + 1,
            catalogue_revision: self.revision,
            ..v1::Receipt::default()
        })
    }
}

#[derive(Debug, Clone, Default)]
struct Fake {
    held: Arc<Mutex<Held>>,
}

/// The running daemon; it ends with the runtime.
pub(crate) struct Daemon {
    pub held: Arc<Mutex<Held>>,
    pub address: SocketAddr,
    _runtime: Runtime,
}

impl Daemon {
    pub(crate) fn start() -> Self {
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .worker_threads(1)
            .enable_all()
            .build()
            .unwrap();
        let fake = Fake::default();
        let held = Arc::clone(&fake.held);
        let listener = runtime
            .block_on(tokio::net::TcpListener::bind("127.0.0.1:0"))
            .unwrap();
        let address = listener.local_addr().unwrap();
        runtime.spawn(
            tonic::transport::Server::builder()
                .add_service(HelloServiceServer::new(fake.clone()))
                .add_service(IntakeServiceServer::new(fake.clone()))
                .add_service(CatalogueServiceServer::new(fake.clone()))
                .add_service(FloorServiceServer::new(fake.clone()))
                .add_service(ExportServiceServer::new(fake.clone()))
                .add_service(QuoteServiceServer::new(fake.clone()))
                .add_service(ReportServiceServer::new(fake))
                .serve_with_incoming(TcpIncoming::from(listener)),
        );
        Self {
            held,
            address,
            _runtime: runtime,
        }
    }
}

fn offered(command: &str, words: &str) -> v1::OddAnswer {
    v1::OddAnswer {
        command: command.to_owned(),
        words: words.to_owned(),
        ..v1::OddAnswer::default()
    }
}

/// A use in a bay where no job was, and one with two stages that nobody recorded.
pub(crate) fn others() -> Vec<v1::OddRecord> {
    let no_job = v1::OddRecord {
        event_id: vec![0x12; 16],
        seq: 4712,
        code: "no-job-here".to_owned(),
        text: "No job was in bay-1 then; kept without a job.".to_owned(),
        answers: vec![offered(
            "bay settle 4712 --job JOB",
            "another job was meant",
        )],
        ..unclosed()
    };
    let missing = |stage: &str| v1::OddRecord {
        event_id: vec![0x13; 16],
        seq: 4713,
        code: "undeclared".to_owned(),
        text: format!("Released with no record of {stage}; nobody said whether it was done."),
        of: stage.to_owned(),
        stage: stage.to_owned(),
        worker: String::new(),
        answers: vec![
            offered(
                &format!("bay settle 4713 --not-done --stage {stage}"),
                "not done",
            ),
            offered(
                &format!("bay settle 4713 --took SPAN --stage {stage}"),
                "done",
            ),
        ],
        ..unclosed()
    };
    vec![no_job, missing("decon"), missing("dry")]
}

/// The odd record whose proposal is an end.
pub(crate) fn unclosed() -> v1::OddRecord {
    v1::OddRecord {
        event_id: vec![0x11; 16],
        seq: 4711,
        code: "unclosed".to_owned(),
        text: "The stage polish was never ended; it was cut at closing, 17:30.".to_owned(),
        job_number: 118,
        occurred_us: TUESDAY,
        bay: "bay-1".to_owned(),
        settle_with: "bay settle 4711 --end 17:30".to_owned(),
        settled: false,
        of: "ana".to_owned(),
        stage: "polish".to_owned(),
        worker: "ana".to_owned(),
        changes_us: 145 * 60_000_000,
        counted_from_us: TUESDAY,
        counted_until_us: TUESDAY + 145 * 60_000_000,
        answers: vec![
            v1::OddAnswer {
                changes_us: Some(0),
                proposed: true,
                ..offered(
                    "bay settle 4711 --end 17:30",
                    "it ended at 17:30, where it was cut",
                )
            },
            offered("bay settle 4711 --end TIME", "it ended at another time"),
            offered("bay settle 4711 --took SPAN", "it took so long"),
            v1::OddAnswer {
                changes_us: Some(-145 * 60_000_000),
                ..offered(
                    "bay settle 4711 --leave-out",
                    "leave it out of every figure",
                )
            },
        ],
    }
}

#[tonic::async_trait]
impl HelloService for Fake {
    async fn hello(
        &self,
        _: Request<v1::HelloRequest>,
    ) -> Result<Response<v1::HelloResponse>, Status> {
        Ok(Response::new(v1::HelloResponse {
            protocol_lowest: 1,
            protocol_highest: 1,
            log_id: vec![9; 16],
            epoch: 1,
            head_seq: RECORDS,
            now_us: TUESDAY,
            ..v1::HelloResponse::default()
        }))
    }
}

#[tonic::async_trait]
impl IntakeService for Fake {
    type PostManyStream =
        Pin<Box<dyn Stream<Item = Result<v1::PostManyResponse, Status>> + Send + 'static>>;

    async fn post(
        &self,
        request: Request<v1::PostRequest>,
    ) -> Result<Response<v1::PostResponse>, Status> {
        let post = request.into_inner().post.unwrap_or_default();
        let receipt = self.held.lock().unwrap().take(post);
        match receipt {
            Some(receipt) => Ok(Response::new(v1::PostResponse {
                receipt: Some(receipt),
            })),
            // Until the caller has gone.
            None => std::future::pending().await,
        }
    }

    async fn post_many(
        &self,
        request: Request<Streaming<v1::PostManyRequest>>,
    ) -> Result<Response<Self::PostManyStream>, Status> {
        use v1::post_many_response::Result as Many;
        let mut posts = request.into_inner();
        let mut receipts = Vec::new();
        while let Some(request) = posts.message().await? {
            let post = request.post.unwrap_or_default();
            let receipt = self.held.lock().unwrap().take(post);
            receipts.extend(receipt.map(|receipt| {
                Ok(v1::PostManyResponse {
                    result: Some(Many::Receipt(receipt)),
                })
            }));
        }
        Ok(Response::new(Box::pin(tokio_stream::iter(receipts))))
    }
}

#[tonic::async_trait]
impl CatalogueService for Fake {
    async fn get_catalogue(
        &self,
        _: Request<v1::GetCatalogueRequest>,
    ) -> Result<Response<v1::GetCatalogueResponse>, Status> {
        let held = self.held.lock().unwrap();
        Ok(Response::new(v1::GetCatalogueResponse {
            revision: held.revision,
            catalogue: held.catalogue.clone(),
        }))
    }
}

#[tonic::async_trait]
impl FloorService for Fake {
    type WatchStream =
        Pin<Box<dyn Stream<Item = Result<v1::WatchResponse, Status>> + Send + 'static>>;

    async fn now(&self, _: Request<v1::NowRequest>) -> Result<Response<v1::NowResponse>, Status> {
        Ok(Response::new(v1::NowResponse::default()))
    }

    async fn watch(
        &self,
        request: Request<v1::WatchRequest>,
    ) -> Result<Response<Self::WatchStream>, Status> {
        let after = request.into_inner().after_seq;
        let records = (after + 1..=RECORDS).map(|seq| Ok(record(seq)));
        Ok(Response::new(Box::pin(tokio_stream::iter(records))))
    }
}

/// Jobs that an export gives; one as of `BROKEN_SEQ` breaks off before the last.
pub(crate) const JOBS: u64 = 500;
pub(crate) const BROKEN_SEQ: u64 = 13;

#[tonic::async_trait]
impl ExportService for Fake {
    type ExportJobsStream =
        Pin<Box<dyn Stream<Item = Result<v1::ExportJobsResponse, Status>> + Send + 'static>>;

    async fn export_jobs(
        &self,
        request: Request<v1::ExportJobsRequest>,
    ) -> Result<Response<Self::ExportJobsStream>, Status> {
        use v1::export_jobs_response::Part;
        let asked = request.into_inner();
        let head = Part::Head(v1::ExportHead {
            zone: "Europe/Berlin".to_owned(),
            as_of_seq: RECORDS,
            jobs: JOBS,
            ..v1::ExportHead::default()
        });
        let jobs = (1..=JOBS).map(move |number| {
            if number == JOBS && asked.as_of_seq == BROKEN_SEQ {
                return Err(Status::unavailable("the daemon is stopping"));
            }
            Ok(Part::Job(v1::ExportJob {
                number,
                // What was asked for, so that a test sees it.
                opened_us: asked.from_us,
                released_us: asked.until_us,
                ..v1::ExportJob::default()
            }))
        });
        let loose = Part::LooseUse(v1::ExportUse::default());
        let parts = std::iter::once(Ok(head))
            .chain(jobs)
            .chain(std::iter::once(Ok(loose)))
            .map(|part| part.map(|part| v1::ExportJobsResponse { part: Some(part) }));
        Ok(Response::new(Box::pin(tokio_stream::iter(
            parts.collect::<Vec<_>>(),
        ))))
    }
}

/// A job opened for a vehicle whose name would run as a formula.
fn record(seq: u64) -> v1::WatchResponse {
    let fact = v1::Fact {
        bay: "bay-1".to_owned(),
        kind: Some(v1::fact::Kind::JobOpened(v1::JobOpened {
            vehicle: format!("=HYPERLINK(\"x\",\"{seq}\")\nsecond, line"),
            ..v1::JobOpened::default()
        })),
        ..v1::Fact::default()
    };
    v1::WatchResponse {
        decoded: Some(v1::Record {
            seq,
            event_id: seq.to_be_bytes().repeat(2),
            occurred_us: TUESDAY,
            fact: fact.encode_to_vec(),
            ..v1::Record::default()
        }),
        job_number: seq,
        ..v1::WatchResponse::default()
    }
}

#[tonic::async_trait]
impl ReportService for Fake {
    async fn week(
        &self,
        request: Request<v1::WeekRequest>,
    ) -> Result<Response<v1::WeekResponse>, Status> {
        Ok(Response::new(v1::WeekResponse {
            week: Some(v1::Week {
                week: request.into_inner().week,
                zone: "Europe/Berlin".to_owned(),
                ..v1::Week::default()
            }),
        }))
    }

    async fn why(
        &self,
        request: Request<v1::WhyRequest>,
    ) -> Result<Response<v1::WhyResponse>, Status> {
        Ok(Response::new(v1::WhyResponse {
            why: Some(v1::Why {
                id: request.into_inner().id,
                unit: "us".to_owned(),
                ..v1::Why::default()
            }),
        }))
    }

    async fn stock(
        &self,
        _: Request<v1::StockRequest>,
    ) -> Result<Response<v1::StockResponse>, Status> {
        Err(Status::unimplemented("not of this fake"))
    }

    async fn lot(&self, _: Request<v1::LotRequest>) -> Result<Response<v1::LotResponse>, Status> {
        Err(Status::unimplemented("not of this fake"))
    }

    /// Three jobs of whoever is asked about, which are too few.
    async fn own(
        &self,
        request: Request<v1::OwnRequest>,
    ) -> Result<Response<v1::OwnResponse>, Status> {
        Ok(Response::new(v1::OwnResponse {
            worker: request.into_inner().worker,
            jobs: 3,
            jobs_needed: 5,
            week: "2026-W48".to_owned(),
            ..v1::OwnResponse::default()
        }))
    }

    async fn job(&self, _: Request<v1::JobRequest>) -> Result<Response<v1::JobResponse>, Status> {
        Err(Status::not_found("no job 9"))
    }

    async fn odd(&self, _: Request<v1::OddRequest>) -> Result<Response<v1::OddResponse>, Status> {
        Ok(Response::new(v1::OddResponse {
            odd: std::iter::once(unclosed()).chain(others()).collect(),
            zone: "Europe/Berlin".to_owned(),
        }))
    }
}
