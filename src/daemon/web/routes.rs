//! What can be asked, by path.

use std::time::Duration;

use axum::Router;
use axum::body::Body;
use axum::extract::{Request as HttpRequest, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::middleware::from_fn_with_state;
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use serde::Serialize;

use super::Shared;
use super::guard::{self, HEALTH};
use super::reply::{Problem, json};
use crate::daemon::handle::AskError;
use crate::daemon::people::{Answer, Request};

/// The longest body of a request [bytes].
const LONGEST_BODY: usize = 16 * 1024;
/// Time for a body to come in.
const BODY_WITHIN: Duration = Duration::from_secs(5);
/// The loop shows itself every half minute at least; after this it is stuck.
const PULSE_WITHIN: Duration = Duration::from_secs(120);
/// Characters of a request that go into the log.
const LOGGED: usize = 300;

pub(super) fn router(shared: Shared) -> Router {
    Router::new()
        .route("/v1/status", get(status))
        .route("/v1/ask", post(ask))
        .route(HEALTH, get(health))
        .fallback(unknown_path)
        .method_not_allowed_fallback(wrong_method)
        .layer(from_fn_with_state(shared.clone(), guard::guard))
        .with_state(shared)
}

async fn status(State(shared): State<Shared>) -> Response {
    json(StatusCode::OK, shared.handle.status().as_ref())
}

#[derive(Serialize)]
struct Health {
    healthy: bool,
    phase: String,
    /// Seconds since the control loop last showed itself.
    silent_s: u64,
    /// What is wrong with the clock: nothing is watered by it.
    clock_problem: Option<String>,
}

async fn health(State(shared): State<Shared>) -> Response {
    let silent = shared.pulse.age();
    let shown = shared.handle.status();
    let lives = shared.handle.is_served() && silent < PULSE_WITHIN;
    let healthy = lives && shown.clock_problem.is_none();
    let health = Health {
        healthy,
        phase: shown.phase.clone(),
        silent_s: silent.as_secs(),
        clock_problem: shown.clock_problem.clone().filter(|_| lives),
    };
    let status = match healthy {
        true => StatusCode::OK,
        false => StatusCode::SERVICE_UNAVAILABLE,
    };
    json(status, &health)
}

async fn ask(State(shared): State<Shared>, request: HttpRequest) -> Response {
    match answer(&shared, request).await {
        Ok(answer @ Answer::Done(_)) => json(StatusCode::OK, &answer),
        Ok(answer @ Answer::Refused(_)) => json(StatusCode::CONFLICT, &answer),
        Err(problem) => problem.into_response(),
    }
}

async fn answer(shared: &Shared, request: HttpRequest) -> Result<Answer, Problem> {
    let (head, body) = request.into_parts();
    if !is_json(&head.headers) {
        return Err(Problem::new(
            StatusCode::UNSUPPORTED_MEDIA_TYPE,
            "content-type",
            "a request is JSON: send `Content-Type: application/json`",
        ));
    }
    let request = read(&head.headers, body).await?;
    let shown: String = format!("{request:?}").chars().take(LOGGED).collect();
    let answer = shared.handle.ask(request).await.map_err(unanswered)?;
    tracing::info!(request = %shown, answer = ?answer, "a person asked");
    Ok(answer)
}

fn unanswered(error: AskError) -> Problem {
    let (status, code) = match error {
        AskError::Busy => (StatusCode::SERVICE_UNAVAILABLE, "busy"),
        AskError::Late(_) => (StatusCode::GATEWAY_TIMEOUT, "late"),
        AskError::Gone => (StatusCode::SERVICE_UNAVAILABLE, "stopping"),
    };
    Problem::new(status, code, error.to_string())
}

fn is_json(headers: &HeaderMap) -> bool {
    let kind = headers.get(header::CONTENT_TYPE);
    let kind = kind.and_then(|value| value.to_str().ok());
    let kind = kind.and_then(|value| value.split(';').next());
    kind.is_some_and(|kind| kind.trim().eq_ignore_ascii_case("application/json"))
}

async fn read(headers: &HeaderMap, body: Body) -> Result<Request, Problem> {
    let too_long = || {
        let text = format!("a request has at most {LONGEST_BODY} bytes");
        Problem::new(StatusCode::PAYLOAD_TOO_LARGE, "too-long", text)
    };
    let length = headers.get(header::CONTENT_LENGTH);
    let length = length.and_then(|value| value.to_str().ok()?.parse::<usize>().ok());
    if length.is_some_and(|length| length > LONGEST_BODY) {
        return Err(too_long());
    }
    let bytes = axum::body::to_bytes(body, LONGEST_BODY);
    let bytes = tokio::time::timeout(BODY_WITHIN, bytes).await;
    let bytes = bytes.map_err(|_| {
        let text = "the request did not come in within 5 s";
        Problem::new(StatusCode::REQUEST_TIMEOUT, "slow", text)
    })?;
    let bytes = bytes.map_err(|_| too_long())?;
    serde_json::from_slice(&bytes).map_err(|error| {
        let text = format!("the request cannot be read: {error}; docs/daemon-api.md lists them");
        let text = text.chars().filter(|c| !c.is_control()).take(LOGGED);
        Problem::new(StatusCode::BAD_REQUEST, "request", text.collect::<String>())
    })
}

async fn unknown_path() -> Problem {
    Problem::new(
        StatusCode::NOT_FOUND,
        "path",
        "there are /v1/status, /v1/ask and /v1/health",
    )
}

async fn wrong_method() -> Problem {
    Problem::new(
        StatusCode::METHOD_NOT_ALLOWED,
        "method",
        "status and health are asked with GET, ask with POST",
    )
}
