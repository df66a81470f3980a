//! Public weather services: what to ask, and how to read the answer.
//!
//! Everything here is pure: a service says which address to ask and turns
//! bytes into hours. Rules that all of them keep:
//!
//! - the unit of every column is checked in the reply before a number is used;
//!   a column in an unknown unit is left out and noted;
//! - `null` is missing, never zero; a value that cannot be on Earth is missing
//!   too, and counted;
//! - an hour is named by its start, in UTC; rain is moved from the service's
//!   own convention (hour before, hours after, interval) to that hour;
//! - wind is given for 10 m;
//! - whatever a reply holds, at most [`MAX_HOURS`] hours come out of it.

use chrono::{DateTime, TimeDelta, Utc};
use serde::Serialize;

use super::Variable;
use crate::agronomy::weather_record::RawHour;

mod hour_bins;
pub mod iso8601_interval;
pub mod met_norway;
pub mod open_meteo;
pub mod us_nws;

pub use met_norway::MetNorway;
pub use open_meteo::OpenMeteo;
pub use us_nws::UsNws;

/// The most hours that are taken from one reply: 92 past days and 16 days
/// of forecast, the longest that any of the services gives, and some slack.
pub const MAX_HOURS: usize = 24 * 110;

/// Height at which the services give the wind [m].
pub const SERVICE_WIND_HEIGHT_M: f64 = 10.0;

/// A public weather service.
pub trait WeatherService: Send + Sync {
    /// Short name, as in the site file and in the cache.
    fn name(&self) -> &'static str;
    /// Whom to credit for the data, and the licence.
    fn credit(&self) -> &'static str;
    /// The terms under which it may be asked.
    fn terms(&self) -> Terms;
    /// The first thing to ask for a place.
    fn first_request(&self, place: &Coordinates) -> Request;
    /// Reads the answer to a request.
    ///
    /// # Errors
    /// [`ReplyError`] where no hour can be taken from the reply.
    fn read(&self, asked: &Request, body: &[u8]) -> Result<Answer, ReplyError>;
}

/// Under which terms a service may be asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Terms {
    /// Shortest time between two requests for the same thing.
    pub shortest_interval: TimeDelta,
    /// Whether it wants to know whom to write to.
    pub needs_contact: bool,
    /// How far ahead its forecast reaches when nothing is missing.
    pub reach: TimeDelta,
    /// First wait after a failure of the service.
    pub first_retry: TimeDelta,
}

/// A place with no more decimals than the services take: four, or about 11 m.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Coordinates {
    latitude_deg: f64,
    longitude_deg: f64,
    elevation_m: f64,
}

impl Coordinates {
    /// Cuts a position to four decimals and the elevation to whole metres.
    #[must_use]
    pub fn new(latitude_deg: f64, longitude_deg: f64, elevation_m: f64) -> Self {
        let cut = |degrees: f64| (degrees * 1.0e4).round() / 1.0e4;
        Self {
            latitude_deg: cut(latitude_deg),
            longitude_deg: cut(longitude_deg),
            elevation_m: elevation_m.round(),
        }
    }

    /// Latitude as a service is asked for it: no trailing zeros, because the
    /// US service answers those with a redirection.
    #[must_use]
    pub fn latitude(&self) -> String {
        plain(self.latitude_deg)
    }

    /// Longitude, like [`Self::latitude`].
    #[must_use]
    pub fn longitude(&self) -> String {
        plain(self.longitude_deg)
    }

    /// Elevation in whole metres.
    #[must_use]
    pub fn elevation(&self) -> String {
        plain(self.elevation_m)
    }
}

/// A number without trailing zeros and without a negative zero.
fn plain(value: f64) -> String {
    let text = format!("{:.4}", value + 0.0);
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" {
        "0".to_owned()
    } else {
        text.to_owned()
    }
}

/// Something to ask a service.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Request {
    /// The whole address.
    pub url: String,
    /// The media type to accept.
    pub accept: &'static str,
    /// What it is for.
    pub step: Step,
    /// How long its answer may be kept at least, whatever `Expires` says.
    pub keep: TimeDelta,
}

/// What a request is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Step {
    /// To learn where the forecast of a place is found.
    Locate,
    /// The forecast itself.
    Forecast,
}

/// What a reply gives.
#[derive(Debug, Clone, PartialEq)]
pub enum Answer {
    /// Another address to ask.
    AskNext(Request),
    /// The hours.
    Hours(ServiceReply),
}

/// The hours of a reply and what is to be known about them.
#[derive(Debug, Clone, PartialEq)]
pub struct ServiceReply {
    /// Hours in order of time, each once.
    pub hours: Vec<RawHour>,
    /// When the service made the forecast, if it says so.
    pub issued: Option<DateTime<Utc>>,
    /// Elevation of the service's point [m], if it says so.
    pub elevation_m: Option<f64>,
    /// What was left out, and why.
    pub notes: Vec<Note>,
}

/// Something that was left out of a reply.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case", tag = "note")]
pub enum Note {
    /// A column in a unit that is not known for it.
    UnknownUnit {
        /// Of which variable.
        variable: Variable,
        /// The unit as found, cut and escaped.
        unit: String,
    },
    /// Values that cannot be on Earth.
    Implausible {
        /// Of which variable.
        variable: Variable,
        /// How many.
        count: usize,
    },
    /// Entries whose time could not be read, or which overlap another.
    BadTimes {
        /// How many.
        count: usize,
    },
    /// More hours than are taken from one reply.
    TooManyHours,
    /// The forecast ends sooner than the service promises.
    EndsEarly {
        /// End of the last hour.
        ends: DateTime<Utc>,
    },
}

impl std::fmt::Display for Note {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::UnknownUnit { variable, unit } => write!(
                f,
                "{} left out: given in \"{unit}\", which is not a unit known for it",
                variable.name()
            ),
            Self::Implausible { variable, count } => {
                write!(
                    f,
                    "{count} values of {} left out: not possible on Earth",
                    variable.name()
                )
            }
            Self::BadTimes { count } => {
                write!(f, "{count} entries left out: time unreadable or told twice")
            }
            Self::TooManyHours => write!(f, "only the first {MAX_HOURS} hours are used"),
            Self::EndsEarly { ends } => {
                write!(
                    f,
                    "the forecast ends early, at {}",
                    ends.format("%Y-%m-%d %H:%M UTC")
                )
            }
        }
    }
}

/// Why no hour can be taken from a reply.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ReplyError {
    /// The body is not the JSON that was asked for.
    #[error("the reply is not the expected JSON: {reason} (line {line}, column {column})")]
    NotJson {
        /// What the reader says, cut and escaped.
        reason: String,
        /// Line in the body, from 1.
        line: usize,
        /// Column in the line, from 1.
        column: usize,
    },
    /// The service answered with an error in the body.
    #[error("the service refused: {reason}")]
    Refused {
        /// Its reason, cut and escaped.
        reason: String,
    },
    /// The JSON reads, but does not hold together.
    #[error("the reply does not hold together: {what}")]
    Shape {
        /// What is wrong.
        what: String,
    },
    /// Local clock times, which are ambiguous twice a year.
    #[error(
        "the reply counts in local clock time (offset {offset_s} s), which repeats an hour in autumn; \
         it must be asked with timezone=GMT"
    )]
    LocalTimes {
        /// The offset that the reply names [s].
        offset_s: i64,
    },
    /// The next address lies on another host than the one configured.
    #[error("the service points to another host: {url}")]
    OtherHost {
        /// The address, cut and escaped.
        url: String,
    },
    /// Nothing usable in it.
    #[error("the reply holds no usable hour")]
    NoHours,
}

/// Text from the network made fit to be shown: one line, no control
/// characters, at most 160 characters.
#[must_use]
pub fn shown(text: &str) -> String {
    const MOST: usize = 160;
    let mut out: String = text
        .chars()
        .take(MOST)
        .map(|c| {
            if c.is_control() || is_direction_mark(c) {
                ' '
            } else {
                c
            }
        })
        .collect();
    if text.chars().nth(MOST).is_some() {
        out.push('…');
    }
    out.trim().to_owned()
}

/// Characters that turn the direction of text and could hide what it says.
fn is_direction_mark(c: char) -> bool {
    matches!(c, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

/// Reads JSON into `T`.
fn from_json<T: serde::de::DeserializeOwned>(body: &[u8]) -> Result<T, ReplyError> {
    serde_json::from_slice(body).map_err(|error| ReplyError::NotJson {
        reason: shown(&error.to_string()),
        line: error.line(),
        column: error.column(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn coordinates_are_cut_to_four_decimals_without_trailing_zeros() {
        let place = Coordinates::new(51.123_456_7, -0.000_001, 86.4);
        assert_eq!(place.latitude(), "51.1235");
        assert_eq!(place.longitude(), "0");
        assert_eq!(place.elevation(), "86");
        assert_eq!(Coordinates::new(-33.5, 150.0, 0.0).latitude(), "-33.5");
        assert_eq!(Coordinates::new(-33.5, 150.0, 0.0).longitude(), "150");
    }

    #[test]
    fn text_from_the_network_is_one_short_harmless_line() {
        let long = format!("bad\u{1b}[31m\n\u{202e}{}", "x".repeat(500));
        let text = shown(&long);
        assert!(text.chars().count() <= 161);
        assert!(!text.contains(['\u{1b}', '\n', '\u{202e}']));
    }
}
