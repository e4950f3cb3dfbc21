//! The answer to a call on its way out, and what is told when it has ended.

use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll, ready};
use std::time::Instant;

use baywright_proto::REQUEST_HEADER;
use http::{HeaderMap, Response};
use http_body::{Frame, SizeHint};
use prometheus_client::metrics::gauge::Gauge;
use tonic::body::Body;
use tonic::{Code, Status};
use tonic_types::StatusExt as _;
use tracing::Span;

use super::{Method, RequestId, code_word};
use crate::metrics::Metrics;
use crate::service::status::{self, reason};

/// What is told of a call when it ends, once.
#[derive(Debug)]
pub(super) struct Call {
    id: RequestId,
    method: Method,
    begun: Instant,
    span: Span,
    metrics: Arc<Metrics>,
    role: &'static str,
}

/// Kept open for as long as the answer lasts.
type Held = Box<dyn Send>;

/// An answer whose end is told, however it ends.
pub struct Answer {
    body: Body,
    /// Taken when it has ended.
    call: Option<Call>,
    stream: Option<Gauge>,
    held: Option<Held>,
}

impl std::fmt::Debug for Answer {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Answer")
            .field("call", &self.call)
            .finish_non_exhaustive()
    }
}

impl Call {
    pub(super) fn new(
        id: RequestId,
        method: Method,
        begun: Instant,
        span: Span,
        metrics: Arc<Metrics>,
        role: &'static str,
    ) -> Self {
        Self {
            id,
            method,
            begun,
            span,
            metrics,
            role,
        }
    }

    /// The answer to a call that no service sees. What the trace has said of it
    /// already is not said again.
    pub(super) fn refused(self, status: Status, is_told: bool) -> Response<Answer> {
        let mut headers = HeaderMap::new();
        self.put_header(&mut headers);
        if is_told {
            self.count(status.code());
        } else {
            self.end(&status);
        }
        let mut response = status.into_http::<Body>();
        response.headers_mut().extend(headers);
        response.map(|body| Answer {
            body,
            call: None,
            stream: None,
            held: None,
        })
    }

    /// The answer of a service, on its way out.
    pub(super) fn answered(
        self,
        response: Response<Body>,
        held: impl Send + 'static,
    ) -> Response<Answer> {
        // A call that fails before its first answer says so in the headers.
        let mut response = match Status::from_header_map(response.headers()) {
            Some(status) if status.code() != Code::Ok => {
                let dressed = status::with_reason(status);
                return self.refused(dressed, false);
            }
            _ => response,
        };
        self.put_header(response.headers_mut());
        let stream = self
            .method
            .kind
            .stream()
            .map(|kind| self.metrics.streams(kind, self.role))
            .inspect(|open| {
                open.inc();
            });
        response.map(|body| Answer {
            body,
            call: Some(self),
            stream,
            held: Some(Box::new(held)),
        })
    }

    fn put_header(&self, headers: &mut HeaderMap) {
        if let Some(value) = self.id.header() {
            headers.insert(REQUEST_HEADER, value);
        }
    }

    fn count(&self, code: Code) {
        self.metrics
            .called(self.method.name, code_word(code), self.begun.elapsed());
    }

    /// Tells how it ended.
    fn end(self, status: &Status) {
        let code = status.code();
        self.count(code);
        let took_ms = u64::try_from(self.begun.elapsed().as_millis()).unwrap_or(u64::MAX);
        let outcome = code_word(code);
        let details = status.get_error_details();
        let reason = details.error_info().map_or("", |info| info.reason.as_str());
        // The message stays out: it may repeat what the caller said.
        match code {
            // Whoever went away has seen what they wanted to see.
            Code::Ok | Code::Cancelled => {
                tracing::debug!(parent: &self.span, outcome, took_ms, "called");
            }
            _ if reason == reason::STOPPING => {
                tracing::info!(parent: &self.span, outcome, reason, took_ms, "a call ended with the daemon");
            }
            Code::InvalidArgument
            | Code::NotFound
            | Code::AlreadyExists
            | Code::FailedPrecondition
            | Code::OutOfRange
            | Code::Unimplemented => {
                tracing::info!(parent: &self.span, outcome, reason, took_ms, "a call was refused");
            }
            _ => {
                tracing::warn!(parent: &self.span, outcome, reason, took_ms, "a call failed");
            }
        }
    }
}

impl Answer {
    fn end(&mut self, status: &Status) {
        if let Some(call) = self.call.take() {
            call.end(status);
        }
        if let Some(open) = self.stream.take() {
            open.dec();
        }
        self.held = None;
    }
}

impl http_body::Body for Answer {
    type Data = <Body as http_body::Body>::Data;
    type Error = Status;

    fn poll_frame(
        self: Pin<&mut Self>,
        cx: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Self::Data>, Status>>> {
        let this = self.get_mut();
        let mut frame = ready!(Pin::new(&mut this.body).poll_frame(cx));
        match &mut frame {
            Some(Ok(frame)) => {
                if let Some(trailers) = frame.trailers_mut() {
                    let status = Status::from_header_map(trailers)
                        .unwrap_or_else(|| Status::unknown("no status"));
                    if let Some(call) = this.call.as_ref().filter(|_| status.code() != Code::Ok) {
                        call.put_header(trailers);
                    }
                    this.end(&status);
                }
            }
            Some(Err(status)) => {
                let status = status.clone();
                this.end(&status);
            }
            None => this.end(&Status::ok("")),
        }
        Poll::Ready(frame)
    }

    fn is_end_stream(&self) -> bool {
        self.body.is_end_stream()
    }

    fn size_hint(&self) -> SizeHint {
        self.body.size_hint()
    }
}

impl Drop for Answer {
    fn drop(&mut self) {
        // Dropped before its end: nobody reads it any more.
        self.end(&Status::cancelled("the caller went away"));
    }
}
