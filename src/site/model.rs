//! A site, its supply, its rules and its zones, checked and complete.

use chrono::{DateTime, NaiveDate, NaiveTime, TimeDelta, Utc, Weekday};
use chrono_tz::Tz;
use serde::Serialize;

use super::model_daemon::{DaemonKeys, Sensor};
use super::model_mqtt::{Mqtt, Valve};
use super::model_weather::WeatherSetup;
pub use crate::units::UnitSystem;
use crate::units::{Area, Depth, Flow, Rate, Speed, Volume};

/// A whole site.
#[derive(Debug, Clone, PartialEq)]
pub struct Site {
    /// Name for people.
    pub name: String,
    /// Where it is.
    pub place: Place,
    /// The system in which results are written for people.
    pub units: UnitSystem,
    /// What brings the water.
    pub supply: Supply,
    /// When watering is allowed by law or licence.
    pub rules: WateringRules,
    /// When people are on the grass.
    pub quiet_windows: Vec<QuietWindow>,
    /// No sprinkling while the wind at 2 m is above this.
    pub wind_limit: Option<Speed>,
    /// No sprinkling while the air is colder than this [°C].
    pub frost_limit_c: f64,
    /// Keeping grass dry at night.
    pub night: NightRule,
    /// The broker, where valves are driven.
    pub mqtt: Option<Mqtt>,
    /// How the daemon is reached.
    pub daemon: DaemonKeys,
    /// Sensors that report over the broker.
    pub sensors: Vec<Sensor>,
    /// The zones, in the order of the file.
    pub zones: Vec<Zone>,
    /// Where the weather comes from.
    pub weather: WeatherSetup,
    /// Every default that stood in for something not in the file.
    pub defaults_used: Vec<DefaultUsed>,
}

/// A place on Earth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// Latitude [°], north positive.
    pub latitude_deg: f64,
    /// Longitude [°], east positive.
    pub longitude_deg: f64,
    /// Elevation above sea level [m].
    pub elevation_m: f64,
    /// Whether a large body of water governs the air there.
    pub coast: bool,
    /// IANA time zone.
    pub time_zone: Tz,
}

/// The water supply that all zones share.
#[derive(Debug, Clone, PartialEq)]
pub struct Supply {
    /// The most that may flow at once.
    pub flow: Flow,
    /// Whether a master valve stands before the zone valves.
    pub master_valve: bool,
    /// Time from pump start to full pressure; none without a pump.
    pub pump_start_delay: Option<TimeDelta>,
    /// Cost, where known.
    pub cost: Option<WaterCost>,
}

/// What water costs.
#[derive(Debug, Clone, PartialEq)]
pub struct WaterCost {
    /// Price of one m³.
    pub per_m3: f64,
    /// Currency as people write it.
    pub currency: String,
}

/// Watering rules of an authority or a licence.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct WateringRules {
    /// Hours in which watering is allowed; empty means at any hour.
    pub hours: Vec<DailyHours>,
    /// Weekdays on which it is allowed; empty means all.
    pub weekdays: Vec<Weekday>,
    /// Odd or even dates.
    pub dates: DateParity,
    /// The most water on one local day.
    pub most_per_day: Option<Volume>,
    /// Dated permits and bans. A ban beats a permit; either beats the rules.
    pub exceptions: Vec<RuleException>,
}

/// A span of the local day; `to` before or at `from` runs past midnight.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DailyHours {
    /// First moment.
    pub from: NaiveTime,
    /// First moment no longer inside.
    pub to: NaiveTime,
}

/// Restriction by the day of the month.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum DateParity {
    /// No restriction.
    #[default]
    Any,
    /// Odd days of the month only.
    Odd,
    /// Even days of the month only.
    Even,
}

/// A dated exception to the rules.
#[derive(Debug, Clone, PartialEq)]
pub struct RuleException {
    /// What people call it, such as "seeding permit".
    pub name: String,
    /// First local day.
    pub from: NaiveDate,
    /// Last local day, included.
    pub to: NaiveDate,
    /// Zones it is for; empty means all.
    pub zones: Vec<String>,
    /// What it does.
    pub effect: ExceptionEffect,
}

/// What a dated exception does.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ExceptionEffect {
    /// Watering is allowed on every day of the span, in these hours (empty
    /// means at any hour), whatever weekday and date rules say.
    Permit {
        /// Allowed hours.
        hours: Vec<DailyHours>,
    },
    /// No watering at all.
    Ban,
}

/// A time when people are on the grass.
#[derive(Debug, Clone, PartialEq)]
pub struct QuietWindow {
    /// What it is, such as "Saturday match".
    pub name: String,
    /// Zones it is for; empty means all.
    pub zones: Vec<String>,
    /// On which days.
    pub days: QuietDays,
    /// The hours.
    pub hours: DailyHours,
    /// Watering ends this long before, so that the grass dries.
    pub dry_before: TimeDelta,
}

/// Days of a quiet window.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum QuietDays {
    /// Every week on these days; empty means every day.
    Weekly(Vec<Weekday>),
    /// On these dates only.
    Dates(Vec<NaiveDate>),
}

/// Keeping the grass dry at night.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct NightRule {
    /// Watering ends this long before sunset.
    pub dry_before_sunset: TimeDelta,
    /// Watering begins no earlier than this long before sunrise.
    pub start_before_sunrise: TimeDelta,
}

/// One zone: what one valve waters.
#[derive(Debug, Clone, PartialEq)]
pub struct Zone {
    /// Name: `[a-z0-9-]+`, unique in the site.
    pub name: String,
    /// Names that it had before, whose history it carries on, the latest first.
    pub formerly: Vec<String>,
    /// Watered area.
    pub area: Area,
    /// The soil.
    pub soil: SoilSpec,
    /// Slope of the ground [%].
    pub slope_pct: f64,
    /// Share of the sun's radiation that reaches the zone, 0 to 1.
    pub sun_share: f64,
    /// The sprinklers.
    pub sprinkler: Sprinkler,
    /// How the daemon drives the valve; not needed by the dry run.
    pub valve: Option<Valve>,
    /// The sowing.
    pub seeding: Seeding,
    /// The deep soak before it.
    pub pre_soak: PreSoak,
    /// Bounds of a single run.
    pub runs: RunLimits,
    /// How much of the managed layer's water may be used.
    pub allowed_depletion: AllowedDepletion,
    /// Depth of the managed layer while seed germinates.
    pub seed_layer: Depth,
    /// Depth of the managed layer when the roots are down.
    pub target_root_depth: Depth,
    /// Growth of the roots at 20 °C [mm/day].
    pub root_growth_mm_per_day: f64,
}

/// What is known of a soil, best last.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SoilSpec {
    /// Class or fractions.
    pub kind: SoilKind,
    /// Measured water contents, which win over computed ones.
    pub measured: Option<MeasuredWater>,
    /// Measured (basic) infiltration rate, which wins over the computed one.
    pub infiltration_rate: Option<Rate>,
}

/// How the soil is described.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SoilKind {
    /// A USDA texture class.
    Texture(TextureName),
    /// Fractions by weight [%].
    Fractions {
        /// Sand [%].
        sand_pct: f64,
        /// Clay [%].
        clay_pct: f64,
        /// Organic matter [%].
        organic_matter_pct: f64,
    },
}

/// The 12 USDA texture classes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs)]
pub enum TextureName {
    Sand,
    LoamySand,
    SandyLoam,
    Loam,
    SiltLoam,
    Silt,
    SandyClayLoam,
    ClayLoam,
    SiltyClayLoam,
    SandyClay,
    SiltyClay,
    Clay,
}

/// Water contents measured on the spot, as volume shares.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeasuredWater {
    /// Field capacity θFC.
    pub field_capacity: f64,
    /// Wilting point θWP.
    pub wilting_point: f64,
}

/// The sprinklers of a zone, or the hose.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sprinkler {
    /// Mean precipitation rate over the zone.
    pub precipitation_rate: Rate,
    /// Lower-quarter distribution uniformity, 0 to 1.
    pub distribution_uniformity: f64,
    /// Share of the water that reaches the ground, 0 to 1.
    pub application_efficiency: f64,
    /// Flow while the valve is open.
    pub flow: Flow,
}

/// The sowing of a zone.
#[derive(Debug, Clone, PartialEq)]
pub struct Seeding {
    /// When the seed goes down.
    pub at: DateTime<Utc>,
    /// Onto what.
    pub ground: Ground,
    /// The mix; shares sum to 1.
    pub mix: Vec<SpeciesShare>,
    /// What is spread over the seed.
    pub top_dressing: Option<TopDressing>,
    /// What is laid over the seedbed.
    pub cover: Option<Cover>,
    /// How wet the soil is now.
    pub soil_state: SoilState,
    /// When the person on site saw the first green.
    pub emerged: Option<NaiveDate>,
    /// When the person on site saw that all of it was up.
    pub all_up: Option<NaiveDate>,
}

/// What is sown onto.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Ground {
    /// Bare soil.
    Bare,
    /// Standing turf, which shades and transpires.
    Turf {
        /// Share of the ground that the standing turf covers, 0 to 1.
        cover_fraction: f64,
    },
}

/// One species of a mix.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SpeciesShare {
    /// The species.
    pub species: Species,
    /// Share of the seed by weight, 0 to 1.
    pub share: f64,
}

/// Turfgrass species with published emergence ranges.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs)]
pub enum Species {
    PerennialRyegrass,
    TallFescue,
    FineFescue,
    CreepingBentgrass,
    KentuckyBluegrass,
    Bermudagrass,
    Zoysiagrass,
    Buffalograss,
}

/// Top-dressing over the seed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TopDressing {
    /// Of what.
    pub material: DressingMaterial,
    /// How thick.
    pub thickness: Depth,
}

/// Materials for top-dressing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs)]
pub enum DressingMaterial {
    Peat,
    Compost,
    Sand,
    Topsoil,
}

/// A cover over the seedbed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cover {
    /// What kind.
    pub material: CoverMaterial,
    /// When it comes off.
    pub removed: CoverRemoval,
}

/// Kinds of cover.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum CoverMaterial {
    /// A permeable sheet (fleece, woven or spun) held over the bed.
    Sheet {
        /// Share of solar radiation it lets through, 0 to 1.
        transmission: f64,
    },
    /// Organic mulch such as straw or hydraulic mulch.
    Mulch {
        /// Share of the ground it hides, 0 to 1.
        cover_fraction: f64,
    },
}

/// When a cover comes off.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum CoverRemoval {
    /// When the grass emerges.
    AtEmergence,
    /// On this local date.
    On(NaiveDate),
    /// It stays and rots.
    Never,
}

/// How wet the soil is at the start of the plan.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum SoilState {
    /// Crumbly, pale: near the wilting point.
    Dry,
    /// Half of the available water is there.
    Half,
    /// Dark, holds together: most of the available water is there.
    Moist,
    /// Measured water content as volume share.
    Measured(f64),
    /// Computed from the weather of the days before.
    FromWeather,
}

/// The deep soak before seeding.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PreSoak {
    /// Whether to soak at all.
    pub wanted: bool,
    /// Depth of soil to bring to field capacity.
    pub depth: Depth,
    /// Rest between the last cycle and the seeding.
    pub rest: TimeDelta,
}

/// Bounds of a single run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RunLimits {
    /// Shortest run worth opening the valve for.
    pub shortest: TimeDelta,
    /// Longest run.
    pub longest: TimeDelta,
    /// Shortest pause between two runs on the zone.
    pub soak_time: TimeDelta,
}

/// Share of available water that may be used before watering.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AllowedDepletion {
    /// Of the seed layer until emergence, 0 to 1.
    pub seed_layer: f64,
    /// Of the root zone when the roots are down, 0 to 1.
    pub root_zone: f64,
}

/// A default that stood in for something the file does not say.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct DefaultUsed {
    /// Key as in the file, such as `zone.outfield.sprinkler.uniformity`.
    pub key: String,
    /// The value used, with its unit.
    pub value: String,
    /// Why this value.
    pub why: String,
}

impl DefaultUsed {
    /// Whether it shapes a timetable, and not only how it is carried out.
    #[must_use]
    pub fn shapes_the_plan(&self) -> bool {
        let apart = ["mqtt.", "device.", "sensor."];
        !apart.iter().any(|table| self.key.starts_with(table))
    }
}
