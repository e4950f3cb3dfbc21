//! A quote from the phone call to the job: what is posted, in which order, and
//! what survives a lost answer.

mod decided;

use super::*;
use crate::fake::Fault;
use crate::render::fixture;

/// A shop whose daemon suggests the quote of the fixture.
fn office() -> Bay {
    let bay = Bay::of_shop();
    bay.fake.state().suggested = v1::SuggestResponse {
        asked: None,
        printed: Some(fixture::quote::printed()),
        remarks: vec!["Never on leather (seat): decon.".to_owned()],
    };
    bay
}

/// With quote 1 in its log.
fn with_quote() -> Bay {
    let bay = office();
    bay.outcome("bay quote new trike-coat red three-wheeler --soil 4")
        .unwrap();
    bay
}

fn kinds(bay: &Bay) -> Vec<&'static str> {
    let word = |kind: Option<FactKind>| match kind {
        Some(FactKind::QuoteDrafted(_)) => "drafted",
        Some(FactKind::QuoteRevised(_)) => "revised",
        Some(FactKind::QuoteAccepted(_)) => "accepted",
        Some(FactKind::QuoteDeclined(_)) => "declined",
        Some(FactKind::JobOpened(_)) => "opened",
        _ => "other",
    };
    bay.facts()
        .into_iter()
        .map(|fact| word(fact.kind))
        .collect()
}

/// The last lines of what the person reads.
fn tail(text: &str, lines: usize) -> String {
    let all: Vec<&str> = text.lines().collect();
    all[all.len().saturating_sub(lines)..].join("\n")
}

#[test]
fn a_new_quote_posts_exactly_what_it_printed_and_says_its_number() {
    let bay = office();
    let said = bay.says("bay quote new trike-coat red three-wheeler --soil 4 --intricacy 5 --for Oliveira --without decon");
    assert!(
        said.starts_with("That will be EUR 557.19 with 23 % tax"),
        "{said}"
    );
    assert_snapshot!(tail(&said, 7), @r#"
    Before you promise
    ! Never on leather (seat): decon.

    Quote 1.
      bay quote show 1 --html quote-1.html          a page for the customer
      bay quote accept 1 --price 453                the customer said yes
      bay quote decline 1 --why "too dear"          the customer said no
    "#);
    let facts = bay.facts();
    let Some(FactKind::QuoteDrafted(drafted)) = &facts[0].kind else {
        panic!("{facts:?}");
    };
    assert_eq!(
        drafted.printed.as_ref(),
        bay.fake.state().suggested.printed.as_ref()
    );
    assert!(!drafted.addition && facts[0].job.is_none());
    let asked = drafted.asked.clone().unwrap();
    assert_eq!(
        asked,
        v1::QuoteAsked {
            job_type: "trike-coat".to_owned(),
            vehicle: "red three-wheeler".to_owned(),
            grades: Some(v1::Grades {
                soil: 4,
                defects: 0,
                intricacy: 5,
            }),
            without_stages: vec!["decon".to_owned()],
            customer: "Oliveira".to_owned(),
            ..v1::QuoteAsked::default()
        }
    );
}

#[test]
fn a_dry_quote_prints_all_and_posts_nothing() {
    let bay = office();
    let said = bay.says("bay quote new trike-coat --dry");
    assert!(said.contains("four in five of such jobs"), "{said}");
    assert!(said.ends_with("Nothing was posted (--dry)."), "{said}");
    assert!(bay.facts().is_empty() && bay.kept() == 0);
    let bay = with_quote();
    for line in [
        "bay quote revise 1 --soil 5 --dry",
        "bay quote accept 1 --price 400 --dry",
        "bay quote decline 1 --why dear --dry",
        "bay quote add 118 --stage polish --price 120 --dry",
    ] {
        let said = bay.says(line);
        assert!(
            said.contains("Nothing was posted (--dry)."),
            "{line}: {said}"
        );
    }
    assert_eq!((kinds(&bay), bay.kept()), (vec!["drafted"], 0));
}

#[test]
fn without_a_daemon_there_is_no_quote_and_it_says_why() {
    let bay = Bay::of_shop().away();
    assert_snapshot!(bay.says("bay quote new trike-coat"), @"
    Error 4: A quote needs the daemon, and nothing was posted. No daemon at SERVER: connection refused.
    Hint: Is baywrightd running? `--server HOST:PORT` names another place.
    ");
    for line in [
        "bay quote list",
        "bay quote show 1",
        "bay quote revise 1 --soil 5",
        "bay quote accept 1 --price 400",
        "bay quote decline 1 --why dear",
        "bay quote add 118 --stage polish --price 120",
        "bay quote compare 1",
    ] {
        let error = bay.outcome(line).unwrap_err();
        assert_eq!(error.kind(), Kind::Unreachable, "{line}: {error}");
        assert!(
            error.message().starts_with("A quote needs the daemon"),
            "{line}"
        );
    }
    assert_eq!(bay.kept(), 0);
}

#[test]
fn a_revision_changes_what_is_said_and_keeps_the_rest() {
    let bay = with_quote();
    let said = bay.says(
        "bay quote revise 1 --defects 2 --seen no --without polish --for Oliveira --why \"seen in the rain\"",
    );
    assert!(
        said.starts_with("Quote 1 again, trike-coat: red three-wheeler, for Oliveira"),
        "{said}"
    );
    assert!(
        said.contains("Changed: defects 2 (was not graded); for Oliveira (was none)"),
        "{said}"
    );
    let requests = bay.fake.state().suggest_requests.clone();
    assert_eq!(
        requests[1].seed,
        fixture::quote::printed().seed,
        "the draws of before"
    );
    let Some(FactKind::QuoteRevised(revised)) = bay.facts().pop().unwrap().kind else {
        panic!("nothing was revised");
    };
    assert_eq!(revised.quote_event_id, bay.fake.state().log[0].event_id);
    assert_eq!(revised.reason, "seen in the rain");
    let asked = revised.asked.unwrap();
    let grades = asked.grades.unwrap();
    assert_eq!((grades.soil, grades.defects), (4, 2));
    assert_eq!(asked.vehicle, "red three-wheeler");
    // Taken back, the stage is as if nobody had asked.
    bay.outcome("bay quote revise 1 --with polish --seen yes")
        .unwrap();
    let asked = bay.fake.state().quotes()[0].asked.clone().unwrap();
    assert!(asked.without_stages.is_empty() && asked.with_stages.is_empty() && !asked.unseen);
    bay.outcome("bay quote accept 1 --price 453").unwrap();
    let error = bay.outcome("bay quote revise 1 --soil 5").unwrap_err();
    assert!(
        error.hint().unwrap().contains("bay quote add 118"),
        "{error}"
    );
    bay.outcome("bay quote revise 1 --soil 5 --anyway").unwrap();
}

#[test]
fn a_new_quote_whose_answer_is_lost_says_where_its_number_comes_from() {
    let bay = office();
    bay.fake.state().faults = [Fault::IsBusy].into();
    let said = bay.says("bay quote new trike-coat");
    assert_snapshot!(tail(&said, 3), @"

    Kept on this bay in DATA/spool. No answer from the daemon for the post: the daemon is stopping. It goes out with the next command, or with `bay spool send`.
    Its number comes when it is sent: `bay quote list` shows it.
    ");
    assert_eq!(bay.kept(), 1);
    bay.outcome("bay quote list").unwrap();
}

#[test]
fn what_cannot_be_a_quote_a_price_or_a_day_is_refused_before_anything_is_posted() {
    let bay = with_quote();
    let said: Vec<String> = [
        "bay quote show twelve",
        "bay quote show 2",
        "bay quote accept 1 --price cheap",
        "bay quote accept 1 --price \"USD 400\"",
        "bay quote accept 1 --price 400 --on 3.12.2026",
        "bay quote new trike-coot",
        "bay quote new trike-coat --without polich",
        "bay quote new trike-coat --like b2-7",
        "bay quote compare 1 1 1 1 1 1 1",
    ]
    .iter()
    .map(|line| bay.says(line))
    .collect();
    assert_snapshot!(said.join("\n"), @"
    Error 2: `twelve` is not the number of a quote.
    Hint: `bay quote list` shows the quotes by number.
    Error 3: there is no such quote.
    Hint: `bay quote list` shows the quotes by number.
    Error 3: `CHEAP` is not a currency code: three capital letters of ISO 4217, like EUR.
    Error 3: The quote is in EUR, and USD 400.00 is not.
    Error 2: `3.12.2026` is not a date.
    Hint: Write year, month and day: 2026-12-03
    Error 3: no job type `trike-coot` in the catalogue.
    Hint: did you mean trike-coat? To keep it anyway and settle it later, add --anyway.
    Error 3: no stage `polich` in the catalogue.
    Hint: did you mean polish? To keep it anyway and settle it later, add --anyway.
    Error 2: `b2-7` is not the number of a job.
    Hint: `bay week` shows jobs by number: --like 118
    Error 2: 7 quotes fit on no page: 6 at most.
    Hint: Name fewer: bay quote compare 12 14
    ");
    assert_eq!(kinds(&bay), ["drafted"]);
}

#[test]
fn a_time_that_is_said_is_the_time_of_the_question_too() {
    let bay = office();
    bay.outcome("bay quote new trike-coat --ago 1h").unwrap();
    let asked_us = bay.fake.state().suggest_requests[0].asked_us;
    assert_eq!(asked_us, NOW_US - 3_600_000_000);
    bay.outcome("bay quote new trike-coat").unwrap();
    assert_eq!(bay.fake.state().suggest_requests[1].asked_us, 0);
}

#[test]
fn the_customers_page_is_written_with_the_number_of_the_quote() {
    let bay = office();
    let file = bay.folder.path().join("quote.html");
    let line = format!("bay quote new trike-coat red one --html {}", file.display());
    let said = bay.says(&line);
    assert!(said.contains("A page in DATA/quote.html"), "{said}");
    let page = std::fs::read_to_string(&file).unwrap();
    assert!(page.contains("<h1>Quote 1</h1>") && page.contains("red one"));
    let shown = bay.outcome("bay quote show 1 --html -").unwrap();
    assert!(shown.verbatim);
    assert_eq!(shown.text, page);
    let draft = bay
        .outcome("bay quote new trike-coat --dry --html -")
        .unwrap();
    assert!(draft.text.contains("<h1>Draft of a quote</h1>"));
}

#[test]
fn quotes_are_listed_shown_and_compared() {
    let bay = with_quote();
    bay.outcome("bay quote decline 1 --why dear").unwrap();
    bay.outcome("bay quote new trike-coat").unwrap();
    assert!(bay.says("bay quote list").starts_with("2 quotes"));
    assert!(
        bay.says("bay quote list --declined")
            .starts_with("1 declined quote,")
    );
    assert!(
        bay.says("bay quote list --accepted")
            .starts_with("No accepted quotes.")
    );
    let shown = bay.says("bay quote show 2");
    assert!(
        shown.starts_with("Quote 2, trike-coat\nOpen, made on"),
        "{shown}"
    );
    // This bay knows the nevers of the type from its catalogue.
    assert!(
        shown.contains("! Never on leather (seat): decon, iron-remover."),
        "{shown}"
    );
    assert!(shown.contains("bay quote accept 2 --price 453"), "{shown}");
    let compared = bay.says("bay quote compare 1 2");
    assert!(compared.contains("quote 1     quote 2"), "{compared}");
}

#[test]
fn the_names_in_the_json_are_part_of_the_contract() {
    let bay = with_quote();
    let keys = |line: &str| {
        let json = bay.outcome(line).unwrap().json;
        let keys: Vec<String> = json.as_object().unwrap().keys().cloned().collect();
        keys.join(" ")
    };
    assert_eq!(
        keys("bay quote new trike-coat --json"),
        "quote receipt suggested"
    );
    assert_eq!(
        keys("bay quote new trike-coat --dry --json"),
        "dry suggested"
    );
    assert_eq!(
        keys("bay quote revise 1 --soil 5 --json"),
        "number receipt suggested"
    );
    assert_eq!(keys("bay quote show 1 --json"), "quote");
    assert_eq!(
        keys("bay quote list --json"),
        "currency left_off quotes zone"
    );
    assert_eq!(keys("bay quote compare 1 2 --json"), "quotes");
    assert_eq!(
        keys("bay quote accept 1 --price 453 --json"),
        "accepted opened"
    );
    assert_eq!(keys("bay quote decline 2 --why x --json"), "number receipt");
    assert_eq!(
        keys("bay quote add 118 --stage polish --price 1 --json"),
        "accepted drafted number suggested"
    );
    let quote = serde_json::json!({ "quote": fixture::quote::done() });
    assert_snapshot!(fixture::key_paths(&quote).join("\n"), @"
    quote.accepted_reason
    quote.actual_bay_us
    quote.actual_cost_minor
    quote.actual_products[].product
    quote.actual_products[].unit
    quote.actual_products[].used
    quote.actual_stages[].hands_on_us
    quote.actual_stages[].stage
    quote.asked.customer
    quote.asked.grades.defects
    quote.asked.grades.intricacy
    quote.asked.grades.soil
    quote.asked.job_type
    quote.asked.like_job_number
    quote.asked.unseen
    quote.asked.vehicle
    quote.asked.vehicle_class
    quote.asked.without_stages[]
    quote.currency
    quote.decided_us
    quote.earlier[].bay_half_us
    quote.earlier[].bay_p80_us
    quote.earlier[].cost_half_minor
    quote.earlier[].cost_minor
    quote.earlier[].cost_p80_minor
    quote.earlier[].currency
    quote.earlier[].draws
    quote.earlier[].from_jobs
    quote.earlier[].from_jobs_all
    quote.earlier[].hands_on_half_us
    quote.earlier[].hands_on_mean_us
    quote.earlier[].hands_on_p80_error_us
    quote.earlier[].hands_on_p80_us
    quote.earlier[].labour_minor
    quote.earlier[].learned_up_to_seq
    quote.earlier[].likes[].grades
    quote.earlier[].likes[].grades.defects
    quote.earlier[].likes[].grades.intricacy
    quote.earlier[].likes[].grades.soil
    quote.earlier[].likes[].hands_on_us
    quote.earlier[].likes[].job_number
    quote.earlier[].likes[].job_type
    quote.earlier[].likes[].released_us
    quote.earlier[].likes[].vehicle
    quote.earlier[].list_minor
    quote.earlier[].margin
    quote.earlier[].margin_p80_permille
    quote.earlier[].materials_minor
    quote.earlier[].model_version
    quote.earlier[].overhead_minor
    quote.earlier[].price_from_minor
    quote.earlier[].price_minor
    quote.earlier[].price_to_minor
    quote.earlier[].products[].allowance
    quote.earlier[].products[].cost_minor
    quote.earlier[].products[].half
    quote.earlier[].products[].n
    quote.earlier[].products[].p80
    quote.earlier[].products[].product
    quote.earlier[].products[].quoted.decimal
    quote.earlier[].products[].quoted.unit
    quote.earlier[].products[].unit
    quote.earlier[].seed
    quote.earlier[].stages[].allowance_us
    quote.earlier[].stages[].half_us
    quote.earlier[].stages[].n
    quote.earlier[].stages[].p80_us
    quote.earlier[].stages[].quoted_us
    quote.earlier[].stages[].stage
    quote.earlier[].supplies_minor
    quote.earlier[].target_margin_permille
    quote.earlier[].tax_milli_pct
    quote.earlier[].trade_guess
    quote.earlier[].valid_until_us
    quote.earlier[].waiting_half_us
    quote.earlier[].widen_milli
    quote.line.actual_hands_on_us
    quote.line.addition
    quote.line.agreed_minor
    quote.line.customer
    quote.line.drafted_event_id
    quote.line.drafted_us
    quote.line.hands_on_half_us
    quote.line.hands_on_p80_us
    quote.line.job_number
    quote.line.job_type
    quote.line.number
    quote.line.price_minor
    quote.line.released
    quote.line.state
    quote.line.trade_guess
    quote.line.valid_until_us
    quote.line.vehicle
    quote.line.why
    quote.planned_date
    quote.printed.bay_half_us
    quote.printed.bay_p80_us
    quote.printed.cost_half_minor
    quote.printed.cost_minor
    quote.printed.cost_p80_minor
    quote.printed.currency
    quote.printed.draws
    quote.printed.from_jobs
    quote.printed.from_jobs_all
    quote.printed.hands_on_half_us
    quote.printed.hands_on_mean_us
    quote.printed.hands_on_p80_error_us
    quote.printed.hands_on_p80_us
    quote.printed.labour_minor
    quote.printed.learned_up_to_seq
    quote.printed.likes[].grades
    quote.printed.likes[].grades.defects
    quote.printed.likes[].grades.intricacy
    quote.printed.likes[].grades.soil
    quote.printed.likes[].hands_on_us
    quote.printed.likes[].job_number
    quote.printed.likes[].job_type
    quote.printed.likes[].released_us
    quote.printed.likes[].vehicle
    quote.printed.list_minor
    quote.printed.margin
    quote.printed.margin_p80_permille
    quote.printed.materials_minor
    quote.printed.model_version
    quote.printed.overhead_minor
    quote.printed.price_from_minor
    quote.printed.price_minor
    quote.printed.price_to_minor
    quote.printed.products[].allowance
    quote.printed.products[].cost_minor
    quote.printed.products[].half
    quote.printed.products[].n
    quote.printed.products[].p80
    quote.printed.products[].product
    quote.printed.products[].quoted.decimal
    quote.printed.products[].quoted.unit
    quote.printed.products[].unit
    quote.printed.seed
    quote.printed.stages[].allowance_us
    quote.printed.stages[].half_us
    quote.printed.stages[].n
    quote.printed.stages[].p80_us
    quote.printed.stages[].quoted_us
    quote.printed.stages[].stage
    quote.printed.supplies_minor
    quote.printed.target_margin_permille
    quote.printed.tax_milli_pct
    quote.printed.trade_guess
    quote.printed.valid_until_us
    quote.printed.waiting_half_us
    quote.printed.widen_milli
    quote.revised_why[]
    quote.shop
    quote.zone
    ");
}
