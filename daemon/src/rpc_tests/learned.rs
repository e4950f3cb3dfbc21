//! What was learned, over the wire: over a restart, after strikes and imports,
//! as of an old seq, and how past quotes held.

use baywright_proto::v1::fact::Kind;
use baywright_proto::v1::report_service_client::ReportServiceClient;

use super::quote::{HOUR_US, NOW_US, Shop, asked, opened, suggested};
use super::*;

async fn learned(shop: &mut Shop, as_of_seq: u64) -> v1::LearnedResponse {
    let request = v1::LearnedRequest {
        as_of_seq,
        ..v1::LearnedRequest::default()
    };
    let answer = patient(shop.quotes.learned(request)).await.unwrap();
    answer.into_inner()
}

fn for_a_trike() -> v1::SuggestRequest {
    v1::SuggestRequest {
        asked: Some(asked()),
        asked_us: NOW_US,
        ..v1::SuggestRequest::default()
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_was_learned_survives_a_restart_and_an_old_seq_gives_what_was_known() {
    let mut shop = Shop::new().await;
    let guess = suggested(&mut shop, for_a_trike()).await.printed.unwrap();
    assert!(guess.trade_guess);
    assert_eq!(guess.from_jobs_all, 0);
    // Twice as long as allowed, job after job.
    for number in 1..=6 {
        shop.job(number, opened(&[]), [120, 240]).await;
    }
    let then_seq = shop.posted;
    let then = suggested(&mut shop, for_a_trike()).await.printed.unwrap();
    assert!(!then.trade_guess);
    assert_eq!((then.from_jobs, then.from_jobs_all), (6, 6));
    assert!(
        then.hands_on_half_us > guess.hands_on_half_us * 5 / 4,
        "{then:?}"
    );
    assert_eq!(then.learned_up_to_seq, then_seq);
    let shares: i64 = then.stages.iter().map(|stage| stage.quoted_us).sum();
    assert_eq!(shares, then.hands_on_half_us, "the standards add up");
    let learned_then = learned(&mut shop, 0).await;
    assert_eq!(learned_then.jobs, 6);

    // The first job's second stage never was: it is learned from no more.
    let ends = shop.job(7, opened(&[]), [120, 240]).await;
    for event_id in ends {
        let strike = Kind::StruckOut(v1::StruckOut {
            event_id,
            reason: "the wrong job".to_owned(),
        });
        shop.post(strike, 0, None).await;
    }
    let struck = learned(&mut shop, 0).await;
    let records = |learned: &v1::LearnedResponse| -> u32 {
        let stages = learned.types.iter().flat_map(|of_type| &of_type.stages);
        stages.map(|stage| stage.n).sum()
    };
    assert_eq!(records(&struck), records(&learned_then));

    let now = suggested(&mut shop, for_a_trike()).await;
    let mut shop = shop.restarted().await;
    assert_eq!(suggested(&mut shop, for_a_trike()).await, now);
    assert_eq!(learned(&mut shop, 0).await, struck);
    let of_then = v1::SuggestRequest {
        as_of_seq: then_seq,
        ..for_a_trike()
    };
    assert_eq!(suggested(&mut shop, of_then).await.printed.unwrap(), then);
    let again = learned(&mut shop, then_seq).await;
    assert_eq!(again.types, learned_then.types);
    // A seq that the log has not reached is the head.
    let ahead = learned(&mut shop, u64::MAX).await;
    assert_eq!(ahead.types, struck.types);
    shop.stopped().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_past_job_that_is_imported_twice_is_learned_from_once() {
    let mut shop = Shop::new().await;
    let past = |key: u8| v1::PastJob {
        key: vec![key; 16],
        date: "2026-05-04".to_owned(),
        job_type: "trike-coat".to_owned(),
        actual_us: 6 * HOUR_US,
        ..v1::PastJob::default()
    };
    let import = |keys: &[u8]| {
        Kind::PastRecorded(v1::PastRecorded {
            source: "past.csv".to_owned(),
            jobs: keys.iter().map(|key| past(*key)).collect(),
        })
    };
    let first = shop.post(import(&[1, 2, 3]), 0, None).await;
    let once = learned(&mut shop, 0).await;
    assert_eq!((once.jobs, once.jobs_imported), (3, 3));
    shop.post(import(&[2, 3, 4]), 0, None).await;
    let twice = learned(&mut shop, 0).await;
    assert_eq!(twice.jobs_imported, 4);
    // The first import is taken back: what only it had is gone.
    let strike = Kind::StruckOut(v1::StruckOut {
        event_id: first,
        reason: "the wrong file".to_owned(),
    });
    shop.post(strike, 0, None).await;
    assert_eq!(learned(&mut shop, 0).await.jobs_imported, 3);
    shop.stopped().await;
}

/// Ten jobs, every other one quoted before it, each twice as long as allowed.
async fn ten_jobs(shop: &mut Shop) {
    for number in 1..=10 {
        let mut quote = Vec::new();
        if number % 2 == 0 {
            let request = v1::SuggestRequest {
                asked_us: Shop::day(number) - HOUR_US,
                ..for_a_trike()
            };
            let answer = suggested(shop, request).await;
            let drafted = Kind::QuoteDrafted(v1::QuoteDrafted {
                asked: answer.asked,
                printed: answer.printed,
                addition: false,
            });
            let at_us = Shop::day(number) - HOUR_US;
            quote = shop.post(drafted, at_us, None).await;
            let accepted = Kind::QuoteAccepted(v1::QuoteAccepted {
                quote_event_id: quote.clone(),
                ..v1::QuoteAccepted::default()
            });
            shop.post(accepted, at_us + 1, None).await;
        }
        shop.job(number, opened(&quote), [120, 240]).await;
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn how_quotes_held_is_told_and_a_retrace_is_the_same_again() {
    let mut shop = Shop::new().await;
    ten_jobs(&mut shop).await;
    let asked = v1::HonestyRequest {
        retrace: true,
        ..v1::HonestyRequest::default()
    };
    let first = patient(shop.quotes.honesty(asked))
        .await
        .unwrap()
        .into_inner();
    let printed = first.printed.clone().unwrap();
    assert_eq!(printed.jobs, 5);
    let numbers: Vec<u64> = printed.by_job.iter().map(|job| job.job_number).collect();
    assert_eq!(numbers, [2, 4, 6, 8, 10]);
    assert!(
        printed
            .by_job
            .iter()
            .all(|job| job.actual_us == 6 * HOUR_US)
    );
    assert_eq!(first.retraced.clone().unwrap().jobs, 5);
    let again = patient(shop.quotes.honesty(asked))
        .await
        .unwrap()
        .into_inner();
    assert_eq!(again, first);
    let of_then = v1::HonestyRequest {
        as_of_seq: shop.posted,
        ..asked
    };
    let of_then = patient(shop.quotes.honesty(of_then)).await.unwrap();
    assert_eq!(of_then.into_inner(), first);
    let mut shop = shop.restarted().await;
    let after = patient(shop.quotes.honesty(asked)).await.unwrap();
    assert_eq!(after.into_inner(), first);
    shop.stopped().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_week_has_what_the_office_did_and_comes_out_again_as_of_its_seq() {
    let mut shop = Shop::new().await;
    ten_jobs(&mut shop).await;
    let seq = shop.posted;
    let mut reports = ReportServiceClient::connect(shop.daemon.address.clone())
        .await
        .unwrap();
    let mut week = async |from: u64, to: u64, as_of_seq: u64| {
        let date = |number| {
            let at = jiff::Timestamp::from_microsecond(Shop::day(number)).unwrap();
            jiff::tz::TimeZone::UTC.to_datetime(at).date().to_string()
        };
        let request = v1::WeekRequest {
            from_date: date(from),
            to_date: date(to),
            as_of_seq,
            ..v1::WeekRequest::default()
        };
        let week = patient(reports.week(request))
            .await
            .unwrap()
            .into_inner()
            .week
            .unwrap();
        // Where counting stops, which is the present.
        v1::Week {
            as_of_us: 0,
            ..week
        }
    };
    let then = week(1, 12, 0).await;
    let won: Vec<(u32, u32)> = then.quotes.iter().map(|of| (of.won, of.lost)).collect();
    assert_eq!(won, [(5, 0)]);
    assert_eq!(then.honesty.as_ref().unwrap().jobs, 5);
    // The span is over: what lies ahead is no part of it.
    assert_eq!(then.ahead, None);
    // It runs: the two weeks ahead begin now.
    let running = week(1, 61, 0).await;
    assert_eq!(running.ahead.as_ref().unwrap().from_us, NOW_US);
    shop.job(11, opened(&[]), [30, 30]).await;
    assert_ne!(week(1, 12, 0).await, then);
    let again = week(1, 12, seq).await;
    assert_eq!(
        v1::Week {
            as_of_seq: seq,
            ..then
        },
        again
    );

    let ahead = patient(shop.quotes.ahead(v1::AheadRequest::default()))
        .await
        .unwrap();
    let ahead = ahead.into_inner().ahead.unwrap();
    assert_eq!((ahead.from_us, ahead.weeks.len()), (NOW_US, 2));
    shop.stopped().await;
}
