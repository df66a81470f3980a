//! The ground of a zone: site words turned into the numbers of soil physics.

use super::strata::Strata;
use crate::agronomy::drying::DryingSoil;
use crate::agronomy::soil_hydraulics::{self, SoilError};
use crate::agronomy::{
    evaporation, infiltration, root_zone, surface_storage, texture, top_dressing,
};
use crate::site::{SoilKind, SoilSpec, SoilState, TextureName, Zone};
use crate::units::{Depth, Rate};

/// Organic matter assumed where only a texture class is known [%], as in the
/// class values of Saxton & Rawls 2006, Table 3.
const CLASS_ORGANIC_MATTER_PCT: f64 = 2.5;

/// What the soil of a zone holds, lets in and gives back.
#[derive(Debug, Clone, PartialEq)]
pub struct Ground {
    /// Texture class, given or from the fractions.
    pub texture: TextureName,
    /// Field capacity θFC, volume share.
    pub field_capacity: f64,
    /// Wilting point θWP, volume share.
    pub wilting_point: f64,
    /// Saturation θS, volume share.
    pub saturation: f64,
    /// Hydraulic conductivity in the Green–Ampt sense: a measured
    /// infiltration rate, or of the class value of Rawls et al. 1983 what the
    /// slope leaves.
    pub intake: Rate,
    /// Whether `intake` was measured.
    pub intake_measured: bool,
    /// Wetting-front suction ψ [mm].
    pub suction_mm: f64,
    /// Water that the surface holds on its slope without running off.
    pub surface_storage: Depth,
    /// The surface layer before the seed is down: soil only.
    pub bare_surface: SurfaceLayer,
    /// The surface layer as a seedbed: top-dressing and soil.
    pub seedbed_surface: SurfaceLayer,
    /// Depth to which the balance reaches [mm].
    pub bottom_mm: f64,
    /// The soil beneath the surface layer.
    pub strata: Strata,
}

/// Least available water that is believed of a measured soil, volume share:
/// keeps divisions finite.
const LEAST_AVAILABLE: f64 = 0.01;

/// The layer at the surface, in which seed lies and from which it evaporates.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SurfaceLayer {
    /// Thickness [mm].
    pub thickness_mm: f64,
    /// Water at field capacity [mm].
    pub capacity_mm: f64,
    /// Total available water, (θFC − θWP)·z [mm]; of soil that was not
    /// measured that of the quicker soil of its class, see [`DryingSoil`].
    pub available_mm: f64,
    /// Its inverse [1/mm].
    pub share_per_mm: f64,
    /// Total evaporable water, FAO-56 eq. 73 [mm].
    pub evaporable_mm: f64,
    /// Readily evaporable water [mm].
    pub readily_mm: f64,
    /// Share of the thickness that is the zone's own soil.
    pub soil_share: f64,
    /// Conductance to the soil beneath [mm/h]; less under a dressing that
    /// rising water does not pass.
    pub rise_mm_per_h: f64,
    /// See [`Strata::top_half_level_mm`].
    pub half_level_mm: f64,
    /// The most that it gives to the air at field capacity [mm/h]; infinite
    /// under loose peat or sand, of which that is not known.
    pub exfiltration_mm_per_h: f64,
}

impl Ground {
    /// Resolves the ground of a zone.
    ///
    /// # Errors
    /// [`SoilError`] when the fractions are not a soil.
    pub fn of(zone: &Zone) -> Result<Self, SoilError> {
        let (texture, water) = soil_water(&zone.soil)?;
        let (field_capacity, wilting_point) = match zone.soil.measured {
            Some(measured) => (measured.field_capacity, measured.wilting_point),
            None => (water.field_capacity, water.wilting_point),
        };
        // A measured field capacity may lie above the computed saturation.
        let saturation = water.saturation.max(field_capacity + 0.05);
        let class = infiltration::class_parameters(texture);
        let seed_layer_mm = zone.seed_layer.mm();
        let bottom_mm = zone
            .target_root_depth
            .mm()
            .max(zone.pre_soak.depth.mm())
            .max(seed_layer_mm + 1.0);
        let class_soil = DryingSoil::of(texture);
        let drying = DryingSoil {
            available: match zone.soil.measured {
                Some(_) => (field_capacity - wilting_point).max(LEAST_AVAILABLE),
                None => class_soil.available,
            },
            ..class_soil
        };
        let soil = Soil {
            texture,
            field_capacity,
            wilting_point,
            drying,
            strata: Strata::of(&drying, seed_layer_mm, bottom_mm),
        };
        Ok(Self {
            texture,
            field_capacity,
            wilting_point,
            saturation,
            intake: zone.soil.infiltration_rate.unwrap_or_else(|| {
                let left = surface_storage::slope_intake_factor(zone.slope_pct);
                Rate::from_mm_per_h(left * class.conductivity.mm_per_h())
            }),
            intake_measured: zone.soil.infiltration_rate.is_some(),
            suction_mm: class.suction_mm,
            surface_storage: Depth::from_mm(surface_storage::bare_soil_mm(zone.slope_pct)),
            bare_surface: soil.surface(seed_layer_mm, None),
            seedbed_surface: soil.surface(seed_layer_mm, zone.seeding.top_dressing.as_ref()),
            bottom_mm,
            strata: soil.strata,
        })
    }

    /// Total available water per mm of soil, θFC − θWP.
    #[must_use]
    pub fn available_share(&self) -> f64 {
        self.field_capacity - self.wilting_point
    }

    /// Green–Ampt moisture deficit of soil at field capacity, θS − θFC.
    #[must_use]
    pub fn moist_deficit(&self) -> f64 {
        (self.saturation - self.field_capacity).max(0.02)
    }

    /// Depletion of this soil in a given state, as a share of volume, 0 up.
    #[must_use]
    pub fn depletion_share(&self, state: SoilState) -> f64 {
        let available = self.available_share();
        match state {
            SoilState::Dry => available,
            // Without weather to compute from, half is the middle guess.
            SoilState::Half | SoilState::FromWeather => 0.5 * available,
            // "Most of it is there": a quarter is gone (common practice, no source).
            SoilState::Moist => 0.25 * available,
            SoilState::Measured(water_content) => {
                (self.field_capacity - water_content).clamp(0.0, available)
            }
        }
    }
}

impl SurfaceLayer {
    /// The most that the layer gives to the air [mm/h].
    ///
    /// - `wetness`: its [`crate::agronomy::drying::potential`]
    #[inline]
    #[must_use]
    pub fn most_out_mm_per_h(&self, wetness: f64) -> f64 {
        if self.exfiltration_mm_per_h.is_finite() {
            self.exfiltration_mm_per_h * wetness
        } else {
            // Infinity times a dry layer's zero would be no number.
            f64::INFINITY
        }
    }
}

/// Numbers of the soil itself, while the ground is put together.
struct Soil {
    texture: TextureName,
    field_capacity: f64,
    wilting_point: f64,
    drying: DryingSoil,
    strata: Strata,
}

impl Soil {
    fn surface(
        &self,
        thickness_mm: f64,
        dressing: Option<&crate::site::TopDressing>,
    ) -> SurfaceLayer {
        let material = dressing.map(|dressing| dressing.material);
        let dressing = dressing.and_then(|dressing| {
            let water = top_dressing::water(dressing.material)?;
            Some((dressing.thickness.mm().min(thickness_mm), water))
        });
        let (dressing_mm, fc, wp) = match dressing {
            Some((mm, water)) => (mm, water.field_capacity, water.wilting_point),
            None => (0.0, self.field_capacity, self.wilting_point),
        };
        let soil_mm = thickness_mm - dressing_mm;
        let evaporable_mm = evaporation::total_evaporable_water_mm(
            self.field_capacity,
            self.wilting_point,
            soil_mm,
        ) + evaporation::total_evaporable_water_mm(fc, wp, dressing_mm);
        let available_mm = self.drying.available * soil_mm
            + root_zone::total_available_water_mm(fc, wp, dressing_mm);
        let reached = material.map_or(1.0, |material| {
            top_dressing::reached_share(material, dressing_mm, thickness_mm)
        });
        let evaporable_mm = evaporable_mm.max(available_mm);
        SurfaceLayer {
            thickness_mm,
            capacity_mm: self.field_capacity * soil_mm + fc * dressing_mm,
            available_mm,
            share_per_mm: available_mm.recip(),
            evaporable_mm,
            readily_mm: evaporation::readily_evaporable_water_mm(self.texture, evaporable_mm),
            soil_share: soil_mm / thickness_mm,
            rise_mm_per_h: reached * self.strata.top_conductance_mm_per_h(),
            half_level_mm: self.strata.top_half_level_mm(available_mm),
            exfiltration_mm_per_h: if material.is_none_or(top_dressing::conducts) {
                self.drying.exfiltration_mm_per_h(thickness_mm)
            } else {
                f64::INFINITY
            },
        }
    }
}

fn soil_water(spec: &SoilSpec) -> Result<(TextureName, soil_hydraulics::SoilWater), SoilError> {
    let (sand_pct, clay_pct, organic_matter_pct, class) = match spec.kind {
        SoilKind::Texture(name) => {
            let typical = texture::typical_fractions(name);
            (
                typical.sand_pct,
                typical.clay_pct,
                CLASS_ORGANIC_MATTER_PCT,
                Some(name),
            )
        }
        SoilKind::Fractions {
            sand_pct,
            clay_pct,
            organic_matter_pct,
        } => (sand_pct, clay_pct, organic_matter_pct, None),
    };
    let water = soil_hydraulics::saxton_rawls(sand_pct, clay_pct, organic_matter_pct)?;
    let texture = match class {
        Some(name) => name,
        None => texture::classify(sand_pct, clay_pct)?,
    };
    Ok((texture, water))
}
