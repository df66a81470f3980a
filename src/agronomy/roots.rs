//! How fast young grass grows, down and up: the depth of the roots sets how
//! thick a layer is watered, the height of the leaves when it is first mown.
//!
//! No figure in mm/day for the roots of turf seedlings was found; 5–10 mm/day
//! at 15–20 °C is an assumption that the site file can change. The curve over
//! temperature uses published bases and optima of leaf growth.

use chrono::NaiveDate;

use super::crop_coefficient::TurfGroup;
use super::germination::{daily_temperatures, day_of_sum};

/// The temperature to which a stated rate of growth belongs [°C].
const STATED_RATE_AT_C: f64 = 20.0;

/// Growth of seedling leaves at 20 °C [mm/day]: common practice, no source.
/// On the quick side, for the first mowing is given as an earliest day.
pub const LEAF_GROWTH_MM_PER_DAY_AT_20C: f64 = 4.0;

/// Temperatures between which growth quickens, base and optimum [°C].
///
/// Warm season: base 12.5 and, held below the published 31.8–36.1, an optimum
/// of 28, so that heat is not credited with growth beyond what is safe to
/// water by. Cool season: optimum 20 (published 18.8–20.6); its base of 5 is
/// common practice, no source.
///
/// # Source
/// Flournoy 2017, thesis, Mississippi State University (abstract).
const fn base_and_optimum_c(group: TurfGroup) -> (f64, f64) {
    match group {
        TurfGroup::CoolSeason => (5.0, 20.0),
        TurfGroup::WarmSeason => (12.5, 28.0),
    }
}

/// Growth on a day of this temperature [mm/day].
///
/// - `base_mm_per_day_at_20c`: growth at 20 °C [mm/day]
/// - `mean_temperature_c`: mean temperature of the day [°C]
/// - `group`: cool or warm season
///
/// Zero at the base temperature (5 °C cool, 12.5 °C warm season) and below,
/// then a straight line through the stated growth at 20 °C up to the optimum
/// (20 °C, 28 °C), then flat. Warm-season grass at 28 °C so grows twice as
/// fast as at 20 °C. That cool-season roots slow down again in heat (those of
/// bentgrass grew alike at 16–27 °C and less at 32 °C) is left out: too little
/// is published for a curve, and such days are no time to sow them.
///
/// # Source
/// Own model; temperatures from Flournoy 2017 (thesis abstract), base of the
/// cool-season group common practice, no source.
#[must_use]
pub fn growth_mm_per_day(
    base_mm_per_day_at_20c: f64,
    mean_temperature_c: f64,
    group: TurfGroup,
) -> f64 {
    let (base_c, optimum_c) = base_and_optimum_c(group);
    let warmth_c = (mean_temperature_c.min(optimum_c) - base_c).max(0.0);
    base_mm_per_day_at_20c * warmth_c / (STATED_RATE_AT_C - base_c)
}

/// How high grass must stand before its first mowing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum FirstMowRule {
    /// At 1.5 times the kept height, so that a third is cut (from memory; a
    /// rule of all turf texts).
    OneThird,
    /// At this much above the kept height [mm]; University of Maryland
    /// TT-67 gives 19 mm (0.75 in).
    AboveKept(f64),
}

impl FirstMowRule {
    /// Height at which the grass is first mown [mm].
    ///
    /// - `kept_height_mm`: height to which it is mown [mm]
    #[must_use]
    pub fn mowing_height_mm(self, kept_height_mm: f64) -> f64 {
        match self {
            Self::OneThird => 1.5 * kept_height_mm,
            Self::AboveKept(above_mm) => kept_height_mm + above_mm,
        }
    }
}

/// What the first mowing depends on, besides the weather.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FirstMow {
    /// Height to which the grass will be mown [mm].
    pub kept_height_mm: f64,
    /// How high it must stand before.
    pub rule: FirstMowRule,
    /// Growth of the leaves at 20 °C [mm/day]; see
    /// [`LEAF_GROWTH_MM_PER_DAY_AT_20C`].
    pub leaf_growth_mm_per_day_at_20c: f64,
    /// Cool or warm season.
    pub group: TurfGroup,
}

/// Earliest day on which young grass is high enough to mow.
///
/// - `emerged`: day on which the first seedlings show
/// - `mow`: heights and growth
/// - `daily_mean_c`: mean temperature of a local day [°C], none if not known
///
/// Leaves start from nothing on `emerged` and grow by [`growth_mm_per_day`]. A
/// day without weather takes the mean of the last seven known days before it;
/// before any known day it counts as one of 20 °C. Given up after 120 days,
/// and then that day.
///
/// # Source
/// Own model: growth of seedling leaves is common practice without a source,
/// so this is a day not to mow before, and no promise.
#[must_use]
pub fn first_mow(
    emerged: NaiveDate,
    mow: FirstMow,
    daily_mean_c: impl Fn(NaiveDate) -> Option<f64>,
) -> NaiveDate {
    let growth = daily_temperatures(emerged, &daily_mean_c).map(|known_c| {
        let mean_c = known_c.unwrap_or(STATED_RATE_AT_C);
        growth_mm_per_day(mow.leaf_growth_mm_per_day_at_20c, mean_c, mow.group)
    });
    day_of_sum(
        emerged,
        mow.rule.mowing_height_mm(mow.kept_height_mm),
        growth,
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn growth_is_as_stated_at_20_degrees_in_both_groups() {
        for group in [TurfGroup::CoolSeason, TurfGroup::WarmSeason] {
            assert!((growth_mm_per_day(8.0, 20.0, group) - 8.0).abs() < 1e-12);
        }
    }

    #[test]
    fn growth_stops_in_the_cold_and_levels_off_in_the_heat() {
        assert!(growth_mm_per_day(8.0, 5.0, TurfGroup::CoolSeason).abs() < 1e-12);
        assert!(growth_mm_per_day(8.0, -10.0, TurfGroup::CoolSeason).abs() < 1e-12);
        assert!((growth_mm_per_day(8.0, 12.5, TurfGroup::CoolSeason) - 4.0).abs() < 1e-12);
        assert!((growth_mm_per_day(8.0, 35.0, TurfGroup::CoolSeason) - 8.0).abs() < 1e-12);
        assert!(growth_mm_per_day(8.0, 12.5, TurfGroup::WarmSeason).abs() < 1e-12);
        let at_28 = growth_mm_per_day(8.0, 28.0, TurfGroup::WarmSeason);
        assert!((growth_mm_per_day(8.0, 40.0, TurfGroup::WarmSeason) - at_28).abs() < 1e-12);
    }

    #[test]
    fn grass_is_first_mown_when_a_third_comes_off() {
        let emerged = NaiveDate::from_ymd_opt(2023, 9, 8).unwrap();
        let mow = FirstMow {
            kept_height_mm: 40.0,
            rule: FirstMowRule::OneThird,
            leaf_growth_mm_per_day_at_20c: LEAF_GROWTH_MM_PER_DAY_AT_20C,
            group: TurfGroup::CoolSeason,
        };
        // 60 mm at 4 mm/day.
        assert_eq!(
            first_mow(emerged, mow, |_| Some(20.0)),
            NaiveDate::from_ymd_opt(2023, 9, 23).unwrap()
        );
        // At 12.5 °C half as fast.
        assert_eq!(
            first_mow(emerged, mow, |_| Some(12.5)),
            NaiveDate::from_ymd_opt(2023, 10, 8).unwrap()
        );
    }

    #[test]
    fn the_rules_for_the_first_cut_differ_by_kept_height() {
        assert!((FirstMowRule::OneThird.mowing_height_mm(50.0) - 75.0).abs() < 1e-12);
        assert!((FirstMowRule::AboveKept(19.0).mowing_height_mm(50.0) - 69.0).abs() < 1e-12);
    }
}
