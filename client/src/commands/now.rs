//! `bay now`: the floor as it is.

use baywright_proto::v1;
use baywright_proto::v1::floor_service_client::FloorServiceClient;
use clap::Args;
use serde_json::json;

use crate::answer::Outcome;
use crate::context::Context;
use crate::error::Error;

/// What is on in the shop, or in one bay.
#[derive(Debug, Default, Args)]
pub struct NowArgs {
    /// Every bay, even where --bay names one.
    #[arg(long)]
    pub all: bool,
}

pub fn run(context: &Context, _args: &NowArgs) -> Result<Outcome, Error> {
    let request = v1::NowRequest::default();
    let now = context.call("the floor", async |channel| {
        FloorServiceClient::new(channel).now(request).await
    })?;
    let json = serde_json::to_value(&now).unwrap_or_else(|_| json!({}));
    Ok(Outcome::new(format!("{} bays", now.bays.len()), json))
}
