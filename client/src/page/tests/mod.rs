//! What holds of every page, whatever is on it: by reading it back, not by a
//! picture of its text.

mod contrast;
mod fixture;
mod markup;
mod quote;

use std::collections::BTreeSet;
use std::path::Path;
use std::sync::OnceLock;

use baywright_proto::v1::{JobStory, OddRecord, Week, WeekJob};

use self::markup::{Element, read};
use super::{job, put, week};

/// Every kind of page: full, empty, and in between; made once.
fn pages() -> &'static [(&'static str, String)] {
    static PAGES: OnceLock<Vec<(&str, String)>> = OnceLock::new();
    PAGES.get_or_init(|| {
        let pages = made();
        keep(&pages);
        pages
    })
}

fn week_page(of: &Week) -> String {
    week::page(of, "bay week 2026-W48")
}

fn made() -> Vec<(&'static str, String)> {
    let empty = Week {
        week: "2026-W48".to_owned(),
        zone: "Europe/Berlin".to_owned(),
        ..Week::default()
    };
    let future = Week {
        remark: "2027-W20 has not begun.".to_owned(),
        ..empty.clone()
    };
    let mut quiet = fixture::week();
    quiet.jobs.clear();
    quiet.types.clear();
    // Quotes were made, and no job of one was released.
    quiet.honesty = Some(baywright_proto::v1::Honesty::default());
    let bare = JobStory {
        job: Some(WeekJob {
            number: 7,
            ..WeekJob::default()
        }),
        ..JobStory::default()
    };
    let mut pages = vec![
        ("full week", week_page(&fixture::week())),
        ("plain week", week_page(&crate::render::fixture::week())),
        ("empty log", week_page(&empty)),
        ("future week", week_page(&future)),
        ("week without releases", week_page(&quiet)),
        ("full job", job::page(&fixture::story())),
        ("plain job", job::page(&crate::render::fixture::story())),
        ("bare job", job::page(&bare)),
        ("no job", job::page(&JobStory::default())),
    ];
    pages.extend(quote::made());
    pages
}

/// Writes the pages to look at, and for a browser to check, where a folder is
/// named for them.
fn keep(pages: &[(&str, String)]) {
    let Some(folder) = std::env::var_os("BAYWRIGHT_PAGES") else {
        return;
    };
    for (name, page) in pages {
        let file = format!("{}.html", name.replace(' ', "-"));
        put::page(page, &Path::new(&folder).join(file)).unwrap();
    }
}

fn each(check: impl Fn(&str, &Element)) {
    for (name, page) in pages() {
        check(name, &read(page));
    }
}

#[test]
fn a_page_names_nothing_outside_itself() {
    for (name, page) in pages() {
        for outside in [
            "http:",
            "https:",
            "//",
            "src=",
            "srcset",
            "@import",
            "<script",
            "<link",
            "<iframe",
            "javascript:",
        ] {
            assert!(!page.contains(outside), "{name} has {outside}");
        }
        for (at, _) in page.match_indices("url(") {
            assert!(
                page[at..].starts_with("url(#"),
                "{name}: {}",
                &page[at..at + 20]
            );
        }
        assert!(
            page.contains("default-src 'none'"),
            "{name} forbids loading"
        );
    }
}

#[test]
fn ids_are_unique_and_every_reference_is_to_one() {
    each(|name, page| {
        let mut ids = BTreeSet::new();
        for element in page.all() {
            if let Some(id) = element.attribute("id") {
                assert!(!id.is_empty() && !id.contains(' '), "{name}: id {id:?}");
                assert!(ids.insert(id.to_owned()), "{name}: id {id} twice");
            }
        }
        for element in page.all() {
            for attribute in ["aria-labelledby", "aria-describedby"] {
                if let Some(id) = element.attribute(attribute) {
                    assert!(ids.contains(id), "{name}: {attribute} {id}");
                }
            }
            for attribute in ["href", "fill"] {
                let reference = element.attribute(attribute).unwrap_or_default();
                let id = reference
                    .trim_start_matches("url(")
                    .trim_end_matches(')')
                    .strip_prefix('#');
                if let Some(id) = id {
                    assert!(ids.contains(id), "{name}: {attribute} {reference}");
                }
            }
        }
    });
}

#[test]
fn headings_come_in_order_under_one_title() {
    each(|name, page| {
        let mut level = 0;
        for heading in page.all() {
            let Some(here) = heading
                .name
                .strip_prefix('h')
                .and_then(|n| n.parse::<u32>().ok())
            else {
                continue;
            };
            assert!(here <= level + 1, "{name}: h{here} after h{level}");
            assert!(
                !heading.text.trim().is_empty(),
                "{name}: a heading says something"
            );
            level = here;
        }
        assert_eq!(page.named("h1").len(), 1, "{name}");
        assert!(!page.named("h2").is_empty(), "{name}");
    });
}

#[test]
fn landmarks_a_language_and_a_way_past_the_head_are_there() {
    each(|name, page| {
        let html = page.named("html");
        assert_eq!(html[0].attribute("lang"), Some("en"), "{name}");
        assert!(!page.named("title")[0].text.is_empty(), "{name}");
        for landmark in ["header", "main", "footer"] {
            assert_eq!(page.named(landmark).len(), 1, "{name}: {landmark}");
        }
        let first = page.named("body")[0].children[0].clone();
        assert_eq!(
            (first.name.as_str(), first.attribute("href")),
            ("a", Some("#main")),
            "{name}"
        );
        assert_eq!(
            page.named("main")[0].attribute("id"),
            Some("main"),
            "{name}"
        );
        for section in page.named("section") {
            assert!(section.attribute("aria-labelledby").is_some(), "{name}");
        }
    });
}

#[test]
fn every_picture_says_in_a_sentence_what_it_shows() {
    let mut pictures = 0;
    for (name, page) in pages() {
        for figure in read(page).named("figure") {
            pictures += 1;
            let picture = &figure.children[0];
            assert_eq!(
                (picture.name.as_str(), picture.attribute("role")),
                ("svg", Some("img")),
                "{name}"
            );
            let [title, says] = [&picture.children[0], &picture.children[1]];
            assert_eq!(
                (title.name.as_str(), says.name.as_str()),
                ("title", "desc"),
                "{name}"
            );
            assert_eq!(
                picture.attribute("aria-labelledby"),
                title.attribute("id"),
                "{name}"
            );
            assert_eq!(
                picture.attribute("aria-describedby"),
                says.attribute("id"),
                "{name}"
            );
            assert!(title.text.len() > 5, "{name}: {}", title.text);
            assert!(
                says.text.ends_with('.') && says.text.split(' ').count() > 5,
                "{name}: {}",
                says.text
            );
        }
        let read = read(page);
        for svg in read.named("svg") {
            let is_picture = svg.attribute("class") == Some("chart");
            let within = read
                .named("svg")
                .iter()
                .filter(|s| s.attribute("class") == Some("chart"))
                .any(|chart| {
                    chart
                        .named("svg")
                        .iter()
                        .any(|inner| std::ptr::eq(*inner, svg))
                });
            assert!(is_picture || within, "{name}: a drawing outside a picture");
        }
    }
    assert!(pictures >= 10, "only {pictures} pictures");
}

#[test]
fn nothing_in_a_picture_lies_outside_it() {
    each(|name, page| {
        for chart in page.named("svg") {
            for shape in chart.all() {
                for across in ["x", "x1", "x2", "cx", "width"] {
                    let Some(value) = shape.attribute(across).and_then(|v| v.strip_suffix('%'))
                    else {
                        continue;
                    };
                    let value: f64 = value.parse().unwrap();
                    assert!((0.0..=100.0).contains(&value), "{name}: {across} {value}");
                }
                if let (Some(x), Some(width)) = (shape.attribute("x"), shape.attribute("width")) {
                    let number = |v: &str| v.strip_suffix('%').and_then(|v| v.parse::<f64>().ok());
                    if let (Some(x), Some(width)) = (number(x), number(width)) {
                        assert!(x + width <= 100.05, "{name}: {x} and {width}");
                    }
                }
            }
        }
    });
}

#[test]
fn every_table_has_a_caption_and_headers_that_say_what_they_head() {
    let mut tables = 0;
    for (name, page) in pages() {
        for table in read(page).named("table") {
            tables += 1;
            assert_eq!(table.children[0].name, "caption", "{name}");
            assert!(!table.children[0].text.trim().is_empty(), "{name}");
            let columns = table.named("thead")[0].named("th");
            assert!(
                columns
                    .iter()
                    .all(|th| th.attribute("scope") == Some("col")),
                "{name}"
            );
            assert!(
                columns.iter().all(|th| !th.text.is_empty()),
                "{name}: a header says nothing"
            );
            for part in ["tbody", "tfoot"] {
                for row in table.named(part).iter().flat_map(|part| part.named("tr")) {
                    assert_eq!(row.children.len(), columns.len(), "{name}: {}", row.text);
                    let heads = row.named("th");
                    assert_eq!(heads.len(), 1, "{name}");
                    assert_eq!(heads[0].attribute("scope"), Some("row"), "{name}");
                }
            }
            assert!(
                !table.named("tbody")[0].named("tr").is_empty(),
                "{name}: an empty table"
            );
        }
    }
    assert!(tables >= 20, "only {tables} tables");
}

#[test]
fn what_scrolls_can_be_reached_by_the_keyboard() {
    each(|name, page| {
        for region in page.all() {
            if region.attribute("class") == Some("scroll") {
                assert_eq!(region.attribute("tabindex"), Some("0"), "{name}");
                assert!(region.attribute("aria-labelledby").is_some(), "{name}");
            }
        }
    });
}

/// Everything that could end an element, an attribute or the page.
pub(super) const NASTY: &str =
    "\"'><script>alert(1)</script><img src=x onerror=1>&amp;</title>\u{1b}[31m\u{202e}gnp\u{0}";

#[test]
fn words_from_the_floor_stay_words() {
    let mut week_words = fixture::week();
    for text in [
        &mut week_words.shop,
        &mut week_words.currency,
        &mut week_words.quantiles,
    ] {
        NASTY.clone_into(text);
    }
    for job in &mut week_words.jobs {
        NASTY.clone_into(&mut job.vehicle);
        NASTY.clone_into(&mut job.job_type);
        NASTY.clone_into(&mut job.id);
    }
    for of_type in &mut week_words.types {
        NASTY.clone_into(&mut of_type.job_type);
        for stage in &mut of_type.stages {
            NASTY.clone_into(&mut stage.stage);
        }
    }
    for row in &mut week_words.chemicals {
        NASTY.clone_into(&mut row.product);
        NASTY.clone_into(&mut row.unit);
    }
    for bay in &mut week_words.bays {
        NASTY.clone_into(&mut bay.bay);
        NASTY.clone_into(&mut bay.longest_stage);
    }
    for day in &mut week_words.days {
        NASTY.clone_into(&mut day.bay);
        NASTY.clone_into(&mut day.date);
    }
    for point in &mut week_words.history {
        NASTY.clone_into(&mut point.week);
    }
    for record in &mut week_words.odd {
        NASTY.clone_into(&mut record.text);
        NASTY.clone_into(&mut record.settle_with);
    }
    for cause in &mut week_words.shortfalls {
        NASTY.clone_into(&mut cause.cause);
    }
    for price in &mut week_words.look_again {
        NASTY.clone_into(&mut price.job_type);
    }
    for of in &mut week_words.quotes {
        NASTY.clone_into(&mut of.job_type);
        of.lost_why = vec![NASTY.to_owned()];
    }
    if let Some(ahead) = &mut week_words.ahead {
        NASTY.clone_into(&mut ahead.weeks[0].week);
        for job in &mut ahead.jobs {
            NASTY.clone_into(&mut job.vehicle);
            NASTY.clone_into(&mut job.planned_date);
        }
    }
    if let Some(honesty) = &mut week_words.honesty {
        NASTY.clone_into(&mut honesty.remark);
        NASTY.clone_into(&mut honesty.of[1].what);
    }
    let mut story = fixture::story();
    for line in &mut story.lines {
        NASTY.clone_into(&mut line.text);
        line.notices = vec![NASTY.to_owned()];
    }
    for stretch in &mut story.stretches {
        NASTY.clone_into(&mut stretch.stage);
    }
    for place in &mut story.places {
        NASTY.clone_into(&mut place.place);
    }
    for page in [week_page(&week_words), job::page(&story)] {
        // Reading it back fails where a text broke out.
        let elements = read(&page);
        assert!(elements.named("script").is_empty() && elements.named("img").is_empty());
        assert!(
            elements.text.contains("<script>alert(1)</script>"),
            "shown as it was said"
        );
        let steers = page
            .chars()
            .find(|c| (c.is_control() && *c != '\n') || ('\u{202a}'..='\u{202e}').contains(c));
        assert_eq!(steers, None);
    }
}

#[test]
fn no_worker_is_named_on_the_page_of_the_week() {
    // The wire has no field for one; what could bring a name in is a text.
    let mut week = fixture::week();
    for code in [
        "unclosed",
        "break-crossed",
        "unknown-code",
        "set-aside",
        "of-later",
    ] {
        week.odd.push(OddRecord {
            code: code.to_owned(),
            text: "Nothing ended polish by ben; ana did.".to_owned(),
            ..OddRecord::default()
        });
    }
    let page = week_page(&week);
    let elements = read(&page);
    let mut words = elements.text.split(|c: char| !c.is_alphanumeric());
    assert_eq!(
        words.find(|word| ["ana", "ben", "Ana", "Ben"].contains(word)),
        None
    );
    // The same names are on the page of a job, which says who did what.
    assert!(job::page(&fixture::story()).contains("ana"));
    for heading in elements.named("th") {
        let words = heading.text.to_lowercase();
        assert!(
            !words.contains("worker") && !words.contains("who"),
            "{words}"
        );
    }
}

#[test]
fn an_empty_week_says_so_in_a_sentence() {
    let page = week_page(&Week {
        week: "2026-W48".to_owned(),
        ..Week::default()
    });
    let read = read(&page);
    assert!(
        read.text
            .contains("The log is empty: nothing has been posted yet.")
    );
    assert!(read.named("table").is_empty() && read.named("figure").is_empty());
}

#[test]
fn the_causes_add_up_to_the_line_below_them() {
    let week = fixture::week();
    let sum: i64 = week.shortfalls.iter().map(|cause| cause.amount_minor).sum();
    let page = read(&week_page(&week));
    let tables = page.named("table");
    let causes = tables
        .iter()
        .find(|t| t.children[0].text.contains("took from the result"))
        .unwrap();
    let cents = |element: &Element| -> i64 {
        let last = element.children.last().unwrap();
        let digits: String = last.text.chars().filter(char::is_ascii_digit).collect();
        let size: i64 = digits.parse().unwrap();
        if last.text.starts_with('−') {
            -size
        } else {
            size
        }
    };
    let rows = causes.named("tbody")[0].named("tr");
    let total = causes.named("tfoot")[0].named("tr");
    assert_eq!(rows.len(), 7);
    assert_eq!(
        rows.iter().map(|row| cents(row)).sum::<i64>(),
        cents(total[0])
    );
    assert_eq!(cents(total[0]), sum);
}

#[test]
fn each_row_with_an_id_prints_it_and_the_page_says_how_to_open_it() {
    let page = read(&week_page(&fixture::week()));
    let ids: Vec<&str> = page
        .all()
        .into_iter()
        .filter(|element| element.attribute("class") == Some("id"))
        .map(|element| element.text.as_str())
        .collect();
    for id in ["s1", "b0", "t1", "j0", "c0", "g1"] {
        assert!(ids.contains(&id), "{id} is not among {ids:?}");
    }
    assert!(page.text.contains("bay week 2026-W48 --why ID"));
}

#[test]
fn contribution_is_called_margin_only_where_all_costs_are_known() {
    let page = week_page(&fixture::week());
    assert!(read(&page).text.contains("of contribution"));
    let mut known = fixture::week();
    if let Some(money) = &mut known.money {
        money.margin = true;
    }
    let page = week_page(&known);
    assert!(read(&page).text.contains("of margin") && !page.contains("contribution"));
}

#[test]
fn a_long_span_is_drawn_by_week() {
    let mut long = fixture::week();
    let days = long.days.clone();
    for weeks in 1..12_i64 {
        for day in &days {
            let date: jiff::civil::Date = day.date.parse().unwrap();
            let earlier = date.checked_sub(jiff::Span::new().weeks(weeks)).unwrap();
            long.days.push(baywright_proto::v1::WeekDay {
                date: earlier.to_string(),
                ..day.clone()
            });
        }
    }
    let page = read(&week_page(&long));
    let chart = page
        .named("svg")
        .into_iter()
        .find(|s| s.attribute("aria-labelledby") == Some("bays-chart-title"))
        .unwrap();
    assert!(chart.text.contains("W37") && chart.text.contains("W48"));
    assert!(chart.named("rect").len() < 200);
}
