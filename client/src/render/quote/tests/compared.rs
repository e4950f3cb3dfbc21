//! Quotes in a list, beside each other, and beside what their jobs took.

use super::*;

#[test]
fn a_quote_whose_job_is_done_is_shown_with_what_it_took() {
    let text = quote(&fixture::done(), &[], PAGE_COLUMNS);
    narrow(&text);
    let head: Vec<&str> = text.lines().take(6).collect();
    insta::assert_snapshot!(head.join("\n"), @"
    Quote 12, trike-coat: red three-wheeler, folding roof, for M. Oliveira
    (invented)
    Accepted on Thu 26 Nov 2026: EUR 430.00 agreed, a discount of EUR 23.00 (5 %) on
    the suggested EUR 453.00. Why: second vehicle of the same house. It opened job
    131. Planned for Thu 3 Dec 2026. Revised once: insects baked on.
    ");
    let held = text.find("Quote 12 against").unwrap();
    insta::assert_snapshot!(&text[held..], @"
    Quote 12 against job 131, hours:minutes
                          four
    stage        half  in five  actual  held
    ---------  ------  -------  ------  -------------------
    intake       0:19     0:25    0:18  within half
    prewash      0:44     0:58    0:52  within four in five
    decon        1:21     1:50    2:05  over four in five
    dry          0:52     1:07    0:50  within half
    polish       1:58     2:41    2:20  within four in five
    coat         1:16     1:38    1:15  within half
    inspect      0:22     0:31       -  no record
    hand-over    0:28     0:38    0:27  within half
    metal           -        -    0:25  not quoted
    ---------  ------  -------  ------  -------------------
    hands-on     7:29     9:01    8:32  within four in five
    bay time     9:38    11:12   11:00  within four in five
    cost, EUR  331.18   386.20  370.50  within four in five

    Chemicals against the quote, as concentrate
                                     four
    product           unit  half  in five  actual  held
    ----------------  ----  ----  -------  ------  -----------------
    alkaline-cleaner  ml    38.4     52.1       -  no record
    iron-remover      ml     486      655     702  over four in five
    coating-3y        ml    17.2     21.6      17  within half
    clay-bar          each   0.5        1       -  no record
    panel-wipe        ml       -        -     110  not quoted
    ");
}

#[test]
fn an_addition_is_held_against_its_own_stages_and_not_the_whole_job() {
    let mut added = fixture::addition();
    let whole = fixture::done();
    if let (Some(line), Some(of_job)) = (&mut added.line, &whole.line) {
        line.actual_hands_on_us = of_job.actual_hands_on_us;
        line.released = true;
    }
    added.actual_stages = whole
        .actual_stages
        .into_iter()
        .filter(|s| s.stage == "polish")
        .collect();
    let text = compare(&[added.clone()], PAGE_COLUMNS);
    assert!(
        !text.contains("8:32") && text.contains("2:20  within four in five"),
        "{text}"
    );
    let lines = baywright_proto::v1::ListQuotesResponse {
        quotes: added.line.into_iter().collect(),
        ..Default::default()
    };
    let text = list(&lines, Which::default(), PAGE_COLUMNS);
    assert!(!text.contains("took"), "{text}");
}

#[test]
fn of_a_job_that_runs_only_what_is_gone_for_good_is_said() {
    let mut running = fixture::done();
    if let Some(line) = &mut running.line {
        line.released = false;
    }
    running.actual_stages.retain(|stage| stage.stage != "metal");
    running
        .actual_products
        .retain(|used| used.product != "panel-wipe");
    let text = compare(&[running.clone()], PAGE_COLUMNS);
    for unsure in ["within", "no record"] {
        assert!(!text.contains(unsure), "{unsure}: {text}");
    }
    assert!(text.contains("2:05  over four in five"), "{text}");
    assert!(text.contains("0:52  past half"), "{text}");
    let said = [512, 400, 600].map(|minutes| {
        let mut line = running.line.clone().unwrap();
        line.actual_hands_on_us = minutes * 60_000_000;
        let lines = baywright_proto::v1::ListQuotesResponse {
            quotes: vec![line],
            ..Default::default()
        };
        let text = list(&lines, Which::default(), PAGE_COLUMNS);
        text.lines().last().unwrap().trim().to_owned()
    });
    assert_eq!(
        said,
        [
            "8:32 so far: past half",
            "6:40 so far",
            "10:00 so far: over four in five"
        ]
    );
}

#[test]
fn the_list_of_quotes() {
    let text = list(&fixture::list(), Which::default(), PAGE_COLUMNS);
    narrow(&text);
    insta::assert_snapshot!(text, @"
    4 quotes, latest first.

                                                   half  4 in 5   price  agreed
    no.  made    state     what                   h:min   h:min     EUR     EUR  job
    ---  ------  --------  ---------------------  -----  ------  ------  ------  ---
     12  25 Nov  open      trike-coat, red         7:29    9:01  453.00
                           three-wheeler,
                           folding roof, M.
                           Oliveira (invented)
     11  20 Nov  declined  van-wash, white van     7:29    9:01  180.00
         too dear
      9  25 Nov  done      trike-coat, red         7:29    9:01  453.00  430.00  131
                           three-wheeler,
                           folding roof, M.
                           Oliveira (invented)
         took 8:32: within four in five
      3  6 Sep   run out   trike-coat, red         7:29    9:01    none
                           three-wheeler,
                           folding roof, M.
                           Oliveira (invented)
         trade guess, not your shop
    2 older ones are not shown: --all shows them.
    ");
    let none = baywright_proto::v1::ListQuotesResponse::default();
    let open = Which {
        state: "open",
        all: true,
    };
    let all = list(&fixture::list(), open, PAGE_COLUMNS);
    assert!(
        all.starts_with("4 open quotes,") && all.contains("not shown: --type"),
        "{all}"
    );
    assert_eq!(
        list(&none, open, PAGE_COLUMNS),
        "No open quotes. `bay quote new TYPE` makes one.\n"
    );
}

#[test]
fn quotes_stand_side_by_side() {
    let text = compare(
        &[fixture::open(), fixture::unseen(), fixture::addition()],
        PAGE_COLUMNS,
    );
    narrow(&text);
    insta::assert_snapshot!(text, @"
    Quote 12, trike-coat: red three-wheeler, folding roof, for M. Oliveira
    (invented): open.
    Quote 12, trike-coat: red three-wheeler, folding roof, for M. Oliveira
    (invented): open.
    Quote 14, on top of job 131, trike-coat: red three-wheeler, folding roof, for M.
    Oliveira (invented): open.

    what                     quote 12    quote 12    quote 14
    ---------------------  ----------  ----------  ----------
    type                   trike-coat  trike-coat  trike-coat
    soil                            4           -           4
    defects                         -           -           -
    intricacy                       5           -           5
    hands-on, half, h:min        7:29        7:29        1:58
      four in five               9:01        9:01        2:41
    bay time, half               9:38        9:38        1:58
      four in five              11:12       11:12        2:41
    learned from jobs              14          14       guess
    cost on average, EUR       339.04      339.04       80.15
    price, EUR                 453.00      453.00      107.00
    intake, half                 0:19        0:19
    prewash, half                0:44        0:44
    decon, half                  1:21        1:21
    dry, half                    0:52        0:52
    polish, half                 1:58        1:58        1:58
    coat, half                   1:16        1:16
    inspect, half                0:22        0:22
    hand-over, half              0:28        0:28

    None of them has a job that was worked on, so there is no actual to set beside
    them.
    ");
}

#[test]
fn an_actual_at_the_limit_holds() {
    assert_eq!(compare::verdict(60, 60, 80), "within half");
    assert_eq!(compare::verdict(61, 60, 80), "within four in five");
    assert_eq!(compare::verdict(80, 60, 80), "within four in five");
    assert_eq!(compare::verdict(81, 60, 80), "over four in five");
}
