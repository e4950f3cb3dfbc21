//! `bay.toml` in the XDG configuration folder: what this bay always says.

use std::path::{Path, PathBuf};

use etcetera::BaseStrategy as _;
use serde::Deserialize;

use crate::error::Error;

/// Settings of one bay. Flags and environment win over them.
#[derive(Debug, Clone, Default, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub struct Config {
    /// `HOST:PORT` or `unix:PATH`.
    pub server: Option<String>,
    /// Catalogue code of this bay.
    pub bay: Option<String>,
    /// Where the spool and the caches are kept.
    pub data: Option<PathBuf>,
    /// What a bare `floz` or `gal` means: `metric`, `us` or `imperial`.
    pub units: Option<String>,
}

impl Config {
    /// Reads the file; one that does not exist says nothing.
    pub fn read(path: &Path) -> Result<Self, Error> {
        match std::fs::read_to_string(path) {
            Ok(text) => toml::from_str(&text).map_err(|e| {
                Error::usage(format!("{} cannot be read: {e}", path.display()))
                    .with_hint("Known keys: server, bay, data, units.")
            }),
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => Ok(Self::default()),
            Err(e) => Err(Error::file("Reading", path, &e)),
        }
    }
}

/// Folders of this user, from the XDG variables.
#[derive(Debug, Clone)]
pub struct Places {
    /// `bay.toml`.
    pub config: PathBuf,
    /// Spool and caches.
    pub data: PathBuf,
}

impl Places {
    /// Finds the folders; fails only where the user has no home.
    pub fn find() -> Result<Self, Error> {
        let xdg = etcetera::base_strategy::Xdg::new().map_err(|e| {
            Error::usage(format!("This user has no home folder: {e}."))
                .with_hint("Set BAYWRIGHT_DATA to a folder for this bay's spool.")
        })?;
        Ok(Self {
            config: xdg.config_dir().join("baywright").join("bay.toml"),
            data: xdg
                .state_dir()
                .unwrap_or_else(|| xdg.data_dir())
                .join("baywright"),
        })
    }
}
