//! Where the sun stands, as simply as the radiation equations of FAO-56 need.

use std::f64::consts::PI;
use std::sync::LazyLock;

use super::{LOW_SUN_RAD, SOLAR_CONSTANT_MJ_PER_M2_MIN};

/// Half an hour of the earth's turning [rad], its sine and its cosine.
const HALF_HOUR: Turn = Turn {
    rad: PI / 24.0,
    sin: 0.130_526_192_220_051_6,
    cos: 0.991_444_861_373_810_4,
};
/// Hour angles before sunset between which Rs/Rso stands for the evening
/// [rad]: two to three hours (FAO-56, text beside Example 19).
const EVENING_WINDOW_RAD: (f64, f64) = (0.79, 0.52);

/// Inverse relative distance of the sun, dr [-], on day J (1 to 366).
///
/// # Source
/// Allen et al. 1998, FAO-56, eq. 23.
#[must_use]
pub fn inverse_relative_distance(day_of_year: u32) -> f64 {
    1.0 + 0.033 * (2.0 * PI / 365.0 * f64::from(day_of_year)).cos()
}

/// Solar declination δ [rad] on day J (1 to 366).
///
/// # Source
/// Allen et al. 1998, FAO-56, eq. 24.
#[must_use]
pub fn solar_declination_rad(day_of_year: u32) -> f64 {
    0.409 * (2.0 * PI / 365.0 * f64::from(day_of_year) - 1.39).sin()
}

/// Seasonal correction of solar time, Sc [h], on day J (1 to 366).
///
/// # Source
/// Allen et al. 1998, FAO-56, eq. 32 and 33.
#[must_use]
pub fn seasonal_correction_h(day_of_year: u32) -> f64 {
    let b = 2.0 * PI * (f64::from(day_of_year) - 81.0) / 364.0;
    0.1645 * (2.0 * b).sin() - 0.1255 * b.cos() - 0.025 * b.sin()
}

/// Sunset hour angle ωs [rad]: 0 in polar night, π in polar day.
///
/// # Source
/// Allen et al. 1998, FAO-56, eq. 25; held to what an arc cosine takes, which
/// is polar day and night.
#[must_use]
pub fn sunset_hour_angle_rad(latitude_rad: f64, declination_rad: f64) -> f64 {
    cos_of_sunset(Turn::of(latitude_rad), Turn::of(declination_rad)).acos()
}

fn cos_of_sunset(latitude: Turn, declination: Turn) -> f64 {
    let cos = -(latitude.sin * declination.sin) / (latitude.cos * declination.cos);
    cos.clamp(-1.0, 1.0)
}

/// An angle with its sine and cosine, which cost more than all else here.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::agronomy) struct Turn {
    rad: f64,
    sin: f64,
    cos: f64,
}

impl Turn {
    pub(in crate::agronomy) fn of(rad: f64) -> Self {
        let (sin, cos) = rad.sin_cos();
        Self { rad, sin, cos }
    }

    /// This angle turned on by another, between −π and π.
    #[inline(always)]
    fn plus(self, other: Self) -> Self {
        let rad = self.rad + other.rad;
        let rad = if rad > PI { rad - 2.0 * PI } else { rad };
        Self {
            rad: if rad < -PI { rad + 2.0 * PI } else { rad },
            sin: self.sin * other.cos + self.cos * other.sin,
            cos: self.cos * other.cos - self.sin * other.sin,
        }
    }
}

/// What a day of the year has at every place.
#[derive(Debug, Clone, Copy)]
struct DayOfYear {
    distance: f64,
    declination: Turn,
    seasonal_correction_h: f64,
    seasonal_correction: Turn,
}

/// Worked once: a year of hours needs each of them, and the sines of a day
/// cost as much as the rest of its 24 hours.
static YEAR: LazyLock<Vec<DayOfYear>> = LazyLock::new(|| {
    (1..=366)
        .map(|day_of_year| {
            let seasonal_correction_h = seasonal_correction_h(day_of_year);
            DayOfYear {
                distance: inverse_relative_distance(day_of_year),
                declination: Turn::of(solar_declination_rad(day_of_year)),
                seasonal_correction_h,
                seasonal_correction: Turn::of(PI / 12.0 * seasonal_correction_h),
            }
        })
        .collect()
});

/// The sun of one day at one latitude: the terms that all its hours share.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DaySun {
    distance: f64,
    /// sin φ sin δ.
    level: f64,
    /// cos φ cos δ.
    swing: f64,
    sunset_angle_rad: f64,
    sin_sunset: f64,
    seasonal_correction_h: f64,
    seasonal_correction: Turn,
}

/// The sun of one hour.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HourSun {
    /// Solar time angle ω at mid-hour [rad], 0 at solar noon, −π to π.
    pub angle_rad: f64,
    /// Sunset hour angle ωs of the day [rad].
    pub sunset_angle_rad: f64,
    /// Sine of the sun's elevation at mid-hour.
    pub sin_elevation: f64,
    /// Extraterrestrial radiation Ra [MJ m⁻² h⁻¹].
    pub extraterrestrial_mj_per_m2_h: f64,
    /// Part of the hour in which the sun is up [h].
    pub sunlit_h: f64,
}

/// Whether the sun is above the horizon, from the sine of its elevation.
#[inline(always)]
pub(in crate::agronomy) fn is_daylight(sin_elevation: f64) -> bool {
    sin_elevation > 0.0
}

/// Whether it is too low, or down, for Rs/Rso to tell the clouds.
#[inline(always)]
pub(in crate::agronomy) fn is_low_sun(sin_elevation: f64) -> bool {
    sin_elevation < LOW_SUN_RAD.sin()
}

impl HourSun {
    /// Whether the sun is above the horizon at mid-hour.
    #[must_use]
    #[inline(always)]
    pub fn is_daylight(&self) -> bool {
        is_daylight(self.sin_elevation)
    }

    /// Whether it is too low, or down, for Rs/Rso to tell the clouds.
    #[must_use]
    #[inline(always)]
    pub fn is_low(&self) -> bool {
        is_low_sun(self.sin_elevation)
    }

    /// Whether Rs/Rso of this hour stands for the evening and the night: two
    /// to three hours before sunset.
    ///
    /// # Source
    /// Allen et al. 1998, FAO-56, text beside Example 19.
    #[must_use]
    #[inline(always)]
    pub fn stands_for_evening(&self) -> bool {
        let (from, to) = EVENING_WINDOW_RAD;
        self.angle_rad >= self.sunset_angle_rad - from
            && self.angle_rad <= self.sunset_angle_rad - to
    }
}

impl DaySun {
    /// The sun at latitude φ [rad, north positive] on day J (1 to 366).
    #[must_use]
    pub fn new(latitude_rad: f64, day_of_year: u32) -> Self {
        Self::at(Turn::of(latitude_rad), day_of_year)
    }

    /// As [`DaySun::new`], for many days at one latitude.
    #[inline(always)]
    pub(in crate::agronomy) fn at(latitude: Turn, day_of_year: u32) -> Self {
        let day = &YEAR[day_of_year.clamp(1, 366) as usize - 1];
        let cos_sunset = cos_of_sunset(latitude, day.declination);
        Self {
            distance: day.distance,
            level: latitude.sin * day.declination.sin,
            swing: latitude.cos * day.declination.cos,
            sunset_angle_rad: cos_sunset.acos(),
            sin_sunset: (1.0 - cos_sunset * cos_sunset).sqrt(),
            seasonal_correction_h: day.seasonal_correction_h,
            seasonal_correction: day.seasonal_correction,
        }
    }

    /// Extraterrestrial radiation over the whole day, Ra [MJ m⁻² d⁻¹].
    ///
    /// # Source
    /// Allen et al. 1998, FAO-56, eq. 21.
    #[must_use]
    pub fn extraterrestrial_mj_per_m2_d(&self) -> f64 {
        24.0 * 60.0 / PI
            * SOLAR_CONSTANT_MJ_PER_M2_MIN
            * self.distance
            * (self.sunset_angle_rad * self.level + self.swing * self.sin_sunset)
    }

    /// Daylight hours N [h].
    ///
    /// # Source
    /// Allen et al. 1998, FAO-56, eq. 34.
    #[must_use]
    pub fn daylight_h(&self) -> f64 {
        24.0 / PI * self.sunset_angle_rad
    }

    /// Solar time angle ω [rad], −π to π, at a time given as UTC hours and a
    /// longitude [°, east positive].
    ///
    /// The clock of FAO-56 belongs to a time zone with a centre of its own;
    /// taking UTC, whose centre is 0°, leaves no zone to know. DIFFERS: 1/15 h
    /// per degree in full, where eq. 31 prints 0.06667.
    ///
    /// # Source
    /// Allen et al. 1998, FAO-56, eq. 31.
    #[must_use]
    pub fn time_angle_rad(&self, utc_h: f64, longitude_deg: f64) -> f64 {
        let from_noon_h = utc_h + longitude_deg / 15.0 + self.seasonal_correction_h - 12.0;
        PI / 12.0 * ((from_noon_h + 12.0).rem_euclid(24.0) - 12.0)
    }

    /// The sun of the hour whose middle has the solar time angle ω [rad].
    ///
    /// DIFFERS: the hour's ends are held between sunrise and sunset, as in
    /// ASCE-EWRI 2005; FAO-56 does not do so and would give hours around
    /// sunrise the negative radiation of a sun below the horizon.
    ///
    /// # Source
    /// Allen et al. 1998, FAO-56, eq. 28 to 30.
    #[must_use]
    pub fn hour(&self, angle_rad: f64) -> HourSun {
        self.hour_around(Turn::of(angle_rad))
    }

    /// The sun of an hour given by its mean solar time angle: eq. 31 before
    /// the seasonal correction.
    #[inline(always)]
    pub(in crate::agronomy) fn hour_of_mean_time(&self, mean: Turn) -> HourSun {
        self.hour_around(mean.plus(self.seasonal_correction))
    }

    #[inline(always)]
    fn hour_around(&self, middle: Turn) -> HourSun {
        let Turn { rad, sin, cos } = middle;
        let (from, sin_from) = self.held_to_daylight(
            rad - HALF_HOUR.rad,
            sin * HALF_HOUR.cos - cos * HALF_HOUR.sin,
        );
        let (to, sin_to) = self.held_to_daylight(
            rad + HALF_HOUR.rad,
            sin * HALF_HOUR.cos + cos * HALF_HOUR.sin,
        );
        let up = self.level * (to - from) + self.swing * (sin_to - sin_from);
        HourSun {
            angle_rad: rad,
            sunset_angle_rad: self.sunset_angle_rad,
            sin_elevation: self.level + self.swing * cos,
            extraterrestrial_mj_per_m2_h: (12.0 * 60.0 / PI
                * SOLAR_CONSTANT_MJ_PER_M2_MIN
                * self.distance
                * up)
                .max(0.0),
            sunlit_h: (to - from) * 12.0 / PI,
        }
    }

    #[inline(always)]
    fn held_to_daylight(&self, angle_rad: f64, sin: f64) -> (f64, f64) {
        let set = self.sunset_angle_rad;
        if set >= PI {
            // The sun is up all day: an hour that begins before solar midnight
            // and ends after it is held to nothing.
            (angle_rad, sin)
        } else if angle_rad < -set {
            (-set, -self.sin_sunset)
        } else if angle_rad > set {
            (set, self.sin_sunset)
        } else {
            (angle_rad, sin)
        }
    }
}
