//! Posts in, receipts and refusals out.

use super::*;

#[tokio::test]
async fn a_receipt_carries_what_the_fold_says_and_a_repeat_says_so() {
    let pipe = Pipe::quiet().await;
    let first = pipe.post(post(1, 0, 1)).await.unwrap();
    assert_eq!((first.seq, first.repeated), (1, false));
    assert_eq!(first.job_title, "title of 1");
    assert_eq!(first.catalogue_revision, 7);
    let again = pipe.post(post(1, 0, 1)).await.unwrap();
    assert_eq!((again.seq, again.repeated), (1, true));
    assert_eq!(again.received_us, first.received_us);
    assert_eq!(again.job_title, "as the first time");
}

#[tokio::test]
async fn each_refusal_has_its_code_its_reason_and_how_to_mend_it() {
    let worker = Worker {
        name: "Ana".to_owned(),
        rate_minor: None,
        retired: false,
    };
    let mut catalogue = Catalogue::default();
    catalogue.workers.insert(Word::new("ana"), worker);
    let pipe = Pipe::with(Box::new(|s| Ok(titled(s))), catalogue, None).await;

    let mut unreadable = post(1, 0, 1);
    unreadable.event_id.pop();
    let status = pipe.post(unreadable).await.unwrap_err();
    assert_eq!(status.code(), Code::InvalidArgument);
    assert_eq!(reason(&status), "UNREADABLE");
    let details = status.get_error_details();
    let wrong = &details.bad_request().unwrap().field_violations;
    assert_eq!(wrong[0].field, "event_id");
    assert!(wrong[0].description.contains("16 bytes"));

    let status = patient(pipe.intake().post(v1::PostRequest { post: None }))
        .await
        .unwrap_err();
    assert_eq!(reason(&status), "UNREADABLE");

    let status = pipe.post(post(1, 4, 5)).await.unwrap_err();
    assert_eq!(status.code(), Code::FailedPrecondition);
    assert_eq!(reason(&status), "OUT_OF_STEP");
    let details = status.get_error_details();
    let held = &details.error_info().unwrap().metadata["held_device_seq"];
    assert_eq!(held, "0");

    let mut slip = post(1, 0, 1);
    slip.waiting = true;
    let status = pipe.post(slip).await.unwrap_err();
    assert_eq!(status.code(), Code::InvalidArgument);
    assert_eq!(reason(&status), "UNKNOWN_CODE");
    assert_eq!(status.message(), "no worker `anna` in the catalogue");
    let details = status.get_error_details();
    let wrong = &details.bad_request().unwrap().field_violations[0];
    assert_eq!(wrong.field, "fact.by");
    assert!(
        wrong.description.contains("did you mean ana?"),
        "{}",
        wrong.description
    );

    pipe.post(post(1, 0, 1)).await.unwrap();
    let mut other = post(1, 1, 2);
    other.event_id = event_id(1, 1);
    let status = pipe.post(other).await.unwrap_err();
    assert_eq!(status.code(), Code::AlreadyExists);
    assert_eq!(reason(&status), "ID_REUSED");
}

#[tokio::test]
async fn many_posts_get_a_receipt_or_a_refusal_each_in_their_order() {
    let pipe = Pipe::quiet().await;
    let mut posts: Vec<v1::Post> = (1..=300).map(|seq| post(1, seq - 1, seq)).collect();
    // One in the middle is nonsense; the next one still follows what is held.
    posts[100].fact = vec![0xff];
    posts[101].previous_device_seq = 100;
    let requests: Vec<v1::PostManyRequest> = posts
        .into_iter()
        .map(|post| v1::PostManyRequest { post: Some(post) })
        .collect();
    let mut answers = patient(pipe.intake().post_many(tokio_stream::iter(requests)))
        .await
        .unwrap()
        .into_inner();
    let mut seq = 0;
    for number in 1..=300_u64 {
        let answer = patient(answers.next()).await.unwrap().unwrap();
        match answer.result.unwrap() {
            v1::post_many_response::Result::Receipt(receipt) => {
                seq += 1;
                assert_eq!(receipt.seq, seq);
                assert_eq!(receipt.event_id, event_id(1, number));
            }
            v1::post_many_response::Result::Refusal(refusal) => {
                assert_eq!(number, 101);
                assert_eq!(refusal.reason, "UNREADABLE");
                assert_eq!(refusal.event_id, event_id(1, 101));
            }
        }
    }
    assert!(patient(answers.next()).await.is_none());
    assert_eq!(seq, 299);
}

#[tokio::test]
async fn a_full_queue_says_when_to_come_back_and_loses_nothing() {
    let (go, gate) = std_mpsc::sync_channel::<()>(1);
    let gate = Mutex::new(gate);
    let mut first = true;
    let pipe = Pipe::new(Box::new(move |stored| {
        if !stored.is_empty() && std::mem::take(&mut first) {
            gate.lock().unwrap().recv().unwrap();
        }
        Ok(titled(stored))
    }))
    .await;
    let held = {
        let mut intake = pipe.intake();
        tokio::spawn(async move { send(&mut intake, post(1, 0, 1)).await })
    };
    // The writer now stands in the fold with the first post.
    pipe.heads(|heads| heads.log_seq == 1).await;
    let mut waiting = Vec::new();
    for seq in 2..=u64::try_from(QUEUE_POSTS_MAX).unwrap() + 1 {
        let intake = crate::journal::Intake {
            post: post(1, seq - 1, seq),
            device: "bay-1".to_owned(),
            role: v1::Role::Owner,
        };
        waiting.push(pipe.writer.post(intake).unwrap());
    }
    let status = pipe.post(post(2, 0, 1)).await.unwrap_err();
    assert_eq!(status.code(), Code::ResourceExhausted);
    assert_eq!(reason(&status), "QUEUE_FULL");
    assert!(status.get_error_details().retry_info().is_some());
    go.send(()).unwrap();
    assert_eq!(patient(held).await.unwrap().unwrap().seq, 1);
    for (pending, seq) in waiting.into_iter().zip(2..) {
        assert_eq!(patient(pending.answer()).await.unwrap().kept.seq, seq);
    }
    pipe.post(post(2, 0, 1)).await.unwrap();
}
