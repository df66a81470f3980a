//! The ground that plays against the plan: van Genuchten's soil of the zone's
//! texture class, and how it may differ from what the site file says.

use super::noise::Noise;
use crate::balance::ground::Ground;
use crate::column::{
    ClassTable, FieldCapacity, HydraulicFunctions, NEGLIGIBLE_DRAINAGE, VanGenuchten,
};
use crate::site::Zone;

/// What field capacity means for a threshold.
pub const FIELD_CAPACITY: FieldCapacity = NEGLIGIBLE_DRAINAGE;
/// Suction at the wilting point [m]: 1.5 MPa.
const WILTING_M: f64 = 153.0;
/// Matric head below which seed counts as too dry [m]: −0.5 MPa, at which
/// germination of turfgrass is much delayed (from memory).
pub const SEED_HEAD_M: f64 = -50.0;
/// Bounds of the pore space that a rescaled soil may have.
const PORE_SPACE: (f64, f64) = (0.2, 0.75);

/// How the ground differs from the site file; 1 where it does not.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GroundError {
    /// Factor on saturated conductivity.
    pub conductivity: f64,
    /// Factor on water content, field capacity included.
    pub water: f64,
    /// Factor on the precipitation rate of the sprinklers.
    pub rate: f64,
}

impl GroundError {
    /// The ground as the site file has it.
    pub const NONE: Self = Self {
        conductivity: 1.0,
        water: 1.0,
        rate: 1.0,
    };

    /// A draw: conductivity halved or doubled, field capacity within 10 % and
    /// precipitation rate within 15 %, both evenly.
    #[must_use]
    pub fn drawn(noise: Noise, zone: usize) -> Self {
        let index = i64::try_from(zone).unwrap_or(0);
        let even = |stream: u64| 2.0 * noise.share(stream, index) - 1.0;
        Self {
            conductivity: if even(40) < 0.0 { 0.5 } else { 2.0 },
            water: 1.0 + 0.10 * even(41),
            rate: 1.0 + 0.15 * even(42),
        }
    }
}

/// The soil of a zone as it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrueSoil {
    /// Its hydraulic functions.
    pub functions: VanGenuchten,
    /// Water content at [`FIELD_CAPACITY`], volume share.
    pub field_capacity: f64,
    /// Water content at 1.5 MPa, volume share.
    pub wilting_point: f64,
}

impl TrueSoil {
    /// The soil of a zone by a class table.
    ///
    /// A measured field capacity and wilting point stretch the retention
    /// curve so that it goes through them; a measured infiltration rate
    /// stands for saturated conductivity.
    #[must_use]
    pub fn of(zone: &Zone, ground: &Ground, table: ClassTable, error: &GroundError) -> Self {
        let mut functions = table.soil(ground.texture);
        if let Some(measured) = zone.soil.measured {
            let (fc, wp) = contents(&functions);
            let stretch = (measured.field_capacity - measured.wilting_point) / (fc - wp);
            let stretched = |share: f64| measured.wilting_point + (share - wp) * stretch;
            functions.residual = stretched(functions.residual).max(0.0);
            functions.saturated = stretched(functions.saturated).clamp(PORE_SPACE.0, PORE_SPACE.1);
        }
        if let Some(rate) = zone.soil.infiltration_rate {
            functions.conductivity_mm_per_h = rate.mm_per_h();
        }
        functions.conductivity_mm_per_h *= error.conductivity;
        functions.residual *= error.water;
        functions.saturated *= error.water;
        let (field_capacity, wilting_point) = contents(&functions);
        Self {
            functions,
            field_capacity,
            wilting_point,
        }
    }

    /// Water content at which a share of the available water is used.
    #[must_use]
    pub fn threshold(&self, depletion_share: f64) -> f64 {
        self.field_capacity - depletion_share * (self.field_capacity - self.wilting_point)
    }

    /// The suction [m] at a water content, by halving.
    #[must_use]
    pub fn suction_m(&self, water_content: f64) -> f64 {
        let (mut low, mut high) = SUCTION_M;
        for _ in 0..60 {
            let middle = (low * high).sqrt();
            if self.functions.water_content(middle) > water_content {
                low = middle;
            } else {
                high = middle;
            }
        }
        low
    }
}

/// Suctions between which a water content is looked for [m].
const SUCTION_M: (f64, f64) = (1e-4, 1e6);

/// Water content at field capacity and at the wilting point.
fn contents(functions: &VanGenuchten) -> (f64, f64) {
    (
        functions.water_content(FIELD_CAPACITY.suction_m(functions)),
        functions.water_content(WILTING_M),
    )
}
