//! Who may speak to the daemon, and what each may ask.
//!
//! Before `baywrightd init` whoever reaches the loopback address or the socket
//! is the owner, and nothing else is listened on. After it every TCP connection
//! is TLS 1.3 with a client certificate of the shop's own authority, and the
//! Unix socket goes by the peer's user id. [`gate`] is the one place where
//! roles and methods meet.

pub mod address;
pub mod authority;
pub mod conn;
pub mod devices;
pub mod gate;
pub mod joining;
pub mod listen;
pub mod patience;
pub mod store;
pub mod tls;

use std::path::{Path, PathBuf};
use std::sync::Arc;

use baywright_proto::v1::Role;
use tokio_util::sync::CancellationToken;
use uuid::Uuid;

use crate::service::limits::Whose;
use authority::{Authority, AuthorityError};
use conn::Peer;
use devices::{Devices, Unknown};

/// Folder of keys, certificates and the list of devices, in the data directory.
pub const ACCESS_DIR: &str = "access";

/// Something about the keys or the list of devices failed.
#[derive(Debug, thiserror::Error)]
pub enum AccessError {
    #[error("{} cannot be used", path.display())]
    File {
        path: PathBuf,
        #[source]
        source: std::io::Error,
    },
    #[error("{} is not what this daemon wrote; restore the folder from a backup", path.display())]
    Unreadable {
        path: PathBuf,
        #[source]
        source: serde_json::Error,
    },
    #[error("the shop's authority")]
    Authority(#[from] AuthorityError),
    #[error("TLS cannot be set up")]
    Tls(#[from] rustls::Error),
    #[error("the shop has its authority already, in {}: bays that joined trust it", .0.display())]
    AlreadyMade(PathBuf),
    #[error("a device `{0}` is let in already: cut it off first, or choose another name")]
    NameTaken(String),
    #[error(
        "`{0}` is no name for a device: 1 to {max} small letters, digits and hyphens, a letter or digit first",
        max = devices::NAME_CHARS_MAX
    )]
    BadName(String),
    #[error("no device `{0}` is let in: `baywrightd devices` names those that are")]
    NoSuchDevice(String),
}

/// Who calls, as far as it was proved.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Caller {
    pub role: Role,
    pub via: Via,
}

/// How a caller was known.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Via {
    /// Before `init`: from this computer, and nobody asked further.
    Open,
    /// The Unix socket: this user of this computer.
    User(u32),
    /// A certificate of the shop's authority.
    Certificate { device: Arc<str>, enrolment: Uuid },
}

impl Caller {
    /// Everybody on this computer, before `init`.
    pub const OPEN: Self = Self {
        role: Role::Owner,
        via: Via::Open,
    };

    /// Somebody on the joining port, who has nothing but a code.
    pub const JOINING: Self = Self {
        role: Role::Unspecified,
        via: Via::Open,
    };

    /// A user of this computer who was not let in: may ask nothing.
    pub const fn nobody(user_id: u32) -> Self {
        Self {
            role: Role::Unspecified,
            via: Via::User(user_id),
        }
    }

    /// The device's name where a certificate gives it.
    pub fn device(&self) -> Option<&str> {
        match &self.via {
            Via::Certificate { device, .. } => Some(device),
            Via::Open | Via::User(_) => None,
        }
    }

    /// Whose allowance its calls are taken off.
    pub(crate) fn whose(&self) -> Whose {
        match &self.via {
            Via::Certificate { device, .. } => Whose::Device(Arc::clone(device)),
            Via::Open | Via::User(_) => Whose::Local,
        }
    }

    /// On this computer, over the Unix socket or before `init`.
    pub fn is_local(&self) -> bool {
        !matches!(self.via, Via::Certificate { .. })
    }
}

/// Keys and devices of a daemon.
#[derive(Debug, Clone)]
pub struct Access(Arc<State>);

#[derive(Debug)]
enum State {
    /// There was no `init`.
    Open,
    Kept(Box<Kept>),
}

/// What there is after `init`.
#[derive(Debug)]
pub struct Kept {
    pub authority: Authority,
    pub devices: Devices,
    /// The daemon's own user, who is the owner as root is.
    own_user_id: u32,
}

/// Tells whether the shop has an authority.
pub fn is_initialised(data_dir: &Path) -> bool {
    data_dir.join(ACCESS_DIR).exists()
}

impl Access {
    /// Access as it is before `init`.
    pub fn open() -> Self {
        Self(Arc::new(State::Open))
    }

    /// Reads what `init` made and later commands changed.
    ///
    /// # Errors
    /// If the folder is there and cannot be read whole: a daemon that fell back
    /// to letting everybody in would be worse than one that does not start.
    pub fn load(data_dir: &Path) -> Result<Self, AccessError> {
        if !is_initialised(data_dir) {
            return Ok(Self::open());
        }
        let dir = data_dir.join(ACCESS_DIR);
        let authority = Authority::load(&dir)?;
        let devices = Devices::load(&dir)?;
        let own_user_id = own_user_id(&dir)?;
        Ok(Self(Arc::new(State::Kept(Box::new(Kept {
            authority,
            devices,
            own_user_id,
        })))))
    }

    /// `None` before `init`.
    pub fn kept(&self) -> Option<&Kept> {
        match &*self.0 {
            State::Open => None,
            State::Kept(kept) => Some(kept),
        }
    }

    /// Who a user of this computer is, on the Unix socket.
    ///
    /// # Errors
    /// If the user was not let in.
    pub fn user(&self, user_id: u32) -> Result<Peer, Unknown> {
        let Some(kept) = self.kept() else {
            return Ok(Peer::unlimited(Caller::OPEN));
        };
        if user_id == 0 || user_id == kept.own_user_id {
            return Ok(Peer::unlimited(Caller {
                role: Role::Owner,
                via: Via::User(user_id),
            }));
        }
        kept.devices.connect_user(user_id)
    }
}

impl Kept {
    /// Who shows a certificate that the authority signed.
    ///
    /// # Errors
    /// If its device was cut off, or is not known any more.
    pub fn certificate(&self, der: &[u8]) -> Result<Peer, Unknown> {
        let enrolment = authority::enrolment_of(der).ok_or(Unknown::NotOurs)?;
        self.devices.connect(enrolment)
    }
}

/// Makes the authority of a shop and its empty list of devices. The folder has
/// its name only once it is whole.
///
/// # Errors
/// If there is one, or the disk fails.
pub fn init(data_dir: &Path) -> Result<Authority, AccessError> {
    let dir = data_dir.join(ACCESS_DIR);
    if dir.exists() {
        return Err(AccessError::AlreadyMade(dir));
    }
    let part = data_dir.join("access.part");
    store::clear(&part)?;
    store::make_dir(&part)?;
    let authority = Authority::make()?;
    authority.save(&part)?;
    Devices::empty(&part).save()?;
    store::rename_dir(&part, &dir)?;
    Ok(authority)
}

/// The user who owns the folder: the daemon's own, or it could not read it.
fn own_user_id(dir: &Path) -> Result<u32, AccessError> {
    use std::os::unix::fs::MetadataExt as _;
    std::fs::metadata(dir)
        .map(|found| found.uid())
        .map_err(|source| AccessError::File {
            path: dir.to_owned(),
            source,
        })
}

/// Ends with whoever holds it: nothing is cut before the daemon stops.
pub(crate) fn never() -> CancellationToken {
    CancellationToken::new()
}
