//! When sown grass comes up: published ranges of days, stretched by cold.
//!
//! The ranges hold in soil of a good temperature. A colder day counts as less
//! than a day, a day below the base temperature not at all. Daily means of the
//! air stand in for the soil of the seed depth, which nobody measures.
//!
//! Sources: field ranges and soil temperatures as turf texts give them (from
//! memory; the days agree with a web list of germination rates); base
//! temperatures and thermal times of three species from Larsen & Bibby 2005,
//! Crop Sci. 45:2030–2037 (abstract). Dryness delays emergence as well; here
//! the seedbed is taken to be kept moist.

use chrono::{Days, NaiveDate};

use crate::site::Species;

/// What is known of a species' way from seed to seedling.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpeciesFacts {
    /// Name for people.
    pub label: &'static str,
    /// Days from sowing to the first seedlings in soil of a good temperature.
    pub first_day: u32,
    /// Days from sowing until a slow lot is up in such soil.
    pub last_day: u32,
    /// Lowest soil temperature for good germination [°C].
    pub good_temperature_c: f64,
    /// Temperature at which germination stands still [°C].
    pub base_temperature_c: f64,
    /// Degree-days above the base to half of the final germination
    /// [°C d], in the laboratory; known for three species.
    pub half_germination_degree_days: Option<f64>,
}

/// Base temperature taken for tall fescue [°C]. Own assumption: near the 3.6
/// of perennial ryegrass; it does germinate, slowly, at 10 °C.
const TALL_FESCUE_BASE_C: f64 = 4.0;

/// Base temperature taken for creeping bentgrass [°C]. Own assumption: it was
/// seen to emerge from soil of about 10 °C.
const BENTGRASS_BASE_C: f64 = 5.0;

/// Base temperature taken for the warm-season species [°C]. Own assumption:
/// the base of their leaf growth, 12.5–13.2 °C (Flournoy 2017, thesis,
/// Mississippi State University, abstract), stands in for that of germination.
const WARM_SEASON_BASE_C: f64 = 12.5;

/// Days after which the outlook ends, germinated or not.
const LONGEST_OUTLOOK_DAYS: u64 = 120;

/// The last known days whose mean stands for the days without weather.
const DAYS_CARRIED_ON: usize = 7;

/// Slack for sums of shares that should come out whole.
const SUM_SLACK: f64 = 1e-9;

/// The facts of a species.
///
/// # Source
/// See the head of this module; base temperatures of tall fescue, bentgrass
/// and the warm-season species are own assumptions, said at their constants.
#[must_use]
pub const fn facts(species: Species) -> SpeciesFacts {
    match species {
        Species::PerennialRyegrass => row("perennial ryegrass", [5, 10], [10.0, 3.6], Some(63.9)),
        Species::TallFescue => row("tall fescue", [7, 14], [15.0, TALL_FESCUE_BASE_C], None),
        // Thermal time of slender creeping red fescue.
        Species::FineFescue => row("fine fescue", [7, 14], [10.0, 2.6], Some(43.8)),
        Species::CreepingBentgrass => row(
            "creeping bentgrass",
            [6, 14],
            [15.0, BENTGRASS_BASE_C],
            None,
        ),
        Species::KentuckyBluegrass => row("Kentucky bluegrass", [14, 28], [15.0, 2.6], Some(115.6)),
        Species::Bermudagrass => row("bermudagrass", [10, 21], [20.0, WARM_SEASON_BASE_C], None),
        Species::Zoysiagrass => row("zoysiagrass", [14, 21], [21.0, WARM_SEASON_BASE_C], None),
        Species::Buffalograss => row("buffalograss", [14, 21], [20.0, WARM_SEASON_BASE_C], None),
    }
}

const fn row(
    label: &'static str,
    days: [u32; 2],
    good_and_base_c: [f64; 2],
    half_germination_degree_days: Option<f64>,
) -> SpeciesFacts {
    SpeciesFacts {
        label,
        first_day: days[0],
        last_day: days[1],
        good_temperature_c: good_and_base_c[0],
        base_temperature_c: good_and_base_c[1],
        half_germination_degree_days,
    }
}

/// Share of a good day that a day at this temperature counts, 0 to 1.
///
/// - `mean_temperature_c`: mean temperature of the day [°C]
///
/// 0 at the base temperature and below, rising in a straight line to 1 at the
/// good temperature. Above it 1: heat that kills or halts the seed is left
/// out, for no bound with a source was found.
///
/// # Source
/// Own model, in the manner of thermal time (Larsen & Bibby 2005): rate of
/// germination grows in a straight line above the base temperature.
#[must_use]
pub fn progress_per_day(species: Species, mean_temperature_c: f64) -> f64 {
    let facts = facts(species);
    let above_base_c = mean_temperature_c - facts.base_temperature_c;
    (above_base_c / (facts.good_temperature_c - facts.base_temperature_c)).clamp(0.0, 1.0)
}

/// First and last day on which a species is expected to come up.
///
/// - `sown`: local day of sowing; it counts as the first day of progress
/// - `daily_mean_c`: mean temperature of a local day [°C], none if not known
///
/// The days on which the sum of [`progress_per_day`] reaches the two ends of
/// the published range; with every day good that is `sown` plus 5 and plus 10
/// for perennial ryegrass. Never sooner than half of the seed germinates in the
/// laboratory, where that is known: at 8 °C the range of perennial ryegrass,
/// stretched, begins on day 8, but half of the seed needs 14.5 days. The last
/// day is then as much later as in the range. A day without weather takes the mean of the last
/// seven known days before it; before any known day it counts as good. After
/// 120 days the outlook ends and that day is given.
///
/// # Source
/// See the head of this module.
#[must_use]
pub fn emergence_window(
    species: Species,
    sown: NaiveDate,
    daily_mean_c: impl Fn(NaiveDate) -> Option<f64>,
) -> (NaiveDate, NaiveDate) {
    let facts = facts(species);
    let reached = |days: u32| {
        let progress = daily_temperatures(sown, &daily_mean_c)
            .map(|known_c| known_c.map_or(1.0, |mean_c| progress_per_day(species, mean_c)));
        let by_range = day_of_sum(sown, f64::from(days), progress);
        if facts.half_germination_degree_days.is_none() {
            return by_range;
        }
        let halves = f64::from(days) / f64::from(facts.first_day);
        by_range.max(day_of_sum(
            sown,
            halves,
            shares_of_half_germination(species, sown, &daily_mean_c),
        ))
    };
    (reached(facts.first_day), reached(facts.last_day))
}

/// Days to half of the final germination at a constant temperature, in the
/// laboratory; none where no thermal time is published for the species, or at
/// the base temperature and below.
///
/// - `temperature_c`: constant temperature [°C], 8 to 24 in the experiment
///
/// # Source
/// Larsen & Bibby 2005: degree-days over (T − base).
#[must_use]
pub fn days_to_half_germination(species: Species, temperature_c: f64) -> Option<f64> {
    let facts = facts(species);
    let above_base_c = temperature_c - facts.base_temperature_c;
    facts
        .half_germination_degree_days
        .filter(|_| above_base_c > 0.0)
        .map(|degree_days| degree_days / above_base_c)
}

/// First day on which it is worth looking for seedlings under a cover.
///
/// - `sown`: local day of sowing
/// - `daily_mean_c`: mean temperature of a local day [°C], none if not known
///
/// The day on which half the seed would have germinated in the laboratory,
/// for the species of which that is known, and never after the first day of
/// [`emergence_window`]; for the others that first day itself. Days without
/// weather as there; before any known day the good temperature stands in.
///
/// # Source
/// Larsen & Bibby 2005, summed over days of changing temperature.
#[must_use]
pub fn first_lookout(
    species: Species,
    sown: NaiveDate,
    daily_mean_c: impl Fn(NaiveDate) -> Option<f64>,
) -> NaiveDate {
    let (first, _) = emergence_window(species, sown, &daily_mean_c);
    if facts(species).half_germination_degree_days.is_none() {
        return first;
    }
    let shares_of_half = shares_of_half_germination(species, sown, &daily_mean_c);
    day_of_sum(sown, 1.0, shares_of_half).min(first)
}

/// Shares of the way to half of the final germination, day by day.
fn shares_of_half_germination(
    species: Species,
    sown: NaiveDate,
    daily_mean_c: &impl Fn(NaiveDate) -> Option<f64>,
) -> impl Iterator<Item = f64> {
    // Where no weather is known, a temperature at which it is no hindrance.
    const UNKNOWN_C: f64 = 20.0;
    daily_temperatures(sown, daily_mean_c).map(move |known_c| {
        days_to_half_germination(species, known_c.unwrap_or(UNKNOWN_C)).map_or(0.0, f64::recip)
    })
}

/// Whether it is too cold to sow a species: its first seedlings would take
/// more than twice as long as in soil of a good temperature, or never come.
///
/// - `sown`: local day of sowing
/// - `first`: first day of [`emergence_window`]
///
/// # Source
/// The bound of twice the time is an own choice: seed that lies so long rots,
/// is eaten or washed away before it is up (common practice, no source).
#[must_use]
pub fn too_cold(species: Species, sown: NaiveDate, first: NaiveDate) -> bool {
    const TOO_MANY_TIMES: i64 = 2;
    (first - sown).num_days() > TOO_MANY_TIMES * i64::from(facts(species).first_day)
}

/// Mean temperatures of the days from `from` on, as far as the outlook goes
/// [°C]: a day without weather has the mean of the last known days before it,
/// and none before any known day.
pub(super) fn daily_temperatures(
    from: NaiveDate,
    daily_mean_c: &impl Fn(NaiveDate) -> Option<f64>,
) -> impl Iterator<Item = Option<f64>> {
    let mut last_known_c = std::collections::VecDeque::with_capacity(DAYS_CARRIED_ON);
    (0..LONGEST_OUTLOOK_DAYS).map(move |day| {
        let known_c = from.checked_add_days(Days::new(day)).and_then(daily_mean_c);
        if let Some(mean_c) = known_c {
            if last_known_c.len() == DAYS_CARRIED_ON {
                last_known_c.pop_front();
            }
            last_known_c.push_back(mean_c);
            return known_c;
        }
        mean_of(&last_known_c)
    })
}

/// Mean of the values, none of none. At most [`DAYS_CARRIED_ON`] of them.
fn mean_of(values: &std::collections::VecDeque<f64>) -> Option<f64> {
    let count = u32::try_from(values.len())
        .ok()
        .filter(|&count| count > 0)?;
    Some(values.iter().sum::<f64>() / f64::from(count))
}

/// The day by whose start the sum of the daily shares has reached `target`;
/// the end of the outlook if it never does.
pub(super) fn day_of_sum(
    from: NaiveDate,
    target: f64,
    shares: impl Iterator<Item = f64>,
) -> NaiveDate {
    let mut sum = 0.0;
    let mut days = 0;
    for share in shares {
        if sum >= target - SUM_SLACK {
            break;
        }
        sum += share;
        days += 1;
    }
    from.checked_add_days(Days::new(days))
        .unwrap_or(NaiveDate::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(offset: u64) -> NaiveDate {
        NaiveDate::from_ymd_opt(2023, 9, 1).unwrap() + Days::new(offset)
    }

    #[test]
    fn in_good_soil_the_window_is_the_published_range() {
        let window = emergence_window(Species::PerennialRyegrass, day(0), |_| Some(17.0));
        assert_eq!(window, (day(5), day(10)));
        let window = emergence_window(Species::KentuckyBluegrass, day(0), |_| Some(20.0));
        assert_eq!(window, (day(14), day(28)));
    }

    #[test]
    fn cold_days_stretch_the_window() {
        // 9.5 °C is halfway from 4 to 15.
        let window = emergence_window(Species::TallFescue, day(0), |_| Some(9.5));
        assert_eq!(window, (day(14), day(28)));
    }

    #[test]
    fn nothing_is_up_before_half_the_seed_germinates_in_the_laboratory() {
        // Larsen & Bibby 2005: 63.9 °C d above 3.6 °C, so 14.5 days at 8 °C.
        let window = emergence_window(Species::PerennialRyegrass, day(0), |_| Some(8.0));
        assert_eq!(window, (day(15), day(30)));
    }

    #[test]
    fn cold_that_more_than_doubles_the_time_is_too_cold_to_sow() {
        for (species, mean_c, cold) in [
            (Species::PerennialRyegrass, -6.0, true),
            (Species::PerennialRyegrass, 2.0, true),
            (Species::PerennialRyegrass, 8.0, true),
            (Species::PerennialRyegrass, 12.0, false),
            (Species::KentuckyBluegrass, 8.0, true),
            (Species::KentuckyBluegrass, 13.0, false),
            (Species::Bermudagrass, 14.0, true),
        ] {
            let (first, _) = emergence_window(species, day(0), |_| Some(mean_c));
            assert_eq!(
                too_cold(species, day(0), first),
                cold,
                "{species:?} {mean_c}"
            );
        }
    }

    #[test]
    fn frost_ends_the_outlook_after_120_days() {
        let window = emergence_window(Species::Bermudagrass, day(0), |_| Some(-5.0));
        assert_eq!(window, (day(120), day(120)));
    }

    #[test]
    fn where_weather_ends_the_last_week_goes_on() {
        // Ten warm days, then seven at half pace, then nothing known.
        let mean = |date| {
            if date < day(7) {
                Some(20.0)
            } else {
                (date < day(14)).then_some((15.0 + 2.6) / 2.0)
            }
        };
        // 14 good days' worth: 7 + 7/2 by day 14, then half a day each.
        let (first, _) = emergence_window(Species::KentuckyBluegrass, day(0), mean);
        assert_eq!(first, day(21));
    }

    #[test]
    fn without_any_weather_the_published_range_stands() {
        let window = emergence_window(Species::TallFescue, day(0), |_| None);
        assert_eq!(window, (day(7), day(14)));
    }

    #[test]
    fn the_lookout_is_never_after_the_first_day() {
        for species in SPECIES {
            for mean_c in [4.0, 8.0, 12.0, 16.0, 20.0, 24.0] {
                let (first, last) = emergence_window(species, day(0), |_| Some(mean_c));
                let lookout = first_lookout(species, day(0), |_| Some(mean_c));
                assert!(lookout <= first && first <= last, "{species:?} at {mean_c}");
            }
        }
    }

    #[test]
    fn at_the_end_of_the_calendar_nothing_breaks() {
        let window = emergence_window(Species::TallFescue, NaiveDate::MAX, |_| Some(20.0));
        assert_eq!(window, (NaiveDate::MAX, NaiveDate::MAX));
    }

    const SPECIES: [Species; 8] = [
        Species::PerennialRyegrass,
        Species::TallFescue,
        Species::FineFescue,
        Species::CreepingBentgrass,
        Species::KentuckyBluegrass,
        Species::Bermudagrass,
        Species::Zoysiagrass,
        Species::Buffalograss,
    ];
}
