//! What a backtest found. One struct from which every output is made.

use chrono::{DateTime, Utc};
use serde::Serialize;

use super::tally::Outcome;
use super::taper::Taper;

/// A backtest of a site.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Backtest {
    /// Name of the site.
    pub site: String,
    /// First instant that is reported.
    pub from: DateTime<Utc>,
    /// End of the span.
    pub to: DateTime<Utc>,
    /// Seed of every drawn error.
    pub seed: u64,
    /// Grounds drawn beside the exact one.
    pub draws: u32,
    /// Currency of costs, where the site names one.
    pub currency: Option<String>,
    /// The zones, in the order of the site.
    pub zones: Vec<ZoneResult>,
    /// Zones that are not sown in the span, by name.
    pub left_out: Vec<String>,
}

/// A zone through its season.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ZoneResult {
    /// Name of the zone.
    pub name: String,
    /// Texture class of its soil.
    pub texture: crate::site::TextureName,
    /// Lower-quarter distribution uniformity.
    pub distribution_uniformity: f64,
    /// Where the trace of an outcome begins.
    #[serde(skip)]
    pub begin: DateTime<Utc>,
    /// When the seed went down.
    pub sown: DateTime<Utc>,
    /// From when the seed is judged.
    pub judged_from: DateTime<Utc>,
    /// Until when.
    pub judged_to: DateTime<Utc>,
    /// Allowed depletion of the seed layer as a share of available water.
    pub allowed_depletion: f64,
    /// Water of the deep soak.
    pub soak: Water,
    /// Water from sowing until `judged_to`.
    pub watered: Water,
    /// When the plan watered, seconds of Unix time, for the chart.
    #[serde(skip)]
    pub starts: Vec<i64>,
    /// The same season on soils of two class tables.
    pub soils: Vec<SoilResult>,
    /// What a person should know about this zone's trial.
    pub notes: Vec<String>,
}

/// Water given.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct Water {
    /// Number of runs.
    pub runs: usize,
    /// Gross depth, mean over the zone [mm].
    pub gross_mm: f64,
    /// Volume [L].
    pub litres: f64,
    /// What it costs, where the site names a price.
    pub cost: Option<f64>,
}

/// A zone on the soil of one class table.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SoilResult {
    /// The table.
    pub table: &'static str,
    /// Water content at field capacity (0.1 mm/day of drainage).
    pub field_capacity: f64,
    /// Water content at 1.5 MPa.
    pub wilting_point: f64,
    /// Water content below which the seed layer is too dry.
    pub threshold: f64,
    /// Suction at that water content [m].
    pub threshold_suction_m: f64,
    /// The plan on the exact ground.
    pub plan: Quarters,
    /// The plan on drawn grounds.
    pub drawn: Option<Drawn>,
    /// The plan on the exact ground in the first week after all is up; none
    /// where the span ends before.
    pub taper: Option<Taper>,
    /// Fixed practice on the exact ground.
    pub practices: Vec<PracticeResult>,
    /// The plan measured by what is wanted of it.
    pub verdict: Verdict,
}

/// Outcomes in three parts of a zone.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Quarters {
    /// Where least water falls.
    pub driest: Outcome,
    /// The mean.
    pub mean: Outcome,
    /// Where most falls.
    pub wettest: Outcome,
}

/// Outcomes over drawn grounds: each figure's median and the value that a
/// tenth of the draws exceed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Drawn {
    /// Number of draws.
    pub count: usize,
    /// Medians in the driest quarter.
    pub driest_median: Outcome,
    /// Worst tenth in the driest quarter.
    pub driest_worst: Outcome,
    /// Medians in the wettest quarter.
    pub wettest_median: Outcome,
    /// Worst tenth in the wettest quarter.
    pub wettest_worst: Outcome,
    /// Median of the gross depth from sowing [mm].
    pub gross_mm_median: f64,
    /// The gross depth that a tenth of the draws exceed [mm].
    pub gross_mm_worst: f64,
}

/// How the length of fixed runs was chosen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Chosen {
    /// All runs of a day bring a quarter of an inch.
    RuleOfThumb,
    /// The shortest that keep the driest quarter no drier than the plan.
    AsMoist,
}

/// A fixed practice.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PracticeResult {
    /// What people call it.
    pub name: &'static str,
    /// Runs a day.
    pub runs_per_day: usize,
    /// How the length was chosen.
    pub chosen: Chosen,
    /// Length of a run [s]; none where none of any length will do.
    pub length_s: Option<i64>,
    /// Water from sowing until `judged_to`.
    pub watered: Option<Water>,
    /// What came of it.
    pub outcome: Option<Quarters>,
}

/// What is wanted of a plan, and what came. Dryness is that of the driest
/// quarter, ponding and runoff those of the wettest.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Verdict {
    /// Share of judged daylight with the top 10 mm too dry.
    pub dry_top_share: f64,
    /// The same for the top 3 mm.
    pub dry_seed_share: f64,
    /// The same by the matric head at 1.5 mm.
    pub dry_head_share: f64,
    /// Whether watering alone made nothing run off (less than 0.05 mm).
    pub no_runoff: bool,
    /// Whether watering alone left no water standing for over 15 minutes.
    pub no_ponding: bool,
    /// The cheapest fixed practice that keeps the seed as moist.
    pub cheapest_practice: Option<&'static str>,
    /// Share of its water that the plan saves.
    pub saving: Option<f64>,
}
