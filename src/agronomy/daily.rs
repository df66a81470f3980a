//! Days made of hours, as the daily equation of FAO-56 wants them: extremes of
//! temperature and humidity, mean wind, sum of radiation.

use chrono::{DateTime, Datelike, FixedOffset, NaiveDate, Utc};

use super::atmosphere::{
    HumidityRange, TemperatureRange, saturation_vapour_pressure_kpa,
    vapour_pressure_from_extremes_kpa,
};
use super::missing_data::DEFAULT_CLOUDINESS_RATIO;
use super::radiation::{DaySun, SOIL_HEAT_FLUX_OF_DAY, clear_sky, cloudiness_ratio};
use super::reference_et::EtDay;
use super::weather_record::{GeoPosition, Provenance, WeatherHour, WeatherVariable};

/// Hours of a whole day.
const WHOLE_DAY_H: usize = 24;

/// One day.
#[derive(Debug, Clone, PartialEq)]
pub struct WeatherDay {
    /// Its date in standard time.
    pub date: NaiveDate,
    /// The inputs of the daily equation.
    pub inputs: EtDay,
    /// Ra [MJ m⁻² d⁻¹].
    pub extraterrestrial_mj_per_m2_d: f64,
    /// Rso [MJ m⁻² d⁻¹].
    pub clear_sky_mj_per_m2_d: f64,
    /// Which variables were estimated, and in how many hours of the day.
    pub estimated: Vec<(WeatherVariable, usize)>,
}

/// The variables of an hour that were estimated.
pub fn estimated_variables(hour: &WeatherHour) -> impl Iterator<Item = WeatherVariable> {
    let from = hour.provenance;
    [
        (WeatherVariable::AirTemperature, from.air_temperature),
        (WeatherVariable::RelativeHumidity, from.humidity),
        (WeatherVariable::Wind, from.wind),
        (WeatherVariable::Solar, from.solar),
    ]
    .into_iter()
    .filter(|&(_, provenance)| provenance == Provenance::Estimated)
    .map(|(variable, _)| variable)
}

/// The whole days of a gapless series, by the calendar of a fixed offset from
/// UTC (standard time, all year). Days that are cut off are left out.
///
/// # Source
/// Allen et al. 1998, FAO-56, chapter 3: eq. 9 (temperature), 17 (humidity),
/// 21 and 37 (radiation), 42 (soil heat).
#[must_use]
pub fn whole_days(
    hours: &[WeatherHour],
    place: &GeoPosition,
    standard: FixedOffset,
) -> Vec<WeatherDay> {
    let date = |start: DateTime<Utc>| start.with_timezone(&standard).date_naive();
    hours
        .chunk_by(|a, b| date(a.start) == date(b.start))
        .filter(|day| day.len() == WHOLE_DAY_H)
        .map(|day| of_hours(date(day[0].start), day, place))
        .collect()
}

fn of_hours(date: NaiveDate, hours: &[WeatherHour], place: &GeoPosition) -> WeatherDay {
    let sun = DaySun::new(place.latitude_deg.to_radians(), date.ordinal());
    let ra = sun.extraterrestrial_mj_per_m2_d();
    let rso = clear_sky(ra, place.elevation_m);
    let solar: f64 = hours.iter().map(|hour| hour.solar_mj_per_m2_h).sum();
    let wind: f64 = hours.iter().map(|hour| hour.wind_2m_m_per_s).sum();
    let (min_c, max_c) = extremes(hours.iter().map(|hour| hour.air_temperature_c));
    let (min_pct, max_pct) = extremes(hours.iter().map(|hour| {
        100.0 * hour.actual_vapour_pressure_kpa
            / saturation_vapour_pressure_kpa(hour.air_temperature_c)
    }));
    let temperature = TemperatureRange { min_c, max_c };
    let humidity = HumidityRange { min_pct, max_pct };
    WeatherDay {
        date,
        inputs: EtDay {
            temperature,
            actual_vapour_pressure_kpa: vapour_pressure_from_extremes_kpa(temperature, humidity),
            wind_2m_m_per_s: wind / 24.0,
            solar_mj_per_m2_d: solar,
            rs_over_rso: cloudiness_ratio(solar, rso).unwrap_or(DEFAULT_CLOUDINESS_RATIO),
            pressure_kpa: hours[0].pressure_kpa,
            soil_heat_flux_mj_per_m2_d: SOIL_HEAT_FLUX_OF_DAY,
        },
        extraterrestrial_mj_per_m2_d: ra,
        clear_sky_mj_per_m2_d: rso,
        estimated: estimated_in(hours),
    }
}

fn extremes(values: impl Iterator<Item = f64>) -> (f64, f64) {
    values.fold(
        (f64::INFINITY, f64::NEG_INFINITY),
        |(least, most), value| (least.min(value), most.max(value)),
    )
}

fn estimated_in(hours: &[WeatherHour]) -> Vec<(WeatherVariable, usize)> {
    let mut counts = std::collections::BTreeMap::new();
    for variable in hours.iter().flat_map(estimated_variables) {
        *counts.entry(variable).or_insert(0) += 1;
    }
    counts.into_iter().collect()
}
