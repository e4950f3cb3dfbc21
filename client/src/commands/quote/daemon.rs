//! What is asked of the daemon: a quote needs it, so its absence is said so.

use baywright_proto::v1;
use baywright_proto::v1::quote_ref::Quote as Named;
use baywright_proto::v1::quote_service_client::QuoteServiceClient;
use tonic::transport::Channel;
use tonic::{Response, Status};

use crate::connect::REPORT_MS_MAX;
use crate::context::Context;
use crate::error::{Error, Kind};

/// Says how quotes are found where one is not.
const WHERE_QUOTES_ARE: &str = "`bay quote list` shows the quotes by number.";

/// A quote by its number, also with `#` before it, or by its event id.
pub(super) fn named(typed: &str) -> Result<v1::QuoteRef, Error> {
    let typed = typed.trim().trim_start_matches('#');
    let quote = match typed.parse::<u64>() {
        Ok(number) if number > 0 => Named::Number(number),
        _ => match uuid::Uuid::parse_str(typed) {
            Ok(id) => Named::DraftedEventId(id.as_bytes().to_vec()),
            Err(_) => {
                return Err(
                    Error::usage(format!("`{typed}` is not the number of a quote."))
                        .with_hint(WHERE_QUOTES_ARE),
                );
            }
        },
    };
    Ok(v1::QuoteRef { quote: Some(quote) })
}

/// Works a quote out; posts nothing.
pub(super) fn suggest(
    context: &Context,
    request: v1::SuggestRequest,
) -> Result<v1::SuggestResponse, Error> {
    ask(context, "the quote", async |channel| {
        QuoteServiceClient::new(channel).suggest(request).await
    })
}

pub(super) fn list(
    context: &Context,
    request: v1::ListQuotesRequest,
) -> Result<v1::ListQuotesResponse, Error> {
    ask(context, "the quotes", async |channel| {
        QuoteServiceClient::new(channel).list_quotes(request).await
    })
}

/// A quote with all that became of it.
pub(super) fn show(context: &Context, of: &v1::QuoteRef) -> Result<v1::Quote, Error> {
    let request = v1::ShowQuoteRequest {
        quote: Some(of.clone()),
    };
    let answer = ask(context, "the quote", async |channel| {
        QuoteServiceClient::new(channel).show_quote(request).await
    });
    let answer = answer.map_err(|error| match (error.kind(), error.hint()) {
        // The daemon may have said so itself.
        (Kind::Refused, None) if !error.message().contains("bay quote list") => {
            error.with_hint(WHERE_QUOTES_ARE)
        }
        _ => error,
    })?;
    answer
        .quote
        .ok_or_else(|| Error::internal("The daemon answered without a quote."))
}

/// The quote of a draft that was just posted. `None` where it cannot be read
/// now: the draft is in the log all the same.
pub(super) fn drafted(context: &Context, event_id: &[u8]) -> Option<v1::Quote> {
    let of = v1::QuoteRef {
        quote: Some(Named::DraftedEventId(event_id.to_vec())),
    };
    show(context, &of).ok()
}

/// Sends what waits on this bay, so that an answer counts it: a quote that was
/// accepted here while the daemon was away must not be accepted again.
pub(super) fn send_waiting(context: &Context) -> Result<(), Error> {
    let mut device = context.device()?;
    device.spool_mut().refresh()?;
    if device.spool().posts().waiting().is_empty() {
        return Ok(());
    }
    let mut link = context.link();
    context
        .block_on(device.deliver(&mut *link))?
        .map_err(needs_it)?;
    Ok(())
}

fn ask<T, F>(context: &Context, wanted: &str, ask: impl FnOnce(Channel) -> F) -> Result<T, Error>
where
    F: Future<Output = Result<Response<T>, Status>>,
{
    context
        .call_within(REPORT_MS_MAX, wanted, ask)
        .map_err(needs_it)
}

/// Quotes are the daemon's: without it there is none, and nothing was posted.
fn needs_it(error: Error) -> Error {
    if error.kind() != Kind::Unreachable {
        return error;
    }
    let hint = error.hint().unwrap_or_default().to_owned();
    Error::unreachable(format!(
        "A quote needs the daemon, and nothing was posted. {}",
        error.message()
    ))
    .with_hint(hint)
}
