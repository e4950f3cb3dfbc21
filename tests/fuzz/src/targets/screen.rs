//! What is shown of a text that anybody typed: on a terminal, in a page, in a
//! spreadsheet.

use baywright_client::answer::{on_page, plain, plain_lines};
use baywright_client::render::text::{
    Breaks, clean, pad_left, pad_right, paragraph, shorten, width, wrap, wrap_at_most,
};

use crate::Target;
use crate::food::Food;

pub const SCREEN: Target = Target {
    name: "screen",
    run: screen,
    words: &[
        "\u{1b}[2J",
        "\u{9b}31m",
        "\u{202e}",
        "\u{2066}",
        "三輪",
        "e\u{301}",
        "\u{200d}",
        " ",
        "-",
        "=1+1",
        "\u{fe0f}",
        "\u{1f468}\u{200d}\u{1f527}",
    ],
    slower: 4,
    bytes_max: 4 * 1024,
};

/// True where nothing in a text steers a terminal: line ends are all that is
/// left of control characters, and nothing turns the direction of writing.
pub fn is_screen_safe(text: &str) -> bool {
    !text.chars().any(|c| {
        (c.is_control() && c != '\n')
            || matches!(
                c,
                '\u{61c}'
                    | '\u{200e}'
                    | '\u{200f}'
                    | '\u{202a}'..='\u{202e}'
                    | '\u{2028}'
                    | '\u{2029}'
                    | '\u{2066}'..='\u{2069}'
            )
    })
}

/// True for a page that holds nothing of what [`crate::made::HOSTILE`] tries.
pub fn is_page_safe(html: &str) -> bool {
    !html.contains("<script") && !html.contains("<img") && is_screen_safe(html)
}

/// Reads an export back as the program it is for would; says what it would
/// trip over.
pub fn is_export_whole(form: &str, written: &str) -> Result<(), String> {
    match form {
        "json" => written.lines().try_for_each(|line| {
            let read: Result<serde_json::Value, _> = serde_json::from_str(line);
            match read {
                Err(error) => Err(error.to_string()),
                Ok(_) if !is_screen_safe(line) => Err(format!("would steer a terminal: {line}")),
                Ok(_) => Ok(()),
            }
        }),
        "xes" => is_xml(written),
        _ => is_table(written),
    }
}

/// Rows of one width, and no cell that a spreadsheet would run.
fn is_table(written: &str) -> Result<(), String> {
    for row in csv::Reader::from_reader(written.as_bytes()).records() {
        let row = row.map_err(|error| error.to_string())?;
        let runs = |cell: &&str| {
            cell.trim_start().starts_with(['=', '+', '-', '@']) && cell.parse::<f64>().is_err()
        };
        if let Some(cell) = row.iter().find(runs) {
            return Err(format!("would run as a formula: {cell:?}"));
        }
    }
    Ok(())
}

fn is_xml(written: &str) -> Result<(), String> {
    let held = |c: char| matches!(c, '\t' | '\n' | '\r' | ' '..='\u{fffd}' | '\u{10000}'..);
    if let Some(c) = written.chars().find(|c| !held(*c)) {
        return Err(format!("XML cannot hold {c:?}"));
    }
    let mut reader = quick_xml::Reader::from_str(written);
    loop {
        use quick_xml::events::Event;
        match reader.read_event() {
            Err(error) => return Err(error.to_string()),
            Ok(Event::Eof) => return Ok(()),
            Ok(Event::Start(element) | Event::Empty(element)) => {
                for attribute in element.attributes() {
                    let attribute = attribute.map_err(|error| error.to_string())?;
                    quick_xml::escape::unescape(&attribute.value)
                        .map_err(|error| error.to_string())?;
                }
            }
            Ok(_) => {}
        }
    }
}

fn screen(data: &[u8]) {
    let mut food = Food::new(data);
    let columns = usize::from(food.byte() % 130);
    let text = String::from_utf8_lossy(food.rest());
    let cleaned = clean(&text);
    assert!(
        is_screen_safe(&cleaned) && !cleaned.contains('\n'),
        "{cleaned:?}"
    );
    assert_eq!(clean(&cleaned), cleaned, "cleaned twice is another");
    let lines = plain_lines(&text);
    assert!(is_screen_safe(&lines), "{lines:?}");
    assert!(is_screen_safe(&plain(&text)) && !plain(&text).contains('\n'));
    let letters = |text: &str| text.chars().filter(|c| *c != ' ').collect::<String>();
    for breaks in [Breaks::Spaces, Breaks::Hyphens] {
        let wrapped = wrap(&cleaned, columns, breaks);
        assert!(!wrapped.is_empty());
        assert_eq!(letters(&wrapped.concat()), letters(&cleaned));
        if columns >= 4 {
            let widest = wrapped.iter().map(|line| width(line)).max().unwrap_or(0);
            assert!(widest <= columns, "{widest} in {columns}: {wrapped:?}");
        }
    }
    assert!(
        width(&shorten(&cleaned, columns)) <= columns,
        "{cleaned:?} in {columns}"
    );
    let few = wrap_at_most(&cleaned, columns, 3);
    assert!(few.len() <= 3, "{few:?}");
    if columns >= 4 {
        let widest = few.iter().map(|line| width(line)).max().unwrap_or(0);
        assert!(widest <= columns, "{widest} in {columns}: {few:?}");
    }
    let _ = (pad_left(&cleaned, columns), pad_right(&cleaned, columns));
    let _ = paragraph(&cleaned, columns, columns / 2);
    let _ = on_page(&lines, columns);
}
