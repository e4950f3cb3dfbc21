//! Where the daemon keeps its data and listens, worked out of what was said.

use std::net::SocketAddr;
use std::path::{Path, PathBuf};

/// File name of the Unix socket in the data directory, where no path is given.
pub const SOCKET_FILE: &str = "bay.sock";

/// Where the package keeps the data (`StateDirectory=baywright`).
pub const PACKAGED_DATA_DIR: &str = "/var/lib/baywright";

/// What a daemon is started with.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Config {
    pub data_dir: PathBuf,
    /// Without certificates a loopback address; port 0: any free one.
    pub listen: SocketAddr,
    /// Port on which devices join; `None`: the one after the port for posts.
    pub join_port: Option<u16>,
    /// `None`: [`SOCKET_FILE`] in the data directory.
    pub socket: Option<PathBuf>,
    /// Where figures about the daemon are read, a loopback address; `None`: nowhere.
    pub metrics: Option<SocketAddr>,
}

impl Config {
    /// Where devices join, when a one-time code lives: on the address for posts.
    pub fn join_at(&self, listening: SocketAddr) -> SocketAddr {
        let port = self.join_port.unwrap_or_else(|| match self.listen.port() {
            // Whoever asked for any free port gets another one.
            0 => 0,
            port => port.wrapping_add(1),
        });
        SocketAddr::new(listening.ip(), port)
    }

    /// Path of the Unix socket.
    pub fn socket_path(&self) -> PathBuf {
        self.socket
            .clone()
            .unwrap_or_else(|| self.data_dir.join(SOCKET_FILE))
    }
}

/// Nothing says where the data is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("nothing says where the data is: give --data DIR")]
pub struct NoDataDir;

/// Finds the data directory: what was said (`--data`, `BAYWRIGHT_DATA`), else
/// what systemd gives a unit with `StateDirectory=`, else the XDG data home.
///
/// # Errors
/// If none of them says.
pub fn data_dir(
    said: Option<&Path>,
    environment: impl Fn(&str) -> Option<PathBuf>,
) -> Result<PathBuf, NoDataDir> {
    if let Some(said) = said {
        return Ok(said.to_owned());
    }
    if let Some(state) = environment("STATE_DIRECTORY") {
        return Ok(state);
    }
    // Root looks after the packaged daemon's, where there is one.
    if environment("HOME").is_some_and(|home| home == Path::new("/root"))
        && Path::new(PACKAGED_DATA_DIR).is_dir()
    {
        return Ok(PathBuf::from(PACKAGED_DATA_DIR));
    }
    // The XDG base directory specification: a relative path is to be ignored.
    environment("XDG_DATA_HOME")
        .filter(|path| path.is_absolute())
        .or_else(|| environment("HOME").map(|home| home.join(".local/share")))
        .map(|data| data.join("baywright"))
        .ok_or(NoDataDir)
}

/// The address is not on this computer alone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error(
    "{0} can be reached from other computers, and this daemon has no certificates yet: \
     without them anybody on the network could post and read. \
     Listen on 127.0.0.1 or [::1], or make certificates with `baywrightd init` first"
)]
pub struct NotLoopback(pub SocketAddr);

/// Takes a loopback address only.
///
/// # Errors
/// If the address can be reached from elsewhere.
pub fn loopback_only(listen: SocketAddr) -> Result<SocketAddr, NotLoopback> {
    if listen.ip().is_loopback() {
        Ok(listen)
    } else {
        Err(NotLoopback(listen))
    }
}

/// The address for the figures is not on this computer alone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error(
    "{0} can be reached from other computers, and whoever reads the figures is not asked who they are: \
     give --metrics a loopback address such as 127.0.0.1:7423, or `--metrics off`"
)]
pub struct MetricsNotLoopback(pub SocketAddr);

/// Takes a loopback address for the figures, or none.
///
/// # Errors
/// If the address can be reached from elsewhere.
pub fn metrics_on_loopback(
    at: Option<SocketAddr>,
) -> Result<Option<SocketAddr>, MetricsNotLoopback> {
    match at {
        Some(at) if !at.ip().is_loopback() => Err(MetricsNotLoopback(at)),
        at => Ok(at),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_data_directory_is_what_was_said_then_systemd_s_then_xdg_s() {
        let of = |pairs: &'static [(&str, &str)]| {
            move |name: &str| {
                pairs
                    .iter()
                    .find(|(known, _)| *known == name)
                    .map(|(_, value)| PathBuf::from(value))
            }
        };
        let all = of(&[
            ("STATE_DIRECTORY", "/var/lib/baywright"),
            ("XDG_DATA_HOME", "/x"),
            ("HOME", "/h"),
        ]);
        assert_eq!(data_dir(Some(Path::new("d")), all), Ok(PathBuf::from("d")));
        assert_eq!(data_dir(None, all), Ok(PathBuf::from("/var/lib/baywright")));
        let xdg = of(&[("XDG_DATA_HOME", "/x"), ("HOME", "/h")]);
        assert_eq!(data_dir(None, xdg), Ok(PathBuf::from("/x/baywright")));
        let relative = of(&[("XDG_DATA_HOME", "x"), ("HOME", "/h")]);
        let home = PathBuf::from("/h/.local/share/baywright");
        assert_eq!(data_dir(None, relative), Ok(home));
        assert_eq!(data_dir(None, of(&[])), Err(NoDataDir));
    }

    #[test]
    fn figures_are_read_on_the_loopback_or_nowhere() {
        assert_eq!(metrics_on_loopback(None), Ok(None));
        let here = Some("[::1]:7423".parse().unwrap());
        assert_eq!(metrics_on_loopback(here), Ok(here));
        for at in ["0.0.0.0:7423", "[::]:0", "192.0.2.7:7423"] {
            let refused = metrics_on_loopback(Some(at.parse().unwrap())).unwrap_err();
            assert!(refused.to_string().contains("--metrics off"), "{at}");
        }
    }

    #[test]
    fn only_loopback_addresses_are_listened_on() {
        for listen in ["127.0.0.1:7421", "[::1]:0", "127.8.9.1:1"] {
            assert!(loopback_only(listen.parse().unwrap()).is_ok(), "{listen}");
        }
        for listen in [
            "0.0.0.0:7421",
            "[::]:7421",
            "192.0.2.7:7421",
            "[::ffff:127.0.0.1]:1",
        ] {
            let refused = loopback_only(listen.parse().unwrap()).unwrap_err();
            assert!(refused.to_string().contains("certificates"), "{listen}");
        }
    }
}
