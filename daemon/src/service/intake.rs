//! Posts in, receipts out.

use std::pin::Pin;
use std::time::{Duration, Instant};

use baywright_proto::v1::intake_service_server::IntakeService;
use baywright_proto::v1::{self, post_many_response};
use tokio::sync::mpsc;
use tokio_stream::wrappers::ReceiverStream;
use tokio_stream::{Stream, StreamExt as _};
use tonic::{Code, Request, Response, Status, Streaming};
use tracing::Instrument as _;

use super::Services;
use super::limits::Bound;
use super::status::{self, reason};
use crate::access::Caller;
use crate::journal::post::Intake;
use crate::journal::refusal::{Refusal, Violation};
use crate::journal::writer::{self, Pending};

/// Posts of one stream on their way to the disk at once: enough to share a
/// flush, few enough that one stream cannot fill the queue.
const IN_FLIGHT_MAX: usize = 128;

/// Longest wait for a post to be on disk. Past it the caller cannot know, and
/// sends the same post again: it is kept once all the same.
const POST_MS_MAX: u64 = 15_000;

/// Longest time in which nothing moves on a stream of posts, milliseconds: no
/// post comes, or no receipt is taken. A large post over a bad radio takes two
/// minutes; whoever is silent for longer has gone without a word.
pub(crate) const STREAM_IDLE_MS_MAX: u64 = 300_000;

/// Refused posts of one stream that the trace has a line for. What follows a
/// refusal is out of step, hundreds at a time; the rest is told in one number.
const TOLD_OF_STREAM_MAX: u64 = 8;

impl Services {
    /// The post with the device and role that were proved.
    fn intake(&self, caller: &Caller, post: v1::Post) -> Result<Intake, Refusal> {
        let device = match caller.device() {
            // What the certificate says counts, whatever the post says.
            Some(device) => device.to_owned(),
            // On this computer a device is who it says it is, but nobody else.
            None if self.is_a_device(&post.device) => {
                let mend = "is the name of a device with a certificate: choose another";
                return Err(Refusal::Unreadable(vec![Violation::new("device", mend)]));
            }
            None => post.device.clone(),
        };
        Ok(Intake {
            device,
            role: caller.role,
            post,
        })
    }

    fn is_a_device(&self, name: &str) -> bool {
        self.access
            .kept()
            .is_some_and(|kept| kept.devices.names_a_device(name))
    }
}

/// The receipt as it is sent.
pub fn receipt(receipt: writer::Receipt) -> v1::Receipt {
    let writer::Receipt {
        kept,
        answer,
        catalogue_revision,
    } = receipt;
    let answer = answer.unwrap_or_default();
    v1::Receipt {
        event_id: kept.event_id.to_vec(),
        seq: kept.seq,
        received_us: kept.received.0,
        occurred_us: kept.occurred.0,
        job_number: match answer.job_number {
            0 => kept.job_number,
            number => number,
        },
        job_title: answer.job_title,
        by: answer.by,
        notices: answer.notices,
        level_from_us: answer.level_from_us,
        level_until_us: answer.level_until_us,
        repeated: kept.repeated,
        catalogue_revision,
        held_device_seq: kept.held_device_seq,
    }
}

/// Who posts; the gate put it there.
pub(crate) fn caller<T>(request: &Request<T>) -> Result<Caller, Status> {
    let caller = request.extensions().get::<Caller>();
    caller.cloned().ok_or_else(status::no_caller)
}

fn no_post() -> Refusal {
    Refusal::Unreadable(vec![Violation::new("post", "is not set")])
}

/// What the trace says of the refusals of one stream: their reasons, and never
/// what a post said.
struct Told {
    refused: u64,
    span: tracing::Span,
}

impl Told {
    /// Of the call that is being answered.
    fn here() -> Self {
        Self {
            refused: 0,
            span: tracing::Span::current(),
        }
    }

    fn note(&mut self, answer: &Result<v1::PostManyResponse, Status>) {
        let Ok(v1::PostManyResponse {
            result: Some(post_many_response::Result::Refusal(refusal)),
        }) = answer
        else {
            return;
        };
        self.refused += 1;
        if self.refused <= TOLD_OF_STREAM_MAX {
            tracing::info!(parent: &self.span, reason = refusal.reason, "a post was refused");
        }
    }
}

impl Drop for Told {
    fn drop(&mut self) {
        if self.refused > TOLD_OF_STREAM_MAX {
            let refused = self.refused;
            tracing::info!(parent: &self.span, refused, "posts of this stream were refused");
        }
    }
}

/// A post on its way, in the order of its stream.
struct OnItsWay {
    event_id: Vec<u8>,
    pending: Result<Pending, Refusal>,
}

impl OnItsWay {
    async fn arrive(self) -> v1::PostManyResponse {
        let answer = match self.pending {
            Ok(pending) => pending.answer().await,
            Err(refusal) => Err(refusal),
        };
        let result = match answer {
            Ok(kept) => post_many_response::Result::Receipt(receipt(kept)),
            Err(refusal) => post_many_response::Result::Refusal(status::refusal_message(
                self.event_id,
                &refusal,
            )),
        };
        v1::PostManyResponse {
            result: Some(result),
        }
    }
}

#[tonic::async_trait]
impl IntakeService for Services {
    async fn post(
        &self,
        request: Request<v1::PostRequest>,
    ) -> Result<Response<v1::PostResponse>, Status> {
        let caller = caller(&request)?;
        let post = request
            .into_inner()
            .post
            .ok_or_else(|| status::of_refusal(&no_post()))?;
        let pending = self
            .intake(&caller, post)
            .and_then(|intake| self.writer.post(intake))
            .map_err(|refusal| status::of_refusal(&refusal))?;
        let answer = tokio::time::timeout(Duration::from_millis(POST_MS_MAX), pending.answer())
            .await
            .map_err(|_| {
                status::of(
                    Code::DeadlineExceeded,
                    reason::TOO_SLOW,
                    "the disk did not answer in time: send the same post again, it is kept once",
                )
            })?;
        match answer {
            Ok(kept) => Ok(Response::new(v1::PostResponse {
                receipt: Some(receipt(kept)),
            })),
            Err(refusal) => Err(status::of_refusal(&refusal)),
        }
    }

    type PostManyStream =
        Pin<Box<dyn Stream<Item = Result<v1::PostManyResponse, Status>> + Send + 'static>>;

    async fn post_many(
        &self,
        request: Request<Streaming<v1::PostManyRequest>>,
    ) -> Result<Response<Self::PostManyStream>, Status> {
        let caller = caller(&request)?;
        let mut posts = request.into_inner();
        // Answered in this order; the writer takes them in this order as well.
        let (order, answers) = mpsc::channel::<Result<OnItsWay, Status>>(IN_FLIGHT_MAX);
        let services = self.clone();
        let taking = async move {
            let idle = Duration::from_millis(STREAM_IDLE_MS_MAX);
            loop {
                let next = tokio::select! {
                    () = services.stop.cancelled() => Ok(Err(status::stopping())),
                    next = tokio::time::timeout(idle, posts.message()) => next,
                };
                let post = match next {
                    Ok(Ok(Some(request))) => request.post,
                    Ok(Ok(None)) => return,
                    Ok(Err(error)) => {
                        let _ = order.send(Err(status::with_reason(error))).await;
                        return;
                    }
                    Err(_) => {
                        services.limits.over(Bound::StreamIdle, Instant::now());
                        let _ = order.send(Err(status::stream_idle())).await;
                        return;
                    }
                };
                let event_id = post.as_ref().map_or_else(Vec::new, |p| p.event_id.clone());
                let pending = match post {
                    Some(post) => match services.intake(&caller, post) {
                        Ok(intake) => services.writer.post_when_room(intake).await,
                        Err(refusal) => Err(refusal),
                    },
                    None => Err(no_post()),
                };
                // The caller went away, or takes no receipts: what it sent so
                // far is kept.
                let sent = order.send(Ok(OnItsWay { event_id, pending }));
                match tokio::time::timeout(idle, sent).await {
                    Ok(Ok(())) => {}
                    Ok(Err(_)) => return,
                    Err(_) => {
                        services.limits.over(Bound::StreamIdle, Instant::now());
                        return;
                    }
                }
            }
        };
        self.streams.spawn(taking.in_current_span());
        let responses = ReceiverStream::new(answers).then(|next| async move {
            match next {
                Ok(on_its_way) => Ok(on_its_way.arrive().await),
                Err(status) => Err(status),
            }
        });
        let mut told = Told::here();
        let responses = responses.map(move |answer| {
            told.note(&answer);
            answer
        });
        Ok(Response::new(Box::pin(responses)))
    }
}
