//! Hourly demand at a zone: weather seen through shade, cover and growth.

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDate, Utc};
use chrono_tz::Tz;

use super::ground::Ground;
use super::growth::{Growth, Season};
use super::rain::{counted_at_mm, told_mm};
use super::record::Stage;
use crate::agronomy::atmosphere::saturation_vapour_pressure_kpa;
use crate::agronomy::cover;
use crate::agronomy::crop_coefficient::TURF_HEIGHT_M;
use crate::agronomy::evaporation::{self, ClimateOfDay};
use crate::agronomy::infiltration::GreenAmpt;
use crate::agronomy::reference_et::{EtMethod, hourly_et0_mm};
use crate::agronomy::weather_record::WeatherHour;
use crate::site::local_time::date_of;
use crate::site::{CoverMaterial, Site, Zone};
use crate::units::Rate;

/// One hour of demand at a zone; rates in mm/h, constant over the hour.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HourDemand {
    /// Start of the hour.
    pub start: DateTime<Utc>,
    /// Reference evapotranspiration at the zone, not below zero.
    pub et0_mm_per_h: f64,
    /// Upper limit of evaporation and transpiration together, Kc max.
    pub kc_max: f64,
    /// Basal crop coefficient of all the grass, Kcb.
    pub kcb: f64,
    /// The part of it that is standing turf and draws on all the soil.
    pub standing_kcb: f64,
    /// Share of the ground that is exposed and wetted, few.
    pub exposed: f64,
    /// What a mulch leaves of the evaporation, 0 to 1.
    pub mulch_factor: f64,
    /// Rain that is counted [mm].
    pub rain_mm: f64,
    /// All the rain of the hour, fallen or expected [mm].
    pub all_rain_mm: f64,
    /// Share of that rain which runs off [mm].
    pub rain_runoff_mm: f64,
    /// Depth of the managed layer [mm].
    pub layer_mm: f64,
    /// Allowed depletion as a share of the layer's available water.
    pub depletion_share: f64,
    /// The same of all the soil, for standing turf.
    pub standing_depletion_share: f64,
    /// Share of the allowed depletion at which water is due.
    pub due_share: f64,
    /// Stage at the start of the hour.
    pub stage: Stage,
    /// Whether the sun is up at mid-hour.
    pub daylight: bool,
}

impl HourDemand {
    /// Puts rain that has fallen [mm] in the place of what was known of it.
    pub fn set_rain(&mut self, ground: &Ground, rain_mm: f64) {
        self.rain_mm = rain_mm;
        self.all_rain_mm = rain_mm;
        self.rain_runoff_mm = rain_runoff_mm(ground, rain_mm);
    }
}

/// Daily figures that several formulas need, by local date.
#[derive(Debug, Clone, PartialEq)]
pub struct Days {
    /// Mean air temperature [°C].
    pub mean_c: BTreeMap<NaiveDate, f64>,
    climate: BTreeMap<NaiveDate, ClimateOfDay>,
}

impl Days {
    /// Daily figures of a series.
    #[must_use]
    pub fn of(weather: &[WeatherHour], time_zone: Tz) -> Self {
        let mut by_date: BTreeMap<NaiveDate, Vec<&WeatherHour>> = BTreeMap::new();
        for hour in weather {
            by_date
                .entry(date_of(time_zone, hour.start))
                .or_default()
                .push(hour);
        }
        let mut mean_c = BTreeMap::new();
        let mut climate = BTreeMap::new();
        for (date, hours) in by_date {
            #[expect(clippy::cast_precision_loss, reason = "a day has at most 25 hours")]
            let n = hours.len() as f64;
            mean_c.insert(
                date,
                hours.iter().map(|hour| hour.air_temperature_c).sum::<f64>() / n,
            );
            let min_relative_humidity_pct = hours
                .iter()
                .map(|hour| relative_humidity_pct(hour))
                .fold(100.0, f64::min);
            let wind_2m_m_per_s = hours.iter().map(|hour| hour.wind_2m_m_per_s).sum::<f64>() / n;
            climate.insert(
                date,
                ClimateOfDay {
                    wind_2m_m_per_s,
                    min_relative_humidity_pct,
                },
            );
        }
        Self { mean_c, climate }
    }
}

fn relative_humidity_pct(hour: &WeatherHour) -> f64 {
    100.0 * hour.actual_vapour_pressure_kpa / saturation_vapour_pressure_kpa(hour.air_temperature_c)
}

/// The demand at a zone of a site of every hour of `weather` but the first
/// `skipped`, in which roots grow all the same.
#[must_use]
pub fn hours(
    zone: &Zone,
    ground: &Ground,
    season: &Season,
    weather: &[WeatherHour],
    skipped: usize,
    days: &Days,
    site: &Site,
) -> Vec<HourDemand> {
    let time_zone = site.place.time_zone;
    let mut of_day: Option<(NaiveDate, f64, ClimateOfDay)> = None;
    let mut starts = Vec::with_capacity(weather.len());
    let mut climates = Vec::with_capacity(weather.len());
    for hour in weather {
        let date = date_of(time_zone, hour.start);
        let (_, mean_c, climate) = match of_day {
            Some(known) if known.0 == date => known,
            _ => (date, days.mean_c[&date], days.climate[&date]),
        };
        of_day = Some((date, mean_c, climate));
        starts.push((hour.start, mean_c));
        climates.push(climate);
    }
    season
        .hours(zone, &starts)
        .iter()
        .zip(weather)
        .zip(&climates)
        .skip(skipped)
        .map(|((growth, hour), &climate)| {
            let rain_mm = counted_at_mm(hour, site.weather.rain, growth.stage);
            demand(zone, ground, growth, (hour, rain_mm), climate)
        })
        .collect()
}

fn demand(
    zone: &Zone,
    ground: &Ground,
    growth: &Growth,
    (hour, rain_mm): (&WeatherHour, f64),
    climate: ClimateOfDay,
) -> HourDemand {
    let mut at_zone = cover::shaded(&hour.et_hour(), zone.sun_share);
    let mut mulch_factor = 1.0;
    match zone
        .seeding
        .cover
        .filter(|_| growth.covered)
        .map(|cover| cover.material)
    {
        Some(CoverMaterial::Sheet { transmission }) => {
            at_zone = cover::under_sheet(&at_zone, transmission);
        }
        Some(CoverMaterial::Mulch { cover_fraction }) => {
            mulch_factor = cover::mulch_evaporation_factor(cover_fraction);
        }
        None => {}
    }
    let et0 = hourly_et0_mm(&at_zone, EtMethod::Fao56).max(0.0);
    HourDemand {
        start: hour.start,
        et0_mm_per_h: et0,
        kc_max: evaporation::kc_max(climate, TURF_HEIGHT_M, growth.kcb),
        kcb: growth.kcb,
        standing_kcb: growth.standing_kcb,
        exposed: evaporation::exposed_fraction(growth.cover_fraction, 1.0),
        mulch_factor,
        rain_mm,
        all_rain_mm: told_mm(hour),
        rain_runoff_mm: rain_runoff_mm(ground, rain_mm),
        layer_mm: growth.layer_mm,
        depletion_share: growth.depletion_share,
        standing_depletion_share: zone.allowed_depletion.root_zone,
        due_share: growth.due_share,
        stage: growth.stage,
        daylight: hour.daylight,
    }
}

/// Rain of one hour that the soil cannot take in, on ground at field
/// capacity (Green–Ampt, Mein & Larson 1973) with the film that its slope
/// holds.
fn rain_runoff_mm(ground: &Ground, rain_mm: f64) -> f64 {
    if rain_mm <= ground.intake.mm_per_h() {
        return 0.0;
    }
    let soil = GreenAmpt {
        conductivity_mm_per_h: ground.intake.mm_per_h(),
        suction_mm: ground.suction_mm,
        moisture_deficit: ground.moist_deficit(),
    };
    let taken_in = soil.under_rain(Rate::from_mm_per_h(rain_mm), 1.0).depth_mm;
    (rain_mm - taken_in - ground.surface_storage.mm()).max(0.0)
}
