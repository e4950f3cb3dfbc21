//! What is left on the shelf, and where one lot went.

use std::collections::BTreeSet;

use baywright_proto::v1::{LotPanel, LotResponse, LotUse, StockLine, StockResponse};

use super::calendar::Calendar;
use super::figure::{amount, counted};
use super::money::money;
use super::table::{Column, Table};
use super::text::{clean, push, section};

/// Longer than this nobody asks for how many days.
const DAYS_SHOWN_MAX: f64 = 999.0;
/// Where a figure is not known.
const UNKNOWN: &str = "-";

/// The stock as text of at most `page` columns.
pub fn stock(stock: &StockResponse, page: usize) -> String {
    let calendar = Calendar::of(&stock.zone);
    let mut out = String::new();
    let title = format!("Stock on {}", calendar.day_and_time(stock.as_of_us));
    push(&mut out, &title, page);
    if stock.stock.is_empty() {
        let none = "No product is known: the catalogue names none, and nothing came in. \
                    `bay stock in PRODUCT PACKS --pack 5l` writes down a delivery.";
        push(&mut out, none, page);
        return out;
    }
    let mut known: Vec<&StockLine> = stock.stock.iter().filter(|line| line.known).collect();
    known.sort_by(|a, b| soonest(a).total_cmp(&soonest(b)));
    if !known.is_empty() {
        out.push('\n');
        out.push_str(&table(&known, stock, &calendar).render(page));
        push(&mut out, &legend(&known, stock), page);
    }
    for sentence in to_do(&known, stock) {
        out.push('\n');
        push(&mut out, &sentence, page);
    }
    out.push_str(&opened(stock, &calendar, page));
    let unknown: Vec<String> = stock
        .stock
        .iter()
        .filter(|line| !line.known)
        .map(|line| clean(&line.product))
        .collect();
    if let Some(first) = unknown.first() {
        out.push('\n');
        let said = format!(
            "Never counted and never received, so that nobody knows what is left: {}. \
             `bay stock count {first} AMOUNT` begins.",
            unknown.join(", ")
        );
        push(&mut out, &said, page);
    }
    if let [line] = &stock.stock[..] {
        out.push('\n');
        push(&mut out, &account(line, &calendar), page);
    }
    out
}

/// Days until it may be gone; what is overdrawn or may be gone first comes first.
fn soonest(line: &StockLine) -> f64 {
    if line.left < 0.0 {
        return -1.0;
    }
    let soonest = line.days_left_busy.or(line.days_left);
    soonest.unwrap_or(f64::INFINITY)
}

fn table(known: &[&StockLine], stock: &StockResponse, calendar: &Calendar) -> Table {
    let mut table = Table::new([
        Column::text("product"),
        Column::number("left"),
        Column::text("unit"),
        Column::number("days"),
        Column::text("busy to\nquiet"),
        Column::text("order by"),
        Column::number("packs"),
    ]);
    for line in known {
        let range = match (line.days_left_busy, line.days_left_quiet) {
            (Some(busy), Some(quiet)) => format!("{} to {}", days(busy), days(quiet)),
            (Some(busy), None) => format!("{} and more", days(busy)),
            _ => UNKNOWN.to_owned(),
        };
        let order_by = match line.order_by_us {
            0 => UNKNOWN.to_owned(),
            at_us if at_us <= stock.as_of_us => "now".to_owned(),
            at_us => calendar.day_of_year(at_us),
        };
        table.row([
            line.product.clone(),
            amount(line.left),
            line.unit.clone(),
            line.days_left.map_or_else(|| UNKNOWN.to_owned(), days),
            range,
            order_by,
            match line.order_packs {
                0 => String::new(),
                packs => packs.to_string(),
            },
        ]);
        if line.without_amount > 0 {
            let records = counted(u64::from(line.without_amount), "record", "records");
            table.note(&format!(
                "    and {records} that cannot be taken off: no amount, or in another unit"
            ));
        }
    }
    table
}

fn legend(known: &[&StockLine], stock: &StockResponse) -> String {
    let mut said = vec![
        "Days: how long it lasts at the mean of the last eight whole weeks, or since the \
         first record of it. Busy: four weeks in five took less; quiet: one in five did."
            .to_owned(),
    ];
    if known.iter().any(|line| line.order_by_us != 0) {
        said.push(format!(
            "Order by: gone in busy weeks, less the lead time; so many packs last for that \
             and {} weeks on, which is common practice.",
            stock.cover_weeks
        ));
    }
    if known
        .iter()
        .any(|line| line.order_by_us == 0 && line.days_left.is_some())
    {
        said.push("Without a lead time in the catalogue nobody can say by when.".to_owned());
    }
    said.join(" ")
}

/// What somebody should do about it, in sentences.
fn to_do(known: &[&StockLine], stock: &StockResponse) -> Vec<String> {
    let mut said = Vec::new();
    let now: Vec<String> = known
        .iter()
        .filter(|line| line.order_by_us != 0 && line.order_by_us <= stock.as_of_us)
        .map(|line| packs(line, &stock.currency))
        .collect();
    if !now.is_empty() {
        said.push(format!("Order now: {}.", now.join(", ")));
    }
    let overdrawn: Vec<&str> = known
        .iter()
        .filter(|line| line.left < 0.0)
        .map(|line| line.product.as_str())
        .collect();
    if let Some(first) = overdrawn.first() {
        said.push(format!(
            "More was used than was ever received: {}. Count it: bay stock count {} AMOUNT",
            clean(&overdrawn.join(", ")),
            clean(first)
        ));
    }
    said
}

/// `iron-remover, 2 packs of 5000 ml (EUR 49.00)`.
fn packs(line: &StockLine, currency: &str) -> String {
    let product = clean(&line.product);
    if line.order_packs == 0 {
        return product;
    }
    let packs = counted(u64::from(line.order_packs), "pack", "packs");
    let cost = match line.pack_price_minor {
        0 => String::new(),
        minor => format!(
            " ({})",
            money(minor.saturating_mul(i64::from(line.order_packs)), currency)
        ),
    };
    let (pack, unit) = (amount(line.pack), clean(&line.unit));
    format!("{product}, {packs} of {pack} {unit}{cost}")
}

/// Bottles that have been open for longer than they keep.
fn opened(stock: &StockResponse, calendar: &Calendar, page: usize) -> String {
    let mut table = Table::new([
        Column::text("opened too long"),
        Column::text("lot"),
        Column::text("bay"),
        Column::text("since"),
        Column::number("event"),
    ]);
    for line in &stock.stock {
        for bottle in line.open.iter().filter(|bottle| bottle.too_long) {
            table.row([
                line.product.clone(),
                bottle.lot.clone(),
                bottle.bay.clone(),
                calendar.day(bottle.opened_us),
                bottle.seq.to_string(),
            ]);
        }
    }
    if table.is_empty() {
        return String::new();
    }
    let mut out = format!("\n{}", table.render(page));
    let what = "How long an open bottle keeps is the label's to say; `bay refill PRODUCT \
                --empty` closes one.";
    push(&mut out, what, page);
    out
}

/// What one product's figure is made of.
fn account(line: &StockLine, calendar: &Calendar) -> String {
    let unit = clean(&line.unit);
    let of = |value: f64| format!("{} {unit}", amount(value));
    let mut said = Vec::new();
    if line.known {
        let counted = match line.counted_us {
            0 => "It was never counted".to_owned(),
            at_us => format!(
                "{} were counted on {}",
                of(line.counted),
                calendar.day(at_us)
            ),
        };
        said.push(format!(
            "{counted}; {} came in and {} were used since, so that {} are left.",
            of(line.received),
            of(line.used),
            of(line.left)
        ));
    }
    if line.rate_days > 0 {
        said.push(format!(
            "{} a day over {}.",
            of(line.rate_per_day),
            counted(u64::from(line.rate_days), "day", "days")
        ));
    }
    let open = line.open.iter().map(|bottle| {
        let lot = match clean(&bottle.lot) {
            lot if lot.is_empty() => String::new(),
            lot => format!(" of lot {lot}"),
        };
        let bay = match clean(&bottle.bay) {
            bay if bay.is_empty() => String::new(),
            bay => format!(" in {bay}"),
        };
        let since = calendar.day(bottle.opened_us);
        format!("A bottle{lot} is open{bay} since {since}.")
    });
    said.extend(open);
    if said.is_empty() {
        said.push("There is no record of it.".to_owned());
    }
    said.join(" ")
}

/// `12`, `0.5`, `over 999`: days that something lasts.
fn days(days: f64) -> String {
    if days > DAYS_SHOWN_MAX {
        return format!("over {DAYS_SHOWN_MAX:.0}");
    }
    if days < 10.0 {
        return amount((days * 10.0).floor() / 10.0);
    }
    // Rounded down: the last day is not whole.
    format!("{:.0}", days.floor())
}

/// Where a lot went, as text of at most `page` columns.
pub fn lot(lot: &LotResponse, page: usize) -> String {
    let calendar = Calendar::of(&lot.zone);
    let mut out = String::new();
    let name = clean(&lot.lot);
    push(&mut out, &format!("Lot {name}"), page);
    if lot.receipts.is_empty() && lot.panels.is_empty() && lot.uses.is_empty() {
        let none = format!(
            "Nothing is recorded of a lot `{name}`. It has to be written as it was typed: \
             with `--lot` when it came in, was coated or used."
        );
        push(&mut out, &none, page);
        return out;
    }
    for receipt in &lot.receipts {
        let said = format!(
            "Received: {}, {}, on {} (event {}).",
            clean(&receipt.product),
            counted(u64::from(receipt.packs), "pack", "packs"),
            calendar.day(receipt.received_us),
            receipt.seq
        );
        push(&mut out, &said, page);
    }
    if lot.receipts.is_empty() {
        push(&mut out, "No receipt of it is recorded.", page);
    }
    push(&mut out, &reach(lot), page);
    if !lot.panels.is_empty() {
        out.push_str(&section("Sections that it is on", page));
        out.push_str(&panels(&lot.panels, &calendar).render(page));
    }
    if !lot.uses.is_empty() {
        out.push_str(&section("Uses that named it", page));
        out.push_str(&uses(&lot.uses, &calendar).render(page));
    }
    out.push('\n');
    push(&mut out, &caution(lot), page);
    out
}

/// How far it went, in a sentence.
fn reach(lot: &LotResponse) -> String {
    let name = |number: u64, handle: &str| (number, clean(handle));
    let of_panels = lot.panels.iter();
    let vehicles: BTreeSet<_> = of_panels
        .map(|panel| name(panel.job_number, &panel.handle))
        .collect();
    let gone: BTreeSet<_> = lot
        .panels
        .iter()
        .filter(|panel| panel.released_us != 0)
        .map(|panel| name(panel.job_number, &panel.handle))
        .collect();
    if vehicles.is_empty() {
        return "No coated section named it.".to_owned();
    }
    let sections = counted(count(lot.panels.len()), "section", "sections");
    let here = vehicles.len() - gone.len();
    let jobs = counted(count(vehicles.len()), "job", "jobs");
    let are = |n: usize| if n == 1 { "is" } else { "are" };
    format!(
        "On {sections} of {jobs}: {} {} released, {here} {} still here.",
        gone.len(),
        are(gone.len()),
        are(here)
    )
}

fn panels(panels: &[LotPanel], calendar: &Calendar) -> Table {
    let mut table = Table::new([
        Column::whole_text("panel"),
        Column::number("layer"),
        Column::whole_text("coated"),
        Column::whole_text("came out"),
        Column::number("event"),
    ]);
    let mut panels: Vec<&LotPanel> = panels.iter().collect();
    panels.sort_by_key(|p| (p.job_number, &p.handle, p.coated_us, p.seq));
    let mut vehicle = None;
    for panel in panels {
        let of = (panel.job_number, panel.handle.as_str());
        if vehicle != Some(of) {
            vehicle = Some(of);
            let whereabouts = match panel.released_us {
                0 => "still here".to_owned(),
                at_us => format!("released {}", calendar.day(at_us)),
            };
            let job = job_name(panel.job_number, &panel.handle);
            table.note(&format!(
                "job {job}, {}, {whereabouts}",
                clean(&panel.vehicle)
            ));
        }
        let section = match panel.section {
            0 => String::new(),
            section => format!(" {section}"),
        };
        table.row([
            format!("  {}{section}", panel.panel),
            panel.layer.to_string(),
            calendar.short_day_and_time(panel.coated_us),
            match panel.result.as_str() {
                "" => "not levelled".to_owned(),
                "high-spot" => "high spot".to_owned(),
                result => result.to_owned(),
            },
            panel.seq.to_string(),
        ]);
    }
    table
}

fn uses(uses: &[LotUse], calendar: &Calendar) -> Table {
    let mut table = Table::new([
        Column::text("job"),
        Column::text("vehicle"),
        Column::text("product"),
        Column::text("panels"),
        Column::text("used"),
        Column::number("event"),
    ]);
    for used in uses {
        let on_no_job = used.job_number == 0 && used.handle.is_empty();
        table.row([
            if on_no_job {
                "no job".to_owned()
            } else {
                job_name(used.job_number, &used.handle)
            },
            used.vehicle.clone(),
            used.product.clone(),
            used.panels.join(", "),
            calendar.short_day_and_time(used.used_us),
            used.seq.to_string(),
        ]);
    }
    table
}

fn job_name(number: u64, handle: &str) -> String {
    match number {
        0 => handle.to_owned(),
        number => number.to_string(),
    }
}

/// The tool knows where it went, and not what to do about it.
fn caution(lot: &LotResponse) -> String {
    let sheets: Vec<String> = lot.safety_data_sheets.iter().map(|s| clean(s)).collect();
    let sheets = if sheets.is_empty() {
        String::new()
    } else {
        format!(" ({})", sheets.join(", "))
    };
    format!(
        "What to do about a bad batch is for its maker and the safety data sheet{sheets} to \
         say, not for this list. It holds what was recorded with this lot; sections coated \
         without one may be of it too."
    )
}

fn count(length: usize) -> u64 {
    u64::try_from(length).unwrap_or(u64::MAX)
}

#[cfg(test)]
mod tests {
    use super::super::fixture;
    use super::*;

    #[test]
    fn the_stock_says_what_is_left_and_what_to_do() {
        insta::assert_snapshot!(stock(&fixture::stock(), 80));
    }

    #[test]
    fn one_product_comes_with_what_its_figures_are_made_of() {
        let mut one = fixture::stock();
        one.stock.truncate(1);
        insta::assert_snapshot!(stock(&one, 80));
    }

    #[test]
    fn a_shop_without_products_is_told_how_to_begin() {
        let none = StockResponse {
            stock: Vec::new(),
            ..fixture::stock()
        };
        assert!(stock(&none, 80).contains("No product is known"));
    }

    #[test]
    fn a_lot_is_found_on_every_section_and_defers_to_its_maker() {
        insta::assert_snapshot!(lot(&fixture::lot(), 80));
    }

    #[test]
    fn a_lot_that_nobody_named_gives_a_sentence() {
        let none = LotResponse {
            lot: "2\u{1b}[2J".to_owned(),
            ..LotResponse::default()
        };
        let text = lot(&none, 80);
        assert!(
            text.contains("Nothing is recorded of a lot `2?[2J`"),
            "{text}"
        );
    }

    #[test]
    fn no_line_is_wider_than_the_page() {
        for page in [40, 60, 80, 110] {
            for text in [stock(&fixture::stock(), page), lot(&fixture::lot(), page)] {
                for line in text.lines() {
                    assert!(super::super::text::width(line) <= page, "{page}: {line}");
                }
            }
        }
    }
}
