//! The surface: rain or irrigation comes, a film stands or runs off, and the
//! air takes what the soil can bring.
//!
//! The flux is what the weather asks for until the soil refuses: it takes no
//! more than a wet surface would press in and gives no more than an air-dry
//! surface would draw out. Both limits are fluxes from a held head half a
//! cell above the first cell, so the switch between flux and head is a
//! minimum and a maximum, without a jump.

use super::flux::{Flux, Internodal, flux};
use super::table::State;
use super::uptake::RootUptake;

/// Pressure head of air-dry soil [m].
///
/// Own choice: 10 MPa of suction, in balance with air at 93 % relative
/// humidity (Kelvin); a soil gives next to no liquid water beyond it. The
/// drying hardly answers to it, see docs/soil-column.md.
pub const AIR_DRY_HEAD_M: f64 = -1000.0;

/// A film thinner than this is wetness, not ponding [mm]. Own choice.
pub const PONDED_FILM_MM: f64 = 0.1;

/// What happens above the ground, steady over one call of `advance`.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct SurfaceForcing {
    /// Rain and irrigation [mm/h].
    pub water_mm_per_h: f64,
    /// Evaporation that the air takes from a wet surface [mm/h].
    pub potential_evaporation_mm_per_h: f64,
    /// What roots take; none before emergence.
    pub root_uptake: Option<RootUptake>,
}

/// What stands over the first cell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Top {
    /// The weather, through the film.
    Weather {
        /// Water that comes [mm/h].
        water: f64,
        /// Evaporative demand [mm/h].
        demand: f64,
    },
    /// A held pressure head, for comparison with published solutions.
    Held,
}

/// The surface as the solver sees it during one step.
#[derive(Debug, Clone, Copy)]
pub(super) struct Surface {
    pub top: Top,
    /// Film at the start of the step [mm].
    pub film: f64,
    /// State of the surface when it is wet, or held.
    pub wet: State,
    /// State of the surface when it is air-dry.
    pub dry: State,
    /// From the surface to the first cell's centre [mm].
    pub half_cell: f64,
}

/// What became of the water above the ground in one step, all in mm.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Outcome {
    pub film: f64,
    pub runoff: f64,
    pub evaporated: f64,
}

impl Surface {
    /// Flux into the first cell [mm/h] over a step of `dt` h, and its slope
    /// by the first cell's head in `by_lower`.
    #[inline]
    pub(super) fn flux(&self, first: &State, dt: f64, mean: Internodal) -> Flux {
        let most = flux(mean, &self.wet, first, self.half_cell);
        let Top::Weather { water, demand } = self.top else {
            return most;
        };
        let offered = water - demand + self.film / dt;
        if offered >= most.rate {
            return most;
        }
        if offered < 0.0 {
            let least = flux(mean, &self.dry, first, self.half_cell);
            if least.rate >= 0.0 {
                // The first cell is drier than air-dry: nothing moves.
                return Flux::default();
            }
            if least.rate > offered {
                return least;
            }
        }
        Flux {
            rate: offered,
            ..Flux::default()
        }
    }

    /// Shares out the water above the ground after a step of `dt` h in which
    /// `into_soil` mm/h entered.
    pub(super) fn settle(&self, into_soil: f64, dt: f64, storage_limit: f64) -> Outcome {
        let Top::Weather { water, demand } = self.top else {
            // The held head brings and takes its own water.
            return Outcome {
                film: self.film,
                ..Outcome::default()
            };
        };
        let left = (water - demand - into_soil) * dt + self.film;
        let film = left.clamp(0.0, storage_limit);
        Outcome {
            film,
            runoff: (left - storage_limit).max(0.0),
            // What the soil did not give of the demand stays in the soil.
            evaporated: demand * dt + left.min(0.0),
        }
    }
}
