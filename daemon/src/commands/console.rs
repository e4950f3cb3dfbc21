//! The way from a command on the server to the daemon that runs there: its Unix socket.

use std::future::Future;
use std::path::{Path, PathBuf};
use std::time::Duration;

use anyhow::{Context as _, bail};
use baywright_proto::DEFAULT_SOCKET;
use baywright_proto::v1::access_service_client::AccessServiceClient;
use hyper_util::rt::TokioIo;
use tokio::net::UnixStream;
use tonic::transport::{Channel, Endpoint, Uri};
use tonic::{Response, Status};

use crate::config::{PACKAGED_DATA_DIR, SOCKET_FILE};

/// Longest wait for the daemon's answer, milliseconds.
const CALL_MS_MAX: u64 = 5_000;

/// Where the daemon of a data directory may listen, the likeliest first.
fn sockets(data_dir: &Path) -> Vec<PathBuf> {
    let own = data_dir.join(SOCKET_FILE);
    if data_dir == Path::new(PACKAGED_DATA_DIR) {
        vec![PathBuf::from(DEFAULT_SOCKET), own]
    } else {
        vec![own]
    }
}

/// Makes one call to the daemon of a data directory. `Ok(None)`: none runs.
///
/// # Errors
/// With the daemon's own sentence where it refuses.
pub(super) fn ask<T, F>(
    data_dir: &Path,
    socket: Option<&Path>,
    call: impl FnOnce(AccessServiceClient<Channel>) -> F,
) -> anyhow::Result<Option<T>>
where
    F: Future<Output = Result<Response<T>, Status>>,
{
    let sockets = socket.map_or_else(|| sockets(data_dir), |path| vec![path.to_owned()]);
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .context("the runtime could not be started")?;
    runtime.block_on(async {
        let Some(channel) = connect(&sockets).await else {
            return Ok(None);
        };
        let limit = Duration::from_millis(CALL_MS_MAX);
        match tokio::time::timeout(limit, call(AccessServiceClient::new(channel))).await {
            Ok(Ok(answer)) => Ok(Some(answer.into_inner())),
            Ok(Err(status)) => bail!("{}", status.message()),
            Err(_) => bail!("the daemon did not answer within {} s", CALL_MS_MAX / 1_000),
        }
    })
}

async fn connect(sockets: &[PathBuf]) -> Option<Channel> {
    for path in sockets {
        let path = path.clone();
        let connector = tower::service_fn(move |_: Uri| {
            let path = path.clone();
            async move { UnixStream::connect(path).await.map(TokioIo::new) }
        });
        let endpoint = Endpoint::from_static("http://localhost");
        if let Ok(channel) = endpoint.connect_with_connector(connector).await {
            return Some(channel);
        }
    }
    None
}
