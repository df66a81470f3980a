//! Hours of a series in mean solar time: which day an hour belongs to and
//! where the sun stands in it. It needs no time zone, and splits days at night.

use chrono::{DateTime, Datelike, TimeDelta, Timelike, Utc};

use super::radiation::{DaySun, HourSun};
use super::weather_record::GeoPosition;

const HALF_HOUR: TimeDelta = TimeDelta::minutes(30);
const SECONDS_PER_DAY: i64 = 86_400;

/// The sun at one place over the hours of a series, of which it keeps the
/// terms of the latest day.
#[derive(Debug, Clone)]
pub struct SolarHours {
    latitude_rad: f64,
    longitude_deg: f64,
    /// How far mean solar time is ahead of UTC.
    ahead_s: i64,
    latest: Option<(i64, DaySun)>,
}

impl SolarHours {
    /// The sun at a place.
    #[must_use]
    pub fn new(place: &GeoPosition) -> Self {
        #[expect(
            clippy::cast_possible_truncation,
            reason = "at most half a day of seconds"
        )]
        let ahead_s = (place.longitude_deg * 240.0) as i64;
        Self {
            latitude_rad: place.latitude_deg.to_radians(),
            longitude_deg: place.longitude_deg,
            ahead_s,
            latest: None,
        }
    }

    /// Days since 1970 in mean solar time, at the middle of the hour.
    #[must_use]
    pub fn day_number(&self, start: DateTime<Utc>) -> i64 {
        ((start + HALF_HOUR).timestamp() + self.ahead_s).div_euclid(SECONDS_PER_DAY)
    }

    /// The sun of the hour that begins at an instant.
    #[must_use]
    pub fn hour(&mut self, start: DateTime<Utc>) -> HourSun {
        let number = self.day_number(start);
        let day = match self.latest {
            Some((latest, day)) if latest == number => day,
            _ => DaySun::new(self.latitude_rad, day_of_year(number)),
        };
        self.latest = Some((number, day));
        let middle = start + HALF_HOUR;
        let utc_h = f64::from(middle.num_seconds_from_midnight()) / 3600.0;
        day.hour(day.time_angle_rad(utc_h, self.longitude_deg))
    }
}

fn day_of_year(day_number: i64) -> u32 {
    DateTime::from_timestamp(day_number * SECONDS_PER_DAY, 0).map_or(1, |day| day.ordinal())
}
