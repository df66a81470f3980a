//! Hourly ET0 of a whole measured series at once: years of hours, as a
//! calibration or a comparison of seasons needs them.
//!
//! The formulas are those of `atmosphere`, `radiation` and `reference_et`; only
//! the order of work is another: day by day, each step over the hours of the
//! day, so that the compiler can work several hours in one instruction. The
//! widest instructions that the processor has are chosen as the program runs;
//! the results have the same bits with all of them. Nothing may be missing
//! here: see `missing_data` for what can.

use std::f64::consts::PI;

use chrono::{DateTime, Utc};

use super::atmosphere::{Saturation, pressure_from_elevation_kpa, wind_factor_to_2m};
use super::missing_data::DEFAULT_CLOUDINESS_RATIO;
use super::radiation::{
    DaySun, MJ_PER_M2_H_PER_W_PER_M2, Turn, clear_sky, cloudiness_ratio, is_daylight, is_low_sun,
};
use super::reference_et::{EtHour, EtMethod, terms_at_saturation};
use super::solar_time::{SolarHours, day_of_year};
use super::weather_record::GeoPosition;

const DAY_H: usize = 24;

/// Hours in a row, all of them measured; one value an hour in each slice.
#[derive(Debug, Clone, Copy)]
pub struct MeasuredHours<'a> {
    /// Start of the first hour.
    pub start: DateTime<Utc>,
    /// Mean air temperature [°C].
    pub air_temperature_c: &'a [f64],
    /// Mean relative humidity [%].
    pub relative_humidity_pct: &'a [f64],
    /// Wind speed [m/s] at `wind_height_m`.
    pub wind_m_per_s: &'a [f64],
    /// Height at which the wind was measured [m].
    pub wind_height_m: f64,
    /// Mean global radiation [W/m²].
    pub solar_w_per_m2: &'a [f64],
}

/// Why a series gave nothing.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SeriesError {
    /// The slices have not the same number of hours.
    #[error("the variables have not the same number of hours")]
    UnequalLengths,
}

/// ET0 of each hour [mm], not held at zero.
///
/// The same as completing the hours and taking [`super::reference_et`] for
/// each, to within rounding of the last digits.
///
/// # Errors
/// [`SeriesError::UnequalLengths`].
/// # Source
/// As [`super::reference_et::hourly_et0_mm`].
pub fn hourly_et0_of_series(
    hours: &MeasuredHours<'_>,
    place: &GeoPosition,
    method: EtMethod,
) -> Result<Vec<f64>, SeriesError> {
    let count = hours.air_temperature_c.len();
    let lengths = [
        hours.relative_humidity_pct.len(),
        hours.wind_m_per_s.len(),
        hours.solar_w_per_m2.len(),
    ];
    if lengths.iter().any(|&length| length != count) {
        return Err(SeriesError::UnequalLengths);
    }
    let mut et0_mm = vec![0.0; count];
    let series = Series::new(hours, place, method);
    work_days(&series, series.first_evening_ratio(), &mut et0_mm);
    Ok(et0_mm)
}

/// What all hours share.
struct Series<'a> {
    hours: &'a MeasuredHours<'a>,
    method: EtMethod,
    elevation_m: f64,
    pressure_kpa: f64,
    wind_factor: f64,
    latitude: Turn,
    /// Mean solar day of the first hour, and which of its hours that is.
    first_day: i64,
    first_hour: usize,
    /// Mean solar time angle of each hour of a day.
    angles: [Turn; DAY_H],
}

impl<'a> Series<'a> {
    fn new(hours: &'a MeasuredHours<'a>, place: &GeoPosition, method: EtMethod) -> Self {
        let (first_day, solar_h) = SolarHours::new(place).day_and_hour(hours.start);
        let mut angles = [Turn::of(0.0); DAY_H];
        for (hour, angle) in (0_u32..).zip(&mut angles) {
            *angle = Turn::of(PI / 12.0 * (f64::from(hour) + solar_h.fract() - 12.0));
        }
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "0 to 23"
        )]
        let first_hour = solar_h as usize;
        Self {
            hours,
            method,
            elevation_m: place.elevation_m,
            pressure_kpa: pressure_from_elevation_kpa(place.elevation_m),
            wind_factor: wind_factor_to_2m(hours.wind_height_m),
            latitude: Turn::of(place.latitude_deg.to_radians()),
            first_day,
            first_hour,
            angles,
        }
    }

    /// The days of the series, the first and the last perhaps cut off.
    #[inline(always)]
    fn days(&self) -> impl Iterator<Item = Day> {
        let count = self.hours.air_temperature_c.len();
        let mut next = Day {
            number: self.first_day,
            first: self.first_hour,
            from: 0,
            count: 0,
        };
        std::iter::from_fn(move || {
            let day = Day {
                count: (DAY_H - next.first).min(count - next.from),
                ..next
            };
            next = Day {
                number: day.number + 1,
                first: 0,
                from: day.from + day.count,
                count: 0,
            };
            (day.count > 0).then_some(day)
        })
    }

    /// Rs/Rso of the first afternoon, which the hours before it take over.
    fn first_evening_ratio(&self) -> f64 {
        self.days()
            .find_map(|day| {
                let sky = DaySky::of(self, &day);
                sky.evenings(&day).next().map(|hour| sky.own_ratio[hour])
            })
            .unwrap_or(DEFAULT_CLOUDINESS_RATIO)
    }
}

/// The part of a mean solar day that a series holds.
#[derive(Debug, Clone, Copy)]
struct Day {
    number: i64,
    /// Which hour of the day is its first.
    first: usize,
    /// Which hour of the series that is.
    from: usize,
    /// How many hours follow, with it.
    count: usize,
}

impl Day {
    /// Its hours of a variable, each in its place of the day; what lies outside
    /// the series is unused. A known length of 24 is what lets the compiler
    /// work several hours at once.
    #[inline(always)]
    fn of<'v>(&self, values: &'v [f64], spare: &'v mut [f64; DAY_H]) -> &'v [f64; DAY_H] {
        let values = &values[self.from..self.from + self.count];
        match <&[f64; DAY_H]>::try_from(values) {
            Ok(whole) => whole,
            Err(_) => {
                spare[self.first..self.first + self.count].copy_from_slice(values);
                spare
            }
        }
    }
}

/// The sun and the clouds of one day, hour by hour.
struct DaySky {
    sin_elevation: [f64; DAY_H],
    /// Rs/Rso of the hour itself; NaN without a clear sky to compare with.
    own_ratio: [f64; DAY_H],
    /// Whether the clouds of the hour stand for the night.
    is_evening: [bool; DAY_H],
}

impl DaySky {
    #[inline(always)]
    fn of(series: &Series<'_>, day: &Day) -> Self {
        let sun = DaySun::at(series.latitude, day_of_year(day.number));
        let mut spare = [0.0; DAY_H];
        let solar_w_per_m2 = day.of(series.hours.solar_w_per_m2, &mut spare);
        let mut sky = Self {
            sin_elevation: [0.0; DAY_H],
            own_ratio: [0.0; DAY_H],
            is_evening: [false; DAY_H],
        };
        for (hour, (&angle, solar)) in series.angles.iter().zip(solar_w_per_m2).enumerate() {
            let sun = sun.hour_of_mean_time(angle);
            let clear = clear_sky(sun.extraterrestrial_mj_per_m2_h, series.elevation_m);
            let solar = solar * MJ_PER_M2_H_PER_W_PER_M2;
            sky.own_ratio[hour] = cloudiness_ratio(solar, clear).unwrap_or(f64::NAN);
            sky.sin_elevation[hour] = sun.sin_elevation;
            sky.is_evening[hour] = sun.stands_for_evening() & (clear > 0.0);
        }
        sky
    }

    /// The hours of the series whose clouds stand for the night: one or two of
    /// a day, so most eights of hours are passed over at once.
    #[inline(always)]
    fn evenings(&self, day: &Day) -> impl Iterator<Item = usize> {
        let inside = day.first..day.first + day.count;
        (0..DAY_H)
            .step_by(8)
            .filter(|&from| self.is_evening[from..from + 8] != [false; 8])
            .flat_map(|from| from..from + 8)
            .filter(move |&hour| self.is_evening[hour] && inside.contains(&hour))
    }

    /// Rs/Rso that stands for the clouds of each hour: low sun and night have
    /// that of the latest afternoon.
    #[inline(always)]
    fn ratios(&self, day: &Day, carried: &mut f64) -> [f64; DAY_H] {
        let mut latest = [*carried; DAY_H];
        for evening in self.evenings(day) {
            *carried = self.own_ratio[evening];
            latest[evening..].fill(*carried);
        }
        let mut ratios = [0.0; DAY_H];
        for hour in 0..DAY_H {
            let own = self.own_ratio[hour];
            let is_own = !is_low_sun(self.sin_elevation[hour]) && !own.is_nan();
            ratios[hour] = if is_own { own } else { latest[hour] };
        }
        ratios
    }
}

#[multiversion::multiversion(targets(
    "x86_64+avx512f+avx512dq+avx512vl",
    "x86_64+avx2",
    "aarch64+neon",
))]
fn work_days(series: &Series<'_>, mut carried: f64, et0_mm: &mut [f64]) {
    for day in series.days() {
        let sky = DaySky::of(series, &day);
        let ratios = sky.ratios(&day, &mut carried);
        let et0_mm = &mut et0_mm[day.from..day.from + day.count];
        match <&mut [f64; DAY_H]>::try_from(&mut *et0_mm) {
            Ok(whole) => evaporate(series, &day, (&sky, &ratios), whole),
            Err(_) => {
                let mut whole = [0.0; DAY_H];
                evaporate(series, &day, (&sky, &ratios), &mut whole);
                et0_mm.copy_from_slice(&whole[day.first..day.first + day.count]);
            }
        }
    }
}

/// ET0 of the hours of a day under its sky and its cloudiness ratios [mm].
#[inline(always)]
fn evaporate(
    series: &Series<'_>,
    day: &Day,
    (sky, ratios): (&DaySky, &[f64; DAY_H]),
    et0_mm: &mut [f64; DAY_H],
) {
    let hours = series.hours;
    let mut spare = [[0.0; DAY_H]; 4];
    let [spare_1, spare_2, spare_3, spare_4] = &mut spare;
    let temperature_c = day.of(hours.air_temperature_c, spare_1);
    let humidity_pct = day.of(hours.relative_humidity_pct, spare_2);
    let wind_m_per_s = day.of(hours.wind_m_per_s, spare_3);
    let solar_w_per_m2 = day.of(hours.solar_w_per_m2, spare_4);
    for hour in 0..DAY_H {
        let saturation = Saturation::at(temperature_c[hour]);
        let inputs = EtHour {
            air_temperature_c: temperature_c[hour],
            actual_vapour_pressure_kpa: saturation.vapour_pressure_kpa(humidity_pct[hour]),
            wind_2m_m_per_s: wind_m_per_s[hour] * series.wind_factor,
            solar_mj_per_m2_h: solar_w_per_m2[hour] * MJ_PER_M2_H_PER_W_PER_M2,
            rs_over_rso: ratios[hour],
            pressure_kpa: series.pressure_kpa,
            daylight: is_daylight(sky.sin_elevation[hour]),
        };
        et0_mm[hour] = terms_at_saturation(&inputs, saturation, series.method).et0_mm;
    }
}

#[cfg(test)]
mod tests;
