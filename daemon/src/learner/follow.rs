//! Learning in the background, so that a quote finds it done.

use std::sync::Arc;
use std::time::Duration;

use tokio_util::sync::CancellationToken;

use super::Learner;
use crate::clock::Clock;
use crate::journal::follow::Standing;
use crate::service::reads::Reads;

/// Shortest time between two looks, milliseconds. What comes in between is
/// learned from together: a spool that is delivered after an afternoon costs a
/// few fits and not one for each job.
const PAUSE_MS: u64 = 500;

/// Keeps what is known near the head until the stop. A failure is told by the
/// trace and tried again with the next post; a question asked meanwhile makes
/// what it needs.
pub async fn follow(
    learner: Arc<Learner>,
    reads: Reads,
    clock: Arc<dyn Clock>,
    stop: CancellationToken,
) {
    let mut heads = reads.follow_heads();
    let mut learned_seq = None;
    loop {
        let newer = heads.wait_for(|heads| {
            heads.closed
                || (heads.facts == Standing::Following && Some(heads.facts_seq) != learned_seq)
        });
        let seq = tokio::select! {
            () = stop.cancelled() => return,
            newer = newer => match newer {
                Ok(heads) if !heads.closed => heads.facts_seq,
                _ => return,
            },
        };
        learned_seq = Some(seq);
        let (learner, now) = (Arc::clone(&learner), clock.now());
        let known = reads
            .facts(move |facts| facts.view(|view| learner.at_head(view, now)).map(drop))
            .await;
        if let Err(status) = known {
            tracing::debug!(%status, seq, "not learned yet");
        }
        let pause = Duration::from_millis(PAUSE_MS);
        if tokio::time::timeout(pause, stop.cancelled()).await.is_ok() {
            return;
        }
    }
}

#[cfg(test)]
mod tests {
    use baywright_proto::v1;
    use baywright_terms::time::Micros;
    use prost::Message as _;

    use super::*;
    use crate::clock::SetClock;
    use crate::facts::{Facts, LogSources as _};
    use crate::journal::writer::Writer;
    use crate::journal::{Intake, Journal, LogReaders};
    use crate::service::limits::Limits;

    const PATIENCE: Duration = Duration::from_secs(30);

    fn noted(seq: u64) -> Intake {
        let fact = v1::Fact {
            kind: Some(v1::fact::Kind::Noted(v1::Noted {
                text: "cold today".to_owned(),
                ..v1::Noted::default()
            })),
            ..v1::Fact::default()
        };
        let mut event_id = vec![1; 16];
        event_id[0] = u8::try_from(seq).unwrap();
        Intake {
            post: v1::Post {
                event_id,
                device_seq: seq,
                previous_device_seq: seq - 1,
                fact: fact.encode_to_vec(),
                ..v1::Post::default()
            },
            device: "bay-1".to_owned(),
            role: v1::Role::Owner,
        }
    }

    #[tokio::test(flavor = "multi_thread", worker_threads = 2)]
    async fn it_learns_with_nobody_asking_and_ends_with_the_stop() {
        let folder = tempfile::tempdir().unwrap();
        let clock: Arc<dyn Clock> = Arc::new(SetClock::at(Micros(1_795_424_400_000_000)));
        let journal = Journal::open(folder.path()).unwrap();
        let (writer, _thread) = Writer::start(journal, Arc::clone(&clock), None).unwrap();
        let log = LogReaders::new(folder.path()).open().unwrap();
        let facts = Facts::open(folder.path(), log, &mut |_| {}).unwrap();
        // As in the daemon, on a thread that may wait.
        let opener = writer.clone();
        std::thread::spawn(move || opener.follow(Ok(Box::new(facts))));
        let stop = CancellationToken::new();
        let reads = Reads::new(
            folder.path(),
            writer.heads(),
            Limits::new(Arc::default()),
            stop.clone(),
        );
        let learner = Arc::new(Learner::default());
        let mut learned = learner.learned();
        let following = tokio::spawn(follow(Arc::clone(&learner), reads, clock, stop.clone()));
        for seq in 1..=3 {
            writer.post(noted(seq)).unwrap().answer().await.unwrap();
            let reached = learned.wait_for(|learned| *learned >= seq);
            tokio::time::timeout(PATIENCE, reached)
                .await
                .unwrap()
                .unwrap();
        }
        stop.cancel();
        tokio::time::timeout(PATIENCE, following)
            .await
            .unwrap()
            .unwrap();
        writer.stop().await;
    }
}
