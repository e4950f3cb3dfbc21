//! Codes, jobs and quotes that nobody knows, while a person waits.

use super::*;

#[test]
fn an_unknown_code_is_refused_only_while_a_person_waits() {
    let mut shop = Shop::new();
    let by = |who: &str| v1::Fact {
        by: vec![who.to_owned()],
        ..noted("x")
    };
    // Day one: no catalogue, nothing is unknown.
    shop.one(waiting(post("a", 1, 0, 1, &by("nobody"))))
        .unwrap();
    with_catalogue(&mut shop);
    let Err(Refusal::UnknownCode(codes)) = shop.one(waiting(post("a", 2, 1, 2, &by("anna"))))
    else {
        panic!("anna is not in the catalogue");
    };
    assert_eq!(codes.len(), 1);
    assert_eq!(codes[0].what, Named::Worker);
    assert_eq!(codes[0].field, "fact.by");
    assert_eq!(codes[0].nearest, ["ana"]);
    assert_eq!(codes[0].to_string(), "no worker `anna` in the catalogue");
    assert!(codes[0].hint().starts_with("did you mean ana?"));
    shop.one(waiting(post("a", 3, 1, 2, &by("ana")))).unwrap();
    // Late, and anyway.
    shop.one(post("a", 4, 2, 3, &by("anna"))).unwrap();
    let mut anyway = waiting(post("a", 5, 3, 4, &by("anna")));
    anyway.post.anyway = true;
    shop.one(anyway).unwrap();
}

#[test]
fn a_job_number_that_no_job_has_is_an_unknown_code() {
    let mut shop = Shop::new();
    let on = |number| v1::Fact {
        job: Some(v1::JobRef {
            job: Some(v1::job_ref::Job::Number(number)),
        }),
        ..noted("x")
    };
    let outcomes = shop.append(&[
        waiting(post("a", 1, 0, 1, &on(1))),
        post("a", 2, 0, 1, &opened()),
        waiting(post("a", 3, 1, 2, &on(1))),
        post("a", 4, 2, 3, &on(77)),
    ]);
    let Err(Refusal::UnknownCode(codes)) = &outcomes[0] else {
        panic!("job 1 is not opened yet");
    };
    assert_eq!(codes[0].to_string(), "no job has the number 1");
    assert!(outcomes[1..].iter().all(Result::is_ok), "{outcomes:?}");
}

#[test]
fn a_quote_that_nobody_drafted_is_asked_about_while_a_person_waits() {
    let mut shop = Shop::new();
    let drafted = v1::Fact {
        kind: Some(Kind::QuoteDrafted(v1::QuoteDrafted::default())),
        ..v1::Fact::default()
    };
    let accepted = |quote: Vec<u8>| v1::Fact {
        kind: Some(Kind::QuoteAccepted(v1::QuoteAccepted {
            quote_event_id: quote,
            ..v1::QuoteAccepted::default()
        })),
        ..v1::Fact::default()
    };
    let mut anyway = waiting(post("b", 6, 0, 1, &accepted(id(99))));
    anyway.post.anyway = true;
    let outcomes = shop.append(&[
        waiting(post("a", 1, 0, 1, &accepted(id(2)))),
        post("a", 2, 0, 1, &drafted),
        // Its draft came before it in the same batch.
        waiting(post("a", 3, 1, 2, &accepted(id(2)))),
        // An event, but no quote.
        waiting(post("a", 4, 2, 3, &accepted(id(3)))),
        // Nobody waits: kept.
        post("a", 5, 2, 3, &accepted(id(3))),
        anyway,
        post("c", 7, 0, 1, &accepted(vec![1, 2])),
    ]);
    for refused in [0, 3] {
        let Err(Refusal::UnknownCode(codes)) = &outcomes[refused] else {
            panic!("{refused}: no such quote");
        };
        assert_eq!(codes[0].what, Named::Quote);
        assert!(codes[0].to_string().contains("no quote was drafted"));
        assert!(codes[0].hint().contains("bay quote list"));
    }
    let Err(Refusal::Unreadable(wrong)) = &outcomes[6] else {
        panic!("two bytes are no event");
    };
    assert_eq!(wrong[0].field, "fact.quote_accepted.quote_event_id");
    assert!(
        [1, 2, 4, 5].iter().all(|at| outcomes[*at].is_ok()),
        "{outcomes:?}"
    );
}
