//! Seeded noise without a state: the same seed, stream and index give the same
//! number in whatever order and on however many threads they are asked for.

use std::f64::consts::TAU;

/// Hours over which smooth noise is averaged: an error of a forecast lasts.
const SMOOTH_H: i64 = 12;

/// A source of noise.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Noise {
    seed: u64,
}

impl Noise {
    /// Noise of a seed.
    #[must_use]
    pub const fn new(seed: u64) -> Self {
        Self { seed }
    }

    /// An even share, 0 to just below 1.
    #[must_use]
    pub fn share(self, stream: u64, index: i64) -> f64 {
        let bits = mix(mix(self.seed ^ mix(stream)) ^ index.cast_unsigned());
        #[expect(clippy::cast_precision_loss, reason = "53 bits fit an f64 exactly")]
        let whole = (bits >> 11) as f64;
        whole / (1_u64 << 53) as f64
    }

    /// A standard normal number (Box & Muller 1958).
    #[must_use]
    pub fn normal(self, stream: u64, index: i64) -> f64 {
        let radius = (-2.0 * (1.0 - self.share(2 * stream, index)).ln()).sqrt();
        radius * (TAU * self.share(2 * stream + 1, index)).cos()
    }

    /// A standard normal number that changes slowly with the index.
    #[must_use]
    pub fn smooth(self, stream: u64, index: i64) -> f64 {
        let sum: f64 = (0..SMOOTH_H)
            .map(|back| self.normal(stream, index - back))
            .sum();
        sum / (SMOOTH_H as f64).sqrt()
    }
}

/// Mixes the bits of a number (Steele, Lea & Flood 2014, SplitMix64).
const fn mix(number: u64) -> u64 {
    let mut z = number.wrapping_add(0x9e37_79b9_7f4a_7c15);
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn normal_numbers_have_mean_0_and_variance_1() {
        let noise = Noise::new(1);
        let numbers: Vec<f64> = (0..20_000).map(|index| noise.normal(3, index)).collect();
        let mean = numbers.iter().sum::<f64>() / 20_000.0;
        let variance = numbers.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / 20_000.0;
        // Three standard errors: 3/√n and 3·√(2/n).
        assert!(mean.abs() < 0.021, "{mean}");
        assert!((variance - 1.0).abs() < 0.03, "{variance}");
    }

    #[test]
    fn smooth_noise_lasts_for_hours_and_not_for_days() {
        let noise = Noise::new(7);
        let lag = |hours: i64| {
            (0..20_000)
                .map(|index| noise.smooth(1, index) * noise.smooth(1, index + hours))
                .sum::<f64>()
                / 20_000.0
        };
        // A mean of 12 has correlation 1 − lag/12.
        assert!((lag(1) - 11.0 / 12.0).abs() < 0.1, "{}", lag(1));
        assert!(lag(24).abs() < 0.1, "{}", lag(24));
    }
}
