//! Asks weather services over HTTP, politely, and keeps what they say.
//!
//! Time is an argument. A call never waits and never asks twice: where a
//! service is in trouble the last good reply serves, with its age and with what
//! went wrong, and the moment to ask again is kept for the next call.

use std::path::PathBuf;
use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use reqwest::header::{self, HeaderMap};

use super::cache::{Cache, Entry};
use super::http::{Client, ClientError, Exchange, text_of};
use super::politeness::{
    self, Decision, Failed, FreshnessHeaders, Waiting, ask_again_at, fresh_until, share_of,
};
use super::services::{
    Answer, Coordinates, Note, ReplyError, Request, ServiceReply, Step, WeatherService,
};

/// How the fetcher behaves.
#[derive(Debug, Clone)]
pub struct FetchOptions {
    /// Whom a service may write to: an address of mail or of a page.
    pub contact: Option<String>,
    /// The folder of the cache.
    pub cache_folder: PathBuf,
    /// The longest that one request may take, from connecting to the last byte.
    pub time_limit: Duration,
    /// The longest body that is read, after unpacking [bytes].
    pub body_limit: usize,
}

impl FetchOptions {
    /// The usual bounds: 10 s and 2 MiB.
    #[must_use]
    pub fn new(contact: Option<String>, cache_folder: PathBuf) -> Self {
        Self {
            contact,
            cache_folder,
            time_limit: Duration::from_secs(10),
            body_limit: 2 * 1024 * 1024,
        }
    }
}

/// Hours of a service and how they came.
#[derive(Debug, Clone, PartialEq)]
pub struct Fetched {
    /// What the service says.
    pub reply: ServiceReply,
    /// When it said so, or last confirmed it.
    pub received: DateTime<Utc>,
    /// How it came this time.
    pub how: How,
    /// What went wrong, where an old reply had to serve.
    pub trouble: Option<String>,
}

/// How hours came.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum How {
    /// New from the service.
    Asked,
    /// The service says that the reply at hand still holds.
    Confirmed,
    /// From the cache, fresh: nothing was asked.
    Cached,
    /// From the cache, past its time.
    Stale,
}

/// Why there are no hours.
#[derive(Debug, thiserror::Error)]
pub enum FetchError {
    /// The service wants to know whom to write to.
    #[error(
        "{service} asks every user for a contact: write `contact = \"you@example.org\"` \
         under [weather] in the site file"
    )]
    NoContact {
        /// Which service.
        service: &'static str,
    },
    /// The contact cannot stand in a request.
    #[error(
        "the contact under [weather] must be a mail address or a web address of plain \
         letters, at most 100 characters"
    )]
    BadContact,
    /// The client could not be made.
    #[error("cannot set up secure connections: {reason}")]
    Client {
        /// What the library says.
        reason: String,
    },
    /// The service cannot be used now and nothing is kept from before.
    #[error("{service}: {trouble}; asked again from {}", until.format("%Y-%m-%d %H:%M:%S UTC"))]
    Unavailable {
        /// Which service.
        service: &'static str,
        /// What went wrong.
        trouble: String,
        /// The first moment it will be asked again.
        until: DateTime<Utc>,
    },
    /// The service sends from one address to the next without end.
    #[error("{service}: sends from one address to the next without giving a forecast")]
    NoEnd {
        /// Which service.
        service: &'static str,
    },
}

/// The most requests that one forecast may take.
const MOST_STEPS: usize = 3;

/// Asks services and keeps their replies.
#[derive(Debug)]
pub struct Fetcher {
    client: Client,
    cache: Cache,
    options: FetchOptions,
}

/// What asking one address gave.
struct Asked {
    /// What is to be kept.
    entry: Entry,
    /// What the body says; none where there is no body.
    answer: Option<Answer>,
    /// How the body came.
    how: How,
    /// Whether the address is no more (404).
    gone: bool,
}

impl Fetcher {
    /// A fetcher that names itself and its user to every service.
    ///
    /// # Errors
    /// [`FetchError::BadContact`], [`FetchError::Client`].
    pub fn new(options: FetchOptions) -> Result<Self, FetchError> {
        let contact = options.contact.as_deref();
        let client =
            Client::new(contact, options.time_limit, options.body_limit).map_err(|error| {
                match error {
                    ClientError::BadContact => FetchError::BadContact,
                    ClientError::Library(reason) => FetchError::Client { reason },
                }
            })?;
        let cache = Cache::in_folder(
            &options.cache_folder,
            options.contact.as_deref().unwrap_or(""),
        );
        Ok(Self {
            client,
            cache,
            options,
        })
    }

    /// The hours of a service for a place, from the cache where that is fresh.
    ///
    /// # Errors
    /// [`FetchError`] where there is nothing to use, not even an old reply.
    pub async fn fetch(
        &self,
        service: &dyn WeatherService,
        place: &Coordinates,
        now: DateTime<Utc>,
    ) -> Result<Fetched, FetchError> {
        if service.terms().needs_contact && self.options.contact.is_none() {
            return Err(FetchError::NoContact {
                service: service.name(),
            });
        }
        let first = service.first_request(place);
        let mut request = first.clone();
        for _ in 0..MOST_STEPS {
            let asked = self.ask(service, &request, now).await;
            if asked.gone && request != first {
                // The place has moved: where to ask is learnt again next time.
                self.forget(service, &first, now);
            }
            match asked.answer {
                Some(Answer::AskNext(next)) => request = next,
                Some(Answer::Hours(reply)) => {
                    return Ok(fetched(service, asked.entry, (reply, asked.how)));
                }
                None => return Err(unavailable(service, asked.entry)),
            }
        }
        Err(FetchError::NoEnd {
            service: service.name(),
        })
    }

    /// Asks one address, or takes what is kept of it.
    async fn ask(
        &self,
        service: &dyn WeatherService,
        request: &Request,
        now: DateTime<Utc>,
    ) -> Asked {
        let kept = self.cache.load(service.name(), &request.url);
        let known = kept.is_some();
        let mut entry = kept.unwrap_or_else(|| Entry::new(&request.url, now));
        // A body that this version cannot read is worth no more than none.
        let answer = entry.body.take().and_then(|body| {
            let answer = service.read(request, body.as_bytes()).ok()?;
            entry.body = Some(body);
            Some(answer)
        });
        let mut asked = Asked {
            entry,
            answer,
            how: How::Stale,
            gone: false,
        };
        let remembered = known.then(|| asked.entry.remembered());
        match politeness::decide(remembered.as_ref(), now) {
            Decision::UseFresh => asked.how = How::Cached,
            Decision::Wait { .. } => {}
            Decision::Ask => {
                let exchange = self.client.exchange(request, &asked.entry, now).await;
                asked.entry.asked = now;
                judge(service, request, (&mut asked, exchange), now);
                self.keep(service, &asked.entry);
            }
        }
        asked
    }

    /// Writes an entry; a disk that is full does not take the forecast away.
    fn keep(&self, service: &dyn WeatherService, entry: &Entry) {
        if let Err(error) = self.cache.save(service.name(), entry) {
            tracing::warn!(service = service.name(), error = %error, "weather reply not kept");
        }
    }

    /// Lets the next call ask an address again.
    fn forget(&self, service: &dyn WeatherService, request: &Request, now: DateTime<Utc>) {
        if let Some(mut entry) = self.cache.load(service.name(), &request.url) {
            entry.fresh_until = now;
            self.keep(service, &entry);
        }
    }
}

/// Turns an exchange into what is kept and what is used.
fn judge(
    service: &dyn WeatherService,
    request: &Request,
    exchanged: (&mut Asked, Exchange),
    now: DateTime<Utc>,
) {
    let (asked, exchange) = exchanged;
    let entry = &mut asked.entry;
    match exchange {
        Exchange::Body { text, headers } => match service.read(request, text.as_bytes()) {
            Ok(answer) => {
                entry.body = Some(text);
                entry.last_modified = text_of(&headers, header::LAST_MODIFIED);
                entry.etag = text_of(&headers, header::ETAG);
                renew(service, request, (entry, &headers), now);
                asked.answer = Some(answer);
                asked.how = How::Asked;
            }
            Err(error) => {
                // A refusal in the body is most often "too many requests".
                let failed = match error {
                    ReplyError::Refused { .. } => Failed::Throttled,
                    _ => Failed::Trouble,
                };
                fail(service, entry, (failed, None, error.to_string()), now);
            }
        },
        Exchange::NotModified { headers } => {
            renew(service, request, (entry, &headers), now);
            asked.how = How::Confirmed;
        }
        Exchange::Failure {
            failed,
            retry_after,
            what,
            gone,
        } => {
            fail(service, entry, (failed, retry_after, what), now);
            asked.gone = gone;
        }
    }
}

/// Notes a good reply.
fn renew(
    service: &dyn WeatherService,
    request: &Request,
    reply: (&mut Entry, &HeaderMap),
    now: DateTime<Utc>,
) {
    let (entry, headers) = reply;
    if entry.failures > 0 {
        tracing::info!(
            service = service.name(),
            failures = entry.failures,
            "weather service is back"
        );
    }
    let freshness = FreshnessHeaders {
        cache_control: text_of(headers, header::CACHE_CONTROL),
        expires: text_of(headers, header::EXPIRES),
        date: text_of(headers, header::DATE),
    };
    let lifetime = match request.step {
        // A place may be kept for days, its forecast as long as it says.
        Step::Locate => None,
        Step::Forecast => politeness::lifetime(&freshness, now),
    };
    entry.received = Some(now);
    entry.fresh_until = fresh_until(now, request.keep, lifetime, share_of(&entry.url));
    entry.not_before = None;
    entry.failures = 0;
    entry.trouble = None;
}

/// Notes a failure and when to ask again.
fn fail(
    service: &dyn WeatherService,
    entry: &mut Entry,
    failure: (Failed, Option<TimeDelta>, String),
    now: DateTime<Utc>,
) {
    let (failed, retry_after, what) = failure;
    if entry.failures == 0 {
        tracing::warn!(service = service.name(), trouble = %what, "weather service failed");
    }
    entry.failures = entry.failures.saturating_add(1);
    let waiting = Waiting {
        failures: entry.failures,
        first_wait: service.terms().first_retry,
        retry_after,
        share: share_of(&entry.url),
    };
    entry.not_before = Some(ask_again_at(now, failed, waiting));
    entry.trouble = Some(what);
}

fn fetched(service: &dyn WeatherService, entry: Entry, read: (ServiceReply, How)) -> Fetched {
    let (mut reply, how) = read;
    let received = entry.received.unwrap_or(entry.asked);
    if let Some(last) = reply.hours.last() {
        let ends = last.start + TimeDelta::hours(1);
        if ends < received + service.terms().reach {
            reply.notes.push(Note::EndsEarly { ends });
        }
    }
    let trouble = match how {
        How::Stale => Some(entry.trouble.unwrap_or_else(|| "past its time".to_owned())),
        _ => None,
    };
    tracing::debug!(service = service.name(), how = ?how, "weather taken");
    Fetched {
        reply,
        received,
        how,
        trouble,
    }
}

fn unavailable(service: &dyn WeatherService, entry: Entry) -> FetchError {
    FetchError::Unavailable {
        service: service.name(),
        trouble: entry
            .trouble
            .unwrap_or_else(|| "no reply is kept".to_owned()),
        until: entry.not_before.unwrap_or(entry.asked),
    }
}
