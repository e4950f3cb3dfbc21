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
