//! A quote, worked out: the question made whole, and the answer as a message.

use baywright_proto::v1;
use baywright_terms::time::Micros;

use super::quote::QuoteError;
use super::{as_of, asked};
use crate::facts::reader::FactsReader;

impl FactsReader {
    /// Works a quote out. Posts nothing.
    ///
    /// # Errors
    /// If the question cannot be answered, or the database or the log fails.
    pub fn suggest(
        &self,
        request: &v1::SuggestRequest,
        now: Micros,
    ) -> Result<v1::SuggestResponse, QuoteError> {
        self.view_as_of(request.as_of_seq, |view| {
            let now = as_of(view, request.as_of_seq, now)?;
            let whole = asked::whole(view, request, now)?;
            Ok(v1::SuggestResponse {
                asked: Some(whole.asked),
                remarks: whole.remarks,
                ..v1::SuggestResponse::default()
            })
        })
    }
}
