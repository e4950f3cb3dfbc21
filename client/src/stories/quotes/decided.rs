//! The customer's answer, and work on top: what is posted and in which order.

use baywright_proto::v1::QuoteState;
use baywright_proto::v1::job_ref::Job;

use super::*;
use crate::fake::Fault;

#[test]
fn an_acceptance_keeps_the_price_and_opens_the_job() {
    let bay = with_quote();
    assert_snapshot!(bay.says("bay quote accept 1 --price 430 --why \"second vehicle\" --on 2026-12-03"), @"
    Quote 1 accepted: EUR 430.00 agreed, a discount of EUR 23.00 (5 %) on the suggested EUR 453.00. At that price the margin is 21 % on average, and 10 % if it takes as long as four in five. Planned for Thu 3 Dec 2026.
    Job 118 trike-coat (red three-wheeler): opened at 14:05.
    Next: bay bring 118
    ");
    assert_eq!(kinds(&bay), ["drafted", "accepted", "opened"]);
    let facts = bay.facts();
    let drafted_id = bay.fake.state().log[0].event_id.clone();
    let euros = |minor| {
        Some(v1::Money {
            price_minor: minor,
            currency: "EUR".to_owned(),
        })
    };
    let Some(FactKind::QuoteAccepted(accepted)) = &facts[1].kind else {
        panic!("{facts:?}");
    };
    assert_eq!(
        *accepted,
        v1::QuoteAccepted {
            quote_event_id: drafted_id.clone(),
            agreed: euros(43_000),
            suggested: euros(45_300),
            reason: "second vehicle".to_owned(),
            planned_date: "2026-12-03".to_owned(),
        }
    );
    let Some(FactKind::JobOpened(opened)) = &facts[2].kind else {
        panic!("{facts:?}");
    };
    assert_eq!(
        (&opened.quote_event_id, &opened.agreed),
        (&drafted_id, &euros(43_000))
    );
    assert_eq!(opened.vehicle, "red three-wheeler");
    assert_eq!(opened.grades.unwrap().soil, 4);
    // The office posts about no bay's job.
    assert!(facts.iter().all(|fact| fact.job.is_none()));
}

#[test]
fn a_quote_is_accepted_once() {
    let bay = with_quote();
    bay.outcome("bay quote accept 1 --price 453").unwrap();
    assert_snapshot!(bay.says("bay quote accept 1 --price 453 --anyway"), @"
    Error 3: Quote 1 was accepted for EUR 453.00: job 118.
    Hint: What comes on top is a line of its own: bay quote add 118 --stage STAGE --price PRICE
    ");
    assert_eq!(kinds(&bay), ["drafted", "accepted", "opened"]);
}

#[test]
fn an_acceptance_whose_answer_is_lost_comes_once_and_before_its_job() {
    let bay = with_quote();
    bay.fake.state().faults = [Fault::LosesTheReceipt].into();
    let said = bay.says("bay quote accept 1 --price 453");
    assert!(
        said.contains("Quote 1 accepted") && said.contains("Job 118"),
        "{said}"
    );
    assert_eq!(kinds(&bay), ["drafted", "accepted", "opened"]);
    assert_eq!(bay.kept(), 0);
}

#[test]
fn an_acceptance_that_stays_on_this_disk_is_sent_before_anything_is_asked_again() {
    let bay = with_quote();
    bay.fake.state().faults = [Fault::IsBusy, Fault::IsBusy].into();
    let said = bay.says("bay quote accept 1 --price 453");
    assert!(said.contains("2 facts wait there"), "{said}");
    assert_eq!((kinds(&bay), bay.kept()), (vec!["drafted"], 2));
    // The same again: what waits goes out, and the quote is accepted by then.
    let error = bay.outcome("bay quote accept 1 --price 453").unwrap_err();
    assert_eq!(error.kind(), Kind::Refused);
    assert!(error.message().contains("was accepted"), "{error}");
    assert_eq!(kinds(&bay), ["drafted", "accepted", "opened"]);
    assert_eq!(bay.kept(), 0);
}

#[test]
fn an_acceptance_without_its_job_is_told_and_opened_on_demand() {
    let bay = with_quote();
    let id = bay.fake.state().log[0].event_id.clone();
    {
        let mut state = bay.fake.state();
        let fact = v1::Fact {
            kind: Some(FactKind::QuoteAccepted(v1::QuoteAccepted {
                quote_event_id: id,
                agreed: Some(v1::Money {
                    price_minor: 44_000,
                    currency: "EUR".to_owned(),
                }),
                ..v1::QuoteAccepted::default()
            })),
            ..v1::Fact::default()
        };
        // From another bay, whose opening of the job is still on its way.
        let other = crate::fake::Stored {
            event_id: vec![9; 16],
            device: "other".to_owned(),
            device_seq: 1,
            fact: fact.encode_to_vec(),
            waiting: true,
            first_receipt: None,
        };
        state.log.push(other);
    }
    assert_snapshot!(bay.says("bay quote accept 1 --price 400"), @"
    Error 3: Quote 1 was accepted, and its job is not in the log yet.
    Hint: It may wait on the bay where that was said: `bay spool send` there sends it. To open it from here, add --anyway.
    ");
    bay.outcome("bay quote accept 1 --price 400 --anyway")
        .unwrap();
    assert_eq!(kinds(&bay), ["drafted", "accepted", "opened"]);
    let Some(FactKind::JobOpened(opened)) = bay.facts().pop().unwrap().kind else {
        panic!("the job was not opened");
    };
    assert_eq!(
        opened.agreed.unwrap().price_minor,
        44_000,
        "what was agreed first"
    );
}

#[test]
fn a_run_out_or_declined_quote_is_accepted_only_anyway() {
    let bay = with_quote();
    bay.fake.state().quotes_ran_out = true;
    assert_snapshot!(bay.says("bay quote accept 1 --price 453"), @"
    Error 3: Quote 1 has run out: it held until Fri 25 Dec 2026.
    Hint: `bay quote revise 1` works it out anew. To accept it as it was, add --anyway.
    ");
    bay.fake.state().quotes_ran_out = false;
    assert_snapshot!(bay.says("bay quote decline 1 --why \"too dear\""), @"Quote 1 declined: too dear.");
    assert_snapshot!(bay.says("bay quote accept 1 --price 453"), @"
    Error 3: Quote 1 was declined.
    Hint: Where the customer thought again, add --anyway.
    ");
    assert!(bay.outcome("bay quote decline 1 --why again").is_err());
    bay.outcome("bay quote accept 1 --price 453 --anyway")
        .unwrap();
    assert_eq!(kinds(&bay), ["drafted", "declined", "accepted", "opened"]);
    let error = bay.outcome("bay quote decline 1 --why late").unwrap_err();
    assert!(error.message().contains("was accepted: job 118"), "{error}");
}

#[test]
fn an_unseen_vehicle_is_quoted_so_and_accepting_it_reminds_to_inspect() {
    let bay = office();
    bay.outcome("bay quote new trike-coat --seen no").unwrap();
    let asked = bay.fake.state().suggest_requests[0].asked.clone().unwrap();
    assert!(asked.unseen);
    let said = bay.says("bay quote accept 1 --price 453 --dry");
    assert!(said.contains("bay quote revise 1 --seen yes"), "{said}");
    let said = bay.says("bay quote accept 1 --price 453");
    assert_snapshot!(tail(&said, 2), @"
    Next: bay bring 118
    ! Nobody of the shop had seen it when this was quoted. What the inspection brings on top is a line of its own: bay quote add 118 --stage STAGE --price PRICE
    ");
    assert_eq!(kinds(&bay), ["drafted", "accepted", "opened"]);
}

#[test]
fn work_on_top_is_a_line_of_its_own_of_its_job() {
    let bay = office();
    let said = bay.says("bay quote add 118 --stage polish");
    assert!(said.starts_with("On top of job 118 that will be"), "{said}");
    assert!(
        said.contains("Nothing was posted") && bay.facts().is_empty(),
        "{said}"
    );
    let said = bay.says("bay quote add 118 --stage polish --price 120 --why \"asked for\"");
    assert_snapshot!(tail(&said, 2), @"

    Quote 1 accepted: EUR 120.00 agreed, a discount of EUR 333.00 (74 %) on the suggested EUR 453.00. At that price it loses 183 % on average, and 222 % if it takes as long as four in five.
    ");
    assert_eq!(kinds(&bay), ["drafted", "accepted"]);
    let job = v1::JobRef {
        job: Some(Job::Number(118)),
    };
    let requests = bay.fake.state().suggest_requests.clone();
    assert_eq!(requests[1].addition_to.as_ref(), Some(&job));
    assert_eq!(requests[1].asked.as_ref().unwrap().with_stages, ["polish"]);
    let facts = bay.facts();
    assert!(facts.iter().all(|fact| fact.job.as_ref() == Some(&job)));
    let Some(FactKind::QuoteDrafted(drafted)) = &facts[0].kind else {
        panic!("{facts:?}");
    };
    assert!(drafted.addition);
    let Some(FactKind::QuoteAccepted(accepted)) = &facts[1].kind else {
        panic!("{facts:?}");
    };
    assert_eq!(accepted.quote_event_id, bay.fake.state().log[0].event_id);
    assert_eq!(accepted.agreed.as_ref().unwrap().price_minor, 12_000);
    assert_eq!(accepted.reason, "asked for");
}

#[test]
fn work_on_top_whose_answers_are_lost_is_posted_once_and_in_order() {
    let bay = office();
    bay.fake.state().faults = [Fault::LosesTheReceipt].into();
    bay.outcome("bay quote add 118 --stage polish --price 120")
        .unwrap();
    assert_eq!(kinds(&bay), ["drafted", "accepted"]);
    assert_eq!(
        bay.fake.state().quotes()[0].line.as_ref().unwrap().state(),
        QuoteState::Accepted
    );
}
