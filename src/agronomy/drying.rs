//! How bare soil dries from the surface down: what it lets go to the air, and
//! what rises into a drying seed layer from the soil beneath.
//!
//! Own model throughout: water moves by its share of available water,
//! w = (θ − θWP)/(θFC − θWP), with a diffusivity D·w³, so that its flux potential is
//! D·w⁴/4. (Liquid water in soil does move by diffusion; only the form of D
//! is ours, chosen because a fourth power costs two multiplications.) D has two
//! values to a texture: between layers of soil, and for the way out of the
//! seed layer, in which the wetness is far from even.
//!
//! Fitted so that hours until half of a 10 mm layer's available water is gone,
//! first after a soak of 25, 75 or 150 mm and then after each of three mistings
//! of what was lacking, at 0.2, 0.5 and 0.9 mm/h, come near those of Richards'
//! equation in `column`, and are never more than a tenth late by whichever is
//! drier of the class means of Carsel & Parrish 1988 and Schaap & Leij 1998.
//! The comparison is kept in docs/seed-layer.md.

use crate::site::TextureName;

/// What a soil does when its surface dries.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DryingSoil {
    /// Available water θFC − θWP that can be relied on, volume share.
    pub available: f64,
    /// Diffusivity at field capacity between layers of soil [mm²/h].
    pub diffusivity_mm2_per_h: f64,
    /// The same for the way from the seed layer to the air [mm²/h].
    pub exfiltration_mm2_per_h: f64,
}

/// The way from within a layer to its surface, as a share of its thickness: a
/// third for the parabola that a steady loss from its top draws in it.
const WAY_OUT: f64 = 1.0 / 3.0;

impl DryingSoil {
    /// The parameters of a texture class.
    ///
    /// `available` is θ at 0.1 mm/day of drainage less θ at 1500 kPa in that of
    /// the two class tables whose soil dries first (Carsel & Parrish for clay,
    /// Schaap & Leij for the others), to two digits; a tenth less for silt and
    /// silt loam, which a dry subsoil drains. The tables differ by up to three
    /// times, and no one knows which soil is his: with the depth and the pace
    /// of the same, quicker soil, a misting is neither late nor short in either.
    ///
    /// # Source
    /// Own model: fit to `column`, see the head of the module.
    #[must_use]
    pub const fn of(texture: TextureName) -> Self {
        let (available, diffusivity_mm2_per_h, exfiltration_mm2_per_h) = match texture {
            TextureName::Sand => (0.016, 390.0, 450.0),
            TextureName::LoamySand => (0.075, 260.0, 210.0),
            TextureName::SandyLoam => (0.12, 230.0, 190.0),
            TextureName::Loam => (0.125, 280.0, 310.0),
            TextureName::SiltLoam => (0.10, 420.0, 730.0),
            TextureName::Silt => (0.10, 420.0, 730.0),
            TextureName::SandyClayLoam => (0.14, 180.0, 170.0),
            TextureName::ClayLoam => (0.16, 160.0, 150.0),
            TextureName::SiltyClayLoam => (0.14, 240.0, 330.0),
            TextureName::SandyClay => (0.12, 140.0, 110.0),
            TextureName::SiltyClay => (0.13, 150.0, 170.0),
            TextureName::Clay => (0.085, 340.0, 420.0),
        };
        Self {
            available,
            diffusivity_mm2_per_h,
            exfiltration_mm2_per_h,
        }
    }

    /// Flux [mm/h] between two places `distance_mm` apart, one at field
    /// capacity and one at the wilting point. Times the difference of
    /// [`potential`] it is the flux between any two.
    #[must_use]
    pub fn conductance_mm_per_h(&self, distance_mm: f64) -> f64 {
        self.available * self.diffusivity_mm2_per_h / (4.0 * distance_mm)
    }

    /// The most [mm/h] that a layer at field capacity gives to the air; times
    /// its [`potential`] it is that of a drier one.
    ///
    /// - `thickness_mm`: of the layer [mm], above 0
    #[must_use]
    pub fn exfiltration_mm_per_h(&self, thickness_mm: f64) -> f64 {
        self.available * self.exfiltration_mm2_per_h / (4.0 * WAY_OUT * thickness_mm)
    }
}

/// Flux potential as a share of that at field capacity, w⁴.
///
/// - `share`: w, share of available water, held to 0 from below
///
/// # Source
/// Own model, see the head of the module.
#[inline]
#[must_use]
pub fn potential(share: f64) -> f64 {
    let wet = not_below_zero(share);
    let square = wet * wet;
    square * square
}

/// A quantity, or zero where it is less: one instruction of the innermost
/// loop, where `f64::max` takes care of what is not a number.
#[inline]
pub(crate) fn not_below_zero(quantity: f64) -> f64 {
    if quantity > 0.0 { quantity } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dry_soil_gives_nothing_and_soil_at_field_capacity_all() {
        assert!(potential(-0.2).abs() < 1e-12 && potential(0.0).abs() < 1e-12);
        assert!((potential(1.0) - 1.0).abs() < 1e-12);
        assert!((potential(0.5) - 0.0625).abs() < 1e-12);
    }

    #[test]
    fn a_thinner_layer_lets_more_out() {
        let loam = DryingSoil::of(TextureName::Loam);
        let at = |mm| loam.exfiltration_mm_per_h(mm);
        // 0.125 · 310 mm²/h / (4 · 10/3 mm) = 2.90625 mm/h.
        assert!((at(10.0) - 2.906_25).abs() < 1e-9);
        assert!((at(5.0) - 2.0 * at(10.0)).abs() < 1e-9);
    }
}
