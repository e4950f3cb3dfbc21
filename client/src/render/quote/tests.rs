//! Quotes as the owner sees them, at 80 columns.

mod compared;

use baywright_proto::v1::{Grades, Quote, QuoteAsked, QuotePrinted, QuotedStage};
use proptest::prelude::*;

use super::*;
use crate::render::PAGE_COLUMNS;
use crate::render::fixture::quote as fixture;
use crate::render::text::width;

fn figures_of(quote: &Quote, remarks: &[String]) -> String {
    let addition = quote.line.as_ref().is_some_and(|line| line.addition);
    let sheet = Sheet {
        asked: quote.asked.as_ref().unwrap(),
        printed: quote.printed.as_ref().unwrap(),
        zone: &quote.zone,
        addition_to: addition.then_some("131"),
        remarks,
    };
    figures(&sheet, PAGE_COLUMNS)
}

fn narrow(text: &str) {
    for line in text.lines() {
        assert!(width(line) <= PAGE_COLUMNS, "{line:?} in {text}");
    }
}

#[test]
fn a_quote_from_many_jobs() {
    let remarks = ["Never on leather (seat): decon, iron-remover.".to_owned()];
    let text = figures_of(&fixture::open(), &remarks);
    narrow(&text);
    insta::assert_snapshot!(text, @"
    That will be EUR 557.19 with 23 % tax, EUR 453.00 without, and holds until Fri
    25 Dec 2026.

    asked       soil 4, intricacy 5; defects not graded, taken as 3; class trike;
                without mask
    hands-on    half of such jobs 7:29, four in five of such jobs 9:01
    bay time    half of such jobs 9:38, four in five 11:12; 2:25 of it waiting
    learned     from 14 jobs of this type, 63 in all
                ranges are widened by 15 %: past jobs left them too often
    cost        on average EUR 339.04, half 331.18, four in five 386.20
    price       EUR 453.00 without tax meets the target margin of 25 % on average
                if it takes as long as four in five, the margin is 15 %
                the list price is EUR 490.00, EUR 37.00 more
    worked out  from 20,000 simulated jobs, seed 20261125, records up to event 4812;
                its four in five is good to 0:01

    Labour by stage, hours:minutes
                                   four
    stage      allowance  half  in five  quoted  records
    ---------  ---------  ----  -------  ------  -------
    intake          0:20  0:19     0:25    0:19       14
    prewash         0:40  0:44     0:58    0:45       14
    decon           1:05  1:21     1:50    1:24       13
    dry             0:55  0:52     1:07    0:52       14
    polish          2:00  1:58     2:41    2:02       14
    coat            1:10  1:16     1:38    1:17       14
    inspect         0:20  0:22     0:31    0:22       12
    hand-over       0:30  0:28     0:38    0:28       14
    ---------  ---------  ----  -------  ------  -------
    all             7:00  7:29     9:01    7:29
    Quoted is what the job is held against. It adds up to the half of the whole, as
    the half and four in five of single stages do not.

    Chemicals, as concentrate
                                                four   cost
    product           unit  allowance  half  in five    EUR  records
    ----------------  ----  ---------  ----  -------  -----  -------
    alkaline-cleaner  ml           36  38.4     52.1   0.47        9
    iron-remover      ml          410   486      655  11.91       11
    coating-3y        ml           18  17.2     21.6  24.08       14
    clay-bar          each        0.5   0.5        1      -        3
    No price in the catalogue, so no cost here: clay-bar.

    Money of such a job on average, without tax
                                  % of
    what                    EUR  price
    -------------------  ------  -----
    labour               183.30     40
    materials             36.46      8
    supplies (standard)   15.10      3
    overhead             104.18     23
    -------------------  ------  -----
    cost                 339.04     75
    margin               113.96     25
    -------------------  ------  -----
    price                453.00    100

    Earlier jobs most like it
                                                   de-  intri-  hands-on
       job  vehicle                        soil  fects    cacy     h:min  released
    ------  -----------------------------  ----  -----  ------  --------  ----------
       118  black three-wheeler               4      3       5      7:52  2026-11-04
        97  black three-wheeler               4      2       4      7:11  2026-09-22
    import  三輪トラック Škoda-Anhänger       -      -       -      8:30  2026-01-29
            with a very long name indeed

    Before you promise
    ! Never on leather (seat): decon, iron-remover.
    ");
}

#[test]
fn a_quote_for_a_vehicle_nobody_has_seen_is_from_and_to() {
    let text = figures_of(&fixture::unseen(), &[]);
    narrow(&text);
    let head: Vec<&str> = text.lines().take(6).collect();
    insta::assert_snapshot!(head.join("\n"), @"
    That will be between EUR 412.00 and EUR 619.00 (EUR 506.76 and EUR 761.37 with
    23 % tax), subject to inspection, and holds until Fri 25 Dec 2026.

    asked       nothing graded: soil, defects and intricacy taken as 3; nobody of
                the shop has seen it; class trike; without mask
    hands-on    half of such jobs 7:29, four in five of such jobs 9:01
    ");
}

#[test]
fn an_addition_is_on_top_of_its_job() {
    let text = figures_of(&fixture::addition(), &[]);
    narrow(&text);
    insta::assert_snapshot!(text, @"
    On top of job 131 that will be EUR 131.61 with 23 % tax, EUR 107.00 without, and
    holds until Fri 25 Dec 2026.

    asked       soil 4, intricacy 5; defects not graded, taken as 3; class trike;
                with polish
    hands-on    half of such jobs 1:58, four in five of such jobs 2:41
    bay time    half of such jobs 1:58, four in five 2:41
    learned     trade guess, not your shop: no job of this type is on record, 63 of
                other types
    cost        on average EUR 80.15, half 77.90, four in five 104.20
    price       EUR 107.00 without tax meets the target margin of 25 % on average
                if it takes as long as four in five, the margin is 3 %
    worked out  from 20,000 simulated jobs, seed 20261125, records up to event 4812;
                its four in five is good to 0:01

    Labour by stage, hours:minutes
                                four
    stage   allowance  half  in five  quoted  records
    ------  ---------  ----  -------  ------  -------
    polish       2:00  1:58     2:41    1:58        0

    Money of such a job on average, without tax
                                  % of
    what                    EUR  price
    -------------------  ------  -----
    labour                48.20     45
    supplies (standard)    4.50      4
    overhead              27.45     26
    -------------------  ------  -----
    cost                  80.15     75
    margin                26.85     25
    -------------------  ------  -----
    price                107.00    100
    ");
}

#[test]
fn an_open_quote_is_shown_with_its_state() {
    let text = quote(&fixture::open(), &[], PAGE_COLUMNS);
    let head: Vec<&str> = text.lines().take(6).collect();
    insta::assert_snapshot!(head.join("\n"), @"
    Quote 12, trike-coat: red three-wheeler, folding roof, for M. Oliveira
    (invented)
    Open, made on Wed 25 Nov 2026 10:20.

    That will be EUR 557.19 with 23 % tax, EUR 453.00 without, and holds until Fri
    25 Dec 2026.
    ");
}

#[test]
fn how_much_is_the_shops_own_is_said_in_each_case() {
    let with = |trade_guess, from_jobs, from_jobs_all| {
        fields::learned(&QuotePrinted {
            trade_guess,
            from_jobs,
            from_jobs_all,
            ..QuotePrinted::default()
        })
    };
    let said = [
        with(true, 0, 0),
        with(true, 0, 1),
        with(false, 1, 1),
        with(false, 3, 17),
        with(false, 120, 2_000),
    ];
    insta::assert_snapshot!(said.join("\n"), @"
    trade guess, not your shop: no job is on record yet
    trade guess, not your shop: no job of this type is on record, 1 of other types
    from 1 job of this type: few, so the range is wide
    from 3 jobs of this type, 17 in all: few, so the range is wide
    from 120 jobs of this type, 2000 in all
    ");
    let widened = |widen_milli| {
        fields::widened(&QuotePrinted {
            widen_milli,
            ..QuotePrinted::default()
        })
    };
    assert_eq!(widened(0), None);
    assert_eq!(widened(1_000), None);
    assert_eq!(widened(1_005), None);
    assert!(widened(1_150).unwrap().contains("widened by 15 %"));
    assert!(widened(870).unwrap().contains("narrowed by 13 %"));
}

#[test]
fn without_rates_there_is_no_price_and_it_says_why() {
    let printed = QuotePrinted {
        stages: fixture::printed().stages,
        hands_on_half_us: fixture::printed().hands_on_half_us,
        hands_on_p80_us: fixture::printed().hands_on_p80_us,
        currency: "EUR".to_owned(),
        list_minor: 49_000,
        trade_guess: true,
        ..QuotePrinted::default()
    };
    let quote = Quote {
        printed: Some(printed.clone()),
        ..fixture::open()
    };
    let text = figures_of(&quote, &[]);
    assert!(text.starts_with(
        "No price: the catalogue has no rates, so nobody knows what the hours cost. Its"
    ));
    assert!(
        text.contains("EUR 490.00") && !text.contains("% of"),
        "{text}"
    );
    let steps = next_steps(12, &fixture::asked(), &printed);
    assert!(steps.contains("accept 12 --price PRICE"), "{steps}");
}

#[test]
fn a_price_without_labour_in_it_is_no_price() {
    let printed = QuotePrinted {
        labour_minor: 0,
        ..fixture::printed()
    };
    let quote = Quote {
        printed: Some(printed.clone()),
        ..fixture::open()
    };
    let text = figures_of(&quote, &[]);
    assert!(
        text.starts_with("No price: the catalogue has no rates"),
        "{text}"
    );
    assert!(!text.contains("453.00"), "{text}");
    let page = crate::page::quote::page(&quote, None);
    assert!(
        page.contains("The price follows.") && !page.contains("557.19"),
        "{page}"
    );
    // Where there are no hours there is nothing to cost.
    assert!(is_priced(&QuotePrinted {
        hands_on_half_us: 0,
        ..printed
    }));
}

#[test]
fn what_limits_a_quote_comes_before_the_nevers_and_a_dozen_nevers_are_cut() {
    let nevers = (1..=7).map(|n| format!("Never on finish-{n} (panel): decon."));
    let mut remarks: Vec<String> = nevers.collect();
    remarks.push("No price is on record for clay.".to_owned());
    let text = super::remarks(&remarks, PAGE_COLUMNS);
    insta::assert_snapshot!(text, @"

    Before you promise
    ! No price is on record for clay.
    ! Never on finish-1 (panel): decon.
    ! Never on finish-2 (panel): decon.
    ! Never on finish-3 (panel): decon.
    ! Never on finish-4 (panel): decon.
    ! Never on finish-5 (panel): decon.
    ! 2 more finishes with a never, said when the vehicle comes in.
    ");
    assert_eq!(super::remarks(&[], PAGE_COLUMNS), "");
}

#[test]
fn what_is_no_margin_is_called_a_contribution() {
    let quote = Quote {
        printed: Some(QuotePrinted {
            margin: false,
            ..fixture::printed()
        }),
        ..fixture::open()
    };
    let text = figures_of(&quote, &[]).replace('\n', " ");
    assert!(text.contains("contribution of 25 %"), "{text}");
    assert!(text.contains("not a margin."), "{text}");
    assert_eq!(text.matches("margin").count(), 1, "{text}");
}

#[test]
fn a_revision_says_what_moved() {
    let before = fixture::open();
    let mut now = fixture::unseen();
    if let (Some(asked), Some(printed)) = (&mut now.asked, &mut now.printed) {
        asked.grades = Some(Grades {
            soil: 5,
            defects: 2,
            intricacy: 5,
        });
        asked.without_stages = vec!["polish".to_owned()];
        printed.stages.retain(|stage| stage.stage != "polish");
        printed.hands_on_half_us -= 122 * 60_000_000;
        printed.cost_minor -= 8_015;
        printed.price_minor -= 10_700;
    }
    let sheet = Sheet {
        asked: now.asked.as_ref().unwrap(),
        printed: now.printed.as_ref().unwrap(),
        zone: &now.zone,
        addition_to: None,
        remarks: &[],
    };
    let was = (
        before.asked.as_ref().unwrap(),
        before.printed.as_ref().unwrap(),
    );
    let text = revised(12, was, &sheet, PAGE_COLUMNS);
    narrow(&text);
    insta::assert_snapshot!(text, @"
    Quote 12 again, trike-coat: red three-wheeler, folding roof, for M. Oliveira
    (invented)
    That will be between EUR 412.00 and EUR 619.00 (EUR 506.76 and EUR 761.37 with
    23 % tax), subject to inspection, and holds until Fri 25 Dec 2026.

    Changed: soil 5 (was 4); defects 2 (was not graded); without polish; not seen.

    what moved             before     now  differs
    ---------------------  ------  ------  -------
    hands-on, half, h:min    7:29    5:27    -2:02
      polish, half           1:58    none
    cost on average, EUR   339.04  258.89   -80.15
    price, EUR             453.00  346.00  -107.00
    price from, EUR          none  412.00
    price to, EUR            none  619.00
    ");
    let same = Sheet {
        asked: was.0,
        printed: was.1,
        ..sheet
    };
    let text = revised(12, was, &same, PAGE_COLUMNS);
    assert!(
        text.ends_with("Asked as before.\nNo figure moved.\n"),
        "{text}"
    );
}

#[test]
fn the_agreed_price_is_told_from_the_suggested_in_words() {
    let printed = fixture::printed();
    let said = [45_300, 43_000, 46_000, 0]
        .map(|agreed| accepted(12, agreed, &printed, ""))
        .join("\n");
    insta::assert_snapshot!(said, @"
    Quote 12 accepted: EUR 453.00 agreed, as suggested. At that price the margin is 25 % on average, and 15 % if it takes as long as four in five.
    Quote 12 accepted: EUR 430.00 agreed, a discount of EUR 23.00 (5 %) on the suggested EUR 453.00. At that price the margin is 21 % on average, and 10 % if it takes as long as four in five.
    Quote 12 accepted: EUR 460.00 agreed, EUR 7.00 (2 %) above the suggested EUR 453.00. At that price the margin is 26 % on average, and 16 % if it takes as long as four in five.
    Quote 12 accepted: EUR 0.00 agreed, a discount of EUR 453.00 (100 %) on the suggested EUR 453.00.
    ");
    let planned = accepted(0, 45_300, &QuotePrinted::default(), "2026-12-03");
    assert_eq!(
        planned,
        "Accepted: 453.00 agreed; nothing was suggested. Planned for Thu 3 Dec 2026."
    );
}

#[test]
fn next_steps_begin_with_the_inspection_where_nobody_has_seen_it() {
    let seen = fixture::open();
    let unseen = fixture::unseen();
    let steps = |quote: &Quote| {
        next_steps(
            12,
            quote.asked.as_ref().unwrap(),
            quote.printed.as_ref().unwrap(),
        )
    };
    insta::assert_snapshot!(format!("{}\n\n{}", steps(&seen), steps(&unseen)), @r#"
    bay quote show 12 --html quote-12.html        a page for the customer
    bay quote accept 12 --price 453               the customer said yes
    bay quote decline 12 --why "too dear"         the customer said no

    bay quote revise 12 --seen yes --soil 4       after the inspection, with its grades
    bay quote show 12 --html quote-12.html        a page for the customer
    bay quote accept 12 --price 453               the customer said yes
    bay quote decline 12 --why "too dear"         the customer said no
    "#);
}

#[test]
fn tax_is_rounded_once_and_its_per_cent_has_no_empty_digits() {
    let at = |tax_milli_pct| QuotePrinted {
        tax_milli_pct,
        ..QuotePrinted::default()
    };
    assert_eq!(
        with_tax(45_300, &at(23_000)),
        Some((55_719, "23".to_owned()))
    );
    // 8.25 % of 9.99 is 0.824175.
    assert_eq!(with_tax(999, &at(8_250)), Some((1_081, "8.25".to_owned())));
    // 5 % of 0.10 is half a cent.
    assert_eq!(tax(10, &at(5_000)), Some(1));
    assert_eq!(with_tax(999, &at(0)), None);
}

#[test]
fn shares_are_whole_per_cents_with_their_sign() {
    assert_eq!(percent(147), "15");
    assert_eq!(percent(-31), "-3");
    assert_eq!(percent(-4), "0");
    assert_eq!(share(250, 1_000), "25");
    assert_eq!(share(250, 0), "");
    assert_eq!(share(i64::MAX, 1), "");
}

#[test]
fn no_print_gives_a_dose_or_calls_anything_safe() {
    for quote_of in [
        fixture::open(),
        fixture::unseen(),
        fixture::done(),
        fixture::addition(),
    ] {
        let text = quote(&quote_of, &[], PAGE_COLUMNS).to_lowercase();
        assert!(!text.contains("safe") && !text.contains("dose"), "{text}");
    }
}

proptest! {
    #[test]
    fn no_quote_is_wider_than_the_page(
        words in "\\PC{0,90}",
        spans in proptest::array::uniform5(any::<i64>()),
        minors in proptest::array::uniform5(any::<i64>()),
        permille in any::<i32>(),
        amount in any::<f64>(),
        page in 40usize..120,
    ) {
        let mut quote_of = fixture::done();
        let asked = QuoteAsked {
            job_type: words.clone(),
            vehicle: words.clone(),
            customer: words.clone(),
            without_stages: vec![words.clone(); 3],
            unseen: true,
            ..QuoteAsked::default()
        };
        let mut printed = fixture::printed();
        printed.stages.push(QuotedStage {
            stage: words.clone(),
            allowance_us: spans[0],
            half_us: spans[1],
            p80_us: spans[2],
            quoted_us: spans[3],
            n: u32::MAX,
        });
        printed.products[0].product.clone_from(&words);
        printed.products[0].half = amount;
        printed.likes[0].vehicle.clone_from(&words);
        printed.hands_on_half_us = spans[3];
        printed.hands_on_p80_us = spans[4];
        printed.bay_half_us = spans[0];
        printed.cost_minor = minors[0];
        printed.price_minor = minors[1];
        printed.price_from_minor = minors[2];
        printed.price_to_minor = minors[3];
        printed.list_minor = minors[4];
        printed.margin_p80_permille = permille;
        printed.target_margin_permille = permille;
        quote_of.asked = Some(asked);
        quote_of.printed = Some(printed);
        quote_of.actual_products[0].used = amount;
        let remarks = [words];
        let mut text = quote(&quote_of, &remarks, page);
        text.push_str(&compare(&[fixture::open(), quote_of.clone()], page));
        let before = fixture::open();
        let was = (before.asked.as_ref().unwrap(), before.printed.as_ref().unwrap());
        let sheet = Sheet {
            asked: quote_of.asked.as_ref().unwrap(),
            printed: quote_of.printed.as_ref().unwrap(),
            zone: "UTC",
            addition_to: None,
            remarks: &remarks,
        };
        text.push_str(&revised(12, was, &sheet, page));
        let mut lines = fixture::list();
        lines.quotes[0].vehicle.clone_from(&remarks[0]);
        lines.quotes[0].price_minor = minors[0];
        text.push_str(&list(&lines, Which::default(), page));
        for line in text.lines() {
            prop_assert!(width(line) <= page, "{:?}", line);
        }
    }
}
