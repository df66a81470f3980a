//! Where a site's weather comes from, as its file names it.

use chrono::FixedOffset;
use serde::{Deserialize, Serialize};

use crate::units::WeatherQuantity;

/// The sources of weather of a site, and how far they are trusted.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct WeatherSetup {
    /// The site's own file, in the tool's own form.
    pub file: Option<WeatherFile>,
    /// Exports of loggers, the most trusted first.
    pub loggers: Vec<Logger>,
    /// Public services to ask, the most trusted first.
    pub services: Vec<ServiceName>,
    /// Whom the services may write to.
    pub contact: Option<String>,
    /// How far expected rain counts.
    pub rain: RainTrust,
    /// A typical year (EPW or TMY3), relative to the site file.
    pub typical_year: Option<String>,
}

impl WeatherSetup {
    /// Whether nothing tells the weather.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.file.is_none() && !self.is_merged()
    }

    /// Whether there is more than one file of the tool's own form, so that
    /// sources have to be merged.
    #[must_use]
    pub fn is_merged(&self) -> bool {
        !self.loggers.is_empty() || !self.services.is_empty() || self.typical_year.is_some()
    }
}

/// A weather file that the site names.
#[derive(Debug, Clone, PartialEq)]
pub struct WeatherFile {
    /// Path as written, relative to the site file.
    pub path: String,
    /// Height at which its wind was measured [m].
    pub wind_height_m: f64,
}

/// A public weather service.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ServiceName {
    /// Open-Meteo: global, with radiation.
    OpenMeteo,
    /// MET Norway: global, best in the north of Europe.
    MetNorway,
    /// The National Weather Service of the United States.
    UsNws,
}

impl ServiceName {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::OpenMeteo, Self::MetNorway, Self::UsNws];

    /// The word in the site file.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::OpenMeteo => "open-meteo",
            Self::MetNorway => "met-norway",
            Self::UsNws => "us-nws",
        }
    }

    /// The service of a word.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|service| service.word() == word)
    }

    /// Whether it wants to know whom to write to.
    #[must_use]
    pub fn needs_contact(self) -> bool {
        matches!(self, Self::MetNorway | Self::UsNws)
    }
}

/// How far a site trusts expected rain; the rule of each is in `balance::rain`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RainTrust {
    /// Only rain that has fallen counts.
    Never,
    /// Likely rain counts in part.
    #[default]
    Cautious,
    /// Its expected value counts.
    Expected,
    /// What the forecast says counts.
    AsForecast,
}

impl RainTrust {
    /// All of them, least trusting first.
    pub const ALL: [Self; 4] = [
        Self::Never,
        Self::Cautious,
        Self::Expected,
        Self::AsForecast,
    ];

    /// The word in the site file.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Never => "never",
            Self::Cautious => "cautious",
            Self::Expected => "expected",
            Self::AsForecast => "as-forecast",
        }
    }

    /// The trust of a word.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|trust| trust.word() == word)
    }
}

/// A logger's export as it is.
#[derive(Debug, Clone, PartialEq)]
pub struct Logger {
    /// Path as written, relative to the site file.
    pub path: String,
    /// Between the fields; ASCII.
    pub separator: u8,
    /// Whether numbers have a decimal comma.
    pub decimal_comma: bool,
    /// Height at which its wind was measured [m].
    pub wind_height_m: f64,
    /// The column of the time.
    pub time: LoggerTime,
    /// The other columns, at least one.
    pub columns: Vec<LoggerColumn>,
}

/// How a logger writes the time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LoggerTime {
    /// Header of the column.
    pub column: String,
    /// Its form in the words of `strftime`; none for RFC 3339 with an offset.
    pub form: Option<String>,
    /// A fixed offset from UTC; none for the site's own time zone.
    pub offset: Option<FixedOffset>,
    /// Whether a stamp marks the end of its step, else its start.
    pub marks_end: bool,
}

/// A column of a logger.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LoggerColumn {
    /// What it is: one of [`LOGGED`].
    pub variable: &'static str,
    /// Its header.
    pub column: String,
    /// Its unit, known for the quantity.
    pub unit: String,
}

/// The variables that a logger may give, and the quantity of each.
pub const LOGGED: [(&str, WeatherQuantity); 7] = [
    ("air-temperature", WeatherQuantity::Temperature),
    ("relative-humidity", WeatherQuantity::Percent),
    ("wind", WeatherQuantity::Speed),
    ("solar", WeatherQuantity::Radiation),
    ("sunshine", WeatherQuantity::Duration),
    ("rain", WeatherQuantity::RainDepth),
    ("pressure", WeatherQuantity::Pressure),
];
