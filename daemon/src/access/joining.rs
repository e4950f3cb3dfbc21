//! One-time codes, and the port that is open while one lives.

use std::net::{IpAddr, SocketAddr};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use baywright_proto::v1;
use baywright_proto::v1::join_service_server::{JoinService, JoinServiceServer};
use baywright_terms::join_code::JoinCode;
use baywright_terms::time::{MINUTE_US, Micros};
use subtle::ConstantTimeEq as _;
use tokio::net::TcpListener;
use tokio_rustls::TlsAcceptor;
use tokio_util::sync::CancellationToken;
use tonic::{Request, Response, Status};
use uuid::Uuid;

use super::conn::{Conn, Peer};
use super::devices::{Device, RoleWord};
use super::listen::accept_each;
use super::{Access, AccessError, Caller, Kept, tls};
use crate::clock::Clock;
use crate::service::status;

/// How long a code lives: time to walk to the bay and type it.
pub const CODE_MINUTES: u64 = 15;

/// Wrong tries that a code survives, less one. Each meets 50 bits of secret.
pub const TRIES_MAX: u32 = 5;

/// Codes that live at once.
const CODES_MAX: usize = 8;

/// Connections on the joining port at once; each is open for one call.
const CONNECTIONS_MAX: usize = 8;

/// Longest that a connection on the joining port stays open, milliseconds.
const CONNECTION_MS_MAX: u64 = 20_000;

/// Largest message on the joining port, bytes: a signing request is below 1 kB.
const MESSAGE_BYTES_MAX: usize = 16 * 1024;

/// A code that was given out.
struct Live {
    secret: String,
    device: String,
    role: RoleWord,
    tries_left: u32,
    expires_us: i64,
    number: u64,
}

#[derive(Default)]
struct Window {
    codes: Vec<Live>,
    last_number: u64,
    /// The port, while it is open.
    port: Option<(u16, CancellationToken)>,
}

/// What `enrol` prints.
#[derive(Debug, Clone)]
pub struct GivenOut {
    pub code: JoinCode,
    pub expires_us: i64,
    pub port: u16,
}

/// Gives out codes and takes devices in.
#[derive(Clone)]
pub struct Joining(Arc<Inner>);

struct Inner {
    access: Access,
    /// Where the joining port is opened; port 0 takes a free one.
    at: SocketAddr,
    /// The port on which the daemon takes posts.
    main_port: u16,
    log_id: [u8; 16],
    clock: Arc<dyn Clock>,
    stop: CancellationToken,
    window: Mutex<Window>,
}

/// Secrets are not written into a trace.
impl std::fmt::Debug for Joining {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Joining")
            .field("at", &self.0.at)
            .finish_non_exhaustive()
    }
}

/// A code could not be given out.
#[derive(Debug, thiserror::Error)]
pub enum EnrolError {
    #[error("there are no certificates yet: `baywrightd init` makes the shop's authority")]
    NotInitialised,
    #[error(transparent)]
    Access(#[from] AccessError),
    #[error("{CODES_MAX} one-time codes live already: use one, or wait until one ends")]
    TooMany,
    #[error("the joining port {0} cannot be opened")]
    Port(SocketAddr, #[source] std::io::Error),
}

impl Joining {
    pub fn new(
        access: Access,
        at: SocketAddr,
        main_port: u16,
        log_id: [u8; 16],
        clock: Arc<dyn Clock>,
        stop: CancellationToken,
    ) -> Self {
        Self(Arc::new(Inner {
            access,
            at,
            main_port,
            log_id,
            clock,
            stop,
            window: Mutex::default(),
        }))
    }

    fn window(&self) -> MutexGuard<'_, Window> {
        self.0.window.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The one address on which devices join, where it is not every one.
    pub fn address(&self) -> Option<IpAddr> {
        let address = self.0.at.ip();
        (!address.is_unspecified()).then_some(address)
    }

    /// Makes a code for a device, opening the joining port where it is shut.
    ///
    /// # Errors
    /// If there is no authority, the name is taken, or the port cannot be opened.
    pub async fn enrol(&self, device: &str, role: RoleWord) -> Result<GivenOut, EnrolError> {
        let inner = &self.0;
        let kept = inner.access.kept().ok_or(EnrolError::NotInitialised)?;
        kept.devices.is_free(device)?;
        let port = self.open_port(kept).await?;
        let code = JoinCode::new(kept.authority.fingerprint(), tls::random()?);
        let now = inner.clock.now();
        let expires_us = now.0 + i64::try_from(CODE_MINUTES).unwrap_or(0) * MINUTE_US;
        let number = {
            let mut window = self.window();
            // A second code for the same device takes the place of the first.
            window.codes.retain(|live| live.device != device);
            if window.codes.len() >= CODES_MAX {
                return Err(EnrolError::TooMany);
            }
            window.last_number += 1;
            let number = window.last_number;
            window.codes.push(Live {
                secret: code.secret().to_owned(),
                device: device.to_owned(),
                role,
                tries_left: TRIES_MAX,
                expires_us,
                number,
            });
            number
        };
        self.end_in_time(number);
        tracing::info!(device, role = role.word(), "a one-time code was given out");
        Ok(GivenOut {
            code,
            expires_us,
            port,
        })
    }

    async fn open_port(&self, kept: &Kept) -> Result<u16, EnrolError> {
        if let Some((port, _)) = &self.window().port {
            return Ok(*port);
        }
        let at = self.0.at;
        let port_error = |error| EnrolError::Port(at, error);
        let listener = TcpListener::bind(at).await.map_err(port_error)?;
        let port = listener.local_addr().map_err(port_error)?.port();
        let config = tls::for_joining(&kept.authority, Arc::clone(&self.0.clock))?;
        let shut = self.0.stop.child_token();
        {
            let mut window = self.window();
            if let Some((other, _)) = &window.port {
                // Another call opened one meanwhile; this one closes again.
                return Ok(*other);
            }
            window.port = Some((port, shut.clone()));
        }
        let acceptor = TlsAcceptor::from(config);
        let incoming = accept_each(
            listener,
            CONNECTIONS_MAX,
            shut.clone(),
            move |raw, place| {
                let acceptor = acceptor.clone();
                let (stream, _): (tokio::net::TcpStream, SocketAddr) = raw;
                async move {
                    let stream = acceptor.accept(stream).await?;
                    let nobody = Peer::unlimited(Caller::JOINING);
                    Ok(Conn::new(stream, nobody, Some(place)))
                }
            },
        );
        let service =
            JoinServiceServer::new(self.clone()).max_decoding_message_size(MESSAGE_BYTES_MAX);
        let age = Duration::from_millis(CONNECTION_MS_MAX);
        let serving = crate::lifecycle::server()
            .max_connection_age(age)
            .max_connection_age_grace(age)
            .add_service(service)
            .serve_with_incoming_shutdown(incoming, shut.clone().cancelled_owned());
        tokio::spawn(async move {
            tracing::info!(port, "the joining port is open");
            // The answer of the call that used up the code goes out before.
            if let Err(error) = serving.await {
                tracing::warn!(%error, "the joining port failed");
            }
            tracing::info!(port, "the joining port is shut");
        });
        Ok(port)
    }

    /// Ends a code when its time is over.
    fn end_in_time(&self, number: u64) {
        let joining = self.clone();
        tokio::spawn(async move {
            let life = Duration::from_secs(CODE_MINUTES * 60);
            tokio::select! {
                () = joining.0.stop.cancelled() => {}
                () = tokio::time::sleep(life) => {
                    let mut window = joining.window();
                    window.codes.retain(|live| live.number != number);
                    window.shut_if_idle();
                }
            }
        });
    }

    /// Takes the code of a secret, if one lives. A wrong secret costs every live
    /// code a try, because nobody can say which of them it was meant to be.
    fn take(&self, secret: &str, now: Micros) -> Option<(String, RoleWord)> {
        let mut window = self.window();
        window.codes.retain(|live| now.0 < live.expires_us);
        let mut found = None;
        for (at, live) in window.codes.iter().enumerate() {
            if bool::from(live.secret.as_bytes().ct_eq(secret.as_bytes())) {
                found = Some(at);
            }
        }
        let taken = if let Some(at) = found {
            let live = window.codes.remove(at);
            Some((live.device, live.role))
        } else {
            for live in &mut window.codes {
                live.tries_left = live.tries_left.saturating_sub(1);
            }
            window.codes.retain(|live| live.tries_left > 0);
            None
        };
        window.shut_if_idle();
        taken
    }
}

impl Window {
    fn shut_if_idle(&mut self) {
        if self.codes.is_empty()
            && let Some((_, shut)) = self.port.take()
        {
            shut.cancel();
        }
    }
}

#[tonic::async_trait]
impl JoinService for Joining {
    async fn join(
        &self,
        request: Request<v1::JoinRequest>,
    ) -> Result<Response<v1::JoinResponse>, Status> {
        let v1::JoinRequest {
            secret,
            signing_request,
            ..
        } = request.into_inner();
        let inner = &self.0;
        let now = inner.clock.now();
        let Some(kept) = inner.access.kept() else {
            return Err(status::wrong_code());
        };
        let Some((device, role)) = self.take(&secret, now) else {
            tracing::warn!("somebody tried to join with a code that does not live");
            return Err(status::wrong_code());
        };
        let enrolment = Uuid::now_v7();
        let issued = kept
            .authority
            .sign(&signing_request, &device, enrolment, now)
            .map_err(|error| status::bad_signing_request(&error))?;
        let entry = Device {
            name: device.clone(),
            role,
            enrolment,
            user_id: None,
            enrolled_us: now.0,
            expires_us: issued.expires_us,
            cut_off_us: 0,
        };
        kept.devices
            .add(entry)
            .map_err(|error| status::of_access(&error))?;
        tracing::info!(device, role = role.word(), "a device joined");
        Ok(Response::new(v1::JoinResponse {
            device,
            role: v1::Role::from(role).into(),
            certificate: issued.certificate,
            authority: kept.authority.certificate().to_vec(),
            port: u32::from(inner.main_port),
            log_id: inner.log_id.to_vec(),
            expires_us: issued.expires_us,
        }))
    }
}
