//! The devices that were let in, in a small file of their own, and what each
//! has open. Cutting one off is on the disk before its connections end.

use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use baywright_proto::v1::Role;
use clap::ValueEnum;
use serde::{Deserialize, Serialize};
use tokio_util::sync::CancellationToken;
use uuid::Uuid;

use super::conn::{Leave, Peer};
use super::{AccessError, Caller, Via, store};

/// File name of the list.
pub const DEVICES_FILE: &str = "devices.json";

/// Longest name of a device, characters: it stands in a column.
pub const NAME_CHARS_MAX: usize = 40;

/// Devices in the list, those cut off included: a bound on what a mistake in a
/// script can make of a file that is written whole.
pub const DEVICES_MAX: usize = 1_000;

/// Connections of one device at once: a terminal for each hand, a watcher and
/// some commands under way.
pub const CONNECTIONS_PER_DEVICE_MAX: u32 = 32;

/// A device, or a user of this computer.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Device {
    pub name: String,
    pub role: RoleWord,
    /// Names this letting-in in the device's certificates. The same name let in
    /// again, on another tablet, is another enrolment.
    pub enrolment: Uuid,
    /// A user of this computer instead of a device with a certificate.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub user_id: Option<u32>,
    pub enrolled_us: i64,
    /// When its last certificate ends; 0: it has none.
    #[serde(default)]
    pub expires_us: i64,
    /// 0: it is let in.
    #[serde(default)]
    pub cut_off_us: i64,
}

/// A role as it is written in the file and on the screen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ValueEnum)]
#[serde(rename_all = "lowercase")]
pub enum RoleWord {
    Bay,
    Owner,
    Viewer,
}

impl From<RoleWord> for Role {
    fn from(word: RoleWord) -> Self {
        match word {
            RoleWord::Bay => Self::Bay,
            RoleWord::Owner => Self::Owner,
            RoleWord::Viewer => Self::Viewer,
        }
    }
}

impl RoleWord {
    pub const fn word(self) -> &'static str {
        match self {
            Self::Bay => "bay",
            Self::Owner => "owner",
            Self::Viewer => "viewer",
        }
    }

    /// The word with its article.
    pub const fn with_article(self) -> &'static str {
        match self {
            Self::Bay => "a bay",
            Self::Owner => "an owner",
            Self::Viewer => "a viewer",
        }
    }

    /// What a device of this role may do, in a clause.
    pub const fn means(self) -> &'static str {
        match self {
            Self::Bay => "it posts and sees the floor, without prices",
            Self::Owner => "it may do everything but let others in",
            Self::Viewer => "it reads the floor and the figures, and posts nothing",
        }
    }

    /// A role on the wire in a word, for figures and the trace.
    pub fn named(role: Role) -> &'static str {
        Self::of(role).map_or("none", Self::word)
    }

    /// The word of a role on the wire.
    pub fn of(role: Role) -> Option<Self> {
        match role {
            Role::Bay => Some(Self::Bay),
            Role::Owner => Some(Self::Owner),
            Role::Viewer => Some(Self::Viewer),
            Role::Unspecified => None,
        }
    }
}

/// Why somebody is not let in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum Unknown {
    #[error("its certificate is none of this shop's devices'")]
    NotOurs,
    #[error("the device was cut off")]
    CutOff,
    #[error("the device has too many connections open")]
    TooMany,
    #[error("this user of the computer was not let in: `baywrightd enrol NAME --user {0}`")]
    NoSuchUser(u32),
}

#[derive(Debug, Serialize, Deserialize)]
struct Listed {
    devices: Vec<Device>,
}

/// What a device has open.
#[derive(Debug, Clone)]
struct Live {
    cut: CancellationToken,
    connections: u32,
    seen_us: i64,
}

#[derive(Debug)]
struct State {
    devices: Vec<Device>,
    live: HashMap<Uuid, Live>,
}

/// A line of the list with what is open now.
#[derive(Debug, Clone)]
pub struct Line {
    pub device: Device,
    pub connections: u32,
    /// 0: not since the daemon began.
    pub seen_us: i64,
}

/// The list of devices. Cheap to clone.
#[derive(Debug, Clone)]
pub struct Devices {
    dir: PathBuf,
    state: Arc<Mutex<State>>,
}

impl Devices {
    /// An empty list, not saved yet.
    pub fn empty(dir: &Path) -> Self {
        Self::of(dir, Vec::new())
    }

    fn of(dir: &Path, devices: Vec<Device>) -> Self {
        Self {
            dir: dir.to_owned(),
            state: Arc::new(Mutex::new(State {
                devices,
                live: HashMap::new(),
            })),
        }
    }

    /// Reads the list of a folder.
    pub fn load(dir: &Path) -> Result<Self, AccessError> {
        let text = store::read(dir, DEVICES_FILE)?;
        Ok(Self::of(dir, read(&text, &dir.join(DEVICES_FILE))?))
    }

    /// Writes the list.
    pub fn save(&self) -> Result<(), AccessError> {
        save(&self.dir, &self.lock().devices)
    }

    /// Lets a device or user in, on the disk before it returns.
    ///
    /// # Errors
    /// If the name is taken or no name, or the disk fails: nobody is let in then.
    pub fn add(&self, device: Device) -> Result<(), AccessError> {
        let mut state = self.lock();
        check_free(&state.devices, &device.name)?;
        if state.devices.len() >= DEVICES_MAX {
            // The longest cut off makes room; those let in stay.
            let oldest = state.devices.iter().enumerate();
            let oldest = oldest
                .filter(|(_, known)| known.cut_off_us != 0)
                .min_by_key(|(_, known)| known.cut_off_us);
            match oldest.map(|(at, _)| at) {
                Some(at) => drop(state.devices.remove(at)),
                None => return Err(AccessError::NameTaken(device.name)),
            }
        }
        let mut devices = state.devices.clone();
        devices.push(device);
        save(&self.dir, &devices)?;
        state.devices = devices;
        Ok(())
    }

    /// Tells whether a device could be let in under a name.
    ///
    /// # Errors
    /// If it could not, with the reason.
    pub fn is_free(&self, name: &str) -> Result<(), AccessError> {
        check_free(&self.lock().devices, name)
    }

    /// Notes a renewed certificate.
    pub fn renewed(&self, enrolment: Uuid, expires_us: i64) -> Result<(), AccessError> {
        let mut state = self.lock();
        let mut devices = state.devices.clone();
        if let Some(device) = devices.iter_mut().find(|d| d.enrolment == enrolment) {
            device.expires_us = expires_us;
        }
        save(&self.dir, &devices)?;
        state.devices = devices;
        Ok(())
    }

    /// Lets a device in no more, and ends what it has open. Tells how many
    /// connections that were.
    ///
    /// # Errors
    /// If no device of that name is let in, or the disk fails. Its connections
    /// end in the second case too.
    pub fn cut_off(&self, name: &str, now_us: i64) -> Result<u32, AccessError> {
        let mut state = self.lock();
        let mut devices = state.devices.clone();
        let found = devices
            .iter_mut()
            .find(|device| device.name == name && device.cut_off_us == 0);
        let Some(device) = found else {
            return Err(AccessError::NoSuchDevice(name.to_owned()));
        };
        device.cut_off_us = now_us.max(1);
        let enrolment = device.enrolment;
        let saved = save(&self.dir, &devices);
        // In memory in any case: a full disk must not keep a thief connected.
        state.devices = devices;
        let live = state.live.remove(&enrolment);
        drop(state);
        let ended = live.map_or(0, |live| {
            live.cut.cancel();
            live.connections
        });
        saved.map(|()| ended)
    }

    /// Tells whether a device of this enrolment is let in.
    pub(super) fn stands(&self, enrolment: Uuid) -> bool {
        self.lock()
            .devices
            .iter()
            .any(|device| device.enrolment == enrolment && device.cut_off_us == 0)
    }

    /// Takes a connection of a device in.
    pub(super) fn connect(&self, enrolment: Uuid) -> Result<Peer, Unknown> {
        let mut state = self.lock();
        let device = state
            .devices
            .iter()
            .find(|device| device.enrolment == enrolment)
            .ok_or(Unknown::NotOurs)?
            .clone();
        if device.cut_off_us != 0 {
            return Err(Unknown::CutOff);
        }
        let caller = Caller {
            role: device.role.into(),
            via: Via::Certificate {
                device: device.name.into(),
                enrolment,
            },
        };
        self.take_in(&mut state, enrolment, caller)
    }

    /// Takes a connection of a user of this computer in.
    pub(super) fn connect_user(&self, user_id: u32) -> Result<Peer, Unknown> {
        let mut state = self.lock();
        let device = state
            .devices
            .iter()
            .find(|device| device.user_id == Some(user_id) && device.cut_off_us == 0)
            .ok_or(Unknown::NoSuchUser(user_id))?;
        let caller = Caller {
            role: device.role.into(),
            via: Via::User(user_id),
        };
        let enrolment = device.enrolment;
        self.take_in(&mut state, enrolment, caller)
    }

    fn take_in(&self, state: &mut State, enrolment: Uuid, caller: Caller) -> Result<Peer, Unknown> {
        let live = state.live.entry(enrolment).or_insert_with(|| Live {
            cut: CancellationToken::new(),
            connections: 0,
            seen_us: 0,
        });
        if live.connections >= CONNECTIONS_PER_DEVICE_MAX {
            return Err(Unknown::TooMany);
        }
        live.connections += 1;
        let leave = Leave::new(self.clone(), enrolment);
        Ok(Peer::new(caller, live.cut.clone(), leave))
    }

    /// A connection of a device ended.
    pub(super) fn leave(&self, enrolment: Uuid) {
        if let Some(live) = self.lock().live.get_mut(&enrolment) {
            live.connections = live.connections.saturating_sub(1);
        }
    }

    /// A device made a call.
    pub(super) fn seen(&self, enrolment: Uuid, now_us: i64) {
        if let Some(live) = self.lock().live.get_mut(&enrolment) {
            live.seen_us = now_us;
        }
    }

    /// Everybody, in the order in which they were let in.
    pub fn lines(&self) -> Vec<Line> {
        let state = self.lock();
        state
            .devices
            .iter()
            .map(|device| {
                let live = state.live.get(&device.enrolment);
                Line {
                    device: device.clone(),
                    connections: live.map_or(0, |live| live.connections),
                    seen_us: live.map_or(0, |live| live.seen_us),
                }
            })
            .collect()
    }

    /// Tells whether a name is that of a device with a certificate.
    pub fn names_a_device(&self, name: &str) -> bool {
        let state = self.lock();
        state
            .devices
            .iter()
            .any(|device| device.name == name && device.user_id.is_none())
    }

    /// A lock whose holder panicked holds nothing half done: lists are replaced whole.
    fn lock(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Reads a list; `path` names it in the error.
///
/// # Errors
/// If it is not what was written.
pub fn read(text: &str, path: &Path) -> Result<Vec<Device>, AccessError> {
    serde_json::from_str::<Listed>(text)
        .map(|listed| listed.devices)
        .map_err(|source| AccessError::Unreadable {
            path: path.to_owned(),
            source,
        })
}

/// The list as it is written.
///
/// # Errors
/// If it cannot be written as JSON, which no list of devices does.
pub fn text(devices: &[Device]) -> Result<String, serde_json::Error> {
    let listed = Listed {
        devices: devices.to_vec(),
    };
    serde_json::to_string_pretty(&listed).map(|text| text + "\n")
}

fn save(dir: &Path, devices: &[Device]) -> Result<(), AccessError> {
    let text = text(devices).map_err(|source| AccessError::Unreadable {
        path: dir.join(DEVICES_FILE),
        source,
    })?;
    store::write(dir, DEVICES_FILE, text.as_bytes())
}

fn check_free(devices: &[Device], name: &str) -> Result<(), AccessError> {
    if !is_name(name) {
        return Err(AccessError::BadName(name.to_owned()));
    }
    let taken = devices
        .iter()
        .any(|known| known.name == name && known.cut_off_us == 0);
    if taken {
        return Err(AccessError::NameTaken(name.to_owned()));
    }
    Ok(())
}

/// Tells whether a device can be called so: it is a key of the log, a word on
/// the command line and in the certificate.
pub fn is_name(name: &str) -> bool {
    let plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit();
    name.len() <= NAME_CHARS_MAX
        && name.starts_with(plain)
        && name.chars().all(|c| plain(c) || c == '-')
}

#[cfg(test)]
mod tests {
    use super::*;

    fn device(name: &str) -> Device {
        Device {
            name: name.to_owned(),
            role: RoleWord::Bay,
            enrolment: Uuid::now_v7(),
            user_id: None,
            enrolled_us: 5,
            expires_us: 7,
            cut_off_us: 0,
        }
    }

    #[test]
    fn a_cut_off_device_is_out_at_once_and_after_a_restart() {
        let dir = tempfile::tempdir().unwrap();
        let devices = Devices::empty(dir.path());
        let bay = device("bay-2");
        devices.add(bay.clone()).unwrap();
        let first = devices.connect(bay.enrolment).unwrap();
        let second = devices.connect(bay.enrolment).unwrap();
        assert_eq!(first.caller().device(), Some("bay-2"));
        assert_eq!(devices.cut_off("bay-2", 9).unwrap(), 2);
        assert!(first.cut().is_cancelled() && second.cut().is_cancelled());
        for devices in [&devices, &Devices::load(dir.path()).unwrap()] {
            let refused = devices.connect(bay.enrolment).unwrap_err();
            assert_eq!(refused, Unknown::CutOff);
            assert!(devices.cut_off("bay-2", 9).is_err());
            // The name is free again, for another tablet.
            assert!(devices.is_free("bay-2").is_ok());
        }
        let again = device("bay-2");
        devices.add(again.clone()).unwrap();
        assert!(devices.connect(again.enrolment).is_ok());
        assert!(devices.connect(bay.enrolment).is_err());
        drop((first, second));
        assert_eq!(devices.lines().len(), 2);
    }

    #[test]
    fn connections_are_counted_and_bounded() {
        let dir = tempfile::tempdir().unwrap();
        let devices = Devices::empty(dir.path());
        let bay = device("bay-1");
        devices.add(bay.clone()).unwrap();
        let mut held = Vec::new();
        for _ in 0..CONNECTIONS_PER_DEVICE_MAX {
            held.push(devices.connect(bay.enrolment).unwrap());
        }
        let refused = devices.connect(bay.enrolment).unwrap_err();
        assert_eq!(refused, Unknown::TooMany);
        held.clear();
        assert_eq!(devices.lines()[0].connections, 0);
        assert!(devices.connect(bay.enrolment).is_ok());
    }

    #[test]
    fn a_user_of_the_computer_is_known_by_number() {
        let dir = tempfile::tempdir().unwrap();
        let devices = Devices::empty(dir.path());
        let mut till = device("office");
        till.user_id = Some(1_234);
        till.role = RoleWord::Viewer;
        devices.add(till).unwrap();
        let peer = devices.connect_user(1_234).unwrap();
        assert_eq!(peer.caller().role, Role::Viewer);
        assert_eq!(
            devices.connect_user(1_235).unwrap_err(),
            Unknown::NoSuchUser(1_235)
        );
        assert!(!devices.names_a_device("office"));
    }

    #[test]
    fn names_are_plain_and_taken_once() {
        let dir = tempfile::tempdir().unwrap();
        let devices = Devices::empty(dir.path());
        devices.add(device("bay-1")).unwrap();
        assert!(matches!(
            devices.add(device("bay-1")),
            Err(AccessError::NameTaken(_))
        ));
        for bad in ["", "Bay", "-a", "a b", "a/b", "ä", &"a".repeat(41)] {
            let refused = devices.add(device(bad));
            assert!(matches!(refused, Err(AccessError::BadName(_))), "{bad}");
        }
    }

    #[test]
    fn a_list_that_was_altered_lets_nobody_in() {
        let dir = tempfile::tempdir().unwrap();
        Devices::empty(dir.path()).save().unwrap();
        std::fs::write(dir.path().join(DEVICES_FILE), "{\"devices\": [{}]}").unwrap();
        assert!(Devices::load(dir.path()).is_err());
        std::fs::remove_file(dir.path().join(DEVICES_FILE)).unwrap();
        assert!(Devices::load(dir.path()).is_err());
    }
}
