//! When it happened: works out an instant of the daemon's clock from the
//! clocks of a device that may be wrong.
//!
//! A device sends two readings of its clocks: one taken when the person posted
//! the fact, one when it delivered the post. Its boot-time clock runs steadily
//! and through sleep, its wall clock may be set to anything.

use baywright_proto::v1::{Clocks, Fact, TimeBasis, fact::Occurred};
use baywright_terms::time::Micros;

/// 2000-01-01T00:00:00Z. An instant before it comes from a clock that was never set.
const EARLIEST: Micros = Micros(946_684_800_000_000);
/// 2200-01-01T00:00:00Z, so that arithmetic on instants of the log cannot overflow.
const LATEST: Micros = Micros(7_258_118_400_000_000);

/// A boot-time clock compared with the daemon's clock at one delivery.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sample {
    /// The device's boot-time clock, microseconds.
    pub boot_us: i64,
    /// The daemon's clock at that moment.
    pub at: Micros,
}

/// What kept an instant from being worked out: the field, and why.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct NotAnInstant {
    pub field: &'static str,
}

/// Tells whose sample [`occurred`] needs: the boot id of a fact that was
/// posted before the device was started anew.
pub fn earlier_boot<'a>(fact: &'a Fact, delivery: Option<&Clocks>) -> Option<&'a str> {
    let posted = fact.clocks.as_ref()?.boot_id.as_str();
    let same = delivery.is_some_and(|clocks| clocks.boot_id == posted);
    (!posted.is_empty() && !same).then_some(posted)
}

/// Works out when a fact happened, and how that is known.
///
/// In order: stated by the person, never corrected; elapsed boot time where
/// fact and delivery are of one boot; the last known `earlier` sample of the
/// boot it was posted in; else the present offset of the device's wall clock.
///
/// # Errors
/// If the person's own statement is not an instant between 2000 and 2200.
pub fn occurred(
    fact: &Fact,
    delivery: Option<&Clocks>,
    now: Micros,
    earlier: Option<Sample>,
) -> Result<(Micros, TimeBasis), NotAnInstant> {
    match fact.occurred {
        Some(Occurred::AtUs(at_us)) => {
            let at = in_range(i128::from(at_us)).ok_or(NotAnInstant {
                field: "fact.at_us",
            })?;
            Ok((at, TimeBasis::Stated))
        }
        Some(Occurred::AgoUs(ago_us)) => {
            let (posted, basis) = posted(fact.clocks.as_ref(), delivery, now, earlier);
            let at = in_range(i128::from(posted.0) - i128::from(ago_us)).ok_or(NotAnInstant {
                field: "fact.ago_us",
            })?;
            Ok((at, basis))
        }
        None => Ok(posted(fact.clocks.as_ref(), delivery, now, earlier)),
    }
}

/// When the person posted it.
fn posted(
    fact: Option<&Clocks>,
    delivery: Option<&Clocks>,
    now: Micros,
    earlier: Option<Sample>,
) -> (Micros, TimeBasis) {
    let Some(fact) = fact else {
        return (now, TimeBasis::PresentOffset);
    };
    if let Some(delivery) = delivery
        && !fact.boot_id.is_empty()
        && fact.boot_id == delivery.boot_id
        && let elapsed_us = i128::from(delivery.boot_us) - i128::from(fact.boot_us)
        // A boot-time clock that runs backwards is none.
        && elapsed_us >= 0
        && let Some(at) = in_range(i128::from(now.0) - elapsed_us)
    {
        return (at, TimeBasis::Boot);
    }
    if let Some(sample) = earlier
        && let Some(at) = in_range(
            i128::from(sample.at.0) + i128::from(fact.boot_us) - i128::from(sample.boot_us),
        )
    {
        return (at, TimeBasis::EarlierBoot);
    }
    // Without a wall clock at delivery its offset is taken as none.
    let offset_us = delivery.map_or(0, |clocks| i128::from(now.0) - i128::from(clocks.wall_us));
    let at = in_range(i128::from(fact.wall_us) + offset_us).unwrap_or(now);
    (at, TimeBasis::PresentOffset)
}

/// An instant between the years that the log takes.
pub(crate) fn in_range(us: i128) -> Option<Micros> {
    let at = Micros(i64::try_from(us).ok()?);
    (EARLIEST..=LATEST).contains(&at).then_some(at)
}

#[cfg(test)]
mod tests {
    use baywright_terms::time::{HOUR_US, MINUTE_US, SECOND_US};
    use proptest::prelude::*;

    use super::*;

    /// 2026-11-23T09:00:00Z.
    const NINE: i64 = 1_795_424_400_000_000;

    fn clocks(wall_us: i64, boot_id: &str, boot_us: i64) -> Clocks {
        Clocks {
            wall_us,
            boot_id: boot_id.to_owned(),
            boot_us,
        }
    }

    fn fact(clocks: Clocks, occurred: Option<Occurred>) -> Fact {
        Fact {
            clocks: Some(clocks),
            occurred,
            ..Fact::default()
        }
    }

    /// A line of the table: what the device says, and what follows.
    struct Case {
        name: &'static str,
        fact: Fact,
        delivery: Option<Clocks>,
        earlier: Option<Sample>,
        expected: (i64, TimeBasis),
    }

    #[test]
    fn the_time_it_happened_follows_from_the_clocks() {
        let slow = NINE - 7 * MINUTE_US;
        let cases = [
            Case {
                name: "at once, clock right",
                fact: fact(clocks(NINE, "a", HOUR_US), None),
                delivery: Some(clocks(NINE, "a", HOUR_US)),
                earlier: None,
                expected: (NINE, TimeBasis::Boot),
            },
            Case {
                name: "wall clock 7 minutes slow, posted 20 minutes before delivery",
                fact: fact(clocks(slow - 20 * MINUTE_US, "a", HOUR_US), None),
                delivery: Some(clocks(slow, "a", HOUR_US + 20 * MINUTE_US)),
                earlier: None,
                expected: (NINE - 20 * MINUTE_US, TimeBasis::Boot),
            },
            Case {
                name: "wall clock set right between post and delivery",
                fact: fact(clocks(slow - 20 * MINUTE_US, "a", HOUR_US), None),
                delivery: Some(clocks(NINE, "a", HOUR_US + 20 * MINUTE_US)),
                earlier: None,
                expected: (NINE - 20 * MINUTE_US, TimeBasis::Boot),
            },
            Case {
                name: "restarted since, the earlier boot was seen 3 hours ago",
                fact: fact(clocks(slow - HOUR_US, "a", 5 * HOUR_US), None),
                delivery: Some(clocks(slow, "b", MINUTE_US)),
                earlier: Some(Sample {
                    boot_us: 3 * HOUR_US,
                    at: Micros(NINE - 3 * HOUR_US),
                }),
                expected: (NINE - HOUR_US, TimeBasis::EarlierBoot),
            },
            Case {
                name: "restarted since, the earlier boot was never seen: 7 minutes taken off",
                fact: fact(clocks(slow - HOUR_US, "a", 5 * HOUR_US), None),
                delivery: Some(clocks(slow, "b", MINUTE_US)),
                earlier: None,
                expected: (NINE - HOUR_US, TimeBasis::PresentOffset),
            },
            Case {
                name: "no boot clock at all",
                fact: fact(clocks(slow, "", 0), None),
                delivery: Some(clocks(slow + SECOND_US, "", 0)),
                earlier: None,
                expected: (NINE - SECOND_US, TimeBasis::PresentOffset),
            },
            Case {
                name: "boot clock ran backwards: not trusted",
                fact: fact(clocks(slow, "a", HOUR_US), None),
                delivery: Some(clocks(slow + SECOND_US, "a", MINUTE_US)),
                earlier: None,
                expected: (NINE - SECOND_US, TimeBasis::PresentOffset),
            },
            Case {
                name: "said to be 10 minutes ago, on a slow clock",
                fact: fact(
                    clocks(slow, "a", HOUR_US),
                    Some(Occurred::AgoUs(10 * MINUTE_US)),
                ),
                delivery: Some(clocks(slow, "a", HOUR_US)),
                earlier: None,
                expected: (NINE - 10 * MINUTE_US, TimeBasis::Boot),
            },
            Case {
                name: "stated, on a slow clock: not corrected",
                fact: fact(
                    clocks(slow, "a", HOUR_US),
                    Some(Occurred::AtUs(NINE - HOUR_US)),
                ),
                delivery: Some(clocks(slow, "a", HOUR_US)),
                earlier: None,
                expected: (NINE - HOUR_US, TimeBasis::Stated),
            },
            Case {
                name: "no delivery clocks: the wall clock as it is",
                fact: fact(clocks(slow, "a", HOUR_US), None),
                delivery: None,
                earlier: None,
                expected: (slow, TimeBasis::PresentOffset),
            },
            Case {
                name: "no clocks at all: when it was received",
                fact: Fact::default(),
                delivery: None,
                earlier: None,
                expected: (NINE, TimeBasis::PresentOffset),
            },
            Case {
                name: "a clock never set, without delivery clocks: when it was received",
                fact: fact(clocks(0, "", 0), None),
                delivery: None,
                earlier: None,
                expected: (NINE, TimeBasis::PresentOffset),
            },
        ];
        for case in cases {
            let found = occurred(
                &case.fact,
                case.delivery.as_ref(),
                Micros(NINE),
                case.earlier,
            );
            let (at, basis) = case.expected;
            assert_eq!(found, Ok((Micros(at), basis)), "{}", case.name);
        }
    }

    #[test]
    fn a_stated_time_that_is_none_is_named() {
        for at_us in [0, i64::MIN, i64::MAX] {
            let fact = fact(clocks(NINE, "a", 1), Some(Occurred::AtUs(at_us)));
            let found = occurred(&fact, None, Micros(NINE), None);
            assert_eq!(
                found,
                Err(NotAnInstant {
                    field: "fact.at_us"
                })
            );
        }
        let fact = fact(clocks(NINE, "a", 1), Some(Occurred::AgoUs(i64::MAX)));
        assert!(occurred(&fact, None, Micros(NINE), None).is_err());
    }

    #[test]
    fn only_a_fact_of_another_boot_asks_for_a_sample() {
        let posted = fact(clocks(NINE, "a", 1), None);
        assert_eq!(earlier_boot(&posted, Some(&clocks(NINE, "a", 2))), None);
        assert_eq!(
            earlier_boot(&posted, Some(&clocks(NINE, "b", 2))),
            Some("a")
        );
        assert_eq!(earlier_boot(&posted, None), Some("a"));
        assert_eq!(earlier_boot(&Fact::default(), None), None);
    }

    proptest! {
        #[test]
        fn no_clocks_make_it_fail(
            wall in any::<i64>(), boot in any::<i64>(), delivered in any::<i64>(), delivered_boot in any::<i64>(),
            same in any::<bool>(), seen in proptest::option::of((any::<i64>(), EARLIEST.0..LATEST.0)),
        ) {
            let fact = fact(clocks(wall, "a", boot), None);
            let delivery = clocks(delivered, if same { "a" } else { "b" }, delivered_boot);
            let earlier = seen.map(|(boot_us, at)| Sample { boot_us, at: Micros(at) });
            let (at, _) = occurred(&fact, Some(&delivery), Micros(NINE), earlier).unwrap();
            prop_assert!((EARLIEST..=LATEST).contains(&at));
        }

        #[test]
        fn a_wrong_wall_clock_changes_nothing_within_one_boot(
            wrong_us in -400 * 24 * HOUR_US..400 * 24 * HOUR_US, elapsed in 0..72 * HOUR_US,
        ) {
            let fact = fact(clocks(NINE + wrong_us, "a", HOUR_US), None);
            let delivery = clocks(NINE - wrong_us, "a", HOUR_US + elapsed);
            let found = occurred(&fact, Some(&delivery), Micros(NINE), None);
            prop_assert_eq!(found, Ok((Micros(NINE - elapsed), TimeBasis::Boot)));
        }
    }
}
