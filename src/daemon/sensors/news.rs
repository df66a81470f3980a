//! What is wrong with a sensor, in words, and when that changes.

use std::fmt;

use chrono::{DateTime, Utc};

/// What is wrong with a sensor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Fault {
    /// It says something that is no number.
    Unreadable,
    /// It says what cannot be, in the program's own unit.
    OutOfRange(f64),
    /// It has said the same since then.
    Stuck(DateTime<Utc>, f64),
    /// It has said nothing since then.
    Silent(DateTime<Utc>),
}

/// A sensor with something wrong.
#[derive(Debug, Clone, PartialEq)]
pub struct SensorProblem {
    /// Its name.
    pub sensor: String,
    /// What it measures.
    pub measures: &'static str,
    /// The unit of its values.
    pub unit: &'static str,
    /// What is wrong.
    pub fault: Fault,
}

/// Something that people should know of a sensor.
#[derive(Debug, Clone, PartialEq)]
pub enum SensorNews {
    /// Something is wrong, and the plan does without it.
    Wrong(SensorProblem),
    /// It is as it should be again.
    Right {
        /// Its name.
        sensor: String,
    },
}

impl SensorNews {
    /// The name of the sensor.
    #[must_use]
    pub fn sensor(&self) -> &str {
        match self {
            Self::Wrong(problem) => &problem.sensor,
            Self::Right { sensor } => sensor,
        }
    }
}

impl fmt::Display for SensorProblem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self {
            sensor,
            measures,
            unit,
            fault,
        } = self;
        write!(f, "sensor {sensor} ({measures}) ")?;
        match fault {
            Fault::Unreadable => f.write_str("says something that is no number"),
            Fault::OutOfRange(value) => write!(f, "says {value:.1} {unit}, which cannot be"),
            Fault::Stuck(since, value) => {
                write!(f, "has said {value:.1} {unit} since {}", short(*since))
            }
            Fault::Silent(since) => write!(f, "has been silent since {}", short(*since)),
        }?;
        f.write_str(
            ": the plan takes the next sensor in its place, else the forecast, else an estimate",
        )
    }
}

impl fmt::Display for SensorNews {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Wrong(problem) => problem.fmt(f),
            Self::Right { sensor } => write!(f, "sensor {sensor} is as it should be again"),
        }
    }
}

fn short(at: DateTime<Utc>) -> impl fmt::Display {
    at.format("%Y-%m-%d %H:%M UTC")
}
