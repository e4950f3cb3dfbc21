//! A quote as one page for the customer: what will be done and for what
//! price. Nothing of the shop's inner figures is on it: no hours, no costs, no
//! margin, nothing of what was learned.

use baywright_proto::v1::{Quote, QuoteAsked, QuoteLine, QuotePrinted, QuoteState};
use baywright_terms::catalogue::{Catalogue, JobType};
use maud::{Markup, html};

use super::frame::{Frame, Look, Section};
use super::phrase::Purse;
use super::style::OFFER;
use crate::describe::milli;
use crate::render::calendar::Calendar;
use crate::render::quote::{is_priced, is_range, tax, with_tax};
use crate::render::text::clean;

/// What every part of the page needs.
struct Offer<'a> {
    quote: &'a Quote,
    line: QuoteLine,
    asked: QuoteAsked,
    printed: QuotePrinted,
    /// Names of stages and types, as far as they are known here.
    catalogue: Option<&'a Catalogue>,
    calendar: Calendar,
    purse: Purse,
}

/// The page of HTML. Without a catalogue stages stand under their codes.
pub fn page(quote: &Quote, catalogue: Option<&Catalogue>) -> String {
    let printed = quote.printed.clone().unwrap_or_default();
    let offer = Offer {
        quote,
        line: quote.line.clone().unwrap_or_default(),
        asked: quote.asked.clone().unwrap_or_default(),
        purse: Purse::of(&printed.currency),
        printed,
        catalogue,
        calendar: Calendar::of(&quote.zone),
    };
    let sections = vec![
        Section::new("work", "What will be done", work(&offer)),
        Section::new("price", "Price", price(&offer)),
        Section::new("good-to-know", "Good to know", notes(&offer)),
    ];
    Frame {
        title: title(&offer),
        head: head(&offer),
        sections,
        foot: foot(&offer),
    }
    .into_html_as(Look {
        skip: "Skip to the quote",
        contents: false,
        rules: OFFER,
    })
}

impl Offer<'_> {
    fn job_type(&self) -> Option<&JobType> {
        self.catalogue?.job_types.get(self.asked.job_type.as_str())
    }

    /// A stage in the words of the catalogue.
    fn stage(&self, code: &str) -> String {
        self.catalogue
            .and_then(|catalogue| catalogue.stages.get(code))
            .map(|stage| clean(&stage.name))
            .filter(|name| !name.is_empty())
            .unwrap_or_else(|| clean(code))
    }

    fn is_accepted(&self) -> bool {
        self.line.state() == QuoteState::Accepted
    }

    /// `Quote 12`; `Draft of a quote` before it has a number.
    fn name(&self) -> String {
        match self.line.number {
            0 => "Draft of a quote".to_owned(),
            number => format!("Quote {number}"),
        }
    }
}

fn title(offer: &Offer<'_>) -> String {
    let shop = clean(&offer.quote.shop);
    if shop.is_empty() {
        offer.name()
    } else {
        format!("{shop}, {}", offer.name())
    }
}

fn head(offer: &Offer<'_>) -> Markup {
    let (line, asked) = (&offer.line, &offer.asked);
    let shop = clean(&offer.quote.shop);
    let [vehicle, customer] = [&asked.vehicle, &asked.customer].map(|text| clean(text));
    let kind = offer
        .job_type()
        .map(|t| clean(&t.name))
        .filter(|name| !name.is_empty());
    html! {
        @if !shop.is_empty() { p.shop { (shop) } }
        h1 { (offer.name()) }
        @if let Some(mark) = mark(line) { p.mark { (mark) } }
        dl.terms {
            @if !customer.is_empty() { dt { "For" } dd { (customer) } }
            @if !vehicle.is_empty() { dt { "Vehicle" } dd { (vehicle) } }
            @if let Some(kind) = kind { dt { "Service" } dd { (kind) } }
            @if line.addition { dt { "Comes on top of" } dd { "job " (line.job_number) } }
            @if line.drafted_us != 0 { dt { "Date" } dd { (offer.calendar.day(line.drafted_us)) } }
            @if !offer.is_accepted() && offer.printed.valid_until_us != 0 {
                dt { "Valid until" } dd { (offer.calendar.day(offer.printed.valid_until_us)) }
            }
            @if let Some(day) = planned(offer) { dt { "Planned for" } dd { (day) } }
        }
    }
}

fn mark(line: &QuoteLine) -> Option<&'static str> {
    match line.state() {
        QuoteState::Accepted => Some("Accepted"),
        QuoteState::Declined => Some("Declined"),
        QuoteState::RunOut => Some("No longer valid"),
        QuoteState::Open | QuoteState::Unspecified => (line.number == 0).then_some("Not sent yet"),
    }
}

fn planned(offer: &Offer<'_>) -> Option<String> {
    let date = offer.quote.planned_date.as_str();
    if date.is_empty() {
        return None;
    }
    let day: Result<jiff::civil::Date, _> = date.parse();
    Some(day.map_or_else(
        |_| clean(date),
        |day| day.strftime("%a %-d %b %Y").to_string(),
    ))
}

/// The stages in the order of work, and what is left out.
fn work(offer: &Offer<'_>) -> Markup {
    let stages: Vec<String> = offer
        .printed
        .stages
        .iter()
        .map(|s| offer.stage(&s.stage))
        .collect();
    let without: Vec<String> = offer
        .asked
        .without_stages
        .iter()
        .map(|c| offer.stage(c))
        .collect();
    let panels = panels_left_out(offer);
    html! {
        @if stages.is_empty() { p { "As agreed." } }
        @else { ol.work { @for stage in &stages { li { (stage) } } } }
        @if !without.is_empty() { p { "Not part of it: " (without.join("; ")) "." } }
        @if !panels.is_empty() { p { "Left out: " (panels.join(", ")) "." } }
    }
}

/// Panels of the type that this vehicle was not asked for with.
fn panels_left_out(offer: &Offer<'_>) -> Vec<String> {
    if offer.asked.panels.is_empty() {
        return Vec::new();
    }
    let of_type = offer
        .job_type()
        .map(|t| t.panels.as_slice())
        .unwrap_or_default();
    of_type
        .iter()
        .filter(|panel| {
            offer
                .asked
                .panels
                .iter()
                .all(|own| own.code != panel.code.as_str())
        })
        .map(|panel| clean(panel.code.as_str()).replace('-', " "))
        .collect()
}

fn price(offer: &Offer<'_>) -> Markup {
    let printed = &offer.printed;
    if offer.is_accepted() && offer.line.agreed_minor > 0 {
        let agreed = "The price agreed.";
        return html! { (one_price(offer, offer.line.agreed_minor)) p { (agreed) } };
    }
    if !is_priced(printed) {
        return html! { p { "The price follows." } };
    }
    if is_range(printed) {
        return range(offer);
    }
    let unseen = offer.asked.unseen.then_some(SUBJECT);
    html! {
        (one_price(offer, printed.price_minor))
        @if let Some(subject) = unseen { p { (subject) } }
    }
}

const SUBJECT: &str =
    "Subject to inspection: the final price is named once the vehicle has been seen.";

/// One sum: with the tax and what it is made of, else one line that it is
/// without.
fn one_price(offer: &Offer<'_>, minor: i64) -> Markup {
    let (purse, printed) = (&offer.purse, &offer.printed);
    let Some(((sum, percent), tax)) = with_tax(minor, printed).zip(tax(minor, printed)) else {
        return html! {
            p.price { (purse.named(minor)) }
            p { "Prices are without tax." }
        };
    };
    html! {
        p.price { (purse.named(sum)) }
        table.sums {
            caption { "Including " (percent) "\u{a0}% tax" }
            thead { tr { th scope="col" { "Made up of" } th.n scope="col" { (purse.code()) } } }
            tbody {
                tr { th scope="row" { "Price without tax" } td.n { (purse.number(minor)) } }
                tr { th scope="row" { "Tax, " (percent) "\u{a0}%" } td.n { (purse.number(tax)) } }
                tr.all { th scope="row" { "Price with tax" } td.n { (purse.number(sum)) } }
            }
        }
    }
}

fn range(offer: &Offer<'_>) -> Markup {
    let (purse, printed) = (&offer.purse, &offer.printed);
    let (from, to) = (printed.price_from_minor, printed.price_to_minor);
    let with_tax = |minor| with_tax(minor, printed).map_or(minor, |(sum, _)| sum);
    let percent = milli(i64::from(printed.tax_milli_pct));
    html! {
        p.price { "From " (purse.named(with_tax(from))) " to " (purse.named(with_tax(to))) }
        @if printed.tax_milli_pct == 0 { p { "Prices are without tax." } }
        @else {
            p {
                "Including " (percent) "\u{a0}% tax; without it from " (purse.named(from)) " to "
                (purse.named(to)) "."
            }
        }
        p { (SUBJECT) }
    }
}

fn notes(offer: &Offer<'_>) -> Markup {
    html! {
        p { "The price is for the work listed above; work beyond it has a price of its own." }
        p {
            "No lifetime of a finish is promised here: how long it lasts depends on use and care."
            @if offer.quote.planned_date.is_empty() { " No day is promised yet." }
        }
        @if !offer.quote.earlier.is_empty() {
            p { "This sheet takes the place of earlier ones with the same number." }
        }
    }
}

fn foot(offer: &Offer<'_>) -> Markup {
    let shop = clean(&offer.quote.shop);
    html! {
        p.small {
            @if !shop.is_empty() { (shop) ". " }
            (offer.name())
            @if offer.line.drafted_us != 0 { ", " (offer.calendar.day(offer.line.drafted_us)) }
            "."
        }
    }
}
