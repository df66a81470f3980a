//! What is doubtful or wrong in weather, and what was done about it.

use std::fmt;

use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use serde::Serialize;

use crate::agronomy::weather_record::WeatherVariable;

/// What was done with the values a finding speaks of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Treatment {
    /// Used as they are.
    Kept,
    /// Moved to the nearest possible value.
    Held,
    /// Not used: treated as missing.
    Missing,
    /// The row is not used.
    Dropped,
    /// The row is not read.
    LeftOut,
    /// Put in order of time.
    Sorted,
    /// Not read.
    Ignored,
}

impl Treatment {
    fn words(self) -> &'static str {
        match self {
            Self::Kept => "used as they are",
            Self::Held => "held at the bound",
            Self::Missing => "treated as missing",
            Self::Dropped => "the later row is left out",
            Self::LeftOut => "that row is left out",
            Self::Sorted => "put in order of time",
            Self::Ignored => "not read",
        }
    }
}

/// What was found.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum FindingKind {
    /// A column whose name is not known.
    UnknownColumn {
        /// Its name.
        name: String,
        /// A known name much like it.
        suggestion: Option<&'static str>,
    },
    /// A local time that exists twice, of which the file has one copy only.
    AmbiguousStamp,
    /// Local times that clocks skipped, such as in the night in which summer
    /// time begins.
    SkippedStamp {
        /// Line of the first in the file, from 1.
        line: u64,
        /// What it says.
        text: String,
        /// The zone in which it does not exist.
        zone: &'static str,
        /// How many more there are.
        more: usize,
    },
    /// Hours that come after later ones.
    Unordered,
    /// Hours that come twice with the same values.
    Duplicate,
    /// Hours that come twice with different values.
    ConflictingDuplicate,
    /// Hours missing between others.
    Gap,
    /// Values that cannot be on Earth, or in this hour at this place.
    Impossible {
        /// Of which variable.
        variable: WeatherVariable,
        /// The bounds.
        least: f64,
        /// The bounds.
        most: f64,
    },
    /// Relative humidity a little above 100 %.
    HumidityAboveSaturation,
    /// Radiation a little below zero, as instruments show at night.
    RadiationBelowZero,
    /// Radiation while the sun is down.
    RadiationAtNight,
    /// More radiation than reaches the top of the air.
    RadiationAboveExtraterrestrial,
    /// More radiation than a clear sky lets through.
    RadiationAboveClearSky,
    /// One value for longer than weather stands still.
    Stuck {
        /// Of which variable.
        variable: WeatherVariable,
        /// The value.
        value: f64,
    },
    /// Values that would be usual in another unit.
    LooksLike {
        /// Of which variable.
        variable: WeatherVariable,
        /// What of it is remarkable: `never above 1`.
        seen: String,
        /// The unit that it looks like, and the one that is wanted.
        unit: &'static str,
    },
    /// Pressure that does not fit the elevation.
    PressureOffElevation {
        /// Mean of the values [kPa].
        mean_kpa: f64,
        /// That of the elevation [kPa].
        expected_kpa: f64,
    },
}

/// One finding, for all the hours it holds for.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Finding {
    /// What was found.
    #[serde(flatten)]
    pub kind: FindingKind,
    /// What was done.
    pub treatment: Treatment,
    /// In how many hours; 0 where it is not about hours.
    pub hours: usize,
    /// Start of the first of them.
    pub first: Option<DateTime<Utc>>,
}

impl fmt::Display for FindingKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::UnknownColumn {
                name,
                suggestion: None,
            } => write!(f, "unknown column \"{name}\""),
            Self::UnknownColumn {
                name,
                suggestion: Some(known),
            } => {
                write!(f, "unknown column \"{name}\"; did you mean {known}?")
            }
            Self::AmbiguousStamp => f.write_str(
                "local time exists twice on this date and is given once; taken as the first \
                 (write stamps with an offset)",
            ),
            Self::SkippedStamp {
                line,
                text,
                zone,
                more,
            } => {
                write!(
                    f,
                    "line {line}: the time \"{text}\" does not exist in {zone}, where clocks went \
                     forward; if the logger keeps one clock all year, write stamps with its offset"
                )?;
                match more {
                    0 => Ok(()),
                    more => write!(f, " (and {more} more such rows)"),
                }
            }
            Self::Unordered => f.write_str("hours not in order"),
            Self::Duplicate => f.write_str("hours given twice, alike"),
            Self::ConflictingDuplicate => f.write_str("hours given twice with different values"),
            Self::Gap => f.write_str("hours missing"),
            Self::Impossible {
                variable,
                least,
                most,
            } => {
                write!(f, "{} outside {least} to {most}", variable.name())
            }
            Self::HumidityAboveSaturation => f.write_str("relative humidity above 100 %"),
            Self::RadiationBelowZero => f.write_str("solar radiation just below zero"),
            Self::RadiationAtNight => f.write_str(
                "solar radiation while the sun is down (do the stamps mark the end of the hour, \
                 and is their offset right?)",
            ),
            Self::RadiationAboveExtraterrestrial => {
                f.write_str("more solar radiation than reaches the top of the air")
            }
            Self::RadiationAboveClearSky => {
                f.write_str("more solar radiation than a clear sky lets through")
            }
            Self::Stuck { variable, value } => {
                write!(
                    f,
                    "{} stood still at {value} (is the sensor stuck?)",
                    variable.name()
                )
            }
            Self::LooksLike {
                variable,
                seen,
                unit,
            } => write!(f, "{} is {seen}: it looks like {unit}", variable.name()),
            Self::PressureOffElevation {
                mean_kpa,
                expected_kpa,
            } => write!(
                f,
                "pressure is {mean_kpa:.1} kPa, but the elevation gives {expected_kpa:.1} \
                 (taken to sea level, or is the elevation wrong?); it is not needed",
            ),
        }
    }
}

impl Finding {
    /// The finding for a person of this time zone.
    #[must_use]
    pub fn in_zone(&self, zone: Tz) -> String {
        let local = |first: DateTime<Utc>| first.with_timezone(&zone).format("%Y-%m-%d %H:%M");
        self.told(self.first.map(|first| local(first).to_string()))
    }

    fn told(&self, first: Option<String>) -> String {
        let when = match (first, self.hours) {
            (None, _) => String::new(),
            (Some(first), 1) => format!(", hour from {first}"),
            (Some(first), hours) => format!(", {hours} h, first from {first}"),
        };
        match self.kind {
            FindingKind::Gap => format!("{}{when}", self.kind),
            _ => format!("{}{when}: {}", self.kind, self.treatment.words()),
        }
    }
}

impl fmt::Display for Finding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let utc = |first: DateTime<Utc>| first.format("%Y-%m-%d %H:%MZ").to_string();
        f.write_str(&self.told(self.first.map(utc)))
    }
}
