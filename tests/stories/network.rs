//! A network that cuts, loses, delays, repeats and goes silent, between real
//! bays and a real daemon: every fact arrives once, in order, with its time,
//! and the person reads where it is.

mod cuts;
mod repeats;
pub(crate) mod said;
mod stuck;

use std::path::PathBuf;
use std::time::Duration;

use baywright_proto::v1::fact::Kind;
use baywright_proto::v1::{Fact, Noted, Record};
use baywright_tests::harness::{Daemon, bay_command};
use baywright_tests::network::Proxy;
use prost::Message as _;
use tokio::task::JoinHandle;

use crate::shop::{Said, Shop, records_at};

/// Longest that any wait of these stories may take: a bound, never a pause.
const PATIENCE: Duration = Duration::from_mins(1);

/// A shop whose bays reach their daemon through a proxy.
struct Wire {
    shop: Shop,
    proxy: Proxy,
    daemon: Daemon,
}

impl Wire {
    async fn new() -> Self {
        let mut shop = Shop::closed();
        let daemon = shop.start();
        let proxy = Proxy::before(&daemon.address).await.expect("a proxy");
        shop.server.clone_from(&proxy.address);
        Self {
            shop,
            proxy,
            daemon,
        }
    }

    /// Every record, read past the proxy.
    async fn records(&self) -> Vec<(Record, Fact)> {
        let decoded = |record: Record| {
            let fact = Fact::decode(record.fact.as_slice()).expect("a fact");
            (record, fact)
        };
        let records = records_at(&self.daemon.address).await;
        records.into_iter().map(decoded).collect()
    }

    /// The texts of all notes, in the order of the log.
    async fn notes(&self) -> Vec<String> {
        let records = self.records().await;
        records.iter().filter_map(|(_, fact)| note(fact)).collect()
    }

    fn folder(&self, bay: &str) -> PathBuf {
        let folder = self.shop.data().with_file_name(bay);
        std::fs::create_dir_all(&folder).expect("a folder for the bay");
        folder
    }

    /// Starts `bay` and goes on.
    fn begin(&self, bay: &str, words: &[&str]) -> JoinHandle<Said> {
        let folder = self.folder(bay);
        let child = bay_command(crate::binary(), &folder, &self.proxy.address, bay, words)
            .spawn()
            .expect("bay starts");
        tokio::task::spawn_blocking(move || child.wait_with_output().expect("bay ends").into())
    }

    fn stop(self) {
        self.daemon.stop().expect("a clean stop");
        self.shop.daemon(&["verify"]).ok();
        self.shop.daemon(&["rebuild", "--check"]).ok();
    }
}

pub(crate) fn note(fact: &Fact) -> Option<String> {
    match &fact.kind {
        Some(Kind::Noted(noted)) => Some(noted.text.clone()),
        _ => None,
    }
}

pub(crate) fn noted(text: impl Into<String>) -> Fact {
    let text = text.into();
    Fact {
        kind: Some(Kind::Noted(Noted {
            text,
            ..Noted::default()
        })),
        ..Fact::default()
    }
}

/// Waits for something that must come.
pub(crate) async fn patient<T>(future: impl Future<Output = T>) -> T {
    tokio::time::timeout(PATIENCE, future)
        .await
        .expect("it does not take this long")
}
