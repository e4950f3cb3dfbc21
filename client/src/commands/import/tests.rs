//! Whole tables: what they come to, and what is wrong with them, line by line.

use std::fmt::Write as _;

use baywright_terms::catalogue::begin::{Answers, build};
use proptest::prelude::*;

use super::jobs::Found;
use super::*;
use crate::render::figure::hours_minutes;

/// What is said on the command line.
#[derive(Default)]
struct Typed<'a> {
    maps: &'a [&'a str],
    sets: &'a [&'a str],
    codes: &'a [&'a str],
    dates: Option<DateOrder>,
    times: Option<TimeUnit>,
}

fn texts(typed: &[&str]) -> Vec<String> {
    typed.iter().map(|t| (*t).to_owned()).collect()
}

fn catalogue() -> Catalogue {
    baywright_terms::catalogue::file::read(baywright_terms::catalogue::EXAMPLE).unwrap()
}

fn read(text: &str, typed: &Typed<'_>) -> Found {
    let (sheet, mut faults) = Sheet::read(text.as_bytes(), None).unwrap();
    let columns = Columns::read(&texts(typed.maps), &texts(typed.sets), &sheet).unwrap();
    let words = Words::read(&texts(typed.codes), None).unwrap();
    let catalogue = catalogue();
    let mut found = jobs::read(&Reading {
        sheet: &sheet,
        columns: &columns,
        words: &words,
        catalogue: &catalogue,
        units: baywright_terms::catalogue::UnitSystem::Metric,
        dates: typed.dates,
        times: typed.times,
        amounts: None,
        today: "2026-11-25".parse().unwrap(),
        bad_lines: faults.iter().map(|fault| fault.line).collect(),
        anyway: false,
    });
    faults.append(&mut found.faults);
    found.faults = faults;
    found
}

fn shown(found: &Found) -> String {
    let mut out = String::new();
    for job in &found.jobs {
        let past = &job.past;
        let _ = write!(out, "{}: {} {}", job.line, past.date, past.job_type);
        for (what, us) in [("quoted", past.quoted_us), ("actual", past.actual_us)] {
            if us != 0 {
                let _ = write!(out, " {what} {}", hours_minutes(us));
            }
        }
        if let Some(g) = past.grades {
            let _ = write!(out, " grades {}{}{}", g.soil, g.defects, g.intricacy);
        }
        if let Some(price) = &past.price {
            let _ = write!(out, " {} {}", price.price_minor, price.currency);
        }
        for stage in &past.stages {
            let (quoted, actual) = (
                hours_minutes(stage.quoted_us),
                hours_minutes(stage.actual_us),
            );
            let _ = write!(out, " [{} {quoted} {actual} {}]", stage.stage, stage.worker);
        }
        for used in &past.uses {
            let amount = used.amount.as_ref().unwrap();
            let _ = write!(
                out,
                " ({} {} {})",
                used.product, amount.decimal, amount.unit
            );
        }
        out.push('\n');
    }
    for fault in &found.faults {
        let _ = writeln!(out, "fault {}: {} | {}", fault.line, fault.what, fault.hint);
    }
    out
}

#[test]
fn a_row_is_a_whole_job_in_every_dialect() {
    let english = "\
Date,Service,Quoted (h),Time (h),Price,Iron remover (ml),Soil
3/24/2025,trike-coat,9,10.5,480.00,350,4
3/4/2025,trike-coat,9:00,9:15,,,
";
    let german = "\u{feff}\
Datum;Leistung;Soll;Ist;Preis;Eisenlöser;Schmutz\r\n\
24.03.2025;Trike-Coat;9 Std;\"10,5 h\";480,00 €;0,35 l;4\r\n\
;;;;;;\r\n\
04.03.2025;Trike-Coat;540;555;;;\r\n";
    let english = read(
        english,
        &Typed {
            maps: &[
                "date=Date",
                "type=Service",
                "quoted=Quoted (h)",
                "actual=Time (h)",
                "price=Price",
                "product:iron-remover=Iron remover (ml)",
                "soil=Soil",
            ],
            ..Typed::default()
        },
    );
    let german = read(
        german,
        &Typed {
            maps: &[
                "date=Datum",
                "type=Leistung",
                "quoted=Soll",
                "actual=Ist",
                "price=Preis",
                "product:iron-remover=Eisenlöser",
                "soil=Schmutz",
            ],
            ..Typed::default()
        },
    );
    insta::assert_snapshot!(shown(&english), @"
    2: 2025-03-24 trike-coat quoted 9:00 actual 10:30 grades 400 48000 EUR (iron-remover 350 1)
    3: 2025-03-04 trike-coat quoted 9:00 actual 9:15
    ");
    insta::assert_snapshot!(shown(&german), @"
    2: 2025-03-24 trike-coat quoted 9:00 actual 10:30 grades 400 48000 EUR (iron-remover 0.35 2)
    4: 2025-03-04 trike-coat quoted 9:00 actual 9:15
    ");
    // The same jobs, whoever's spreadsheet they come out of.
    let keys = |found: &Found| -> Vec<Vec<u8>> {
        found.jobs.iter().map(|job| job.past.key.clone()).collect()
    };
    assert_eq!(keys(&english), keys(&german));
}

#[test]
fn rows_of_stages_and_products_are_put_together_by_the_number_of_their_job() {
    let table = "\
Nr\tDatum\tLeistung\tSchritt\tWer\tSoll\tIst\tMittel\tMenge
17\t2025-03-24\ttrike-coat\tPolieren\tana\t150\t170\t\t
18\t2025-03-25\ttrike-coat\tPolieren\tben\t150\t120\t\t
17\t\t\tPolieren\tana\t\t20\t\t
17\t\t\tcoat\tana\t120\t\t\t
17\t\t\t\t\t\t\tiron-remover\t350 ml
17\t\t\tcoat\tben\t\t1:30\tiron-remover\t50 ml
";
    let found = read(
        table,
        &Typed {
            maps: &[
                "job=Nr",
                "date=Datum",
                "type=Leistung",
                "stage=Schritt",
                "worker=Wer",
                "quoted=Soll",
                "actual=Ist",
                "product=Mittel",
                "amount=Menge",
            ],
            codes: &["Polieren=polish"],
            ..Typed::default()
        },
    );
    insta::assert_snapshot!(shown(&found), @"
    2: 2025-03-24 trike-coat [polish 2:30 3:10 ana] [coat 2:00 1:30 ] (iron-remover 400 1)
    3: 2025-03-25 trike-coat [polish 2:30 2:00 ben]
    ");
}

#[test]
fn a_column_for_each_stage_takes_the_place_of_the_time_as_a_whole() {
    let table = "\
Date;Type;Actual;polish;coat
2025-03-24;trike-coat;300;170;130
2025-03-25;trike-coat;400;170;130
2025-03-26;trike-coat;400;;
";
    let found = read(
        table,
        &Typed {
            maps: &[
                "date=Date",
                "type=Type",
                "actual=Actual",
                "stage:polish=polish",
                "stage:coat=coat",
            ],
            ..Typed::default()
        },
    );
    assert_eq!(found.other_sums, 1);
    insta::assert_snapshot!(shown(&found), @"
    2: 2025-03-24 trike-coat [coat 0:00 2:10 ] [polish 0:00 2:50 ]
    3: 2025-03-25 trike-coat [coat 0:00 2:10 ] [polish 0:00 2:50 ]
    4: 2025-03-26 trike-coat actual 6:40
    ");
}

#[test]
fn every_fault_is_told_with_its_line_and_nothing_else_is_lost() {
    let table = "\
Nr,Date,Type,Stage,Actual,Iron,Soil
1,2025-03-24,trike-coat,polish,170,350 ml,4
2,3/4/2025,trike-coat,polish,170,,

3,2025-03-24,trike-cot,polish,170,,
4,2025-03-24,trike-coat,polsh,170,,
5,2025-03-24,trike-coat,polish,long,350,7
6,,trike-coat,polish,170,,
7,2025-03-24,,polish,170,,
8,2025-03-24,trike-coat,polish,,,
9,2026-12-24,trike-coat,polish,170,,
,2025-03-24,trike-coat,polish,170,,
10,2025-03-24,trike-coat,polish,170,,
10,2025-03-24,trike-coat,polish,170,,
11,2025-03-24,trike-coat,polish,170,,
11,2025-03-25,trike-coat,coat,30,,
12,2025-03-24,trike-coat,polish,170,350 ml,
12,2025-03-24,trike-coat,coat,30,20 g,
13,2025-03-24,trike-coat,polish,170,,,x
";
    let found = read(
        table,
        &Typed {
            maps: &[
                "job=Nr",
                "date=Date",
                "type=Type",
                "stage=Stage",
                "actual=Actual",
                "product:iron-remover=Iron",
                "soil=Soil",
            ],
            ..Typed::default()
        },
    );
    insta::assert_snapshot!(shown(&found), @r#"
    2: 2025-03-24 trike-coat grades 400 [polish 0:00 2:50 ] (iron-remover 350 1)
    fault 19: has 8 cells below 7 headings. | A text with the delimiter in it needs quotes.
    fault 3: `3/4/2025` can be read as two different days. | Say which comes first: --dates dmy or --dates mdy.
    fault 5: no job type `trike-cot` in the catalogue. | Did you mean trike-coat? A word of yours is given its code by --codes "trike-cot=CODE".
    fault 6: no stage `polsh` in the catalogue. | Did you mean polish? A word of yours is given its code by --codes "polsh=CODE".
    fault 7: `long` is not a time. | Write minutes, hours:minutes or hours: 95, 1:35, 2.5 h.
    fault 7: `7` is not a grade. | A grade is 1 to 5; leave the cell empty where nobody graded it.
    fault 7: `350` is an amount without a unit. | Write 350 ml, put the unit into the heading, as in `Iron remover (ml)`, or say --amounts ml.
    fault 8: has no date. | 
    fault 9: has no job type. | 
    fault 10: says neither a time nor an amount. | There is nothing to learn from it: take it out, or add --skip-bad.
    fault 11: `2026-12-24` is still to come. | 
    fault 12: has no job. | Every row needs the number of its job.
    fault 14: says the same as line 13. | If both are right, put their sum on one line.
    fault 16: gives job `11` another date than line 15. | 
    fault 18: gives iron-remover in another unit than before. | Write all amounts of it in one unit.
    "#);
    assert_eq!(found.jobs.len(), 1);
    assert_eq!(found.left_out, 13);
}

#[test]
fn two_equal_rows_are_told_and_a_number_of_the_job_tells_them_apart() {
    let table = "Nr,Date,Type,Actual\n1,2025-03-24,trike-coat,540\n2,2025-03-24,trike-coat,540\n";
    let base = ["date=Date", "type=Type", "actual=Actual"];
    let typed = |maps| Typed {
        maps,
        ..Typed::default()
    };
    let found = read(table, &typed(&base));
    assert_eq!((found.jobs.len(), found.faults.len()), (1, 1));
    assert_eq!(found.faults[0].line, 3);
    assert_eq!(found.faults[0].what, "says the same as line 2.");
    let found = read(
        table,
        &typed(&["date=Date", "type=Type", "actual=Actual", "job=Nr"]),
    );
    assert_eq!((found.jobs.len(), found.faults.len()), (2, 0));
}

#[test]
fn one_day_above_twelve_tells_the_order_of_all_dates_and_the_flag_wins() {
    let table = "D,Actual\n3/4/2025,90\n25/3/2025,90\n";
    let typed = |dates| Typed {
        maps: &["date=D", "actual=Actual"],
        sets: &["type=trike-coat"],
        dates,
        ..Typed::default()
    };
    insta::assert_snapshot!(shown(&read(table, &typed(None))), @"
    2: 2025-04-03 trike-coat actual 1:30
    3: 2025-03-25 trike-coat actual 1:30
    ");
    insta::assert_snapshot!(shown(&read(table, &typed(Some(DateOrder::Mdy)))), @"
    2: 2025-03-04 trike-coat actual 1:30
    fault 3: `25/3/2025` is no day of the calendar. | Is the order of day and month right? --dates dmy or --dates mdy says it.
    ");
    // No heading and no unit: the flag says what a number counts.
    let hours = Typed {
        times: Some(TimeUnit::H),
        ..typed(None)
    };
    let found = read("D,Actual\n25/3/2025,1.5\n", &hours);
    assert_eq!(found.jobs[0].past.actual_us, 90 * 60_000_000);
}

#[test]
fn what_a_table_without_a_map_may_be_is_shown_with_the_command_to_run() {
    let table = "Nr;Datum;Leistung;Ist (h);Bemerkung\n17;24.3.2025;Trike-Coat;10,5;it's red\n";
    let (sheet, _) = Sheet::read(table.as_bytes(), None).unwrap();
    let guesses = columns::guess(&sheet, &build(&Answers::default()), &Words::default());
    let outcome = tell::columns(Path::new("past jobs.csv"), &sheet, &guesses);
    insta::assert_snapshot!(outcome.text, @r"
    past jobs.csv: 1 row below 5 headings, parted by `;`. Nothing was imported: which column is what must be said.

    column     for example  taken as
    ---------  -----------  --------
    Nr         17           job
    Datum      24.3.2025    date
    Leistung   Trike-Coat   type
    Ist (h)    10,5         actual
    Bemerkung  it's red

    As far as the headings tell, this shows what would come in:

      bay import 'past jobs.csv' --map job=Nr --map date=Datum --map type=Leistung \
          --map 'actual=Ist (h)' --dry

    Fields: job, date, type, class, vehicle, stage, worker, product, amount, quoted, actual, soil, defects, intricacy, price, stage:CODE, product:CODE.
    Without --dry it is imported.
    ");
}

proptest! {
    #[test]
    fn no_table_makes_it_panic_and_no_row_is_lost(
        rows in proptest::collection::vec("[0-9./:, a-z;\"-]{0,40}", 0..12),
    ) {
        let mut table = "Nr;Date;Type;Stage;Actual;Iron\n".to_owned();
        table.push_str(&rows.join("\n"));
        if let Ok((sheet, wide)) = Sheet::read(table.as_bytes(), None) {
            let typed = Typed {
                maps: &["job=Nr", "date=Date", "type=Type", "stage=Stage", "actual=Actual",
                    "product:iron-remover=Iron"],
                ..Typed::default()
            };
            let columns = Columns::read(&texts(typed.maps), &[], &sheet);
            prop_assume!(columns.is_ok());
            let found = read(&table, &typed);
            // A job comes in, or a fault names a line.
            let in_jobs = !found.jobs.is_empty();
            prop_assert!(sheet.rows.is_empty() || in_jobs || !found.faults.is_empty());
            prop_assert!(found.faults.len() >= wide.len());
            let lines = u64::try_from(table.lines().count()).unwrap() + 1;
            for fault in &found.faults {
                prop_assert!(fault.line >= 1 && fault.line <= lines, "{fault:?}");
            }
        }
    }
}
