//! Around every call: its number, its bounds, its line in the trace, its figures.
//!
//! The number is given to the caller in a header, and stands in every line that
//! the trace has of the call, so that a person at a bay can name the call that
//! failed and the owner finds its cause. No line holds what a call said: facts
//! and the words of customers and workers stay out of the journal.

mod answer;

use std::convert::Infallible;
use std::fmt;
use std::future::Future;
use std::hash::{BuildHasher as _, Hasher as _, RandomState};
use std::pin::Pin;
use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};
use std::task::{Context, Poll};
use std::time::{Duration, Instant};

use http::{HeaderValue, Request, Response};
use tonic::body::Body;
use tonic::{Code, Status};
use tower::{Layer, Service};
use tracing::Instrument as _;

use super::limits::{Bound, Kind, Limits, Over, Whose};
use super::status;
use crate::access::conn::Peer;
use crate::access::devices::RoleWord;
use crate::access::gate::METHODS;
use crate::metrics::Metrics;
pub use answer::Answer;

/// Longest that a call may take to arrive whole and to be answered; of a
/// stream, until its first answer. Reports may take two minutes
/// (`service::reads`); what takes longer is a caller that sends byte by byte.
pub const CALL_MS_MAX: u64 = 150_000;

/// Numbers are of six hexadecimal digits: short enough to be read out, and none
/// comes again before sixteen million calls.
const NUMBERS: u32 = 0x00ff_ffff;

/// From one number to the next. Odd, so that every number comes once; large, so
/// that neighbours do not look alike.
const STEP: u32 = 0x009e_3779;

/// Names a call for the people at both ends of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RequestId(u32);

impl fmt::Display for RequestId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:06x}", self.0)
    }
}

impl RequestId {
    fn header(self) -> Option<HeaderValue> {
        HeaderValue::try_from(self.to_string()).ok()
    }
}

/// A method as figures and the trace name it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Method {
    name: &'static str,
    kind: Kind,
}

impl Method {
    /// By the path of a call. What is not served is one method for the figures,
    /// so that nobody can make the page grow.
    fn of(path: &str) -> Self {
        let served = METHODS.iter().find(|(served, _)| *served == path);
        let Some((served, _)) = served else {
            return Self {
                name: "other",
                kind: Kind::Plain,
            };
        };
        let name = served.trim_start_matches('/');
        let name = name.strip_prefix("baywright.v1.").unwrap_or(name);
        let kind = match name {
            "IntakeService/PostMany" => Kind::Posts,
            "FloorService/Watch"
            | "grpc.health.v1.Health/Watch"
            | "grpc.reflection.v1.ServerReflection/ServerReflectionInfo" => Kind::Watch,
            "ExportService/ExportJobs" => Kind::Export,
            _ => Kind::Plain,
        };
        Self { name, kind }
    }
}

/// Who calls, for the trace, the figures and the bounds.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Who {
    whose: Whose,
    role: &'static str,
}

impl Who {
    fn of(peer: Option<&Peer>) -> Self {
        peer.map(Peer::caller).map_or(
            Self {
                whose: Whose::Local,
                role: "none",
            },
            |caller| Self {
                whose: caller.whose(),
                role: RoleWord::named(caller.role),
            },
        )
    }

    fn device(&self) -> &str {
        match &self.whose {
            Whose::Local => "local",
            Whose::Device(name) => name,
        }
    }
}

/// Puts [`Calls`] around a server's services.
#[derive(Debug, Clone)]
pub struct CallsLayer(Arc<Shared>);

#[derive(Debug)]
struct Shared {
    metrics: Arc<Metrics>,
    limits: Limits,
    number: AtomicU32,
}

impl CallsLayer {
    pub fn new(metrics: Arc<Metrics>, limits: Limits) -> Self {
        // Another beginning after each start: the numbers of two runs in one
        // journal do not meet.
        let begin = RandomState::new().build_hasher().finish() & u64::from(NUMBERS);
        Self(Arc::new(Shared {
            metrics,
            limits,
            number: AtomicU32::new(u32::try_from(begin).unwrap_or(0)),
        }))
    }
}

impl Shared {
    fn number(&self) -> RequestId {
        RequestId(self.number.fetch_add(STEP, Ordering::Relaxed) & NUMBERS)
    }

    /// A bound was met: counted, told once in a while, and refused.
    fn over(&self, over: Over, who: &Who) -> Status {
        if self.limits.over(over.bound, Instant::now()) {
            tracing::warn!(
                bound = over.bound.word(),
                max = over.max,
                in_all = over.in_all,
                device = who.device(),
                "over a bound; refused until there is room, and not told again for a while"
            );
        }
        status::over_bound(&over)
    }
}

impl<S> Layer<S> for CallsLayer {
    type Service = Calls<S>;

    fn layer(&self, inner: S) -> Calls<S> {
        Calls {
            inner,
            shared: Arc::clone(&self.0),
        }
    }
}

/// Gives each call its number and minds its bounds.
#[derive(Debug, Clone)]
pub struct Calls<S> {
    inner: S,
    shared: Arc<Shared>,
}

type Answered = Pin<Box<dyn Future<Output = Result<Response<Answer>, Infallible>> + Send>>;

impl<S, In> Service<Request<In>> for Calls<S>
where
    S: Service<Request<In>, Response = Response<Body>, Error = Infallible>,
    S::Future: Send + 'static,
{
    type Response = Response<Answer>;
    type Error = Infallible;
    type Future = Answered;

    fn poll_ready(&mut self, cx: &mut Context<'_>) -> Poll<Result<(), Infallible>> {
        self.inner.poll_ready(cx)
    }

    fn call(&mut self, mut request: Request<In>) -> Answered {
        let begun = Instant::now();
        let id = self.shared.number();
        let method = Method::of(request.uri().path());
        let peer = request.extensions().get::<Peer>();
        let who = Who::of(peer);
        let busy = peer.map(Peer::busy);
        // An error's span, so that it is there whatever level is looked at.
        let span = tracing::error_span!(
            "call",
            request = %id,
            method = method.name,
            device = who.device(),
            role = who.role,
        );
        let place = self.shared.limits.call(&who.whose, method.kind, begun);
        let call = answer::Call::new(
            id,
            method,
            begun,
            span.clone(),
            Arc::clone(&self.shared.metrics),
            who.role,
        );
        let place = match place {
            Ok(place) => place,
            Err(over) => {
                let refused = self.shared.over(over, &who);
                return Box::pin(std::future::ready(Ok(call.refused(refused, true))));
            }
        };
        request.extensions_mut().insert(id);
        let answered = {
            let _within = span.enter();
            self.inner.call(request)
        };
        let shared = Arc::clone(&self.shared);
        let answer = async move {
            let limit = Duration::from_millis(CALL_MS_MAX);
            match tokio::time::timeout(limit, answered).await {
                Ok(Ok(response)) => Ok(call.answered(response, (place, busy))),
                Ok(Err(never)) => Err(never),
                Err(_) => {
                    shared.limits.over(Bound::CallTime, Instant::now());
                    Ok(call.refused(status::call_too_slow(), false))
                }
            }
        };
        Box::pin(answer.instrument(span))
    }
}

/// The code as gRPC spells it.
pub(crate) fn code_word(code: Code) -> &'static str {
    match code {
        Code::Ok => "OK",
        Code::Cancelled => "CANCELLED",
        Code::Unknown => "UNKNOWN",
        Code::InvalidArgument => "INVALID_ARGUMENT",
        Code::DeadlineExceeded => "DEADLINE_EXCEEDED",
        Code::NotFound => "NOT_FOUND",
        Code::AlreadyExists => "ALREADY_EXISTS",
        Code::PermissionDenied => "PERMISSION_DENIED",
        Code::ResourceExhausted => "RESOURCE_EXHAUSTED",
        Code::FailedPrecondition => "FAILED_PRECONDITION",
        Code::Aborted => "ABORTED",
        Code::OutOfRange => "OUT_OF_RANGE",
        Code::Unimplemented => "UNIMPLEMENTED",
        Code::Internal => "INTERNAL",
        Code::Unavailable => "UNAVAILABLE",
        Code::DataLoss => "DATA_LOSS",
        Code::Unauthenticated => "UNAUTHENTICATED",
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    #[test]
    fn no_number_comes_again_soon_and_all_are_short() {
        let layer = CallsLayer::new(Arc::default(), Limits::new(Arc::default()));
        let numbers: BTreeSet<String> =
            (0..100_000).map(|_| layer.0.number().to_string()).collect();
        assert_eq!(numbers.len(), 100_000);
        assert!(numbers.iter().all(|number| number.len() == 6));
    }

    #[test]
    fn a_method_is_one_that_is_served_or_another() {
        let of = |path| {
            let method = Method::of(path);
            (method.name, method.kind)
        };
        assert_eq!(
            of("/baywright.v1.IntakeService/PostMany"),
            ("IntakeService/PostMany", Kind::Posts)
        );
        assert_eq!(
            of("/grpc.health.v1.Health/Watch"),
            ("grpc.health.v1.Health/Watch", Kind::Watch)
        );
        assert_eq!(
            of("/baywright.v1.ReportService/Week"),
            ("ReportService/Week", Kind::Plain)
        );
        for other in ["/", "", "/baywright.v1.Made/Up", "/../../etc"] {
            assert_eq!(of(other), ("other", Kind::Plain), "{other}");
        }
    }
}
