//! Darcy's flux between two points of the column, and its slopes.

use super::table::State;

/// How the conductivity between two cell centres is averaged.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Internodal {
    /// ∫K dh over the difference of heads, exact for flow without gravity
    /// through one soil. Between two soils the head at the seam is found.
    #[default]
    Integral,
    /// Mean of the two, as in Celia et al. 1990.
    Arithmetic,
    /// Root of the product: right in drying, far too slow in wetting.
    Geometric,
    /// That of the cell from which the water comes.
    Upstream,
}

/// A flux and how it answers to the heads that drive it.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Flux {
    /// Downward flux [mm/h].
    pub rate: f64,
    /// Slope by the upper head [1/h].
    pub by_upper: f64,
    /// Slope by the lower head [1/h].
    pub by_lower: f64,
}

/// Heads closer than this share of them (and of 1 mm) are as good as equal:
/// the arithmetic mean serves, and the integral one would lose digits.
const CLOSE_HEADS: f64 = 1e-3;

/// Downward flux [mm/h] between an upper and a lower point `apart` mm apart.
///
/// q = K·((h₁ − h₂)/Δ + 1)
#[inline]
pub(super) fn flux(mean: Internodal, upper: &State, lower: &State, apart: f64) -> Flux {
    let drop = upper.head - lower.head;
    let gradient = drop / apart + 1.0;
    let distinct =
        mean == Internodal::Integral && drop.abs() > CLOSE_HEADS * (1.0 - lower.head.min(0.0));
    let k = if distinct {
        let k = (upper.potential - lower.potential) / drop;
        Mean {
            k,
            by_upper: (upper.k - k) / drop,
            by_lower: (k - lower.k) / drop,
        }
    } else {
        averaged(mean, upper, lower, gradient)
    };
    let flux = Flux {
        rate: k.k * gradient,
        by_upper: k.by_upper * gradient + k.k / apart,
        by_lower: k.by_lower * gradient - k.k / apart,
    };
    // Steady flow keeps q ≥ K where pressure helps gravity and q ≤ K where it
    // opposes it, everywhere between the points and so at the upper one. A
    // mean over a cell too thick for its soil breaks that, water beneath seems
    // to pull down the water above, and the solution oscillates.
    let wrong = if drop >= 0.0 {
        flux.rate < upper.k
    } else {
        flux.rate > upper.k
    };
    if wrong && mean == Internodal::Integral {
        return Flux {
            rate: upper.k,
            by_upper: upper.k_slope,
            by_lower: 0.0,
        };
    }
    flux
}

/// A mean conductivity [mm/h] and its slopes by both heads [1/h].
struct Mean {
    k: f64,
    by_upper: f64,
    by_lower: f64,
}

/// Mean conductivity by one of the simple means.
fn averaged(mean: Internodal, upper: &State, lower: &State, gradient: f64) -> Mean {
    match mean {
        Internodal::Integral | Internodal::Arithmetic => Mean {
            k: 0.5 * (upper.k + lower.k),
            by_upper: 0.5 * upper.k_slope,
            by_lower: 0.5 * lower.k_slope,
        },
        Internodal::Geometric => {
            let k = (upper.k * lower.k).sqrt();
            let part = |state: &State| {
                if state.k > 0.0 {
                    0.5 * k * state.k_slope / state.k
                } else {
                    0.0
                }
            };
            Mean {
                k,
                by_upper: part(upper),
                by_lower: part(lower),
            }
        }
        Internodal::Upstream if gradient >= 0.0 => Mean {
            k: upper.k,
            by_upper: upper.k_slope,
            by_lower: 0.0,
        },
        Internodal::Upstream => Mean {
            k: lower.k,
            by_upper: 0.0,
            by_lower: lower.k_slope,
        },
    }
}
