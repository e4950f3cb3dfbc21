//! The network between bays and daemon: nothing moves on it until the schedule
//! says so, and the schedule may lose, repeat, delay and reorder all of it.

use std::collections::VecDeque;
use std::future::poll_fn;
use std::pin::Pin;
use std::sync::{Arc, Mutex};
use std::task::{Context, Poll};

use baywright_client::delivery::carrier::{Answers, Carrier, Way};
use baywright_client::delivery::refusal::Refused;
use baywright_client::error::Error;
use baywright_proto::v1;
use tokio_stream::Stream;
use tonic::Status;

use crate::clocks::lock;

/// What a bay asks of the daemon.
#[derive(Debug, Clone)]
pub(crate) enum Request {
    Hello(v1::HelloRequest),
    Post(v1::PostRequest),
    Many(Vec<v1::PostManyRequest>),
}

/// What comes back.
#[derive(Debug)]
pub(crate) enum Answer {
    Hello(v1::HelloResponse),
    Post(v1::PostResponse),
    OfMany(v1::PostManyResponse),
    /// The stream of answers has ended.
    End,
}

/// What has come back to one call and was not taken yet.
pub(crate) type Ear = Arc<Mutex<VecDeque<Result<Answer, Status>>>>;

/// A call on its way to the daemon.
#[derive(Debug, Clone)]
pub(crate) struct Call {
    pub(crate) id: u64,
    pub(crate) bay: usize,
    pub(crate) request: Request,
    pub(crate) ear: Ear,
}

/// An answer on its way back.
#[derive(Debug)]
pub(crate) struct Returning {
    pub(crate) call: u64,
    pub(crate) ear: Ear,
    pub(crate) answer: Result<Answer, Status>,
}

/// Everything that is on its way.
#[derive(Debug, Default)]
pub(crate) struct Net {
    pub(crate) calls: VecDeque<Call>,
    pub(crate) returning: VecDeque<Returning>,
    /// Bays that cannot connect.
    pub(crate) cut_off: Vec<bool>,
    pub(crate) daemon_is_up: bool,
    last_id: u64,
}

/// One shop has one network.
pub(crate) type SharedNet = Arc<Mutex<Net>>;

/// What a caller is told whose connection broke.
pub(crate) fn broken() -> Status {
    Status::unavailable("the connection broke")
}

/// One bay's way onto the network.
#[derive(Debug, Clone)]
pub(crate) struct Cable {
    pub(crate) net: SharedNet,
    pub(crate) bay: usize,
}

impl Cable {
    fn call(&self, request: Request) -> Ear {
        let ear = Ear::default();
        let mut net = lock(&self.net);
        net.last_id += 1;
        let call = Call {
            id: net.last_id,
            bay: self.bay,
            request,
            ear: Arc::clone(&ear),
        };
        net.calls.push_back(call);
        ear
    }
}

/// Waits for the next answer. Nobody is woken: the world polls after each step.
async fn listen(ear: &Ear) -> Result<Answer, Status> {
    poll_fn(|_| match lock(ear).pop_front() {
        Some(answer) => Poll::Ready(answer),
        None => Poll::Pending,
    })
    .await
}

impl Carrier for Cable {
    async fn hello(&self, request: v1::HelloRequest) -> Result<v1::HelloResponse, Status> {
        let ear = self.call(Request::Hello(request));
        match listen(&ear).await? {
            Answer::Hello(answer) => Ok(answer),
            _ => Err(broken()),
        }
    }

    async fn post(&self, request: v1::PostRequest) -> Result<v1::PostResponse, Status> {
        let ear = self.call(Request::Post(request));
        match listen(&ear).await? {
            Answer::Post(answer) => Ok(answer),
            _ => Err(broken()),
        }
    }

    async fn post_many(&self, requests: Vec<v1::PostManyRequest>) -> Result<Answers, Status> {
        let ear = self.call(Request::Many(requests));
        // A connection that breaks at once fails the call, one that breaks
        // later fails its stream.
        let first = listen(&ear).await?;
        lock(&ear).push_front(Ok(first));
        Ok(Box::pin(Stretch(ear)))
    }
}

/// The answers to many posts.
struct Stretch(Ear);

impl Stream for Stretch {
    type Item = Result<v1::PostManyResponse, Status>;

    fn poll_next(self: Pin<&mut Self>, _: &mut Context<'_>) -> Poll<Option<Self::Item>> {
        match lock(&self.0).pop_front() {
            None => Poll::Pending,
            Some(Ok(Answer::OfMany(answer))) => Poll::Ready(Some(Ok(answer))),
            Some(Ok(_)) => Poll::Ready(None),
            Some(Err(status)) => Poll::Ready(Some(Err(status))),
        }
    }
}

impl Way for Cable {
    type Carrier = Self;

    async fn open(&mut self) -> Result<Self, Error> {
        let net = lock(&self.net);
        if net.daemon_is_up && !net.cut_off.get(self.bay).copied().unwrap_or(false) {
            Ok(self.clone())
        } else {
            Err(Error::unreachable("Nothing listens there."))
        }
    }

    fn gave_no_answer(&mut self, _: &Refused) {}
}
