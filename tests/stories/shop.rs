//! A shop for a story: a folder, a daemon, and `bay` at any bay.

use std::path::{Path, PathBuf};
use std::process::Output;
use std::sync::Arc;

use baywright_client::clock::MachineClocks;
use baywright_client::connect::Link;
use baywright_client::device::Device;
use baywright_proto::v1;
use baywright_proto::v1::floor_service_client::FloorServiceClient;
use baywright_tests::clocks::SkewedClocks;
use baywright_tests::harness::{self, Daemon};
use prost::Message as _;
use tempfile::TempDir;

/// Where nothing listens: port 1 of the loopback is reserved.
pub(crate) const NOWHERE: &str = "127.0.0.1:1";

/// What a command said, and how it ended.
#[derive(Debug)]
pub(crate) struct Said {
    pub(crate) code: i32,
    pub(crate) out: String,
    pub(crate) err: String,
}

impl From<Output> for Said {
    fn from(output: Output) -> Self {
        Self {
            code: output.status.code().unwrap_or(-1),
            out: String::from_utf8_lossy(&output.stdout).into_owned(),
            err: String::from_utf8_lossy(&output.stderr).into_owned(),
        }
    }
}

impl Said {
    /// The output of a command that must end well.
    pub(crate) fn ok(self) -> String {
        assert_eq!(self.code, 0, "{}{}", self.out, self.err);
        self.out
    }
}

/// A folder for everything, and the address of its daemon.
#[derive(Debug)]
pub(crate) struct Shop {
    home: TempDir,
    pub(crate) server: String,
}

impl Shop {
    /// A shop whose daemon has not been started.
    pub(crate) fn closed() -> Self {
        Self {
            home: tempfile::tempdir().expect("a temporary folder"),
            server: NOWHERE.to_owned(),
        }
    }

    /// A path beside the folders of the server and the bays.
    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.home.path().join(name)
    }

    pub(crate) fn data(&self) -> PathBuf {
        self.home.path().join("server")
    }

    /// Starts the daemon; from now on `bay` finds it.
    pub(crate) fn start(&mut self) -> Daemon {
        let daemon = Daemon::start(crate::binary(), &self.data()).expect("a daemon");
        self.server.clone_from(&daemon.address);
        daemon
    }

    /// Puts the example catalogue in force.
    pub(crate) fn apply_example(&self) {
        self.apply(&[]);
    }

    /// Puts the example catalogue in force from a day, `YYYY-MM-DD`.
    pub(crate) fn apply_example_from(&self, day: &str) {
        self.apply(&["--from", day]);
    }

    fn apply(&self, more: &[&str]) {
        let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("../deploy/example-shop.toml");
        let file = file.to_str().expect("a path in text").to_owned();
        let words = [&["catalogue", "apply", &file, "--yes"], more].concat();
        self.words("bay-1", &words).ok();
    }

    /// A device of the client library, beside the terminals, with its link.
    pub(crate) fn device(&self, name: &str) -> (Device, Link) {
        let folder = self.home.path().join(name);
        std::fs::create_dir_all(&folder).expect("a folder for the device");
        let clocks = Arc::new(MachineClocks::default());
        let device = Device::open_named(&folder, clocks, name).expect("a device");
        let link = Link::new(self.server.parse().expect("an address"));
        (device, link)
    }

    /// Runs `bay` with the words of a line; quotes hold words together.
    pub(crate) fn bay(&self, bay: &str, line: &str) -> Said {
        let words = split(line);
        let words: Vec<&str> = words.iter().map(String::as_str).collect();
        self.words(bay, &words)
    }

    /// As [`Shop::bay`], on a device with other clocks.
    pub(crate) fn clocked_bay(&self, bay: &str, clocks: &SkewedClocks, line: &str) -> Said {
        let folder = self.home.path().join(bay);
        std::fs::create_dir_all(&folder).expect("a folder for the bay");
        harness::clocked_bay(
            crate::binary(),
            clocks,
            &folder,
            &self.server,
            bay,
            split(line),
        )
        .expect("bay runs")
        .into()
    }

    fn words(&self, bay: &str, words: &[&str]) -> Said {
        let folder = self.home.path().join(bay);
        std::fs::create_dir_all(&folder).expect("a folder for the bay");
        harness::bay(crate::binary(), &folder, &self.server, bay, words)
            .expect("bay runs")
            .into()
    }

    /// Runs a command of the daemon, which must not be running.
    pub(crate) fn daemon(&self, args: &[&str]) -> Said {
        harness::daemon_command(crate::binary(), args, &self.data())
            .expect("the daemon's command runs")
            .into()
    }

    pub(crate) async fn records(&self) -> Vec<(v1::Record, v1::Fact)> {
        let decoded = |record: v1::Record| {
            let fact = v1::Fact::decode(record.fact.as_slice()).expect("a fact");
            (record, fact)
        };
        records_at(&self.server)
            .await
            .into_iter()
            .map(decoded)
            .collect()
    }
}

/// The words of a line; quotes hold words together.
fn split(line: &str) -> Vec<String> {
    let mut words: Vec<String> = Vec::new();
    for (index, part) in line.split('"').enumerate() {
        if index % 2 == 1 {
            words.push(part.to_owned());
        } else {
            words.extend(part.split_whitespace().map(str::to_owned));
        }
    }
    words
}

/// Every record of the daemon at an address, in the order of the log.
pub(crate) async fn records_at(address: &str) -> Vec<v1::Record> {
    let mut client = FloorServiceClient::connect(format!("http://{address}"))
        .await
        .expect("the daemon answers");
    let request = v1::WatchRequest {
        after_seq: 0,
        follow: false,
    };
    let mut stream = client
        .watch(request)
        .await
        .expect("the log can be read")
        .into_inner();
    let mut all = Vec::new();
    while let Some(entry) = stream.message().await.expect("the stream ends well") {
        all.push(entry.decoded.expect("a decoded record"));
    }
    all
}
