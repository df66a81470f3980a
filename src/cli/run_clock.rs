//! The clock of `soakmist run`: that of the machine. A build with the
//! demonstration also takes one that a file tells, for tests that run weeks in
//! minutes; the program as it is shipped has no such way.

use std::sync::Arc;

use super::Failure;
use crate::clock::{Clock, SystemClock};
use crate::daemon::runtime::Parts;

/// Names the file of another clock.
#[cfg(feature = "demo")]
const CLOCK_VARIABLE: &str = "SOAKMIST_CLOCK_FILE";

/// A clock, and how fast it runs.
pub(super) struct Pace {
    pub(super) clock: Arc<dyn Clock>,
    pub(super) speed: u32,
}

impl Pace {
    fn of_the_machine() -> Self {
        Self {
            clock: Arc::new(SystemClock),
            speed: 1,
        }
    }

    /// The clock to run by.
    ///
    /// # Errors
    /// [`Failure::Input`] where a file should tell it and does not.
    #[cfg(feature = "demo")]
    pub(super) fn get() -> Result<Self, Failure> {
        let Some(file) = std::env::var_os(CLOCK_VARIABLE) else {
            return Ok(Self::of_the_machine());
        };
        let clock = crate::clock::SharedClock::of(std::path::Path::new(&file));
        let clock = clock.map_err(|error| Failure::Input(error.to_string()))?;
        let speed = clock.bearing().speed;
        tracing::warn!(speed, "a file tells the time: this is a test");
        Ok(Self {
            clock: Arc::new(clock),
            speed,
        })
    }

    /// The clock to run by.
    #[cfg(not(feature = "demo"))]
    #[expect(
        clippy::unnecessary_wraps,
        reason = "a build with the demonstration may fail"
    )]
    pub(super) fn get() -> Result<Self, Failure> {
        Ok(Self::of_the_machine())
    }

    /// Makes a daemon fit for it.
    #[cfg(feature = "demo")]
    pub(super) fn fit(&self, parts: &mut Parts) {
        if self.speed > 1 {
            crate::daemon::runtime::hasten(parts, self.speed);
        }
    }

    /// Makes a daemon fit for it.
    #[cfg(not(feature = "demo"))]
    pub(super) fn fit(&self, parts: &mut Parts) {
        parts.speed = self.speed;
    }
}
