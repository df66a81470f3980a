//! How far expected rain counts.
//!
//! Rain that has fallen counts in full: what an instrument caught, and what a
//! service tells of an hour that is over. Expected rain counts as far as its
//! probability deserves under the trust that the site has chosen, in plain words:
//!
//! | word in the site file | what counts |
//! |---|---|
//! | `"never"` | nothing: only rain that has fallen |
//! | `"cautious"` (default) | from 70 % on, the amount times its probability |
//! | `"expected"` | the amount times its probability |
//! | `"as-forecast"` | the whole amount |
//!
//! What falls in air of 0 °C or colder lies as snow and does not count: it may
//! melt in a week or blow away, and the ground under it may be frozen. Its melt is
//! left out as well, which errs towards water that is not needed, and never lets
//! seed dry (common practice for the bound, no source).
//!
//! And for a seed layer expected rain never counts, whatever word is chosen: a layer
//! that lasts for hours dries when the rain stays away, and what trust saves there
//! is next to nothing (docs/weather.md has the figures). Own model; the weighing
//! is the expected value of the amount, with the service's amount taken as the
//! one if it rains.

use super::record::Stage;
use crate::agronomy::weather_record::{Provenance, WeatherHour};
use crate::site::RainTrust;

/// Air in which rain falls as snow, and what is colder [°C].
const SNOW_AT_C: f64 = 0.0;

/// From which probability a cautious site counts rain at all. Own choice.
pub const LIKELY: f64 = 0.7;

impl RainTrust {
    /// The rule in one sentence, for people.
    #[must_use]
    pub fn rule(self) -> &'static str {
        match self {
            Self::Never => "expected rain does not count; only rain that has fallen does",
            Self::Cautious => {
                "expected rain counts from 70 % probability on, at its amount times its \
                 probability, and never for a seed layer"
            }
            Self::Expected => {
                "expected rain counts at its amount times its probability, and never for a seed \
                 layer"
            }
            Self::AsForecast => "expected rain counts in full, but never for a seed layer",
        }
    }

    /// The share of an expected amount that counts.
    ///
    /// - `chance`: its probability, 0 to 1
    #[must_use]
    pub fn share(self, chance: f64) -> f64 {
        let chance = chance.clamp(0.0, 1.0);
        match self {
            Self::Never => 0.0,
            Self::Cautious if chance >= LIKELY => chance,
            Self::Cautious => 0.0,
            Self::Expected => chance,
            Self::AsForecast => 1.0,
        }
    }
}

/// Whether the rain of an hour has fallen: nobody is certain of rain to come, so
/// that only what has fallen has a probability of 1.
#[must_use]
pub fn has_fallen(hour: &WeatherHour) -> bool {
    hour.rain_probability >= 1.0
}

/// All the rain of an hour that anybody tells of, fallen or expected [mm].
#[must_use]
pub fn told_mm(hour: &WeatherHour) -> f64 {
    match hour.provenance.rain {
        // Nobody's forecast.
        Provenance::Climate | Provenance::Estimated => 0.0,
        _ => hour.rain_mm,
    }
}

/// The rain of an hour that counts where the ground is not a seed layer [mm].
#[must_use]
pub fn counted_mm(hour: &WeatherHour, trust: RainTrust) -> f64 {
    if hour.air_temperature_c <= SNOW_AT_C {
        return 0.0;
    }
    let share = if has_fallen(hour) {
        1.0
    } else {
        trust.share(hour.rain_probability)
    };
    share * told_mm(hour)
}

/// The rain of an hour that counts at a stage [mm].
#[must_use]
pub fn counted_at_mm(hour: &WeatherHour, trust: RainTrust, stage: Stage) -> f64 {
    let is_seed_layer = matches!(stage, Stage::Germination | Stage::Emergence);
    if is_seed_layer && !has_fallen(hour) {
        return 0.0;
    }
    counted_mm(hour, trust)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::agronomy::missing_data::UNSTATED_RAIN_PROBABILITY;

    #[test]
    fn shares_follow_the_words() {
        let close = |a: f64, b: f64| assert!((a - b).abs() < 1e-12, "{a} is not {b}");
        close(RainTrust::Never.share(1.0), 0.0);
        close(RainTrust::Cautious.share(0.69), 0.0);
        close(RainTrust::Cautious.share(0.7), 0.7);
        close(RainTrust::Expected.share(0.3), 0.3);
        close(RainTrust::AsForecast.share(0.3), 1.0);
    }

    #[test]
    fn the_word_governs_rain_without_a_probability_too() {
        // As docs/weather.md says.
        for (trust, share) in RainTrust::ALL.into_iter().zip([0.0, 0.0, 0.5, 1.0]) {
            let counted = trust.share(UNSTATED_RAIN_PROBABILITY);
            assert!((counted - share).abs() < 1e-12, "{}", trust.word());
        }
    }

    #[test]
    fn more_trust_never_counts_less_rain() {
        for percent in 0..=100 {
            let shares = RainTrust::ALL.map(|trust| trust.share(f64::from(percent) / 100.0));
            assert!(shares.is_sorted(), "{percent} %: {shares:?}");
        }
    }

    #[test]
    fn every_word_is_read_back() {
        for trust in RainTrust::ALL {
            assert_eq!(RainTrust::from_word(trust.word()), Some(trust));
        }
        assert_eq!(RainTrust::from_word("often"), None);
    }
}
