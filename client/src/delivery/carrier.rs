//! What takes a delivery's calls to the daemon: a connection, or whatever
//! stands in for one.
//!
//! The delivery decides, a carrier carries. So the same delivery runs over a
//! network and in a simulation that loses, repeats and delays what it says.

use std::pin::Pin;

use baywright_proto::v1;
use baywright_proto::v1::hello_service_client::HelloServiceClient;
use baywright_proto::v1::intake_service_client::IntakeServiceClient;
use tokio_stream::Stream;
use tonic::Status;
use tonic::transport::Channel;

use crate::connect::Link;
use crate::delivery::refusal::Refused;
use crate::error::Error;

/// The answers to many posts, as they come.
pub type Answers = Pin<Box<dyn Stream<Item = Result<v1::PostManyResponse, Status>> + Send>>;

/// Carries the calls of a delivery. Any of them may be lost, or reach the
/// daemon without its answer coming back: the caller sends again.
pub trait Carrier {
    /// What the daemon is, and what it holds of this device.
    fn hello(
        &self,
        request: v1::HelloRequest,
    ) -> impl Future<Output = Result<v1::HelloResponse, Status>>;

    /// One post.
    fn post(
        &self,
        request: v1::PostRequest,
    ) -> impl Future<Output = Result<v1::PostResponse, Status>>;

    /// Many posts, in order; an answer to each, in the same order.
    fn post_many(
        &self,
        requests: Vec<v1::PostManyRequest>,
    ) -> impl Future<Output = Result<Answers, Status>>;
}

impl Carrier for Channel {
    async fn hello(&self, request: v1::HelloRequest) -> Result<v1::HelloResponse, Status> {
        let mut client = HelloServiceClient::new(self.clone());
        Ok(client.hello(request).await?.into_inner())
    }

    async fn post(&self, request: v1::PostRequest) -> Result<v1::PostResponse, Status> {
        let mut client = IntakeServiceClient::new(self.clone());
        Ok(client.post(request).await?.into_inner())
    }

    async fn post_many(&self, requests: Vec<v1::PostManyRequest>) -> Result<Answers, Status> {
        let mut client = IntakeServiceClient::new(self.clone());
        let answers = client.post_many(tokio_stream::iter(requests)).await?;
        Ok(Box::pin(answers.into_inner()))
    }
}

/// A way to the daemon, opened when there is something to carry.
pub trait Way {
    type Carrier: Carrier;

    /// The open connection, or why there is none.
    fn open(&mut self) -> impl Future<Output = Result<Self::Carrier, Error>>;

    /// A call on it went without an answer.
    fn gave_no_answer(&mut self, refused: &Refused);
}

impl Way for Link {
    type Carrier = Channel;

    async fn open(&mut self) -> Result<Channel, Error> {
        self.channel().await
    }

    fn gave_no_answer(&mut self, refused: &Refused) {
        self.forget_after(refused);
    }
}
