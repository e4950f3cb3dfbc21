//! Posts in, receipts out.

use std::pin::Pin;
use std::time::Duration;

use baywright_proto::v1::intake_service_server::IntakeService;
use baywright_proto::v1::{self, post_many_response};
use tokio::sync::mpsc;
use tokio_stream::wrappers::ReceiverStream;
use tokio_stream::{Stream, StreamExt as _};
use tonic::{Code, Request, Response, Status, Streaming};

use super::Services;
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
fn receipt(receipt: writer::Receipt) -> v1::Receipt {
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
        self.streams.spawn(async move {
            loop {
                let next = tokio::select! {
                    () = services.stop.cancelled() => {
                        let _ = order.send(Err(status::stopping())).await;
                        return;
                    }
                    next = posts.message() => next,
                };
                let post = match next {
                    Ok(Some(request)) => request.post,
                    Ok(None) => return,
                    Err(error) => {
                        let _ = order.send(Err(error)).await;
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
                // The caller went away: what it sent so far is kept.
                if order
                    .send(Ok(OnItsWay { event_id, pending }))
                    .await
                    .is_err()
                {
                    return;
                }
            }
        });
        let responses = ReceiverStream::new(answers).then(|next| async move {
            match next {
                Ok(on_its_way) => Ok(on_its_way.arrive().await),
                Err(status) => Err(status),
            }
        });
        Ok(Response::new(Box::pin(responses)))
    }
}
