//! Watching, greeting, and what is left when the facts fail.

use super::*;

#[tokio::test]
async fn a_watcher_pages_then_follows_and_resumes_after_any_seq() {
    let pipe = Pipe::quiet().await;
    for seq in 1..=200 {
        pipe.post(post(1, seq - 1, seq)).await.unwrap();
    }
    let watch = |after_seq, follow| {
        let mut floor = pipe.floor();
        async move {
            let request = v1::WatchRequest { after_seq, follow };
            patient(floor.watch(request)).await.unwrap().into_inner()
        }
    };
    let mut all = watch(0, false).await;
    assert_eq!(watched(&mut all, 200).await, (1..=200).collect::<Vec<_>>());
    assert!(
        patient(all.next()).await.is_none(),
        "without follow it ends"
    );
    let mut following = watch(197, true).await;
    assert_eq!(watched(&mut following, 3).await, [198, 199, 200]);
    for seq in 201..=203 {
        pipe.post(post(1, seq - 1, seq)).await.unwrap();
    }
    assert_eq!(watched(&mut following, 3).await, [201, 202, 203]);
    // One that never reads holds up nobody, and hears the last word.
    let mut slow = watch(0, true).await;
    pipe.stop.cancel();
    pipe.streams.close();
    patient(pipe.streams.wait()).await;
    let mut seen = 0;
    let status = loop {
        match patient(slow.next()).await.unwrap() {
            Ok(response) => {
                assert_eq!(response.decoded.unwrap().seq, seen + 1);
                seen += 1;
            }
            Err(status) => break status,
        }
    };
    assert_eq!(status.code(), Code::Unavailable);
    assert_eq!(reason(&status), "STOPPING");
    let mut resumed_from = following;
    let status = patient(resumed_from.next()).await.unwrap().unwrap_err();
    assert_eq!(reason(&status), "STOPPING");
}

#[tokio::test]
async fn a_fold_that_panics_costs_no_receipt_and_stops_no_log() {
    let pipe = Pipe::new(Box::new(|stored| {
        assert!(stored.iter().all(|entry| entry.seq < 3), "made to panic");
        Ok(titled(stored))
    }))
    .await;
    for seq in 1..=5 {
        let receipt = pipe.post(post(1, seq - 1, seq)).await.unwrap();
        assert_eq!(receipt.seq, seq);
        assert_eq!(receipt.job_title.is_empty(), seq >= 3);
    }
    let heads = pipe.heads(|heads| heads.facts == Standing::Broken).await;
    assert_eq!(heads.log_seq, 5);
    let now = patient(pipe.floor().now(v1::NowRequest::default())).await;
    let status = now.unwrap_err();
    assert_eq!(status.code(), Code::Unavailable);
    assert_eq!(reason(&status), "FACTS_BEHIND");
    // The log itself can still be watched.
    let request = v1::WatchRequest {
        after_seq: 0,
        follow: false,
    };
    let mut stream = patient(pipe.floor().watch(request))
        .await
        .unwrap()
        .into_inner();
    assert_eq!(watched(&mut stream, 5).await, [1, 2, 3, 4, 5]);
}

#[tokio::test]
async fn facts_that_fail_once_catch_up_with_the_next_post() {
    let mut fails = true;
    let pipe = Pipe::new(Box::new(move |stored| {
        if !stored.is_empty() && std::mem::take(&mut fails) {
            return Err(FactsError::Damaged("made to fail".to_owned()));
        }
        Ok(titled(stored))
    }))
    .await;
    let first = pipe.post(post(1, 0, 1)).await.unwrap();
    assert_eq!(first.job_title, "");
    pipe.heads(|heads| heads.facts == Standing::Behind).await;
    let second = pipe.post(post(1, 1, 2)).await.unwrap();
    assert_eq!(second.job_title, "title of 2");
    let heads = pipe.heads(|heads| heads.facts_seq == 2).await;
    assert_eq!(heads.facts, Standing::Following);
}

#[tokio::test]
async fn a_broken_chain_makes_the_log_read_only() {
    let broken = Broken {
        seq: 3,
        why: "made for a test".to_owned(),
    };
    let doing: Doing = Box::new(|stored| Ok(titled(stored)));
    let pipe = Pipe::with(doing, Catalogue::default(), Some(broken)).await;
    let status = pipe.post(post(1, 0, 1)).await.unwrap_err();
    assert_eq!(status.code(), Code::Unavailable);
    assert_eq!(reason(&status), "READ_ONLY");
    assert!(status.message().contains("seq 3"));
    let mut health = HealthClient::new(pipe.channel.clone());
    let answer = patient(health.check(HealthCheckRequest {
        service: "baywright.v1.IntakeService".to_owned(),
    }));
    let serving = answer.await.unwrap().into_inner().status();
    assert_eq!(
        serving,
        tonic_health::pb::health_check_response::ServingStatus::NotServing
    );
}

#[tokio::test]
async fn hello_says_what_is_held_and_which_side_is_too_old() {
    let pipe = Pipe::quiet().await;
    pipe.post(post(1, 0, 4)).await.unwrap();
    let mut hello = HelloServiceClient::new(pipe.channel.clone());
    let asked = v1::HelloRequest {
        protocol_lowest: 1,
        protocol_highest: 3,
        build: "bay 9".to_owned(),
        device: "bay-1".to_owned(),
    };
    let answer = patient(hello.hello(asked.clone()))
        .await
        .unwrap()
        .into_inner();
    assert_eq!((answer.held_device_seq, answer.head_seq), (4, 1));
    assert_eq!((answer.log_id.len(), answer.epoch), (16, 1));
    let newer = v1::HelloRequest {
        protocol_lowest: 2,
        ..asked
    };
    let status = patient(hello.hello(newer)).await.unwrap_err();
    assert_eq!(status.code(), Code::FailedPrecondition);
    assert_eq!(reason(&status), "VERSION");
    assert!(status.message().contains("update the daemon"));
    let log = LogReader::open(pipe.dir.path()).unwrap();
    assert_eq!(log.meta().unwrap().log_id.to_vec(), answer.log_id);
}
