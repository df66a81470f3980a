//! Hours of a series in mean solar time: which day an hour belongs to and
//! where the sun stands in it. It needs no time zone, and splits days at night.

use chrono::{DateTime, Datelike, TimeDelta, Timelike, Utc};

use super::radiation::{DaySun, HourSun, Turn};
use super::weather_record::GeoPosition;

const HALF_HOUR: TimeDelta = TimeDelta::minutes(30);
const SECONDS_PER_DAY: f64 = 86_400.0;

/// The sun at one place over the hours of a series, of which it keeps the
/// terms of the latest day.
#[derive(Debug, Clone)]
pub struct SolarHours {
    latitude: Turn,
    longitude_deg: f64,
    latest: Option<(i64, DaySun)>,
}

impl SolarHours {
    /// The sun at a place.
    #[must_use]
    pub fn new(place: &GeoPosition) -> Self {
        Self {
            latitude: Turn::of(place.latitude_deg.to_radians()),
            longitude_deg: place.longitude_deg,
            latest: None,
        }
    }

    /// Days since 1970 in mean solar time, at the middle of the hour.
    #[must_use]
    pub fn day_number(&self, start: DateTime<Utc>) -> i64 {
        self.day_and_hour(start).0
    }

    /// The day as above, and the mean solar time on it [h], 0 to 24.
    #[must_use]
    pub(super) fn day_and_hour(&self, start: DateTime<Utc>) -> (i64, f64) {
        let middle_s = (start + HALF_HOUR).timestamp();
        #[expect(
            clippy::cast_precision_loss,
            reason = "seconds since 1970 are far below 2^52"
        )]
        let solar_s = middle_s as f64 + self.longitude_deg * 240.0;
        let day = (solar_s / SECONDS_PER_DAY).floor();
        #[expect(clippy::cast_possible_truncation, reason = "a count of days")]
        let number = day as i64;
        (number, (solar_s - day * SECONDS_PER_DAY) / 3600.0)
    }

    /// The sun of the hour that begins at an instant.
    #[must_use]
    pub fn hour(&mut self, start: DateTime<Utc>) -> HourSun {
        let number = self.day_number(start);
        let day = match self.latest {
            Some((latest, day)) if latest == number => day,
            _ => DaySun::at(self.latitude, day_of_year(number)),
        };
        self.latest = Some((number, day));
        let middle = start + HALF_HOUR;
        let utc_h = f64::from(middle.num_seconds_from_midnight()) / 3600.0;
        day.hour(day.time_angle_rad(utc_h, self.longitude_deg))
    }
}

pub(super) fn day_of_year(day_number: i64) -> u32 {
    DateTime::from_timestamp(day_number * 86_400, 0).map_or(1, |day| day.ordinal())
}
