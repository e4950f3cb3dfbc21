//! Quotes of the fake: what was drafted in its log, and what was said to it.

use baywright_proto::v1;
use baywright_proto::v1::QuoteState;
use baywright_proto::v1::fact::Kind;
use baywright_proto::v1::quote_ref::Quote as Named;
use baywright_proto::v1::quote_service_server::QuoteService;
use prost::Message as _;
use tonic::{Request, Response, Status};

use super::{Services, State};

impl State {
    /// The quotes of the log, in its order.
    pub(crate) fn quotes(&self) -> Vec<v1::Quote> {
        let mut quotes: Vec<v1::Quote> = Vec::new();
        for stored in &self.log {
            let fact = v1::Fact::decode(&*stored.fact).unwrap();
            let find = |id: &[u8], quotes: &[v1::Quote]| {
                let is_it = |quote: &v1::Quote| {
                    quote
                        .line
                        .as_ref()
                        .is_some_and(|line| line.drafted_event_id == id)
                };
                quotes.iter().position(is_it)
            };
            match fact.kind {
                Some(Kind::QuoteDrafted(drafted)) => {
                    let number = u64::try_from(quotes.len()).unwrap() + 1;
                    let at_us = fact.clocks.map_or(0, |clocks| clocks.wall_us);
                    quotes.push(self.drafted(number, &stored.event_id, drafted, at_us));
                }
                Some(Kind::QuoteRevised(revised)) => {
                    let at = find(&revised.quote_event_id, &quotes).unwrap();
                    let quote = &mut quotes[at];
                    quote.earlier.extend(quote.printed.take());
                    quote.revised_why.push(revised.reason);
                    quote.asked = revised.asked;
                    quote.printed = revised.printed;
                }
                Some(Kind::QuoteAccepted(accepted)) => {
                    let at = find(&accepted.quote_event_id, &quotes).unwrap();
                    let line = quotes[at].line.as_mut().unwrap();
                    line.state = QuoteState::Accepted.into();
                    line.agreed_minor = accepted.agreed.map_or(0, |agreed| agreed.price_minor);
                }
                Some(Kind::QuoteDeclined(declined)) => {
                    let at = find(&declined.quote_event_id, &quotes).unwrap();
                    let line = quotes[at].line.as_mut().unwrap();
                    line.state = QuoteState::Declined.into();
                    line.why = declined.reason;
                }
                Some(Kind::JobOpened(opened)) => {
                    if let Some(at) = find(&opened.quote_event_id, &quotes) {
                        quotes[at].line.as_mut().unwrap().job_number = self.job.0;
                    }
                }
                _ => {}
            }
        }
        quotes
    }

    fn drafted(&self, number: u64, id: &[u8], drafted: v1::QuoteDrafted, at_us: i64) -> v1::Quote {
        let printed = drafted.printed.clone().unwrap_or_default();
        let state = if self.quotes_ran_out {
            QuoteState::RunOut
        } else {
            QuoteState::Open
        };
        v1::Quote {
            line: Some(v1::QuoteLine {
                number,
                drafted_event_id: id.to_vec(),
                state: state.into(),
                drafted_us: at_us,
                valid_until_us: printed.valid_until_us,
                price_minor: printed.price_minor,
                addition: drafted.addition,
                job_number: if drafted.addition { self.job.0 } else { 0 },
                ..v1::QuoteLine::default()
            }),
            currency: printed.currency.clone(),
            asked: drafted.asked,
            printed: Some(printed),
            shop: "Story shop (invented)".to_owned(),
            zone: "Europe/Lisbon".to_owned(),
            ..v1::Quote::default()
        }
    }
}

#[tonic::async_trait]
impl QuoteService for Services {
    async fn suggest(
        &self,
        request: Request<v1::SuggestRequest>,
    ) -> Result<Response<v1::SuggestResponse>, Status> {
        let mut state = self.state();
        let request = request.into_inner();
        let suggested = v1::SuggestResponse {
            asked: request.asked.clone(),
            ..state.suggested.clone()
        };
        state.suggest_requests.push(request);
        Ok(Response::new(suggested))
    }

    async fn list_quotes(
        &self,
        request: Request<v1::ListQuotesRequest>,
    ) -> Result<Response<v1::ListQuotesResponse>, Status> {
        let wanted = request.into_inner().state();
        let lines = self
            .state()
            .quotes()
            .into_iter()
            .filter_map(|quote| quote.line);
        let of_state =
            |line: &v1::QuoteLine| wanted == QuoteState::Unspecified || line.state() == wanted;
        Ok(Response::new(v1::ListQuotesResponse {
            currency: "EUR".to_owned(),
            zone: "Europe/Lisbon".to_owned(),
            quotes: lines.filter(of_state).collect(),
            left_off: 0,
        }))
    }

    async fn show_quote(
        &self,
        request: Request<v1::ShowQuoteRequest>,
    ) -> Result<Response<v1::ShowQuoteResponse>, Status> {
        let named = request.into_inner().quote.and_then(|quote| quote.quote);
        let mut quotes = self.state().quotes().into_iter();
        let quote = quotes.find(|quote| {
            let line = quote.line.as_ref().unwrap();
            match &named {
                Some(Named::Number(number)) => line.number == *number,
                Some(Named::DraftedEventId(id)) => line.drafted_event_id == *id,
                None => false,
            }
        });
        let quote = quote.ok_or_else(|| Status::not_found("there is no such quote"))?;
        Ok(Response::new(v1::ShowQuoteResponse { quote: Some(quote) }))
    }

    async fn learned(
        &self,
        _: Request<v1::LearnedRequest>,
    ) -> Result<Response<v1::LearnedResponse>, Status> {
        Err(Status::unimplemented("not of this fake"))
    }

    async fn honesty(
        &self,
        _: Request<v1::HonestyRequest>,
    ) -> Result<Response<v1::HonestyResponse>, Status> {
        Err(Status::unimplemented("not of this fake"))
    }

    async fn ahead(
        &self,
        _: Request<v1::AheadRequest>,
    ) -> Result<Response<v1::AheadResponse>, Status> {
        Err(Status::unimplemented("not of this fake"))
    }

    async fn past_known(
        &self,
        _: Request<v1::PastKnownRequest>,
    ) -> Result<Response<v1::PastKnownResponse>, Status> {
        Err(Status::unimplemented("not of this fake"))
    }
}
