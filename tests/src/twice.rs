//! The end of the demo: one vehicle quoted twice, from the trade guess alone
//! and from what the shop had recorded by then, with the actual beside both.

use anyhow::{Context as _, Result};
use baywright_client::connect::Link;
use baywright_client::render::figure::hours_minutes;
use baywright_client::render::table::{Column, Table};
use baywright_client::render::text::paragraph;
use baywright_proto::v1;
use baywright_proto::v1::quote_service_client::QuoteServiceClient;
use tonic::transport::Channel;

/// Columns of the terminal that the demo counts on.
const PAGE: usize = 80;

/// Quotes that one asks for to find a released job among them.
const QUOTES: u32 = 200;

/// The type whose allowances of the trade are furthest from the invented truth.
const TELLING: &str = "trike";

/// Says what the same vehicle was quoted at with and without records.
///
/// `guess_seq` is the log's last seq before any job: what was learned up to
/// there is nothing.
pub async fn quoted_twice(mut link: Link, guess_seq: u64) -> Result<String> {
    let mut service = QuoteServiceClient::new(link.channel().await?);
    let Some(quote) = telling(&mut service).await? else {
        return Ok("No quoted vehicle has left yet.\n".to_owned());
    };
    let line = quote.line.as_ref().context("a quote has a line")?;
    let learned = quote.printed.as_ref().context("a quote has figures")?;
    let request = v1::SuggestRequest {
        asked: quote.asked.clone(),
        as_of_seq: guess_seq,
        asked_us: line.drafted_us,
        ..Default::default()
    };
    let guess = service.suggest(request).await?.into_inner();
    let guess = guess.printed.context("a guess has figures")?;
    Ok(told(&quote, line, &guess, learned))
}

/// The quote of the last released vehicle of the telling type, else of any.
async fn telling(service: &mut QuoteServiceClient<Channel>) -> Result<Option<v1::Quote>> {
    let request = v1::ListQuotesRequest {
        state: v1::QuoteState::Accepted.into(),
        at_most: QUOTES,
        ..Default::default()
    };
    let listed = service.list_quotes(request).await?.into_inner().quotes;
    let mut left: Vec<v1::QuoteLine> = listed.into_iter().filter(|q| q.released).collect();
    left.sort_by_key(|quote| (quote.job_type.contains(TELLING), quote.drafted_us));
    let Some(line) = left.pop() else {
        return Ok(None);
    };
    let request = v1::ShowQuoteRequest {
        quote: Some(v1::QuoteRef {
            quote: Some(v1::quote_ref::Quote::Number(line.number)),
        }),
    };
    Ok(service.show_quote(request).await?.into_inner().quote)
}

fn told(
    quote: &v1::Quote,
    line: &v1::QuoteLine,
    guess: &v1::QuotePrinted,
    learned: &v1::QuotePrinted,
) -> String {
    let graded = quote.asked.as_ref().and_then(|asked| asked.grades);
    let v1::Grades { soil, defects, .. } = graded.unwrap_or_default();
    let said = format!(
        "Job {}, {} ({}, soil {soil}, defects {defects}), quoted twice: from the trade guess alone, \
         and as it was quoted in fact, from the {} jobs that had left by then, {} of them of its type.",
        line.job_number, line.vehicle, line.job_type, learned.from_jobs_all, learned.from_jobs
    );
    let mut table = Table::new([
        Column::text(""),
        Column::number("half of such"),
        Column::number("four in five"),
        Column::number("cost"),
        Column::number("price"),
    ]);
    let money = |minor: i64| format!("{} {}", minor / 100, learned.currency);
    for (name, of) in [("trade guess", guess), ("from records", learned)] {
        table.row([
            name.to_owned(),
            hours_minutes(of.hands_on_half_us),
            hours_minutes(of.hands_on_p80_us),
            money(of.cost_minor),
            money(of.price_minor),
        ]);
    }
    table.row([
        "it took".to_owned(),
        hours_minutes(line.actual_hands_on_us),
        String::new(),
        money(quote.actual_cost_minor),
        money(line.agreed_minor),
    ]);
    format!("{}\n{}", paragraph(&said, PAGE, 0), table.render(PAGE))
}
