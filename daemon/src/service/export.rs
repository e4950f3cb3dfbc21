//! What the log comes to, job by job. A slow reader is behind and holds no
//! connection; nothing grows with the log.

use std::pin::Pin;

use baywright_proto::v1;
use baywright_proto::v1::export_service_server::ExportService;
use baywright_terms::time::Micros;
use tokio::sync::{Semaphore, SemaphorePermit, mpsc};
use tokio_stream::Stream;
use tokio_stream::wrappers::ReceiverStream;
use tonic::{Request, Response, Status};
use tracing::Instrument as _;

use super::Services;
use super::status;
use crate::facts::export::{Mark, Page, Wanted};
use crate::facts::reader::Past;
use crate::facts::{FactsError, reader::FactsReader};

/// Parts on their way to one reader: a page of jobs is written while the one
/// before it is read.
const PARTS_ON_THE_WAY_MAX: usize = 16;

/// Exports of the past at once. Each keeps a fold of the log on the disk for
/// as long as its reader takes.
const PAST_EXPORTS_MAX: usize = 1;
static PAST_EXPORTS: Semaphore = Semaphore::const_new(PAST_EXPORTS_MAX);

type Parts = mpsc::Sender<Result<v1::ExportJobsResponse, Status>>;

/// Which facts an export reads.
enum Source {
    Live,
    Past(
        Box<Past>,
        #[allow(dead_code, reason = "held, not read")] SemaphorePermit<'static>,
    ),
}

#[tonic::async_trait]
impl ExportService for Services {
    type ExportJobsStream =
        Pin<Box<dyn Stream<Item = Result<v1::ExportJobsResponse, Status>> + Send + 'static>>;

    async fn export_jobs(
        &self,
        request: Request<v1::ExportJobsRequest>,
    ) -> Result<Response<Self::ExportJobsStream>, Status> {
        let asked = request.into_inner();
        let (from, until) = span(&asked)?;
        let (responses, stream) = mpsc::channel(PARTS_ON_THE_WAY_MAX + 1);
        // Kept for the last word, so that a reader that lags hears it too.
        let last_word = responses
            .clone()
            .reserve_owned()
            .await
            .map_err(|_| status::stopping())?;
        let services = self.clone();
        let exporting = async move {
            let export = services.export(asked.as_of_seq, from, until, &responses);
            let ended = tokio::select! {
                () = services.stop.cancelled() => Err(status::stopping()),
                ended = export => ended,
            };
            if let Err(status) = ended {
                last_word.send(Err(status));
            }
        };
        self.streams.spawn(exporting.in_current_span());
        Ok(Response::new(Box::pin(ReceiverStream::new(stream))))
    }
}

/// The span asked for; 0 is open at that end.
fn span(asked: &v1::ExportJobsRequest) -> Result<(Micros, Micros), Status> {
    let from = match asked.from_us {
        0 => i64::MIN,
        from => from,
    };
    let until = match asked.until_us {
        0 => i64::MAX,
        until => until,
    };
    if until < from {
        return Err(status::bad_field(
            "until_us",
            "the span ends before it begins",
            "give an end after the beginning",
        ));
    }
    Ok((Micros(from), Micros(until)))
}

impl Services {
    async fn export(
        &self,
        as_of_seq: u64,
        from: Micros,
        until: Micros,
        responses: &Parts,
    ) -> Result<(), Status> {
        let now = self.clock.now();
        let (mut source, as_of) = match as_of_seq {
            0 => (Source::Live, now),
            seq => self.past(seq, now).await?,
        };
        let wanted = Wanted { from, until, as_of };
        let mut mark = Mark::Start;
        while mark != Mark::End {
            let page;
            (page, source) = self
                .reads
                .facts(move |facts| next(facts, source, &wanted, &mark))
                .await?;
            for part in page.parts {
                let response = v1::ExportJobsResponse { part: Some(part) };
                if responses.send(Ok(response)).await.is_err() {
                    // Nobody reads any more.
                    return Ok(());
                }
            }
            mark = page.mark;
        }
        Ok(())
    }

    /// The facts as they were after a seq, and the instant that was "now".
    async fn past(&self, seq: u64, now: Micros) -> Result<(Source, Micros), Status> {
        let turn = PAST_EXPORTS
            .try_acquire()
            .map_err(|_| status::past_exports_full())?;
        self.reads
            .facts(move |facts| {
                let mut past = facts.past(seq)?;
                let received = past.received()?;
                Ok((Source::Past(Box::new(past), turn), received.unwrap_or(now)))
            })
            .await
    }
}

/// The next page, from the same facts as the one before it.
fn next(
    facts: &FactsReader,
    source: Source,
    wanted: &Wanted,
    mark: &Mark,
) -> Result<(Page, Source), FactsError> {
    match source {
        Source::Live => {
            let page = facts.view(|view| view.export_page(wanted, mark))?;
            Ok((page, Source::Live))
        }
        Source::Past(mut past, turn) => {
            let page = past.view(|view| view.export_page(wanted, mark))?;
            Ok((page, Source::Past(past, turn)))
        }
    }
}
