//! How far expected rain counts.
//!
//! Measured rain always counts in full. Expected rain counts as far as its
//! probability deserves under the trust that the site has chosen, in plain words:
//!
//! | word in the site file | what counts |
//! |---|---|
//! | `"never"` | nothing: only rain that has fallen |
//! | `"cautious"` (default) | from 70 % on, the amount times its probability |
//! | `"expected"` | the amount times its probability |
//! | `"as-forecast"` | the whole amount |
//!
//! And whatever counts, watering may wait for it only while the seed could
//! also do without it: [`may_wait`]. Own model; the weighing is the expected value
//! of the amount, with the service's amount taken as the one if it rains.

use serde::{Deserialize, Serialize};

use crate::agronomy::weather_record::{Provenance, WeatherHour};

/// How far a site trusts expected rain.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RainTrust {
    /// Only rain that has fallen counts.
    Never,
    /// Likely rain counts in part.
    #[default]
    Cautious,
    /// Its expected value counts.
    Expected,
    /// What the forecast says counts.
    AsForecast,
}

/// From which probability a cautious site counts rain at all. Own choice.
pub const LIKELY: f64 = 0.7;

/// The probability of rain that a service gives without one: an even chance.
/// Own choice.
pub const UNSTATED_PROBABILITY: f64 = 0.5;

impl RainTrust {
    /// All of them, least trusting first.
    pub const ALL: [Self; 4] = [
        Self::Never,
        Self::Cautious,
        Self::Expected,
        Self::AsForecast,
    ];

    /// The word in the site file.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Never => "never",
            Self::Cautious => "cautious",
            Self::Expected => "expected",
            Self::AsForecast => "as-forecast",
        }
    }

    /// The trust of a word.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|trust| trust.word() == word)
    }

    /// The rule in one sentence, for people.
    #[must_use]
    pub fn rule(self) -> &'static str {
        match self {
            Self::Never => "expected rain does not count; only rain that has fallen does",
            Self::Cautious => {
                "expected rain counts from 70 % probability on, at its amount times its probability"
            }
            Self::Expected => "expected rain counts at its amount times its probability",
            Self::AsForecast => "expected rain counts in full",
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

/// The rain of an hour that counts [mm].
#[must_use]
pub fn counted_mm(hour: &WeatherHour, trust: RainTrust) -> f64 {
    match hour.provenance.rain {
        Provenance::Measured => hour.rain_mm,
        Provenance::Forecast => hour.rain_mm * trust.share(hour.rain_probability),
        // Nobody's forecast.
        Provenance::Climate | Provenance::Estimated => 0.0,
    }
}

/// The hours as a plan takes them: rain is what counts, with certainty.
#[must_use]
pub fn weighed(hours: &[WeatherHour], trust: RainTrust) -> Vec<WeatherHour> {
    hours
        .iter()
        .map(|hour| WeatherHour {
            rain_mm: counted_mm(hour, trust),
            rain_probability: 1.0,
            ..*hour
        })
        .collect()
}

/// Whether watering may wait until the next look at the weather for rain that
/// counts: only if the layer would not dry should it stay away.
///
/// - `depletion_mm`: of the managed layer now [mm]
/// - `demand_mm`: what it will lose until the next look [mm]
/// - `limit_mm`: the depletion beyond which the seed suffers [mm]
#[must_use]
pub fn may_wait(depletion_mm: f64, demand_mm: f64, limit_mm: f64) -> bool {
    depletion_mm + demand_mm <= limit_mm
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shares_follow_the_words() {
        let close = |a: f64, b: f64| assert!((a - b).abs() < 1e-12, "{a} is not {b}");
        close(RainTrust::Never.share(1.0), 0.0);
        close(RainTrust::Cautious.share(0.69), 0.0);
        close(RainTrust::Cautious.share(0.7), 0.7);
        close(RainTrust::Expected.share(0.3), 0.3);
        close(RainTrust::AsForecast.share(0.3), 1.0);
        // Without a probability a cautious site counts nothing.
        close(RainTrust::Cautious.share(UNSTATED_PROBABILITY), 0.0);
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
