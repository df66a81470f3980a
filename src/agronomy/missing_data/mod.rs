//! From hours in which anything may be missing to complete hours.
//!
//! Rules of FAO-56 (Allen et al. 1998, chapter 3, "Estimating missing climatic
//! data"): radiation from sunshine or from the day's temperature range,
//! humidity from the day's minimum temperature, wind 2 m/s, pressure from
//! elevation. Own model, before those: up to three missing hours are drawn
//! straight between their neighbours, and longer gaps in which nothing at all
//! is known take the same hour of a neighbouring day.
//!
//! Nothing is repaired in silence: every value so made carries
//! [`Provenance::Estimated`], and a note tells which rule made how many.

mod gaps;
mod note;

use chrono::{DateTime, Utc};

pub use gaps::{LONGEST_GAP_H, LONGEST_INTERPOLATED_H, NEIGHBOURING_DAYS};
pub use note::{EstimateNote, EstimateRule};

use super::atmosphere::{
    Saturation, TemperatureRange, pressure_from_elevation_kpa, saturation_vapour_pressure_kpa,
};
use super::radiation::{
    COASTAL_RANGE_COEFFICIENT, HourSun, INTERIOR_RANGE_COEFFICIENT, MJ_PER_M2_H_PER_W_PER_M2,
    clear_sky, cloudiness_ratio, solar_from_sunshine, solar_from_temperature_range,
};
use super::solar_time::SolarHours;
use super::weather_record::{
    GeoPosition, HourProvenance, Provenance, RawHour, WeatherHour, WeatherVariable,
};
use note::Ledger;

/// Wind at 2 m where none was measured [m/s] (FAO-56, chapter 3: the mean of
/// over 2000 stations).
pub const DEFAULT_WIND_2M_M_PER_S: f64 = 2.0;
/// Rs/Rso of the night where no afternoon tells it: the middle of the 0.4 to
/// 0.6 that FAO-56 gives for humid and subhumid places (beside Example 19).
pub const DEFAULT_CLOUDINESS_RATIO: f64 = 0.5;

/// Probability of forecast rain where the source gives none: an even chance.
/// Own choice.
pub const UNSTATED_RAIN_PROBABILITY: f64 = 0.5;

/// Complete hours, one after the other without a gap, and what was estimated.
#[derive(Debug, Clone, PartialEq)]
pub struct Completed {
    /// The hours, in order.
    pub hours: Vec<WeatherHour>,
    /// What was estimated, by which rule and how often.
    pub notes: Vec<EstimateNote>,
}

/// Why hours could not be made complete.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum CompletionError {
    /// There is no hour at all.
    #[error("there is no hour of weather; give at least one")]
    Empty,
    /// An hour does not come after the one before it.
    #[error("the hour that starts at {at} comes after a later or equal one; sort the hours")]
    OutOfOrder {
        /// Start of the hour.
        at: DateTime<Utc>,
    },
    /// An hour is not a whole number of hours after the first.
    #[error(
        "the hour that starts at {at} is not a whole number of hours after the first; \
         give hourly values"
    )]
    OffTheHour {
        /// Start of the hour.
        at: DateTime<Utc>,
    },
    /// Air temperature is missing for longer than neighbouring days can fill.
    #[error(
        "no air temperature for {hours} h from {from}, more than the days on either side can \
         fill; give those hours, or leave out what lies on one side of them"
    )]
    GapTooLong {
        /// Start of the first hour without one.
        from: DateTime<Utc>,
        /// How many hours in a row.
        hours: i64,
    },
}

/// Completes a series of hours at a place.
///
/// The values must be possible ones (`weather::quality` sees to that); the
/// hours must be in order, each a whole number of hours after the first. The
/// result has no gaps. The measured pressure is not used: FAO-56 takes that of
/// the elevation.
///
/// Own model: an hour of missing radiation gets its share of the day in
/// proportion to Ra; extremes of temperature are those of the mean solar day,
/// or at either end of the series of its nearest 24 hours.
///
/// # Errors
/// [`CompletionError`]: no hours, hours out of order, or a gap in the air
/// temperature that cannot be filled.
/// # Source
/// Allen et al. 1998, FAO-56, chapter 3: eq. 35, 48, 50 and the text on wind;
/// cloudiness of low sun and night, text beside Example 19.
pub fn complete(raw: &[RawHour], place: &GeoPosition) -> Result<Completed, CompletionError> {
    let mut ledger = Ledger::default();
    let hours = gaps::fill(raw, &mut ledger)?;
    let mut completion = Completion {
        place: *place,
        pressure_kpa: pressure_from_elevation_kpa(place.elevation_m),
        sun: SolarHours::new(place),
        ledger,
        complete: Vec::with_capacity(hours.len()),
        cloudiness: Cloudiness::default(),
    };
    let mut from = 0;
    let solar = SolarHours::new(place);
    for day in hours.chunk_by(|a, b| solar.day_number(a.start) == solar.day_number(b.start)) {
        let to = from + day.len();
        completion.add_day(day, extremes_around(&hours, from, to));
        from = to;
    }
    completion.fill_first_cloudiness();
    Ok(Completed {
        hours: completion.complete,
        notes: completion.ledger.into_notes(),
    })
}

/// The probability of rain that comes without one: it has fallen where it was
/// measured, and is as likely as not where it is only forecast.
fn unstated(rain: Provenance) -> f64 {
    match rain {
        Provenance::Forecast => UNSTATED_RAIN_PROBABILITY,
        _ => 1.0,
    }
}

/// Extremes of temperature of a day, or of 24 hours where the day is cut off
/// by an end of the series.
fn extremes_around(hours: &[RawHour], from: usize, to: usize) -> TemperatureRange {
    let (from, to) = match (from, to) {
        (0, to) => (0, to.max(24).min(hours.len())),
        (from, to) if to == hours.len() => (from.min(to.saturating_sub(24)), to),
        whole => whole,
    };
    let nothing = TemperatureRange {
        min_c: f64::INFINITY,
        max_c: f64::NEG_INFINITY,
    };
    hours[from..to]
        .iter()
        .filter_map(|hour| hour.air_temperature_c)
        .fold(nothing, |range, reading| TemperatureRange {
            min_c: range.min_c.min(reading.value),
            max_c: range.max_c.max(reading.value),
        })
}

/// The cloudiness that low sun and night take over from the afternoon.
#[derive(Default)]
struct Cloudiness {
    carried: Option<f64>,
    first: Option<f64>,
    /// Hours at the start that wait for the first afternoon.
    waiting: Vec<usize>,
}

struct Completion {
    place: GeoPosition,
    pressure_kpa: f64,
    sun: SolarHours,
    ledger: Ledger,
    complete: Vec<WeatherHour>,
    cloudiness: Cloudiness,
}

impl Completion {
    fn add_day(&mut self, hours: &[RawHour], range: TemperatureRange) {
        let dew_kpa = saturation_vapour_pressure_kpa(range.min_c);
        for hour in hours {
            let sun = self.sun.hour(hour.start);
            self.add_hour(hour, &sun, range, dew_kpa);
        }
    }

    fn add_hour(&mut self, hour: &RawHour, sun: &HourSun, range: TemperatureRange, dew_kpa: f64) {
        let temperature = hour
            .air_temperature_c
            .expect("an hour without temperature has ended in an error");
        let temperature_c = temperature.value;
        let clear = clear_sky(sun.extraterrestrial_mj_per_m2_h, self.place.elevation_m);
        let (solar, solar_from) = self.solar(hour, sun, range, clear);
        let (vapour_kpa, humidity_from) = self.vapour(hour, temperature_c, dew_kpa);
        let (wind, wind_from) = self.wind(hour);
        let (rain_mm, rain_from) = self.rain(hour);
        let rs_over_rso = self.cloudiness_of(sun, cloudiness_ratio(solar, clear));
        self.complete.push(WeatherHour {
            start: hour.start,
            air_temperature_c: temperature_c,
            actual_vapour_pressure_kpa: vapour_kpa,
            wind_2m_m_per_s: wind,
            solar_mj_per_m2_h: solar,
            rs_over_rso,
            pressure_kpa: self.pressure_kpa,
            daylight: sun.is_daylight(),
            rain_mm,
            rain_probability: hour.rain_probability.unwrap_or(unstated(rain_from)),
            provenance: HourProvenance {
                air_temperature: temperature.provenance,
                humidity: humidity_from,
                wind: wind_from,
                solar: solar_from,
                rain: rain_from,
            },
        });
    }

    fn solar(
        &mut self,
        hour: &RawHour,
        sun: &HourSun,
        range: TemperatureRange,
        clear: f64,
    ) -> (f64, Provenance) {
        if let Some(reading) = hour.solar_w_per_m2 {
            let solar = reading.value * MJ_PER_M2_H_PER_W_PER_M2;
            // A line drawn between two hours knows nothing of the sunset.
            let held = if reading.provenance == Provenance::Estimated {
                solar.min(clear)
            } else {
                solar
            };
            return (held, reading.provenance);
        }
        let ra = sun.extraterrestrial_mj_per_m2_h;
        let (solar, rule) = match hour.sunshine_h {
            Some(sunshine) => {
                let share = if sun.sunlit_h > 0.0 {
                    (sunshine.value / sun.sunlit_h).clamp(0.0, 1.0)
                } else {
                    0.0
                };
                (solar_from_sunshine(ra, share), EstimateRule::Sunshine)
            }
            None => {
                let (coefficient, rule) = if self.place.coast {
                    (
                        COASTAL_RANGE_COEFFICIENT,
                        EstimateRule::CoastalTemperatureRange,
                    )
                } else {
                    (INTERIOR_RANGE_COEFFICIENT, EstimateRule::TemperatureRange)
                };
                (solar_from_temperature_range(ra, range, coefficient), rule)
            }
        };
        self.ledger.add(WeatherVariable::Solar, rule, hour.start);
        (solar.min(clear), Provenance::Estimated)
    }

    fn vapour(&mut self, hour: &RawHour, temperature_c: f64, dew_kpa: f64) -> (f64, Provenance) {
        let saturation = Saturation::at(temperature_c);
        if let Some(reading) = hour.relative_humidity_pct {
            return (
                saturation.vapour_pressure_kpa(reading.value),
                reading.provenance,
            );
        }
        self.ledger.add(
            WeatherVariable::RelativeHumidity,
            EstimateRule::DailyMinimum,
            hour.start,
        );
        (dew_kpa.min(saturation.pressure_kpa), Provenance::Estimated)
    }

    fn wind(&mut self, hour: &RawHour) -> (f64, Provenance) {
        if let Some(reading) = hour.wind_m_per_s {
            return (reading.value, reading.provenance);
        }
        self.ledger
            .add(WeatherVariable::Wind, EstimateRule::DefaultWind, hour.start);
        (DEFAULT_WIND_2M_M_PER_S, Provenance::Estimated)
    }

    fn rain(&mut self, hour: &RawHour) -> (f64, Provenance) {
        if let Some(reading) = hour.rain_mm {
            return (reading.value, reading.provenance);
        }
        self.ledger
            .add(WeatherVariable::Rain, EstimateRule::NoRain, hour.start);
        (0.0, Provenance::Estimated)
    }

    /// Rs/Rso as it stands for the clouds of an hour: its own while the sun is
    /// high enough, else that of the latest afternoon.
    fn cloudiness_of(&mut self, sun: &HourSun, own: Option<f64>) -> f64 {
        if sun.stands_for_evening() && own.is_some() {
            self.cloudiness.carried = own;
            self.cloudiness.first = self.cloudiness.first.or(own);
        }
        let known = if sun.is_low() {
            self.cloudiness.carried
        } else {
            own
        };
        known.unwrap_or_else(|| {
            self.cloudiness.waiting.push(self.complete.len());
            DEFAULT_CLOUDINESS_RATIO
        })
    }

    /// Hours before the first afternoon take its cloudiness.
    fn fill_first_cloudiness(&mut self) {
        for &index in &self.cloudiness.waiting {
            let hour = &mut self.complete[index];
            match self.cloudiness.first {
                Some(ratio) => hour.rs_over_rso = ratio,
                None => self.ledger.add(
                    WeatherVariable::Solar,
                    EstimateRule::DefaultCloudiness,
                    hour.start,
                ),
            }
        }
    }
}

#[cfg(test)]
mod tests;
