//! The shop's own authority: it signs the daemon's certificate and those of the
//! devices, and nobody else trusts it.
//!
//! The authority's and the daemon's certificates have no well-defined end
//! (RFC 5280, section 4.1.2.5): their keys lie on the same disk, so that an end
//! would protect nobody, and a bay whose clock is wrong must be able to post.
//! Devices' certificates end after [`DEVICE_DAYS`] and are renewed by the device.

use std::path::Path;

use baywright_proto::SERVER_NAME;
use baywright_terms::join_code::FINGERPRINT_BYTES;
use baywright_terms::time::{DAY_US, Micros};
use rcgen::{
    BasicConstraints, Certificate, CertificateParams, CertificateSigningRequestParams,
    DistinguishedName, DnType, ExtendedKeyUsagePurpose, IsCa, Issuer, KeyPair, KeyUsagePurpose,
    SanType, date_time_ymd,
};
use rustls::pki_types::{CertificateDer, CertificateSigningRequestDer, PrivateKeyDer};
use sha2::{Digest as _, Sha256};
use uuid::Uuid;
use x509_parser::extensions::GeneralName;
use x509_parser::prelude::{FromDer as _, X509Certificate};

use super::{AccessError, store};

/// Days for which a device's certificate is good. A tablet that lay in a drawer
/// for a season still posts; one that nobody renews ends by itself.
pub const DEVICE_DAYS: i64 = 365;

const AUTHORITY_KEY: &str = "authority.key";
const AUTHORITY_CERTIFICATE: &str = "authority.crt";
const SERVER_KEY: &str = "server.key";
const SERVER_CERTIFICATE: &str = "server.crt";

/// Keys could not be made, read or used.
#[derive(Debug, thiserror::Error)]
pub enum AuthorityError {
    #[error("a certificate or key cannot be made or read")]
    Certificate(#[from] rcgen::Error),
    #[error("{0} holds no key or certificate that can be read: restore the folder from a backup")]
    Damaged(&'static str),
    #[error("the clock of this computer cannot be right: {0} is outside the years 2020 to 2200")]
    Clock(Micros),
}

/// The authority with its key, and the daemon's own certificate.
pub struct Authority {
    issuer: Issuer<'static, KeyPair>,
    certificate: CertificateDer<'static>,
    server_key: KeyPair,
    server_certificate: CertificateDer<'static>,
}

/// Keys are not written into a trace.
impl std::fmt::Debug for Authority {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Authority")
            .field("fingerprint", &self.fingerprint())
            .finish_non_exhaustive()
    }
}

/// A certificate for a device.
#[derive(Debug, Clone)]
pub struct Issued {
    /// X.509, DER.
    pub certificate: Vec<u8>,
    pub expires_us: i64,
}

impl Authority {
    /// Makes new keys, for a new shop.
    pub fn make() -> Result<Self, AuthorityError> {
        let key = KeyPair::generate()?;
        let mut params = lasting(&Name::Authority);
        params.is_ca = IsCa::Ca(BasicConstraints::Constrained(0));
        params.key_usages = vec![KeyUsagePurpose::KeyCertSign, KeyUsagePurpose::CrlSign];
        let certificate = params.self_signed(&key)?;
        let issuer = Issuer::new(params, key);
        let server_key = KeyPair::generate()?;
        let server = server_certificate(&server_key, &issuer)?;
        Ok(Self {
            issuer,
            certificate: certificate.der().clone(),
            server_key,
            server_certificate: server.der().clone(),
        })
    }

    /// Writes keys and certificates into a folder, as PEM.
    pub fn save(&self, dir: &Path) -> Result<(), AccessError> {
        let pem = |der: &CertificateDer<'_>| pem_of("CERTIFICATE", der);
        store::write(
            dir,
            AUTHORITY_KEY,
            self.issuer.key().serialize_pem().as_bytes(),
        )?;
        store::write(
            dir,
            AUTHORITY_CERTIFICATE,
            pem(&self.certificate).as_bytes(),
        )?;
        store::write(dir, SERVER_KEY, self.server_key.serialize_pem().as_bytes())?;
        store::write(
            dir,
            SERVER_CERTIFICATE,
            pem(&self.server_certificate).as_bytes(),
        )
    }

    /// Reads what [`Authority::save`] wrote.
    pub fn load(dir: &Path) -> Result<Self, AccessError> {
        let key = read_key(dir, AUTHORITY_KEY)?;
        let certificate = read_certificate(dir, AUTHORITY_CERTIFICATE)?;
        let issuer =
            Issuer::from_ca_cert_der(&certificate, key).map_err(AuthorityError::Certificate)?;
        Ok(Self {
            issuer,
            server_key: read_key(dir, SERVER_KEY)?,
            server_certificate: read_certificate(dir, SERVER_CERTIFICATE)?,
            certificate,
        })
    }

    /// The authority's certificate.
    pub fn certificate(&self) -> &CertificateDer<'static> {
        &self.certificate
    }

    /// The first bytes of the SHA-256 of the authority's certificate (DER).
    pub fn fingerprint(&self) -> [u8; FINGERPRINT_BYTES] {
        let whole: [u8; 32] = Sha256::digest(&self.certificate).into();
        let mut first = [0; FINGERPRINT_BYTES];
        for (to, from) in first.iter_mut().zip(whole) {
            *to = from;
        }
        first
    }

    /// The daemon's certificate with the authority's behind it, and its key.
    pub fn server(&self) -> (Vec<CertificateDer<'static>>, PrivateKeyDer<'static>) {
        let chain = vec![self.server_certificate.clone(), self.certificate.clone()];
        let key = PrivateKeyDer::Pkcs8(self.server_key.serialize_der().into());
        (chain, key)
    }

    /// Signs a device's request. Of the request only the key counts, whose
    /// possession its signature proves; name and use are the authority's.
    ///
    /// # Errors
    /// If the request cannot be read or is not signed by its own key.
    pub fn sign(
        &self,
        request: &[u8],
        device: &str,
        enrolment: Uuid,
        now: Micros,
    ) -> Result<Issued, AuthorityError> {
        let request = CertificateSigningRequestDer::from(request);
        let request = CertificateSigningRequestParams::from_der(&request)?;
        let ends = Micros(now.0.saturating_add(DEVICE_DAYS * DAY_US));
        let mut params = lasting(&Name::Device(device));
        let (year, month, day) = civil(ends)?;
        params.not_after = date_time_ymd(year, month, day);
        let urn = format!("urn:uuid:{}", enrolment.hyphenated());
        params.subject_alt_names = vec![SanType::URI(urn.try_into()?)];
        params.key_usages = vec![KeyUsagePurpose::DigitalSignature];
        params.extended_key_usages = vec![ExtendedKeyUsagePurpose::ClientAuth];
        params.use_authority_key_identifier_extension = true;
        let signed = params.signed_by(&request.public_key, &self.issuer)?;
        Ok(Issued {
            expires_us: expires_us(signed.der()),
            certificate: signed.der().to_vec(),
        })
    }
}

enum Name<'a> {
    Authority,
    Server,
    Device(&'a str),
}

/// A certificate that is good from 2020 and has no well-defined end.
fn lasting(name: &Name<'_>) -> CertificateParams {
    let mut params = CertificateParams::default();
    params.not_before = date_time_ymd(2020, 1, 1);
    // GeneralizedTime 99991231235959Z stands for it; a day counts from midnight here.
    params.not_after = date_time_ymd(9999, 12, 31);
    let common = match name {
        Name::Authority => "Baywright shop authority".to_owned(),
        Name::Server => SERVER_NAME.to_owned(),
        Name::Device(device) => (*device).to_owned(),
    };
    params.distinguished_name = DistinguishedName::new();
    params.distinguished_name.push(DnType::CommonName, common);
    params
}

fn server_certificate(
    key: &KeyPair,
    issuer: &Issuer<'static, KeyPair>,
) -> Result<Certificate, AuthorityError> {
    let mut params = lasting(&Name::Server);
    params.subject_alt_names = vec![SanType::DnsName(SERVER_NAME.try_into()?)];
    params.key_usages = vec![KeyUsagePurpose::DigitalSignature];
    params.extended_key_usages = vec![ExtendedKeyUsagePurpose::ServerAuth];
    params.use_authority_key_identifier_extension = true;
    Ok(params.signed_by(key, issuer)?)
}

/// The day of an instant, in UTC.
fn civil(at: Micros) -> Result<(i32, u8, u8), AuthorityError> {
    let clock = || AuthorityError::Clock(at);
    let at = jiff::Timestamp::from_microsecond(at.0).map_err(|_| clock())?;
    let date = jiff::tz::TimeZone::UTC.to_datetime(at).date();
    if !(2020..2200).contains(&date.year()) {
        return Err(clock());
    }
    let month = u8::try_from(date.month()).map_err(|_| clock())?;
    let day = u8::try_from(date.day()).map_err(|_| clock())?;
    Ok((i32::from(date.year()), month, day))
}

/// Which enrolment a certificate is of: the UUID among its alternative names
/// (`urn:uuid:`, RFC 9562). The caller has checked who signed it.
pub fn enrolment_of(der: &[u8]) -> Option<Uuid> {
    let (_, certificate) = X509Certificate::from_der(der).ok()?;
    let names = certificate.subject_alternative_name().ok()??;
    names
        .value
        .general_names
        .iter()
        .find_map(|name| match name {
            GeneralName::URI(uri) => Uuid::try_parse(uri.strip_prefix("urn:uuid:")?).ok(),
            _ => None,
        })
}

/// When a certificate ends, Unix microseconds; 0: it cannot be read.
fn expires_us(der: &[u8]) -> i64 {
    X509Certificate::from_der(der)
        .map_or(0, |(_, certificate)| {
            certificate.validity().not_after.timestamp()
        })
        .saturating_mul(1_000_000)
}

fn read_key(dir: &Path, name: &'static str) -> Result<KeyPair, AccessError> {
    let text = store::read(dir, name)?;
    Ok(KeyPair::from_pem(&text).map_err(|_| AuthorityError::Damaged(name))?)
}

fn read_certificate(
    dir: &Path,
    name: &'static str,
) -> Result<CertificateDer<'static>, AccessError> {
    use rustls::pki_types::pem::PemObject as _;
    let text = store::read(dir, name)?;
    let found = CertificateDer::from_pem_slice(text.as_bytes());
    Ok(found.map_err(|_| AuthorityError::Damaged(name))?)
}

/// DER as PEM text (RFC 7468).
fn pem_of(label: &str, der: &[u8]) -> String {
    pem::encode_config(
        &pem::Pem::new(label, der),
        pem::EncodeConfig::new().set_line_ending(pem::LineEnding::LF),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    const NOW: Micros = Micros(1_795_424_400_000_000);

    fn request(key: &KeyPair) -> Vec<u8> {
        let params = CertificateParams::default();
        params.serialize_request(key).unwrap().der().to_vec()
    }

    #[test]
    fn a_device_s_certificate_names_its_enrolment_and_ends_after_a_year() {
        let dir = tempfile::tempdir().unwrap();
        let made = Authority::make().unwrap();
        made.save(dir.path()).unwrap();
        let authority = Authority::load(dir.path()).unwrap();
        assert_eq!(authority.fingerprint(), made.fingerprint());
        let enrolment = Uuid::now_v7();
        let key = KeyPair::generate().unwrap();
        let issued = authority.sign(&request(&key), "bay-2", enrolment, NOW);
        let issued = issued.unwrap();
        assert_eq!(enrolment_of(&issued.certificate), Some(enrolment));
        let days = (issued.expires_us - NOW.0) / DAY_US;
        assert!((DEVICE_DAYS - 1..=DEVICE_DAYS).contains(&days), "{days}");
        assert_eq!(enrolment_of(authority.certificate()), None);
    }

    #[test]
    fn a_request_that_its_key_did_not_sign_is_refused() {
        let authority = Authority::make().unwrap();
        let mut altered = request(&KeyPair::generate().unwrap());
        let last = altered.len() - 1;
        altered[last] ^= 1;
        for bytes in [altered.as_slice(), b"", b"no request"] {
            let signed = authority.sign(bytes, "bay-2", Uuid::now_v7(), NOW);
            assert!(signed.is_err());
        }
    }

    #[test]
    fn a_clock_that_cannot_be_right_signs_nothing() {
        let authority = Authority::make().unwrap();
        let bytes = request(&KeyPair::generate().unwrap());
        let signed = authority.sign(&bytes, "bay-2", Uuid::now_v7(), Micros(0));
        assert!(matches!(signed, Err(AuthorityError::Clock(_))));
    }
}
