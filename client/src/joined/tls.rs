//! TLS 1.3 to the shop's daemon, and to nobody else.
//!
//! A daemon is known by the authority that signed its certificate and by the one
//! name in it; its address may change. This device's clock is not asked: the
//! authority's and the daemon's certificates have no end, and a bay whose clock
//! is wrong must be able to post.

use std::sync::Arc;
use std::time::Duration;

use baywright_proto::SERVER_NAME;
use baywright_terms::join_code::FINGERPRINT_BYTES;
use rustls::client::danger::{HandshakeSignatureValid, ServerCertVerified, ServerCertVerifier};
use rustls::client::{Resumption, WebPkiServerVerifier};
use rustls::crypto::{CryptoProvider, ring};
use rustls::pki_types::{CertificateDer, PrivateKeyDer, ServerName, UnixTime};
use rustls::{
    CertificateError, ClientConfig, DigitallySignedStruct, Error, RootCertStore, SignatureScheme,
    version,
};
use sha2::{Digest as _, Sha256};

/// HTTP/2, the only thing spoken (RFC 7301).
const ALPN: &[u8] = b"h2";

/// An instant inside the life of every certificate of a shop's authority
/// (2026-01-01): what a clock that is right would say.
const INSIDE_S: u64 = 1_767_225_600;

/// Connects with this device's certificate.
pub(super) fn of_device(
    authority: &CertificateDer<'static>,
    certificate: CertificateDer<'static>,
    key: PrivateKeyDer<'static>,
) -> Result<Arc<ClientConfig>, Error> {
    let verifier = ShopVerifier {
        trust: Trust::Authority(chain_of(authority)?),
    };
    let mut config = builder(verifier)?.with_client_auth_cert(vec![certificate], key)?;
    finish(&mut config);
    Ok(Arc::new(config))
}

/// Connects to a daemon that is known by the fingerprint in a one-time code.
pub(crate) fn to_join(authority: [u8; FINGERPRINT_BYTES]) -> Result<Arc<ClientConfig>, Error> {
    let verifier = ShopVerifier {
        trust: Trust::Fingerprint(authority),
    };
    let mut config = builder(verifier)?.with_no_client_auth();
    finish(&mut config);
    Ok(Arc::new(config))
}

/// The one name in the daemon's certificate.
pub(crate) fn server_name() -> Result<ServerName<'static>, Error> {
    ServerName::try_from(SERVER_NAME).map_err(|e| Error::General(e.to_string()))
}

/// Tells whether a certificate has the fingerprint of a code.
pub(crate) fn has_fingerprint(certificate: &[u8], authority: [u8; FINGERPRINT_BYTES]) -> bool {
    Sha256::digest(certificate).starts_with(&authority)
}

fn builder(
    verifier: ShopVerifier,
) -> Result<rustls::ConfigBuilder<ClientConfig, rustls::client::WantsClientCert>, Error> {
    Ok(ClientConfig::builder_with_provider(provider())
        .with_protocol_versions(&[&version::TLS13])?
        .dangerous()
        .with_custom_certificate_verifier(Arc::new(verifier)))
}

fn finish(config: &mut ClientConfig) {
    config.alpn_protocols = vec![ALPN.to_vec()];
    // Each command is a process of its own; there is nothing to resume.
    config.resumption = Resumption::disabled();
}

fn provider() -> Arc<CryptoProvider> {
    Arc::new(ring::default_provider())
}

fn chain_of(authority: &CertificateDer<'static>) -> Result<Arc<WebPkiServerVerifier>, Error> {
    let mut roots = RootCertStore::empty();
    roots.add(authority.clone())?;
    WebPkiServerVerifier::builder_with_provider(Arc::new(roots), provider())
        .build()
        .map_err(|e| Error::General(e.to_string()))
}

#[derive(Debug)]
enum Trust {
    Authority(Arc<WebPkiServerVerifier>),
    /// The authority is the certificate behind the daemon's that has this fingerprint.
    Fingerprint([u8; FINGERPRINT_BYTES]),
}

#[derive(Debug)]
struct ShopVerifier {
    trust: Trust,
}

impl ServerCertVerifier for ShopVerifier {
    fn verify_server_cert(
        &self,
        end_entity: &CertificateDer<'_>,
        intermediates: &[CertificateDer<'_>],
        server_name: &ServerName<'_>,
        ocsp_response: &[u8],
        _now: UnixTime,
    ) -> Result<ServerCertVerified, Error> {
        let inside = UnixTime::since_unix_epoch(Duration::from_secs(INSIDE_S));
        let found;
        let chain = match &self.trust {
            Trust::Authority(chain) => chain,
            Trust::Fingerprint(authority) => {
                let shown = intermediates
                    .iter()
                    .find(|shown| has_fingerprint(shown, *authority))
                    .ok_or(Error::InvalidCertificate(CertificateError::UnknownIssuer))?;
                found = chain_of(&shown.clone().into_owned())?;
                &found
            }
        };
        // The authority itself is trusted, not shown as one between.
        chain.verify_server_cert(end_entity, &[], server_name, ocsp_response, inside)
    }

    fn verify_tls12_signature(
        &self,
        message: &[u8],
        cert: &CertificateDer<'_>,
        dss: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, Error> {
        let algorithms = provider().signature_verification_algorithms;
        rustls::crypto::verify_tls12_signature(message, cert, dss, &algorithms)
    }

    fn verify_tls13_signature(
        &self,
        message: &[u8],
        cert: &CertificateDer<'_>,
        dss: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, Error> {
        let algorithms = provider().signature_verification_algorithms;
        rustls::crypto::verify_tls13_signature(message, cert, dss, &algorithms)
    }

    fn supported_verify_schemes(&self) -> Vec<SignatureScheme> {
        provider()
            .signature_verification_algorithms
            .supported_schemes()
    }
}
