//! Quotes over the wire: from the draft to the job it became, and what was
//! learned from jobs, over a restart.

use baywright_proto::v1::fact::Kind;
use baywright_proto::v1::quote_service_client::QuoteServiceClient;

use super::life::{Whole, whole};
use super::*;

/// The clock of these daemons, and a Monday in the weeks before it.
pub(super) const NOW_US: i64 = 1_795_424_400_000_000;
const MINUTE_US: i64 = 60_000_000;
pub(super) const HOUR_US: i64 = 60 * MINUTE_US;
const DAY_US: i64 = 24 * HOUR_US;

/// A daemon with one bay that posts.
pub(super) struct Shop {
    dir: tempfile::TempDir,
    pub(super) daemon: Whole,
    intake: IntakeServiceClient<Channel>,
    pub(super) quotes: QuoteServiceClient<Channel>,
    pub(super) posted: u64,
}

impl Shop {
    pub(super) async fn new() -> Self {
        let dir = tempfile::tempdir().unwrap();
        let mut shop = Self::on(dir).await;
        shop.post(Kind::CatalogueSet(catalogue_set()), 0, None)
            .await;
        shop
    }

    async fn on(dir: tempfile::TempDir) -> Self {
        let daemon = whole(dir.path()).await;
        let address = daemon.address.clone();
        let posted = LogReader::open(dir.path()).unwrap();
        let posted = posted.held_device_seq("bay-1").unwrap();
        Self {
            dir,
            intake: IntakeServiceClient::connect(address.clone()).await.unwrap(),
            quotes: QuoteServiceClient::connect(address).await.unwrap(),
            daemon,
            posted,
        }
    }

    pub(super) async fn stopped(self) -> tempfile::TempDir {
        self.daemon.stop.cancel();
        patient(self.daemon.ended).await.unwrap().unwrap();
        self.dir
    }

    pub(super) async fn restarted(self) -> Self {
        Self::on(self.stopped().await).await
    }

    /// Posts a fact at an instant, while a person waits; gives its id.
    pub(super) async fn post(&mut self, kind: Kind, at_us: i64, job: Option<u64>) -> Vec<u8> {
        self.posted += 1;
        let fact = v1::Fact {
            bay: "bay-1".to_owned(),
            by: vec!["ana".to_owned()],
            occurred: (at_us != 0).then_some(v1::fact::Occurred::AtUs(at_us)),
            job: job.map(|number| v1::JobRef {
                job: Some(v1::job_ref::Job::Number(number)),
            }),
            kind: Some(kind),
            ..v1::Fact::default()
        };
        let post = v1::Post {
            fact: fact.encode_to_vec(),
            waiting: true,
            ..post(1, self.posted - 1, self.posted)
        };
        let id = post.event_id.clone();
        send(&mut self.intake, post).await.unwrap();
        id
    }

    /// When a job of a number is opened.
    pub(super) fn day(number: u64) -> i64 {
        NOW_US - 60 * DAY_US + i64::try_from(number).unwrap() * DAY_US
    }

    /// A job of one type from its opening to its release, a day after the
    /// other; each stage takes so many minutes. Gives the finish of each stage.
    pub(super) async fn job(
        &mut self,
        number: u64,
        opened: v1::JobOpened,
        minutes: [i64; 2],
    ) -> Vec<Vec<u8>> {
        let from = Self::day(number);
        self.post(Kind::JobOpened(opened), from, None).await;
        let place = "bay-1".to_owned();
        let moved = Kind::JobMoved(v1::JobMoved { place });
        self.post(moved, from + MINUTE_US, Some(number)).await;
        let mut at = from + 2 * MINUTE_US;
        let mut ends = Vec::new();
        for (stage, minutes) in ["decon", "polish"].into_iter().zip(minutes) {
            let stage = stage.to_owned();
            let started = Kind::StageStarted(v1::StageStarted {
                stage: stage.clone(),
                ..v1::StageStarted::default()
            });
            ends.push(self.post(started, at, Some(number)).await);
            at += minutes * MINUTE_US;
            let finished = Kind::StageFinished(v1::StageFinished { stage, result: 1 });
            self.post(finished, at, Some(number)).await;
        }
        let released = Kind::JobReleased(v1::JobReleased {});
        self.post(released, at + MINUTE_US, Some(number)).await;
        ends
    }

    async fn list(&mut self) -> v1::ListQuotesResponse {
        let asked = v1::ListQuotesRequest::default();
        patient(self.quotes.list_quotes(asked))
            .await
            .unwrap()
            .into_inner()
    }

    async fn show(&mut self, quote: v1::quote_ref::Quote) -> Result<v1::Quote, Status> {
        let asked = v1::ShowQuoteRequest {
            quote: Some(v1::QuoteRef { quote: Some(quote) }),
        };
        let shown = patient(self.quotes.show_quote(asked)).await?;
        Ok(shown.into_inner().quote.unwrap())
    }
}

/// An invented shop: two stages, one product, one type.
fn catalogue_set() -> v1::CatalogueSet {
    let stage = |code: &str, kind: v1::StageKind| v1::Stage {
        code: code.to_owned(),
        kind: kind.into(),
        ..v1::Stage::default()
    };
    let allowed = |stage: &str, minutes: i64| v1::StageAllowance {
        stage: stage.to_owned(),
        allowance_us: minutes * MINUTE_US,
        ..v1::StageAllowance::default()
    };
    let open = (1..=5).map(|weekday| v1::OpenHours {
        weekday,
        from_min: 8 * 60,
        until_min: 17 * 60,
    });
    v1::CatalogueSet {
        learned_up_to_seq: 0,
        valid_from_us: NOW_US - 400 * DAY_US,
        changed: Some(v1::Catalogue {
            shop: Some(v1::Shop {
                name: "Invented Coatings".to_owned(),
                zone: "Europe/Vienna".to_owned(),
                currency: "EUR".to_owned(),
                standard_rate_minor: 2_400,
                wage_burden_milli: 1_250,
                overhead_per_hour_minor: 900,
                target_margin_permille: 350,
                open: open.collect(),
                ..v1::Shop::default()
            }),
            bays: vec![v1::Bay {
                code: "bay-1".to_owned(),
                places: 1,
                ..v1::Bay::default()
            }],
            workers: vec![v1::Worker {
                code: "ana".to_owned(),
                ..v1::Worker::default()
            }],
            products: vec![v1::Product {
                code: "iron-remover".to_owned(),
                ..v1::Product::default()
            }],
            stages: vec![
                stage("decon", v1::StageKind::Cleaning),
                stage("polish", v1::StageKind::Correction),
            ],
            job_types: vec![v1::JobType {
                code: "trike-coat".to_owned(),
                name: "Trike, coated".to_owned(),
                vehicle_class: "trike".to_owned(),
                stages: vec![allowed("decon", 60), allowed("polish", 120)],
                price: Some(euros(30_000)),
                ..v1::JobType::default()
            }],
        }),
    }
}

fn euros(price_minor: i64) -> v1::Money {
    v1::Money {
        price_minor,
        currency: "EUR".to_owned(),
    }
}

pub(super) fn asked() -> v1::QuoteAsked {
    v1::QuoteAsked {
        job_type: "trike-coat".to_owned(),
        vehicle: "red three-wheeler".to_owned(),
        grades: Some(v1::Grades {
            soil: 4,
            defects: 3,
            intricacy: 5,
        }),
        ..v1::QuoteAsked::default()
    }
}

fn printed(hours: i64) -> v1::QuotePrinted {
    v1::QuotePrinted {
        currency: "EUR".to_owned(),
        stages: vec![v1::QuotedStage {
            stage: "decon".to_owned(),
            quoted_us: hours * HOUR_US,
            ..v1::QuotedStage::default()
        }],
        hands_on_half_us: hours * HOUR_US,
        hands_on_p80_us: hours * HOUR_US * 5 / 4,
        price_minor: 40_000,
        valid_until_us: NOW_US - 40 * DAY_US,
        seed: 77,
        ..v1::QuotePrinted::default()
    }
}

pub(super) fn opened(quote: &[u8]) -> v1::JobOpened {
    v1::JobOpened {
        job_type: "trike-coat".to_owned(),
        vehicle: "red three-wheeler".to_owned(),
        grades: asked().grades,
        quote_event_id: quote.to_vec(),
        ..v1::JobOpened::default()
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_quote_is_shown_as_it_was_printed_with_what_became_of_it() {
    let mut shop = Shop::new().await;
    let at = NOW_US - 59 * DAY_US - HOUR_US;
    let draft = |hours| {
        Kind::QuoteDrafted(v1::QuoteDrafted {
            asked: Some(asked()),
            printed: Some(printed(hours)),
            addition: false,
        })
    };
    let first = shop.post(draft(3), at, None).await;
    let second = shop.post(draft(5), at + 1, None).await;
    let third = shop.post(draft(6), at + 2, None).await;
    let revised = Kind::QuoteRevised(v1::QuoteRevised {
        quote_event_id: first.clone(),
        asked: Some(asked()),
        printed: Some(printed(4)),
        reason: "more tar than it looked".to_owned(),
    });
    shop.post(revised, at + 3, None).await;
    let accepted = Kind::QuoteAccepted(v1::QuoteAccepted {
        quote_event_id: first.clone(),
        agreed: Some(euros(38_000)),
        suggested: Some(euros(40_000)),
        planned_date: "2026-10-01".to_owned(),
        ..v1::QuoteAccepted::default()
    });
    shop.post(accepted, at + 4, None).await;
    let declined = Kind::QuoteDeclined(v1::QuoteDeclined {
        quote_event_id: second,
        reason: "too dear".to_owned(),
    });
    shop.post(declined, at + 5, None).await;
    shop.job(1, opened(&first), [70, 150]).await;

    let listed = shop.list().await;
    assert_eq!(listed.currency, "EUR");
    let states: Vec<(u64, v1::QuoteState)> = listed
        .quotes
        .iter()
        .map(|line| (line.number, line.state()))
        .collect();
    let (accepted, declined, run_out) = (
        v1::QuoteState::Accepted,
        v1::QuoteState::Declined,
        v1::QuoteState::RunOut,
    );
    assert_eq!(states, [(3, run_out), (2, declined), (1, accepted)]);
    let line = &listed.quotes[2];
    assert_eq!((line.job_number, line.released), (1, true));
    assert_eq!(line.actual_hands_on_us, 220 * MINUTE_US);
    assert_eq!((line.price_minor, line.agreed_minor), (40_000, 38_000));

    let quote = shop.show(v1::quote_ref::Quote::Number(1)).await.unwrap();
    assert_eq!(quote.printed, Some(printed(4)), "to the last figure");
    assert_eq!(quote.earlier, [printed(3)]);
    assert_eq!(quote.revised_why, ["more tar than it looked"]);
    assert_eq!(quote.planned_date, "2026-10-01");
    let took: Vec<(&str, i64)> = quote
        .actual_stages
        .iter()
        .map(|stage| (stage.stage.as_str(), stage.hands_on_us / MINUTE_US))
        .collect();
    assert_eq!(took, [("decon", 70), ("polish", 150)]);
    assert!(quote.actual_bay_us > 0 && quote.actual_cost_minor > 0);

    let strike = Kind::StruckOut(v1::StruckOut {
        event_id: third.clone(),
        reason: "another customer".to_owned(),
    });
    shop.post(strike, 0, None).await;
    for (name, says) in [
        (v1::quote_ref::Quote::Number(3), "struck out"),
        (v1::quote_ref::Quote::DraftedEventId(third), "struck out"),
        (v1::quote_ref::Quote::Number(4), "no quote 4"),
        (v1::quote_ref::Quote::DraftedEventId(vec![1]), "no quote 01"),
    ] {
        let status = shop.show(name).await.unwrap_err();
        assert_eq!(status.code(), Code::NotFound);
        assert_eq!(reason(&status), "NO_SUCH_QUOTE");
        assert!(status.message().contains(says), "{}", status.message());
    }
    let before = (
        shop.list().await,
        shop.show(v1::quote_ref::Quote::DraftedEventId(first.clone()))
            .await
            .unwrap(),
    );
    let mut shop = shop.restarted().await;
    let after = (
        shop.list().await,
        shop.show(v1::quote_ref::Quote::Number(1)).await.unwrap(),
    );
    assert_eq!(after, before);
    shop.stopped().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_import_asks_which_past_jobs_are_known() {
    let mut shop = Shop::new().await;
    let past = |key: u8| v1::PastJob {
        key: vec![key; 16],
        job_type: "trike-coat".to_owned(),
        actual_us: HOUR_US,
        ..v1::PastJob::default()
    };
    let recorded = Kind::PastRecorded(v1::PastRecorded {
        source: "past.csv".to_owned(),
        jobs: vec![past(1), past(2)],
    });
    shop.post(recorded, 0, None).await;
    let asked = v1::PastKnownRequest {
        keys: vec![vec![1; 16], vec![3; 16], vec![2; 16], vec![9]],
    };
    let known = patient(shop.quotes.past_known(asked)).await.unwrap();
    assert_eq!(known.into_inner().known, [vec![1; 16], vec![2; 16]]);
    let too_many = v1::PastKnownRequest {
        keys: vec![Vec::new(); 4_000],
    };
    let status = patient(shop.quotes.past_known(too_many)).await.unwrap_err();
    assert_eq!(reason(&status), "BAD_REQUEST");
    shop.stopped().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_question_that_cannot_be_answered_says_how_to_mend_it() {
    let mut shop = Shop::new().await;
    shop.job(1, opened(&[]), [60, 120]).await;
    let asked = |change: &dyn Fn(&mut v1::SuggestRequest)| {
        let mut request = v1::SuggestRequest {
            asked: Some(asked()),
            ..v1::SuggestRequest::default()
        };
        change(&mut request);
        request
    };
    let of = |change: &dyn Fn(&mut v1::QuoteAsked)| {
        asked(&|request| change(request.asked.get_or_insert_default()))
    };
    let added_to = |job| {
        asked(&|request| {
            request.addition_to = Some(v1::JobRef {
                job: Some(v1::job_ref::Job::Number(job)),
            });
        })
    };
    let cases = [
        (
            of(&|asked| asked.job_type = "trike-caot".to_owned()),
            "NO_SUCH_JOB_TYPE",
            "did you mean trike-coat?",
        ),
        (
            of(&|asked| asked.job_type = " ".to_owned()),
            "BAD_REQUEST",
            "no job type is named",
        ),
        (
            of(&|asked| asked.job_type = "unsorted".to_owned()),
            "BAD_REQUEST",
            "unsorted",
        ),
        (
            asked(&|request| request.asked = None),
            "BAD_REQUEST",
            "no job type is named",
        ),
        (
            of(&|asked| asked.grades.get_or_insert_default().soil = 6),
            "BAD_REQUEST",
            "6 is no grade",
        ),
        (
            of(&|asked| asked.grades.get_or_insert_default().intricacy = u32::MAX),
            "BAD_REQUEST",
            "no grade",
        ),
        (
            of(&|asked| asked.vehicle = "x".repeat(9_000)),
            "BAD_REQUEST",
            "9000 letters",
        ),
        (
            of(&|asked| asked.panels = vec![v1::Panel::default(); 4_000]),
            "BAD_REQUEST",
            "4000 of them",
        ),
        (
            of(&|asked| asked.with_stages = vec!["polsh".to_owned()]),
            "NO_SUCH_STAGE",
            "did you mean polish?",
        ),
        (
            of(&|asked| asked.without_stages = vec!["coat".to_owned()]),
            "BAD_REQUEST",
            "no stage `coat` to leave out",
        ),
        (
            of(&|asked| asked.like_job_number = 99),
            "NO_SUCH_JOB",
            "no job 99",
        ),
        (added_to(u64::MAX), "NO_SUCH_JOB", "no job"),
        (added_to(1), "JOB_NOT_OPEN", "was released"),
        (
            asked(&|request| request.addition_to = Some(v1::JobRef::default())),
            "BAD_REQUEST",
            "no job is named",
        ),
        (
            asked(&|request| request.asked_us = -1),
            "BAD_REQUEST",
            "2000 and 2200",
        ),
        (
            asked(&|request| request.asked_us = i64::MAX),
            "BAD_REQUEST",
            "2000 and 2200",
        ),
    ];
    for (request, why, says) in cases {
        let status = patient(shop.quotes.suggest(request.clone()))
            .await
            .unwrap_err();
        assert_eq!(reason(&status), why, "{request:?}: {status}");
        assert!(status.message().contains(says), "{}", status.message());
    }
    shop.stopped().await;
}

pub(super) async fn suggested(shop: &mut Shop, request: v1::SuggestRequest) -> v1::SuggestResponse {
    let answer = patient(shop.quotes.suggest(request)).await.unwrap();
    answer.into_inner()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_line_of_its_own_is_quoted_for_a_job_that_is_here() {
    let mut shop = Shop::new().await;
    shop.post(Kind::JobOpened(opened(&[])), 0, None).await;
    let request = v1::SuggestRequest {
        asked: Some(v1::QuoteAsked {
            with_stages: vec!["polish".to_owned()],
            ..v1::QuoteAsked::default()
        }),
        addition_to: Some(v1::JobRef {
            job: Some(v1::job_ref::Job::Number(1)),
        }),
        ..v1::SuggestRequest::default()
    };
    let answer = suggested(&mut shop, request.clone()).await;
    let asked = answer.asked.unwrap();
    assert_eq!(asked.job_type, "trike-coat");
    assert_eq!(asked.vehicle, "red three-wheeler");
    assert_eq!(asked.grades, opened(&[]).grades);
    let printed = answer.printed.unwrap();
    let stages: Vec<&str> = printed.stages.iter().map(|s| s.stage.as_str()).collect();
    assert_eq!(stages, ["polish"]);
    let nothing = v1::SuggestRequest {
        asked: None,
        ..request
    };
    let status = patient(shop.quotes.suggest(nothing)).await.unwrap_err();
    assert!(status.message().contains("nothing is to be added"));
    shop.stopped().await;
}
