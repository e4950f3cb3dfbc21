//! The example's reading of tables and words, and what data are refused with.

#[path = "../examples/mixed/table.rs"]
mod table;
#[path = "../examples/mixed/words.rs"]
mod words;

use std::path::PathBuf;

use baywright_learn::mixed::{Column, Data, DataError, Fit, Grouping, Options, fit};

type Unusable = String;

/// Writes a table, reads it with the given words and fits it.
fn run(text: &str, line: &str) -> Result<(Data, Fit), Unusable> {
    let unique = format!(
        "baywright-mixed-{}-{:p}.csv",
        std::process::id(),
        &raw const *text
    );
    let path = std::env::temp_dir().join(unique);
    std::fs::write(&path, text).map_err(|error| error.to_string())?;
    let done = run_on(&path, line);
    std::fs::remove_file(&path).map_err(|error| error.to_string())?;
    done
}

fn run_on(path: &std::path::Path, line: &str) -> Result<(Data, Fit), Unusable> {
    let words = std::iter::once(path.to_string_lossy().into_owned());
    let asked = match words::read(words.chain(line.split_whitespace().map(str::to_owned)))? {
        words::Asked::Fit(asked) => asked,
        words::Asked::Help => return Err(words::HELP.to_owned()),
    };
    let data = table::read(&asked)?;
    let fit = fit(&data, Options::default()).map_err(|error| error.to_string())?;
    assert!(fit.convergence.converged);
    assert!(!asked.timings);
    Ok((data, fit))
}

fn sleepstudy() -> Result<String, Unusable> {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR"));
    let path = path.join("../../tests/outside/data/mixed/sleepstudy.csv");
    std::fs::read_to_string(path).map_err(|error| error.to_string())
}

const SLEEP: &str = "--response Reaction --fixed Days --group Subject";

#[test]
fn a_table_reads_the_same_however_it_is_written() -> Result<(), Unusable> {
    let plain = sleepstudy()?;
    let expected = run(&plain, SLEEP)?;
    let windows = plain.replace('\n', "\r\n");
    let quoted = plain
        .lines()
        .map(|line| format!("\"{}\"\n\n", line.replace(',', "\",\"")));
    let quoted: String = quoted.collect();
    let semicolons = format!("\u{feff}{}", plain.replace(',', ";"));
    let tabs = plain.replace(',', "\t");
    let spaced = plain.replace(',', " , ");
    let last_line_open = plain.trim_end().to_owned();
    let decimals = plain.lines().enumerate();
    let decimals = decimals.map(|(at, line)| format!("{line}{}\n", if at > 0 { ".0" } else { "" }));
    let decimals: String = decimals.collect();
    for other in [
        windows,
        quoted,
        semicolons,
        tabs,
        spaced,
        last_line_open,
        decimals,
    ] {
        assert_eq!(run(&other, SLEEP)?, expected, "{}", &other[..60]);
    }
    Ok(())
}

#[test]
fn columns_and_words_may_come_in_any_order() -> Result<(), Unusable> {
    let plain = sleepstudy()?;
    let expected = run(&plain, SLEEP)?;
    let turned = plain.lines().map(|line| {
        let parts: Vec<&str> = line.split(',').collect();
        format!("{},unused,{},{}\n", parts[2], parts[1], parts[0])
    });
    let turned: String = turned.collect();
    let line = "--group=Subject --fixed=1 --fixed Days --response=Reaction";
    assert_eq!(run(&turned, line)?, expected);
    Ok(())
}

#[test]
fn rows_with_a_missing_value_are_left_out() -> Result<(), Unusable> {
    let plain = sleepstudy()?;
    let expected = run(&plain, SLEEP)?;
    let holed = format!("{plain}NA,3,308\n250.1,,309\n250.1,4,NA\n");
    assert_eq!(run(&holed, SLEEP)?, expected);
    Ok(())
}

#[test]
fn words_become_contrasts_with_the_first_level_as_base() -> Result<(), Unusable> {
    let text = "y,c,g\n1,b,1\n2,a,1\n4,c,2\n3,b,2\n5,a,3\n9,c,3\n";
    let (data, fit) = run(text, "--response y --fixed c --group g")?;
    let names: Vec<&str> = fit.fixed.iter().map(|one| one.name.as_str()).collect();
    assert_eq!(names, ["intercept", "cb", "cc"]);
    assert_eq!(
        data.fixed[1],
        Column::new("cb", vec![1.0, 0.0, 0.0, 1.0, 0.0, 0.0])
    );
    let (_, fit) = run(text, "--response y --fixed c --group g --no-intercept")?;
    let names: Vec<&str> = fit.fixed.iter().map(|one| one.name.as_str()).collect();
    assert_eq!(names, ["ca", "cb", "cc"]);
    let numbered = "y,c,g\n1,10,1\n2,9,1\n4,2,2\n3,10,2\n5,9,3\n9,2,3\n";
    let (_, fit) = run(numbered, "--response y --factor c --group g")?;
    let names: Vec<&str> = fit.fixed.iter().map(|one| one.name.as_str()).collect();
    assert_eq!(names, ["intercept", "c9", "c10"]);
    Ok(())
}

#[test]
fn a_colon_stands_for_the_combinations_that_occur() -> Result<(), Unusable> {
    let text = "a,b,y\nq,1,1\nq,2,2\nr,1,4\nr,2,5\nq,1,1.5\nq,2,2.1\nr,1,4.4\nr,3,5.2\n";
    let (data, fit) = run(text, "--response y --group a --group a:b")?;
    assert_eq!(data.groupings[1].name(), "a:b");
    let levels: Vec<&str> = fit.groupings[1]
        .levels
        .iter()
        .map(|one| one.level.as_str())
        .collect();
    assert_eq!(levels, ["q:1", "q:2", "r:1", "r:2", "r:3"]);
    Ok(())
}

#[test]
fn a_fixed_effect_that_follows_from_others_is_left_out_and_named() -> Result<(), Unusable> {
    let text = "y,x,z,g\n1,1,2,a\n2,2,4,a\n4,3,6,b\n3,5,10,b\n5,6,12,c\n9,7,14,c\n";
    let (_, fit) = run(text, "--response y --fixed x --fixed z --group g")?;
    assert_eq!(fit.dropped, ["z"]);
    let (_, without) = run(text, "--response y --fixed x --group g")?;
    assert_eq!(without.fixed, fit.fixed);
    assert!((without.criterion - fit.criterion).abs() < 1e-12);
    Ok(())
}

#[test]
fn no_grouping_is_an_ordinary_regression() -> Result<(), Unusable> {
    // Four points by hand: slope 0.8, intercept 0.5, residual squares 1.8 over 2.
    let (_, fit) = run("x,y\n1,1\n2,3\n3,2\n4,4\n", "--response y --fixed x")?;
    assert!((fit.fixed[0].estimate - 0.5).abs() < 1e-12);
    assert!((fit.fixed[1].estimate - 0.8).abs() < 1e-12);
    assert!((fit.residual_variance - 0.9).abs() < 1e-12);
    Ok(())
}

#[test]
fn what_cannot_be_used_is_said_with_its_place() {
    let text = "y,x,g\n1,1,a\n2,2,a\n4,3,b\n3,5,b\n";
    let cases = [
        ("", "--response y", "the table is empty"),
        (text, "--fixed x", "name the response"),
        (
            text,
            "--response w --group g",
            "no column `w` in the table; there is: y, x, g",
        ),
        (text, "--response y --group g:w", "no column `w`"),
        (text, "--response y --fixed y", "cannot explain itself"),
        (text, "--response y --spline x", "no option `--spline`"),
        (
            text,
            "--response y --group",
            "`--group` needs the name of a column",
        ),
        (
            text,
            "--response g --group g",
            "line 2: `a` in column `g` is not a number",
        ),
        (
            "y,g\n1,a\n2,a,7\n",
            "--response y --group g",
            "line 3 has 3 values, the header names 2",
        ),
        (
            "y,g\nNA,a\n2,\n",
            "--response y --group g",
            "no row with all values",
        ),
        (
            "y,x\n1,1\n2,inf\n3,4\n",
            "--response y --fixed x",
            "`inf` in column `x` is not a number",
        ),
        (
            "y,g\n1,a\n2,a\n",
            "--response y --group g",
            "one level only",
        ),
        (
            "y,g\n1,a\n2,b\n",
            "--response y --group g",
            "as many levels as there are rows",
        ),
        (
            "y,x,g\n1,1,a\n2,3,a\n",
            "--response y --fixed x",
            "cannot carry 2 fixed effects",
        ),
        (
            "y,g\n1,a\n1,b\n1,a\n",
            "--response y --group g",
            "is it constant?",
        ),
        (
            "y,c,g\n1,k,a\n2,k,b\n1,k,a\n",
            "--response y --fixed c --group g",
            "`c` has one level only",
        ),
    ];
    for (text, line, expected) in cases {
        match run(text, line) {
            Ok(_) => panic!("`{line}` was taken"),
            Err(why) => assert!(why.contains(expected), "`{line}`: {why}"),
        }
    }
}

#[test]
fn data_that_cannot_be_fitted_are_refused_by_name() {
    let grouping = Grouping::new("g", &["a", "a", "b", "b"]);
    let good = Data {
        response: vec![1.0, 2.0, 4.0, 3.0],
        fixed: vec![Column::intercept(4)],
        groupings: vec![grouping.clone()],
    };
    let refused = |change: &dyn Fn(&mut Data)| {
        let mut data = good.clone();
        change(&mut data);
        fit(&data, Options::default()).err()
    };
    assert_eq!(refused(&|_| {}), None);
    assert_eq!(
        refused(&|data| data.response[2] = f64::NAN),
        Some(DataError::NotFinite {
            column: "response".to_owned(),
            row: 3
        })
    );
    assert_eq!(
        refused(&|data| data.fixed[0].values[0] = f64::INFINITY),
        Some(DataError::NotFinite {
            column: "intercept".to_owned(),
            row: 1
        })
    );
    assert_eq!(
        refused(&|data| data.fixed.push(Column::new("x", vec![1.0]))),
        Some(DataError::Length {
            column: "x".to_owned(),
            found: 1,
            rows: 4
        })
    );
    assert_eq!(
        refused(&|data| data.groupings.push(grouping.clone())),
        Some(DataError::Twice {
            name: "g".to_owned()
        })
    );
    assert_eq!(
        refused(&|data| *data = Data {
            response: vec![],
            fixed: vec![],
            groupings: vec![]
        }),
        Some(DataError::NoRows)
    );
    assert_eq!(
        Grouping::from_codes("g", vec!["a".to_owned()], vec![0, 1]).err(),
        Some(DataError::LevelCode {
            grouping: "g".to_owned(),
            row: 2,
            code: 1,
            levels: 1
        })
    );
}

#[test]
fn a_grouping_that_leaves_no_residual_says_so() -> Result<(), Unusable> {
    let (_, fit) = run(
        "y,g\n1,a\n1,a\n5,b\n5,b\n2,c\n2,c\n",
        "--response y --group g",
    )?;
    assert!(fit.convergence.unbounded);
    assert!(fit.residual_variance < 1e-6);
    Ok(())
}
