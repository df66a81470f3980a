//! Who may ask: the host that a request names, and its token.

use std::net::IpAddr;

use axum::extract::{Request, State};
use axum::http::{HeaderMap, StatusCode, header, uri::Authority};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use super::Shared;
use super::reply::Problem;

/// The path that needs no token: it tells nothing but life.
pub(super) const HEALTH: &str = "/v1/health";

/// Lets a request through, or says why not.
pub(super) async fn guard(State(shared): State<Shared>, request: Request, next: Next) -> Response {
    match judge(&shared, &request) {
        Ok(()) => next.run(request).await,
        Err(problem) => problem.into_response(),
    }
}

fn judge(shared: &Shared, request: &Request) -> Result<(), Problem> {
    let Some(token) = &shared.token else {
        return judge_host(request.headers());
    };
    if request.uri().path() == HEALTH || shows(request.headers(), token.reveal()) {
        return Ok(());
    }
    Err(Problem::new(
        StatusCode::UNAUTHORIZED,
        "token",
        "this daemon answers only with its token: send it as `Authorization: Bearer …`; \
         the commands of soakmist take it from SOAKMIST_DAEMON_TOKEN",
    ))
}

/// A page of another site that made its name point here still says that name;
/// an address or `localhost` it cannot say.
fn judge_host(headers: &HeaderMap) -> Result<(), Problem> {
    let mut hosts = headers.get_all(header::HOST).iter();
    let host = match (hosts.next(), hosts.next()) {
        (Some(host), None) => host.to_str().ok(),
        _ => None,
    };
    if host.is_some_and(is_here) {
        return Ok(());
    }
    Err(Problem::new(
        StatusCode::FORBIDDEN,
        "host",
        "without a token the daemon is asked by address, such as http://127.0.0.1:8732, \
         and by no other name",
    ))
}

fn is_here(host: &str) -> bool {
    let Ok(authority) = host.parse::<Authority>() else {
        return false;
    };
    let name = authority.host();
    let plain = name.strip_prefix('[').and_then(|n| n.strip_suffix(']'));
    let is_address = plain.unwrap_or(name).parse::<IpAddr>().is_ok();
    !host.contains('@') && (is_address || name.eq_ignore_ascii_case("localhost"))
}

fn shows(headers: &HeaderMap, token: &str) -> bool {
    let shown = headers.get(header::AUTHORIZATION);
    let shown = shown.and_then(|value| value.as_bytes().split_first_chunk::<7>());
    shown.is_some_and(|(scheme, shown)| {
        scheme.eq_ignore_ascii_case(b"bearer ") && is_same(shown, token.as_bytes())
    })
}

/// Takes as long wherever two texts of one length differ.
fn is_same(a: &[u8], b: &[u8]) -> bool {
    let differ = a.iter().zip(b).fold(0, |differ, (a, b)| differ | (a ^ b));
    a.len() == b.len() && std::hint::black_box(differ) == 0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses_and_localhost_are_here_and_nothing_else_is() {
        for host in [
            "127.0.0.1:8732",
            "127.0.0.1",
            "[::1]:8732",
            "localhost",
            "LocalHost:80",
            "192.168.7.2:8732",
        ] {
            assert!(is_here(host), "{host}");
        }
        for host in [
            "",
            "harrowmere.example:8732",
            "localhost.harrowmere.example",
            "127.0.0.1.harrowmere.example",
            "a@127.0.0.1",
            "127.0.0.1/x",
            "[::1",
            "\u{7f}",
        ] {
            assert!(!is_here(host), "{host}");
        }
    }

    #[test]
    fn a_token_is_compared_whole() {
        assert!(is_same(b"abc", b"abc"));
        assert!(!is_same(b"abd", b"abc"));
        assert!(!is_same(b"ab", b"abc"));
        assert!(!is_same(b"abcd", b"abc"));
        assert!(!is_same(b"", b"abc"));
    }
}
