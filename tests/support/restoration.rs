//! The slow rise of water from moist soil beneath into a drying seed layer:
//! what a deep soak buys.
//!
//! Only the restore flux of the force–restore method is taken. Its other half,
//! the coefficient C1 that scales evaporation, makes the surface value a skin
//! and not a store of water.
//!
//! The balance used this with the whole demand taken from the layer, and was up
//! to three times too late against Richards' equation from the second spell on,
//! because one store beneath the layer stays moist when the soil next to the
//! layer no longer is. It uses `agronomy::drying` now; this is kept for the tests, as
//! the measure of what that gained (docs/seed-layer.md).
//!
//! Source throughout: Noilhan & Planton 1989, Mon. Weather Rev. 117:536–549.
//! The equations and the sand, sandy loam and clay rows were compared with
//! public land-surface codes; water contents and the other rows are from
//! memory of the paper.

#![allow(dead_code, reason = "each test binary uses its part")]

use soakmist::site::TextureName;

/// Parameters of the restore flux for one soil.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ForceRestoreSoil {
    /// Saturated water content wsat, volume share.
    pub saturation: f64,
    /// Wilting point wwilt, volume share.
    pub wilting_point: f64,
    /// Exponent p of the equilibrium curve.
    pub equilibrium_p: f64,
    /// Coefficient a of the equilibrium curve.
    pub equilibrium_a: f64,
    /// Restore coefficient C2ref.
    pub restore_reference: f64,
}

/// Depth d1 of the surface layer to which the coefficients belong [mm]. Some
/// public code writes 100 mm with the same coefficients; ten times this rise
/// is not believable.
const REFERENCE_LAYER_MM: f64 = 10.0;

/// The restoring time τ, one day [h].
const RESTORE_TIME_H: f64 = 24.0;

/// Small water content wl [volume share] that keeps C2 finite at saturation.
const LEAST_AIR_SPACE: f64 = 0.001;

impl ForceRestoreSoil {
    /// The parameters of a texture class.
    ///
    /// The table has 11 classes; silt takes the row of silt loam.
    ///
    /// # Source
    /// Noilhan & Planton 1989, Table 2, with the water contents of Clapp &
    /// Hornberger 1978.
    #[must_use]
    pub const fn of(texture: TextureName) -> Self {
        match texture {
            TextureName::Sand => Self::row([0.395, 0.068], [4.0, 0.387], 3.9),
            TextureName::LoamySand => Self::row([0.410, 0.075], [4.0, 0.404], 3.7),
            TextureName::SandyLoam => Self::row([0.435, 0.114], [4.0, 0.219], 1.8),
            TextureName::SiltLoam | TextureName::Silt => {
                Self::row([0.485, 0.179], [6.0, 0.105], 0.8)
            }
            TextureName::Loam => Self::row([0.451, 0.155], [6.0, 0.148], 0.8),
            TextureName::SandyClayLoam => Self::row([0.420, 0.175], [6.0, 0.135], 0.8),
            TextureName::SiltyClayLoam => Self::row([0.477, 0.218], [8.0, 0.127], 0.4),
            TextureName::ClayLoam => Self::row([0.476, 0.250], [10.0, 0.084], 0.6),
            TextureName::SandyClay => Self::row([0.426, 0.219], [8.0, 0.139], 0.3),
            TextureName::SiltyClay => Self::row([0.492, 0.283], [10.0, 0.075], 0.3),
            TextureName::Clay => Self::row([0.482, 0.286], [12.0, 0.083], 0.3),
        }
    }

    const fn row(water: [f64; 2], equilibrium: [f64; 2], restore_reference: f64) -> Self {
        Self {
            saturation: water[0],
            wilting_point: water[1],
            equilibrium_p: equilibrium[0],
            equilibrium_a: equilibrium[1],
            restore_reference,
        }
    }

    /// Relative wetness of the surface, wgeq/wsat, at which capillary rise and
    /// gravity balance.
    ///
    /// - `subsoil_saturation`: x = w2/wsat, 0 to 1
    ///
    /// # Source
    /// Noilhan & Planton 1989, eq. 19: x − a x^p (1 − x^(8p)).
    #[must_use]
    pub fn equilibrium_saturation(self, subsoil_saturation: f64) -> f64 {
        let x = subsoil_saturation;
        let p = self.equilibrium_p;
        x - self.equilibrium_a * x.powf(p) * (1.0 - x.powf(8.0 * p))
    }

    /// Restore coefficient C2, without unit.
    ///
    /// - `subsoil_saturation`: x = w2/wsat, 0 to 1
    ///
    /// Very large near saturation; [`Rise::mm_per_h`] bounds the flux.
    ///
    /// # Source
    /// Noilhan & Planton 1989: C2 = C2ref·w2/(wsat − w2 + wl), wl 0.001.
    #[must_use]
    pub fn restore_coefficient(self, subsoil_saturation: f64) -> f64 {
        let subsoil = subsoil_saturation * self.saturation;
        self.restore_reference * subsoil / (self.saturation - subsoil + LEAST_AIR_SPACE)
    }
}

/// The rise from a subsoil of one wetness, worked out once for many steps:
/// the subsoil changes little while the surface dries and is wetted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rise {
    /// Relative wetness of the surface at which nothing rises; 0 from a
    /// subsoil that has nothing to give.
    equilibrium_saturation: f64,
    /// d1·C2/τ [mm/h] per volume share that the surface lacks.
    mm_per_h_per_lacking: f64,
    /// Saturated water content of the soil, volume share.
    saturation: f64,
}

impl Rise {
    /// The rise in a soil.
    ///
    /// - `subsoil_saturation`: θ/θs of the soil beneath, 0 to 1
    ///
    /// Zero from a subsoil at or under its wilting point.
    #[must_use]
    pub fn of(soil: ForceRestoreSoil, subsoil_saturation: f64) -> Self {
        let subsoil_saturation = subsoil_saturation.clamp(0.0, 1.0);
        let gives = subsoil_saturation * soil.saturation > soil.wilting_point;
        let equilibrium = soil.equilibrium_saturation(subsoil_saturation);
        let coefficient = soil.restore_coefficient(subsoil_saturation);
        Self {
            equilibrium_saturation: if gives { equilibrium } else { 0.0 },
            mm_per_h_per_lacking: REFERENCE_LAYER_MM * coefficient / RESTORE_TIME_H,
            saturation: soil.saturation,
        }
    }

    /// Water that rises into the surface layer [mm/h].
    ///
    /// - `surface_saturation`: θ/θs of the surface layer, 0 to 1
    /// - `layer_mm`: thickness of the surface layer [mm], above 0
    ///
    /// d1·C2·(wgeq − wg)/τ with d1 = 10 mm. The rest is ours:
    ///
    /// - A layer thicker than 10 mm gets 10/L of it: the water has to come to
    ///   the middle of the layer, and over the same difference a flux falls as
    ///   its way grows. A thinner one gets no more, because the soil beneath
    ///   limits it. (Keeping the rate of wetness instead would pour fifteen
    ///   times the water into a root zone of 150 mm.)
    /// - Never in one hour more than brings the layer level with the
    ///   equilibrium, so that a subsoil near saturation does not give without
    ///   end.
    /// - Never negative: the layer does not drain here.
    ///
    /// What the subsoil holds is for the caller to keep account of.
    ///
    /// # Source
    /// Noilhan & Planton 1989, restore term of the surface equation.
    #[must_use]
    pub fn mm_per_h(&self, surface_saturation: f64, layer_mm: f64) -> f64 {
        let lacking = self.saturation * (self.equilibrium_saturation - surface_saturation).max(0.0);
        let way = (REFERENCE_LAYER_MM / layer_mm).min(1.0);
        (way * self.mm_per_h_per_lacking * lacking).min(layer_mm * lacking)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXTURES: [TextureName; 12] = [
        TextureName::Sand,
        TextureName::LoamySand,
        TextureName::SandyLoam,
        TextureName::Loam,
        TextureName::SiltLoam,
        TextureName::Silt,
        TextureName::SandyClayLoam,
        TextureName::ClayLoam,
        TextureName::SiltyClayLoam,
        TextureName::SandyClay,
        TextureName::SiltyClay,
        TextureName::Clay,
    ];

    #[test]
    fn the_rise_is_finite_and_never_downward_for_every_soil_and_wetness() {
        for texture in TEXTURES {
            let soil = ForceRestoreSoil::of(texture);
            for step in 0..=400_u32 {
                let (surface, subsoil) = (f64::from(step % 20) / 19.0, f64::from(step / 20) / 20.0);
                for layer_mm in [3.0, 10.0, 25.0, 150.0] {
                    let rise = Rise::of(soil, subsoil).mm_per_h(surface, layer_mm);
                    assert!(rise.is_finite() && rise >= 0.0, "{texture:?}: {rise}");
                    // One hour at this rate fills the layer at most to the brim.
                    assert!(rise <= layer_mm * soil.saturation * (1.0 - surface) + 1e-12);
                }
            }
        }
    }

    #[test]
    fn dry_subsoil_gives_nothing() {
        let soil = ForceRestoreSoil::of(TextureName::Loam);
        let wilting = soil.wilting_point / soil.saturation;
        assert!(Rise::of(soil, wilting).mm_per_h(0.0, 10.0).abs() < 1e-12);
        assert!(Rise::of(soil, wilting + 0.01).mm_per_h(0.0, 10.0) > 0.0);
    }

    #[test]
    fn a_surface_wetter_than_the_equilibrium_gets_nothing() {
        let soil = ForceRestoreSoil::of(TextureName::Loam);
        assert!(Rise::of(soil, 0.6).mm_per_h(0.8, 10.0).abs() < 1e-12);
    }

    #[test]
    fn a_thicker_layer_gets_no_more_than_a_thin_one() {
        let soil = ForceRestoreSoil::of(TextureName::SandyLoam);
        let at = |layer_mm| Rise::of(soil, 0.6).mm_per_h(0.3, layer_mm);
        assert!((at(5.0) - at(10.0)).abs() < 1e-12);
        assert!((at(20.0) - at(10.0) / 2.0).abs() < 1e-12);
        assert!((at(150.0) - at(10.0) / 15.0).abs() < 1e-12);
    }
}
