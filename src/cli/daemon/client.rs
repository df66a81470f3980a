//! One exchange with the daemon, bounded in time and size.

use std::path::{Path, PathBuf};
use std::time::Duration;

use reqwest::{StatusCode, Url, header};
use serde::Deserialize;

use super::page::printable;
use crate::cli::Failure;
use crate::daemon::web::TOKEN_VARIABLE;
use crate::daemon::{Answer, Request, Status};
use crate::mqtt::Secret;
use crate::site::{Listen, Site};

/// Longer than the daemon takes for any answer.
const TIME_LIMIT: Duration = Duration::from_secs(30);
/// A daemon on this computer is there at once or not at all.
const CONNECT_WITHIN: Duration = Duration::from_secs(5);
/// The longest answer that is read [bytes]: the status of 1,000 zones takes a
/// tenth of it.
const LONGEST_ANSWER: usize = 4 * 1024 * 1024;
/// Where the daemon answers unless told otherwise.
const USUAL: &str = "http://127.0.0.1:8732";

/// Where the daemon is.
#[derive(Debug, clap::Args)]
pub struct Address {
    /// Where the daemon answers [default: http://127.0.0.1:8732]
    #[arg(long, value_name = "URL", env = "SOAKMIST_DAEMON")]
    daemon: Option<String>,
    /// File that holds the daemon's token; else SOAKMIST_DAEMON_TOKEN may
    #[arg(long, value_name = "FILE")]
    token_file: Option<PathBuf>,
}

/// A way to the daemon.
pub(super) struct Client {
    base: Url,
    token: Option<Secret>,
}

/// What an error of the interface looks like.
#[derive(Deserialize)]
struct ErrorBody {
    error: ErrorText,
}

#[derive(Deserialize)]
struct Health {
    healthy: bool,
    silent_s: u64,
    clock_problem: Option<String>,
}

#[derive(Deserialize)]
struct ErrorText {
    text: String,
}

impl Client {
    /// To the address of the command line, or the usual one.
    pub(super) fn new(address: &Address) -> Result<Self, Failure> {
        let base = address.daemon.as_deref().unwrap_or(USUAL);
        Self::to(base, address.token_file.as_deref())
    }

    /// To where a site file says, unless the command line says otherwise.
    pub(super) fn of_site(address: &Address, site: &Site, file: &Path) -> Result<Self, Failure> {
        let keys = &site.daemon;
        let named = match keys.listen {
            Listen::Nowhere if address.daemon.is_none() => {
                let what = "this site's daemon answers nowhere: `listen` in [daemon] is \"none\"";
                return Err(Failure::Input(what.to_owned()));
            }
            listen => listen.address().map(|mut at| {
                if at.ip().is_unspecified() {
                    at.set_ip(match at.is_ipv6() {
                        true => std::net::Ipv6Addr::LOCALHOST.into(),
                        false => std::net::Ipv4Addr::LOCALHOST.into(),
                    });
                }
                format!("http://{at}")
            }),
        };
        let base = address.daemon.clone().or(named);
        let folder = file.parent().unwrap_or(Path::new(""));
        let token_file = keys.token_file.as_ref().map(|name| folder.join(name));
        let token_file = address.token_file.clone().or(token_file);
        Self::to(base.as_deref().unwrap_or(USUAL), token_file.as_deref())
    }

    fn to(base: &str, token_file: Option<&Path>) -> Result<Self, Failure> {
        let url = Url::parse(base).ok();
        let is_web = |url: &Url| matches!(url.scheme(), "http" | "https") && url.has_host();
        let Some(base) = url.filter(is_web) else {
            return Err(Failure::Input(format!(
                "{base:?} is no address of a daemon: write one such as {USUAL}"
            )));
        };
        let token = match (token_file, std::env::var(TOKEN_VARIABLE).ok()) {
            (Some(file), _) => Some(Secret::from_file(file)),
            (None, variable @ Some(_)) => Some(Secret::from_variable(TOKEN_VARIABLE, variable)),
            (None, None) => None,
        };
        let token = token.transpose();
        let token = token.map_err(|error| Failure::Input(error.to_string()))?;
        Ok(Self { base, token })
    }

    /// The status as the daemon writes it.
    pub(super) fn status_text(&self) -> Result<String, Failure> {
        let (status, text) = self.exchange("v1/status", None)?;
        match status {
            StatusCode::OK => Ok(text),
            status => Err(self.refusal(status, &text)),
        }
    }

    /// Whether the control loop lives, by a clock that can be believed.
    pub(super) fn health(&self) -> Result<String, Failure> {
        let (status, text) = self.exchange("v1/health", None)?;
        match serde_json::from_str(&text) {
            Ok(Health { healthy: true, .. }) if status == StatusCode::OK => {
                Ok("healthy".to_owned())
            }
            Ok(Health {
                clock_problem: Some(problem),
                ..
            }) => Err(Failure::AnswerIsNo(format!(
                "nothing is watered: {}",
                printable(&problem)
            ))),
            Ok(Health { silent_s, .. }) => Err(Failure::AnswerIsNo(format!(
                "the daemon hangs: it has not moved for {silent_s} s. Start it anew"
            ))),
            Err(_) => Err(self.refusal(status, &text)),
        }
    }

    /// Asks; what was done, in the daemon's words.
    pub(super) fn ask(&self, request: &Request) -> Result<String, Failure> {
        let body = serde_json::to_string(request)
            .map_err(|error| Failure::Input(format!("this cannot be asked: {error}")))?;
        let (status, text) = self.exchange("v1/ask", Some(body))?;
        if !matches!(status, StatusCode::OK | StatusCode::CONFLICT) {
            return Err(self.refusal(status, &text));
        }
        match serde_json::from_str(&text) {
            Ok(Answer::Done(text)) => Ok(text),
            Ok(Answer::Refused(text)) => Err(Failure::AnswerIsNo(printable(&text))),
            Err(_) => Err(self.stranger()),
        }
    }

    fn refusal(&self, status: StatusCode, text: &str) -> Failure {
        let Ok(ErrorBody { error }) = serde_json::from_str(text) else {
            return self.stranger();
        };
        let text = printable(&error.text);
        if status.is_server_error() {
            Failure::Io(text)
        } else {
            Failure::Input(text)
        }
    }

    fn stranger(&self) -> Failure {
        Failure::Io(format!(
            "what answers at {} is no soakmist daemon, or one of another version",
            self.base
        ))
    }

    fn exchange(&self, path: &str, body: Option<String>) -> Result<(StatusCode, String), Failure> {
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .map_err(|error| Failure::Io(format!("cannot connect: {error}")))?;
        let answer = runtime.block_on(self.exchange_once(path, body));
        answer.map_err(|error| Failure::Io(self.unreachable(&error)))
    }

    async fn exchange_once(
        &self,
        path: &str,
        body: Option<String>,
    ) -> Result<(StatusCode, String), reqwest::Error> {
        // The HTTP client panics without a provider of cryptography; an error
        // says that there is one.
        let _ = rustls::crypto::ring::default_provider().install_default();
        // A proxy for the internet does not lead to this computer.
        let client = reqwest::Client::builder()
            .no_proxy()
            .timeout(TIME_LIMIT)
            .connect_timeout(CONNECT_WITHIN)
            .redirect(reqwest::redirect::Policy::none())
            .build()?;
        let mut url = self.base.clone();
        url.set_path(path);
        let mut ask = match body {
            None => client.get(url),
            Some(body) => client
                .post(url)
                .header(header::CONTENT_TYPE, "application/json")
                .body(body),
        };
        if let Some(token) = &self.token {
            ask = ask.bearer_auth(token.reveal());
        }
        let mut response = ask.send().await?;
        let mut bytes = Vec::new();
        while let Some(chunk) = response.chunk().await? {
            bytes.extend_from_slice(&chunk);
            if bytes.len() > LONGEST_ANSWER {
                break;
            }
        }
        let text = String::from_utf8_lossy(&bytes).into_owned();
        Ok((response.status(), text))
    }

    fn unreachable(&self, error: &reqwest::Error) -> String {
        let base = self.base.as_str().trim_end_matches('/');
        if error.is_connect() {
            return format!(
                "no daemon answers at {base}: start it with `soakmist run SITE.toml`, \
                 or say where it is with --daemon or SOAKMIST_DAEMON"
            );
        }
        if error.is_timeout() {
            return format!("the daemon at {base} does not answer in time: look at its log");
        }
        format!("what answers at {base} is no soakmist daemon")
    }
}

/// The status in an answer.
pub(super) fn status_in(text: &str) -> Result<Status, Failure> {
    serde_json::from_str(text).map_err(|error| {
        Failure::Io(format!(
            "the daemon's answer cannot be read ({error}): is it of another version?"
        ))
    })
}
