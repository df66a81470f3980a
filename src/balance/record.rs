//! What the balance of a zone says of itself: stage, emergence, hours.

use chrono::{DateTime, NaiveDate, Utc};
use serde::Serialize;

use crate::site::Species;

/// When the grass comes up.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Emergence {
    /// First day on which the quickest species may show.
    pub first: NaiveDate,
    /// Day by which the slowest species should be up.
    pub last: NaiveDate,
    /// The same per species of the mix.
    pub by_species: Vec<SpeciesEmergence>,
    /// Whether a person recorded the first day.
    pub recorded: bool,
    /// Whether a person recorded the last day.
    pub all_up_recorded: bool,
}

/// Expected emergence of one species.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SpeciesEmergence {
    /// The species.
    pub species: Species,
    /// First day.
    pub first: NaiveDate,
    /// Last day.
    pub last: NaiveDate,
}

/// Stage of a seeding. Only a label on the way: one rule waters them all.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Stage {
    /// The deep soak before seeding.
    PreSoak,
    /// Between the soak and the seed: the ground rests and is worked.
    Rest,
    /// From seeding until the first species may show.
    Germination,
    /// Until the slowest species is up.
    Emergence,
    /// While the roots go down.
    Establishment,
    /// Roots at their target depth.
    Maintenance,
}

/// One hour of a zone's balance. Depths in mm; flows are sums over the hour,
/// states are at its end. Net: of the driest quarter until
/// the grass is up, then by the scheduling multiplier.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct BalanceHour {
    /// Start of the hour.
    pub start: DateTime<Utc>,
    /// Reference evapotranspiration at the zone (shade and cover included).
    pub et0_mm: f64,
    /// Evaporation from the surface layer.
    pub evaporation_mm: f64,
    /// Transpiration.
    pub transpiration_mm: f64,
    /// Rain that counts: what has fallen, and of expected rain what the site
    /// trusts at that stage.
    pub rain_mm: f64,
    /// All the rain of the hour, fallen or expected.
    pub all_rain_mm: f64,
    /// Irrigation that reached the layer.
    pub irrigation_mm: f64,
    /// Rise from moist soil beneath into the seed layer; below zero while the
    /// layer gives water down.
    pub restored_mm: f64,
    /// Drainage out of the bottom of all the soil.
    pub drainage_mm: f64,
    /// Runoff of rain.
    pub runoff_mm: f64,
    /// Depletion of the managed layer.
    pub depletion_mm: f64,
    /// Highest depletion within the hour.
    pub worst_depletion_mm: f64,
    /// Allowed depletion; 0 before the seed is down, when nothing is asked.
    pub allowed_mm: f64,
    /// Total available water of the managed layer.
    pub total_available_mm: f64,
    /// Depth of the managed layer.
    pub layer_mm: f64,
    /// Whether the sun is up.
    pub daylight: bool,
    /// Stage at the start of the hour.
    pub stage: Stage,
}
