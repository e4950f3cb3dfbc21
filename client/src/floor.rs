//! The floor as the daemon sees it, kept for when the daemon is away.

use baywright_proto::v1;
use baywright_proto::v1::floor_service_client::FloorServiceClient;

use crate::context::Context;
use crate::error::Error;

/// Asks for the whole floor, and keeps the answer.
pub fn ask(context: &Context) -> Result<v1::NowResponse, Error> {
    let request = v1::NowRequest::default();
    let now = context.call("the floor", async |channel| {
        FloorServiceClient::new(channel).now(request).await
    })?;
    context.note_revision(now.catalogue_revision);
    // A copy that cannot be kept is only missed offline.
    let _ = context.cache().keep_now(&now);
    Ok(now)
}

/// The floor, or as it was last seen here where the daemon does not answer.
pub fn ask_or_remember(context: &Context) -> Result<Seen, Error> {
    match ask(context) {
        Ok(now) => Ok(Seen { now, away: None }),
        Err(why) => match context.cache().now() {
            Some(now) => Ok(Seen {
                now,
                away: Some(why),
            }),
            None => Err(why),
        },
    }
}

/// A look at the floor.
#[derive(Debug, Clone, PartialEq)]
pub struct Seen {
    pub now: v1::NowResponse,
    /// Why it is an old one; `None`: it is from just now.
    pub away: Option<Error>,
}

impl Seen {
    /// The bay of this code.
    pub fn bay(&self, code: &str) -> Option<&v1::NowBay> {
        self.now.bays.iter().find(|b| b.bay == code)
    }

    /// Workers who are on a stage in this bay now, by code.
    pub fn workers_in(&self, bay: &str) -> Vec<&str> {
        self.now
            .workers
            .iter()
            .filter(|w| w.bay == bay && !w.on_break && !w.stage.is_empty())
            .map(|w| w.worker.as_str())
            .collect()
    }
}
