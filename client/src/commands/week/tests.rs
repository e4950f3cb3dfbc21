use super::*;
use crate::render::fixture;

#[test]
fn a_bad_week_is_a_usage_error_that_says_what_to_write() {
    for typed in ["48", "2026-48", "2026-W54", "W48", "2025-W53"] {
        let error = read_week(typed).unwrap_err();
        assert_eq!(error.kind(), crate::error::Kind::Usage, "{typed}");
        assert!(error.hint().is_some(), "{typed}");
    }
    assert_eq!(read_week("2026-w48").unwrap(), "2026-W48");
}

#[test]
fn a_bad_flag_is_a_usage_error_that_says_what_to_write() {
    let with = |change: fn(&mut WeekArgs)| {
        let mut args = WeekArgs::default();
        change(&mut args);
        let error = request(&args).unwrap_err();
        assert_eq!(error.kind(), crate::error::Kind::Usage, "{error}");
        format!("{error} {}\n", error.hint().unwrap_or_default())
    };
    let said = [
        with(|args| args.from = Some("1.11.2026".to_owned())),
        with(|args| args.to = Some("2026-02-30".to_owned())),
        with(|args| {
            args.from = Some("2026-11-30".to_owned());
            args.to = Some("2026-11-01".to_owned());
        }),
        with(|args| args.weeks = Some("0".to_owned())),
        with(|args| args.weeks = Some("twelve".to_owned())),
        with(|args| args.weeks = Some("107".to_owned())),
    ];
    insta::assert_snapshot!(said.concat(), @"
    `1.11.2026` is not a date. Write year, month and day: 2026-11-01
    `2026-02-30` is not a date. Write year, month and day: 2026-11-01
    2026-11-30 to 2026-11-01 ends before it begins. Give the earlier date to --from and the later one to --to.
    `0` is not a number of weeks. Write 1 to 106: --weeks 12
    `twelve` is not a number of weeks. Write 1 to 106: --weeks 12
    `107` is not a number of weeks. Write 1 to 106: --weeks 12
    ");
}

#[test]
fn only_one_worker_is_asked_about_and_nothing_beside() {
    let two = ["ana".to_owned(), "ben".to_owned()];
    let args = WeekArgs::default();
    assert!(worker(&two, &args).is_err());
    assert_eq!(worker(&[], &args).unwrap(), None);
    assert_eq!(worker(&two[..1], &args).unwrap().as_deref(), Some("ana"));
    let args = WeekArgs {
        stages: true,
        ..args
    };
    assert!(worker(&two[..1], &args).is_err());
}

#[test]
fn a_row_is_named_by_its_id_and_a_job_by_its_number() {
    assert_eq!(read_id("F2").unwrap(), "f2");
    assert_eq!(read_id("118").unwrap(), "j118");
    assert_eq!(read_id("#118").unwrap(), "j118");
    assert_eq!(read_id("t2.1").unwrap(), "t2.1");
    assert!(read_id(" ").is_err());
}

#[test]
fn the_foot_repeats_the_command_line_of_the_span() {
    let args = WeekArgs {
        from: Some("2026-11-01".to_owned()),
        as_of: Some(4812),
        ..WeekArgs::default()
    };
    let asked = request(&args).unwrap();
    assert_eq!(command(&asked), "bay week --from 2026-11-01 --as-of 4812");
    let args = WeekArgs {
        week: Some("2026-w48".to_owned()),
        weeks: Some("12".to_owned()),
        ..WeekArgs::default()
    };
    let asked = request(&args).unwrap();
    assert_eq!((asked.weeks, asked.history_weeks), (12, 12));
    assert_eq!(command(&asked), "bay week 2026-W48 --weeks 12");
}

#[test]
fn the_names_in_the_json_of_a_row_and_of_ones_own_hours_are_part_of_the_contract() {
    let why = why_outcome(&fixture::why(), 80).json;
    insta::assert_snapshot!(fixture::key_paths(&why).join("\n"), @"
    why.currency
    why.formula
    why.id
    why.lines[].amount
    why.lines[].from_us
    why.lines[].handle
    why.lines[].job_number
    why.lines[].money_minor
    why.lines[].product
    why.lines[].seqs[]
    why.lines[].stage
    why.lines[].text
    why.lines[].time_us
    why.title
    why.total_amount
    why.total_minor
    why.total_us
    why.unit
    why.zone
    ");
    let own = own_outcome(&fixture::own(), 80).json;
    insta::assert_snapshot!(fixture::key_paths(&own).join("\n"), @"
    own.hands_on_us
    own.jobs
    own.jobs_needed
    own.name
    own.stages[].hands_on_us
    own.stages[].jobs
    own.stages[].stage
    own.week
    own.worker
    own.zone
    ");
}

#[test]
fn the_names_in_the_json_are_part_of_the_contract() {
    let json = outcome(&fixture::week(), &Shown::default(), 80).json;
    insta::assert_snapshot!(fixture::key_paths(&json).join("\n"), @"
    week.ahead.from_us
    week.ahead.jobs[].done_us
    week.ahead.jobs[].job_number
    week.ahead.jobs[].job_type
    week.ahead.jobs[].left_half_us
    week.ahead.jobs[].left_p80_us
    week.ahead.jobs[].planned_date
    week.ahead.jobs[].promised_half_us
    week.ahead.jobs[].promised_p80_us
    week.ahead.jobs[].vehicle
    week.ahead.no_day_half_us
    week.ahead.no_day_p80_us
    week.ahead.quotes_open
    week.ahead.quotes_open_half_us
    week.ahead.weeks[].bay_open_us
    week.ahead.weeks[].from_us
    week.ahead.weeks[].promised_bay_half_us
    week.ahead.weeks[].promised_bay_p80_us
    week.ahead.weeks[].promised_half_us
    week.ahead.weeks[].promised_p80_us
    week.ahead.weeks[].until_us
    week.ahead.weeks[].week
    week.ahead.weeks[].worker_open_us
    week.air_out[].bay
    week.air_out[].coated_us
    week.air_out[].job_number
    week.air_out[].panel
    week.air_out[].product
    week.air_out[].seq
    week.air_out[].why
    week.as_of_seq
    week.as_of_us
    week.bays[].bay
    week.bays[].contribution_per_hour_minor
    week.bays[].cycle
    week.bays[].cycle.half_us
    week.bays[].cycle.mean_us
    week.bays[].cycle.n
    week.bays[].cycle.p80_us
    week.bays[].cycle.p90_us
    week.bays[].empty_us
    week.bays[].flow_permille
    week.bays[].hands_on_us
    week.bays[].id
    week.bays[].idle[].idle_us
    week.bays[].idle[].reason
    week.bays[].idle_us
    week.bays[].jobs_here_mean
    week.bays[].jobs_released
    week.bays[].labour_us
    week.bays[].longest_stage
    week.bays[].longest_stage_us
    week.bays[].occupied_outside_open_us
    week.bays[].occupied_us
    week.bays[].open_us
    week.bays[].places
    week.bays[].utilisation_permille
    week.bays[].waiting_us
    week.chemicals[].allowance
    week.chemicals[].allowance_cost_minor
    week.chemicals[].apportioned
    week.chemicals[].at_allowance
    week.chemicals[].cost_mean_minor
    week.chemicals[].cost_median_minor
    week.chemicals[].cost_minor
    week.chemicals[].cost_p80_minor
    week.chemicals[].dumped
    week.chemicals[].dumped_cost_minor
    week.chemicals[].id
    week.chemicals[].job_type
    week.chemicals[].jobs
    week.chemicals[].jobs_allowed
    week.chemicals[].jobs_with_use
    week.chemicals[].mean
    week.chemicals[].median
    week.chemicals[].mixed_units
    week.chemicals[].n
    week.chemicals[].no_price
    week.chemicals[].p80
    week.chemicals[].product
    week.chemicals[].unit
    week.chemicals[].used
    week.chemicals[].uses_without_amount
    week.counted_until_us
    week.cures[].full_cure_us
    week.cures[].handle
    week.cures[].job_number
    week.cures[].panels
    week.cures[].vehicle
    week.cures[].water_safe_us
    week.currency
    week.days[].bay
    week.days[].date
    week.days[].empty_us
    week.days[].hands_on_us
    week.days[].idle_us
    week.days[].occupied_outside_open_us
    week.days[].open_us
    week.days[].waiting_us
    week.flow.cycle.half_us
    week.flow.cycle.mean_us
    week.flow.cycle.n
    week.flow.cycle.p80_us
    week.flow.cycle.p90_us
    week.flow.flow_permille
    week.flow.in_progress_mean
    week.flow.in_progress_us
    week.flow.opened
    week.flow.released
    week.flow.rework_permille
    week.flow.reworked
    week.flow.window_us
    week.from_us
    week.history[].actual_us
    week.history[].contribution_minor
    week.history[].effective_hour_minor
    week.history[].from_us
    week.history[].jobs
    week.history[].quoted_us
    week.history[].ratio_half_permille
    week.history[].ratio_p20_permille
    week.history[].ratio_p80_permille
    week.history[].revenue_minor
    week.history[].rework_us
    week.history[].utilisation_permille
    week.history[].week
    week.honesty.by_job[].actual_us
    week.honesty.by_job[].allowance_us
    week.honesty.by_job[].half_us
    week.honesty.by_job[].job_number
    week.honesty.by_job[].job_type
    week.honesty.by_job[].last_five_us
    week.honesty.by_job[].p80_us
    week.honesty.calibration[].held_high_permille
    week.honesty.calibration[].held_low_permille
    week.honesty.calibration[].held_permille
    week.honesty.calibration[].promised_permille
    week.honesty.jobs
    week.honesty.of[].bias_milli
    week.honesty.of[].crps_h
    week.honesty.of[].half_held
    week.honesty.of[].of
    week.honesty.of[].p80_held
    week.honesty.of[].p80_high_permille
    week.honesty.of[].p80_low_permille
    week.honesty.of[].pinball_half_h
    week.honesty.of[].pinball_p80_h
    week.honesty.of[].what
    week.honesty.remark
    week.honesty.widen_milli
    week.jobs[].actual_us
    week.jobs[].bay
    week.jobs[].comeback_of
    week.jobs[].cycle_us
    week.jobs[].declared_us
    week.jobs[].first_pass_us
    week.jobs[].flow_permille
    week.jobs[].handle
    week.jobs[].id
    week.jobs[].job_type
    week.jobs[].money.contribution_minor
    week.jobs[].money.effective_hour_minor
    week.jobs[].money.labour_minor
    week.jobs[].money.labour_without_rate_us
    week.jobs[].money.list_minor
    week.jobs[].money.margin
    week.jobs[].money.materials_minor
    week.jobs[].money.materials_unmeasured_minor
    week.jobs[].money.overhead_minor
    week.jobs[].money.quoted
    week.jobs[].money.quoted_contribution_minor
    week.jobs[].money.quoted_labour_minor
    week.jobs[].money.quoted_materials_minor
    week.jobs[].money.revenue_assumed
    week.jobs[].money.revenue_known
    week.jobs[].money.revenue_minor
    week.jobs[].money.supplies_minor
    week.jobs[].money.uses_without_price
    week.jobs[].no_allowance
    week.jobs[].number
    week.jobs[].occupied_us
    week.jobs[].quoted_us
    week.jobs[].released_us
    week.jobs[].rework_us
    week.jobs[].shortfalls[].amount_minor
    week.jobs[].shortfalls[].cause
    week.jobs[].shortfalls[].id
    week.jobs[].shortfalls[].labour_minor
    week.jobs[].shortfalls[].materials_minor
    week.jobs[].unclosed_us
    week.jobs[].vehicle
    week.log_from_us
    week.log_until_us
    week.look_again[].above
    week.look_again[].cost_minor
    week.look_again[].from_jobs
    week.look_again[].job_type
    week.look_again[].list_minor
    week.look_again[].margin_permille
    week.look_again[].price_minor
    week.look_again[].price_sure_minor
    week.look_again[].probability_permille
    week.look_again[].target_margin_permille
    week.money.contribution_minor
    week.money.contribution_of_quoted_minor
    week.money.effective_hour_minor
    week.money.jobs
    week.money.jobs_assumed
    week.money.jobs_priced
    week.money.jobs_quoted
    week.money.labour_minor
    week.money.labour_without_rate_us
    week.money.loose_materials_minor
    week.money.margin
    week.money.materials_minor
    week.money.materials_unmeasured_minor
    week.money.overhead_minor
    week.money.quoted_contribution_minor
    week.money.revenue_minor
    week.money.supplies_minor
    week.money.uses_without_price
    week.odd[].answers[].changes_us
    week.odd[].answers[].command
    week.odd[].answers[].proposed
    week.odd[].answers[].words
    week.odd[].bay
    week.odd[].changes_us
    week.odd[].code
    week.odd[].counted_from_us
    week.odd[].counted_until_us
    week.odd[].event_id
    week.odd[].job_number
    week.odd[].occurred_us
    week.odd[].of
    week.odd[].seq
    week.odd[].settle_with
    week.odd[].settled
    week.odd[].stage
    week.odd[].text
    week.odd[].worker
    week.quantiles
    week.quotes[].agreed_milli
    week.quotes[].job_type
    week.quotes[].lost
    week.quotes[].lost_price_mean_minor
    week.quotes[].lost_why[]
    week.quotes[].open
    week.quotes[].run_out
    week.quotes[].won
    week.quotes[].won_price_mean_minor
    week.remark
    week.rework[].high_spots
    week.rework[].highest_milli_c
    week.rework[].id
    week.rework[].lot
    week.rework[].lowest_milli_c
    week.rework[].product
    week.rework[].sections
    week.rework[].smeared
    week.shop
    week.shortfalls[].amount_minor
    week.shortfalls[].cause
    week.shortfalls[].id
    week.shortfalls[].labour_minor
    week.shortfalls[].materials_minor
    week.types[].actual_unquoted_us
    week.types[].actual_us
    week.types[].declared_us
    week.types[].id
    week.types[].job_type
    week.types[].jobs
    week.types[].jobs_quoted
    week.types[].money.contribution_minor
    week.types[].money.contribution_of_quoted_minor
    week.types[].money.effective_hour_minor
    week.types[].money.jobs
    week.types[].money.jobs_assumed
    week.types[].money.jobs_priced
    week.types[].money.jobs_quoted
    week.types[].money.labour_minor
    week.types[].money.labour_without_rate_us
    week.types[].money.loose_materials_minor
    week.types[].money.margin
    week.types[].money.materials_minor
    week.types[].money.materials_unmeasured_minor
    week.types[].money.overhead_minor
    week.types[].money.quoted_contribution_minor
    week.types[].money.revenue_minor
    week.types[].money.supplies_minor
    week.types[].money.uses_without_price
    week.types[].quoted_us
    week.types[].rework_us
    week.types[].shortfalls[].amount_minor
    week.types[].shortfalls[].cause
    week.types[].shortfalls[].id
    week.types[].shortfalls[].labour_minor
    week.types[].shortfalls[].materials_minor
    week.types[].stages[].actual_us
    week.types[].stages[].declared_us
    week.types[].stages[].id
    week.types[].stages[].jobs
    week.types[].stages[].no_allowance
    week.types[].stages[].quoted_us
    week.types[].stages[].rework_us
    week.types[].stages[].stage
    week.types[].stages[].unclosed_us
    week.types[].unclosed_us
    week.until_us
    week.week
    week.zone
    ");
}
