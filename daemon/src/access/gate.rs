//! The one place where roles and methods meet.
//!
//! Every call passes here before a service sees it. A method that is not in the
//! table is refused to everybody, so that a new one cannot be forgotten.

use std::convert::Infallible;
use std::future::Future;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};

use baywright_proto::v1::Role;
use http::{Request, Response};
use tonic::Status;
use tower::{Layer, Service};

use super::conn::Peer;
use super::{Caller, Via};
use crate::clock::Clock;
use crate::service::status;

/// Who may call a method.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Rule {
    /// Any role.
    Anyone,
    /// Those who post: bay and owner.
    Posting,
    /// Those who see figures and prices: owner and viewer.
    Figures,
    /// The owner, wherever.
    Owner,
    /// The owner at the server itself. A stolen tablet, an owner's too, lets
    /// nobody else in.
    OwnerHere,
    /// A device with a certificate, for itself.
    Device,
}

/// Every method that is served, and who may call it.
pub const METHODS: [(&str, Rule); 28] = [
    ("/baywright.v1.HelloService/Hello", Rule::Anyone),
    ("/baywright.v1.IntakeService/Post", Rule::Posting),
    ("/baywright.v1.IntakeService/PostMany", Rule::Posting),
    ("/baywright.v1.FloorService/Now", Rule::Anyone),
    // The log itself holds prices and what everybody did.
    ("/baywright.v1.FloorService/Watch", Rule::Owner),
    // Without prices and wages for who is not to see figures.
    ("/baywright.v1.CatalogueService/GetCatalogue", Rule::Anyone),
    ("/baywright.v1.ReportService/Week", Rule::Figures),
    ("/baywright.v1.ReportService/Job", Rule::Figures),
    ("/baywright.v1.ReportService/Odd", Rule::Figures),
    ("/baywright.v1.ReportService/Why", Rule::Figures),
    ("/baywright.v1.ReportService/Stock", Rule::Figures),
    ("/baywright.v1.ReportService/Lot", Rule::Figures),
    // A worker's own figures are the owner's and that worker's; a device does
    // not prove who stands at it.
    ("/baywright.v1.ReportService/Own", Rule::Owner),
    ("/baywright.v1.QuoteService/Suggest", Rule::Figures),
    ("/baywright.v1.QuoteService/ListQuotes", Rule::Figures),
    ("/baywright.v1.QuoteService/ShowQuote", Rule::Figures),
    ("/baywright.v1.QuoteService/Learned", Rule::Figures),
    ("/baywright.v1.QuoteService/Honesty", Rule::Figures),
    ("/baywright.v1.QuoteService/Ahead", Rule::Figures),
    ("/baywright.v1.QuoteService/PastKnown", Rule::Owner),
    // Everything at once, names of customers and workers with it.
    ("/baywright.v1.ExportService/ExportJobs", Rule::Owner),
    ("/baywright.v1.AccessService/Renew", Rule::Device),
    ("/baywright.v1.AccessService/Enrol", Rule::OwnerHere),
    ("/baywright.v1.AccessService/ListDevices", Rule::Owner),
    ("/baywright.v1.AccessService/CutOff", Rule::Owner),
    ("/grpc.health.v1.Health/Check", Rule::Anyone),
    ("/grpc.health.v1.Health/Watch", Rule::Anyone),
    (
        "/grpc.reflection.v1.ServerReflection/ServerReflectionInfo",
        Rule::Anyone,
    ),
];

/// Tells whether a caller may call a method, by its path.
///
/// # Errors
/// With the sentence for whoever asked.
pub fn may_call(caller: &Caller, path: &str) -> Result<(), Status> {
    if let (Role::Unspecified, Via::User(user_id)) = (caller.role, &caller.via) {
        return Err(status::not_let_in(*user_id));
    }
    let rule = METHODS.iter().find(|(known, _)| *known == path);
    let Some((_, rule)) = rule else {
        return Err(status::no_such_method(path));
    };
    if allows(*rule, caller) {
        Ok(())
    } else {
        Err(status::not_permitted(caller, *rule))
    }
}

fn allows(rule: Rule, caller: &Caller) -> bool {
    let role = caller.role;
    match rule {
        Rule::Anyone => matches!(role, Role::Bay | Role::Owner | Role::Viewer),
        Rule::Posting => matches!(role, Role::Bay | Role::Owner),
        Rule::Figures => matches!(role, Role::Owner | Role::Viewer),
        Rule::Owner => role == Role::Owner,
        Rule::OwnerHere => role == Role::Owner && caller.is_local(),
        Rule::Device => matches!(caller.via, Via::Certificate { .. }) && role != Role::Unspecified,
    }
}

/// Puts the gate in front of a server's services.
#[derive(Debug, Clone)]
pub struct GateLayer {
    clock: Arc<dyn Clock>,
}

impl GateLayer {
    pub fn new(clock: Arc<dyn Clock>) -> Self {
        Self { clock }
    }
}

impl<S> Layer<S> for GateLayer {
    type Service = Gate<S>;

    fn layer(&self, inner: S) -> Gate<S> {
        Gate {
            inner,
            clock: Arc::clone(&self.clock),
        }
    }
}

/// Lets through what [`may_call`] allows, with the [`Caller`] beside it.
#[derive(Debug, Clone)]
pub struct Gate<S> {
    inner: S,
    clock: Arc<dyn Clock>,
}

type Answer<B> = Pin<Box<dyn Future<Output = Result<Response<B>, Infallible>> + Send>>;

impl<S, In, Out> Service<Request<In>> for Gate<S>
where
    S: Service<Request<In>, Response = Response<Out>, Error = Infallible>,
    S::Future: Send + 'static,
    Out: Default + Send + 'static,
{
    type Response = Response<Out>;
    type Error = Infallible;
    type Future = Answer<Out>;

    fn poll_ready(&mut self, cx: &mut Context<'_>) -> Poll<Result<(), Infallible>> {
        self.inner.poll_ready(cx)
    }

    fn call(&mut self, mut request: Request<In>) -> Answer<Out> {
        // Only connections of `access::conn` come here; another would be
        // nobody's, and gets nothing.
        let Some(peer) = request.extensions().get::<Peer>().cloned() else {
            return refused(status::no_caller());
        };
        peer.seen(self.clock.now());
        if let Err(status) = may_call(peer.caller(), request.uri().path()) {
            return refused(status);
        }
        request.extensions_mut().insert(peer.caller().clone());
        Box::pin(self.inner.call(request))
    }
}

fn refused<B: Default + Send + 'static>(status: Status) -> Answer<B> {
    Box::pin(std::future::ready(Ok(status.into_http())))
}

#[cfg(test)]
mod tests;
