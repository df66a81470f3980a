//! The exponential function, written so that a loop over hours can work
//! several of them at once.
//!
//! The one of the standard library is a call that ends every such loop, and
//! its last digit depends on the platform; this one is plain arithmetic and
//! gives the same bits everywhere. Range reduction x = n ln 2 + r with
//! |r| ≤ ln 2 / 2, then the series of e^r to the power 10 (common practice, no
//! source). The first term left out is worth 3.1e-13 of the result at most,
//! which is far below what any weather is known to.

/// 1.5 · 2⁵²: adding it leaves a number rounded to whole in the low bits.
const ROUNDING: f64 = 6_755_399_441_055_744.0;
/// ln 2 in two parts; the first has zeros at its end, so that n times it is
/// exact.
const LN_2: (f64, f64) = (6.931_471_803_691_238e-1, 1.908_214_929_270_587_7e-10);
/// Beyond this the result would leave the range of normal numbers.
const FARTHEST: f64 = 700.0;

/// e^x for x between −700 and 700, and the value at the bound beyond.
#[inline(always)]
pub(super) fn exp(x: f64) -> f64 {
    let x = x.clamp(-FARTHEST, FARTHEST);
    let shifted = x * std::f64::consts::LOG2_E + ROUNDING;
    let n = shifted - ROUNDING;
    let r = (x - n * LN_2.0) - n * LN_2.1;
    let r2 = r * r;
    let r4 = r2 * r2;
    let from_0 = 1.0 + r + r2 * (1.0 / 2.0 + r * (1.0 / 6.0));
    let from_4 = 1.0 / 24.0 + r * (1.0 / 120.0) + r2 * (1.0 / 720.0 + r * (1.0 / 5_040.0));
    let from_8 = 1.0 / 40_320.0 + r * (1.0 / 362_880.0) + r2 * (1.0 / 3_628_800.0);
    let series = from_0 + r4 * (from_4 + r4 * from_8);
    // n in the place of the exponent: 2ⁿ.
    let two_to_n = f64::from_bits((shifted.to_bits() << 52).wrapping_add(1.0_f64.to_bits()));
    series * two_to_n
}

#[cfg(test)]
mod tests {
    use super::exp;

    #[test]
    fn agrees_with_the_standard_library() {
        for step in -700_000..=700_000_i32 {
            let x = f64::from(step) / 1000.0;
            let expected = x.exp();
            assert!((exp(x) / expected - 1.0).abs() <= 3.2e-13, "{x}");
        }
    }

    #[test]
    fn stays_finite_and_positive_beyond_its_range() {
        for x in [f64::MIN, -701.0, 701.0, f64::MAX] {
            assert!(exp(x).is_finite() && exp(x) > 0.0, "{x}");
        }
    }
}
