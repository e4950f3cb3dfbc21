//! The floor as it is, and the log as it grows.

use std::pin::Pin;

use baywright_proto::v1;
use baywright_proto::v1::floor_service_server::FloorService;
use tokio::sync::mpsc;
use tokio_stream::Stream;
use tokio_stream::wrappers::ReceiverStream;
use tonic::{Request, Response, Status};
use tracing::Instrument as _;

use super::Services;
use super::status;
use crate::facts::reader::Counted;
use crate::journal::LogEntry;

/// Records read at a time for one watcher.
const PAGE_RECORDS: usize = 128;

/// Records on their way to one watcher. A slow one waits here, holding no
/// connection and losing nothing.
const ON_THE_WAY_MAX: usize = 64;

#[tonic::async_trait]
impl FloorService for Services {
    async fn now(
        &self,
        request: Request<v1::NowRequest>,
    ) -> Result<Response<v1::NowResponse>, Status> {
        let bay = request.into_inner().bay;
        let as_of = self.clock.now();
        let now = self
            .reads
            .facts(move |facts| facts.now(&bay, as_of))
            .await?;
        Ok(Response::new(now))
    }

    type WatchStream =
        Pin<Box<dyn Stream<Item = Result<v1::WatchResponse, Status>> + Send + 'static>>;

    async fn watch(
        &self,
        request: Request<v1::WatchRequest>,
    ) -> Result<Response<Self::WatchStream>, Status> {
        let v1::WatchRequest { after_seq, follow } = request.into_inner();
        let (responses, stream) = mpsc::channel(ON_THE_WAY_MAX + 1);
        // Kept for the last word, so that a watcher that lags hears it too.
        let last_word = responses
            .clone()
            .reserve_owned()
            .await
            .map_err(|_| status::stopping())?;
        let services = self.clone();
        let watching = async move {
            let watch = services.watch_from(after_seq, follow, &responses);
            let ended = tokio::select! {
                () = services.stop.cancelled() => Err(status::stopping()),
                ended = watch => ended,
            };
            if let Err(status) = ended {
                last_word.send(Err(status));
            }
        };
        self.streams.spawn(watching.in_current_span());
        Ok(Response::new(Box::pin(ReceiverStream::new(stream))))
    }
}

impl Services {
    /// Pages through the log, then waits for it to grow. The wait carries only
    /// the latest seq: the log is the truth, the notification is a hint.
    async fn watch_from(
        &self,
        after_seq: u64,
        follow: bool,
        responses: &mpsc::Sender<Result<v1::WatchResponse, Status>>,
    ) -> Result<(), Status> {
        let mut heads = self.reads.follow_heads();
        let mut after = after_seq;
        loop {
            let page = self
                .reads
                .log(move |log| log.records_after(after, PAGE_RECORDS))
                .await?;
            let Some(last) = page.last().map(|entry| entry.seq) else {
                if !follow {
                    return Ok(());
                }
                tokio::select! {
                    grown = heads.wait_for(|heads| heads.log_seq > after || heads.closed) => {
                        if grown.map_or(true, |heads| heads.closed) {
                            return Err(status::stopping());
                        }
                    }
                    // Nobody listens any more.
                    () = responses.closed() => return Ok(()),
                }
                continue;
            };
            let counted = self.counted(&page, last).await;
            for (entry, counted) in page.into_iter().zip(counted) {
                let response = response(entry, counted)?;
                if responses.send(Ok(response)).await.is_err() {
                    return Ok(());
                }
            }
            after = last;
        }
    }

    /// What the facts know of a page. A watcher goes on without them where they are broken.
    async fn counted(&self, page: &[LogEntry], last: u64) -> Vec<Counted> {
        let seqs: Vec<u64> = page.iter().map(|entry| entry.seq).collect();
        let none = vec![Counted::default(); seqs.len()];
        if self.reads.facts_at(last).await.is_err() {
            return none;
        }
        let counted = self.reads.facts(move |facts| facts.counted(&seqs)).await;
        counted
            .ok()
            .filter(|counted| counted.len() == none.len())
            .unwrap_or(none)
    }
}

fn response(entry: LogEntry, counted: Counted) -> Result<v1::WatchResponse, Status> {
    let decoded = entry
        .decode()
        .map_err(|error| status::internal("decoding a record", &error))?;
    Ok(v1::WatchResponse {
        record: entry.record,
        hash: entry.hash.0.to_vec(),
        decoded: Some(decoded),
        job_number: counted.job_number,
        struck: counted.struck,
    })
}
