//! The page as a collector reads it, over a socket of the loopback.

use std::sync::atomic::{AtomicI64, Ordering};

use baywright_proto::v1;
use baywright_terms::time::{HOUR_US, MINUTE_US, Micros};
use prost::Message as _;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::{TcpListener, TcpStream};
use tokio_util::sync::CancellationToken;

use super::*;
use crate::access::Access;
use crate::access::devices::{Device, RoleWord};
use crate::clock::{Clock, SetClock};
use crate::journal::writer::Writer;
use crate::journal::{Intake, Journal};

const PATIENCE: Duration = Duration::from_secs(30);

/// 2026-11-23T09:00:00Z.
const NINE: i64 = 1_795_424_400_000_000;

/// A log with its writer, and the page about it.
struct Desk {
    folder: tempfile::TempDir,
    writer: Writer,
    address: std::net::SocketAddr,
    stop: CancellationToken,
    previous: AtomicI64,
}

impl Desk {
    async fn new() -> Self {
        Self::with(Access::open()).await
    }

    async fn with(access: Access) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let clock: std::sync::Arc<dyn Clock> = std::sync::Arc::new(SetClock::at(Micros(NINE)));
        let metrics = std::sync::Arc::new(Metrics::default());
        let journal = Journal::open(folder.path()).unwrap();
        let (writer, _thread) = Writer::start_counting(
            journal,
            std::sync::Arc::clone(&clock),
            None,
            std::sync::Arc::clone(&metrics),
        )
        .unwrap();
        let stop = CancellationToken::new();
        let page = Page::new(Live {
            data_dir: folder.path().to_owned(),
            writer: writer.clone(),
            clock,
            metrics,
            access,
            stop: stop.clone(),
        });
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let address = listener.local_addr().unwrap();
        tokio::spawn(endpoint::serve(listener, page, stop.clone()));
        Self {
            folder,
            writer,
            address,
            stop,
            previous: AtomicI64::new(0),
        }
    }

    /// Posts a note of this bay, written down so long before it arrives.
    async fn post(&self, waited_us: i64) -> Result<u64, Refusal> {
        let seq = self.previous.load(Ordering::SeqCst) + 1;
        let clocks = |boot_us| v1::Clocks {
            wall_us: NINE,
            boot_id: "a".to_owned(),
            boot_us,
        };
        let fact = v1::Fact {
            clocks: Some(clocks(HOUR_US)),
            by: vec!["ana".to_owned()],
            kind: Some(v1::fact::Kind::Noted(v1::Noted {
                text: "the customer waits outside".to_owned(),
                ..v1::Noted::default()
            })),
            ..v1::Fact::default()
        };
        let device_seq = u64::try_from(seq).unwrap();
        let mut event_id = vec![7; 16];
        event_id[0] = u8::try_from(seq).unwrap();
        let pending = self.writer.post(Intake {
            post: v1::Post {
                event_id,
                device_seq,
                previous_device_seq: device_seq - 1,
                fact: fact.encode_to_vec(),
                delivery_clocks: Some(clocks(HOUR_US + waited_us)),
                ..v1::Post::default()
            },
            device: "bay-1".to_owned(),
            role: v1::Role::Bay,
        })?;
        let receipt = patient(pending.answer()).await?;
        self.previous.store(seq, Ordering::SeqCst);
        Ok(receipt.kept.seq)
    }

    /// Reads until the other end closes.
    async fn ask(&self, request: &str) -> String {
        let mut stream = TcpStream::connect(self.address).await.unwrap();
        stream.write_all(request.as_bytes()).await.unwrap();
        let mut answer = Vec::new();
        patient(stream.read_to_end(&mut answer)).await.unwrap();
        String::from_utf8(answer).unwrap()
    }

    async fn get(&self, path: &str) -> String {
        self.ask(&format!("GET {path} HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n"))
            .await
    }

    /// Reads the page until a line is on it, so often as it may take.
    async fn page_with(&self, line: &str) -> String {
        let read = async {
            loop {
                let page = self.get("/metrics").await;
                if page.lines().any(|found| found == line) {
                    return page;
                }
            }
        };
        tokio::time::timeout(PATIENCE, read)
            .await
            .unwrap_or_else(|_| panic!("no line `{line}`"))
    }
}

async fn patient<T>(future: impl Future<Output = T>) -> T {
    tokio::time::timeout(PATIENCE, future)
        .await
        .expect("it should not take this long")
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_page_says_what_the_writer_did() {
    let desk = Desk::new().await;
    desk.post(5 * MINUTE_US).await.unwrap();
    desk.post(0).await.unwrap();
    // Out of step: the daemon holds 2.
    desk.previous.store(7, Ordering::SeqCst);
    let refused = desk.post(0).await.unwrap_err();
    assert!(matches!(refused, Refusal::OutOfStep { held: 2 }));
    let page = desk
        .page_with("baywright_spool_delay_seconds{device=\"bay-1\"} 0.0")
        .await;
    for line in [
        "baywright_posts_total{outcome=\"kept\"} 2",
        "baywright_posts_total{outcome=\"refused\"} 1",
        "baywright_posts_total{outcome=\"repeated\"} 0",
        "baywright_posts_refused_total{reason=\"OUT_OF_STEP\"} 1",
        "baywright_posts_refused_total{reason=\"UNREADABLE\"} 0",
        "baywright_log_head_seq 2",
        "baywright_queue_posts_limit 1024.0",
        "baywright_batch_posts_count 3",
        "baywright_commit_seconds_count 3",
        "baywright_spool_delay_max_seconds{device=\"bay-1\"} 300.0",
        "baywright_appending 1",
        // No facts were opened here.
        "baywright_facts_lag_records 2",
        "baywright_facts_following 0",
        "# UNIT baywright_commit_seconds seconds",
        "# EOF",
    ] {
        assert!(page.lines().any(|found| found == line), "{line}\n{page}");
    }
    let wal = page
        .lines()
        .find_map(|line| line.strip_prefix("baywright_wal_size_bytes{database=\"log\"} "))
        .expect("the size of the write-ahead log");
    assert!(wal.parse::<u64>().unwrap() > 0);
    assert!(page.contains("content-type: application/openmetrics-text; version=1.0.0"));
    for word in ["ana", "customer"] {
        assert!(!page.contains(word), "{word}");
    }
    // There was no backup, so nothing is said about one.
    assert!(!page.contains("backup"), "{page}");
    let meta = crate::journal::LogReader::open(desk.folder.path())
        .unwrap()
        .meta()
        .unwrap();
    let file = std::path::Path::new("of-a-customer.backup");
    let noted = crate::backup::noted::Noted::new(&meta, 2, NINE - 90_000_000, file);
    noted.write(desk.folder.path()).unwrap();
    let page = desk.get("/metrics").await;
    assert!(
        page.contains("\nbaywright_backup_age_seconds 90.0\n"),
        "{page}"
    );
    assert!(page.contains("\nbaywright_backup_head_seq 2\n"));
    std::fs::write(desk.folder.path().join("backup.json"), "no backup").unwrap();
    assert!(!desk.get("/metrics").await.contains("backup"));
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn health_is_whether_posts_are_appended_and_why_not() {
    let desk = Desk::new().await;
    desk.post(0).await.unwrap();
    let well = desk.get("/health").await;
    assert!(well.starts_with("HTTP/1.1 200 OK\r\n"), "{well}");
    assert!(well.ends_with("ok: posts are appended, the log is at seq 1\n"));
    let broken = crate::journal::verify::Broken {
        seq: 1,
        why: "its hash is another".to_owned(),
    };
    let (writer, why) = (desk.writer.clone(), broken.to_string());
    std::thread::spawn(move || writer.read_only(broken));
    let mut heads = desk.writer.heads();
    patient(heads.wait_for(|heads| heads.read_only.is_some()))
        .await
        .unwrap();
    let ill = desk.get("/health").await;
    assert!(
        ill.starts_with("HTTP/1.1 503 Service Unavailable\r\n"),
        "{ill}"
    );
    assert!(
        ill.ends_with(&format!("the log is read-only: {why}\n")),
        "{ill}"
    );
    assert!(
        desk.get("/metrics")
            .await
            .contains("\nbaywright_appending 0\n")
    );
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_page_says_how_long_certificates_last() {
    let folder = tempfile::tempdir().unwrap();
    crate::access::init(folder.path()).unwrap();
    let access = Access::load(folder.path()).unwrap();
    let devices = &access.kept().unwrap().devices;
    for (name, left_us, cut_off_us) in [("bay-1", 24 * HOUR_US, 0), ("stolen", HOUR_US, NINE)] {
        let device = Device {
            name: name.to_owned(),
            role: RoleWord::Bay,
            enrolment: uuid::Uuid::now_v7(),
            user_id: None,
            enrolled_us: NINE - HOUR_US,
            expires_us: NINE + left_us,
            cut_off_us,
        };
        devices.add(device).unwrap();
    }
    let page = Desk::with(access.clone()).await.get("/metrics").await;
    let line = "\nbaywright_certificate_left_seconds{device=\"bay-1\"} 86400.0\n";
    assert!(page.contains(line), "{page}");
    assert!(!page.contains("stolen"), "{page}");
}

#[test]
fn health_remembers_that_nothing_could_be_written_until_something_could() {
    let metrics = Metrics::default();
    let full = Refusal::NotWritten {
        why: "the disk is full".to_owned(),
    };
    let out_of_step = Refusal::OutOfStep { held: 0 };
    let took = Duration::from_millis(1);
    metrics.batch([Err(&full)].into_iter(), took);
    assert_eq!(metrics.not_written().as_deref(), Some("the disk is full"));
    // A refusal that has nothing to do with the disk says nothing about it.
    metrics.batch([Err(&out_of_step)].into_iter(), took);
    assert!(metrics.not_written().is_some());
    metrics.batch([Err(&out_of_step), Ok(false)].into_iter(), took);
    assert_eq!(metrics.not_written(), None);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn there_are_two_paths_and_one_way_to_ask() {
    let desk = Desk::new().await;
    let status = |answer: String| answer.lines().next().unwrap_or_default().to_owned();
    for (request, expected) in [
        (
            "GET / HTTP/1.1\r\nHost: x\r\n\r\n",
            "HTTP/1.1 404 Not Found",
        ),
        (
            "POST /metrics HTTP/1.1\r\nHost: x\r\nContent-Length: 0\r\n\r\n",
            "HTTP/1.1 405 Method Not Allowed",
        ),
        (
            "HEAD /health HTTP/1.1\r\nHost: x\r\n\r\n",
            "HTTP/1.1 200 OK",
        ),
        ("not http\r\n\r\n", "HTTP/1.1 400 Bad Request"),
    ] {
        assert_eq!(status(desk.ask(request).await), expected, "{request}");
    }
    let long = format!(
        "GET /metrics HTTP/1.1\r\nHost: x\r\nX-Long: {}\r\n\r\n",
        "x".repeat(6 * 1024)
    );
    assert_eq!(status(desk.ask(&long).await), "HTTP/1.1 200 OK");
    let many = format!("GET /metrics HTTP/1.1\r\n{}\r\n", "X-A: b\r\n".repeat(100));
    assert_eq!(
        status(desk.ask(&many).await),
        "HTTP/1.1 431 Request Header Fields Too Large"
    );
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn stuck_readers_are_ended_and_hold_up_neither_posts_nor_the_stop() {
    let desk = Desk::new().await;
    let mut stuck = Vec::new();
    for request in [
        "",
        "GET /met",
        "GET /metrics HTTP/1.1\r\n",
        "GET /metrics HTTP/1.1\r\nA: b\r\n",
    ] {
        let mut stream = TcpStream::connect(desk.address).await.unwrap();
        stream.write_all(request.as_bytes()).await.unwrap();
        stuck.push(stream);
    }
    // Posts go on, while every place is taken.
    for _ in 0..3 {
        desk.post(0).await.unwrap();
    }
    // One more is closed at once, with nothing said.
    let mut more = TcpStream::connect(desk.address).await.unwrap();
    let mut said = Vec::new();
    let _ = patient(more.read_to_end(&mut said)).await;
    assert_eq!(said, b"");
    for mut stream in stuck {
        let mut said = Vec::new();
        let _ = patient(stream.read_to_end(&mut said)).await;
    }
    assert!(desk.get("/health").await.contains(" 200 OK"));
    let held = TcpStream::connect(desk.address).await.unwrap();
    desk.stop.cancel();
    patient(async {
        while TcpStream::connect(desk.address).await.is_ok() {
            tokio::task::yield_now().await;
        }
    })
    .await;
    drop(held);
}
