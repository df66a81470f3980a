//! What is answered: always JSON, an error always with what is wrong and how
//! to mend it.

use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Serialize;

use super::SCHEMA;

/// A refusal of the interface itself.
#[derive(Debug)]
pub(super) struct Problem {
    status: StatusCode,
    code: &'static str,
    text: String,
}

impl Problem {
    pub(super) fn new(status: StatusCode, code: &'static str, text: impl Into<String>) -> Self {
        let text = text.into();
        Self { status, code, text }
    }
}

#[derive(Serialize)]
struct Enveloped<T> {
    schema: &'static str,
    version: u32,
    #[serde(flatten)]
    content: T,
}

#[derive(Serialize)]
struct ErrorBody {
    error: ErrorText,
}

#[derive(Serialize)]
struct ErrorText {
    code: &'static str,
    text: String,
}

impl IntoResponse for Problem {
    fn into_response(self) -> Response {
        let (code, text) = (self.code, self.text);
        let error = ErrorText { code, text };
        let mut response = json(self.status, &ErrorBody { error });
        if self.status == StatusCode::UNAUTHORIZED {
            let scheme = HeaderValue::from_static("Bearer");
            response
                .headers_mut()
                .insert(header::WWW_AUTHENTICATE, scheme);
        }
        response
    }
}

/// A value in its envelope.
pub(super) fn json(status: StatusCode, content: &impl Serialize) -> Response {
    let (schema, version) = SCHEMA;
    let enveloped = Enveloped {
        schema,
        version,
        content,
    };
    let headers = [
        (header::CONTENT_TYPE, "application/json"),
        (header::CACHE_CONTROL, "no-store"),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    ];
    match serde_json::to_string_pretty(&enveloped) {
        Ok(text) => (status, headers, text + "\n").into_response(),
        Err(error) => {
            tracing::error!(%error, "an answer cannot be written as JSON");
            StatusCode::INTERNAL_SERVER_ERROR.into_response()
        }
    }
}
