//! Room in the writer's queue: how much may wait, and for whom.
//!
//! Streams wait for room and are held back by it; a post that a person waits
//! for is refused where there is none, and stays in the bay's spool. So that
//! streams at full speed cannot take all of it from the people, they have a
//! share of their own. What waits is bounded in bytes as well as in posts,
//! because one fact can be as large as ten thousand others.

use std::sync::Arc;

use tokio::sync::{OwnedSemaphorePermit, Semaphore};

use super::post::{FACT_BYTES_MAX, Intake};
use super::refusal::Refusal;
use super::writer::QUEUE_POSTS_MAX;

/// Posts of streams that may wait: three quarters of the queue. The rest is for
/// people, of whom a shop has not a tenth as many.
pub const STREAM_POSTS_MAX: usize = QUEUE_POSTS_MAX / 4 * 3;

/// Bytes of facts of streams that may wait, and of posts that people wait for:
/// tens of the largest catalogues, and little for the smallest server.
pub const STREAM_BYTES_MAX: usize = 24 * 1024 * 1024;
pub const PERSON_BYTES_MAX: usize = 8 * 1024 * 1024;

/// Facts are counted in pieces of this size, bytes, because the library counts
/// in 32 bits.
const PIECE_BYTES: usize = 1024;

/// Room as it is now. Cheap to clone.
#[derive(Debug, Clone)]
pub(super) struct Room {
    stream_posts: Arc<Semaphore>,
    stream_pieces: Arc<Semaphore>,
    person_pieces: Arc<Semaphore>,
}

/// A post's place in the queue, given back when it is answered.
#[derive(Debug)]
pub(super) struct Taken {
    _post: Option<OwnedSemaphorePermit>,
    _pieces: OwnedSemaphorePermit,
}

impl Room {
    pub(super) fn new() -> Self {
        Self {
            stream_posts: Arc::new(Semaphore::new(STREAM_POSTS_MAX)),
            stream_pieces: Arc::new(Semaphore::new(STREAM_BYTES_MAX / PIECE_BYTES)),
            person_pieces: Arc::new(Semaphore::new(PERSON_BYTES_MAX / PIECE_BYTES)),
        }
    }

    /// Room for a post that a person waits for.
    pub(super) fn for_person(&self, intake: &Intake) -> Result<Taken, Refusal> {
        let pieces = Arc::clone(&self.person_pieces);
        let pieces = pieces
            .try_acquire_many_owned(pieces_of(intake))
            .map_err(|_| Refusal::QueueFull)?;
        Ok(Taken {
            _post: None,
            _pieces: pieces,
        })
    }

    /// Room for a post of a stream, as soon as there is some.
    pub(super) async fn for_stream(&self, intake: &Intake) -> Result<Taken, Refusal> {
        let post = Arc::clone(&self.stream_posts).acquire_owned().await;
        let pieces = Arc::clone(&self.stream_pieces);
        let pieces = pieces.acquire_many_owned(pieces_of(intake)).await;
        match (post, pieces) {
            (Ok(post), Ok(pieces)) => Ok(Taken {
                _post: Some(post),
                _pieces: pieces,
            }),
            // Nobody closes them; the daemon is gone if somebody did.
            _ => Err(Refusal::Stopping),
        }
    }
}

/// At least one; no more than a fact that is over its bound and will be refused
/// can make a caller wait for.
fn pieces_of(intake: &Intake) -> u32 {
    let bytes = intake.post.fact.len().min(2 * FACT_BYTES_MAX);
    u32::try_from(bytes.div_ceil(PIECE_BYTES).max(1)).unwrap_or(u32::MAX)
}

#[cfg(test)]
mod tests {
    use baywright_proto::v1;

    use super::*;

    fn intake(bytes: usize) -> Intake {
        Intake {
            post: v1::Post {
                fact: vec![0; bytes],
                ..v1::Post::default()
            },
            device: "bay-1".to_owned(),
            role: v1::Role::Bay,
        }
    }

    /// What is ready at once; `None`: it waits.
    fn at_once<T>(future: impl Future<Output = T>) -> Option<T> {
        let mut future = std::pin::pin!(future);
        let mut context = std::task::Context::from_waker(std::task::Waker::noop());
        match future.as_mut().poll(&mut context) {
            std::task::Poll::Ready(value) => Some(value),
            std::task::Poll::Pending => None,
        }
    }

    #[test]
    fn streams_at_full_speed_leave_room_for_people() {
        let room = Room::new();
        let small = intake(300);
        let mut held = Vec::new();
        while let Some(taken) = at_once(room.for_stream(&small)) {
            held.push(taken.unwrap());
        }
        assert_eq!(held.len(), STREAM_POSTS_MAX);
        assert!(QUEUE_POSTS_MAX - held.len() >= 256);
        assert!(room.for_person(&small).is_ok());
        held.pop();
        assert!(at_once(room.for_stream(&small)).is_some());
    }

    #[test]
    fn what_waits_is_bounded_in_bytes() {
        let room = Room::new();
        let large = intake(FACT_BYTES_MAX);
        let mut streams = Vec::new();
        while let Some(taken) = at_once(room.for_stream(&large)) {
            streams.push(taken.unwrap());
        }
        assert_eq!(streams.len(), STREAM_BYTES_MAX / FACT_BYTES_MAX);
        let mut people = Vec::new();
        while let Ok(taken) = room.for_person(&large) {
            people.push(taken);
        }
        assert_eq!(people.len(), PERSON_BYTES_MAX / FACT_BYTES_MAX);
        let refused = room.for_person(&intake(0)).unwrap_err();
        assert_eq!(refused, Refusal::QueueFull);
        people.pop();
        assert!(room.for_person(&intake(0)).is_ok());
        // One that is over every bound waits for no more than there can be.
        drop(streams);
        assert!(at_once(room.for_stream(&intake(100 * FACT_BYTES_MAX))).is_some());
    }
}
