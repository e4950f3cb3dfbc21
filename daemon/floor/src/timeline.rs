//! The three clocks: each instant of a job in a place is hands-on, waiting or
//! idle, in that precedence. Integer microseconds, so everything adds up.

/// Which of the three clocks runs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Clock {
    HandsOn,
    Waiting,
    Idle,
}

/// A stretch during which one clock runs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Span {
    pub from: i64,
    pub until: i64,
    pub clock: Clock,
}

/// Time on each clock, microseconds.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Totals {
    pub hands_on_us: i64,
    pub waiting_us: i64,
    pub idle_us: i64,
}

impl Totals {
    /// All three: the presence.
    pub fn sum_us(&self) -> i64 {
        self.hands_on_us
            .saturating_add(self.waiting_us)
            .saturating_add(self.idle_us)
    }
}

/// One job's time in a bay, from [`partition`] or the intervals it is made of.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct JobTime {
    pub presence: Vec<(i64, i64)>,
    pub hands_on: Vec<(i64, i64)>,
    pub waiting: Vec<(i64, i64)>,
}

/// A bay's time in place-microseconds: a bay of two places open for an hour has two hours.
///
/// `hands_on + waiting + idle + empty = open + occupied_outside_open`, exactly.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct BayTime {
    pub open_us: i64,
    pub occupied_us: i64,
    pub occupied_outside_open_us: i64,
    pub hands_on_us: i64,
    pub waiting_us: i64,
    pub idle_us: i64,
    pub empty_us: i64,
}

/// Sorted and merged; intervals that end before they begin are dropped.
pub fn merged(intervals: &[(i64, i64)]) -> Vec<(i64, i64)> {
    let mut sorted: Vec<(i64, i64)> = intervals.iter().copied().filter(|(a, b)| a < b).collect();
    sorted.sort_unstable();
    let mut out: Vec<(i64, i64)> = Vec::with_capacity(sorted.len());
    for (from, until) in sorted {
        match out.last_mut() {
            Some(last) if from <= last.1 => last.1 = last.1.max(until),
            _ => out.push((from, until)),
        }
    }
    out
}

/// Cuts one presence into stretches of one clock each, without gap or overlap.
pub fn partition(
    presence: (i64, i64),
    hands_on: &[(i64, i64)],
    waiting: &[(i64, i64)],
) -> Vec<Span> {
    let (from, until) = presence;
    let hands_on = merged(hands_on);
    let waiting = merged(waiting);
    let mut cuts: Vec<i64> = hands_on
        .iter()
        .chain(&waiting)
        .flat_map(|(a, b)| [*a, *b])
        .filter(|at| from < *at && *at < until)
        .chain([from, until])
        .collect();
    cuts.sort_unstable();
    cuts.dedup();
    let mut spans: Vec<Span> = Vec::with_capacity(cuts.len());
    for pair in cuts.windows(2) {
        let [a, b] = *pair else { continue };
        let clock = if covers(&hands_on, a) {
            Clock::HandsOn
        } else if covers(&waiting, a) {
            Clock::Waiting
        } else {
            Clock::Idle
        };
        match spans.last_mut() {
            Some(last) if last.clock == clock => last.until = b,
            _ => spans.push(Span {
                from: a,
                until: b,
                clock,
            }),
        }
    }
    spans
}

/// Adds up the stretches of each clock.
pub fn totals(spans: &[Span]) -> Totals {
    let mut totals = Totals::default();
    for span in spans {
        let length = span.until.saturating_sub(span.from);
        let sum = match span.clock {
            Clock::HandsOn => &mut totals.hands_on_us,
            Clock::Waiting => &mut totals.waiting_us,
            Clock::Idle => &mut totals.idle_us,
        };
        *sum = sum.saturating_add(length);
    }
    totals
}

/// True where a merged, sorted set of intervals covers the instant.
fn covers(intervals: &[(i64, i64)], at: i64) -> bool {
    let after = intervals.partition_point(|(from, _)| *from <= at);
    after
        .checked_sub(1)
        .and_then(|index| intervals.get(index))
        .is_some_and(|(_, until)| at < *until)
}

/// Splits a bay's time. At each instant the jobs present take the places in
/// the order of precedence of their clocks; jobs beyond the places are an odd
/// record, not time.
pub fn bay_partition(jobs: &[JobTime], open: &[(i64, i64)], places: u32) -> BayTime {
    let places = i64::from(places);
    let open = merged(open);
    let mut edges: Vec<(i64, usize, i64)> = Vec::new();
    for (from, until) in &open {
        edges.push((*from, OPEN, 1));
        edges.push((*until, OPEN, -1));
    }
    for job in jobs {
        for presence in merged(&job.presence) {
            for span in partition(presence, &job.hands_on, &job.waiting) {
                let lane = match span.clock {
                    Clock::HandsOn => 0,
                    Clock::Waiting => 1,
                    Clock::Idle => 2,
                };
                edges.push((span.from, lane, 1));
                edges.push((span.until, lane, -1));
            }
        }
    }
    edges.sort_unstable();
    let mut time = BayTime::default();
    let mut running = [0_i64; 4];
    let mut last = None;
    for (at, lane, by) in edges {
        if let Some(last) = last
            && last < at
        {
            add_stretch(&mut time, &running, places, at.saturating_sub(last));
        }
        if let Some(count) = running.get_mut(lane) {
            *count += by;
        }
        last = Some(at);
    }
    time
}

/// Lane of the open hours beside the three clocks.
const OPEN: usize = 3;

fn add_stretch(time: &mut BayTime, running: &[i64; 4], places: i64, length: i64) {
    let [hands_on, waiting, idle, open] = *running;
    let add = |sum: &mut i64, taken: i64| {
        *sum = sum.saturating_add(taken.saturating_mul(length));
    };
    let hands_on = hands_on.min(places);
    let waiting = waiting.min(places - hands_on);
    let idle = idle.min(places - hands_on - waiting);
    let occupied = hands_on + waiting + idle;
    add(&mut time.hands_on_us, hands_on);
    add(&mut time.waiting_us, waiting);
    add(&mut time.idle_us, idle);
    add(&mut time.occupied_us, occupied);
    if open > 0 {
        add(&mut time.open_us, places);
        add(&mut time.empty_us, places - occupied);
    } else {
        add(&mut time.occupied_outside_open_us, occupied);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn hands_on_comes_before_waiting_and_waiting_before_idle() {
        let spans = partition((0, 100), &[(10, 40), (30, 50)], &[(0, 20), (45, 60)]);
        let span = |from, until, clock| Span { from, until, clock };
        assert_eq!(
            spans,
            [
                span(0, 10, Clock::Waiting),
                span(10, 50, Clock::HandsOn),
                span(50, 60, Clock::Waiting),
                span(60, 100, Clock::Idle),
            ]
        );
        assert_eq!(
            totals(&spans),
            Totals {
                hands_on_us: 40,
                waiting_us: 20,
                idle_us: 40
            }
        );
    }

    #[test]
    fn an_empty_presence_has_no_spans() {
        assert_eq!(partition((5, 5), &[(0, 9)], &[]), []);
    }

    const END: i64 = 30;

    fn intervals() -> impl Strategy<Value = Vec<(i64, i64)>> {
        prop::collection::vec((0..END, 0..END), 0..4)
    }

    fn has(intervals: &[(i64, i64)], at: i64) -> bool {
        intervals.iter().any(|(a, b)| *a <= at && at < *b)
    }

    proptest! {
        /// The bay's time instant by instant, in the plainest way.
        #[test]
        fn a_bay_is_split_as_counting_each_instant_splits_it(
            jobs in prop::collection::vec((intervals(), intervals(), intervals()), 0..4),
            open in intervals(),
            places in 0_u32..4,
        ) {
            let jobs: Vec<JobTime> = jobs
                .into_iter()
                .map(|(presence, hands_on, waiting)| JobTime { presence, hands_on, waiting })
                .collect();
            let mut expected = BayTime::default();
            for at in 0..END {
                let mut clocks: Vec<Clock> = jobs
                    .iter()
                    .filter(|job| has(&job.presence, at))
                    .map(|job| match (has(&job.hands_on, at), has(&job.waiting, at)) {
                        (true, _) => Clock::HandsOn,
                        (false, true) => Clock::Waiting,
                        (false, false) => Clock::Idle,
                    })
                    .collect();
                clocks.sort_unstable();
                clocks.truncate(usize::try_from(places).unwrap());
                let taken = i64::try_from(clocks.len()).unwrap();
                for clock in clocks {
                    match clock {
                        Clock::HandsOn => expected.hands_on_us += 1,
                        Clock::Waiting => expected.waiting_us += 1,
                        Clock::Idle => expected.idle_us += 1,
                    }
                }
                expected.occupied_us += taken;
                if has(&open, at) {
                    expected.open_us += i64::from(places);
                    expected.empty_us += i64::from(places) - taken;
                } else {
                    expected.occupied_outside_open_us += taken;
                }
            }
            prop_assert_eq!(bay_partition(&jobs, &open, places), expected);
        }
    }
}
