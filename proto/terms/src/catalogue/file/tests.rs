use std::collections::BTreeSet;

use proptest::prelude::*;

use super::*;
use crate::catalogue::{Catalogue, EXAMPLE, Source, Standing, sample};
use crate::code::Code;
use crate::surface;
use crate::time::{DAY_US, HOUR_US, MINUTE_US};

/// A file that is right, with one line put in after its shop.
fn with(lines: &str) -> String {
    format!("[shop]\nname = \"Invented\"\nzone = \"Europe/Lisbon\"\ncurrency = \"EUR\"\n{lines}")
}

fn faults(text: &str) -> Vec<String> {
    match read(text) {
        Ok(_) => Vec::new(),
        Err(faults) => faults.iter().map(ToString::to_string).collect(),
    }
}

fn good(text: &str) -> Catalogue {
    read(text).unwrap_or_else(|_| panic!("{}\n{text}", faults(text).join("\n")))
}

#[test]
fn the_example_shop_passes() {
    let shop = good(EXAMPLE);
    for bay in ["bay-1", "bay-2", "bay-3"] {
        assert!(shop.bays.contains_key(&Code::new(bay)), "{bay}");
    }
    assert_eq!(shop.bays.len(), 3);
    assert_eq!(shop.workers.len(), 5);
    assert_eq!(shop.job_types.len(), 8);
    let remover = &shop.products[&Code::new("iron-remover")];
    assert_eq!(remover.dwell_shortest_us, Some(2 * MINUTE_US));
    assert_eq!(remover.dwell_longest_us, Some(7 * MINUTE_US));
    let coating = &shop.products[&Code::new("coating-3y")];
    assert_eq!(coating.water_safe_us, Some(24 * HOUR_US));
    assert_eq!(coating.full_cure_us, Some(7 * DAY_US));
    let trike = &shop.job_types[&Code::new("trike-coat")];
    assert!(trike.panels.iter().any(|p| p.code.as_str() == "nose"));
    let finishes: BTreeSet<&str> = trike.panels.iter().map(|p| p.finish.as_str()).collect();
    for finish in [
        "gloss",
        "matte",
        "textured-plastic",
        "plastic-screen",
        "leather",
        "electronics",
    ] {
        assert!(finishes.contains(finish), "{finish}");
    }
}

#[test]
fn every_number_of_the_example_shop_is_marked_by_its_source() {
    let shop = good(EXAMPLE);
    for (code, product) in &shop.products {
        assert_ne!(product.source, Source::Unmarked, "{code}");
    }
    for (code, job_type) in &shop.job_types {
        for row in &job_type.stages {
            assert_ne!(row.source, Source::Unmarked, "{code} {}", row.stage);
        }
        for row in &job_type.products {
            assert_ne!(row.source, Source::Unmarked, "{code} {}", row.product);
        }
    }
}

#[test]
fn every_product_of_the_example_that_needs_a_caution_defers_to_its_sheet() {
    for (code, product) in &good(EXAMPLE).products {
        assert!(!product.sds.is_empty(), "{code}");
        assert!(
            product.caution.is_empty() || product.caution.contains("Check the SDS"),
            "{code}: {}",
            product.caution
        );
    }
}

#[test]
fn the_example_shop_survives_being_written() {
    let shop = good(EXAMPLE);
    assert_eq!(good(&write(&shop)), shop);
}

#[test]
fn faults_say_where_and_what_to_write_instead() {
    for (lines, at, parts) in [
        (
            "[[product]]\ncode = \"tar\"\npakc = \"1 L\"",
            (7, 1),
            &["no key `pakc`", "did you mean pack?"][..],
        ),
        (
            "[[stage]]\ncode = \"decon\"\nkind = \"cleaning\"\n[[job-type]]\ncode = \"a-b\"\nclass = \"x\"\nstages = [ { stage = \"deconn\", allowance = \"45m\" } ]",
            (11, 22),
            &["no stage `deconn`", "did you mean decon?"],
        ),
        (
            "[[job-type]]\ncode = \"a-b\"\nclass = \"x\"\nproducts = [ { product = \"soap\", amount = \"1 L\" } ]",
            (8, 26),
            &["no product `soap`", "[[product]]"],
        ),
        (
            "[[product]]\ncode = \"tar\"\npack = \"1 bucket\"",
            (7, 8),
            &["bucket", "\"1 L\""],
        ),
        (
            "[[product]]\ncode = \"tar\"\npack = \"1 gal\"",
            (7, 8),
            &["us-gal"],
        ),
        (
            "[[product]]\ncode = \"tar\"\nprice = \"cheap\"",
            (7, 9),
            &["`price`", "24.50"],
        ),
        (
            "[[product]]\ncode = \"tar\"\ndwell = \"7m\"",
            (7, 9),
            &["one end only", "up to 7m"],
        ),
        (
            "[[product]]\ncode = \"tar\"\ndwell = \"7m to 2m\"",
            (7, 9),
            &["goes down"],
        ),
        (
            "[[product]]\ncode = \"tar\"\ndwell = \"7 to 9\"",
            (7, 9),
            &["no unit"],
        ),
        (
            "[[product]]\ncode = \"tar\"\nwater-safe = \"8d\"\nfull-cure = \"7d\"",
            (7, 14),
            &["later than `full-cure`"],
        ),
        (
            "[[product]]\ncode = \"tar\"\nsource = \"lable\"",
            (7, 10),
            &["cannot be `lable`", "label"],
        ),
        (
            "[[product]]\ncode = \"tar\"\nretired = \"yes\"",
            (7, 11),
            &["neither true nor false"],
        ),
        (
            "[[product]]\ncode = \"tar\"\nnever = { mate = \"why\" }",
            (7, 11),
            &["no finish `mate`", "did you mean matte?"],
        ),
        (
            "[[product]]\ncode = \"tar\"\nnever = { matte = \"\" }",
            (7, 11),
            &["does not say why"],
        ),
        (
            "[[product]]\ncode = \"tar\"\nnever = { matte = \"a\" }\ncare = { matte = \"b\" }",
            (8, 10),
            &["two rules"],
        ),
        (
            "[[product]]\ncode = \"tar\"\n[product.never]\nmatte = \"a\"\ncaution = \"b\"",
            (9, 1),
            &["`caution` stands under the heading of `never`", "above"],
        ),
        (
            "[[worker]]\ncode = \"Ana\"",
            (6, 8),
            &["not a code", "lower-case"],
        ),
        (
            "[[worker]]\nname = \"Ana\"",
            (5, 1),
            &["no `code`", "code = \"ana\""],
        ),
        (
            "[[worker]]\ncode = \"ana\"\n[[worker]]\ncode = \"ana\"",
            (8, 8),
            &["in the file twice"],
        ),
        (
            "[[worker]]\ncode = \"ana\"\nrate = \"0\"",
            (7, 8),
            &["more than nothing"],
        ),
        (
            "[[worker]]\ncode = \"ana\"\nrate = \"USD 20\"",
            (7, 8),
            &["currency, EUR"],
        ),
        ("[[bay]]\ncode = \"away\"", (6, 8), &["word of the program"]),
        (
            "[[bay]]\ncode = \"bay-1\"\nplaces = 0",
            (7, 10),
            &["from 1 to 20"],
        ),
        ("[bay]\ncode = \"bay-1\"", (5, 1), &["[[bay]]"]),
        (
            "[[job-type]]\ncode = \"unsorted\"\nclass = \"x\"",
            (6, 8),
            &["word of the program"],
        ),
        (
            "[[stage]]\ncode = \"coat\"",
            (5, 1),
            &["no `kind`", "coating"],
        ),
        (
            "open = [\"mon-fri 8-17\"]",
            (5, 9),
            &["no time of day", "mon-fri 08:00-17:30"],
        ),
        (
            "open = [\"mon 08:00-12:00\", \"mon 11:00-14:00\"]",
            (5, 8),
            &["overlap on mon", "12:00", "11:00"],
        ),
        (
            "soil = [\"one\", \"two\"]",
            (5, 8),
            &["2 sentences", "write 5"],
        ),
    ] {
        let text = with(lines);
        let found = read(&text).expect_err(lines);
        assert_eq!(found.len(), 1, "{lines}\n{found:#?}");
        let fault = &found[0];
        assert_eq!((fault.line, fault.column), at, "{lines}\n{fault}");
        let shown = fault.to_string();
        for part in parts {
            assert!(shown.contains(part), "{part:?} is not in {shown:?}");
        }
        assert!(shown.contains("Hint: "), "{shown}");
    }
}

#[test]
fn a_zone_that_does_not_exist_is_a_fault() {
    let text = with("").replace("Europe/Lisbon", "Europe/Lisboa");
    assert_eq!(faults(&text).len(), 1);
    assert!(faults(&text)[0].starts_with("line 3, column 8:"));
}

#[test]
fn all_faults_are_told_at_once_and_in_order() {
    let text = with(
        "opens = [\"mon\"]\n[[product]]\ncode = \"tar\"\npack = \"much\"\nsource = \"me\"\n[[worker]]\nrate = \"x\"\n",
    );
    let lines: Vec<usize> = read(&text).unwrap_err().iter().map(|f| f.line).collect();
    assert_eq!(lines, [5, 8, 9, 10, 11]);
}

#[test]
fn text_that_is_not_toml_is_told_by_line_without_what_follows_from_it() {
    let text = with("[[product]]\ncode = \"tar\npack = \"much\"\n[[worker]]\nname = \"x\"\n");
    let found = read(&text).unwrap_err();
    assert_eq!(found[0].line, 6, "{found:#?}");
    assert!(found[0].hint.contains("straight quotes"), "{found:#?}");
    assert!(
        found.iter().all(|f| !f.what.contains("has no `code`")),
        "{found:#?}"
    );
}

#[test]
fn a_value_of_many_pages_is_told_by_its_beginning_and_what_to_write() {
    let pages = "fifteen parts of water, ".repeat(400);
    let text = with(&format!(
        "[[product]]\ncode = \"tar\"\nratio = \"{pages}\"\n"
    ));
    let found = read(&text).unwrap_err();
    let told = found.iter().find(|f| f.what.contains("`ratio`")).unwrap();
    assert!(told.what.len() < 700, "{} bytes", told.what.len());
    assert!(told.what.contains("`fifteen parts"), "{told}");
    assert!(told.what.contains("is not a ratio: write parts"), "{told}");
}

#[test]
fn an_empty_file_asks_for_a_shop() {
    let found = faults("");
    assert_eq!(found.len(), 1);
    assert!(found[0].contains("no [shop]"), "{found:?}");
}

#[test]
fn columns_count_characters_not_bytes() {
    let text = with("# é\n[[worker]]\ncode = \"ana\"\nname = \"Ána\"\nrate = \"é\" # x");
    let found = read(&text).unwrap_err();
    assert_eq!((found[0].line, found[0].column), (9, 8));
    let text = with("[[product]]\ncode = \"tar\"\nnever = { matte = \"é\", mate = \"x\" }");
    assert_eq!(read(&text).unwrap_err()[0].column, 24);
}

#[test]
fn bare_numbers_and_texts_are_the_same_price() {
    let text = with("[[product]]\ncode = \"tar\"\nprice = 24.50\ndensity = 1\n");
    let tar = &good(&text).products[&Code::new("tar")];
    assert_eq!(tar.pack_price.as_ref().unwrap().minor, 2450);
    assert_eq!(tar.density_micro_g_per_ml, Some(1_000_000));
}

#[test]
fn a_bare_ounce_is_the_shops_own() {
    let text = with("units = \"imperial\"\n[[product]]\ncode = \"tar\"\npack = \"8 floz\"\n");
    let tar = &good(&text).products[&Code::new("tar")];
    assert_eq!(tar.pack.unwrap().unit, crate::amount::Unit::ImpFloz);
}

#[test]
fn rules_are_held_nevers_first() {
    let text = with(
        "[[product]]\ncode = \"tar\"\ncare = { gloss = \"c\" }\nnever = { wrap = \"n\", matte = \"n\" }\n",
    );
    let rules = &good(&text).products[&Code::new("tar")].rules;
    let held: Vec<(&str, Standing)> = rules
        .iter()
        .map(|r| (r.finish.as_str(), r.standing))
        .collect();
    assert_eq!(
        held,
        [
            ("matte", Standing::Never),
            ("wrap", Standing::Never),
            ("gloss", Standing::Care)
        ]
    );
}

#[test]
fn panels_may_be_of_a_finish_nobody_is_sure_of() {
    let text = with(
        "[[job-type]]\ncode = \"a\"\nclass = \"x\"\npanels = [ { panel = \"p\", finish = \"gloss/satin\" }, { panel = \"q\", finish = \"unknown\" } ]\n",
    );
    assert_eq!(good(&text).job_types[&Code::new("a")].panels.len(), 2);
    assert!(surface::is_finish("unknown"));
}

proptest! {
    #[test]
    fn a_catalogue_survives_being_written(catalogue in sample::catalogue()) {
        let text = write(&catalogue);
        let read = read(&text);
        prop_assert!(read.is_ok(), "{}\n{text}", faults(&text).join("\n"));
        prop_assert_eq!(read.unwrap(), catalogue);
    }

    #[test]
    fn no_text_makes_the_reader_fail(text in ".{0,200}") {
        let _ = read(&text);
    }
}

proptest! {
    // Each case reads over a thousand lines.
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn a_broken_example_still_gets_an_answer(at in 0..EXAMPLE.len(), junk in "[\"=\\[\\]{},#\\n a]{1,3}") {
        let mut at = at;
        while !EXAMPLE.is_char_boundary(at) { at -= 1; }
        let text = format!("{}{junk}{}", &EXAMPLE[..at], &EXAMPLE[at..]);
        if let Err(found) = read(&text) {
            // Every fault must be told at a line that is there, with a way out.
            let lines = text.lines().count() + 1;
            for fault in found {
                prop_assert!((1..=lines).contains(&fault.line), "{fault}");
                prop_assert!(!fault.hint.is_empty(), "{fault}");
            }
        }
    }
}
