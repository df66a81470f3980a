//! A clock that a file tells, for tests in which several programs share one
//! that runs fast and can be set. Only in a build with the demonstration.

use std::path::{Path, PathBuf};
use std::str::FromStr;
use std::sync::{Mutex, PoisonError};

use chrono::{DateTime, TimeDelta, Utc};

use super::{Clock, Now, SystemClock};
use crate::valve::Moment;

/// What such a file says: what is shown at an instant of the machine's own
/// monotonic clock, and how fast time runs from there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Bearing {
    /// The instant of the machine.
    pub at: Moment,
    /// What is shown then.
    pub shows: Now,
    /// Seconds shown in a real one.
    pub speed: u32,
}

/// A file that tells no clock.
#[derive(Debug, thiserror::Error)]
#[error("{file} tells no clock: four numbers are wanted, {why}")]
pub struct BearingError {
    file: String,
    why: String,
}

impl Bearing {
    /// A clock that shows `utc` now and runs `speed` times as fast.
    #[must_use]
    pub fn from_now(utc: DateTime<Utc>, speed: u32) -> Self {
        let at = SystemClock.now().moment;
        let shows = Now { utc, moment: at };
        Self { at, shows, speed }
    }

    /// The same clock after somebody has set it by `step`.
    #[must_use]
    pub fn set(mut self, step: TimeDelta) -> Self {
        self.shows.utc += step;
        self
    }

    /// What the clock shows at an instant of the machine.
    #[must_use]
    pub fn shown(&self, at: Moment) -> Now {
        let passed = at.since(self.at).saturating_mul(self.speed);
        let wall = TimeDelta::from_std(passed).unwrap_or_default();
        Now {
            utc: self.shows.utc + wall,
            moment: self.shows.moment.after(passed),
        }
    }

    /// Writes the file, so that no reader finds half of it.
    ///
    /// # Errors
    /// The system's.
    pub fn save(&self, file: &Path) -> std::io::Result<()> {
        let Self { at, shows, speed } = self;
        let (at_ms, utc_ms) = (at.as_millis(), shows.utc.timestamp_millis());
        let text = format!("{at_ms} {utc_ms} {} {speed}\n", shows.moment.as_millis());
        let new = file.with_extension("new");
        #[expect(clippy::disallowed_methods, reason = "this is the adapter of the file")]
        std::fs::write(&new, text)?;
        std::fs::rename(new, file)
    }

    /// Reads the file.
    ///
    /// # Errors
    /// [`BearingError`].
    pub fn load(file: &Path) -> Result<Self, BearingError> {
        #[expect(clippy::disallowed_methods, reason = "this is the adapter of the file")]
        let text = std::fs::read_to_string(file).map_err(|error| error.to_string());
        let told = text.and_then(|text| text.parse::<Self>());
        told.map_err(|why| BearingError {
            file: file.display().to_string(),
            why,
        })
    }
}

impl FromStr for Bearing {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let numbers = text.split_whitespace().map(str::parse::<u64>);
        let numbers: Result<Vec<u64>, _> = numbers.collect();
        let numbers = numbers.map_err(|error| error.to_string())?;
        let [at_ms, utc_ms, moment_ms, speed] = numbers[..] else {
            return Err(format!("not {}", numbers.len()));
        };
        let utc = i64::try_from(utc_ms).ok();
        let utc = utc.and_then(DateTime::from_timestamp_millis);
        Ok(Self {
            at: Moment::from_millis(at_ms),
            shows: Now {
                utc: utc.ok_or("and the second one an instant")?,
                moment: Moment::from_millis(moment_ms),
            },
            speed: u32::try_from(speed).map_err(|error| error.to_string())?,
        })
    }
}

/// The clock; it looks at its file each time.
#[derive(Debug)]
pub struct SharedClock {
    file: PathBuf,
    last: Mutex<Bearing>,
}

impl SharedClock {
    /// The clock of a file.
    ///
    /// # Errors
    /// [`BearingError`].
    pub fn of(file: &Path) -> Result<Self, BearingError> {
        Ok(Self {
            last: Mutex::new(Bearing::load(file)?),
            file: file.to_owned(),
        })
    }

    /// What its file says; what it last said where it cannot be read.
    #[must_use]
    pub fn bearing(&self) -> Bearing {
        let mut last = self.last.lock().unwrap_or_else(PoisonError::into_inner);
        if let Ok(bearing) = Bearing::load(&self.file) {
            *last = bearing;
        }
        *last
    }
}

impl Clock for SharedClock {
    fn now(&self) -> Now {
        self.bearing().shown(SystemClock.now().moment)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clock_runs_as_fast_as_its_file_says_and_can_be_set() {
        let bearing: Bearing = "1000 1787400000000 5000 60".parse().unwrap();
        let shown = bearing.shown(Moment::from_millis(2000));
        assert_eq!(shown.moment, Moment::from_millis(65_000));
        assert_eq!(shown.utc.timestamp(), 1_787_400_060);
        let set = bearing.set(TimeDelta::hours(-3));
        let back = set.shown(Moment::from_millis(2000));
        assert_eq!(back.moment, shown.moment);
        assert_eq!(back.utc, shown.utc - TimeDelta::hours(3));
        assert!("1000 5 60".parse::<Bearing>().is_err());
    }
}
