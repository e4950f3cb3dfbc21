//! What was learned, how quotes held, and one type, as they are printed.

use baywright_proto::v1::{Ahead, Honesty, HonestyResponse, LearnedResponse, Week};

use super::super::{ahead, fixture, honesty, job_type, learned, look_again, text, won};

fn fits(text: &str, page: usize) {
    for line in text.lines() {
        assert!(text::width(line) <= page, "{line:?} on {page}");
    }
}

#[test]
fn all_types_in_short() {
    let shown = learned::learned(&fixture::learned(), None, 80);
    fits(&shown, 80);
    insta::assert_snapshot!(shown, @"
    Learned from 41 jobs, 12 of them imported, up to event 4812.

    Labour of a job as it usually comes in, hours:minutes
                                       costs    list
    job type      jobs  half  4 in 5     EUR     EUR  says
    ------------  ----  ----  ------  ------  ------  ----------------
    trike-coat      23  9:10   10:50  412.50  480.00  2 allowances off
    tractor-wash     0  5:00    7:00  199.00  290.00  trade guess
    Half of such jobs take no more than the first time, four in five no more than
    the second.

    Allowances that the records no longer bear out
                        allow-
    job type    stage     ance  half        range  from  drift
    ----------  ------  ------  ----  -----------  ----  -----------------
    trike-coat  decon     1:00  1:15  1:08 - 1:22    22  steady
    trike-coat  polish    2:30  2:35  2:26 - 2:45    23  +12 % (+3 to +22)

    Prices to look at again
    trike-coat: EUR 480.00 leaves 14 % of a target of 25 %, as such a job costs
      EUR 412.50 on average. With a probability of 97 % it is below its target. EUR
      550.00 would meet it on average, EUR 572.00 with four in five certainty. From
      23 jobs.
    Discounts are no part of it, and no price changes by itself. What it rests on:
    bay learned TYPE.

    What a grade does to the time
                                                       trade
    one grade more of  acts on     times        range  guess
    -----------------  ----------  -----  -----------  -----
    soil               cleaning     1.21  1.14 - 1.28   1.20
    defects            correction   1.34  1.20 - 1.49   1.32
    intricacy          all stages   1.19  1.13 - 1.25   1.16

    How far apart they lie, two in three
    From one vehicle to the next: 13 % less to 15 % more.
    Stages, against their allowances: 7 % less to 8 % more.
    A stage from one job type to the next: 11 % less to 12 % more.
    From one person to the next: no difference that could be told.
    One record to the next, all else alike: 15 % less to 18 % more.
    Left out one at a time, jobs did not fall where they were promised: ranges are
    widened by 12 %.

    What to know of it
    3 unclosed stages were left out; bay settle brings them in.

    bay learned TYPE shows every stage and product of a type; bay learned --honesty
    how quotes held.
    ");
}

#[test]
fn one_type_with_every_stage_and_product() {
    let shown = learned::learned(&fixture::learned(), Some("trike-coat"), 80);
    fits(&shown, 80);
    insta::assert_snapshot!(shown, @"
    Learned from 41 jobs, 12 of them imported, up to event 4812.

    trike-coat, Three-wheeler: polish and coating
    From 23 jobs. Half of such jobs take no more than 9:10, four in five no more
    than 10:50. One costs EUR 412.50 on average; its list price is EUR 480.00.

    Stages of a vehicle of grade 3, hours:minutes
              allow- given by
    stage       ance a person half       range from drift             says
    --------- ------ -------- ---- ----------- ---- ----------------- --------------
    decon       1:00     1:00 1:15 1:08 - 1:22   22 steady            worth applying
    polish      2:30     2:20 2:35 2:26 - 2:45   23 +12 % (+3 to +22)
    coat-trim   0:30     0:30 0:31 0:20 - 0:48    0                   trade guess
    Range: four in five such ranges hold the half. From: records of the stage on
    this type.

    Products, of concentrate
                          allow-
    product         unit    ance  half      range  from  says
    --------------  ----  ------  ----  ---------  ----  --------------
    iron-remover    ml       410   640  590 - 700    18  worth applying
    clay-lubricant  ml        84    82    70 - 96     0  trade guess

    Prices to look at again
    trike-coat: EUR 480.00 leaves 14 % of a target of 25 %, as such a job costs
      EUR 412.50 on average. With a probability of 97 % it is below its target. EUR
      550.00 would meet it on average, EUR 572.00 with four in five certainty. From
      23 jobs.
    Discounts are no part of it, and no price changes by itself. What it rests on:
    bay learned TYPE.

    What a grade does to the time
                                                       trade
    one grade more of  acts on     times        range  guess
    -----------------  ----------  -----  -----------  -----
    soil               cleaning     1.21  1.14 - 1.28   1.20
    defects            correction   1.34  1.20 - 1.49   1.32
    intricacy          all stages   1.19  1.13 - 1.25   1.16

    How far apart they lie, two in three
    From one vehicle to the next: 13 % less to 15 % more.
    Stages, against their allowances: 7 % less to 8 % more.
    A stage from one job type to the next: 11 % less to 12 % more.
    From one person to the next: no difference that could be told.
    One record to the next, all else alike: 15 % less to 18 % more.
    Left out one at a time, jobs did not fall where they were promised: ranges are
    widened by 12 %.

    What to know of it
    3 unclosed stages were left out; bay settle brings them in.

    bay learned apply trike-coat puts them into the catalogue; bay type trike-coat
    is the type on one screen.
    ");
}

#[test]
fn a_shop_without_records_is_told_that_it_is_a_trade_guess() {
    let shown = learned::learned(&LearnedResponse::default(), None, 80);
    insta::assert_snapshot!(shown, @"
    Nothing is recorded yet: every figure is a trade guess, not your shop.

    bay learned TYPE shows every stage and product of a type; bay learned --honesty
    how quotes held.
    ");
    let unknown = learned::learned(&LearnedResponse::default(), Some("trike-coat"), 80);
    assert!(
        unknown.contains("Nothing is known of trike-coat."),
        "{unknown}"
    );
}

#[test]
fn how_quotes_held_in_words_first() {
    let mut both = fixture::honesty();
    both.retraced.clone_from(&both.printed);
    let shown = honesty::honesty(&both, 80);
    fits(&shown, 80);
    insta::assert_snapshot!(shown, @"
    How quotes held
    Of 31 quotes, 25 held four in five; 25 would be as promised. 15 took no more
    than the half; 16 would be as promised.
    Jobs took 3 % more than quoted, by the median.
    At four in five that is 65 % better than the allowance and 47 % better than the
    mean of the last five (pinball loss).
    Ranges came out too narrow, so they are widened by 12 % from now on.
                               off half 4 in 5    range loss at   loss at CRPS
    said by the           jobs   % held   held        % half, h 4 in 5, h    h
    --------------------- ---- --- ---- ------ -------- ------- --------- ----
    quote                   31  +3   15     25 63 to 93    0.61      0.42 0.83
    allowance               31 +14    9     14 63 to 93    0.94      1.21 1.31
    mean of the last five   31  +2   16     20 63 to 93    0.88      0.79 1.17

    Had every job been quoted, each from what was known before it
    Of 31 jobs, 25 held four in five; 25 would be as promised. 15 took no more than
    the half; 16 would be as promised.
    Jobs took 3 % more than quoted, by the median.
    At four in five that is 65 % better than the allowance and 47 % better than the
    mean of the last five (pinball loss).
    Ranges came out too narrow, so they are widened by 12 % from now on.
                               off half 4 in 5    range loss at   loss at CRPS
    said by the           jobs   % held   held        % half, h 4 in 5, h    h
    --------------------- ---- --- ---- ------ -------- ------- --------- ----
    quote                   31  +3   15     25 63 to 93    0.61      0.42 0.83
    allowance               31 +14    9     14 63 to 93    0.94      1.21 1.31
    mean of the last five   31  +2   16     20 63 to 93    0.88      0.79 1.17

    Off: actual labour against the half, median. Range: where the share that held
    four in five lies, 95 % (Clopper-Pearson). Losses in hours of labour, lower is
    better: pinball loss at half and at four in five, and CRPS over the whole
    distribution.
    ");
    let none = HonestyResponse {
        printed: Some(Honesty::default()),
        retraced: None,
    };
    insta::assert_snapshot!(honesty::honesty(&none, 80), @"
    No job with a quote was released yet, so nobody can say how quotes hold.
    What would have been quoted for the jobs before: bay learned --honesty
    --retrace.
    ");
}

#[test]
fn one_type_on_one_screen() {
    let (week, learned) = (fixture::week(), fixture::learned());
    let sheet = job_type::Sheet {
        code: "trike-coat",
        week: &week,
        learned: learned.types.first(),
    };
    let shown = job_type::job_type(&sheet, 80);
    fits(&shown, 80);
    insta::assert_snapshot!(shown, @"
    trike-coat, Three-wheeler: polish and coating; Mon 23 Nov 2026 to Sun 29 Nov
    2026
    2 jobs released: 9:00 of labour quoted, 12:10 worked, 2:45 of it rework. For
    each, EUR 420.00 came in and EUR 133.28 of contribution was left; an hour
    brought EUR 63.66.
    Learned: From 23 jobs. Half of such jobs take no more than 9:10, four in five no
    more than 10:50. One costs EUR 412.50 on average; its list price is EUR 480.00.
    Of 7 quotes that were decided 5 were won; 1 is open, 1 ran out undecided.
    trike-coat was lost for: too dear; sold the vehicle.

    Labour, hours:minutes
                     quoted  actual                 learned
    stage      jobs    mean    mean   half  4 in 5     half  says
    ---------  ----  ------  ------  -----  ------  -------  --------------
    decon         0                                    1:15  allowance 1:00
    polish        0                                    2:35
    coat-trim     0                                    0:31  trade guess
    coat          0
    ---------  ----  ------  ------  -----  ------  -------  --------------
    all           1    9:00   10:35  10:35   10:35     9:10
    Half and four in five of the jobs released in this time, comebacks left out
    (Hyndman-Fan type 8). Learned half: of a vehicle of grade 3, from all records.

    Chemicals for each job, of concentrate
                                                           learned
    product       unit  jobs  allowed  mean  half  4 in 5     half
    ------------  ----  ----  -------  ----  ----  ------  -------
    iron-remover  ml       1      250   700   672     756      640
    ceramic-base  ml       2       30  30.8  29.5    33.2
    clay-mitt     each     2        0  0.75  0.72    0.81
    shampoo       ml       2       20  22.4  21.5    24.2
    glass-polish  g        2       10    10   9.6    10.8
    panel-wipe    ml       0       55

    bay learned trike-coat says how sure it is. bay learned apply trike-coat puts
    the learned halves into the catalogue.
    ");
    let empty = Week::default();
    let sheet = job_type::Sheet {
        code: "boat-coat",
        week: &empty,
        learned: None,
    };
    let shown = job_type::job_type(&sheet, 80);
    assert!(
        shown.contains("No job of it was released in this time."),
        "{shown}"
    );
}

#[test]
fn no_screen_is_wider_than_its_page_and_nothing_of_nothing_is_shown() {
    let week = fixture::week();
    let two_weeks = week.ahead.clone().unwrap_or_default();
    let all = fixture::learned();
    for page in [40, 64, 80, 110] {
        fits(&learned::learned(&all, None, page), page);
        fits(&learned::learned(&all, Some("trike-coat"), page), page);
        fits(&honesty::honesty(&fixture::honesty(), page), page);
        fits(&won::won(&week.quotes, "EUR", page), page);
        fits(&ahead::ahead(&two_weeks, page), page);
        fits(&look_again::look_again(&week.look_again, "EUR", page), page);
        let sheet = job_type::Sheet {
            code: "trike-coat",
            week: &week,
            learned: all.types.first(),
        };
        fits(&job_type::job_type(&sheet, page), page);
    }
    assert_eq!(won::won(&[], "EUR", 80), "");
    assert_eq!(ahead::ahead(&Ahead::default(), 80), "");
    assert_eq!(look_again::look_again(&[], "EUR", 80), "");
}

#[test]
fn a_promise_that_does_not_fit_says_by_how_much() {
    let mut two_weeks = fixture::week().ahead.unwrap_or_default();
    two_weeks.weeks[0].worker_open_us = 10 * 3_600_000_000;
    two_weeks.weeks[0].bay_open_us = 0;
    two_weeks.weeks[1].promised_half_us = 0;
    two_weeks.weeks[1].promised_p80_us = 0;
    let said = ahead::sentences(&two_weeks)[..2].join("\n");
    insta::assert_snapshot!(said, @"
    2026-W48: 11:00 of labour promised, 10:00 open: 1:00 too much. In the bays 16:00 of 0:00: no open hours are left.
    2026-W49: nothing is promised.
    ");
}
