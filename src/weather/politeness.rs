//! When a service may be asked again: pure rules, no clock and no socket.
//!
//! A service is left alone until its own expiry, until its shortest interval
//! has passed, and after a failure until a growing wait is over. Waits are
//! spread by a share that depends on who asks, so that a thousand gardens
//! do not ask in the same second, nor on the full hour.

use chrono::{DateTime, TimeDelta, Utc};

/// The longest that a service's expiry is believed.
const LONGEST_KEEP: TimeDelta = TimeDelta::days(8);
/// The longest expiry that is believed for a forecast.
const LONGEST_EXPIRY: TimeDelta = TimeDelta::hours(24);
/// The longest wait after failures.
const LONGEST_WAIT: TimeDelta = TimeDelta::hours(1);
/// The longest wait that a service may ask for.
const LONGEST_RETRY_AFTER: TimeDelta = TimeDelta::hours(24);
/// A wait where the service has refused us in itself (403, 422): nothing that
/// asking again soon would mend.
const REFUSED_WAIT: TimeDelta = TimeDelta::hours(6);
/// A wait after "too many requests" without a time of its own.
const THROTTLED_WAIT: TimeDelta = TimeDelta::minutes(15);
/// Requests are spread over this much beyond the earliest moment.
const SPREAD: TimeDelta = TimeDelta::minutes(7);
/// A wait that was kept is never believed to be longer than this after the
/// asking: what a service may ask for, and the spread of our longest own wait.
const LONGEST_KEPT_WAIT: TimeDelta = TimeDelta::hours(26);
/// How far the clock may have gone back before the cache is not believed.
const CLOCK_SLACK: TimeDelta = TimeDelta::minutes(10);

/// What is remembered about the last requests for one address.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Remembered {
    /// Whether there is a body to use.
    pub has_body: bool,
    /// When it was last asked.
    pub asked: DateTime<Utc>,
    /// Until when the body counts as fresh.
    pub fresh_until: DateTime<Utc>,
    /// Not to be asked before, after a failure.
    pub not_before: Option<DateTime<Utc>>,
}

/// What to do now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Decision {
    /// Ask the service.
    Ask,
    /// The body at hand is fresh.
    UseFresh,
    /// Leave the service alone until then; a body at hand may serve, stale.
    Wait {
        /// The first moment to ask again.
        until: DateTime<Utc>,
    },
}

/// Whether a service may be asked at `now`.
#[must_use]
pub fn decide(remembered: Option<&Remembered>, now: DateTime<Utc>) -> Decision {
    let Some(known) = remembered else {
        return Decision::Ask;
    };
    // A clock that went back (a board without a battery) would make the cache
    // fresh for years; one that went far forward was bounded when it was written.
    if now < known.asked - CLOCK_SLACK {
        return Decision::Ask;
    }
    // What stands in a file may be damaged, or planted.
    let until = known
        .not_before
        .map(|until| until.min(known.asked + LONGEST_KEPT_WAIT));
    let fresh_until = known.fresh_until.min(known.asked + LONGEST_KEEP + SPREAD);
    match until {
        Some(until) if now < until => Decision::Wait { until },
        _ if known.has_body && now < fresh_until => Decision::UseFresh,
        _ => Decision::Ask,
    }
}

/// A number that depends only on `text` (FNV-1a, 32 bit).
#[must_use]
pub fn hash_of(text: &str) -> u32 {
    text.bytes().fold(0x811c_9dc5, |hash, byte| {
        (hash ^ u32::from(byte)).wrapping_mul(0x0100_0193)
    })
}

/// A share of 0 to 1 that depends only on `text`.
#[must_use]
pub fn share_of(text: &str) -> f64 {
    f64::from(hash_of(text)) / f64::from(u32::MAX)
}

/// Until when a good reply is fresh.
///
/// - `keep`: the shortest interval of the service
/// - `lifetime`: what its headers grant, if they do
/// - `share`: 0 to 1, see [`share_of`]
#[must_use]
pub fn fresh_until(
    now: DateTime<Utc>,
    keep: TimeDelta,
    lifetime: Option<TimeDelta>,
    share: f64,
) -> DateTime<Utc> {
    let lifetime = lifetime.unwrap_or_default().min(LONGEST_EXPIRY);
    now + keep.min(LONGEST_KEEP).max(lifetime) + part_of(SPREAD, share)
}

/// How a request failed, as far as waiting goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Failed {
    /// The service or the way to it is in trouble (5xx, time-out, nonsense).
    Trouble,
    /// Too many requests (429).
    Throttled,
    /// It does not want this request at all (other 4xx).
    Refused,
}

/// The first moment to ask again after a failure.
///
/// - `failures`: how many in a row, this one included
/// - `first_wait`: the wait after the first; it doubles up to one hour
/// - `retry_after`: what the service asks for; never undercut
/// - `share`: 0 to 1; adds up to a quarter
#[must_use]
pub fn ask_again_at(now: DateTime<Utc>, failed: Failed, wait: Waiting) -> DateTime<Utc> {
    let own = match failed {
        Failed::Trouble => {
            let doublings = wait.failures.saturating_sub(1).min(12);
            (wait.first_wait * (1 << doublings)).min(LONGEST_WAIT)
        }
        Failed::Throttled => THROTTLED_WAIT,
        Failed::Refused => REFUSED_WAIT,
    };
    let asked_for = wait
        .retry_after
        .unwrap_or_default()
        .min(LONGEST_RETRY_AFTER);
    now + own.max(asked_for) + part_of(own / 4, wait.share)
}

/// What [`ask_again_at`] takes beside the kind of failure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Waiting {
    /// Failures in a row, this one included.
    pub failures: u32,
    /// The wait after the first failure.
    pub first_wait: TimeDelta,
    /// What the service asks for.
    pub retry_after: Option<TimeDelta>,
    /// 0 to 1, see [`share_of`].
    pub share: f64,
}

fn part_of(span: TimeDelta, share: f64) -> TimeDelta {
    #[expect(
        clippy::cast_possible_truncation,
        reason = "a part of less than a day in ms"
    )]
    #[expect(
        clippy::cast_precision_loss,
        reason = "a span of less than a day in ms"
    )]
    let ms = (span.num_milliseconds() as f64 * share.clamp(0.0, 1.0)) as i64;
    TimeDelta::milliseconds(ms)
}

/// An HTTP date such as `Wed, 21 Oct 2015 07:28:00 GMT` (RFC 9110, 5.6.7).
#[must_use]
pub fn http_date(text: &str) -> Option<DateTime<Utc>> {
    let text = text.trim();
    if text.len() > 40 {
        return None;
    }
    DateTime::parse_from_rfc2822(text)
        .ok()
        .map(|time| time.with_timezone(&Utc))
}

/// How long a reply is fresh by its headers, counted on the service's own clock
/// so that a wrong clock here does no harm.
///
/// `Cache-Control: max-age` beats `Expires` (RFC 9111, 4.2.1).
#[must_use]
pub fn lifetime(headers: &FreshnessHeaders, now: DateTime<Utc>) -> Option<TimeDelta> {
    if let Some(seconds) = headers.cache_control.as_deref().and_then(max_age) {
        return TimeDelta::try_seconds(seconds).filter(|span| *span >= TimeDelta::zero());
    }
    let expires = http_date(headers.expires.as_deref()?)?;
    let date = headers.date.as_deref().and_then(http_date).unwrap_or(now);
    Some((expires - date).max(TimeDelta::zero()))
}

/// The headers that say how long a reply is fresh.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct FreshnessHeaders {
    /// `Cache-Control`.
    pub cache_control: Option<String>,
    /// `Expires`.
    pub expires: Option<String>,
    /// `Date`.
    pub date: Option<String>,
}

fn max_age(cache_control: &str) -> Option<i64> {
    cache_control.split(',').find_map(|part| {
        let (name, value) = part.trim().split_once('=')?;
        let value = value.trim().trim_matches('"');
        (name.trim().eq_ignore_ascii_case("max-age") && value.len() < 10)
            .then(|| value.parse().ok())
            .flatten()
    })
}

/// The wait that `Retry-After` asks for: seconds or an HTTP date (RFC 9110, 10.2.3).
#[must_use]
pub fn retry_after(text: &str, now: DateTime<Utc>) -> Option<TimeDelta> {
    let text = text.trim();
    if let Ok(seconds) = text.parse::<u32>() {
        return Some(TimeDelta::seconds(i64::from(seconds)));
    }
    http_date(text).map(|time| (time - now).max(TimeDelta::zero()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(minutes: i64) -> DateTime<Utc> {
        DateTime::from_timestamp(1_780_000_000 + minutes * 60, 0).unwrap()
    }

    fn known() -> Remembered {
        Remembered {
            has_body: true,
            asked: at(0),
            fresh_until: at(60),
            not_before: None,
        }
    }

    #[test]
    fn a_fresh_body_asks_nothing_and_a_stale_one_asks() {
        assert_eq!(decide(None, at(0)), Decision::Ask);
        assert_eq!(decide(Some(&known()), at(59)), Decision::UseFresh);
        assert_eq!(decide(Some(&known()), at(60)), Decision::Ask);
    }

    #[test]
    fn after_a_failure_the_wait_holds_even_with_no_body() {
        let failed = Remembered {
            has_body: false,
            not_before: Some(at(5)),
            ..known()
        };
        assert_eq!(
            decide(Some(&failed), at(4)),
            Decision::Wait { until: at(5) }
        );
        assert_eq!(decide(Some(&failed), at(5)), Decision::Ask);
    }

    #[test]
    fn a_clock_that_went_back_does_not_make_the_cache_fresh_for_years() {
        assert_eq!(decide(Some(&known()), at(-60 * 24 * 365)), Decision::Ask);
    }

    #[test]
    fn times_that_no_rule_gives_are_not_believed() {
        let years = at(60 * 24 * 365 * 20);
        let planted = Remembered {
            fresh_until: years,
            ..known()
        };
        let days = 60 * 24;
        assert_eq!(decide(Some(&planted), at(8 * days)), Decision::UseFresh);
        assert_eq!(decide(Some(&planted), at(8 * days + 8)), Decision::Ask);
        let silenced = Remembered {
            not_before: Some(years),
            fresh_until: at(0),
            ..known()
        };
        let until = at(26 * 60);
        assert_eq!(decide(Some(&silenced), at(0)), Decision::Wait { until });
        assert_eq!(decide(Some(&silenced), until), Decision::Ask);
    }

    #[test]
    fn the_shortest_interval_holds_when_the_service_grants_none() {
        let hour = TimeDelta::hours(1);
        assert_eq!(fresh_until(at(0), hour, None, 0.0), at(60));
        assert_eq!(
            fresh_until(at(0), hour, Some(TimeDelta::minutes(5)), 0.0),
            at(60)
        );
        assert_eq!(
            fresh_until(at(0), hour, Some(TimeDelta::minutes(90)), 0.0),
            at(90)
        );
        // An expiry in ten years is not believed.
        assert_eq!(
            fresh_until(at(0), hour, Some(TimeDelta::days(3650)), 0.0),
            at(24 * 60)
        );
    }

    #[test]
    fn waits_double_up_to_an_hour_and_never_undercut_the_service() {
        let wait = |failures, retry_after| Waiting {
            failures,
            first_wait: TimeDelta::minutes(1),
            retry_after,
            share: 0.0,
        };
        assert_eq!(ask_again_at(at(0), Failed::Trouble, wait(1, None)), at(1));
        assert_eq!(ask_again_at(at(0), Failed::Trouble, wait(4, None)), at(8));
        assert_eq!(
            ask_again_at(at(0), Failed::Trouble, wait(u32::MAX, None)),
            at(60)
        );
        let two_hours = Some(TimeDelta::hours(2));
        assert_eq!(
            ask_again_at(at(0), Failed::Throttled, wait(1, two_hours)),
            at(120)
        );
    }

    #[test]
    fn headers_are_counted_on_the_clock_of_the_service() {
        // RFC 9110, 5.6.7: "Sun, 06 Nov 1994 08:49:37 GMT".
        assert_eq!(
            http_date("Sun, 06 Nov 1994 08:49:37 GMT")
                .unwrap()
                .timestamp(),
            784_111_777
        );
        let headers = FreshnessHeaders {
            cache_control: Some("public, max-age=300".into()),
            expires: None,
            date: None,
        };
        assert_eq!(lifetime(&headers, at(0)), Some(TimeDelta::minutes(5)));
        let headers = FreshnessHeaders {
            cache_control: Some("no-transform".into()),
            expires: Some("Sun, 06 Nov 1994 09:19:37 GMT".into()),
            date: Some("Sun, 06 Nov 1994 08:49:37 GMT".into()),
        };
        assert_eq!(lifetime(&headers, at(0)), Some(TimeDelta::minutes(30)));
        assert_eq!(retry_after("120", at(0)), Some(TimeDelta::minutes(2)));
        assert_eq!(retry_after("soon", at(0)), None);
    }
}
