//! How fast soil takes water in: Green & Ampt 1911 for a ponded surface,
//! Mein & Larson 1973 for steady rain or sprinkling before ponding.
//!
//! A uniform profile and no depth of ponded water. Green–Ampt conductivities
//! by texture (Rawls, Brakensiek & Miller 1983) are about half of the
//! saturated conductivity of their data and two to eight times smaller than
//! those of [`super::soil_hydraulics`]; use the suction and the conductivity
//! of one set together.

use crate::site::TextureName;
use crate::units::Rate;

/// Green–Ampt parameters of a texture class.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GreenAmptClass {
    /// Share of the volume that is pores, 0 to 1.
    pub porosity: f64,
    /// Porosity less the water that never drains, 0 to 1.
    pub effective_porosity: f64,
    /// ψ, suction at the wetting front [mm].
    pub suction_mm: f64,
    /// K, the Green–Ampt conductivity.
    pub conductivity: Rate,
}

/// Green–Ampt parameters of a texture class.
///
/// Clay loam's effective porosity is 0.390, not the printed 0.309: the
/// printed figure lies at the edge of its own range 0.279–0.501, whose middle
/// is 0.390, and porosity less residual water is 0.464 − 0.075 = 0.389, so
/// two digits were swapped. Silt is not in the table; it gets silt loam's
/// values, see [`class_note`].
///
/// # Source
/// Rawls, Brakensiek & Miller 1983, J. Hydraul. Eng. 109(1):62–70, Table 2.
#[must_use]
pub const fn class_parameters(texture: TextureName) -> GreenAmptClass {
    let (porosity, effective_porosity, suction_cm, conductivity_cm_per_h) = match texture {
        TextureName::Sand => (0.437, 0.417, 4.95, 11.78),
        TextureName::LoamySand => (0.437, 0.401, 6.13, 2.99),
        TextureName::SandyLoam => (0.453, 0.412, 11.01, 1.09),
        TextureName::Loam => (0.463, 0.434, 8.89, 0.34),
        TextureName::SiltLoam | TextureName::Silt => (0.501, 0.486, 16.68, 0.65),
        TextureName::SandyClayLoam => (0.398, 0.330, 21.85, 0.15),
        TextureName::ClayLoam => (0.464, 0.390, 20.88, 0.10),
        TextureName::SiltyClayLoam => (0.471, 0.432, 27.30, 0.10),
        TextureName::SandyClay => (0.430, 0.321, 23.90, 0.06),
        TextureName::SiltyClay => (0.479, 0.423, 29.22, 0.05),
        TextureName::Clay => (0.475, 0.385, 31.63, 0.03),
    };
    GreenAmptClass {
        porosity,
        effective_porosity,
        suction_mm: suction_cm * 10.0,
        conductivity: Rate::from_mm_per_h(conductivity_cm_per_h * 10.0),
    }
}

/// What a person should know of a class's parameters, if anything.
#[must_use]
pub const fn class_note(texture: TextureName) -> Option<&'static str> {
    match texture {
        TextureName::Silt => {
            Some("no Green-Ampt figures are published for silt; those of silt loam stand in")
        }
        TextureName::ClayLoam => {
            Some("effective porosity is 0.390; the printed 0.309 is taken for swapped digits")
        }
        _ => None,
    }
}

/// A soil at the moment water comes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GreenAmpt {
    /// K [mm/h], 0 or more.
    pub conductivity_mm_per_h: f64,
    /// ψ, suction at the wetting front [mm], 0 or more.
    pub suction_mm: f64,
    /// Δθ, water content behind the front less that before it, 0 to 1; below
    /// 0 counts as 0 (the soil is full).
    pub moisture_deficit: f64,
}

/// The moment at which water begins to stand on the surface.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ponding {
    /// tp, time from the start of the rain [h].
    pub time_h: f64,
    /// Fp, depth taken in by then [mm].
    pub depth_mm: f64,
}

/// What the soil has taken in and takes in now.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Infiltrated {
    /// F, total depth [mm].
    pub depth_mm: f64,
    /// f, present rate [mm/h].
    pub rate_mm_per_h: f64,
}

impl GreenAmpt {
    /// S = ψ Δθ [mm], the depth that suction is worth.
    fn pull_mm(self) -> f64 {
        (self.suction_mm * self.moisture_deficit).max(0.0)
    }

    /// When water begins to stand under a steady rate; never (`None`) when
    /// the rate is not above K.
    ///
    /// # Source
    /// Mein & Larson 1973, Water Resour. Res. 9:384–394: Fp = K S/(i − K),
    /// tp = Fp/i.
    #[must_use]
    pub fn ponding(self, rate: Rate) -> Option<Ponding> {
        let (rate, conductivity) = (rate.mm_per_h(), self.conductivity_mm_per_h);
        if rate <= conductivity || rate <= 0.0 {
            return None;
        }
        let depth_mm = conductivity * self.pull_mm() / (rate - conductivity);
        Some(Ponding {
            time_h: depth_mm / rate,
            depth_mm,
        })
    }

    /// f, the rate that the soil could take in when it has taken `infiltrated_mm`
    /// in [mm/h]; infinite into a dry soil at the very start.
    ///
    /// # Source
    /// Green & Ampt 1911, J. Agric. Sci. 4:1–24: f = K (1 + S/F).
    #[must_use]
    pub fn capacity_mm_per_h(self, infiltrated_mm: f64) -> f64 {
        let (pull, conductivity) = (self.pull_mm(), self.conductivity_mm_per_h);
        if pull <= 0.0 || conductivity <= 0.0 {
            conductivity.max(0.0)
        } else if infiltrated_mm <= 0.0 {
            f64::INFINITY
        } else {
            conductivity * (1.0 + pull / infiltrated_mm)
        }
    }

    /// The time in which a ponded soil takes in a depth [h], from t = 0;
    /// infinite when K is 0.
    ///
    /// # Source
    /// Green & Ampt 1911: t = (F − S ln(1 + F/S))/K.
    #[must_use]
    pub fn ponded_time_h(self, depth_mm: f64) -> f64 {
        let pull = self.pull_mm();
        if depth_mm <= 0.0 {
            0.0
        } else if self.conductivity_mm_per_h <= 0.0 {
            f64::INFINITY
        } else if pull < NO_PULL * depth_mm {
            depth_mm / self.conductivity_mm_per_h
        } else {
            pull * beyond_log(depth_mm / pull) / self.conductivity_mm_per_h
        }
    }

    /// F, the depth that a ponded soil takes in within `hours` from t = 0 [mm].
    ///
    /// Newton's method on x − ln(1 + x) = K t/S with x = F/S. The left side
    /// is convex and rises, and the start √(2τ) + τ is never left of the root
    /// (with u = ln(1 + x), τ = eᵘ − 1 − u ≥ u²/2 and x = τ + u), so that
    /// every step goes down towards it and none can leave the domain.
    ///
    /// # Source
    /// Green & Ampt 1911, as [`GreenAmpt::ponded_time_h`].
    #[must_use]
    pub fn ponded_depth_mm(self, hours: f64) -> f64 {
        let (pull, steady_mm) = (self.pull_mm(), self.conductivity_mm_per_h * hours);
        if steady_mm <= 0.0 {
            return 0.0;
        }
        let scaled_time = steady_mm / pull;
        if pull < NO_PULL * steady_mm || scaled_time <= 0.0 {
            return steady_mm;
        }
        let mut x = (2.0 * scaled_time).sqrt() + scaled_time;
        for _ in 0..MOST_STEPS {
            let step = (beyond_log(x) - scaled_time) * (1.0 + x) / x;
            x -= step;
            if step <= x * 1e-13 {
                break;
            }
        }
        pull * x
    }

    /// What has gone in after `hours` of a steady rate.
    ///
    /// Everything until ponding; from then on the ponded curve, moved so that
    /// it passes through the moment of ponding.
    ///
    /// # Source
    /// Mein & Larson 1973; Chow, Maidment & Mays 1988, Applied Hydrology,
    /// section 4.4.
    #[must_use]
    pub fn under_rain(self, rate: Rate, hours: f64) -> Infiltrated {
        let hours = hours.max(0.0);
        let all = Infiltrated {
            depth_mm: rate.mm_per_h() * hours,
            rate_mm_per_h: rate.mm_per_h(),
        };
        let Some(ponding) = self.ponding(rate) else {
            return all;
        };
        if hours <= ponding.time_h {
            return all;
        }
        let ponded_h = hours - ponding.time_h + self.ponded_time_h(ponding.depth_mm);
        let depth_mm = self.ponded_depth_mm(ponded_h);
        Infiltrated {
            depth_mm,
            rate_mm_per_h: self.capacity_mm_per_h(depth_mm).min(rate.mm_per_h()),
        }
    }
}

/// Share of a depth below which suction is lost in the rounding (an error of
/// 3e-14 × ln 3e13, below 1e-12).
const NO_PULL: f64 = 3e-14;

/// Newton needs 3 to 6 steps from the bound; far more than it can need.
const MOST_STEPS: usize = 60;

/// x − ln(1 + x) for x ≥ 0. Near zero the difference loses its digits, so
/// the series takes over where its first left-out term is below 1e-14 of it.
fn beyond_log(x: f64) -> f64 {
    if x < 1e-3 {
        let tail = 1.0 / 5.0 - x / 6.0;
        x * x * (0.5 - x * (1.0 / 3.0 - x * (0.25 - x * tail)))
    } else {
        x - x.ln_1p()
    }
}
