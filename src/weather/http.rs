//! One exchange over HTTP, bounded in time and size: the only place that opens
//! a connection.

use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use reqwest::StatusCode;
use reqwest::header::{self, HeaderMap, HeaderName, HeaderValue};

use super::cache::Entry;
use super::politeness::{self, Failed};
use super::services::{Request, shown};

/// What one exchange over HTTP gave.
pub(super) enum Exchange {
    /// A body within the limit.
    Body { text: String, headers: HeaderMap },
    /// What is kept still holds (304).
    NotModified { headers: HeaderMap },
    /// Neither.
    Failure {
        failed: Failed,
        retry_after: Option<TimeDelta>,
        what: String,
        gone: bool,
    },
}

impl Exchange {
    fn trouble(what: String) -> Self {
        Self::Failure {
            failed: Failed::Trouble,
            retry_after: None,
            what,
            gone: false,
        }
    }
}

/// A client that names itself and is bounded.
#[derive(Debug)]
pub(super) struct Client {
    inner: reqwest::Client,
    body_limit: usize,
}

/// Why there is no client.
pub(super) enum ClientError {
    /// The contact cannot stand in a header.
    BadContact,
    /// The library refuses, with its reason.
    Library(String),
}

impl Client {
    /// A client with its bounds.
    pub(super) fn new(
        contact: Option<&str>,
        time_limit: Duration,
        body_limit: usize,
    ) -> Result<Self, ClientError> {
        install_tls_provider();
        let inner = reqwest::Client::builder()
            .user_agent(user_agent(contact)?)
            .timeout(time_limit)
            .redirect(reqwest::redirect::Policy::custom(same_host_only))
            .build()
            .map_err(|error| ClientError::Library(chain(&error)))?;
        Ok(Self { inner, body_limit })
    }

    /// Asks one address once.
    pub(super) async fn exchange(
        &self,
        request: &Request,
        entry: &Entry,
        now: DateTime<Utc>,
    ) -> Exchange {
        let mut ask = self
            .inner
            .get(&request.url)
            .header(header::ACCEPT, request.accept);
        if entry.body.is_some() {
            let conditions = [
                (header::IF_MODIFIED_SINCE, &entry.last_modified),
                (header::IF_NONE_MATCH, &entry.etag),
            ];
            for (name, value) in conditions {
                if let Some(value) = value.as_deref().and_then(|v| HeaderValue::from_str(v).ok()) {
                    ask = ask.header(name, value);
                }
            }
        }
        let response = match ask.send().await {
            Ok(response) => response,
            Err(error) => return Exchange::trouble(in_words(error)),
        };
        let status = response.status();
        let headers = response.headers().clone();
        match status {
            StatusCode::NOT_MODIFIED if entry.body.is_some() => Exchange::NotModified { headers },
            StatusCode::OK | StatusCode::NON_AUTHORITATIVE_INFORMATION => {
                if status == StatusCode::NON_AUTHORITATIVE_INFORMATION {
                    tracing::warn!(url = %request.url, "the service says that this interface ends");
                }
                match self.body(response).await {
                    Ok(text) => Exchange::Body { text, headers },
                    Err(what) => Exchange::trouble(what),
                }
            }
            _ => refusal(status, &headers, now),
        }
    }

    /// The body, up to the limit.
    async fn body(&self, mut response: reqwest::Response) -> Result<String, String> {
        let limit = self.body_limit;
        let too_long = || format!("the reply is longer than {limit} bytes");
        if response
            .content_length()
            .is_some_and(|length| length > limit as u64)
        {
            return Err(too_long());
        }
        let mut bytes = Vec::new();
        while let Some(chunk) = response.chunk().await.map_err(in_words)? {
            if bytes.len() + chunk.len() > limit {
                return Err(too_long());
            }
            bytes.extend_from_slice(&chunk);
        }
        String::from_utf8(bytes).map_err(|_| "the reply is not text in UTF-8".to_owned())
    }
}

/// What a status other than success means.
fn refusal(status: StatusCode, headers: &HeaderMap, now: DateTime<Utc>) -> Exchange {
    let retry_after =
        text_of(headers, header::RETRY_AFTER).and_then(|text| politeness::retry_after(&text, now));
    let (failed, meaning) = match status {
        StatusCode::TOO_MANY_REQUESTS => (Failed::Throttled, "it is asked too often"),
        StatusCode::FORBIDDEN => (Failed::Refused, "it refuses: is the contact right?"),
        StatusCode::NOT_FOUND => (Failed::Trouble, "it has no forecast at this address"),
        StatusCode::UNPROCESSABLE_ENTITY => (Failed::Refused, "the place is outside its area"),
        status if status.is_client_error() => {
            (Failed::Refused, "it does not understand the request")
        }
        status if status.is_server_error() => (Failed::Trouble, "it has trouble of its own"),
        _ => (Failed::Trouble, "an answer that is not expected"),
    };
    Exchange::Failure {
        failed,
        retry_after,
        what: format!("{meaning} (HTTP {})", status.as_u16()),
        gone: status == StatusCode::NOT_FOUND,
    }
}

/// A header as text, unless it is absurdly long.
pub(super) fn text_of(headers: &HeaderMap, name: HeaderName) -> Option<String> {
    let text = headers.get(name)?.to_str().ok()?;
    (text.len() <= 512).then(|| text.to_owned())
}

/// What a failed exchange was, for people, without the address (which the
/// service's name stands for).
fn in_words(error: reqwest::Error) -> String {
    let error = error.without_url();
    if error.is_timeout() {
        return "it does not answer in time".to_owned();
    }
    if error.is_connect() {
        return format!("no connection ({})", shown(&chain(&error)));
    }
    if error.is_redirect() {
        return "it sends to another host, which is not followed".to_owned();
    }
    shown(&chain(&error))
}

/// An error and its causes in one line.
fn chain(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut cause = error.source();
    while let Some(next) = cause {
        text.push_str(": ");
        text.push_str(&next.to_string());
        cause = next.source();
    }
    text
}

/// `soakmist/0.1.0 (contact)`.
fn user_agent(contact: Option<&str>) -> Result<String, ClientError> {
    let name = concat!("soakmist/", env!("CARGO_PKG_VERSION"));
    let Some(contact) = contact else {
        return Ok(name.to_owned());
    };
    let fits = |byte: u8| byte.is_ascii_graphic() && !b"()\\\"".contains(&byte);
    if contact.is_empty() || contact.len() > 100 || !contact.bytes().all(fits) {
        return Err(ClientError::BadContact);
    }
    Ok(format!("{name} ({contact})"))
}

/// Follows a redirection only on the host that was asked, and only twice: the
/// contact and the place are meant for that service alone.
fn same_host_only(attempt: reqwest::redirect::Attempt) -> reqwest::redirect::Action {
    let same = attempt.previous().last().is_some_and(|from| {
        from.host_str() == attempt.url().host_str()
            && from.port_or_known_default() == attempt.url().port_or_known_default()
            && (attempt.url().scheme() == from.scheme() || attempt.url().scheme() == "https")
    });
    if !same || attempt.previous().len() > 2 {
        return attempt.error("another host");
    }
    attempt.follow()
}

/// The HTTP client panics without a process-wide provider of cryptography, so
/// every way to a client leads through here.
fn install_tls_provider() {
    // An error says that one is installed already, which serves as well.
    let _ = rustls::crypto::ring::default_provider().install_default();
}
