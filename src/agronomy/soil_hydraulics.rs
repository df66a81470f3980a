//! Water that a soil holds and lets through, from sand, clay and organic
//! matter.
//!
//! Pedotransfer functions of Saxton & Rawls 2006, Soil Sci. Soc. Am. J.
//! 70:1569–1578, Table 1; without their corrections for density, gravel and
//! salinity. Their saturated conductivity is that of an undisturbed soil and
//! two to eight times the Green–Ampt conductivity of [`super::infiltration`]:
//! the two sets come from different data and do not mix.

use super::texture::{self, TextureError};
use crate::units::Rate;

/// Suction at field capacity in this method [kPa].
const FIELD_CAPACITY_KPA: f64 = 33.0;
/// Suction at the wilting point [kPa].
const WILTING_POINT_KPA: f64 = 1500.0;
/// Clay above which the paper's data end [%].
pub const MOST_CLAY_PCT: f64 = 60.0;
/// Organic matter above which the paper's data end [%].
pub const MOST_ORGANIC_MATTER_PCT: f64 = 8.0;
/// Density of the soil's solid matter [g/cm³].
const PARTICLE_DENSITY_G_PER_CM3: f64 = 2.65;

/// Which inputs lie outside the soils that the equations were fitted to; the
/// values are then an extrapolation.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, serde::Serialize)]
pub struct BeyondPaper {
    /// Clay above [`MOST_CLAY_PCT`].
    pub clay: bool,
    /// Organic matter above [`MOST_ORGANIC_MATTER_PCT`].
    pub organic_matter: bool,
}

impl BeyondPaper {
    /// Whether anything is outside.
    #[must_use]
    pub const fn any(self) -> bool {
        self.clay || self.organic_matter
    }
}

/// What a soil holds. Water contents are shares of the soil's volume.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SoilWater {
    /// θWP, water at 1500 kPa, 0 to 1.
    pub wilting_point: f64,
    /// θFC, water at 33 kPa, 0 to 1.
    pub field_capacity: f64,
    /// θS, all pores full, 0 to 1.
    pub saturation: f64,
    /// Ks, conductivity of the saturated soil.
    pub saturated_conductivity: Rate,
    /// Dry bulk density [g/cm³].
    pub bulk_density_g_per_cm3: f64,
    /// λ, slope of the logarithmic suction curve, 1/B.
    pub lambda: f64,
    /// ψe, suction at which the first pores drain [kPa]; 0 in some sands.
    pub air_entry_kpa: f64,
    /// Inputs outside the paper's data.
    pub beyond_paper: BeyondPaper,
}

/// Soils that the method cannot describe.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum SoilError {
    /// Sand and clay are no fractions.
    #[error(transparent)]
    Fractions(#[from] TextureError),
    /// Organic matter below 0, above 100 or not a number.
    #[error("organic matter is {pct} %, but a fraction by weight lies between 0 and 100 %")]
    OrganicMatter {
        /// The value [%].
        pct: f64,
    },
    /// The equations give contents that no soil has.
    #[error(
        "the equations give wilting point {wilting_point:.3}, field capacity {field_capacity:.3} \
         and saturation {saturation:.3} for this mix, which no soil has (they fail for pure sand \
         without organic matter and for heavy clay with much of it): measure field capacity and \
         wilting point instead"
    )]
    NoCurve {
        /// θWP, 0 to 1.
        wilting_point: f64,
        /// θFC, 0 to 1.
        field_capacity: f64,
        /// θS, 0 to 1.
        saturation: f64,
    },
}

/// Water contents, conductivity and suction curve of a mineral soil.
///
/// - `sand_pct`, `clay_pct`: by weight of the fine earth, 0 to 100, sum ≤ 100
/// - `organic_matter_pct`: by weight, 0 to 100; the paper's data end at 8
///
/// Inputs outside the paper's data are computed all the same and flagged in
/// [`SoilWater::beyond_paper`].
///
/// # Errors
/// [`SoilError::Fractions`], [`SoilError::OrganicMatter`] for inputs that are
/// no fractions; [`SoilError::NoCurve`] unless 0 < θWP < θFC < θS < 1.
/// # Source
/// Saxton & Rawls 2006, Table 1, equations 1–6, 15, 16 and 18.
pub fn saxton_rawls(
    sand_pct: f64,
    clay_pct: f64,
    organic_matter_pct: f64,
) -> Result<SoilWater, SoilError> {
    texture::check_fractions(sand_pct, clay_pct)?;
    if !(0.0..=100.0).contains(&organic_matter_pct) {
        return Err(SoilError::OrganicMatter {
            pct: organic_matter_pct,
        });
    }
    let soil = Regression {
        sand: sand_pct / 100.0,
        clay: clay_pct / 100.0,
        organic_pct: organic_matter_pct,
    };
    let wilting_point = soil.wilting_point();
    let field_capacity = soil.field_capacity();
    let drained = soil.drained_by_field_capacity();
    let saturation = field_capacity + drained - 0.097 * soil.sand + 0.043;
    let rises = 0.0 < wilting_point
        && wilting_point < field_capacity
        && field_capacity < saturation
        && saturation < 1.0;
    if !rises {
        return Err(SoilError::NoCurve {
            wilting_point,
            field_capacity,
            saturation,
        });
    }
    let lambda =
        (field_capacity / wilting_point).ln() / (WILTING_POINT_KPA / FIELD_CAPACITY_KPA).ln();
    let conductivity_mm_per_h = 1930.0 * (saturation - field_capacity).powf(3.0 - lambda);
    Ok(SoilWater {
        wilting_point,
        field_capacity,
        saturation,
        saturated_conductivity: Rate::from_mm_per_h(conductivity_mm_per_h),
        bulk_density_g_per_cm3: PARTICLE_DENSITY_G_PER_CM3 * (1.0 - saturation),
        lambda,
        air_entry_kpa: soil.air_entry_kpa(drained),
        beyond_paper: BeyondPaper {
            clay: clay_pct > MOST_CLAY_PCT,
            organic_matter: organic_matter_pct > MOST_ORGANIC_MATTER_PCT,
        },
    })
}

/// The regressions of Table 1, which take sand and clay as shares but organic
/// matter in percent.
struct Regression {
    sand: f64,
    clay: f64,
    organic_pct: f64,
}

impl Regression {
    /// θ1500, equation 1.
    fn wilting_point(&self) -> f64 {
        let Self {
            sand: s,
            clay: c,
            organic_pct: om,
        } = *self;
        let first = -0.024 * s + 0.487 * c + 0.006 * om + 0.005 * s * om - 0.013 * c * om
            + 0.068 * s * c
            + 0.031;
        first + (0.14 * first - 0.02)
    }

    /// θ33, equation 2.
    fn field_capacity(&self) -> f64 {
        let Self {
            sand: s,
            clay: c,
            organic_pct: om,
        } = *self;
        let first = -0.251 * s + 0.195 * c + 0.011 * om + 0.006 * s * om - 0.027 * c * om
            + 0.452 * s * c
            + 0.299;
        first + (1.283 * first * first - 0.374 * first - 0.015)
    }

    /// θ(S−33), the water between saturation and 33 kPa, equation 3.
    fn drained_by_field_capacity(&self) -> f64 {
        let Self {
            sand: s,
            clay: c,
            organic_pct: om,
        } = *self;
        let first =
            0.278 * s + 0.034 * c + 0.022 * om - 0.018 * s * om - 0.027 * c * om - 0.584 * s * c
                + 0.078;
        first + (0.636 * first - 0.107)
    }

    /// ψe, equation 4 [kPa]; the fit falls below zero for some sands, where
    /// zero is meant.
    fn air_entry_kpa(&self, drained: f64) -> f64 {
        let Self {
            sand: s, clay: c, ..
        } = *self;
        let first = -21.67 * s - 27.93 * c - 81.97 * drained
            + 71.12 * s * drained
            + 8.29 * c * drained
            + 14.05 * s * c
            + 27.16;
        (first + (0.02 * first * first - 0.113 * first - 0.70)).max(0.0)
    }
}

impl SoilWater {
    /// Available water, θFC − θWP, 0 to 1; times a depth in mm it is mm.
    #[must_use]
    pub fn available(&self) -> f64 {
        self.field_capacity - self.wilting_point
    }

    /// Matric suction ψ at a water content [kPa].
    ///
    /// - `theta`: θ, share of the volume
    ///
    /// Falls steadily with θ: a power law below field capacity (beyond
    /// 1500 kPa by extrapolation, infinite at θ ≤ 0), a straight line from
    /// there to ψe at saturation, and ψe above it.
    ///
    /// # Source
    /// Saxton & Rawls 2006, equations 11–14.
    #[must_use]
    pub fn matric_suction_kpa(&self, theta: f64) -> f64 {
        if theta <= 0.0 {
            f64::INFINITY
        } else if theta < self.field_capacity {
            FIELD_CAPACITY_KPA * (theta / self.field_capacity).powf(-1.0 / self.lambda)
        } else {
            let emptied = (self.saturation - theta).max(0.0);
            let span = self.saturation - self.field_capacity;
            self.air_entry_kpa + (FIELD_CAPACITY_KPA - self.air_entry_kpa) * emptied / span
        }
    }

    /// Conductivity K of the soil at a water content.
    ///
    /// - `theta`: θ, share of the volume; K is 0 at θ ≤ 0 and Ks at θ ≥ θS
    ///
    /// # Source
    /// Saxton & Rawls 2006, equation 17, K = Ks (θ/θS)^(3 + 2/λ).
    #[must_use]
    pub fn conductivity(&self, theta: f64) -> Rate {
        let filled = (theta / self.saturation).clamp(0.0, 1.0);
        self.saturated_conductivity * filled.powf(3.0 + 2.0 / self.lambda)
    }
}
