//! The water books of the column.

use std::ops::AddAssign;

/// Where the water went during one call of `advance`.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct StepReport {
    /// Water that entered the soil through its surface [mm]; drying does not
    /// count against it.
    pub infiltrated_mm: f64,
    /// Water that the air took from film and soil [mm].
    pub evaporated_mm: f64,
    /// Water that ran off the surface [mm].
    pub runoff_mm: f64,
    /// Water that left through the lower end [mm]; negative where it rose.
    pub drained_mm: f64,
    /// Water that roots took [mm].
    pub transpired_mm: f64,
    /// Time with a film of at least [`super::PONDED_FILM_MM`] [s].
    pub ponded_seconds: f64,
    /// Water that the heads hold and the fluxes did not bring, at the end of
    /// the call [mm]. It is carried along, so it does not pile up.
    pub mass_error_mm: f64,
    /// Time steps taken.
    pub steps: u32,
    /// Iterations of the solver, those of rejected steps included.
    pub iterations: u32,
}

impl AddAssign for StepReport {
    /// Sums what happened; the mass error is that of the later report.
    fn add_assign(&mut self, later: Self) {
        self.infiltrated_mm += later.infiltrated_mm;
        self.evaporated_mm += later.evaporated_mm;
        self.runoff_mm += later.runoff_mm;
        self.drained_mm += later.drained_mm;
        self.transpired_mm += later.transpired_mm;
        self.ponded_seconds += later.ponded_seconds;
        self.mass_error_mm = later.mass_error_mm;
        self.steps += later.steps;
        self.iterations += later.iterations;
    }
}
