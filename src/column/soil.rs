//! What a soil does with water: retention and conductivity as functions of
//! suction, the van Genuchten–Mualem form of them, and two published sets of
//! class parameters. The sets disagree, so a claim should hold under both.
//!
//! Sources: van Genuchten 1980, Soil Sci. Soc. Am. J. 44:892–898; Mualem
//! 1976, Water Resour. Res. 12:513–522; Carsel & Parrish 1988, Water Resour.
//! Res. 24:755–769; Schaap & Leij 1998, Soil Sci. 163:765–779.

use crate::site::TextureName;

/// One kPa of suction as a head of water [m/kPa], at standard gravity.
const M_PER_KPA: f64 = 1.0 / 9.806_65;

/// The two hydraulic functions of a soil, over suction s = −h [m], s ≥ 0.
///
/// Both must fall steadily as suction rises.
pub trait HydraulicFunctions {
    /// Water content θ, volume share, at a suction [m].
    fn water_content(&self, suction_m: f64) -> f64;
    /// Hydraulic conductivity K [mm/h] at a suction [m].
    fn conductivity_mm_per_h(&self, suction_m: f64) -> f64;
}

/// van Genuchten retention with Mualem's conductivity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct VanGenuchten {
    /// Residual water content θr, volume share.
    pub residual: f64,
    /// Saturated water content θs, volume share.
    pub saturated: f64,
    /// α [1/m], the inverse of the suction at which large pores empty.
    pub alpha_per_m: f64,
    /// n, the steepness of the retention curve, above 1.
    pub n: f64,
    /// Saturated conductivity Ks [mm/h].
    pub conductivity_mm_per_h: f64,
    /// Mualem's pore-connectivity exponent l.
    pub connectivity: f64,
}

/// Mualem 1976: the connectivity exponent that fitted 45 soils best.
pub const MUALEM_CONNECTIVITY: f64 = 0.5;

impl VanGenuchten {
    /// Effective saturation Se = (θ − θr)/(θs − θr) at a suction [m], 0 to 1.
    ///
    /// # Source
    /// van Genuchten 1980, eq. 3 and 5, with m = 1 − 1/n.
    #[must_use]
    pub fn effective_saturation(&self, suction_m: f64) -> f64 {
        let m = 1.0 - 1.0 / self.n;
        let u = (self.alpha_per_m * suction_m).powf(self.n);
        (-m * u.ln_1p()).exp()
    }
}

impl HydraulicFunctions for VanGenuchten {
    fn water_content(&self, suction_m: f64) -> f64 {
        let share = self.effective_saturation(suction_m.max(0.0));
        self.residual + (self.saturated - self.residual) * share
    }

    /// K = Ks·Se^l·(1 − (1 − Se^(1/m))^m)².
    ///
    /// Written with `ln_1p` and `exp_m1`, because the bracket loses all its
    /// digits in dry soil otherwise.
    ///
    /// # Source
    /// van Genuchten 1980, eq. 8, with Mualem's l as a parameter.
    fn conductivity_mm_per_h(&self, suction_m: f64) -> f64 {
        if suction_m <= 0.0 {
            return self.conductivity_mm_per_h;
        }
        let m = 1.0 - 1.0 / self.n;
        let u = (self.alpha_per_m * suction_m).powf(self.n);
        let bracket = -(-m * (1.0 / u).ln_1p()).exp_m1();
        let share = self.effective_saturation(suction_m);
        self.conductivity_mm_per_h * share.powf(self.connectivity) * bracket * bracket
    }
}

/// A published set of class parameters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum ClassTable {
    /// Carsel & Parrish 1988, means by USDA class.
    CarselParrish1988,
    /// Schaap & Leij 1998, class means, as Schaap et al. 2001 (J. Hydrol.
    /// 251:163–176) carry them: means of log10 α, log10 n and log10 Ks.
    SchaapLeij1998,
}

impl ClassTable {
    /// The parameters of a texture class, with Mualem's l of 0.5.
    ///
    /// # Source
    /// The papers named at the variants. Both sets were copied from public
    /// data files that cite them, not from the papers; for Schaap & Leij two
    /// such files, one logarithmic and one rounded, agree in all 12 rows.
    #[must_use]
    pub fn soil(self, texture: TextureName) -> VanGenuchten {
        match self {
            Self::CarselParrish1988 => carsel_parrish(texture),
            Self::SchaapLeij1998 => schaap_leij(texture),
        }
    }
}

fn carsel_parrish(texture: TextureName) -> VanGenuchten {
    // θr, θs, α [1/cm], n, Ks [cm/h].
    let (residual, saturated, alpha_per_cm, n, cm_per_h) = match texture {
        TextureName::Sand => (0.045, 0.43, 0.145, 2.68, 29.70),
        TextureName::LoamySand => (0.057, 0.41, 0.124, 2.28, 14.59),
        TextureName::SandyLoam => (0.065, 0.41, 0.075, 1.89, 4.42),
        TextureName::Loam => (0.078, 0.43, 0.036, 1.56, 1.04),
        TextureName::Silt => (0.034, 0.46, 0.016, 1.37, 0.25),
        TextureName::SiltLoam => (0.067, 0.45, 0.020, 1.41, 0.45),
        TextureName::SandyClayLoam => (0.100, 0.39, 0.059, 1.48, 1.31),
        TextureName::ClayLoam => (0.095, 0.41, 0.019, 1.31, 0.26),
        TextureName::SiltyClayLoam => (0.089, 0.43, 0.010, 1.23, 0.07),
        TextureName::SandyClay => (0.100, 0.38, 0.027, 1.23, 0.12),
        TextureName::SiltyClay => (0.070, 0.36, 0.005, 1.09, 0.02),
        TextureName::Clay => (0.068, 0.38, 0.008, 1.09, 0.20),
    };
    VanGenuchten {
        residual,
        saturated,
        alpha_per_m: alpha_per_cm * 100.0,
        n,
        conductivity_mm_per_h: cm_per_h * 10.0,
        connectivity: MUALEM_CONNECTIVITY,
    }
}

fn schaap_leij(texture: TextureName) -> VanGenuchten {
    // θr, θs, log10 α [1/cm], log10 n, log10 Ks [cm/day].
    let (residual, saturated, log_alpha, log_n, log_cm_per_day) = match texture {
        TextureName::Sand => (0.053, 0.375, -1.453, 0.502, 2.808),
        TextureName::LoamySand => (0.049, 0.390, -1.459, 0.242, 2.022),
        TextureName::SandyLoam => (0.039, 0.387, -1.574, 0.161, 1.583),
        TextureName::Loam => (0.061, 0.399, -1.954, 0.168, 1.081),
        TextureName::Silt => (0.050, 0.489, -2.182, 0.225, 1.641),
        TextureName::SiltLoam => (0.065, 0.439, -2.296, 0.221, 1.261),
        TextureName::SandyClayLoam => (0.063, 0.384, -1.676, 0.124, 1.120),
        TextureName::ClayLoam => (0.079, 0.442, -1.801, 0.151, 0.913),
        TextureName::SiltyClayLoam => (0.090, 0.482, -2.076, 0.182, 1.046),
        TextureName::SandyClay => (0.117, 0.385, -1.476, 0.082, 1.055),
        TextureName::SiltyClay => (0.111, 0.481, -1.790, 0.121, 0.983),
        TextureName::Clay => (0.098, 0.459, -1.825, 0.098, 1.169),
    };
    let ten = 10.0_f64;
    VanGenuchten {
        residual,
        saturated,
        alpha_per_m: ten.powf(log_alpha) * 100.0,
        n: ten.powf(log_n),
        conductivity_mm_per_h: ten.powf(log_cm_per_day) * 10.0 / 24.0,
        connectivity: MUALEM_CONNECTIVITY,
    }
}

/// What "field capacity" means.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum FieldCapacity {
    /// Water held at 33 kPa, the usual laboratory value. It leaves coarse
    /// sand almost no available water.
    Suction33Kpa,
    /// Water held at 10 kPa, the usual laboratory value for sands.
    Suction10Kpa,
    /// Water at which a deep uniform profile still drains at this rate.
    DrainageFlux {
        /// The drainage that counts as none [mm/day].
        mm_per_day: f64,
    },
}

/// The drainage that Twarakavi, Sakai & Šimůnek 2009 (Water Resour. Res. 45,
/// W10410) call negligible: 0.01 cm/day.
pub const NEGLIGIBLE_DRAINAGE: FieldCapacity = FieldCapacity::DrainageFlux { mm_per_day: 0.1 };

impl FieldCapacity {
    /// The suction [m] at which a soil is at field capacity.
    #[must_use]
    pub fn suction_m(self, soil: &impl HydraulicFunctions) -> f64 {
        match self {
            Self::Suction33Kpa => 33.0 * M_PER_KPA,
            Self::Suction10Kpa => 10.0 * M_PER_KPA,
            Self::DrainageFlux { mm_per_day } => suction_at_conductivity(soil, mm_per_day / 24.0),
        }
    }
}

/// The suction [m] at which K(s) has fallen to a rate [mm/h]: under a unit
/// gradient that is the drainage. Zero where even saturated soil is slower.
fn suction_at_conductivity(soil: &impl HydraulicFunctions, mm_per_h: f64) -> f64 {
    let (mut low, mut high) = (1e-6_f64, 1e5_f64);
    if soil.conductivity_mm_per_h(low) <= mm_per_h {
        return 0.0;
    }
    for _ in 0..80 {
        let middle = (low * high).sqrt();
        if soil.conductivity_mm_per_h(middle) > mm_per_h {
            low = middle;
        } else {
            high = middle;
        }
    }
    low
}
