//! A shop that works as it should.

use baywright_floor::event::{Event, JobRef, Seq};
use baywright_floor::fact::{Fact, LevelResult};
use baywright_terms::time::{HOUR_US, MINUTE_US};

use super::{DAY_US, Desk, MONDAY, catalogue, finished, ml, opened, started, used};

/// A shop that works as it should: every day two jobs in each of three bays.
pub fn regular_shop(days: i64) -> Vec<Event> {
    let mut desk = Desk::default();
    let mut events = vec![desk.catalogue_set(MONDAY - DAY_US, catalogue())];
    for day in (0..days).filter(|day| day % 7 < 5) {
        for half in 0..2 {
            for (bay, worker) in [("bay-1", "ana"), ("bay-2", "ben"), ("bay-3", "cem")] {
                let start = MONDAY + day * DAY_US + (8 + half * 5) * HOUR_US;
                job_of_half_day(&mut desk, &mut events, bay, worker, start);
            }
        }
    }
    events.sort_by(|a, b| a.position.cmp(&b.position));
    for (event, seq) in events.iter_mut().zip(1..) {
        event.seq = Seq(seq);
    }
    events
}

fn job_of_half_day(desk: &mut Desk, events: &mut Vec<Event>, bay: &str, worker: &str, start: i64) {
    let at = |minute: i64| start + minute * MINUTE_US;
    let opening = desk.event(bay, bay, at(0), opened("trike-coat"));
    let job = JobRef::Job(opening.id);
    events.push(opening);
    let mut post = |minute: i64, fact: Fact| {
        let mut event = desk.event(bay, bay, at(minute), fact);
        event.by = vec![worker.into()];
        event.job = job;
        events.push(event);
    };
    post(1, Fact::JobMoved { place: bay.into() });
    post(
        2,
        Fact::MixMade {
            product: "foam".into(),
            ratio: None,
            volume: Some(ml(2_000)),
            additions: Vec::new(),
        },
    );
    post(3, started("prewash"));
    post(5, used("foam", 700));
    post(20, finished("prewash"));
    post(21, started("decon"));
    post(25, used("iron-remover", 300));
    post(
        26,
        Fact::DwellStarted {
            product: "iron-remover".into(),
            panels: Vec::new(),
        },
    );
    post(
        31,
        Fact::DwellEnded {
            product: "iron-remover".into(),
            panels: Vec::new(),
        },
    );
    post(50, finished(""));
    post(51, started("polish"));
    post(110, finished("polish"));
    post(112, started("coat"));
    for section in 0..3 {
        let minute = 115 + section * 10;
        post(
            minute,
            Fact::PanelCoated {
                panel: "nose".into(),
                section: 0,
                product: "ceramic".into(),
                lot: String::new(),
                layer: 0,
            },
        );
        post(
            minute + 4,
            Fact::PanelLevelled {
                panel: "".into(),
                section: 0,
                result: LevelResult::Clean,
                amends: false,
            },
        );
    }
    post(150, finished("coat"));
    post(
        151,
        Fact::MixDumped {
            product: "foam".into(),
            mix: None,
            amount: None,
        },
    );
    post(200, Fact::JobReleased);
}
