//! What this device got when it joined: its key and certificate, the shop's
//! authority, and where the daemon is. For its user alone.

pub mod renew;
pub mod tls;

use std::path::{Path, PathBuf};
use std::sync::Arc;

use rcgen::{CertificateParams, DistinguishedName, DnType, KeyPair};
use rustls::ClientConfig;
use rustls::pki_types::pem::PemObject as _;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use serde::{Deserialize, Serialize};

use crate::cache::write_whole;
use crate::error::Error;

/// Folder in the data folder.
const FOLDER: &str = "joined";

/// Key and certificate, in one file so that a renewal replaces both or neither.
const DEVICE_FILE: &str = "device.pem";
const AUTHORITY_FILE: &str = "authority.pem";
/// Written last: without it this device has not joined.
const ABOUT_FILE: &str = "joined.json";

/// Days before its end from which on a certificate is renewed. It is good for
/// 365: four months of regular use, then eight in which one command is enough.
const RENEW_DAYS: i64 = 245;

const DAY_US: i64 = 24 * 60 * 60 * 1_000_000;

/// What is known of the joining.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct About {
    /// `HOST:PORT` of the daemon.
    pub server: String,
    /// What this device is called.
    pub device: String,
    /// bay, owner or viewer.
    pub role: String,
    /// When the certificate ends, Unix microseconds by the daemon's clock.
    pub expires_us: i64,
}

/// A device that joined.
#[derive(Debug, Clone)]
pub struct Joined {
    folder: PathBuf,
    pub about: About,
}

/// A key made on this device, and the request to have it signed.
pub(crate) struct NewKey {
    key: KeyPair,
    /// PKCS #10, DER.
    pub(crate) request: Vec<u8>,
}

impl Joined {
    /// Reads what there is in a data folder; `None`: this device has not joined.
    pub fn read(data: &Path) -> Result<Option<Self>, Error> {
        let folder = data.join(FOLDER);
        let path = folder.join(ABOUT_FILE);
        let text = match std::fs::read_to_string(&path) {
            Ok(text) => text,
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Ok(None),
            Err(e) => return Err(Error::file("Reading", &path, &e)),
        };
        let about = serde_json::from_str(&text).map_err(|e| damaged(&path, &e.to_string()))?;
        Ok(Some(Self { folder, about }))
    }

    /// Keeps what a joining gave. From the last file on this device has joined.
    pub(crate) fn keep(
        data: &Path,
        about: About,
        key: &NewKey,
        certificate: &[u8],
        authority: &[u8],
    ) -> Result<Self, Error> {
        let joined = Self {
            folder: data.join(FOLDER),
            about,
        };
        let authority = pem("CERTIFICATE", authority);
        write_whole(&joined.folder, AUTHORITY_FILE, authority.as_bytes())?;
        joined.keep_certificate(key, certificate)?;
        joined.keep_about()?;
        Ok(joined)
    }

    /// Keeps a renewed certificate with its key.
    pub(crate) fn renewed(
        &mut self,
        key: &NewKey,
        certificate: &[u8],
        expires_us: i64,
    ) -> Result<(), Error> {
        self.keep_certificate(key, certificate)?;
        self.about.expires_us = expires_us;
        self.keep_about()
    }

    fn keep_certificate(&self, key: &NewKey, certificate: &[u8]) -> Result<(), Error> {
        let both = key.key.serialize_pem() + &pem("CERTIFICATE", certificate);
        write_whole(&self.folder, DEVICE_FILE, both.as_bytes())
    }

    fn keep_about(&self) -> Result<(), Error> {
        let text = serde_json::to_string_pretty(&self.about)
            .map_err(|e| Error::internal(format!("What was joined cannot be written: {e}.")))?;
        write_whole(&self.folder, ABOUT_FILE, text.as_bytes())
    }

    /// How this device connects: with its certificate, to the shop's daemon alone.
    pub fn tls(&self) -> Result<Arc<ClientConfig>, Error> {
        let path = self.folder.join(AUTHORITY_FILE);
        let authority =
            CertificateDer::from_pem_file(&path).map_err(|e| damaged(&path, &e.to_string()))?;
        let path = self.folder.join(DEVICE_FILE);
        let read = || -> Result<_, rustls::pki_types::pem::Error> {
            let certificate = CertificateDer::from_pem_file(&path)?;
            Ok((certificate, PrivateKeyDer::from_pem_file(&path)?))
        };
        let (certificate, key) = read().map_err(|e| damaged(&path, &e.to_string()))?;
        tls::of_device(&authority, certificate, key)
            .map_err(|e| damaged(&self.folder, &e.to_string()))
    }

    /// Tells whether the certificate should be renewed at a time of the daemon's clock.
    pub fn is_due(&self, now_us: i64) -> bool {
        self.about.expires_us.saturating_sub(now_us) < RENEW_DAYS * DAY_US
    }
}

impl NewKey {
    /// Makes a key. The name in the request is for people; the authority gives
    /// the one that counts.
    pub(crate) fn make() -> Result<Self, Error> {
        let make = || -> Result<Self, rcgen::Error> {
            let key = KeyPair::generate()?;
            let mut params = CertificateParams::default();
            params.distinguished_name = DistinguishedName::new();
            params
                .distinguished_name
                .push(DnType::CommonName, "a device of the shop");
            let request = params.serialize_request(&key)?.der().to_vec();
            Ok(Self { key, request })
        };
        make().map_err(|e| Error::internal(format!("No key could be made: {e}.")))
    }
}

fn damaged(path: &Path, why: &str) -> Error {
    Error::internal(format!("{} cannot be used: {why}.", path.display())).with_hint(
        "Join again with a new code from `baywrightd enrol`; facts in the spool stay where they are.",
    )
}

fn pem(label: &str, der: &[u8]) -> String {
    pem::encode_config(
        &pem::Pem::new(label, der),
        pem::EncodeConfig::new().set_line_ending(pem::LineEnding::LF),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_joined_is_read_again_and_private() {
        use std::os::unix::fs::PermissionsExt as _;
        let dir = tempfile::tempdir().unwrap();
        assert!(Joined::read(dir.path()).unwrap().is_none());
        let about = About {
            server: "192.0.2.7:7421".into(),
            device: "bay-2".into(),
            role: "bay".into(),
            expires_us: 400 * DAY_US,
        };
        let key = NewKey::make().unwrap();
        Joined::keep(dir.path(), about.clone(), &key, b"one", b"two").unwrap();
        let joined = Joined::read(dir.path()).unwrap().unwrap();
        assert_eq!(joined.about, about);
        for file in [DEVICE_FILE, AUTHORITY_FILE, ABOUT_FILE] {
            let path = dir.path().join(FOLDER).join(file);
            let mode = std::fs::metadata(&path).unwrap().permissions().mode();
            assert_eq!(mode & 0o077, 0, "{file}");
        }
        // Neither of them is a certificate: that is said, with what to do.
        let error = joined.tls().unwrap_err();
        assert!(error.hint().unwrap().contains("enrol"), "{error}");
        assert!(!joined.is_due(155 * DAY_US));
        assert!(joined.is_due(156 * DAY_US));
    }
}
