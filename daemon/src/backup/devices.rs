//! Which devices stay allowed after a restore: whoever lost the server may
//! have lost a tablet with it, and a device cut off since the backup would be
//! allowed again.

use std::collections::BTreeSet;
use std::path::Path;

use super::BackupError;
use super::carried::Carried;
use crate::access::devices::{DEVICES_FILE, Device, read, text};

/// Which of the devices in a backup stay allowed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Choice {
    All,
    None,
    Named(BTreeSet<String>),
}

impl Choice {
    /// Reads `all`, `none`, or names with commas between them.
    ///
    /// # Errors
    /// If a name is not one of `allowed`.
    pub fn parse(text: &str, allowed: &[Device]) -> Result<Self, BackupError> {
        match text.trim() {
            "all" => Ok(Self::All),
            "none" => Ok(Self::None),
            names => {
                let names: BTreeSet<String> = names
                    .split(',')
                    .map(|name| name.trim().to_owned())
                    .filter(|name| !name.is_empty())
                    .collect();
                let unknown = names
                    .iter()
                    .find(|name| !allowed.iter().any(|device| device.name == **name));
                match unknown {
                    None => Ok(Self::Named(names)),
                    Some(name) => Err(BackupError::Devices(format!(
                        "no device in the backup is called {name}; there are: {}",
                        list(allowed)
                    ))),
                }
            }
        }
    }

    fn keeps(&self, name: &str) -> bool {
        match self {
            Self::All => true,
            Self::None => false,
            Self::Named(names) => names.contains(name),
        }
    }
}

/// The names of devices, for a sentence.
pub fn list(devices: &[Device]) -> String {
    let names: Vec<&str> = devices.iter().map(|device| device.name.as_str()).collect();
    match names.as_slice() {
        [] => "none".to_owned(),
        names => names.join(", "),
    }
}

/// The devices and users that were allowed when the backup was made.
///
/// # Errors
/// If the list of devices is there and cannot be read.
pub fn allowed(carried: &[Carried]) -> Result<Vec<Device>, BackupError> {
    let Some(file) = carried.iter().find(|file| file.name == DEVICES_FILE) else {
        return Ok(Vec::new());
    };
    let known = devices_of(file)?.into_iter();
    Ok(known.filter(|device| device.cut_off_us == 0).collect())
}

/// Cuts off every device that is not kept; gives the names of those.
///
/// # Errors
/// If the list of devices is there and cannot be read.
pub fn cut_off_others(
    carried: &mut [Carried],
    choice: &Choice,
    now_us: i64,
) -> Result<Vec<String>, BackupError> {
    let Some(file) = carried.iter_mut().find(|file| file.name == DEVICES_FILE) else {
        return Ok(Vec::new());
    };
    let mut devices = devices_of(file)?;
    let mut cut_off = Vec::new();
    for device in &mut devices {
        if device.cut_off_us == 0 && !choice.keeps(&device.name) {
            device.cut_off_us = now_us.max(1);
            cut_off.push(device.name.clone());
        }
    }
    let written = text(&devices).map_err(|error| BackupError::Devices(error.to_string()))?;
    file.content = written.into_bytes();
    Ok(cut_off)
}

fn devices_of(file: &Carried) -> Result<Vec<Device>, BackupError> {
    let text = String::from_utf8_lossy(&file.content);
    read(&text, Path::new(DEVICES_FILE)).map_err(|error| {
        BackupError::Devices(format!(
            "the list of devices in the backup cannot be used: {error}"
        ))
    })
}
