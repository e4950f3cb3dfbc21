//! What is odd about the time of an event.

use crate::event::TimeBasis;
use crate::notice::Notice;

use super::CLOCK_TOLERANCE_US;
use super::folding::Folding;

/// Notices of a clock that is off, a guessed time, and a time in the future.
pub(crate) fn check(f: &mut Folding<'_>) {
    let event = f.event;
    let offset_us = event.clock_offset_us;
    let guessed = event.time_basis == TimeBasis::PresentOffset;
    if offset_us.unsigned_abs() > CLOCK_TOLERANCE_US.unsigned_abs() {
        f.notice(if guessed {
            Notice::ClockUnsure { offset_us }
        } else {
            Notice::ClockOffset { offset_us }
        });
    }
    if guessed {
        f.notice(Notice::TimeUnsure);
    }
    let ahead_us = f.at.0.saturating_sub(event.received.0);
    if ahead_us > CLOCK_TOLERANCE_US {
        f.notice(Notice::InFuture { ahead_us });
    }
}
