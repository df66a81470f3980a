//! The lower end of the column.

use super::flux::{Flux, Internodal, flux};
use super::table::State;

/// What lies below the column.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum Bottom {
    /// Deep soil of the same wetness: drainage under gravity alone, q = K.
    #[default]
    FreeDrainage,
    /// A held pressure head [m] at the lower end; 0 is a water table.
    Head(f64),
    /// A tight floor.
    Closed,
}

impl Bottom {
    /// Flux out of the last cell [mm/h]; its slope by the last cell's head in
    /// `by_upper`. `below` is the state at the held head.
    #[inline]
    pub(super) fn flux(
        self,
        last: &State,
        below: &State,
        half_cell: f64,
        mean: Internodal,
    ) -> Flux {
        match self {
            Self::FreeDrainage => Flux {
                rate: last.k,
                by_upper: last.k_slope,
                by_lower: 0.0,
            },
            Self::Head(_) => flux(mean, last, below, half_cell),
            Self::Closed => Flux::default(),
        }
    }

    /// The head held below [mm], where one is.
    pub(super) fn held_head_mm(self) -> f64 {
        match self {
            Self::Head(head_m) => head_m * 1000.0,
            Self::FreeDrainage | Self::Closed => 0.0,
        }
    }
}
