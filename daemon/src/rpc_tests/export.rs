//! Exports over the wire: slow readers, two at once, a stop.

use baywright_proto::v1::export_jobs_response::Part;
use baywright_proto::v1::export_service_client::ExportServiceClient;

use super::life::whole;
use super::*;

const JOBS: u64 = 60;
/// So that what is on its way fills every buffer before all jobs are sent.
const VEHICLE_BYTES: usize = 8 * 1024;

async fn open_jobs(address: &str) {
    let mut intake = IntakeServiceClient::connect(address.to_owned())
        .await
        .unwrap();
    for seq in 1..=JOBS {
        let fact = v1::Fact {
            kind: Some(v1::fact::Kind::JobOpened(v1::JobOpened {
                vehicle: "v".repeat(VEHICLE_BYTES),
                ..v1::JobOpened::default()
            })),
            ..v1::Fact::default()
        };
        let post = v1::Post {
            fact: fact.encode_to_vec(),
            ..post(1, seq - 1, seq)
        };
        send(&mut intake, post).await.unwrap();
    }
}

/// A reader that takes little ahead.
async fn reader(address: &str) -> ExportServiceClient<Channel> {
    const WINDOW_BYTES: u32 = 65_535;
    let channel = Endpoint::from_shared(address.to_owned())
        .unwrap()
        .initial_stream_window_size(WINDOW_BYTES)
        .initial_connection_window_size(WINDOW_BYTES)
        .connect()
        .await
        .unwrap();
    ExportServiceClient::new(channel)
}

async fn export(
    address: &str,
    asked: v1::ExportJobsRequest,
) -> Result<tonic::Streaming<v1::ExportJobsResponse>, Status> {
    let mut client = reader(address).await;
    let answer = patient(client.export_jobs(asked)).await?;
    Ok(answer.into_inner())
}

async fn next_part(
    stream: &mut tonic::Streaming<v1::ExportJobsResponse>,
) -> Result<Option<Part>, Status> {
    let next = patient(stream.message()).await?;
    Ok(next.and_then(|response| response.part))
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_slow_export_of_the_past_holds_up_no_other_and_hears_of_a_stop() {
    let dir = tempfile::tempdir().unwrap();
    let daemon = whole(dir.path()).await;
    open_jobs(&daemon.address).await;
    let past = v1::ExportJobsRequest {
        as_of_seq: JOBS - 1,
        ..v1::ExportJobsRequest::default()
    };
    let mut slow = export(&daemon.address, past).await.unwrap();
    let Some(Part::Head(head)) = next_part(&mut slow).await.unwrap() else {
        panic!("the head comes first");
    };
    assert_eq!((head.jobs, head.as_of_seq), (JOBS - 1, JOBS - 1));

    let mut second = export(&daemon.address, past).await.unwrap();
    let status = next_part(&mut second).await.unwrap_err();
    assert_eq!(status.code(), Code::ResourceExhausted);
    assert_eq!(reason(&status), "TOO_MANY_EXPORTS");

    let mut live = export(&daemon.address, v1::ExportJobsRequest::default())
        .await
        .unwrap();
    let mut numbers = Vec::new();
    while let Some(part) = next_part(&mut live).await.unwrap() {
        if let Part::Job(job) = part {
            assert_eq!(job.vehicle.len(), VEHICLE_BYTES);
            numbers.push(job.number);
        }
    }
    assert_eq!(numbers, (1..=JOBS).collect::<Vec<_>>());

    let backwards = v1::ExportJobsRequest {
        from_us: 2,
        until_us: 1,
        ..v1::ExportJobsRequest::default()
    };
    let status = export(&daemon.address, backwards).await.unwrap_err();
    assert_eq!(status.code(), Code::InvalidArgument);
    assert_eq!(reason(&status), "BAD_REQUEST");

    daemon.stop.cancel();
    let mut jobs = 0;
    let status = loop {
        match next_part(&mut slow).await {
            Ok(Some(_)) => jobs += 1,
            Ok(None) => panic!("all {jobs} jobs came before the stop"),
            Err(status) => break status,
        }
    };
    assert_eq!(reason(&status), "STOPPING");
    patient(daemon.ended).await.unwrap().unwrap();
}
