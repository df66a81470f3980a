//! The flux across the seam between two soils.
//!
//! Water at the seam has one pressure, but two conductivities: a coarse layer
//! over a fine one holds water back until it is nearly saturated at its foot.
//! No mean of the two cells' conductivities knows that, so the head at the
//! seam is found for which as much water arrives from above as leaves below.

use super::flux::{Flux, Internodal, flux};
use super::table::{SoilTable, State};

/// Steps of the search for the head at the seam.
const MOST_STEPS: u32 = 60;
/// Difference of the two fluxes that counts as none: as a share of them, and
/// in mm/h.
const SAME_SHARE: f64 = 1e-9;
const SAME_MM_PER_H: f64 = 1e-9;

/// A seam and the two half cells at it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Seam<'a> {
    pub soil_above: &'a SoilTable,
    pub soil_below: &'a SoilTable,
    /// From the upper cell's centre to the seam [mm].
    pub half_above: f64,
    /// From the seam to the lower cell's centre [mm].
    pub half_below: f64,
}

impl Seam<'_> {
    /// Downward flux from the upper to the lower cell's centre.
    pub(super) fn flux(&self, upper: &State, lower: &State) -> Flux {
        // Above the first bound nothing arrives, below the second nothing
        // leaves downwards.
        let mut wet = (upper.head + self.half_above).max(lower.head);
        let mut dry = upper.head.min(lower.head - self.half_below);
        let mut head = middle(wet, dry);
        for _ in 0..MOST_STEPS {
            let (arrives, leaves) = self.both(upper, lower, head);
            let surplus = arrives.rate - leaves.rate;
            if surplus.abs() <= SAME_MM_PER_H + SAME_SHARE * arrives.rate.abs() {
                break;
            }
            if surplus > 0.0 {
                dry = head;
            } else {
                wet = head;
            }
            let newton = head + surplus / (leaves.by_upper - arrives.by_lower);
            let inside = newton > dry && newton < wet;
            head = if inside { newton } else { middle(wet, dry) };
        }
        let (arrives, leaves) = self.both(upper, lower, head);
        let (hold, pull) = (-arrives.by_lower, leaves.by_upper);
        let share = if hold + pull > 0.0 {
            pull / (hold + pull)
        } else {
            0.0
        };
        Flux {
            rate: arrives.rate,
            by_upper: arrives.by_upper * share,
            by_lower: leaves.by_lower * (1.0 - share),
        }
    }

    /// Fluxes to and from the seam if its head [mm] were this.
    fn both(&self, upper: &State, lower: &State, head: f64) -> (Flux, Flux) {
        let foot = self.soil_above.state(head);
        let top = self.soil_below.state(head);
        (
            flux(Internodal::Integral, upper, &foot, self.half_above),
            flux(Internodal::Integral, &top, lower, self.half_below),
        )
    }
}

/// Between two heads, in the geometric mean where both are suctions.
fn middle(wet: f64, dry: f64) -> f64 {
    if wet < 0.0 {
        -(wet * dry).sqrt()
    } else {
        0.5 * (wet + dry)
    }
}
