//! The result of planning: runs with reasons, what could not be met, and the
//! balance behind it. One struct from which every output is made.

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use serde::Serialize;

pub use crate::balance::record::{BalanceHour, Emergence, SpeciesEmergence, Stage};
use crate::units::{Depth, Volume};

/// A planned span of watering for a site.
#[derive(Debug, Clone, PartialEq)]
pub struct Timetable {
    /// First instant of the plan.
    pub from: DateTime<Utc>,
    /// End of the plan.
    pub to: DateTime<Utc>,
    /// One entry per zone of the site, in its order.
    pub zones: Vec<ZonePlan>,
    /// All runs, by start and then zone.
    pub runs: Vec<Run>,
    /// What could not be met.
    pub shortfalls: Vec<Shortfall>,
    /// Anything a person should know that is not a shortfall.
    pub notes: Vec<PlanNote>,
}

/// A remark on the plan.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PlanNote {
    /// Index of the zone, or none for the whole site.
    pub zone: Option<usize>,
    /// The remark, a full sentence.
    pub text: String,
}

/// What happens on one zone.
#[derive(Debug, Clone, PartialEq)]
pub struct ZonePlan {
    /// The zone's name.
    pub name: String,
    /// Expected (or recorded) emergence.
    pub emergence: Emergence,
    /// Instants at which a stage begins, in order; the first is the stage
    /// at the plan's start.
    pub stages: Vec<(DateTime<Utc>, Stage)>,
    /// Dates for the person on site.
    pub milestones: Vec<Milestone>,
    /// Summary of the deep soak, when it falls into the plan.
    pub pre_soak: Option<PreSoakSummary>,
    /// The balance, one row an hour.
    pub hours: Vec<BalanceHour>,
    /// Daylight hours of the seed stages with the layer below its threshold.
    pub dry_daylight_hours: f64,
    /// The same by night.
    pub dry_night_hours: f64,
    /// Every spell of them, in order.
    pub dry_spells: Vec<SeedDrySpell>,
    /// Daylight hours of the seed stages in the plan.
    pub seed_daylight_hours: f64,
}

/// A spell in which the seed layer is drier than allowed, without a pause.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SeedDrySpell {
    /// When it begins.
    pub from: DateTime<Utc>,
    /// When it ends.
    pub to: DateTime<Utc>,
    /// Hours of it in daylight.
    pub daylight_hours: f64,
    /// Driest moment: depletion over allowed depletion.
    pub worst_ratio: f64,
}

/// A date that matters to the person on site.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Milestone {
    /// The day, local.
    pub date: NaiveDate,
    /// What for.
    pub kind: MilestoneKind,
    /// A sentence that says what to do and why.
    pub text: String,
}

/// Kinds of milestone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum MilestoneKind {
    /// Mow the standing turf low before overseeding.
    MowLow,
    /// Loosen, rake and level.
    Prepare,
    /// Sow.
    Seed,
    /// Look under the cover.
    CheckCover,
    /// Watch for the first green.
    WatchEmergence,
    /// Take the cover off.
    RemoveCover,
    /// No mowing before this day.
    FirstMow,
    /// Roots are down: deep and infrequent from here.
    TaperDone,
}

/// How the deep soak came out.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PreSoakSummary {
    /// Net depth that the soil could take up to field capacity [mm].
    pub net_mm: f64,
    /// Gross depth that this needs [mm]; 0 when rain has done it.
    pub gross_mm: f64,
    /// Gross depth that the plan gives [mm].
    pub planned_mm: f64,
    /// Number of cycles that the plan gives.
    pub cycles: usize,
    /// Number of cycles that the whole soak needs.
    pub cycles_needed: usize,
    /// Depth per cycle that does not run off [mm gross].
    pub cycle_mm: f64,
    /// Whether the soil's intake, not the longest run, set the split.
    pub by_intake: bool,
    /// Longest pause that a cycle must be given to soak in [min].
    pub soak_min: f64,
    /// When the last cycle ends.
    pub ends: Option<DateTime<Utc>>,
    /// What kept it from the day before the ground must rest, if it ends
    /// before that day.
    pub early_by: Option<Constraint>,
}

/// One opening of one valve.
#[derive(Debug, Clone, PartialEq)]
pub struct Run {
    /// Index of the zone.
    pub zone: usize,
    /// When the valve opens.
    pub start: DateTime<Utc>,
    /// How long it stays open, in whole seconds.
    pub duration: TimeDelta,
    /// Depth applied, gross, mean over the zone.
    pub depth: Depth,
    /// Volume used.
    pub volume: Volume,
    /// Stage of the zone.
    pub stage: Stage,
    /// Why.
    pub reason: Reason,
}

impl Run {
    /// When the valve closes.
    #[must_use]
    pub fn end(&self) -> DateTime<Utc> {
        self.start + self.duration
    }
}

/// Why a run is there and why it is there at that time.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Reason {
    /// What triggered it.
    pub trigger: Trigger,
    /// Depletion of the managed layer when the run starts [mm net].
    pub depletion_mm: f64,
    /// Allowed depletion then [mm net].
    pub allowed_mm: f64,
    /// Evaporation and transpiration since the last run of the zone [mm].
    pub demand_since_last_mm: f64,
    /// Rain since the last run of the zone [mm].
    pub rain_since_last_mm: f64,
    /// Forecast rain that was counted and made the run smaller [mm].
    pub forecast_rain_counted_mm: f64,
    /// What moved the run away from the moment of need, and by how much.
    pub moved: Option<Moved>,
    /// Which cycle of how many, for split applications.
    pub cycle: Option<Cycle>,
}

/// What triggered a run.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Trigger {
    /// Part of the deep soak.
    PreSoak,
    /// The first watering after the seed is down.
    AfterSeeding,
    /// Depletion reaches what is allowed.
    Depletion,
    /// Standing turf, into which seed was sown, has used what is allowed of all
    /// the soil; the depletions of the reason are those of all the soil.
    TurfDepletion,
    /// Watered early, because a constraint would keep the valve shut when
    /// the need comes.
    AheadOfConstraint,
    /// Watered in the morning of the day on which the need comes: less is
    /// lost to wind and sun, and the leaves are dry by night.
    EarlyMorning,
}

/// A shift away from the moment of need.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Moved {
    /// The constraint that did it.
    pub by: Constraint,
    /// By how many minutes: positive later, negative earlier.
    pub minutes: i64,
}

/// Position within a split application.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Cycle {
    /// From 1.
    pub number: usize,
    /// Of how many.
    pub of: usize,
    /// Whether they fill all the soil for standing turf, not the managed layer.
    #[serde(skip)]
    pub for_turf: bool,
}

/// Everything that can keep a valve shut.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Constraint {
    /// A person has asked for no watering until a certain time.
    Hold,
    /// Outside the allowed hours, weekdays or dates.
    WateringRules,
    /// A dated ban.
    Ban,
    /// People are on the grass, or soon will be.
    QuietWindow,
    /// The grass must be dry at night.
    Night,
    /// Wind above the limit.
    Wind,
    /// Cold below the limit.
    Frost,
    /// Other zones have the supply.
    Supply,
    /// The day's most water is used up.
    DailyMost,
    /// The last water on the zone must soak in first.
    SoakTime,
    /// The soil takes no more in one run.
    Intake,
    /// The plan begins after the moment of need.
    PlanStart,
}

/// Something the plan could not meet.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Shortfall {
    /// Index of the zone.
    pub zone: usize,
    /// What is missing.
    pub kind: ShortfallKind,
    /// Start of the first spell.
    pub from: DateTime<Utc>,
    /// End of the last spell.
    pub to: DateTime<Utc>,
    /// Hours too dry; of a seed layer those by daylight only.
    pub hours_dry: f64,
    /// Hours of night in which a seed layer is too dry besides.
    pub night_hours_dry: f64,
    /// Longest single spell [h].
    pub longest_h: f64,
    /// Lowest point: depletion over allowed depletion, above 1.
    pub worst_ratio: f64,
    /// The constraint that is the main cause of each of the spells.
    pub cause: Constraint,
    /// What would mend it, tried out by planning again, best first.
    pub mend: Vec<String>,
}

/// Kinds of shortfall.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum ShortfallKind {
    /// The seed layer is drier than allowed.
    SeedLayerDry,
    /// The root zone is drier than allowed.
    RootZoneDry,
    /// The deep soak could not be given in full.
    PreSoakIncomplete,
}
