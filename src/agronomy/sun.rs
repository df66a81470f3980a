//! Sunrise, solar noon and sunset for people: to the second, with polar day
//! and night as cases of their own.
//!
//! The position of the sun comes from the `solar-positioning` crate (Reda &
//! Andreas 2004, *Solar Energy* 76:577–589, with a numerical search for the
//! events). The radiation equations have a simpler sun of their own, in
//! `radiation`, because their published values need it.

use chrono::{DateTime, Datelike, Days, NaiveDate, NaiveTime, SubsecRound, TimeDelta, Utc};
use chrono_tz::Tz;
use solar_positioning::{Horizon, Location, SolarEvents, SolarPositions, delta_t};

use super::radiation::DaySun;

/// Elevation of the sun's centre at rise and set [°]: the radius of its disc
/// and the usual refraction.
const RISE_ELEVATION_DEG: f64 = -0.8333;
/// Rise and set are looked for this far from noon.
const HALF_DAY: TimeDelta = TimeDelta::hours(12);
/// And first this far from where they are likely: refraction and the disc make
/// 4 min, at 60° of latitude about 10.
const NEAR: TimeDelta = TimeDelta::minutes(15);
/// Solar noon is at most 17 min from mean solar noon.
const NEAR_NOON: TimeDelta = TimeDelta::minutes(20);

/// The sun on one local date.
///
/// The date is that of solar noon in its time zone; rise and set are those that
/// bracket this noon, so that either may have another date, in UTC or locally.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SunDay {
    /// The sun rises before noon and sets after it.
    RiseAndSet {
        /// Sunrise.
        sunrise: DateTime<Utc>,
        /// Solar noon, the passage of the meridian.
        noon: DateTime<Utc>,
        /// Sunset.
        sunset: DateTime<Utc>,
    },
    /// The sun rises before noon and stays up: polar day begins.
    RiseOnly {
        /// Sunrise.
        sunrise: DateTime<Utc>,
        /// Solar noon.
        noon: DateTime<Utc>,
    },
    /// The sun is up already and sets after noon: polar day ends.
    SetOnly {
        /// Solar noon.
        noon: DateTime<Utc>,
        /// Sunset.
        sunset: DateTime<Utc>,
    },
    /// The sun stays up.
    PolarDay {
        /// Solar noon.
        noon: DateTime<Utc>,
    },
    /// The sun stays down.
    PolarNight {
        /// Solar noon.
        noon: DateTime<Utc>,
    },
}

impl SunDay {
    /// Solar noon.
    #[must_use]
    pub fn noon(&self) -> DateTime<Utc> {
        match *self {
            Self::RiseAndSet { noon, .. }
            | Self::RiseOnly { noon, .. }
            | Self::SetOnly { noon, .. }
            | Self::PolarDay { noon }
            | Self::PolarNight { noon } => noon,
        }
    }

    /// Sunrise within the twelve hours before noon.
    #[must_use]
    pub fn sunrise(&self) -> Option<DateTime<Utc>> {
        match *self {
            Self::RiseAndSet { sunrise, .. } | Self::RiseOnly { sunrise, .. } => Some(sunrise),
            _ => None,
        }
    }

    /// Sunset within the twelve hours after noon.
    #[must_use]
    pub fn sunset(&self) -> Option<DateTime<Utc>> {
        match *self {
            Self::RiseAndSet { sunset, .. } | Self::SetOnly { sunset, .. } => Some(sunset),
            _ => None,
        }
    }
}

/// Why there is no answer about the sun.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum SunError {
    /// The latitude is outside −90 to 90.
    #[error("latitude {0}° is outside -90 to 90; give degrees, north positive")]
    Latitude(f64),
    /// The longitude is outside −180 to 180.
    #[error("longitude {0}° is outside -180 to 180; give degrees, east positive")]
    Longitude(f64),
    /// The date is so far off that the sun's place is not known.
    #[error("date {0} is outside the years that the sun's position is known for")]
    Date(NaiveDate),
    /// No solar noon falls on this date: the zone skipped the date, or its
    /// clock is half a day off the sun.
    #[error(
        "no solar noon falls on {date} in {zone} at longitude {longitude_deg}°; \
         check the date, or give the time zone of the place"
    )]
    NoNoon {
        /// The date asked for.
        date: NaiveDate,
        /// The zone asked for.
        zone: Tz,
        /// The longitude asked for [°].
        longitude_deg: f64,
    },
}

/// The sun on a local date, to the nearest second.
///
/// - `latitude_deg`: −90 to 90, north positive
/// - `longitude_deg`: −180 to 180, east positive
///
/// ```
/// use soakmist::agronomy::sun::{SunDay, sun_day};
///
/// let date = chrono::NaiveDate::from_ymd_opt(2024, 12, 21).expect("a date");
/// let day = sun_day(51.5074, -0.1278, date, chrono_tz::Europe::London)?;
/// assert!(matches!(day, SunDay::RiseAndSet { .. }));
/// # Ok::<(), soakmist::agronomy::sun::SunError>(())
/// ```
///
/// # Errors
/// [`SunError`] for a place that is not on Earth, a date out of reach, or a
/// date without a solar noon.
///
/// # Source
/// Reda & Andreas 2004 for the sun's place; −0.8333° of elevation at rise and
/// set is the convention of almanacs (16′ of disc, 34′ of refraction).
pub fn sun_day(
    latitude_deg: f64,
    longitude_deg: f64,
    date: NaiveDate,
    zone: Tz,
) -> Result<SunDay, SunError> {
    if !(-90.0..=90.0).contains(&latitude_deg) {
        return Err(SunError::Latitude(latitude_deg));
    }
    if !(-180.0..=180.0).contains(&longitude_deg) {
        return Err(SunError::Longitude(longitude_deg));
    }
    let place = Location {
        latitude: latitude_deg,
        longitude: longitude_deg,
    };
    let out_of_reach = |_| SunError::Date(date);
    let delta_t_s = delta_t::estimate_from_date_like(&date).map_err(out_of_reach)?;
    let noon = noon_on(longitude_deg, date, zone, delta_t_s)?;
    let search = Search {
        place,
        delta_t_s,
        noon,
    };
    // Half of the daylight, as the radiation equations have it: minutes off.
    let day = DaySun::new(latitude_deg.to_radians(), date.ordinal());
    #[expect(
        clippy::cast_possible_truncation,
        reason = "at most half a day of seconds"
    )]
    let half_day = TimeDelta::seconds((day.daylight_h() * 1800.0) as i64);
    let sunrise = search
        .find(Crossing::Rise, noon - half_day)
        .map_err(out_of_reach)?;
    let sunset = search
        .find(Crossing::Set, noon + half_day)
        .map_err(out_of_reach)?;
    // Whole seconds: more would claim to know the air and the horizon.
    let whole = |at: DateTime<Utc>| at.round_subsecs(0);
    let (sunrise, noon, sunset) = (sunrise.map(whole), whole(noon), sunset.map(whole));
    Ok(match (sunrise, sunset) {
        (Some(sunrise), Some(sunset)) => SunDay::RiseAndSet {
            sunrise,
            noon,
            sunset,
        },
        (Some(sunrise), None) => SunDay::RiseOnly { sunrise, noon },
        (None, Some(sunset)) => SunDay::SetOnly { noon, sunset },
        (None, None) => {
            let at_noon = SolarPositions::new()
                .at(&noon, place, 0.0, delta_t_s, None)
                .map_err(out_of_reach)?;
            if at_noon.elevation_angle() > RISE_ELEVATION_DEG {
                SunDay::PolarDay { noon }
            } else {
                SunDay::PolarNight { noon }
            }
        }
    })
}

type Found = solar_positioning::Result<Option<DateTime<Utc>>>;

/// Which crossing of the horizon.
#[derive(Clone, Copy)]
enum Crossing {
    Rise,
    Set,
}

/// Rise and set around one noon.
struct Search {
    place: Location,
    delta_t_s: f64,
    noon: DateTime<Utc>,
}

impl Search {
    /// Looks near a guess first, because each look at the sun costs
    /// microseconds, and through all of the half day if it is not there.
    fn find(&self, crossing: Crossing, guess: DateTime<Utc>) -> Found {
        let (from, to) = match crossing {
            Crossing::Rise => (self.noon - HALF_DAY, self.noon),
            Crossing::Set => (self.noon, self.noon + HALF_DAY),
        };
        let near = self.within(crossing, (guess - NEAR).max(from), (guess + NEAR).min(to))?;
        if near.is_some() {
            Ok(near)
        } else {
            self.within(crossing, from, to)
        }
    }

    fn within(&self, crossing: Crossing, from: DateTime<Utc>, to: DateTime<Utc>) -> Found {
        let (events, horizon) = (SolarEvents::new(), Horizon::SunriseSunset);
        match crossing {
            Crossing::Rise => events.next_rise(&from, &to, self.place, self.delta_t_s, horizon),
            Crossing::Set => events.next_set(&from, &to, self.place, self.delta_t_s, horizon),
        }
    }
}

/// The solar noon whose local date is the one asked for.
///
/// Every mean solar day holds one noon; the local date is the mean solar date
/// or one of its neighbours.
fn noon_on(
    longitude_deg: f64,
    date: NaiveDate,
    zone: Tz,
    delta_t_s: f64,
) -> Result<DateTime<Utc>, SunError> {
    #[expect(
        clippy::cast_possible_truncation,
        reason = "at most half a day of seconds"
    )]
    let ahead = TimeDelta::seconds((longitude_deg * 240.0) as i64);
    let yesterday = date.checked_sub_days(Days::new(1));
    let tomorrow = date.checked_add_days(Days::new(1));
    for solar_date in [Some(date), yesterday, tomorrow].into_iter().flatten() {
        let mean_noon = solar_date.and_time(NaiveTime::MIN).and_utc() + HALF_DAY - ahead;
        let noon = SolarEvents::new()
            .next_transit(
                &(mean_noon - NEAR_NOON),
                &(mean_noon + NEAR_NOON),
                longitude_deg,
                delta_t_s,
            )
            .map_err(|_| SunError::Date(date))?;
        if let Some(noon) = noon.filter(|noon| noon.with_timezone(&zone).date_naive() == date) {
            return Ok(noon);
        }
    }
    Err(SunError::NoNoon {
        date,
        zone,
        longitude_deg,
    })
}
