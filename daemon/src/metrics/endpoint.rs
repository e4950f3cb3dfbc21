//! A page of figures and a line of health over HTTP, on the loopback alone.
//!
//! Whoever reads it can hold up nothing: a few connections, one request each, a
//! deadline over the whole of it, and figures that are made without waiting.

use std::convert::Infallible;
use std::net::{Ipv4Addr, SocketAddr};
use std::sync::Arc;
use std::time::Duration;

use http::header::{ALLOW, CACHE_CONTROL, CONTENT_TYPE};
use http::{HeaderValue, Method, Request, Response, StatusCode};
use hyper::server::conn::http1;
use hyper::service::service_fn;
use hyper_util::rt::{TokioIo, TokioTimer};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::Semaphore;
use tokio_util::sync::CancellationToken;

use super::Page;

/// Where the page is read, unless another address is given.
pub const DEFAULT_PORT: u16 = 7423;

/// Readers at once: one that collects, one that alarms, a person, and one more.
/// Beyond it a connection is closed without a word, and tried again by itself.
pub(crate) const CONNECTIONS_MAX: usize = 4;

/// Longest that a connection lives, milliseconds. The page is made in one; what
/// takes longer is a reader that is stuck.
pub(crate) const CONNECTION_MS_MAX: u64 = 5_000;

/// Longest that the lines of a request may take to arrive, milliseconds.
const HEADER_MS_MAX: u64 = 2_000;

/// Largest request, bytes: a line and some headers. The library's own least.
const REQUEST_BYTES_MAX: usize = 8 * 1024;

/// Most headers of a request. Browsers send about fifteen, collectors five.
const HEADERS_MAX: usize = 32;

/// The text format of OpenMetrics, as its specification names it.
const OPEN_METRICS: &str = "application/openmetrics-text; version=1.0.0; charset=utf-8";

const TEXT: &str = "text/plain; charset=utf-8";

/// The address that is listened on where none is given.
pub fn default_address() -> SocketAddr {
    SocketAddr::from((Ipv4Addr::LOCALHOST, DEFAULT_PORT))
}

/// Answers until the stop. Ends by itself then, whatever readers do.
pub async fn serve(listener: TcpListener, page: Page, stop: CancellationToken) {
    let page = Arc::new(page);
    let room = Arc::new(Semaphore::new(CONNECTIONS_MAX));
    loop {
        let accepted = tokio::select! {
            () = stop.cancelled() => return,
            accepted = listener.accept() => accepted,
        };
        let stream = match accepted {
            Ok((stream, _)) => stream,
            Err(error) => {
                // Out of files, most likely: a moment later there may be some.
                tracing::warn!(%error, "a reader of the metrics could not be let in");
                tokio::time::sleep(Duration::from_millis(HEADER_MS_MAX)).await;
                continue;
            }
        };
        let Ok(place) = Arc::clone(&room).try_acquire_owned() else {
            tracing::debug!("more readers of the metrics than are let in");
            continue;
        };
        let (page, stop) = (Arc::clone(&page), stop.clone());
        tokio::spawn(async move {
            let limit = Duration::from_millis(CONNECTION_MS_MAX);
            tokio::select! {
                () = stop.cancelled() => {}
                _ = tokio::time::timeout(limit, connection(stream, page)) => {}
            }
            drop(place);
        });
    }
}

/// Answers one request.
async fn connection(stream: TcpStream, page: Arc<Page>) {
    let service = service_fn(move |request: Request<hyper::body::Incoming>| {
        let response = answer(&page, request.method(), request.uri().path());
        async move { Ok::<_, Infallible>(response) }
    });
    let served = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(Duration::from_millis(HEADER_MS_MAX))
        .max_buf_size(REQUEST_BYTES_MAX)
        .max_headers(HEADERS_MAX)
        // One request each, so that nobody keeps a place.
        .keep_alive(false)
        .serve_connection(TokioIo::new(stream), service)
        .await;
    if let Err(error) = served {
        tracing::debug!(%error, "a reader of the metrics went away");
    }
}

fn answer(page: &Page, method: &Method, path: &str) -> Response<String> {
    let (status, kind, body) = match (path, method) {
        ("/metrics" | "/health", &Method::GET | &Method::HEAD) => told(page, path),
        ("/metrics" | "/health", _) => (
            StatusCode::METHOD_NOT_ALLOWED,
            TEXT,
            "this is only read: GET\n".to_owned(),
        ),
        _ => (
            StatusCode::NOT_FOUND,
            TEXT,
            "there are /metrics and /health\n".to_owned(),
        ),
    };
    let mut response = Response::new(body);
    *response.status_mut() = status;
    let headers = response.headers_mut();
    headers.insert(CONTENT_TYPE, HeaderValue::from_static(kind));
    headers.insert(CACHE_CONTROL, HeaderValue::from_static("no-store"));
    if status == StatusCode::METHOD_NOT_ALLOWED {
        headers.insert(ALLOW, HeaderValue::from_static("GET, HEAD"));
    }
    response
}

fn told(page: &Page, path: &str) -> (StatusCode, &'static str, String) {
    if path == "/health" {
        return match page.health() {
            Ok(seq) => {
                let line = format!("ok: posts are appended, the log is at seq {seq}\n");
                (StatusCode::OK, TEXT, line)
            }
            // In a line, whatever a cause says.
            Err(why) => {
                let line = why.split_whitespace().collect::<Vec<_>>().join(" ");
                (StatusCode::SERVICE_UNAVAILABLE, TEXT, line + "\n")
            }
        };
    }
    match page.figures() {
        Ok(figures) => (StatusCode::OK, OPEN_METRICS, figures),
        Err(error) => {
            tracing::error!(%error, "the figures could not be written out");
            let line = "the figures could not be written out; the trace names the cause\n";
            (StatusCode::INTERNAL_SERVER_ERROR, TEXT, line.to_owned())
        }
    }
}
