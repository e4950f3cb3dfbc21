//! What is odd about the time of an event.

use crate::event::TimeBasis;
use crate::notice::Notice;

use super::CLOCK_TOLERANCE_US;
use super::folding::Folding;

/// Notices of a clock that is off, a guessed time, and a time in the future.
///
/// A clock that is off is said once, and again when it is off by something
/// else: at every post of a bay nobody would read it.
pub(crate) fn check(f: &mut Folding<'_>) {
    let event = f.event;
    let offset_us = event.clock_offset_us;
    let guessed = event.time_basis == TimeBasis::PresentOffset;
    let differs = |us: i64| us.unsigned_abs() > CLOCK_TOLERANCE_US.unsigned_abs();
    let device = &event.position.device;
    let said_us = f.state.clocks.get(device).copied().unwrap_or(0);
    if !differs(offset_us) {
        f.state.clocks.remove(device);
    } else if guessed {
        f.notice(Notice::ClockUnsure { offset_us });
    } else if differs(offset_us.saturating_sub(said_us)) {
        f.state.clocks.insert(device.clone(), offset_us);
        f.notice(Notice::ClockOffset { offset_us });
    }
    if guessed {
        f.notice(Notice::TimeUnsure);
    }
    let ahead_us = f.at.0.saturating_sub(event.received.0);
    if ahead_us > CLOCK_TOLERANCE_US {
        f.notice(Notice::InFuture { ahead_us });
    }
}
