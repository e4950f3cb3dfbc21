//! The owner's pages as the owner sees them, at 80 columns.

use baywright_proto::v1::{OddResponse, Week};
use proptest::prelude::*;

use super::text::width;
use super::{PAGE_COLUMNS, fixture, job, settle, week};

#[test]
fn the_week_of_a_busy_shop() {
    insta::assert_snapshot!(week::week(&fixture::week(), PAGE_COLUMNS), @"
    Lindenhof Fahrzeugpflege (invented), week 2026-W48
    Mon 23 Nov to Sun 29 Nov 2026, Europe/Berlin time
    As of Fri 27 Nov 17:00, event 4812. The week is still running.

    Bay time, hours:minutes
           jobs                    hands-                         outside  in use
    bay     out    open  occupied      on  waiting   idle  empty    hours       %
    -----  ----  ------  --------  ------  -------  -----  -----  -------  ------
    bay-1     3   43:20     43:22   31:20     6:52   5:10   2:08     2:10      95
    bay-2     1   42:23     42:23   15:50    21:00   5:33   0:00     0:00     100
    bay-3     0   43:20      0:00    0:00     0:00   0:00  43:20     0:00       0
    -----  ----  ------  --------  ------  -------  -----  -----  -------  ------
    all       4  129:03     85:45   47:10    27:52  10:43  45:28     2:10      65
    hands-on + waiting + idle = occupied; occupied + empty = open + outside hours.
    Labour, each person's time: bay-1 47:50, bay-2 23:24.

    Labour by job type, hours:minutes (quoted = the catalogue's allowance)
    job type           jobs  quoted  actual  differs    %
    -----------------  ----  ------  ------  -------  ---
    tractor-wash          1    5:00    4:05    -0:55  -18
      most in decon       1    2:00    1:20    -0:40  -33
    trike-coat            2   18:00   12:10    -5:50  -32
      most in coat        1    4:00    1:30    -2:30  -63
    unsorted              1    none    0:55
      most in prewash     1    none    0:55
    -----------------  ----  ------  ------  -------  ---
    all                   4   23:00   17:10    -6:45  -29
    Differences leave out 0:55 of labour without an allowance.

    Jobs released, labour in hours:minutes
    job   out     job type      vehicle                      quoted  actual  differs
    ----  ------  ------------  ---------------------------  ------  ------  -------
    118   Wed 25  trike-coat    red three-wheeler, folding     9:00   10:35    +1:35
                                roof
          of it 1:10 rework, 0:40 unclosed
    121   Wed 25  tractor-wash  the green one of the           5:00    4:05    -0:55
                                Hollerbach farm, cab and
                                loader
          of it 0:30 declared
    b2-7  Wed 25  unsorted      三輪トラック Škoda-Anhänger    none    0:55
    123   Wed 25  trike-coat    black three-wheeler            9:00    1:35    -7:25
          puts job 97 right
          of it 1:35 rework
    Unclosed: nobody ended the stage, so it was cut at closing. Declared: stated at
    release, not recorded.

    Chemicals on released jobs against the allowance, as concentrate
                                   used  allowance
    job type      product       per job    per job  unit    %  from
    ------------  ------------  -------  ---------  ----  ---  -----------
    tractor-wash  iron-remover      250        300  ml    -17  1 job
    trike-coat    iron-remover      350        250  ml    +40  1 of 2 jobs
                  ceramic-base     30.8         30  ml     +2  2 jobs
        and 1 record without a usable amount
                  clay-mitt        0.75       none  each       2 jobs
      trike-coat, no record of: panel-wipe, shampoo.
    On no job this week: glass-cleaner 40 ml.
    Mixed and dumped this week: iron-remover 125 ml.

    2 records to settle
    event 4711, Tue 24 Nov 15:05, bay-1, job 118
      The stage polish on job 118 was never ended; it was cut at closing, 17:30.
      > bay settle 4711 --end 17:20
    event 4790, Tue 24 Nov 15:05, bay-1, job 118
      No product `iron-remvoer` in the catalogue. Nearest: iron-remover.
      > bay settle 4790 --code iron-remover
    ");
}

#[test]
fn a_week_in_which_nothing_was_released() {
    let quiet = Week {
        jobs: Vec::new(),
        types: Vec::new(),
        chemicals: Vec::new(),
        odd: Vec::new(),
        ..fixture::week()
    };
    insta::assert_snapshot!(week::week(&quiet, PAGE_COLUMNS), @"
    Lindenhof Fahrzeugpflege (invented), week 2026-W48
    Mon 23 Nov to Sun 29 Nov 2026, Europe/Berlin time
    As of Fri 27 Nov 17:00, event 4812. The week is still running.

    Bay time, hours:minutes
           jobs                    hands-                         outside  in use
    bay     out    open  occupied      on  waiting   idle  empty    hours       %
    -----  ----  ------  --------  ------  -------  -----  -----  -------  ------
    bay-1     3   43:20     43:22   31:20     6:52   5:10   2:08     2:10      95
    bay-2     1   42:23     42:23   15:50    21:00   5:33   0:00     0:00     100
    bay-3     0   43:20      0:00    0:00     0:00   0:00  43:20     0:00       0
    -----  ----  ------  --------  ------  -------  -----  -----  -------  ------
    all       4  129:03     85:45   47:10    27:52  10:43  45:28     2:10      65
    hands-on + waiting + idle = occupied; occupied + empty = open + outside hours.
    Labour, each person's time: bay-1 47:50, bay-2 23:24.

    No job was released in 2026-W48.
    ");
}

#[test]
fn an_empty_log() {
    let empty = Week {
        week: "2026-W48".to_owned(),
        zone: "UTC".to_owned(),
        from_us: fixture::week().from_us + 60 * fixture::MIN,
        until_us: fixture::week().until_us + 60 * fixture::MIN,
        ..Week::default()
    };
    insta::assert_snapshot!(week::week(&empty, PAGE_COLUMNS), @"
    week 2026-W48
    Mon 23 Nov to Sun 29 Nov 2026, UTC time
    The log is empty: nothing has been posted yet.
    ");
}

#[test]
fn the_story_of_a_job() {
    insta::assert_snapshot!(job::story(&fixture::story(), PAGE_COLUMNS), @"
    Job 118 (opened as b2-7), trike-coat: red three-wheeler, folding roof
    opened    Mon 23 Nov 2026 08:10, Europe/Berlin time
    released  Wed 25 Nov 2026 16:40, 2 d 8 h after opening
    labour    quoted 9:00 (catalogue allowance), actual 10:35, 1:35 more (+18 %)
              of it 1:10 rework, 0:40 unclosed
    as of     event 4812

    Labour by stage, hours:minutes
    stage       quoted  actual  differs    %
    ----------  ------  ------  -------  ---
    prewash       0:30    0:35    +0:05  +17
    polish        3:00    4:50    +1:50  +61
    headlights    none    0:25
    No record, though allowed: mask 0:30, dry 0:55.

    Where it was, hours:minutes
    place    from              until             hands-on  waiting   idle
    -------  ----------------  ----------------  --------  -------  -----
    bay-1    Mon 23 Nov 08:11  Mon 23 Nov 17:30      5:00     2:00   2:19
    holding  Mon 23 Nov 17:30  still there           0:00     0:00  15:00

    Products, as concentrate
    product       used  allowance  unit     %  events
    ------------  ----  ---------  ----  ----  ---------
    iron-remover   700        250  ml    +180  4510 4511
    No record, though allowed: panel-wipe 110 ml.

    What happened
    Mon 23 Nov 2026
      4501  08:10  Opened as trike-coat, red three-wheeler, folding roof, by ana.
                   [bay-1]
      4502  08:11  Moved to bay-1, by ana.
      4503  08:15  Started prewash, by ana and ben. (3 cautions)
                   ! ben was on polish on job 117 until now; that stage is ended.
      4510 ~09:00  (struck out) Used 350 mL of iron-remover, by ana.
    Tue 24 Nov 2026
      4620  08:00  Note: the clear coat on the left mudguard is thin from an older
                   correction; polished with the soft pad only, two passes, by ana.
    Wed 25 Nov 2026
      4700  16:40  Released.
    ~ before a time: the clock of the bay could not be checked then.

    Odd records
    event 4620, Tue 24 Nov 15:05, bay-1, job 118
      The stage polish was never ended; it was cut at closing, 17:30.
      > bay settle 4620 --end 17:20
    ");
}

#[test]
fn records_to_settle() {
    let response = OddResponse {
        odd: vec![baywright_proto::v1::OddRecord {
            changes_us: 145 * fixture::MIN,
            ..fixture::odd(
                4711,
                "The stage polish on job 118 was never ended; it was cut at closing, 17:30.",
                "bay settle 4711 --end 17:20",
            )
        }],
        zone: "Europe/Berlin".to_owned(),
    };
    insta::assert_snapshot!(settle::list(&response, PAGE_COLUMNS), @"
    1 record to settle.

    event 4711, Tue 24 Nov 2026 15:05, bay-1, job 118
      The stage polish on job 118 was never ended; it was cut at closing, 17:30.
      2:25 of polish is counted until it is answered.
      > bay settle 4711 --end 17:20
    ");
    insta::assert_snapshot!(settle::list(&OddResponse::default(), PAGE_COLUMNS), @"Nothing to settle.");
}

proptest! {
    #[test]
    fn no_line_of_a_page_is_wider_than_80_columns(
        words in "\\PC{0,90}",
        name in any::<String>(),
        us in any::<i64>(),
        number in any::<u64>(),
        count in any::<u32>(),
        value in any::<f64>(),
    ) {
        let mut wild = fixture::week();
        wild.shop.clone_from(&name);
        for bay in &mut wild.bays {
            bay.bay.clone_from(&words);
            bay.hands_on_us = us;
            bay.jobs_released = count;
        }
        for row in &mut wild.jobs {
            row.vehicle.clone_from(&name);
            row.job_type.clone_from(&words);
            row.number = number;
            row.actual_us = us;
            row.rework_us = us;
        }
        for row in &mut wild.types {
            row.job_type.clone_from(&name);
            row.actual_us = us;
        }
        for row in &mut wild.chemicals {
            row.product.clone_from(&words);
            row.used = value;
            row.jobs_with_use = count;
        }
        for row in &mut wild.odd {
            row.text.clone_from(&name);
            row.settle_with.clone_from(&words);
        }
        wild.remark.clone_from(&words);
        let mut story = fixture::story();
        story.job = wild.jobs.first().cloned();
        for line in &mut story.lines {
            line.text.clone_from(&name);
            line.by.push(words.clone());
            line.notices.push(words.clone());
            line.seq = number;
            line.occurred_us = us;
        }
        for stay in &mut story.places {
            stay.place.clone_from(&words);
            stay.waiting_us = us;
        }
        for product in &mut story.uses {
            product.product.clone_from(&name);
            product.allowance = value;
            product.seqs = vec![number; 40];
        }
        story.odd.clone_from(&wild.odd);
        for page in [week::week(&wild, PAGE_COLUMNS), job::story(&story, PAGE_COLUMNS)] {
            for line in page.lines() {
                prop_assert!(width(line) <= PAGE_COLUMNS, "{} columns: {line:?}", width(line));
                prop_assert!(!line.chars().any(char::is_control), "{line:?}");
            }
        }
    }
}

#[test]
fn no_digit_of_a_number_is_lost_however_tight_the_page() {
    let shown = week::week(&fixture::week(), 40);
    for figure in ["31:20", "6:52", "47:50", "+1:35", "10:35", "350"] {
        assert!(shown.contains(figure), "{figure} in {shown}");
    }
    assert!(shown.lines().all(|line| width(line) <= 40), "{shown}");
}
