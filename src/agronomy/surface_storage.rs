//! Water that may stand on the surface without running off, and how slope
//! and texture bound the rate and the length of a run.
//!
//! Rules of thumb from handbooks, not physics: the tables disagree (NEH 623
//! allows nothing above 5 % slope, the turf table still does at 13 %). The
//! former is for bare seedbeds, the latter for grown turf; the balance takes the
//! former for both. A slope between two printed classes belongs to the steeper
//! one.

use crate::site::TextureName;
use crate::units::Rate;
use crate::units::customary::MM_PER_INCH;

/// Depth that bare soil holds on its surface without run-off [mm].
///
/// - `slope_pct`: slope of the ground [%], 0 or more
///
/// # Source
/// USDA-NRCS National Engineering Handbook, Part 623, chapter 11 (sprinkler
/// irrigation; from memory): 0.5, 0.3 and 0.1 in up to 1, 3 and 5 %, none
/// above.
#[must_use]
pub fn bare_soil_mm(slope_pct: f64) -> f64 {
    if slope_pct <= 1.0 {
        12.7
    } else if slope_pct <= 3.0 {
        7.6
    } else if slope_pct <= 5.0 {
        2.5
    } else {
        0.0
    }
}

/// One row of the turf table, in inches as printed.
struct TurfRow {
    intake_in_per_h: f64,
    /// Allowed up to 3, 6 and 12 % and above.
    storage_in: [f64; 4],
}

/// The row of a texture. The table names seven; the other five take a named
/// neighbour with as much clay or more (own choice, the cautious side): silt
/// loam and silt that of loam, sandy clay loam and silty clay loam that of clay
/// loam, sandy clay that of clay.
const fn turf_row(texture: TextureName) -> TurfRow {
    let (intake_in_per_h, storage_in) = match texture {
        TextureName::Clay | TextureName::SandyClay => (0.10, [0.20, 0.15, 0.10, 0.10]),
        TextureName::SiltyClay => (0.15, [0.23, 0.19, 0.16, 0.13]),
        TextureName::ClayLoam | TextureName::SandyClayLoam | TextureName::SiltyClayLoam => {
            (0.20, [0.26, 0.22, 0.18, 0.15])
        }
        TextureName::Loam | TextureName::SiltLoam | TextureName::Silt => {
            (0.35, [0.30, 0.25, 0.21, 0.17])
        }
        TextureName::SandyLoam => (0.40, [0.33, 0.29, 0.24, 0.20]),
        TextureName::LoamySand => (0.50, [0.36, 0.30, 0.26, 0.22]),
        TextureName::Sand => (0.60, [0.40, 0.35, 0.30, 0.25]),
    };
    TurfRow {
        intake_in_per_h,
        storage_in,
    }
}

/// Allowable surface accumulation under grown turf [mm].
///
/// - `slope_pct`: slope of the ground [%], 0 or more
///
/// # Source
/// Irrigation Association 2005, Landscape Irrigation Scheduling and Water
/// Management, table of basic intake and allowable surface accumulation (from
/// memory; columns 0–3, 4–6, 7–12 and 13 % and more).
#[must_use]
pub fn turf_mm(texture: TextureName, slope_pct: f64) -> f64 {
    let column = if slope_pct <= 3.0 {
        0
    } else if slope_pct <= 6.0 {
        1
    } else if slope_pct <= 12.0 {
        2
    } else {
        3
    };
    turf_row(texture).storage_in[column] * MM_PER_INCH
}

/// Basic intake of soil under grown turf.
///
/// # Source
/// As [`turf_mm`].
#[must_use]
pub fn turf_intake(texture: TextureName) -> Rate {
    Rate::from_mm_per_h(turf_row(texture).intake_in_per_h * MM_PER_INCH)
}

/// Share of the intake that a slope leaves, 0.25 to 1.
///
/// - `slope_pct`: slope of the ground [%], 0 or more
///
/// # Source
/// Savva & Frenken 2002, FAO Irrigation Manual, module 8 (from memory): less
/// by 20, 40, 60 and 75 % on slopes above 5, 8, 12 and 20 %.
#[must_use]
pub fn slope_intake_factor(slope_pct: f64) -> f64 {
    if slope_pct <= 5.0 {
        1.0
    } else if slope_pct <= 8.0 {
        0.8
    } else if slope_pct <= 12.0 {
        0.6
    } else if slope_pct <= 20.0 {
        0.4
    } else {
        0.25
    }
}

/// A published range of basic infiltration rates.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct IntakeRange {
    /// Lower end.
    pub low: Rate,
    /// Upper end; sand's is open.
    pub high: Option<Rate>,
}

/// Basic infiltration rate of level ground by texture; `None` for the seven
/// classes that the table does not name.
///
/// Some copies print "less than 30" for sand, which cannot be meant beside
/// 20–30 for sandy loam; it is taken as more than 30.
///
/// # Source
/// Brouwer et al. 1988, FAO Irrigation Water Management Training Manual 5,
/// Annex 2 (the row of sand from memory).
#[must_use]
pub const fn basic_intake(texture: TextureName) -> Option<IntakeRange> {
    let (low, high) = match texture {
        TextureName::Sand => (30.0, None),
        TextureName::SandyLoam => (20.0, Some(30.0)),
        TextureName::Loam => (10.0, Some(20.0)),
        TextureName::ClayLoam => (5.0, Some(10.0)),
        TextureName::Clay => (1.0, Some(5.0)),
        _ => return None,
    };
    Some(IntakeRange {
        low: Rate::from_mm_per_h(low),
        high: match high {
            Some(high) => Some(Rate::from_mm_per_h(high)),
            None => None,
        },
    })
}

/// The longest run before run-off [min]; `None` when the soil takes the rate
/// in for ever.
///
/// - `storage_mm`: depth that may stand on the surface [mm]
/// - `rate`: precipitation rate; `intake`: steady intake of the soil
///
/// The soil's greater thirst at the start is left out, so this is on the
/// short side where it was dry.
///
/// # Source
/// Irrigation Association 2005: t = 60 ASA/(PR − intake).
#[must_use]
pub fn longest_run_min(storage_mm: f64, rate: Rate, intake: Rate) -> Option<f64> {
    let excess_mm_per_h = rate.mm_per_h() - intake.mm_per_h();
    (excess_mm_per_h > 0.0).then(|| 60.0 * storage_mm / excess_mm_per_h)
}

/// The pause after which the water standing on the surface has gone in [min];
/// `None` when the soil takes nothing in.
///
/// - `storage_mm`: depth that stands on the surface [mm]
///
/// # Source
/// Own model: standing depth over intake, 60 ASA/intake.
#[must_use]
pub fn soak_min(storage_mm: f64, intake: Rate) -> Option<f64> {
    (intake.mm_per_h() > 0.0).then(|| 60.0 * storage_mm / intake.mm_per_h())
}
