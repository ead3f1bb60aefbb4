//! What a change of a test may be refused with, as the description of the API tells it.
//!
//! Each route adds what is its own: what it gives, and what it calls wrong (422).

use crate::refusal::Told;
use axum::http::StatusCode;
use std::collections::BTreeMap;
use utoipa::openapi::{ContentBuilder, Ref, RefOr, Response, ResponseBuilder};
use utoipa::{IntoResponses, ToSchema as _};

/// A status, and why it is given.
type Refused = (StatusCode, &'static str);

const NO_TOKEN: Refused = (StatusCode::FORBIDDEN, "The token of this run is missing");
const NOT_THERE: Refused = (StatusCode::NOT_FOUND, "There is no such test or revision");
const CHANGED_SINCE: Refused = (
    StatusCode::CONFLICT,
    "Somebody changed the test since; the message says what",
);

/// Refusals of a change that is sent as JSON.
pub(crate) struct JsonChangeRefused;

impl IntoResponses for JsonChangeRefused {
    fn responses() -> BTreeMap<String, RefOr<Response>> {
        told(&[
            (
                StatusCode::BAD_REQUEST,
                "The JSON or the number can't be read",
            ),
            NO_TOKEN,
            NOT_THERE,
            CHANGED_SINCE,
            (StatusCode::UNSUPPORTED_MEDIA_TYPE, "The body is no JSON"),
        ])
    }
}

/// Refusals of a file that is sent to a test.
pub(crate) struct FileRefused;

impl IntoResponses for FileRefused {
    fn responses() -> BTreeMap<String, RefOr<Response>> {
        told(&[
            (StatusCode::BAD_REQUEST, "Number or query can't be read"),
            NO_TOKEN,
            NOT_THERE,
            CHANGED_SINCE,
            (StatusCode::PAYLOAD_TOO_LARGE, "The file is too large"),
        ])
    }
}

/// Each of these with the problem and the remedy as its body.
fn told(refusals: &[Refused]) -> BTreeMap<String, RefOr<Response>> {
    refusals
        .iter()
        .map(|(status, why)| {
            let body = ContentBuilder::new()
                .schema(Some(Ref::from_schema_name(Told::name())))
                .build();
            let response = ResponseBuilder::new()
                .description(*why)
                .content("application/json", body)
                .build();
            (status.as_str().to_owned(), RefOr::T(response))
        })
        .collect()
}
