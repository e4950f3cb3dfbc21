//! A whole daemon: started, used, stopped, started again.

use super::*;

/// A whole daemon on a free port, and how it ends.
pub(super) struct Whole {
    pub(super) address: String,
    pub(super) stop: CancellationToken,
    pub(super) ended: tokio::task::JoinHandle<Result<(), crate::lifecycle::ServeError>>,
}

pub(super) async fn whole(dir: &std::path::Path) -> Whole {
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
    let config = Config {
        data_dir: dir.to_owned(),
        listen: listener.local_addr().unwrap(),
        join_port: None,
        socket: None,
        metrics: None,
    };
    let stop = CancellationToken::new();
    let (tell, told) = tokio::sync::oneshot::channel();
    let clock = Arc::new(SetClock::at(Micros(1_795_424_400_000_000)));
    let serving = serve(config, listener, clock, stop.clone(), move |ready| {
        tell.send(ready.clone()).unwrap();
    });
    let ended = tokio::spawn(serving);
    let ready = patient(told).await.unwrap();
    Whole {
        address: format!("http://{}", ready.listening),
        stop,
        ended,
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_stop_under_load_loses_nothing_that_was_acknowledged() {
    let dir = tempfile::tempdir().unwrap();
    let daemon = whole(dir.path()).await;
    let mut bays = Vec::new();
    let (count, mut counted) = tokio::sync::mpsc::channel::<()>(64);
    for bay in 1..=4_u8 {
        let mut intake = IntakeServiceClient::connect(daemon.address.clone())
            .await
            .unwrap();
        let count = count.clone();
        bays.push(tokio::spawn(async move {
            let mut acknowledged = 0;
            loop {
                match send(&mut intake, post(bay, acknowledged, acknowledged + 1)).await {
                    Ok(_) => acknowledged += 1,
                    Err(status) => {
                        // Refused by the stop, or cut off by it; never for another reason.
                        let details = status.get_error_details();
                        if let Some(info) = details.error_info() {
                            assert_eq!(info.reason, "STOPPING");
                        }
                        return acknowledged;
                    }
                }
                let _ = count.try_send(());
            }
        }));
    }
    let mut floor = FloorServiceClient::connect(daemon.address.clone())
        .await
        .unwrap();
    let request = v1::WatchRequest {
        after_seq: 0,
        follow: true,
    };
    let mut watcher = patient(floor.watch(request)).await.unwrap().into_inner();
    for _ in 0..50 {
        patient(counted.recv()).await.unwrap();
    }
    let began = std::time::Instant::now();
    daemon.stop.cancel();
    patient(daemon.ended).await.unwrap().unwrap();
    assert!(began.elapsed() < Duration::from_millis(STOP_GRACE_MS_MAX));
    let last_word = loop {
        match patient(watcher.next()).await {
            Some(Ok(_)) => {}
            Some(Err(status)) => break status,
            None => panic!("a watcher is told why it ends"),
        }
    };
    assert_eq!(last_word.code(), Code::Unavailable);
    let log = LogReader::open(dir.path()).unwrap();
    verify(&log, |_, _| true).unwrap();
    for (bay, acknowledged) in (1..=4_u8).zip(bays) {
        let acknowledged = patient(acknowledged).await.unwrap();
        for seq in 1..=acknowledged {
            assert!(log.record_of_event(&event_id(bay, seq)).unwrap().is_some());
        }
        // At most the post whose answer did not arrive is there beyond that.
        let held = log.held_device_seq(&format!("bay-{bay}")).unwrap();
        assert!(held == acknowledged || held == acknowledged + 1);
    }
    // What was left behind is clean: the next daemon starts at once.
    assert!(!dir.path().join("bay.sock").exists());
    let next = whole(dir.path()).await;
    next.stop.cancel();
    patient(next.ended).await.unwrap().unwrap();
}

#[tokio::test]
async fn answers_over_tcp_do_not_wait_for_nagle() {
    let dir = tempfile::tempdir().unwrap();
    let daemon = whole(dir.path()).await;
    let mut intake = IntakeServiceClient::connect(daemon.address.clone())
        .await
        .unwrap();
    let mut quickest = PATIENCE;
    for seq in 1..=20 {
        let began = std::time::Instant::now();
        send(&mut intake, post(1, seq - 1, seq)).await.unwrap();
        quickest = quickest.min(began.elapsed());
    }
    // With Nagle's algorithm and delayed acknowledgements each takes 40 ms.
    assert!(quickest < Duration::from_millis(30), "{quickest:?}");
    daemon.stop.cancel();
    patient(daemon.ended).await.unwrap().unwrap();
}

#[tokio::test]
async fn a_left_over_socket_goes_and_one_in_use_stays() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("bay.sock");
    drop(std::os::unix::net::UnixListener::bind(&path).unwrap());
    assert!(path.exists(), "a killed daemon leaves its socket");
    let daemon = whole(dir.path()).await;
    let other = tempfile::tempdir().unwrap();
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
    let config = Config {
        data_dir: other.path().to_owned(),
        listen: listener.local_addr().unwrap(),
        join_port: None,
        socket: Some(path),
        metrics: None,
    };
    let clock = Arc::new(SetClock::at(Micros(0)));
    let refused = patient(serve(
        config,
        listener,
        clock,
        CancellationToken::new(),
        |_| {},
    ))
    .await;
    assert!(refused.unwrap_err().to_string().contains("another process"));
    daemon.stop.cancel();
    patient(daemon.ended).await.unwrap().unwrap();
}

fn fact(kind: v1::fact::Kind) -> v1::Fact {
    v1::Fact {
        bay: "bay-1".to_owned(),
        by: vec!["ana".to_owned()],
        kind: Some(kind),
        ..v1::Fact::default()
    }
}

fn of_fact(seq: u64, fact: &v1::Fact) -> v1::Post {
    v1::Post {
        fact: fact.encode_to_vec(),
        waiting: true,
        ..post(1, seq - 1, seq)
    }
}

/// The catalogue of an invented shop.
fn catalogue_set() -> v1::Fact {
    let code = |code: &str| code.to_owned();
    let catalogue = v1::Catalogue {
        shop: Some(v1::Shop {
            name: "Invented Coatings".to_owned(),
            zone: "Europe/Vienna".to_owned(),
            currency: "EUR".to_owned(),
            ..v1::Shop::default()
        }),
        bays: vec![v1::Bay {
            code: code("bay-1"),
            places: 1,
            ..v1::Bay::default()
        }],
        workers: vec![v1::Worker {
            code: code("ana"),
            ..v1::Worker::default()
        }],
        products: vec![v1::Product {
            code: code("iron-remover"),
            ..v1::Product::default()
        }],
        stages: vec![v1::Stage {
            code: code("decon"),
            kind: v1::StageKind::Cleaning.into(),
            ..v1::Stage::default()
        }],
        ..v1::Catalogue::default()
    };
    fact(v1::fact::Kind::CatalogueSet(v1::CatalogueSet {
        learned_up_to_seq: 0,
        valid_from_us: 0,
        changed: Some(catalogue),
    }))
}

#[tokio::test]
async fn what_a_bay_posts_is_on_the_floor_at_once_and_after_a_restart() {
    let dir = tempfile::tempdir().unwrap();
    let daemon = whole(dir.path()).await;
    let mut intake = IntakeServiceClient::connect(daemon.address.clone())
        .await
        .unwrap();
    let set = send(&mut intake, of_fact(1, &catalogue_set()))
        .await
        .unwrap();
    assert_eq!(set.catalogue_revision, 1);
    let used = |product: &str| {
        fact(v1::fact::Kind::ProductUsed(v1::ProductUsed {
            product: product.to_owned(),
            ..v1::ProductUsed::default()
        }))
    };
    let status = send(&mut intake, of_fact(2, &used("iron-remvoer")))
        .await
        .unwrap_err();
    assert_eq!(reason(&status), "UNKNOWN_CODE");
    assert_eq!(
        status.message(),
        "no product `iron-remvoer` in the catalogue"
    );
    let details = status.get_error_details();
    assert_eq!(
        details.error_info().unwrap().metadata["nearest"],
        "iron-remover"
    );
    let opened = fact(v1::fact::Kind::JobOpened(v1::JobOpened {
        job_type: "unsorted".to_owned(),
        vehicle: "invented tractor".to_owned(),
        ..v1::JobOpened::default()
    }));
    let opened = send(&mut intake, of_fact(2, &opened)).await.unwrap();
    assert_eq!(opened.job_number, 1);
    assert!(
        opened.job_title.contains("invented tractor"),
        "{}",
        opened.job_title
    );
    let mut moved = fact(v1::fact::Kind::JobMoved(v1::JobMoved {
        place: "bay-1".to_owned(),
    }));
    moved.job = Some(v1::JobRef {
        job: Some(v1::job_ref::Job::Number(1)),
    });
    send(&mut intake, of_fact(3, &moved)).await.unwrap();
    let started = fact(v1::fact::Kind::StageStarted(v1::StageStarted {
        stage: "decon".to_owned(),
        ..v1::StageStarted::default()
    }));
    let started = send(&mut intake, of_fact(4, &started)).await.unwrap();
    assert_eq!(
        (started.job_number, started.by),
        (1, vec!["ana".to_owned()])
    );
    let before = floor_now(&daemon.address).await;
    assert_eq!(before.head_seq, 4);
    let job = &before.bays[0].jobs[0];
    assert_eq!((job.number, job.running[0].stage.as_str()), (1, "decon"));
    daemon.stop.cancel();
    patient(daemon.ended).await.unwrap().unwrap();

    let again = whole(dir.path()).await;
    assert_eq!(floor_now(&again.address).await, before);
    let repeated = {
        let mut intake = IntakeServiceClient::connect(again.address.clone())
            .await
            .unwrap();
        let mut posted = of_fact(2, &used("x"));
        posted.fact.clear();
        // The receipt of a post is told again after a restart, with its job.
        let first = LogReader::open(dir.path())
            .unwrap()
            .record(2)
            .unwrap()
            .unwrap();
        posted.fact = first.decode().unwrap().fact;
        send(&mut intake, posted).await.unwrap()
    };
    assert!(repeated.repeated);
    assert_eq!(repeated.job_title, opened.job_title);
    again.stop.cancel();
    patient(again.ended).await.unwrap().unwrap();

    let run = |command: &[&str]| {
        let mut args = vec![std::ffi::OsString::from("baywrightd")];
        args.extend(command.iter().map(std::ffi::OsString::from));
        args.extend(["--data".into(), dir.path().into()]);
        format!("{:?}", crate::run(args))
    };
    let done = format!("{:?}", std::process::ExitCode::SUCCESS);
    assert_eq!(run(&["verify"]), done);
    assert_eq!(run(&["rebuild", "--check"]), done);
    assert_eq!(run(&["rebuild"]), done);
    assert_eq!(run(&["rebuild", "--check", "--json"]), done);
    let facts = rusqlite::Connection::open(dir.path().join("facts.db")).unwrap();
    facts.execute("DELETE FROM job", []).unwrap();
    drop(facts);
    assert_ne!(run(&["rebuild", "--check"]), done, "a check can fail");
}

async fn floor_now(address: &str) -> v1::NowResponse {
    let mut floor = FloorServiceClient::connect(address.to_owned())
        .await
        .unwrap();
    let asked = v1::NowRequest::default();
    patient(floor.now(asked)).await.unwrap().into_inner()
}

/// A log of a few more records than are checked before a start, with one
/// changed near its beginning by someone who has the file.
fn log_broken_at_seq_2(dir: &std::path::Path) {
    let mut journal = Journal::open(dir).unwrap();
    let intakes: Vec<crate::journal::Intake> = (1..=TAIL_RECORDS + 10)
        .map(|seq| crate::journal::Intake {
            post: post(1, seq - 1, seq),
            device: "bay-1".to_owned(),
            role: v1::Role::Owner,
        })
        .collect();
    let now = Micros(1_795_424_400_000_000);
    let outcomes = append_batch(&mut journal, &Catalogue::default(), &intakes, now);
    assert!(outcomes.iter().all(Result::is_ok));
    journal
        .connection()
        .execute_batch(
            "DROP TRIGGER record_keeps_every_value;
             UPDATE record SET record = CAST(record || x'a00607' AS BLOB) WHERE seq = 2;",
        )
        .unwrap();
}

#[tokio::test]
async fn a_log_found_broken_beside_the_work_takes_no_more_posts_and_is_still_read() {
    let dir = tempfile::tempdir().unwrap();
    log_broken_at_seq_2(dir.path());
    let daemon = whole(dir.path()).await;
    let mut intake = IntakeServiceClient::connect(daemon.address.clone())
        .await
        .unwrap();
    // Posts may still go through until the check has come to the place.
    let refused = async {
        let mut held = TAIL_RECORDS + 10;
        loop {
            match send(&mut intake, post(1, held, held + 1)).await {
                Ok(_) => held += 1,
                Err(status) => return status,
            }
        }
    };
    let status = patient(refused).await;
    assert_eq!(reason(&status), "READ_ONLY");
    assert!(status.message().contains("seq 2"), "{}", status.message());
    let mut floor = FloorServiceClient::connect(daemon.address.clone())
        .await
        .unwrap();
    let request = v1::WatchRequest {
        after_seq: TAIL_RECORDS,
        follow: false,
    };
    let mut stream = patient(floor.watch(request)).await.unwrap().into_inner();
    assert_eq!(watched(&mut stream, 1).await, [TAIL_RECORDS + 1]);
    daemon.stop.cancel();
    patient(daemon.ended).await.unwrap().unwrap();
}
