//! TLS 1.3 on the daemon's ports.

use std::sync::Arc;
use std::time::Duration;

use rustls::client::danger::HandshakeSignatureValid;
use rustls::crypto::{CryptoProvider, ring};
use rustls::pki_types::{CertificateDer, UnixTime};
use rustls::server::danger::{ClientCertVerified, ClientCertVerifier};
use rustls::server::{NoServerSessionStorage, WebPkiClientVerifier};
use rustls::time_provider::TimeProvider;
use rustls::{
    CertificateError, DigitallySignedStruct, DistinguishedName, Error, RootCertStore, ServerConfig,
    SignatureScheme, version,
};

use super::authority::{Authority, enrolment_of};
use super::devices::Devices;
use super::{AccessError, Kept};
use crate::clock::Clock;

/// HTTP/2, the only thing spoken (RFC 7301).
const ALPN: &[u8] = b"h2";

/// What devices connect with: their certificate is asked for, and must be of an
/// enrolment that stands.
pub fn for_devices(kept: &Kept, clock: Arc<dyn Clock>) -> Result<Arc<ServerConfig>, AccessError> {
    let verifier = DeviceVerifier::new(&kept.authority, kept.devices.clone())?;
    config(&kept.authority, Some(Arc::new(verifier)), clock)
}

/// What a device joins with: it has no certificate yet.
pub fn for_joining(
    authority: &Authority,
    clock: Arc<dyn Clock>,
) -> Result<Arc<ServerConfig>, AccessError> {
    config(authority, None, clock)
}

fn config(
    authority: &Authority,
    verifier: Option<Arc<dyn ClientCertVerifier>>,
    clock: Arc<dyn Clock>,
) -> Result<Arc<ServerConfig>, AccessError> {
    let builder = ServerConfig::builder_with_details(provider(), Arc::new(DaemonTime(clock)))
        .with_protocol_versions(&[&version::TLS13])?;
    let builder = match verifier {
        Some(verifier) => builder.with_client_cert_verifier(verifier),
        None => builder.with_no_client_auth(),
    };
    let (chain, key) = authority.server();
    let mut config = builder.with_single_cert(chain, key)?;
    config.alpn_protocols = vec![ALPN.to_vec()];
    // A ticket would let a device back in without showing its certificate, also
    // one that was cut off meanwhile.
    config.send_tls13_tickets = 0;
    config.session_storage = Arc::new(NoServerSessionStorage {});
    Ok(Arc::new(config))
}

/// Certificates end by the daemon's clock, which tests can set.
#[derive(Debug)]
struct DaemonTime(Arc<dyn Clock>);

impl TimeProvider for DaemonTime {
    fn current_time(&self) -> Option<UnixTime> {
        let since = u64::try_from(self.0.now().0).ok()?;
        Some(UnixTime::since_unix_epoch(Duration::from_micros(since)))
    }
}

/// The one provider of cryptography, named so that none is picked by itself.
fn provider() -> Arc<CryptoProvider> {
    Arc::new(ring::default_provider())
}

/// A number nobody can guess.
///
/// # Errors
/// If the system gives no randomness.
pub fn random() -> Result<u64, AccessError> {
    let mut bytes = [0; 8];
    provider()
        .secure_random
        .fill(&mut bytes)
        .map_err(|_| Error::FailedToGetRandomBytes)?;
    Ok(u64::from_be_bytes(bytes))
}

/// Asks the authority's signature first, then whether the enrolment stands.
#[derive(Debug)]
struct DeviceVerifier {
    chain: Arc<dyn ClientCertVerifier>,
    devices: Devices,
}

impl DeviceVerifier {
    fn new(authority: &Authority, devices: Devices) -> Result<Self, AccessError> {
        let mut roots = RootCertStore::empty();
        roots.add(authority.certificate().clone())?;
        let chain = WebPkiClientVerifier::builder_with_provider(Arc::new(roots), provider())
            // The authority's name is nobody's business before it is known who asks.
            .clear_root_hint_subjects()
            .build()
            .map_err(|error| Error::General(error.to_string()))?;
        Ok(Self { chain, devices })
    }
}

impl ClientCertVerifier for DeviceVerifier {
    fn root_hint_subjects(&self) -> &[DistinguishedName] {
        self.chain.root_hint_subjects()
    }

    fn verify_client_cert(
        &self,
        end_entity: &CertificateDer<'_>,
        intermediates: &[CertificateDer<'_>],
        now: UnixTime,
    ) -> Result<ClientCertVerified, Error> {
        let verified = self
            .chain
            .verify_client_cert(end_entity, intermediates, now)?;
        let stands =
            enrolment_of(end_entity).is_some_and(|enrolment| self.devices.stands(enrolment));
        if stands {
            Ok(verified)
        } else {
            Err(Error::InvalidCertificate(CertificateError::Revoked))
        }
    }

    fn verify_tls12_signature(
        &self,
        message: &[u8],
        cert: &CertificateDer<'_>,
        dss: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, Error> {
        self.chain.verify_tls12_signature(message, cert, dss)
    }

    fn verify_tls13_signature(
        &self,
        message: &[u8],
        cert: &CertificateDer<'_>,
        dss: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, Error> {
        self.chain.verify_tls13_signature(message, cert, dss)
    }

    fn supported_verify_schemes(&self) -> Vec<SignatureScheme> {
        self.chain.supported_verify_schemes()
    }
}
