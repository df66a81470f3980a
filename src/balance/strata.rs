//! The soil beneath the surface layer in four strata, thin above and thick
//! below: what rises into a drying surface comes from the soil next to it, and
//! once that has given, the rise is slow however moist the depth still is.

use super::ground::SurfaceLayer;
use crate::agronomy::drying::{DryingSoil, not_below_zero, potential};

/// Number of strata.
pub const COUNT: usize = 4;
/// In shallow soil the uppermost stratum is this part of it at most: the
/// lowest is then as thick as the uppermost.
const SHARES: f64 = 8.0;

/// The strata of a ground, and how water passes between them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Strata {
    /// Thickness, from the top [mm].
    pub thickness_mm: [f64; COUNT],
    /// Depletion at which a stratum no longer gives, inverted [1/mm].
    share_per_mm: [f64; COUNT],
    /// Conductance of each upper border [mm/h]; that of the first leads to
    /// the surface layer.
    conductance_mm_per_h: [f64; COUNT],
    /// Half of what makes two neighbours level from a difference of 1 [mm],
    /// by upper border; the first is left to the surface layer.
    half_level_mm: [f64; COUNT],
}

impl Strata {
    /// The strata between a surface layer and the bottom: as thick as that
    /// layer, twice, four times that, and the rest. Diffusion is the same at
    /// any scale, so a fit to a layer of 10 mm carries over to others, though
    /// less closely (docs/seed-layer.md).
    ///
    /// - `surface_mm`: thickness of the surface layer [mm]
    /// - `bottom_mm`: depth of the bottom [mm], greater
    #[must_use]
    pub fn of(soil: &DryingSoil, surface_mm: f64, bottom_mm: f64) -> Self {
        let below_mm = bottom_mm - surface_mm;
        let first = surface_mm.min(below_mm / SHARES);
        let thickness_mm = [first, 2.0 * first, 4.0 * first, below_mm - 7.0 * first];
        let holds = thickness_mm.map(|mm| soil.available * mm);
        let mut conductance_mm_per_h = [0.0; COUNT];
        let mut half_level_mm = [0.0; COUNT];
        let mut above_mm = surface_mm;
        for k in 0..COUNT {
            let distance_mm = 0.5 * (above_mm + thickness_mm[k]);
            conductance_mm_per_h[k] = soil.conductance_mm_per_h(distance_mm);
            if k > 0 {
                half_level_mm[k] = half_level(holds[k - 1], holds[k]);
            }
            above_mm = thickness_mm[k];
        }
        Self {
            thickness_mm,
            share_per_mm: holds.map(f64::recip),
            conductance_mm_per_h,
            half_level_mm,
        }
    }

    /// Depletions [mm] at which the strata no longer give.
    #[must_use]
    pub fn dry_mm(&self) -> [f64; COUNT] {
        self.share_per_mm.map(f64::recip)
    }

    /// Conductance [mm/h] between the surface layer and the first stratum.
    #[must_use]
    pub fn top_conductance_mm_per_h(&self) -> f64 {
        self.conductance_mm_per_h[0]
    }

    /// Half of what makes a surface layer of `available_mm` and the first
    /// stratum level from a difference of 1 [mm].
    #[must_use]
    pub fn top_half_level_mm(&self, available_mm: f64) -> f64 {
        half_level(available_mm, self.share_per_mm[0].recip())
    }

    /// Lets water move for a while, up and down, by the depletions [mm] of
    /// surface layer and strata; returns what rose into the surface layer
    /// [mm], below zero where it gave.
    ///
    /// In one step no more passes than brings two neighbours half way to
    /// level, so that no step is too long.
    #[inline]
    pub fn exchange(
        &self,
        surface: &SurfaceLayer,
        surface_mm: f64,
        depletion_mm: &mut [f64; COUNT],
        hours: f64,
    ) -> f64 {
        let mut share = not_below_zero(1.0 - surface_mm * surface.share_per_mm);
        let mut above = potential(share);
        let mut rise = [0.0; COUNT + 1];
        for k in 0..COUNT {
            let beneath = not_below_zero(1.0 - depletion_mm[k] * self.share_per_mm[k]);
            let below = potential(beneath);
            let (conductance, half_level) = if k == 0 {
                (surface.rise_mm_per_h, surface.half_level_mm)
            } else {
                (self.conductance_mm_per_h[k], self.half_level_mm[k])
            };
            let most = half_level * (beneath - share).abs();
            rise[k] = within(conductance * hours * (below - above), most);
            share = beneath;
            above = below;
        }
        for k in 0..COUNT {
            depletion_mm[k] += rise[k] - rise[k + 1];
        }
        rise[0]
    }
}

/// `flow`, or `most` in its direction where it is more.
#[inline]
fn within(flow: f64, most: f64) -> f64 {
    let flow = if flow > most { most } else { flow };
    if flow < -most { -most } else { flow }
}

fn half_level(upper_mm: f64, lower_mm: f64) -> f64 {
    0.5 * upper_mm * lower_mm / (upper_mm + lower_mm)
}
