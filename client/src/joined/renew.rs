//! A new certificate before the old one ends, without anybody asking for it.

use std::time::Duration;

use baywright_proto::v1;
use baywright_proto::v1::access_service_client::AccessServiceClient;
use tonic::transport::Channel;

use super::{Joined, NewKey};
use crate::connect::CALL_MS_MAX;
use crate::error::Error;

/// Asks for a certificate with a new key, and keeps both. The old one stays good
/// until it ends, so that nothing is lost where this fails half-way.
pub async fn renew(joined: &mut Joined, channel: Channel) -> Result<(), Error> {
    let key = NewKey::make()?;
    let request = v1::RenewRequest {
        signing_request: key.request.clone(),
    };
    let limit = Duration::from_millis(CALL_MS_MAX);
    let mut client = AccessServiceClient::new(channel);
    let answer = match tokio::time::timeout(limit, client.renew(request)).await {
        Ok(Ok(answer)) => answer.into_inner(),
        Ok(Err(status)) => return Err(Error::from_status(&status, "a new certificate")),
        Err(_) => {
            return Err(Error::unreachable(
                "The daemon gave no new certificate in time.",
            ));
        }
    };
    joined.renewed(&key, &answer.certificate, answer.expires_us)
}
